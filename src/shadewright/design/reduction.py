"""A traced lens reduced to what a ruler and test shots could tell of it, and what that costs.

Per setting the reduction keeps a pupil, the front glass and one rear window, all circular: depth and radius of the pupil and
of the rear window are fitted to the traced footprints over the frame, the pupil's depth fixed or changing with the field
angle. Beside it stand the two cruder models: the pupil alone and its middle alone (the pinhole).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.clearance.loss import Occluder, worst_of_beam
from shadewright.errors import OpticsError
from shadewright.model.lens import Front, Lens, Mapping, Projection, Seat, State, Window
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.optics.beam import Beam, Job
from shadewright.optics.footprints import Footprints, normals
from shadewright.optics.settings import Setting
from shadewright.optics.wandering import boundary as disc_boundary
from shadewright.optics.wandering import discs, window_footprints

Array = NDArray[np.float64]

FIELDS = 15
"""Field slopes at which a reduction is fitted."""
DIRECTIONS = 48
"""Directions round each footprint at which its boundary is compared."""
PUPIL_SPREAD = 1.25
"""How much larger or smaller than the paraxial pupil the fitted one may be."""
AZIMUTHS = 180
TERMS = 3
"""Coefficients of the measured projection."""


@dataclass(frozen=True)
class ReducedState:
    """One setting reduced. Lengths in mm from the front glass's edge; rms: of the boundary's misfit over the frame."""

    setting: Setting
    pupil_depth: float
    pupil_radius: float
    rear_depth: float
    rear_radius: float
    coefficients: tuple[float, ...]
    rms: float
    worst: float
    wander: tuple[float, float] = (0.0, 0.0)
    """Added to the pupil's depth with the field slope τ: w1 τ² + w2 τ⁴, mm."""

    @property
    def windows(self) -> tuple[tuple[float, float, float, float], ...]:
        """Pupil, front glass and rear window as a beam takes them."""
        return (
            (self.pupil_depth, self.pupil_radius, 0.0, 0.0),
            self.setting.windows[1],
            (self.rear_depth, self.rear_radius, 0.0, 0.0),
        )


@dataclass(frozen=True)
class ModelError:
    """How far a simpler model is from the traced lens.

    too_deep, too_shallow: largest error of its deepest rim, mm, on the unsafe and on the safe side. loss: the worst loss
    in stops that a hood cut to its rim causes in the traced lens. plain: error of its deepest plain hood, mm, unsafe above
    0.
    """

    model: str
    too_deep: float
    too_shallow: float
    loss: float
    plain: float


@dataclass(frozen=True)
class Comparison:
    """A traced lens on a camera against simpler models, on one tube of a hood."""

    label: str
    radius: float
    rim: Array
    errors: tuple[ModelError, ...]

    def error(self, model: str) -> ModelError:
        """The error of one model."""
        return next(entry for entry in self.errors if entry.model == model)


def boundary(footprints: Footprints, slopes: Array, middle: Array, angles: Array) -> Array:
    """Distance (n, m) from points (n,) on the slope's axis to the footprints of slopes (n,) in directions (m,)."""
    psi = normals()
    support = footprints.planes(slopes)
    cosine = np.cos(psi[None, :] - angles[:, None])
    room = support - middle[:, None] * np.cos(psi)[None, :]
    reach = room[:, None, :] / np.where(cosine > 1e-6, cosine, np.nan)[None, :, :]
    return np.asarray(np.nanmin(reach, axis=2))


def reduce_setting(job: Job, setting: Setting, *, wandering: bool = False) -> ReducedState:
    """The windows that come nearest to a traced setting over the frame.

    wandering: whether the pupil's depth may change with the field angle. Raises OpticsError for a setting not traced.
    """
    from scipy.optimize import least_squares

    beam = job.beam(setting)
    table = beam.footprints
    if table is None or setting.traced is None:
        raise OpticsError("only a lens with a prescription can be reduced to windows.")
    corner = float(np.max(np.hypot(*np.concatenate(beam.pieces).T)))
    slopes = np.linspace(0.0, min(corner, 0.995 * float(table.slope[-1])), FIELDS)
    middle = np.interp(slopes, table.slope, table.centre)
    angles = np.linspace(0.0, math.pi, DIRECTIONS)
    wanted = boundary(table, slopes, middle, angles)
    distance = table.distance + table.depth
    glass = setting.windows[1][:2]
    pupil = setting.windows[0][1]

    def misfit(values: Array) -> Array:
        depth, wide, rear, radius, *wander = values
        windows = np.array([(depth, wide, 0.0, 0.0), (*glass, 0.0, 0.0), (rear, math.exp(radius), 0.0, 0.0)])
        moves = (float(wander[0]), float(wander[1])) if wandering else (0.0, 0.0)
        centres, radii = discs(windows, moves, slopes, distance, reference=table.depth)
        return np.asarray(disc_boundary(centres, radii, middle, angles)[0] - wanted).ravel()

    best: tuple[float, Array] | None = None
    wander = table.pupil[np.isfinite(table.pupil)]
    depth = float(wander.mean())
    # The pupil stays where chief rays of some field cross the axis: a window that fits better elsewhere is no pupil.
    low, high = wander.min() - 1e-6, wander.max() + 1e-6
    moves = 2 if wandering else 0
    far, wide = 50.0 * max(abs(depth), pupil), math.log(50.0 * pupil)
    bounds = (
        [low, pupil / PUPIL_SPREAD, -far, math.log(0.2 * pupil), *[-1000.0] * moves],
        [high, pupil * PUPIL_SPREAD, far, wide, *[1000.0] * moves],
    )
    for behind in (-1.5, 0.6, 1.5, 3.0):
        start = np.array([depth, pupil, depth + behind * max(abs(depth), pupil), math.log(1.5 * pupil), *[0.0] * moves])
        found = least_squares(misfit, start, bounds=bounds, loss="soft_l1", f_scale=max(0.05 * pupil, 1e-3), max_nfev=400)
        cost = float(np.mean(misfit(found.x) ** 2))
        if best is None or cost < best[0]:
            best = (cost, found.x)
    assert best is not None
    depth, opening, rear, radius, *moved = (float(value) for value in best[1])
    return ReducedState(
        setting=setting,
        pupil_depth=depth,
        pupil_radius=opening,
        rear_depth=rear,
        rear_radius=math.exp(radius),
        coefficients=_projection(table, setting),
        rms=math.sqrt(best[0]),
        worst=float(np.max(np.abs(misfit(best[1])))),
        wander=(moved[0], moved[1]) if wandering else (0.0, 0.0),
    )


def _projection(table: Footprints, setting: Setting) -> tuple[float, ...]:
    """Coefficients of r = f tau (1 + c1 tau^2 + ...) through the chief rays, f the focal length or what stands for it."""
    away = table.slope > 1e-6
    slope, height = table.slope[away], table.height[away]
    if len(slope) < TERMS + 1:
        return ()
    ratio = height / (_image_distance(table, setting) * slope) - 1.0
    powers = np.stack([slope ** (2 * k) for k in range(1, TERMS + 1)], axis=1)
    weight = slope[:, None]
    return tuple(float(c) for c in np.linalg.lstsq(powers * weight, ratio * weight[:, 0], rcond=None)[0])


def _image_distance(table: Footprints, setting: Setting) -> float:
    """What divides small image heights to give slope, mm."""
    if len(table.slope) < 3:
        return setting.image_distance
    near = max(2, int(np.searchsorted(table.height, 0.1 * table.height[-1])))
    return float(np.sum(table.height[1:near] * table.slope[1:near]) / np.sum(table.slope[1:near] ** 2))


def windows_beam(job: Job, reduced: ReducedState) -> Beam:
    """The reduced setting's beam, with the traced field."""
    traced = job.beam(reduced.setting)
    windows = np.array(reduced.windows)
    assert traced.footprints is not None
    footprints = window_footprints(
        windows, reduced.wander, steepest=float(np.max(np.hypot(*np.concatenate(traced.pieces).T))),
        object_distance=traced.object_distance, reference=traced.footprints.depth,
    )  # fmt: skip
    return replace(traced, windows=windows, footprints=footprints)


def pinhole_beam(job: Job, setting: Setting) -> Beam:
    """The beam of the paraxial pupil's middle alone, with the traced field."""
    return replace(job.beam(setting), windows=np.array([(setting.windows[0][0], 1e-6, 0.0, 0.0)]), footprints=None)


def pupil_beam(job: Job, setting: Setting) -> Beam:
    """The beam of the paraxial pupil alone, with the traced field."""
    return replace(job.beam(setting), windows=np.array([setting.windows[0]]), footprints=None)


def compare(job: Job, *, radius: float, longest: float = 300.0) -> tuple[Comparison, list[ReducedState]]:
    """How far pinhole, pupil alone and fitted windows are from the traced rim on a tube of a radius in mm.

    Returns with it the settings reduced to windows, their pupils wandering.
    """
    settings = job.resolved.settings
    azimuth = np.linspace(0.0, 360.0, AZIMUTHS, endpoint=False)
    wall = RoundWall((0.0,), (radius,))
    truth_beams = [job.beam(setting) for setting in settings]
    truth = keep_out(truth_beams).rim(wall, azimuth, cap=longest).value
    fixed = [reduce_setting(job, setting) for setting in settings]
    wandering = [reduce_setting(job, setting, wandering=True) for setting in settings]
    models = {
        "pinhole": [pinhole_beam(job, setting) for setting in settings],
        "pupil alone": [pupil_beam(job, setting) for setting in settings],
        "windows": [windows_beam(job, state) for state in fixed],
        "windows, pupil wandering": [windows_beam(job, state) for state in wandering],
    }
    errors = tuple(
        _error(name, keep_out(beams), wall, azimuth, truth, truth_beams, longest) for name, beams in models.items()
    )
    return Comparison(truth_beams[0].label, radius, truth, errors), wandering


def _error(
    name: str, keepout: KeepOut, wall: RoundWall, azimuth: Array, truth: Array, beams: Sequence[Beam], longest: float
) -> ModelError:
    rim = keepout.rim(wall, azimuth, cap=longest).value
    off = rim - truth
    occluder = Occluder(RoundHood(wall, Rim.from_arrays(azimuth, rim)))
    loss = max(worst_of_beam(beam, occluder).stops for beam in beams)
    return ModelError(
        name, max(0.0, float(off.max())), max(0.0, float(-off.min())), loss, float(rim.min() - truth.min())
    )


def measured_lens(job: Job, reduced: Sequence[ReducedState]) -> Lens:
    """A lens document of states and windows that stands for the traced lens."""
    front = job.lens.front
    states = []
    for state in reduced:
        setting = state.setting
        table = job.beam(setting).footprints
        assert table is not None
        opening = setting.focal_length / (2 * state.pupil_radius)
        states.append(
            State(
                focal_length=round(setting.focal_length, 4),
                f_number=round(opening, 4),
                smallest_f_number=round(max(setting.smallest_f_number, opening), 4),
                focus_distance="infinity" if math.isinf(setting.focus_distance) else round(setting.focus_distance, 3),
                reach=round(setting.reach, 4),
                pupil_depth=round(state.pupil_depth, 4),
                pupil_depth_plus_minus=0.0 if any(state.wander) else round(state.rms, 4),
                pupil_wander=(round(state.wander[0], 4), round(state.wander[1], 4)),
                image_distance=round(_image_distance(table, setting), 4),
                rear_window=Window(depth=round(state.rear_depth, 4), radius=round(state.rear_radius, 4)),
                shift=setting.shift,
            )
        )
    glass = 2 * max(state.setting.front_radius for state in reduced)
    return Lens(
        document="lens",
        version=1,
        name=f"{job.lens.name}, reduced",
        notes="Windows fitted to the traced beams of a prescription.",
        front=Front(
            rim_diameter=front.rim_diameter,
            clear_diameter=round(min(glass, front.rim_diameter), 4),
            clear_depth=0.0,
            filter_thread=front.filter_thread,
            turns=front.turns,
        ),
        seat=Seat(on=job.lens.seat.on, diameter=job.lens.seat.diameter),
        projection=Mapping(kind=Projection.MEASURED, coefficients=reduced[0].coefficients),
        state=tuple(states),
    )
