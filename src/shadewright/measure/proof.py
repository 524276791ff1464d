"""Proof of a finished hood from photographs: where it shows, by how much, and how it sits on the lens."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.loss import Occluder, stops
from shadewright.errors import MeasureError, OpticsError
from shadewright.measure.intrusion import Intrusion, Place, find_intrusion
from shadewright.measure.pairs import Ratio, ratio_of_files
from shadewright.model.camera import Orientation
from shadewright.model.shape import HoodShape
from shadewright.model.shots import Shots, ShotSetting
from shadewright.optics.beam import Beam, Job
from shadewright.optics.settings import Setting, at

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]

PRIOR = np.array([6.0, 3.0, 1.0, 1.0])
"""How far off a hood may sit before the photographs are seen: turn in degrees, forward, right and up in mm (no source)."""
TURNS = np.arange(-12.0, 12.5, 1.0)
SEATINGS = tuple(np.array([t, 2.0, r, u]) for t in (-10.0, -5.0, 0.0, 5.0, 10.0) for r, u in ((0.7, 0.7), (-0.7, -0.7)))
"""Seatings tried to find the cells that a hood can shade at all."""
COARSE = 3
"""Every so many cells are looked at for that."""
FINE = 72
"""Points along the width of a frame at least, at which light is worked out."""
MODEL_FLOOR, MODEL_SHARE = 0.004, 0.03
"""How far light left may differ from what is worked out for want of walls' reflections, flare and exact windows: of the
open light, and of the light taken (no source)."""
SMALLEST_PROVEN = 0.05
"""A pair with a noise floor above this, or above the allowance, proves nothing, stops."""
ASPECT = 0.04
"""Relative difference of the sides' ratio from which a picture is not of the camera's frame."""


class Finding(StrEnum):
    """What a pair, or all of them, prove."""

    CLEAR = "clear"  # no loss found, and little enough noise to have found the allowance
    WITHIN = "within the allowance"
    SHOWS = "shows"
    UNSETTLED = "unsettled"  # too noisy to tell


@dataclass(frozen=True)
class Seating:
    """How the hood sits: turn in degrees from +x towards +y, the rest in mm; `errors` are standard errors in that order."""

    turn: float
    forward: float
    right: float
    up: float
    errors: tuple[float, float, float, float]
    turn_range: tuple[float, float]
    """Turns that the photographs allow with 95 % confidence, the rest as stated, degrees; at most those tried."""

    @property
    def told(self) -> tuple[bool, bool, bool, bool]:
        """Which of turn, forward, right and up the photographs settle, rather than what was supposed before."""
        turn, forward, right, up = (bool(error < 0.5 * before) for error, before in zip(self.errors, PRIOR, strict=True))
        return turn, forward, right, up


@dataclass(frozen=True, eq=False)
class PairProof:
    """One setting's pair: the map, what was found in it, what the documents expect, and the finding."""

    setting: Setting
    ratio: Ratio
    intrusion: Intrusion
    expected: Array
    """(rows, columns) loss that lens, camera and hood document predict, stops."""
    fitted: Array
    """(rows, columns) the same with the seating that was found."""
    points: Array
    finding: Finding
    worst: Place
    stretch: tuple[float, float]
    """The worst loss with 95 % confidence and the tone curve's doubt, from and to, stops."""


@dataclass(frozen=True, eq=False)
class Proof:
    """All pairs of one hood together."""

    pairs: tuple[PairProof, ...]
    seating: Seating | None
    finding: Finding
    allowance: float
    notes: tuple[str, ...]

    @property
    def passes(self) -> bool:
        """Whether no pair shows more than the allowance and every pair could have told."""
        return self.finding in (Finding.CLEAR, Finding.WITHIN)


def prove(
    job: Job, shape: HoodShape, shots: Shots, folder: Path, *, allowance: float = 0.0, progress: Progress | None = None
) -> Proof:
    """Judge the pairs (bare, with_hood) of a shots document whose files lie in `folder`, against the allowance in stops.

    Raises MeasureError, FileError, OpticsError.
    """
    wanted = [entry for entry in shots.setting if entry.with_hood]
    if not wanted:
        raise MeasureError("setting: none lists frames with_hood; add the photographs with the hood on, beside bare ones.")
    ratios = []
    for k, entry in enumerate(wanted):
        if progress is not None:
            progress(f"reading pair {k + 1} of {len(wanted)}", k / len(wanted))
        ratio = ratio_of_files([folder / name for name in entry.bare], [folder / name for name in entry.with_hood])
        _agrees(entry, ratio)
        ratios.append(ratio)
    return prove_pairs(job, shape, list(zip(wanted, ratios, strict=True)), allowance=allowance)


def prove_pairs(
    job: Job, shape: HoodShape, pairs: Sequence[tuple[ShotSetting, Ratio]], *, allowance: float = 0.0
) -> Proof:
    """Judge pairs already reduced to maps. Raises MeasureError, OpticsError."""
    occluder = Occluder(shape)
    views = []
    for entry, ratio in pairs:
        setting = setting_of(job, entry)
        points = ratio.points(*_half_sizes(job, ratio))
        views.append(_View(ratio, find_intrusion(ratio), job.beam(setting), points))
    seating = _seating(Occluder(shape, step=1.0), views)
    motion = np.zeros(4) if seating is None else np.array([seating.turn, seating.forward, seating.right, seating.up])
    found = []
    for view in views:
        worst, finding, span = _judged(view, allowance)
        found.append(
            PairProof(
                view.beam.setting, view.ratio, view.intrusion, _expected(occluder, view, np.zeros(4)),
                _expected(occluder, view, motion), view.points, finding, worst, span,
            )
        )  # fmt: skip
    order = [Finding.SHOWS, Finding.UNSETTLED, Finding.WITHIN, Finding.CLEAR]
    overall = min((pair.finding for pair in found), key=order.index)
    return Proof(tuple(found), seating, overall, allowance, _notes(found, seating))


@dataclass(frozen=True, eq=False)
class _View:
    ratio: Ratio
    intrusion: Intrusion
    beam: Beam
    points: Array


def setting_of(job: Job, entry: ShotSetting) -> Setting:
    """The lens's setting at which a pair was shot, between listed ones where needed. Raises MeasureError, OpticsError."""
    focus = math.inf if entry.focus_distance == "infinity" else float(entry.focus_distance)
    resolved = job.resolved
    focals = sorted({s.focal_length for s in resolved.settings})
    if not focals[0] * 0.97 <= entry.focal_length <= focals[-1] * 1.03:
        raise MeasureError(
            f"setting at {entry.focal_length:g} mm lies outside the lens document's {focals[0]:g} to {focals[-1]:g} mm; correct it."
        )
    if resolved.lattice is None:
        found = min(resolved.settings, key=lambda s: (abs(math.log(s.focal_length / entry.focal_length)), abs(_near(s.focus_distance) - _near(focus))))
    else:
        zooms, focuses = resolved.lattice
        grid = [resolved.settings[k * zooms : (k + 1) * zooms] for k in range(focuses)]
        zoom = float(np.interp(entry.focal_length, [s.focal_length for s in grid[0]], np.arange(zooms)))
        dioptres = np.array([_near(row[0].focus_distance) for row in grid])
        order = np.argsort(dioptres)
        found = at(resolved, zoom, float(np.interp(_near(focus), dioptres[order], np.arange(focuses)[order])))
    if entry.f_number < found.f_number * 0.97:
        raise MeasureError(
            f"setting at {entry.focal_length:g} mm: f/{entry.f_number:g} is wider than the lens document's f/{found.f_number:.3g}; correct one."
        )
    found = found if abs(entry.f_number / found.f_number - 1) < 0.03 else found.stopped_down(entry.f_number)
    if entry.reach is not None:
        found = replace(found, reach=entry.reach)
    return found


def _near(distance: float) -> float:
    return 0.0 if math.isinf(distance) else 1000.0 / distance


def _agrees(entry: ShotSetting, ratio: Ratio) -> None:
    """Raises MeasureError where the file says another aperture or focal length than the shots document."""
    about, name = ratio.about, ratio.paths[0]
    if about.f_number and abs(math.log2(about.f_number / entry.f_number)) > 0.2:
        raise MeasureError(
            f"{name}: was shot at f/{about.f_number:.3g} by its own account, but the document says f/{entry.f_number:g}; correct one."
        )
    if about.focal_length and abs(about.focal_length / entry.focal_length - 1.0) > 0.1:
        raise MeasureError(
            f"{name}: was shot at {about.focal_length:.4g} mm by its own account, but the document says {entry.focal_length:g} mm; "
            "correct one."
        )


def _half_sizes(job: Job, ratio: Ratio) -> tuple[float, float]:
    """Half width and height in mm of what the picture holds: the camera's whole frame, or the part in use."""
    camera, use = job.camera, job.use
    sizes = [camera.full_frame]
    try:
        sizes += [camera.used_frame(crop=use.crop, mask=use.mask)]
    except ValueError as error:
        raise OpticsError(f"use: {error}; name one that it has.") from None
    if camera.orientation is Orientation.PORTRAIT:
        sizes = [(h, w) for w, h in sizes]
    aspect = ratio.pixels[1] / ratio.pixels[0]
    for width, height in sizes:
        if abs(aspect * height / width - 1.0) < ASPECT:
            return width / 2, height / 2
    width, height = sizes[0]
    raise MeasureError(
        f"{ratio.paths[0]}: its sides are as {aspect:.3f} to 1, but those of the camera's frame, {width:g} x {height:g} mm, are as "
        f"{width / height:.3f} to 1; use the whole frame, uncropped and upright as the lens sees it, or correct the camera document."
    )


def _judged(view: _View, allowance: float) -> tuple[Place, Finding, tuple[float, float]]:
    """The worst place of a pair, the finding, and the range of its loss."""
    found = view.intrusion
    worst, doubt = found.worst, view.ratio.doubt
    low = max(0.0, (worst.loss - 1.96 * worst.error) * (1.0 - doubt))
    high = max((worst.loss + 1.96 * worst.error) * (1.0 + doubt), 0.0)
    if not found.shows:
        enough = found.floor <= max(allowance, SMALLEST_PROVEN)
        return worst, Finding.CLEAR if enough else Finding.UNSETTLED, (0.0, found.floor)
    if allowance == 0 or low > allowance:
        return worst, Finding.SHOWS, (low, high)
    return worst, Finding.WITHIN if high <= allowance else Finding.UNSETTLED, (low, high)


def _moved(occluder: Occluder, motion: Array) -> Occluder:
    """The hood turned by motion[0] degrees and moved forward, right and up by the rest, mm."""
    turn, forward, right, up = motion
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    around = np.array([[c, s], [-s, c]])
    other = copy(occluder)
    if occluder.edges is not None:
        edges = copy(occluder.edges)
        edges.points = np.column_stack([edges.points[:, :2] @ around, edges.points[:, 2]]) + np.array([right, up, forward])
        edges.normals = edges.normals @ around
        other.edges = edges
    elif occluder.triangles is not None:
        flat = occluder.triangles[..., :2] @ around
        other.triangles = np.concatenate([flat, occluder.triangles[..., 2:]], axis=-1) + np.array([right, up, forward])
    return other


def _left_at(occluder: Occluder, beam: Beam, points: Array, motion: Array) -> Array:
    """Light left (n,), 0 to 1, at frame points (n, 2); 1 where the lens itself passes nothing."""
    hidden = _moved(occluder, motion).hidden(beam, beam.frame.slopes(points), chords=64)
    return np.asarray(1.0 - np.nan_to_num(hidden, nan=0.0))


def _expected(occluder: Occluder, view: _View, motion: Array) -> Array:
    flat = view.points.reshape(-1, 2)
    return stops(1.0 - _left_at(occluder, view.beam, flat, motion)).reshape(view.points.shape[:2])


def _seating(occluder: Occluder, views: Sequence[_View]) -> Seating | None:
    """Turn and place of the hood that explain all maps best; None for a mesh, whose loss is too rough to be fitted."""
    if occluder.edges is None:
        return None
    from scipy.optimize import least_squares

    data = [_telling(occluder, view) for view in views]

    def residual(motion: Array) -> Array:
        parts = [motion / PRIOR]
        for view, (points, value, error) in zip(views, data, strict=True):
            left = _left_at(occluder, view.beam, points.reshape(-1, 2), motion).reshape(points.shape[:2]).mean(axis=1)
            parts.append((left - value) / error)
        return np.concatenate(parts)

    def misfit(motion: Array) -> float:
        off = residual(motion)
        return float(np.sum(2.0 * (np.sqrt(1.0 + off**2) - 1.0)))

    start = np.zeros(4)
    start[0] = float(TURNS[int(np.argmin([misfit(np.array([t, 0.0, 0.0, 0.0])) for t in TURNS]))])
    fitted = least_squares(residual, start, loss="soft_l1", diff_step=1e-3, x_scale=[1.0, 0.5, 0.3, 0.3], max_nfev=25)
    slope = _slopes(residual, fitted.x)
    off = residual(fitted.x)
    # Where the model does not meet the maps to within their noise, as with a pupil that is a little off, errors grow.
    growth = max(1.0, float(np.sum(np.minimum(off**2, 9.0))) / max(len(off) - 4, 1))
    covariance = np.linalg.inv(slope.T @ slope / growth + np.diag((1.0 - 1.0 / growth) / PRIOR**2))
    turn, forward, right, up = (float(v) for v in fitted.x)
    errors = np.sqrt(np.diag(covariance))
    best = misfit(fitted.x)
    allowed = [float(t) for t in TURNS if misfit(np.array([t, *fitted.x[1:]])) - best < 3.84 * growth]
    low, high = min([*allowed, turn]), max([*allowed, turn])
    if errors[0] < 0.5 * PRIOR[0]:
        low, high = turn - 1.96 * float(errors[0]), turn + 1.96 * float(errors[0])
    return Seating(turn, forward, right, up, (float(errors[0]), float(errors[1]), float(errors[2]), float(errors[3])), (low, high))


def _slopes(residual: Callable[[Array], Array], motion: Array) -> Array:
    """Central differences of the residuals (n, 4)."""
    columns = []
    for k, step in enumerate((0.1, 0.05, 0.05, 0.05)):
        by = np.zeros(4)
        by[k] = step
        columns.append((residual(motion + by) - residual(motion - by)) / (2 * step))
    return np.stack(columns, axis=1)


def _telling(occluder: Occluder, view: _View) -> tuple[Array, Array, Array]:
    """Points (n, m, 2) over each cell, light left and its error (n,) of the cells that can tell how the hood sits: those that
    it would shade in some seating, or that are shaded.
    """
    loss, error = view.intrusion.loss, view.intrusion.error
    flat = view.points.reshape(-1, 2)
    coarse = view.points[::COARSE, ::COARSE]
    worst = np.zeros(coarse.shape[:2])
    for motion in SEATINGS:
        worst = np.maximum(worst, 1.0 - _left_at(occluder, view.beam, coarse.reshape(-1, 2), motion).reshape(worst.shape))
    reached = np.kron(worst > 1e-4, np.ones((COARSE, COARSE), bool))[: loss.shape[0], : loss.shape[1]]
    reached |= np.nan_to_num(loss) > np.maximum(4.0 * error, 0.005)
    # The outermost cells, which the coarse grid may miss.
    reached[[0, -1], :] = reached[:, [0, -1]] = True
    kept = (reached & np.isfinite(loss)).ravel()
    value = 2.0 ** -loss.ravel()[kept]
    spread = error.ravel()[kept] * value * math.log(2.0)
    # Shade bends within a cell that is large.
    side = max(1, round(FINE / loss.shape[1]))
    size = np.array([view.points[0, 1, 0] - view.points[0, 0, 0], view.points[1, 0, 1] - view.points[0, 0, 1]])
    place = (np.arange(side) + 0.5) / side - 0.5
    inner = np.stack(np.meshgrid(place, place), axis=-1).reshape(-1, 2) * size
    return flat[kept][:, None, :] + inner, value, np.sqrt(spread**2 + MODEL_FLOOR**2 + (MODEL_SHARE * (1.0 - np.minimum(value, 1.0))) ** 2)


def _notes(pairs: Sequence[PairProof], seating: Seating | None) -> tuple[str, ...]:
    notes = [note for pair in pairs for note in pair.ratio.notes]
    if any(pair.ratio.doubt for pair in pairs):
        notes.append(
            "These pictures were developed by a camera or program, so that losses are known only to about 15 % of themselves; "
            "shoot raw for more."
        )
    for pair in pairs:
        tilt = math.hypot(*pair.intrusion.slope)
        if tilt > 0.03:
            notes.append(
                f"{pair.ratio.paths[1].name}: the light changed by {tilt:.2f} stop from the middle to the edge between the two; it was "
                "allowed for, but shade as slow as that would be missed."
            )
    if seating is not None and seating.told[0] and abs(seating.turn) > 1.0:
        way = "anticlockwise" if seating.turn > 0 else "clockwise"
        notes.append(f"The hood sits turned by {abs(seating.turn):.1f} degrees {way} as seen from behind the camera: turn it back.")
    if seating is not None and seating.told[1] and abs(seating.forward) > max(0.3, 3 * seating.errors[1]):
        side = "further forward" if seating.forward > 0 else "further back"
        notes.append(
            f"The hood, or the pupil in the lens document, is off by {abs(seating.forward):.1f} mm: its rim acts as if it stood {side}."
        )
    return tuple(dict.fromkeys(notes))
