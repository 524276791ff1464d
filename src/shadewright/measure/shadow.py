"""The map of one tube's shadow on the camera's frame: cells for the fit, and the blocks within those of the half-shadow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.blocks import BLOCKS_PER_CELL
from shadewright.measure.pairs import Ratio
from shadewright.model.camera import Camera
from shadewright.model.shots import Tube

Array = NDArray[np.float64]

SHADOW = (0.02, 0.98)
"""Cells with this much light left lie in the half-shadow."""
FLOOR = 0.0005
"""Error of a cell that no averaging removes, as a share of the light: flicker, and light from the frame's far parts."""
ROUGH = 0.01
"""Error of the first guess of a cell of the half-shadow, whose blocks lie on a curve."""
STRAY = 4.0
"""A block that a model misses by this many standard errors more than its neighbourhood is dust, and so are those beside it."""
AROUND = 5
"""Cells along the sides of that neighbourhood."""


@dataclass(frozen=True, eq=False)
class Fine:
    """The blocks of all sound cells, n by BLOCKS_PER_CELL squared: middles (n, m, 2) in mm, light left, whether each is sound."""

    points: Array
    value: Array
    sound: NDArray[np.bool_]
    variance: Array
    """(n,) of one block of each cell."""
    size: tuple[float, float]
    """Of a block, mm."""
    cells: NDArray[np.bool_]
    """(rows, columns) of the whole map: which cells these are, row by row."""

    def around(self, values: Array, half: NDArray[np.bool_]) -> Array:
        """Median (n,) of the values (n,) of each cell's neighbourhood: of the half-shadow's for its own cells, else of the others'."""
        found = np.empty(len(values))
        for part in (half, ~half):
            whole = np.full(np.add(self.cells.shape, AROUND - 1), np.nan)
            reach = AROUND // 2
            whole[reach:-reach, reach:-reach][self.cells] = np.where(part, values, np.nan)
            near = np.lib.stride_tricks.sliding_window_view(whole, (AROUND, AROUND))[self.cells][part]
            found[part] = np.nanmedian(near.reshape(int(part.sum()), -1), axis=1)
        return found

    def beside(self, marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which blocks (n, m) are marked or touch a marked one, of their own cell or of the next."""
        n = BLOCKS_PER_CELL
        tiles = np.zeros((*self.cells.shape, n, n), bool)
        tiles[self.cells] = marked.reshape(-1, n, n)
        whole = np.pad(tiles.swapaxes(1, 2).reshape(n * self.cells.shape[0], -1), 1)
        whole = whole[:-2] | whole[1:-1] | whole[2:]
        whole = whole[:, :-2] | whole[:, 1:-1] | whole[:, 2:]
        return np.asarray(_tiled(whole, self.cells))


@dataclass(frozen=True, eq=False)
class Block:
    """The sound cells of one map: frame points (n, 2) in mm, value and standard error (n,), and the cell's size in mm."""

    points: Array
    value: Array
    error: Array
    cell: tuple[float, float]
    active: NDArray[np.bool_]
    """In or near the half-shadow: elsewhere all or nothing is left."""
    tube: Tube | None
    doubt: float = 0.0
    reference_radius: float = 0.0
    """Of the pupil in the frames that a block without a tube is compared with, mm."""
    fine: Fine | None = None

    def sectors(self, count: int = 16) -> NDArray[np.int64]:
        """(n,) the sector of azimuth that each cell lies in: cells of one err together where the model does not fit."""
        angle = np.arctan2(self.points[:, 1], self.points[:, 0])
        return np.floor((angle / (2 * math.pi) + 0.5) * count).astype(np.int64) % count

    def refined(self, fitted: Array, fine_fitted: Array, *, rough: float = 0.0) -> Block:
        """The same with the values of the cells worked out anew against a model: what it expects of cells (n,) and blocks (n, m).

        A cell's value becomes the model's plus the mean of what its blocks miss it by. How a half-shadow bends within a cell
        then no longer matters, and dust is told by what the model leaves over. rough: how well the model is known to fit so
        far, as a share of the light: what it misses by less is no dust.
        """
        if self.fine is None:
            return self
        fine = self.fine
        missed = np.where(fine.sound, fine.value - fine_fitted, np.nan)
        # Where the model is still wrong, or never right, all blocks of the half-shadow nearby are off.
        half = (fitted > SHADOW[0]) & (fitted < SHADOW[1])
        off = np.abs(missed - fine.around(np.nanmedian(missed, axis=1), half)[:, None])
        spread = 1.4826 * fine.around(np.nanmedian(off, axis=1), half)
        off = off / np.maximum(np.sqrt(fine.variance), np.maximum(spread, rough))[:, None]
        kept = fine.sound & ~fine.beside(fine.sound & (off > STRAY))
        count = kept.sum(axis=1)
        left = np.where(kept, np.nan_to_num(missed), 0.0)
        mean = left.sum(axis=1) / np.maximum(count, 1)
        # What is left of a cell full of dust is not believed.
        enough = count >= missed.shape[1] // 4
        value = np.where(enough, fitted + mean, self.value)
        error = np.where(enough, np.sqrt(fine.variance / np.maximum(count, 1) + FLOOR**2 + (0.25 * rough) ** 2), 1.0)
        return replace(self, value=value, error=error)


def block_of(ratio: Ratio, camera: Camera, tube: Tube | None, *, reference_radius: float = 0.0) -> Block:
    """The sound cells of a map on a camera's frame. Raises MeasureError where picture and frame have not the same shape."""
    width, height = frame_of(ratio, camera)
    rows, columns = ratio.value.shape
    points = ratio.points(width / 2, height / 2)
    active = (ratio.value > SHADOW[0]) & (ratio.value < SHADOW[1])
    near = active.copy()
    for _ in range(2):
        grown = np.pad(near, 1)
        near = grown[1:-1, 1:-1] | grown[:-2, 1:-1] | grown[2:, 1:-1] | grown[1:-1, :-2] | grown[1:-1, 2:]
    good = ratio.good & (ratio.error > 0)
    error = np.sqrt(ratio.error**2 + FLOOR**2 + np.where(near, ROUGH, 0.0) ** 2)
    fine = None if tube is None else _fine(ratio, good, width, height)
    return Block(
        points[good], ratio.value[good], error[good], (width / columns, height / rows), near[good], tube, ratio.doubt,
        reference_radius, fine,
    )  # fmt: skip


def frame_of(ratio: Ratio, camera: Camera) -> tuple[float, float]:
    """Width and height in mm of the frame that the picture holds, turned as it is. Raises MeasureError where it is another's."""
    width, height = camera.full_frame
    shape = ratio.pixels[1] / ratio.pixels[0]
    if abs(math.log(shape * width / height)) < abs(math.log(shape * height / width)):
        width, height = height, width
    if abs(math.log(shape * height / width)) > 0.06:
        raise MeasureError(
            f"{ratio.paths[1]}: is {shape:.2f} times as wide as high, but the camera's frame is {width / height:.2f}; "
            "use uncropped photographs of the whole frame."
        )
    return width, height


def _fine(ratio: Ratio, at: NDArray[np.bool_], width: float, height: float) -> Fine:
    x, y = ratio.fine_across * width / 2, ratio.fine_up * height / 2

    value, error = _tiled(ratio.fine_value, at), _tiled(ratio.fine_error, at)
    sound = np.isfinite(value) & (error > 0)
    variance = np.where(sound, error**2, 0.0).sum(axis=1) / np.maximum(sound.sum(axis=1), 1)
    across, up = np.meshgrid(x, y)
    points = np.stack([_tiled(across, at), _tiled(up, at)], axis=-1)
    return Fine(points, np.where(sound, value, 0.0), sound, variance, (width / len(x), height / len(y)), at)


def _tiled(values: NDArray[Any], at: NDArray[np.bool_]) -> NDArray[Any]:
    """The blocks (n, m) of the cells at which `at` (rows, columns) holds."""
    n = BLOCKS_PER_CELL
    rows, columns = at.shape
    return np.asarray(values[: rows * n, : columns * n].reshape(rows, n, columns, n).swapaxes(1, 2)[at].reshape(-1, n * n))
