"""From fitted frames to a lens document, and what the uncertainty of a measured lens does to its rim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.keepout import keep_out
from shadewright.errors import MeasureError
from shadewright.measure.blocks import average
from shadewright.measure.fitting import two_sided
from shadewright.measure.frames import About
from shadewright.measure.pairs import Ratio, pair_ratio, ratio_of_files
from shadewright.measure.parallax import scale_of
from shadewright.measure.pupil import GROWTH, SHADOWED, PupilFit, TubePair, fit_pupil
from shadewright.model.camera import Camera
from shadewright.model.hood import Margin
from shadewright.model.lens import Front, Lens, State, Window
from shadewright.model.shape import RoundWall
from shadewright.model.shots import Shots, ShotSetting
from shadewright.optics.beam import Job, job
from shadewright.optics.projection import image_height

Array = NDArray[np.float64]

CONFIDENCE = 0.95
"""The chance that the truth lies within what is stated as plus or minus, unless asked otherwise."""
WINDOW_ROOM = 2.0
"""A rear window is written into the lens document wider by this many standard errors, which is the safe side."""

LEAST_WANDER = 0.02
"""A pupil that moves by less than this to the frame's corner is written as one that does not, mm."""


@dataclass(frozen=True, eq=False)
class RimChoice:
    """Rims of a measured lens on a wall, mm ahead of the seat at `azimuth` degrees: the best guess, and those that are safe."""

    azimuth: Array
    nominal: Array
    safe: Array
    """Safe all round at once with the chance asked for, by draws from the covariance."""
    documented: Array
    """Of the lens document, whose depth is taken over its whole interval."""
    confidence: float
    draws: int

    @property
    def cost(self) -> float:
        """What the uncertainty costs in depth where it costs most, mm."""
        return float(np.max(self.nominal - self.safe))


def fit_shots(shots: Shots, lens: Lens, camera: Camera, *, folder: Path) -> list[PupilFit]:
    """The pupil at every setting of a shots document that has tubes, frames read from `folder`. Raises MeasureError, FileError."""
    if lens.state == ():
        raise MeasureError(f'lens "{lens.name}" is known by its prescription; measure a lens document with [[state]] tables.')
    fits = []
    for setting in shots.setting:
        if setting.with_tube:
            fits.append(_fit_setting(shots, setting, lens, camera, folder))
    if not fits:
        raise MeasureError("the shots document names no frames with a tube; add [[setting.with_tube]] with tube and frames.")
    return fits


def _fit_setting(shots: Shots, setting: ShotSetting, lens: Lens, camera: Camera, folder: Path) -> PupilFit:
    pairs = []
    for entry in setting.with_tube:
        bare = [folder / name for name in (entry.bare or setting.bare)]
        pairs.append(TubePair(shots.tube_named(entry.tube), ratio_of_files(bare, [folder / name for name in entry.frames])))
    _as_told(setting, pairs[0].ratio.about, pairs[0].ratio.paths[0])
    scale = _image_distance(scale_of(shots, camera, setting.focal_length, setting.focus_distance), lens, camera)
    fit = fit_pupil(setting, pairs, lens, camera, own=own_windows(setting, folder), scale=scale)
    heard = [note for pair in pairs for note in pair.ratio.notes]
    return replace(fit, notes=(*dict.fromkeys(heard), *fit.notes))


def _image_distance(scale: tuple[float, float] | None, lens: Lens, camera: Camera) -> tuple[float, float] | None:
    """What a ruler tells at the frame's edge, as the image distance of the lens's mapping, and its standard error, mm."""
    if scale is None:
        return None
    half = camera.full_frame[0] / 2
    mapping = lens.projection
    gain = half / scale[0] / float(image_height(np.array([half / scale[0]]), mapping.kind, mapping.coefficients)[0])
    return scale[0] * gain, scale[1] * gain


def _as_told(setting: ShotSetting, about: About, path: Path) -> None:
    """Raises MeasureError where the file says that the lens was set otherwise than the document does."""
    if about.focal_length and abs(math.log(about.focal_length / setting.focal_length)) > 0.08:
        raise MeasureError(
            f"{path}: was shot at {about.focal_length:.4g} mm, but the document says focal_length = {setting.focal_length:g}; "
            "correct one of them."
        )
    if about.f_number and abs(math.log2(about.f_number / setting.f_number)) > 0.25:
        raise MeasureError(
            f"{path}: was shot at f/{about.f_number:.3g}, but the document says f_number = {setting.f_number:g}; correct one of them."
        )


def own_windows(setting: ShotSetting, folder: Path) -> Ratio | None:
    """The bare frames over the bare frames stopped down, or None where none were taken."""
    if not setting.stopped_down or not setting.bare:
        return None
    small, wide = average(folder / name for name in setting.stopped_down), average(folder / name for name in setting.bare)
    # Exposures differ on purpose: the small aperture's light is brought to the wide one's in the middle.
    level = float(np.mean(wide.levels)) / max(float(np.mean(small.levels)), 1e-9)
    small = replace(small, light=small.light * level, noise=small.noise * level**2, about=About(), levels=wide.levels)
    return pair_ratio(small, replace(wide, about=About()))


def measured_lens(lens: Lens, fits: Sequence[PupilFit], *, confidence: float = CONFIDENCE) -> Lens:
    """The lens document with what was measured: pupil depths with their intervals, effective f-numbers, image distances, windows.

    A rear window is written where every state has one, since leaving it out is safe.
    """
    spread = two_sided(confidence)
    states = list(lens.state)
    for fit in fits:
        at = _state_of(states, fit.setting)
        before = states[at] if at is not None else None
        state = _state(fit, before, spread)
        if at is None:
            states.append(state)
        else:
            states[at] = state
    measured = {id(s) for s in states if s.rear_window is not None}
    if 0 < len(measured) < len(states):
        states = [state.model_copy(update={"rear_window": None}) for state in states]
    return lens.model_copy(update={"state": tuple(states), "front": _front(lens, fits)})


def _state_of(states: Sequence[State], setting: ShotSetting) -> int | None:
    for k, state in enumerate(states):
        near = setting.focus_distance == state.focus_distance or (
            isinstance(setting.focus_distance, float) and isinstance(state.focus_distance, float)
            and abs(math.log(setting.focus_distance / state.focus_distance)) < 0.05
        )  # fmt: skip
        if near and abs(math.log(state.focal_length / setting.focal_length)) < 0.02:
            return k
    return None


def _state(fit: PupilFit, before: State | None, spread: float) -> State:
    solution, setting = fit.solution, fit.setting
    rear = None
    if fit.rear:
        rear = Window(
            depth=round(solution.value("rear_depth"), 2),
            radius=round(solution.value("rear_radius") + WINDOW_ROOM * solution.error("rear_radius"), 2),
        )
    edge = fit.steepest
    doubt = max(fit.depth_at(share * edge)[1] for share in (0.0, 0.5, 0.75, 1.0))
    wander, grown = solution.value("wander"), growth_room(fit)
    focal = before.focal_length if before is not None else setting.focal_length
    # The radius is made wider by its own interval: a wider beam is the safe side.
    radius = fit.radius + spread * solution.error("pupil_radius")
    fields = before.model_dump(exclude={"rear_window"}, exclude_defaults=True) if before is not None else {}
    fields |= {
        "focal_length": focal, "focus_distance": setting.focus_distance, "f_number": round(focal / (2 * radius), 4),
        "reach": fit.view.reach, "pupil_depth": round(fit.depth, 3),
        "pupil_depth_plus_minus": round(math.ceil(1000 * spread * doubt) / 1000, 3),
        "pupil_wander": (round(wander, 3) if abs(wander) * edge**2 > LEAST_WANDER else 0.0, round(grown / edge**4, 3)),
        # A shorter image distance widens the field: the safe side.
        "image_distance": round(solution.value("image_distance") - spread * solution.error("image_distance"), 3),
        "rear_window": rear,
    }  # fmt: skip
    if (fields.get("smallest_f_number") or 128) < fields["f_number"]:
        fields["smallest_f_number"] = fields["f_number"]
    return State.model_validate(fields)


def growth_room(fit: PupilFit) -> float:
    """How much deeper the pupil seems at the frame's corner than the fitted disc, mm: real pupils grow on from where shadows showed them.

    0 where a further window was found, which holds the beams from growing.
    """
    edge = fit.steepest
    return 0.0 if fit.rear else 3.0 * GROWTH * fit.radius * edge * (1.0 - SHADOWED**2)


def _front(lens: Lens, fits: Sequence[PupilFit]) -> Front:
    """The front with its clear glass where calipers did not give it and the frames do."""
    if lens.front.clear_diameter is not None:
        return lens.front
    told = [fit for fit in fits if fit.solution.told("front_radius") > 0.9]
    if not told:
        return lens.front
    widest = max(told, key=lambda fit: fit.solution.value("front_radius"))
    radius = widest.solution.value("front_radius") + WINDOW_ROOM * widest.solution.error("front_radius")
    depth = max(0.0, widest.solution.value("front_depth"))
    if 2 * radius >= lens.front.rim_diameter:
        return lens.front
    return lens.front.model_copy(update={"clear_diameter": round(2 * radius, 2), "clear_depth": round(depth, 2)})


def rim_choice(
    lens: Lens, fits: Sequence[PupilFit], camera: Camera, *, radius: float, confidence: float = CONFIDENCE, draws: int = 64, seed: int = 1
) -> RimChoice:
    """The deepest rim on a tube of `radius` mm inside, safe with the chance asked for, and what the uncertainty costs.

    Lenses are drawn from the fits' covariances, the rim of each worked out, and the lowest of the share that is asked for
    taken all round. Raises MeasureError, OpticsError.
    """
    two_sided(confidence)
    azimuth = np.arange(0.0, 360.0, 3.0)
    rng = np.random.default_rng(seed)
    nominal = _rim(_drawn(lens, fits, None), camera, radius, azimuth)
    found = np.array([_rim(_drawn(lens, fits, rng), camera, radius, azimuth) for _ in range(draws)])
    # The draws that come out lowest somewhere, against the best guess, are left out last.
    shortfall = np.max(nominal - found, axis=1)
    within = np.argsort(shortfall)[: math.ceil(confidence * draws)]
    safe = np.minimum(nominal, found[within].min(axis=0))
    documented = _rim(measured_lens(lens, fits, confidence=confidence), camera, radius, azimuth)
    return RimChoice(azimuth, nominal, safe, documented, confidence, draws)


def _rim(lens: Lens, camera: Camera, radius: float, azimuth: Array) -> Array:
    work: Job = job(lens, camera)
    beams = work.beams(work.resolved.settings)
    keepout = keep_out(beams, margin=Margin(radial=0.0, axial=0.0, rotation=0.0))
    seat = min(0.0, min(beam.reach for beam in beams))
    return keepout.rim(RoundWall((seat,), (radius,)), azimuth, cap=500.0).value


def _drawn(lens: Lens, fits: Sequence[PupilFit], rng: np.random.Generator | None) -> Lens:
    """A lens of exact values: the best guess, or a draw from the covariances."""
    chosen = []
    for fit in fits:
        solution = fit.solution
        values = solution.values
        if rng is not None:
            values = rng.multivariate_normal(solution.values, solution.covariance, method="eigh")
            low, high = np.array([u.low for u in solution.unknowns]), np.array([u.high for u in solution.unknowns])
            values = np.clip(values, low, high)
        chosen.append(replace(fit, solution=replace(solution, values=values, covariance=np.zeros_like(solution.covariance))))
    return measured_lens(lens, chosen)
