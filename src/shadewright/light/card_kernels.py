"""Kernels for a graphics card: the processor's own functions of one ray, a thread to each ray or direction.

Imported by `card` alone, and only where a card is asked for. Nothing is written twice: `trace_ray` and `reaches_sky` are
compiled anew for the card as they stand.
"""

from __future__ import annotations

import numpy as np
from numba import cuda
from numpy.typing import NDArray

from shadewright.light.meet import reaches_sky
from shadewright.light.scene import Coats, Surfaces
from shadewright.light.trace import ABSORBED, CLASSES, ESCAPED, LAUNCHED, RETURNED, SEGMENTS, trace_ray

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

UNIT = 2.0**30
"""Weights are added as whole numbers of this fraction, so that no sum depends on the order of the threads."""


@cuda.jit
def rays_on_card(
    s: Surfaces, coats: Coats, shifts: NDArray[np.uint64], first: int, count: int, seed: int, stream: int, rows: int,
    columns: int, cells: Whole, tally: Whole,
) -> None:  # fmt: skip
    """As `trace.trace_batch`: cells (CLASSES, rows * columns) and tally (5,), but for numbers of rays and segments in UNITs."""
    absorbed = 0.0
    returned = 0.0
    escaped = 0.0
    segments = 0
    launched = 0
    for k in range(cuda.grid(1), count, cuda.gridsize(1)):
        bounces, cell, weight, taken, back, passed = trace_ray(first + k, s, coats, shifts, seed, stream, rows, columns)
        launched += 1
        absorbed += taken
        returned += back
        segments += passed
        if cell >= 0:
            escaped += weight
            cuda.atomic.add(cells, (min(bounces, CLASSES - 1), cell), np.int64(weight * UNIT + 0.5))
    cuda.atomic.add(tally, ABSORBED, np.int64(absorbed * UNIT + 0.5))
    cuda.atomic.add(tally, RETURNED, np.int64(returned * UNIT + 0.5))
    cuda.atomic.add(tally, ESCAPED, np.int64(escaped * UNIT + 0.5))
    cuda.atomic.add(tally, SEGMENTS, np.int64(segments))
    cuda.atomic.add(tally, LAUNCHED, np.int64(launched))


@cuda.jit
def sight_on_card(s: Surfaces, points: Array, directions: Array, each: int, seen: Whole) -> None:
    """Add to seen (n,) how many of the points (m, 3) see the sky in each of the directions (n, 3).

    A thread has one direction and `each` of the points.
    """
    n, part = cuda.grid(2)
    if n >= directions.shape[0]:
        return
    found = 0
    dx = directions[n, 0]
    dy = directions[n, 1]
    dz = directions[n, 2]
    for i in range(part * each, min((part + 1) * each, points.shape[0])):
        if reaches_sky(s, points[i, 0], points[i, 1], points[i, 2], dx, dy, dz):
            found += 1
    if found > 0:
        cuda.atomic.add(seen, n, np.int64(found))
