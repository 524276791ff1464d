"""The entrance pupil from the shadows of plain tubes: its depth and width, field scale and further windows, with uncertainty.

A tube's shadow is placed by the pupil's depth and blurred by its width. Pairs of frames, with a tube and without, are fitted
with the exact forward model; what cannot be known, such as how the tube sits, is fitted along and allowed for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError, OpticsError
from shadewright.measure.expected import Memory, View, expected_of, fine_expected, open_end
from shadewright.measure.fitting import ENOUGH, STEPS, Solution, Unknown, solve
from shadewright.measure.pairs import Ratio
from shadewright.measure.remarks import LEAN, SEAT_PLAY, refuse_contradiction, remarks_on
from shadewright.measure.shadow import SHADOW, Block, block_of
from shadewright.model.camera import Camera
from shadewright.model.lens import Lens
from shadewright.model.shots import ShotSetting, Tube
from shadewright.optics.projection import slopes_of_points

Array = NDArray[np.float64]

AXIS_PLAY = 0.3
"""The lens's axis meets the frame this far from its middle as a rule, mm (common practice, no source)."""
GLASS_PLAY = 0.5
"""How well a front glass's radius and depth are measured with calipers, mm (common practice, no source)."""
APERTURE_PLAY = 0.10
"""How far a pupil may be from f / (2N), as a share of it (common practice, no source)."""
WANDER = 0.2
"""How far the pupil may move with field angle, in focal lengths at a slope of 1: most published designs that the package is tested
on stay within (chief rays over their frames)."""
GROWTH, GROWTH_PLAY = 0.1, 0.06
"""How much wider a real pupil gets across the slope at a slope of 1, as a share, and how far lenses differ: middle and spread of the
same designs. Along the slope it is three times as much (pupil coma of the third order), and that is what half-shadows show."""
AXIAL_PLAY = 0.15
"""How far the disc that stands for a wide beam's outline at the frame's edge may lie from the paraxial pupil, in pupil radii: the
pupil's own aberrations, which shadows at the edge do not show (two traced lenses suggest it)."""
SHADOWED = 0.75
"""Half-shadows lie about this share of the frame's steepest slope from the middle."""
GAIN_PLAY, SLOPE_PLAY, VEIL_PLAY = 0.02, 0.01, 0.003
"""Change of the wall's light between frames, its slope over the half frame, and stray light in the shadow, as shares."""
FEWEST_CELLS = 0.01
"""Least share of the cells that a shadow must touch."""
REMARKABLE = 30.0
"""A further window is kept where it lowers the squared misfit by this many units of it."""

ROUGH = (0.01, 0.003, 0.0)
"""How well a first, second and third fit may be relied on to tell dust, as shares of the light."""
AGAIN = 3
"""How often the cells of the half-shadow are worked out anew at most, until no value moves by a tenth of its error."""


@dataclass(frozen=True, eq=False)
class TubePair:
    """What one tube left of the light, and the tube itself."""

    tube: Tube
    ratio: Ratio


@dataclass(frozen=True, eq=False)
class PupilFit:
    """What the frames of one setting say. Values by name with `solution`; lengths in mm, the pupil's depth behind the front rim."""

    setting: ShotSetting
    view: View
    blocks: tuple[Block, ...]
    solution: Solution
    rear: bool
    notes: tuple[str, ...]
    settled: bool
    """False where the depth is known too badly to rely on: the notes say what to shoot."""

    @property
    def depth(self) -> float:
        """Depth of the pupil on the axis."""
        return self.solution.value("pupil_depth")

    @property
    def depth_error(self) -> float:
        """Its standard error."""
        return self.solution.error("pupil_depth")

    @property
    def radius(self) -> float:
        """Radius of the pupil."""
        return self.solution.value("pupil_radius")

    @property
    def paraxial(self) -> tuple[float, float, float, float]:
        """Depth, its standard error, radius, its standard error of the paraxial pupil, mm, as far as shadows at the frame's edge tell.

        The fitted disc stands for the beams' outlines there; what pupils of real lenses differ from it by is added to the errors.
        """
        return paraxial_of((self.depth, self.depth_error), (self.radius, self.solution.error("pupil_radius")), self.steepest)

    def depth_at(self, slope: float) -> tuple[float, float]:
        """Depth of the pupil for beams of a field slope, and its standard error, mm."""
        solution, by = self.solution, slope * slope
        names = [unknown.name for unknown in solution.unknowns]
        at = [names.index("pupil_depth"), names.index("wander")]
        covariance = solution.covariance[np.ix_(at, at)]
        weight = np.array([1.0, by])
        return float(weight @ solution.values[at]), math.sqrt(max(0.0, float(weight @ covariance @ weight)))

    @property
    def steepest(self) -> float:
        """Slope of the farthest frame point that was fitted."""
        farthest = max(float(np.max(np.hypot(block.points[:, 0], block.points[:, 1]))) for block in self.blocks)
        return farthest / self.solution.value("image_distance")

    def fitted(self, block: int) -> Array:
        """What the model expects of a block's cells (n,)."""
        own = self.blocks[block]
        return expected_of(self.solution.unknowns, self.solution.values, own, block, self.view, self.setting)


def paraxial_of(depth: tuple[float, float], radius: tuple[float, float], steepest: float) -> tuple[float, float, float, float]:
    """As `PupilFit.paraxial`, from depth and radius of the fitted disc with their errors and the frame's steepest slope."""
    grown, play = (3.0 * share * (SHADOWED * steepest) ** 2 for share in (GROWTH, GROWTH_PLAY))
    narrow = radius[0] / (1.0 + grown)
    return depth[0], math.hypot(depth[1], AXIAL_PLAY * narrow), narrow, math.hypot(radius[1], play * narrow)


def view_of(lens: Lens, setting: ShotSetting) -> tuple[View, list[str]]:
    """What the lens document says of the outside at a setting, and notes on what it does not."""
    notes = []
    reach = setting.reach
    if reach is None:
        for state in lens.state:
            if abs(state.focal_length - setting.focal_length) < 0.02 * setting.focal_length and (
                (state.focus_distance == "infinity") == (setting.focus_distance == "infinity")
            ):
                reach = state.reach
    if reach is None:
        reach = 0.0
        notes.append(
            f"The reach at {setting.focal_length:g} mm is not given, so the depth is counted from the seat plane; measure reach."
        )
    clear, depth = lens.front.clear_diameter, lens.front.clear_depth
    radius = (lens.front.rim_diameter - 1.0 if clear is None else clear) / 2
    return View(reach, lens.projection, radius, depth or 0.0, clear is not None and depth is not None), notes


def fit_pupil(
    setting: ShotSetting, pairs: Sequence[TubePair], lens: Lens, camera: Camera, *, own: Ratio | None = None,
    scale: tuple[float, float] | None = None,
) -> PupilFit:  # fmt: skip
    """Fit one setting's pupil to its tubes' shadows.

    own: the map of the bare frame over the bare frame stopped down, which shows the lens's own windows by themselves.
    scale: image distance and its standard error where a ruler has told them, mm.
    Raises MeasureError where a tube does not show or the maps are no shadows of tubes.
    """
    view, notes = view_of(lens, setting)
    blocks = [block_of(pair.ratio, camera, pair.tube) for pair in pairs]
    for pair, block in zip(pairs, blocks, strict=True):
        _shadow_is_there(pair, block)
    if not blocks:
        raise MeasureError(f"at {setting.focal_length:g} mm no tube was photographed; add [[setting.with_tube]] frames.")
    if own is not None and setting.stopped_down_f_number is not None:
        small = setting.focal_length / (2 * setting.stopped_down_f_number)
        blocks.append(block_of(own, camera, None, reference_radius=small))
    start = _first_guess(setting, view, blocks)
    best = _solved(_unknowns(setting, view, blocks, start, scale), blocks, view, setting)
    for rough in ROUGH:
        best, blocks = _again(best, blocks, view, setting, rough=rough)
    rear = False
    for candidate in _rear_starts(best, camera, setting):
        try:
            found = _solved(candidate, blocks, view, setting, kept=best.kept, hasty=True)
        except (OpticsError, np.linalg.LinAlgError):
            continue
        if _better(found, best, remarkable=0.0 if rear else REMARKABLE):
            best, rear = found, True
    for _ in range(AGAIN):
        before = best.values
        best, blocks = _again(best, blocks, view, setting)
        if np.all(np.abs(best.values - before) < 0.1 * np.sqrt(np.diag(best.covariance))):
            break
    fit = PupilFit(setting, view, tuple(blocks), best, rear, (), True)
    refuse_contradiction(fit)
    said, settled = remarks_on(fit)
    return replace(fit, notes=tuple(notes + said), settled=settled)


def _shadow_is_there(pair: TubePair, block: Block) -> None:
    half = int(np.sum((block.value > SHADOW[0]) & (block.value < 1 - 6 * np.maximum(block.error, 0.003))))
    if half < FEWEST_CELLS * len(block.value) or float(np.quantile(block.value, 0.005)) > 0.6:
        raise MeasureError(
            f"{pair.ratio.paths[1]}: the shadow of tube \"{pair.tube.name}\" hardly reaches into the frame; use a longer or narrower "
            "tube, so that the corners go dark."
        )
    if not leaves_enough(block.value):
        raise MeasureError(
            f"{pair.ratio.paths[1]}: tube \"{pair.tube.name}\" darkens more than half of the frame; use a shorter or wider one."
        )


def leaves_enough(value: Array) -> bool:
    """Whether a map (n,) keeps enough of the frame light to be measured on."""
    return float(np.median(value)) >= 0.5


def _first_guess(setting: ShotSetting, view: View, blocks: Sequence[Block]) -> float:
    """The depth at which a pinhole would throw the shadows' edges where they are."""
    depths = []
    for block in blocks:
        if block.tube is None:
            continue
        edge = (block.value > 0.3) & (block.value < 0.7)
        if edge.sum() < 4:
            continue
        scaled = block.points[edge] / setting.focal_length
        slopes = slopes_of_points(scaled, view.mapping.kind, view.mapping.coefficients)
        slope = float(np.median(np.hypot(slopes[:, 0], slopes[:, 1])))
        depths.append(block.tube.inner_diameter / 2 / slope - (block.tube.length - view.reach))
    guess = float(np.median(depths)) if depths else setting.focal_length
    return float(np.clip(guess, -200.0, 2500.0))


def _unknowns(
    setting: ShotSetting, view: View, blocks: Sequence[Block], depth: float, scale: tuple[float, float] | None
) -> list[Unknown]:  # fmt: skip
    f = setting.focal_length
    distance = math.inf if setting.focus_distance == "infinity" else float(setting.focus_distance)
    breathing = 0.0 if math.isinf(distance) else f * f / max(distance - f, f)
    spread = math.hypot(f * setting.focal_length_plus_minus / 100, breathing)
    distance_mean, spread = scale if scale is not None else (f, spread)
    radius = f / (2 * setting.f_number)
    glass = GLASS_PLAY if view.front_known else 0.15 * view.front_radius
    unknowns = [
        Unknown("pupil_depth", depth, 0.0, math.inf, -990.0, 2990.0, 0.02),
        Unknown("pupil_radius", radius, radius, APERTURE_PLAY * radius, 0.2 * radius, 3 * radius, 1e-3 * radius),
        Unknown("image_distance", distance_mean, distance_mean, max(spread, 1e-4 * f), 0.5 * f, 2 * f, 3e-4 * f),
        Unknown("wander", 0.0, 0.0, WANDER * f, -500.0, 500.0, 0.05),
        Unknown("axis_x", 0.0, 0.0, AXIS_PLAY, -5.0, 5.0, 3e-3),
        Unknown("axis_y", 0.0, 0.0, AXIS_PLAY, -5.0, 5.0, 3e-3),
        Unknown("front_radius", view.front_radius, view.front_radius, glass, 0.3 * view.front_radius, 2 * view.front_radius, 0.01),
        Unknown("front_depth", view.front_depth, view.front_depth, glass, -50.0, 200.0, 0.01),
    ]
    if any(block.doubt > 0 for block in blocks):
        doubt = max(block.doubt for block in blocks)
        unknowns.append(Unknown("tone", 0.0, 0.0, doubt, -0.6, 0.6, 1e-3))
    for i, block in enumerate(blocks):
        unknowns += _own_unknowns(i, block)
    return unknowns


def _own_unknowns(i: int, block: Block) -> list[Unknown]:
    """What belongs to one map: how its tube sits and how the light changed."""
    unknowns = [
        Unknown(f"gain {i}", 1.0, 1.0, GAIN_PLAY, 0.5, 2.0, 1e-4, i),
        Unknown(f"slope_x {i}", 0.0, 0.0, SLOPE_PLAY, -0.5, 0.5, 1e-4, i),
        Unknown(f"slope_y {i}", 0.0, 0.0, SLOPE_PLAY, -0.5, 0.5, 1e-4, i),
    ]
    tube = block.tube
    if tube is None:
        small = block.reference_radius
        unknowns.append(Unknown("small_radius", small, small, APERTURE_PLAY * small, 0.2 * small, 3 * small, 2e-3 * small, i))
        return unknowns
    exact = 1e-4
    return unknowns + [
        Unknown(f"decentre_x {i}", 0.0, 0.0, SEAT_PLAY, -20.0, 20.0, 0.01, i),
        Unknown(f"decentre_y {i}", 0.0, 0.0, SEAT_PLAY, -20.0, 20.0, 0.01, i),
        Unknown(f"lean_x {i}", 0.0, 0.0, LEAN, -0.3, 0.3, 1e-3, i),
        Unknown(f"lean_y {i}", 0.0, 0.0, LEAN, -0.3, 0.3, 1e-3, i),
        Unknown(f"tube_radius {i}", tube.inner_diameter / 2, tube.inner_diameter / 2, max(tube.inner_diameter_plus_minus / 2, exact),
                0.5, 1500.0, 0.01, i),
        Unknown(f"tube_length {i}", tube.length, tube.length, max(tube.length_plus_minus, exact), -50.0, 3000.0, 0.01, i),
        Unknown(f"veil {i}", 0.0, 0.0, VEIL_PLAY, -0.2, 0.5, 1e-4, i),
    ]  # fmt: skip


def _again(
    best: Solution, blocks: Sequence[Block], view: View, setting: ShotSetting, *, rough: float = 0.0
) -> tuple[Solution, list[Block]]:
    """The fit with the cells of the half-shadow worked out anew against it, and those maps."""
    refined = []
    for i, block in enumerate(blocks):
        if block.fine is None:
            refined.append(block)
            continue
        cells = expected_of(best.unknowns, best.values, block, i, view, setting)
        refined.append(block.refined(cells, fine_expected(best.unknowns, best.values, block, i, view, setting), rough=rough))
    return _solved(_restarted(best), refined, view, setting), refined


def _rear_starts(best: Solution, camera: Camera, setting: ShotSetting) -> list[list[Unknown]]:
    """Unknowns with a rear window, from several places to start at, the rest from the best fit so far."""
    depth, radius = best.value("pupil_depth"), best.value("pupil_radius")
    corner = math.hypot(*camera.full_frame) / 2 / best.value("image_distance")
    starts = []
    at_rest = [replace(u, start=0.0) if u.name == "wander" else u for u in _restarted(best)]
    depth += 0.3 * corner**2 * best.value("wander")
    for behind, share in ((0.35, 0.5), (1.0, 0.75)):
        away = behind * setting.focal_length
        wide = radius + share * away * corner
        starts.append([
            *(replace(u, start=depth) if u.name == "pupil_depth" else u for u in at_rest),
            Unknown("rear_depth", depth + away, depth + away, 2 * setting.focal_length, depth + 0.02 * away, depth + 60 * away, 0.05),
            Unknown("rear_radius", wide, wide, wide, 0.2 * radius, 50 * wide, 0.02),
        ])  # fmt: skip
    return starts


def _restarted(best: Solution) -> list[Unknown]:
    return [replace(u, start=float(v)) for u, v in zip(best.unknowns, best.values, strict=True)]


def _better(found: Solution, than: Solution, *, remarkable: float) -> bool:
    """Whether the misfit falls by more than chance and small faults of the model could make it, over the cells that both keep."""
    both = [a & b for a, b in zip(found.kept, than.kept, strict=True)]

    def misfit(solution: Solution) -> float:
        seen = sum(float(np.sum(r[k] ** 2)) for r, k in zip(solution.residuals, both, strict=True))
        return seen + solution.cost - sum(float(np.sum(r[k] ** 2)) for r, k in zip(solution.residuals, solution.kept, strict=True))

    return misfit(than) - misfit(found) > remarkable * max(1.0, found.misfit)


def _solved(
    unknowns: Sequence[Unknown], blocks: Sequence[Block], view: View, setting: ShotSetting, *,
    kept: Sequence[NDArray[np.bool_]] | None = None, hasty: bool = False,
) -> Solution:  # fmt: skip
    """The fit of these unknowns; kept: cells found sound by an earlier one; hasty: only so far that it can be judged."""
    fixed = tuple(unknowns)
    memory = Memory()

    def residuals(i: int, x: Array) -> Array:
        block = blocks[i]
        return (expected_of(fixed, x, block, i, view, setting, memory) - block.value) / block.error

    return solve(
        fixed, residuals, len(blocks), clusters=[block.sectors() for block in blocks], kept=kept,
        enough=0.3 if hasty else ENOUGH, steps=10 if hasty else STEPS, rounds=0 if hasty else 2,
    )  # fmt: skip


__all__ = ["Block", "PupilFit", "TubePair", "fit_pupil", "open_end", "view_of"]
