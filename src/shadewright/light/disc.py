"""The share of a disc inside a polygon."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


@njit(cache=True, error_model="numpy", nogil=True)
def in_polygon(polygon: Array, shifts: Array, radius: float) -> Array:
    """Share (n,) of a disc about the origin inside a star-shaped polygon (m, 2) moved by each of shifts (n, 2), mm.

    Exact: the area common to a circle and a polygon, summed over its sides as signed sectors and triangles.
    """
    count = polygon.shape[0]
    square = radius * radius
    share = np.empty(shifts.shape[0])
    for i in range(shifts.shape[0]):
        total = 0.0
        for j in range(count):
            k = j + 1 if j + 1 < count else 0
            ax = polygon[j, 0] + shifts[i, 0]
            ay = polygon[j, 1] + shifts[i, 1]
            bx = polygon[k, 0] + shifts[i, 0]
            by = polygon[k, 1] + shifts[i, 1]
            if ax * ax + ay * ay <= square and bx * bx + by * by <= square:
                total += 0.5 * (ax * by - ay * bx)
            else:
                total += _sector(ax, ay, bx, by, square)
        share[i] = min(max(abs(total) / (math.pi * square), 0.0), 1.0)
    return share


@njit(cache=True, error_model="numpy")
def _sector(ax: float, ay: float, bx: float, by: float, square: float) -> float:
    """Signed area common to a circle about the origin, of radius squared `square`, and the triangle (origin, a, b)."""
    dx = bx - ax
    dy = by - ay
    length2 = max(dx * dx + dy * dy, 1e-300)
    along = -(ax * dx + ay * dy) / length2
    fx = ax + along * dx
    fy = ay + along * dy
    away2 = fx * fx + fy * fy
    if away2 >= square:
        return 0.5 * square * math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    half = math.sqrt((square - away2) / length2)
    t0 = min(max(along - half, 0.0), 1.0)
    t1 = min(max(along + half, 0.0), 1.0)
    px = ax + t0 * dx
    py = ay + t0 * dy
    qx = ax + t1 * dx
    qy = ay + t1 * dy
    before = math.atan2(ax * py - ay * px, ax * px + ay * py)
    after = math.atan2(qx * by - qy * bx, qx * bx + qy * by)
    return 0.5 * (px * qy - py * qx) + 0.5 * square * (before + after)
