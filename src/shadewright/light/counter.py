"""Random numbers that depend on nothing but a counter and a key: Threefry-2x32, and low-discrepancy starts.

J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as easy as 1, 2, 3", Proc. SC'11 (2011).
A ray's numbers follow from the seed, the ray's number and the bounce, so no result depends on the number of threads.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

PARITY = np.uint32(0x1BD11BDA)
TO_UNIT = 2.0**-32

# Generalised golden ratio of four dimensions: x^5 = x + 1; the steps are its inverse powers as 64-bit fractions
# (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018).
_GOLDEN = 1.1673039782614187
STEPS = np.array([int(_GOLDEN ** -(k + 1) * 2.0**64) & (2**64 - 1) for k in range(4)], dtype=np.uint64)


@njit(cache=True, error_model="numpy", inline="always")
def _mix(x0: np.uint32, x1: np.uint32, turn: int) -> tuple[np.uint32, np.uint32]:
    x0 = np.uint32(x0 + x1)
    x1 = np.uint32((x1 << np.uint32(turn)) | (x1 >> np.uint32(32 - turn)))
    return x0, np.uint32(x1 ^ x0)


@njit(cache=True, error_model="numpy")
def threefry(c0: np.uint32, c1: np.uint32, k0: np.uint32, k1: np.uint32) -> tuple[np.uint32, np.uint32]:
    """Two 32-bit numbers from a counter (c0, c1) and a key (k0, k1): Threefry-2x32 of 20 rounds."""
    k2 = np.uint32(PARITY ^ k0 ^ k1)
    x0 = np.uint32(c0 + k0)
    x1 = np.uint32(c1 + k1)
    x0, x1 = _mix(x0, x1, 13)
    x0, x1 = _mix(x0, x1, 15)
    x0, x1 = _mix(x0, x1, 26)
    x0, x1 = _mix(x0, x1, 6)
    x0 = np.uint32(x0 + k1)
    x1 = np.uint32(x1 + k2 + np.uint32(1))
    x0, x1 = _mix(x0, x1, 17)
    x0, x1 = _mix(x0, x1, 29)
    x0, x1 = _mix(x0, x1, 16)
    x0, x1 = _mix(x0, x1, 24)
    x0 = np.uint32(x0 + k2)
    x1 = np.uint32(x1 + k0 + np.uint32(2))
    x0, x1 = _mix(x0, x1, 13)
    x0, x1 = _mix(x0, x1, 15)
    x0, x1 = _mix(x0, x1, 26)
    x0, x1 = _mix(x0, x1, 6)
    x0 = np.uint32(x0 + k0)
    x1 = np.uint32(x1 + k1 + np.uint32(3))
    x0, x1 = _mix(x0, x1, 17)
    x0, x1 = _mix(x0, x1, 29)
    x0, x1 = _mix(x0, x1, 16)
    x0, x1 = _mix(x0, x1, 24)
    x0 = np.uint32(x0 + k1)
    x1 = np.uint32(x1 + k2 + np.uint32(4))
    x0, x1 = _mix(x0, x1, 13)
    x0, x1 = _mix(x0, x1, 15)
    x0, x1 = _mix(x0, x1, 26)
    x0, x1 = _mix(x0, x1, 6)
    x0 = np.uint32(x0 + k2)
    x1 = np.uint32(x1 + k0 + np.uint32(5))
    return x0, x1


@njit(cache=True, error_model="numpy")
def pair(ray: int, step: int, seed: int, stream: int) -> tuple[float, float]:
    """Two numbers in (0, 1) for a ray (below 2^32), a step of its path (below 2^16), a seed and a stream (below 2^16)."""
    x0, x1 = threefry(
        np.uint32(ray), np.uint32(np.uint32(step) | (np.uint32(stream) << np.uint32(16))),
        np.uint32(seed & 0xFFFFFFFF), np.uint32((seed >> 32) & 0xFFFFFFFF),
    )  # fmt: skip
    return (float(x0) + 0.5) * TO_UNIT, (float(x1) + 0.5) * TO_UNIT


@njit(cache=True, error_model="numpy")
def shifts_of(seed: int, stream: int, shifts: NDArray[np.uint64]) -> None:
    """Fill shifts (4,) with a stream's random shifts of the additive sequence."""
    for dimension in range(4):
        x0, x1 = threefry(
            np.uint32(dimension), np.uint32(np.uint32(0xFFFF) | (np.uint32(stream) << np.uint32(16))),
            np.uint32(seed & 0xFFFFFFFF), np.uint32((seed >> 32) & 0xFFFFFFFF),
        )  # fmt: skip
        shifts[dimension] = (np.uint64(x0) << np.uint64(32)) | np.uint64(x1)


@njit(cache=True, error_model="numpy")
def low_discrepancy(i: int, dimension: int, shifts: NDArray[np.uint64]) -> float:
    """Number i of a randomly shifted additive sequence in (0, 1); dimensions 0 to 3."""
    place = np.uint64(shifts[dimension] + np.uint64(i) * STEPS[dimension])
    return (float(place >> np.uint64(12)) + 0.5) * 2.0**-52
