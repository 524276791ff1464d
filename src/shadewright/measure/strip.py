"""The rim of an existing hood, drawn on a paper strip wrapped round it and photographed on our sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.frames import load_frame
from shadewright.measure.target import LANE_HALF, LANE_HEIGHT, Sighting, find_target, flattened
from shadewright.model.shape import Rim

Array = NDArray[np.float64]

PER_MM = 8.0
"""Pixels a mm at which a lane is looked at."""
BASE = 1.5
"""Height above the base line below which no rim is looked for, mm: the strip's own edge lies there."""
STEEPEST = 10
"""Rows that the line may climb from one column to the next."""
PLACED = 0.3
"""How well a strip is laid on the base line and its middle tick, mm (common practice, no source)."""
FAINTEST = 18.0
"""Least darkness of a line against the paper, of 255."""
LONGEST_GAP = 3.0
"""Longest stretch in degrees over which a line may be missing."""


@dataclass(frozen=True, eq=False)
class StripRim:
    """A rim read from a strip: z and its standard error (n,) mm at azimuths (n,) degrees, ascending from 0."""

    azimuth: Array
    z: Array
    error: Array
    sheet_error: float
    """How well the sheet's markers fit, mm."""
    lanes: tuple[NDArray[np.uint8], NDArray[np.uint8]]
    """The two halves seen straight on."""
    traces: tuple[Array, Array]
    """(n, 2) the line found in each: mm to the right of the lane's middle, mm above its base line."""

    @property
    def rim(self) -> Rim:
        """The rim as geometry."""
        return Rim.from_arrays(self.azimuth, self.z)


def read_strip(path: Path | str, *, diameter: float, edge: float = 0.0, check_line: float = 100.0) -> StripRim:
    """The rim on a strip in the picture at `path`. Raises MeasureError, FileError.

    diameter: of the hood where the strip was wrapped, mm. edge: how far ahead of the seat plane the strip's straight edge lay,
    mm. check_line: what the sheet's line of 100 mm measures as printed, mm.
    """
    path = Path(path)
    if not 10.0 <= diameter <= 2.0 * LANE_HALF / (math.pi / 2.0):
        most = 2.0 * LANE_HALF / (math.pi / 2.0)
        raise MeasureError(f"diameter = {diameter:g} mm must be from 10 to {most:.0f}: half the strip has to fit a lane of the sheet.")
    if not 90.0 <= check_line <= 110.0:
        raise MeasureError(f"check line = {check_line:g} mm must be from 90 to 110: print the sheet at its own size, 100 %.")
    scale = check_line / 100.0
    picture = _grey(path)
    sighting = find_target(picture, name=path, scale=scale)
    lanes, traces = [], []
    for lane in (0, 1):
        view = flattened(picture, sighting, lane, per_mm=PER_MM, scale=scale)
        lanes.append(view)
        traces.append(_line(view, 0.25 * math.pi * diameter, path, ("upper", "lower")[lane]))
    return _rim(sighting, (lanes[0], lanes[1]), (traces[0], traces[1]), diameter, edge)


def _grey(path: Path) -> NDArray[np.uint8]:
    """A picture as eight bits of grey, as the eye sees it."""
    frame = load_frame(path)
    samples: NDArray[Any] = frame.samples
    if frame.pattern.shape != (1, 1):
        raise MeasureError(f"{path}: is a raw file; save the picture of the strip as JPEG, PNG or TIFF.")
    grey = samples if samples.ndim == 2 else samples[..., :3] @ np.array([0.299, 0.587, 0.114])
    top = 255.0 if samples.dtype == np.uint8 else 65535.0
    return np.clip(np.asarray(grey, float) * (255.0 / top) + 0.5, 0, 255).astype(np.uint8)


def _line(view: NDArray[np.uint8], half: float, path: Path, lane: str) -> Array:
    """(n, 2) mm of the darkest unbroken line over the part of a lane within `half` mm of its middle."""
    from scipy.ndimage import gaussian_filter, maximum_filter

    middle = LANE_HALF * PER_MM
    first, last = math.ceil(middle - half * PER_MM), math.floor(middle + half * PER_MM)
    part = gaussian_filter(view[: round((LANE_HEIGHT - BASE) * PER_MM), max(first, 0) : last].astype(float), 1.0)
    paper = gaussian_filter(maximum_filter(part, round(6 * PER_MM)), 3 * PER_MM)
    dark = np.maximum(paper - part, 0.0)
    path_rows = _darkest_path(dark)
    columns = np.arange(dark.shape[1])
    reach = round(0.9 * PER_MM)
    offsets = np.arange(-reach, reach + 1)
    rows = np.clip(path_rows[:, None] + offsets, 0, dark.shape[0] - 1)
    weight = np.maximum(dark[rows, columns[:, None]] - 0.35 * dark[path_rows, columns][:, None], 0.0)
    total = weight.sum(axis=1)
    centre = np.where(total > 0, (weight * rows).sum(axis=1) / np.maximum(total, 1e-9), path_rows)
    seen = dark[path_rows, columns] > FAINTEST
    gap = _longest_run(~seen) / PER_MM
    if gap > math.radians(LONGEST_GAP) * half * 2.0 / (math.pi / 2.0) * 0.5:
        raise MeasureError(
            f"{path}: the line in the {lane} lane is missing over {gap:.1f} mm; draw the rim with a dark pen all the way, and lay the "
            "strip with its straight edge on the base line and its middle on the tick."
        )
    x = (columns + max(first, 0) + 0.5) / PER_MM - LANE_HALF
    return np.stack([x[seen], LANE_HEIGHT - (centre[seen] + 0.5) / PER_MM], axis=1)


def _longest_run(mask: NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _darkest_path(dark: Array) -> NDArray[np.int64]:
    """The row (columns,) of the path from left to right that gathers most darkness, climbing at most STEEPEST a column."""
    rows, columns = dark.shape
    worth = np.minimum(dark, 120.0)
    climbs = np.arange(-STEEPEST, STEEPEST + 1)
    cost = 0.6 * np.abs(climbs)
    total = worth[:, 0].copy()
    came = np.zeros((columns, rows), np.int8)
    for k in range(1, columns):
        padded = np.pad(total, STEEPEST, constant_values=-1e12)
        options = np.stack([padded[STEEPEST + c : STEEPEST + c + rows] for c in climbs]) - cost[:, None]
        best = np.argmax(options, axis=0)
        came[k] = climbs[best]
        total = options[best, np.arange(rows)] + worth[:, k]
    path = np.empty(columns, np.int64)
    path[-1] = int(np.argmax(total))
    for k in range(columns - 1, 0, -1):
        path[k - 1] = path[k] + came[k, path[k]]
    return path


def _rim(
    sighting: Sighting, lanes: tuple[NDArray[np.uint8], NDArray[np.uint8]], traces: tuple[Array, Array], diameter: float, edge: float
) -> StripRim:
    """Both halves joined. Seen from outside, seat edge down, azimuth runs from right to left: 90 at the upper lane's middle
    tick, 270 at the lower one's.
    """
    turn = np.degrees(2.0 / diameter)
    found = [np.column_stack([(middle - trace[:, 0] * turn) % 360.0, trace[:, 1]]) for trace, middle in zip(traces, (90.0, 270.0), strict=True)]
    joined = np.concatenate(found)
    azimuth = np.arange(0.0, 360.0, 1.0)
    width = 0.5
    z, scatter, slope = np.empty(360), np.empty(360), np.empty(360)
    for k, at in enumerate(azimuth):
        off = (joined[:, 0] - at + 180.0) % 360.0 - 180.0
        reach = width
        near = np.abs(off) < reach
        while near.sum() < 4:
            reach *= 1.5
            near = np.abs(off) < reach
        design = np.stack([np.ones(near.sum()), off[near]], axis=1)
        (z[k], slope[k]), *_ = np.linalg.lstsq(design, joined[near, 1], rcond=None)
        scatter[k] = float(np.std(joined[near, 1] - design @ np.array([z[k], slope[k]])))
    placed = math.hypot(PLACED, sighting.error)
    steep = slope * turn
    error = np.sqrt(placed**2 * (1.0 + steep**2) + scatter**2)
    return StripRim(azimuth, z + edge, error, sighting.error, lanes, traces)
