"""Loss in stops over the frame: the sensor's view of a hood, and its worst place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance import occlusion
from shadewright.model.shape import HoodShape, MeshHood
from shadewright.optics.beam import Beam, Job
from shadewright.optics.frame import Frame
from shadewright.optics.settings import Setting

Array = NDArray[np.float64]

FULL_LOSS = 20.0
"""Loss shown where a hood takes the whole beam, stops."""


class Occluder:
    """A hood prepared for loss: its edges, or its triangles where only a mesh is known."""

    def __init__(self, shape: HoodShape, *, step: float = 0.5) -> None:
        """step: degrees between points of a round rim; more than 0.5 is for finding where to look."""
        self.triangles: Array | None = None
        self.edges: occlusion.Edges | None = None
        if isinstance(shape, MeshHood):
            self.triangles = occlusion.triangles_of(shape)
        else:
            self.edges = occlusion.edges_of(shape, step=step)

    def hidden(self, beam: Beam, slopes: Array, *, chords: int = occlusion.CHORDS) -> Array:
        """Hidden share (n,) of the beam at frame slopes (n, 2); NaN where the lens itself passes nothing."""
        slopes = np.ascontiguousarray(slopes, dtype=float)
        shares = np.empty(len(slopes))
        windows, planes = beam.limits(slopes)
        centre = np.array(beam.centre)
        if self.edges is not None:
            occlusion.hidden_shares(
                windows, planes, centre, slopes, beam.object_distance, self.edges.ahead_of(beam.reach), self.edges.normals,
                self.edges.loop_at, chords, shares,
            )  # fmt: skip
        else:
            assert self.triangles is not None
            moved = self.triangles - np.array([0.0, 0.0, beam.reach])
            occlusion.mesh_hidden_shares(
                windows, planes, centre, slopes, beam.object_distance, moved, occlusion.RASTER, shares
            )
        return shares

    def hidden_glass(self, radius: float, reach: float, slopes: Array, *, chords: int = occlusion.CHORDS) -> Array:
        """Hidden share (n,) of a front glass of `radius` mm at `reach` for distant sources at slopes (n, 2)."""
        slopes = np.ascontiguousarray(slopes, dtype=float)
        shares = np.empty(len(slopes))
        windows, planes = np.array([[0.0, radius, 0.0, 0.0]]), np.empty((len(slopes), 0))
        if self.edges is not None:
            occlusion.hidden_shares(
                windows, planes, np.zeros(3), slopes, np.inf, self.edges.ahead_of(reach), self.edges.normals, self.edges.loop_at, chords,
                shares,
            )  # fmt: skip
        else:
            assert self.triangles is not None
            moved = self.triangles - np.array([0.0, 0.0, reach])
            occlusion.mesh_hidden_shares(
                windows, planes, np.zeros(3), slopes, np.inf, moved, occlusion.RASTER, shares
            )
        return shares


def stops(hidden: Array) -> Array:
    """Loss in stops of hidden shares: -log2(1 - hidden), at most FULL_LOSS; NaN stays NaN."""
    return np.minimum(-np.log2(np.maximum(1.0 - np.asarray(hidden), 2.0**-FULL_LOSS)), FULL_LOSS) + 0.0


@dataclass(frozen=True, eq=False)
class SensorView:
    """The sensor's view at one setting: frame points (rows, columns, 2) in mm and loss (rows, columns) in stops.

    vignetting: (rows, columns) the lens's own loss by its windows, without any hood, in stops relative to the axis.
    """

    label: str
    points: Array
    loss: Array
    vignetting: Array

    @property
    def worst(self) -> float:
        """Largest loss in the view, stops; NaN where the lens passes nothing at all."""
        return float(np.nanmax(self.loss)) if np.any(np.isfinite(self.loss)) else float("nan")


def sensor_view(beam: Beam, shape: HoodShape, *, columns: int = 61, rows: int = 41) -> SensorView:
    """The map of loss over the frame at one setting."""
    points = beam.frame.grid(columns, rows)
    flat = points.reshape(-1, 2)
    valid = np.all(np.isfinite(flat), axis=1)
    loss = np.full(len(flat), np.nan)
    own = np.full(len(flat), np.nan)
    slopes = beam.frame.slopes(flat[valid])
    loss[valid] = stops(Occluder(shape).hidden(beam, slopes))
    own[valid] = window_vignetting(beam, slopes)
    return SensorView(beam.label, points, loss.reshape(rows, columns), own.reshape(rows, columns))


def window_vignetting(beam: Beam, slopes: Array) -> Array:
    """The lens's own loss (n,) in stops at frame slopes (n, 2): area of the overlap of windows against the axis."""
    slopes = np.ascontiguousarray(np.vstack([np.zeros((1, 2)), np.asarray(slopes, dtype=float)]))
    areas = np.empty(len(slopes))
    windows, planes = beam.limits(slopes)
    occlusion.opening_areas(
        windows, planes, np.array(beam.centre), slopes, beam.object_distance, occlusion.CHORDS, areas
    )
    if areas[0] <= 0:
        return np.full(len(slopes) - 1, np.nan)
    return stops(1.0 - areas[1:] / areas[0])


OWN_LOSS = 3.0
"""A lens that darkens its own corners by more than this at full aperture has probably been measured wrong, stops."""


def own_darkening(job: Job) -> list[str]:
    """A sentence where the windows by themselves darken the frame more than any usual lens does, at the listed settings."""
    if job.resolved.pupil_estimated:
        return []
    worst, where = 0.0, ""
    for setting in job.resolved.settings:
        beam = job.beam(setting)
        loss = window_vignetting(beam, frame_samples(beam))
        loss = np.where(np.isfinite(loss), loss, FULL_LOSS)
        if float(loss.max()) > worst:
            worst, where = float(loss.max()), beam.label
    if worst <= OWN_LOSS:
        return []
    dark = "passes nothing at all" if worst >= FULL_LOSS else f"loses {worst:.1f} stops"
    if job.lens.prescription is not None:
        return [
            f"By its prescription the lens itself {dark} somewhere in the frame at {where}, without any hood: it was made for a "
            "smaller frame, or semi_diameter is too small somewhere. Where no light passes no hood can show."
        ]
    return [
        f"By these values the lens itself {dark} somewhere in the frame at {where}, without any hood: measure pupil_depth, the "
        "glass and the windows again. Where no light passes no hood can show, so the answer may be far too deep."
    ]


@dataclass(frozen=True)
class WorstLoss:
    """The worst loss found: stops, the setting's label and the frame point in words and mm."""

    stops: float
    label: str
    where: str
    point: tuple[float, float]


def frame_samples(beam: Beam, *, per_side: int = 16, inner: int = 5) -> Array:
    """Frame slopes (n, 2) at which loss is judged: the outline closely, corners included, and a coarse grid inside."""
    return _samples(beam.frame, per_side, inner)


@lru_cache(maxsize=256)
def _samples(frame: Frame, per_side: int, inner: int) -> Array:
    """The samples of a frame, worked out once: a lens's settings often share it."""
    slopes = []
    for outline in frame.outlines():
        following = np.roll(outline, -1, 0)
        count = max(2, per_side * 4 // len(outline))
        share = np.arange(count)[:, None] / count
        for a, b in zip(outline, following, strict=True):
            slopes.append(a + (b - a) * share)
    grid = frame.grid(inner, inner).reshape(-1, 2)
    slopes.append(grid[np.all(np.isfinite(grid), axis=1)])
    found = frame.slopes(np.concatenate(slopes))
    found.setflags(write=False)
    return found


def apertures(setting: Setting) -> list[Setting]:
    """The setting at its widest aperture and stopped down in whole stops to its smallest."""
    f_number, settings = setting.f_number, [setting]
    while f_number * 2**0.5 < setting.smallest_f_number * 1.001:
        f_number *= 2**0.5
        settings.append(setting.stopped_down(f_number))
    if settings[-1].f_number < setting.smallest_f_number * 0.999:
        settings.append(setting.stopped_down(setting.smallest_f_number))
    return settings


def worst_of_beam(beam: Beam, occluder: Occluder) -> WorstLoss:
    """The worst loss of one beam over the frame: sampled along the outline and refined about the worst place."""
    coarse, slope = coarse_worst(beam, occluder)
    if coarse <= 0:
        return _worst_at(beam, 0.0, slope)
    best, point = coarse, beam.frame.points(slope[None, :])[0]
    size = 2 * np.array([beam.frame.half_width, beam.frame.half_height]) / 24
    limit = np.max(np.abs(np.concatenate(beam.frame.outlines())), axis=0)
    grid = np.stack(np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-1, 1, 5)), axis=-1).reshape(-1, 2)
    for _ in range(4):
        near = np.clip(point + grid * size, -limit, limit)
        near = near[_inside(beam, near)]
        if len(near) == 0:
            break
        found = np.nan_to_num(stops(occluder.hidden(beam, beam.frame.slopes(near))), nan=0.0)
        j = int(np.argmax(found))
        if found[j] > best:
            best, point = float(found[j]), near[j]
        size = size / 2.5
    return _worst_at(beam, best, beam.frame.slopes(point[None, :])[0])


def _worst_at(beam: Beam, loss: float, slope: Array) -> WorstLoss:
    point = beam.frame.points(slope[None, :])[0]
    return WorstLoss(loss, beam.label, beam.frame.describe(slope), (float(point[0]), float(point[1])))


def coarse_worst(beam: Beam, occluder: Occluder) -> tuple[float, Array]:
    """Largest loss (stops) over samples of the frame, and its slope; sums below rounding count as nothing."""
    slopes = frame_samples(beam)
    loss = np.nan_to_num(stops(occluder.hidden(beam, slopes, chords=96)), nan=0.0)
    k = int(np.argmax(loss))
    return (float(loss[k]) if loss[k] > 1e-9 else 0.0), slopes[k]


def _inside(beam: Beam, points: Array) -> NDArray[np.bool_]:
    inside = np.zeros(len(points), bool)
    for outline in beam.frame.outlines():
        along = np.roll(outline, -1, 0) - outline
        cross = along[None, :, 0] * (points[:, None, 1] - outline[None, :, 1]) - along[None, :, 1] * (
            points[:, None, 0] - outline[None, :, 0]
        )
        inside |= np.all(cross >= -1e-9, axis=1)
    return inside


def worst_loss(
    job: Job, settings: Iterable[Setting], shape: HoodShape, *, stopped_down: bool = True
) -> list[WorstLoss]:
    """The worst loss of each setting over the frame, over its apertures and over what is uncertain, stops."""
    occluder = Occluder(shape)
    worst = []
    for setting in settings:
        candidates: Sequence[Setting] = apertures(setting) if stopped_down else [setting]
        beams = [job.beam(variant) for candidate in candidates for variant in job.variants(candidate)]
        found = [coarse_worst(beam, occluder)[0] for beam in beams]
        worst.append(worst_of_beam(beams[int(np.argmax(found))], occluder))
    return worst
