"""Work on a graphics card, where one is asked for: the reference method's rays, and what of the glass a direction lights.

The processor stays the default and the measure. Results of the card are the same on every run, and differ from the
processor's by rounding, which may send a ray that grazes an edge another way.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import LightError
from shadewright.light.counter import shifts_of
from shadewright.light.scene import Coats, Scene, Surfaces
from shadewright.light.trace import ABSORBED, CLASSES, ESCAPED, RETURNED

Array = NDArray[np.float64]

THREADS = 128
"""Threads of a block."""
BLOCKS = 132 * 16
POINTS_EACH = 64
"""Points that one thread asks about its direction."""


class Device(StrEnum):
    """What does the work."""

    PROCESSOR = "processor"
    CARD = "card"  # a graphics card, by CUDA; needs the extra "gpu"


def kernels() -> Any:
    """The kernels for a card. Raises LightError, in one sentence, where the library or a card is missing."""
    simulated = os.environ.get("NUMBA_ENABLE_CUDASIM", "0") == "1"
    if not simulated and importlib.util.find_spec("numba_cuda") is None:
        raise LightError(
            'device: the library "numba-cuda" is not installed; install shadewright with its extra "gpu", or leave device out.'
        )
    cuda = importlib.import_module("numba.cuda")
    if not cuda.is_available():
        raise LightError("device: no graphics card that CUDA can use was found; leave device out to use the processor.")
    return importlib.import_module("shadewright.light.card_kernels")


@contextmanager
def _few_threads() -> Iterator[None]:
    """Small runs fill only part of a card; the library's remark on it is kept from the user."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", ".*Grid size")
        yield


class Card:
    """A scene and, for tracing, its finishes on the card."""

    def __init__(self, scene: Scene, coats: Coats | None) -> None:
        self.kernels = kernels()
        self.cuda = self.kernels.cuda
        self.surfaces = Surfaces(*(self.cuda.to_device(array) for array in scene.surfaces))
        self.coats = coats and Coats(*(self.cuda.to_device(array) for array in coats))

    def trace(self, first: int, count: int, seed: int, stream: int, rows: int, columns: int) -> tuple[Array, Array]:
        """As `trace.trace_batch`: cells (CLASSES, rows * columns) and tally (5,)."""
        shifts = np.empty(4, np.uint64)
        shifts_of(seed, stream, shifts)
        cells = self.cuda.to_device(np.zeros((CLASSES, rows * columns), np.int64))
        tally = self.cuda.to_device(np.zeros(5, np.int64))
        blocks = max(1, min(BLOCKS, -(-count // THREADS)))
        with _few_threads():
            self.kernels.rays_on_card[blocks, THREADS](
                self.surfaces, self.coats, self.cuda.to_device(shifts), first, count, seed, stream, rows, columns, cells, tally
            )
        sums = tally.copy_to_host().astype(float)
        sums[[ABSORBED, RETURNED, ESCAPED]] /= self.kernels.UNIT
        return cells.copy_to_host() / self.kernels.UNIT, sums

    def seen(self, points: Array, directions: Array) -> Array:
        """How many of the points (m, 3) see the sky in each direction (n, 3), not behind: (n,)."""
        seen = self.cuda.to_device(np.zeros(len(directions), np.int64))
        grid = (-(-len(directions) // THREADS), -(-len(points) // POINTS_EACH))
        with _few_threads():
            self.kernels.sight_on_card[grid, (THREADS, 1)](
                self.surfaces, self.cuda.to_device(np.ascontiguousarray(points)),
                self.cuda.to_device(np.ascontiguousarray(directions)), POINTS_EACH, seen,
            )  # fmt: skip
        return np.asarray(seen.copy_to_host(), dtype=float)
