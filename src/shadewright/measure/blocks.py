"""A photograph, or many of the same thing, reduced to blocks: means of light per colour, their noise and their faults."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.frames import CLIP_SHARE, About, Frame, load_frame

Array = NDArray[np.float64]

MOST_CELLS = 96
"""Cells along the longer side of a frame."""
BLOCKS_PER_CELL = 4
"""Blocks along each side of a cell."""
LEAST_BLOCK = 4
"""Pixels along a block's side at least, and three periods of the mosaic."""
CLIPPED_PIXELS = 0.002
"""A block of which more than this share is clipped is left out."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Light in blocks, rows from the bottom of the frame upwards, columns from the left.

    light, noise: (colours, rows, columns) mean of linear light (0 black, 1 white) and the variance of that mean by the noise
    model. model: (colours, 2) variance of one pixel of one frame as floor + gain times light, from second differences
    of neighbouring pixels. good: (rows, columns) False where clipped. levels: (frames,) light of each in the middle of the frame.
    across (columns,), up (rows,): middles of the blocks in half frames, -1 to 1: blocks of whole pixels are not quite alike.
    """

    path: Path
    light: Array
    noise: Array
    model: Array
    good: NDArray[np.bool_]
    clipped: float
    """Share of all pixels that are clipped, of the worst frame."""
    size: tuple[int, int]
    """Rows and columns of pixels."""
    colours: tuple[str, ...]
    about: About
    doubt: float
    levels: tuple[float, ...]
    across: Array
    up: Array

    @property
    def frames(self) -> int:
        """How many photographs were averaged."""
        return len(self.levels)

    @property
    def cells(self) -> tuple[int, int]:
        """Rows and columns of cells of BLOCKS_PER_CELL squared blocks."""
        return self.light.shape[1] // BLOCKS_PER_CELL, self.light.shape[2] // BLOCKS_PER_CELL


@njit(cache=True, error_model="numpy")
def _sum_blocks(
    samples: Any, pattern: Any, table: Any, clip: Any, row_edges: Any, column_edges: Any, sums: Any, squares: Any, counts: Any,
    steps: Any, over: Any,
) -> None:  # fmt: skip
    """Per colour and block: sum of light, squared second differences of a colour's neighbours and their number, pixels, clipped ones."""
    down, across = pattern.shape
    for br in range(len(row_edges) - 1):
        for bc in range(len(column_edges) - 1):
            first, last = column_edges[bc], column_edges[bc + 1]
            for i in range(row_edges[br], row_edges[br + 1]):
                for phase in range(across):
                    colour = pattern[i % down, phase]
                    total = 0.0
                    rough = 0.0
                    number = 0
                    burnt = 0
                    before = 0.0
                    ahead = 0.0
                    for j in range(first + phase, last, across):
                        value = table[samples[i, j]]
                        total += value
                        # Second differences: an even slope of light, as in a half-shadow, is no noise.
                        bend = value - 2.0 * before + ahead
                        rough += bend * bend if number >= 2 else 0.0
                        ahead = before
                        before = value
                        number += 1
                        if value >= clip[colour]:
                            burnt += 1
                    sums[colour, br, bc] += total
                    squares[colour, br, bc] += rough
                    counts[colour, br, bc] += number
                    steps[colour, br, bc] += max(number - 2, 0)
                    over[br, bc] += burnt


def cell_counts(size: tuple[int, int], *, period: int = 1) -> tuple[int, int]:
    """Rows and columns of cells for a picture of `size` pixels: nearly square, as many as MOST_CELLS and LEAST_BLOCK allow."""
    least = max(LEAST_BLOCK, 3 * period) * BLOCKS_PER_CELL
    longest = min(MOST_CELLS, max(size) // least)
    side = max(size) / max(longest, 1)
    return max(4, round(size[0] / side)), max(4, round(size[1] / side))


def blocks_of(frame: Frame) -> Blocks:
    """The blocks of one photograph."""
    period = max(frame.pattern.shape)
    cells = cell_counts(frame.size, period=period)
    rows, columns = frame.size
    row_edges = _edges(rows, cells[0] * BLOCKS_PER_CELL, period)
    column_edges = _edges(columns, cells[1] * BLOCKS_PER_CELL, period)
    across, up = _middles(column_edges, columns), -_middles(row_edges, rows)[::-1]
    pattern, samples = frame.pattern, frame.samples
    if samples.ndim == 3:
        # Full colours side by side are a mosaic of one row.
        depth = samples.shape[2]
        pattern = np.arange(depth, dtype=np.int64)[None, :]
        samples = samples.reshape(rows, columns * depth)
        column_edges = column_edges * depth
    shape = (len(frame.colours), len(row_edges) - 1, len(column_edges) - 1)
    sums, squares = np.zeros(shape), np.zeros(shape)
    counts, steps, over = np.zeros(shape, np.int64), np.zeros(shape, np.int64), np.zeros(shape[1:], np.int64)
    span = frame.white - frame.black
    table = frame.curve.table.astype(np.float32)
    top = np.where(frame.white >= 1.0, float(table[-2]), 1.0)
    clip = np.minimum(frame.black + CLIP_SHARE * span, top).astype(np.float32)
    _sum_blocks(
        np.ascontiguousarray(samples), pattern, table, clip, row_edges, column_edges, sums, squares, counts, steps, over
    )
    counts = np.maximum(counts, 1)
    light = (sums / counts - frame.black[:, None, None]) / span[:, None, None]
    # The variance of a second difference is six times that of a pixel.
    variance = squares / (6.0 * np.maximum(steps, 1)) / span[:, None, None] ** 2
    model = np.array([_noise_model(*entry) for entry in zip(light, variance, steps > 0, strict=True)])
    least = _rounding(table.astype(float), sums / counts) / span[:, None, None] ** 2
    noise = np.maximum(model[:, :1, None] + model[:, 1:, None] * np.maximum(light, 0.0), least) / counts
    pixels = counts.sum(axis=0)
    light, noise = light[:, ::-1], noise[:, ::-1]
    return Blocks(
        frame.path, np.ascontiguousarray(light), np.ascontiguousarray(noise), model, (over <= CLIPPED_PIXELS * pixels)[::-1].copy(),
        float(over.sum() / pixels.sum()), frame.size, frame.colours, frame.about, frame.doubt, (_middle_level(light),),
        across, up,
    )  # fmt: skip


def _noise_model(light: Array, variance: Array, told: NDArray[np.bool_]) -> Array:
    """Floor and gain (2,), neither negative, through the variance of the blocks at each of a dozen levels of light: the median
    of means of a few blocks, since the median of single ones would be too small.
    """
    from scipy.optimize import nnls

    light, variance = light[told], variance[told]
    order = np.argsort(light)
    groups = [part for part in np.array_split(order, 12) if part.size]
    level = np.array([np.median(light[part]) for part in groups])
    found = np.array([np.median([np.mean(few) for few in np.array_split(variance[part], max(1, len(part) // 16))]) for part in groups])
    fitted, _ = nnls(np.stack([np.ones_like(level), np.maximum(level, 0.0)], axis=1), found)
    return np.asarray(fitted)


def _rounding(table: Array, level: Array) -> Array:
    """Variance of light for want of numbers between neighbouring ones: a twelfth of the step squared."""
    step = np.gradient(table)
    at = np.clip(np.searchsorted(table, level), 0, len(table) - 1)
    return np.asarray(step[at] ** 2 / 12.0)


def _edges(pixels: int, blocks: int, period: int) -> NDArray[np.int64]:
    return np.round(np.linspace(0, pixels // period, blocks + 1)).astype(np.int64) * period


def _middles(edges: NDArray[np.int64], pixels: int) -> Array:
    return np.asarray((edges[:-1] + edges[1:]) / pixels - 1.0)


def _middle_level(light: Array) -> float:
    """Mean light in the middle of the frame, over colours."""
    rows, columns = light.shape[1:]
    part = light[:, 3 * rows // 8 : max(5 * rows // 8, 3 * rows // 8 + 1), 3 * columns // 8 : max(5 * columns // 8, 3 * columns // 8 + 1)]
    return float(np.mean(np.median(part, axis=(1, 2))))


def average(paths: Iterable[Path | str]) -> Blocks:
    """The mean of photographs of the same thing, read one after another so that memory does not grow with their number.

    Raises MeasureError where they differ in size, colours or settings, or the light drifted; FileError.
    """
    total: Blocks | None = None
    for path in paths:
        found = blocks_of(load_frame(path))
        if total is None:
            total = found
            continue
        same_kind(total, found)
        same_settings(total, found)
        total = replace(
            total, light=total.light + found.light, noise=total.noise + found.noise, good=total.good & found.good,
            clipped=max(total.clipped, found.clipped), levels=(*total.levels, *found.levels),
        )  # fmt: skip
    if total is None:
        raise MeasureError("no photographs are named; name at least one.")
    _steady(total)
    return replace(total, light=total.light / total.frames, noise=total.noise / total.frames**2)


MOST_DRIFT = 0.25
"""Change of light within a series beyond which it is not averaged, stops."""


def _steady(blocks: Blocks) -> None:
    drift = _spread(blocks.levels)
    if drift > MOST_DRIFT:
        raise MeasureError(
            f"{blocks.path}: the light changed by {drift:.2f} stop within this series of {blocks.frames} photographs, more than "
            f"{MOST_DRIFT:g}; shoot by steady light, in manual exposure, and check that all belong to it."
        )


def _spread(levels: Sequence[float]) -> float:
    low, high = min(levels), max(levels)
    return math.inf if low <= 0 < high else math.log2(high / low) if low > 0 else 0.0


def same_kind(first: Blocks, second: Blocks) -> None:
    """Raises MeasureError where two photographs differ in pixels or colours."""
    if first.size != second.size:
        raise MeasureError(
            f"{second.path}: is {second.size[1]} x {second.size[0]} pixels, but {first.path} is "
            f"{first.size[1]} x {first.size[0]}; shoot both with the same camera, quality and crop, held the same way."
        )
    if first.colours != second.colours or (first.doubt > 0) != (second.doubt > 0):
        raise MeasureError(
            f"{second.path}: is another kind of picture than {first.path}; use two raw files, or two pictures developed alike."
        )


def same_settings(first: Blocks, second: Blocks) -> None:
    """Raises MeasureError where the files say that exposure, aperture or focal length differ."""
    one, two = first.about, second.about
    if one.f_number and two.f_number and abs(math.log2(one.f_number / two.f_number)) > 0.03:
        raise MeasureError(
            f"{second.path}: was shot at f/{two.f_number:.3g}, but {first.path} at f/{one.f_number:.3g}; "
            "shoot both at one aperture."
        )
    if one.focal_length and two.focal_length and abs(math.log2(one.focal_length / two.focal_length)) > 0.02:
        raise MeasureError(
            f"{second.path}: was shot at {two.focal_length:.4g} mm, but {first.path} at {one.focal_length:.4g} mm; "
            "leave the zoom alone between them."
        )
    if one.light_value is not None and two.light_value is not None:
        step = two.light_value - one.light_value
        if abs(step) > 0.05:
            raise MeasureError(
                f"{second.path}: was exposed {abs(step):.2f} stop {'more' if step > 0 else 'less'} than {first.path}; "
                "set exposure time and sensitivity by hand, and leave them."
            )
