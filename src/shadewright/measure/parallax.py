"""The pupil's depth without frames: by a pin, by a rail, or from how a ruler's visible width grows with distance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.fitting import two_sided
from shadewright.model.camera import Camera
from shadewright.model.lens import Lens, State
from shadewright.model.shots import PinReadings, RailReadings, RulerReadings, Shots

Array = NDArray[np.float64]

OUTLIER = 3.5
"""A reading this many robust standard deviations from the median is called doubtful (B. Iglewicz and D. C. Hoaglin, 1993)."""
READING_PLAY = 2.0
"""How far a single reading of parallax may be off, mm (common practice, no source)."""


class Way(StrEnum):
    """How a depth was read."""

    PIN = "pin"
    RAIL = "rail"
    RULER = "ruler"


@dataclass(frozen=True)
class DepthReading:
    """A pupil's depth behind the front rim plane from readings, mm, with its standard error and what to know of it."""

    way: Way
    focal_length: float
    focus_distance: float
    depth: float
    error: float
    count: int
    image_distance: float | None
    """What divides image height to give slope at the frame's edge, mm; only a ruler tells it."""
    image_distance_error: float | None
    residuals: tuple[float, ...]
    notes: tuple[str, ...]


def readings_of(shots: Shots, camera: Camera | None) -> list[DepthReading]:
    """Every depth that the readings of a shots document give. A ruler needs the camera's frame. Raises MeasureError."""
    found = [from_pin(entry) for entry in shots.pin] + [from_rail(entry) for entry in shots.rail]
    for ruler in shots.ruler:
        if camera is None:
            raise MeasureError("a ruler's widths need the camera's frame; name the camera document too.")
        found.append(from_ruler(ruler, camera))
    if not found:
        raise MeasureError("the shots document holds no [[pin]], [[rail]] or [[ruler]] readings; add some.")
    return found


def from_pin(entry: PinReadings) -> DepthReading:
    """The mean of depths read with a pin that moves with the pupil, and its uncertainty."""
    return _averaged(Way.PIN, entry, np.array(entry.depths), entry.scale_plus_minus)


def from_rail(entry: RailReadings) -> DepthReading:
    """The depth from a camera on a rail: where nothing parts in swinging, the entrance pupil lies over the swing's axis.

    Moved back by s from there the front rim would be over the axis, so the depth is the difference of the two readings.
    """
    depths = np.array(entry.readings) - entry.front_over_axis
    return _averaged(Way.RAIL, entry, depths, entry.scale_plus_minus)


def _averaged(way: Way, entry: PinReadings | RailReadings, depths: Array, scale: float) -> DepthReading:
    from scipy.stats import t as student

    notes, count = [], len(depths)
    middle = float(np.median(depths))
    spread = 1.4826 * float(np.median(np.abs(depths - middle)))
    doubtful = np.abs(depths - middle) > OUTLIER * max(spread, 0.25)
    used = depths[~doubtful] if count >= 5 else depths
    if count >= 5 and doubtful.any():
        named = ", ".join(f"{value:g}" for value in depths[doubtful])
        notes.append(f"Left out as doubtful: {named} mm; read again if there are many.")
    mean = float(used.mean())
    if len(used) > 1:
        # One standard error of so few readings is widened as Student's distribution asks.
        widen = float(student.ppf(0.8413, len(used) - 1))
        random = widen * max(float(used.std(ddof=1)), 0.1) / math.sqrt(len(used))
    else:
        random = READING_PLAY
        notes.append("One reading says nothing of its own error, taken as 2 mm; read it five times, starting anew each time.")
    if 1 < count < 5:
        notes.append(f"{count} readings: five or more would halve the doubt.")
    return DepthReading(
        way, entry.focal_length, _distance(entry.focus_distance), mean, math.hypot(random, scale), len(used), None, None,
        tuple((depths - mean).tolist()), tuple(notes),
    )  # fmt: skip


def from_ruler(entry: RulerReadings, camera: Camera) -> DepthReading:
    """Depth and field scale from the widths that a ruler shows at distances: width = (distance + depth) frame / image distance.

    A straight line by least squares, errors in both allowed for. Raises MeasureError where the distances hardly differ.
    """
    z = np.array([view.distance for view in entry.view])
    width = np.array([view.width for view in entry.view])
    if z.max() - z.min() < 0.2 * z.max():
        raise MeasureError(
            f"the ruler at {entry.focal_length:g} mm stood at {z.min():g} to {z.max():g} mm: too alike to tell the pupil's depth; "
            "read it near the lens too, and twice or more as far away."
        )
    slope, start = np.polyfit(z, width, 1)
    if slope <= 0:
        raise MeasureError(
            f"the ruler at {entry.focal_length:g} mm shows less from farther away, which no lens does; check the order of the readings."
        )
    for _ in range(3):
        weight = 1.0 / math.hypot(entry.width_plus_minus, slope * entry.distance_plus_minus)
        design = np.stack([z, np.ones_like(z)], axis=1) * weight
        covariance = np.linalg.inv(design.T @ design)
        slope, start = covariance @ design.T @ (width * weight)
    residuals = width - (slope * z + start)
    notes, free = [], len(z) - 2
    grown = 1.0
    if free > 0:
        grown = max(1.0, float(np.sum((residuals * weight) ** 2)) / free)
        if grown > 4:
            notes.append("The readings do not lie on a straight line as well as stated: check the distances, and that the ruler is square on.")
    else:
        notes.append("Two readings always lie on a line: a third, farther away, would prove them.")
    depth = start / slope
    by = np.array([-start / slope**2, 1 / slope])
    error = math.sqrt(float(by @ covariance @ by) * grown)
    side = max(camera.full_frame) if entry.across == "width" else min(camera.full_frame)
    scale = side / slope
    scale_error = scale * math.sqrt(float(covariance[0, 0]) * grown) / slope
    notes.append("This depth is that of the frame's edge; where the pupil moves with field angle the axis may differ.")
    return DepthReading(
        Way.RULER, entry.focal_length, _distance(entry.focus_distance), float(depth), error, len(z), float(scale), float(scale_error),
        tuple(residuals.tolist()), tuple(notes),
    )  # fmt: skip


def _distance(value: float | str) -> float:
    return math.inf if isinstance(value, str) else float(value)


def scale_of(shots: Shots, camera: Camera, focal_length: float, focus_distance: float | str) -> tuple[float, float] | None:
    """Image distance and its standard error that a ruler tells for one setting, mm; None where none was read."""
    for entry in shots.ruler:
        alike = (entry.focus_distance == "infinity") == (focus_distance == "infinity")
        if alike and abs(math.log(entry.focal_length / focal_length)) < 0.02:
            found = from_ruler(entry, camera)
            assert found.image_distance is not None
            assert found.image_distance_error is not None
            return found.image_distance, found.image_distance_error
    return None


def combined(readings: Sequence[DepthReading]) -> tuple[float, float]:
    """The weighted mean of several depths of one setting and its standard error, widened where they disagree, mm."""
    depth = np.array([reading.depth for reading in readings])
    weight = 1.0 / np.array([reading.error for reading in readings]) ** 2
    mean = float(np.sum(weight * depth) / weight.sum())
    error = 1.0 / math.sqrt(float(weight.sum()))
    if len(readings) > 1:
        # R. T. Birge, Phys. Rev. 40 (1932) 207: the error grows by the root of the mean squared disagreement.
        error *= math.sqrt(max(1.0, float(np.sum(weight * (depth - mean) ** 2)) / (len(readings) - 1)))
    return mean, error


def lens_with_readings(lens: Lens, readings: Sequence[DepthReading], *, confidence: float) -> Lens:
    """The lens document with the depths read, for each setting their weighted mean. Raises MeasureError."""
    spread = two_sided(confidence)
    states = list(lens.state)
    for k, state in enumerate(states):
        own = [r for r in readings if _same_setting(r, state)]
        if own:
            depth, error = combined(own)
            scales = [r for r in own if r.image_distance is not None]
            update: dict[str, object] = {"pupil_depth": round(depth, 2), "pupil_depth_plus_minus": round(spread * error, 2)}
            if scales:
                best = min(scales, key=lambda r: r.image_distance_error or math.inf)
                assert best.image_distance is not None
                assert best.image_distance_error is not None
                update["image_distance"] = round(best.image_distance - spread * best.image_distance_error, 3)
            states[k] = state.model_copy(update=update)
    if states == list(lens.state):
        raise MeasureError(
            f'no reading belongs to a setting that lens "{lens.name}" lists; add a [[state]] of the same focal_length and focus_distance.'
        )
    return lens.model_copy(update={"state": tuple(states)})


def _same_setting(reading: DepthReading, state: State) -> bool:
    focus = _distance(state.focus_distance)
    near = focus == reading.focus_distance or (
        math.isfinite(focus) and math.isfinite(reading.focus_distance) and abs(math.log(focus / reading.focus_distance)) < 0.05
    )
    return near and abs(math.log(state.focal_length / reading.focal_length)) < 0.02
