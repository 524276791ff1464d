"""Which of many directions are free of the scene, seen from one place: staged loops in double precision.

The same questions as `meet.reaches_sky` asks one ray at a time, but one surface at a time for a tile of directions, so
that the loops run on vector registers.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.meet import NEAR, _box_hit, mesh_distance
from shadewright.light.scene import Surfaces

Array = NDArray[np.float64]

WORK_ROWS = 6
FLAGS = {"contract", "nsz"}
SMALL = 1e-300


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _flat_ring(
    band: Array, cut: int, px: float, py: float, pz: float, d: Array, rim: Array, free: Array, place: Array
) -> None:
    """Free becomes 0 where a flat ring is met."""
    count = free.shape[0]
    dx = d[0]
    dy = d[1]
    dz = d[2]
    z0 = band[0]
    low = band[1] * band[1]
    high = band[3] * band[3]
    rise = z0 - pz
    if cut == 0:
        for j in range(count):
            t = rise / (dz[j] + SMALL)
            x = px + t * dx[j]
            y = py + t * dy[j]
            r2 = x * x + y * y
            free[j] = 0.0 if (t > NEAR) & (r2 >= low) & (r2 <= high) else free[j]
        return
    quarter = 0.25 * (rim.shape[0] - 1)
    for j in range(count):
        t = rise / (dz[j] + SMALL)
        x = px + t * dx[j]
        y = py + t * dy[j]
        r2 = x * x + y * y
        s = x / (abs(x) + abs(y) + SMALL)
        p = (1.0 - s if y >= 0.0 else 3.0 + s) * quarter
        place[j] = p if (t > NEAR) & (r2 >= low) & (r2 <= high) else -1.0
    for j in range(count):
        if place[j] >= 0.0:
            k = min(int(place[j]), rim.shape[0] - 2)
            if z0 <= rim[k] + (place[j] - k) * (rim[k + 1] - rim[k]):
                free[j] = 0.0


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _cone_ring(
    band: Array, cut: int, px: float, py: float, pz: float, d: Array, rim: Array, free: Array, work: Array
) -> None:
    """Free becomes 0 where a conical ring is met."""
    count = free.shape[0]
    dx = d[0]
    dy = d[1]
    dz = d[2]
    z0 = band[0]
    z1 = band[2]
    k = (band[3] - band[1]) / (z1 - z0)
    radius = band[1] + k * (pz - z0)
    lean = k * radius
    k2 = k * k
    c = px * px + py * py - radius * radius
    first = work[0]
    second = work[1]
    for j in range(count):
        a = dx[j] * dx[j] + dy[j] * dy[j] - k2 * dz[j] * dz[j]
        b = px * dx[j] + py * dy[j] - lean * dz[j]
        root2 = b * b - a * c
        root = math.sqrt(max(root2, 0.0))
        q = -(b + root) if b >= 0.0 else root - b
        t1 = q / (a + SMALL)
        t2 = c / (q + SMALL)
        zt1 = pz + t1 * dz[j]
        zt2 = pz + t2 * dz[j]
        first[j] = t1 if (root2 >= 0.0) & (t1 > NEAR) & (zt1 >= z0) & (zt1 <= z1) else -1.0
        second[j] = t2 if (root2 >= 0.0) & (t2 > NEAR) & (zt2 >= z0) & (zt2 <= z1) else -1.0
    if cut == 0:
        for j in range(count):
            free[j] = 0.0 if (first[j] > 0.0) | (second[j] > 0.0) else free[j]
        return
    quarter = 0.25 * (rim.shape[0] - 1)
    height = work[2]
    place = work[3]
    for root_number in range(2):
        t = work[root_number]
        for j in range(count):
            x = px + t[j] * dx[j]
            y = py + t[j] * dy[j]
            s = x / (abs(x) + abs(y) + SMALL)
            place[j] = (1.0 - s if y >= 0.0 else 3.0 + s) * quarter
        for j in range(count):
            i = np.uint32(place[j])
            i = min(i, np.uint32(rim.shape[0] - 2))
            height[j] = rim[i] + (place[j] - float(i)) * (rim[i + 1] - rim[i])
        for j in range(count):
            free[j] = 0.0 if (t[j] > 0.0) & (pz + t[j] * dz[j] <= height[j]) else free[j]


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def free_towards_sky(
    s: Surfaces, px: float, py: float, pz: float, nx: float, ny: float, nz: float, d: Array, free: Array, work: Array
) -> None:
    """Fill free (n,) with the cosine at a place with a normal where nothing lies in the direction d (3, n), else with 0.

    work: (WORK_ROWS, n) space.
    """
    count = free.shape[0]
    dx = d[0]
    dy = d[1]
    dz = d[2]
    radius2 = s.glass[0] * s.glass[0]
    drop = s.glass[1] - pz
    for j in range(count):
        t = drop / (dz[j] + SMALL)
        x = px + t * dx[j]
        y = py + t * dy[j]
        blocked = (t > NEAR) & (dz[j] < 0.0) & (x * x + y * y <= radius2)
        free[j] = 0.0 if blocked else max(nx * dx[j] + ny * dy[j] + nz * dz[j], 0.0)
    for m in range(s.bands.shape[0]):
        if s.bands[m, 0] == s.bands[m, 2]:
            _flat_ring(s.bands[m], s.band_cut[m], px, py, pz, d, s.rim, free, work[0])
        else:
            _cone_ring(s.bands[m], s.band_cut[m], px, py, pz, d, s.rim, free, work)
    if s.box[0] > 0.0:
        for j in range(count):
            if free[j] > 0.0 and _box_hit(s.box, s.glass, px, py, pz, dx[j], dy[j], dz[j], math.inf)[1] >= 0:
                free[j] = 0.0
    if s.links.shape[0] > 0:
        for j in range(count):
            if free[j] > 0.0 and (
                mesh_distance(s.triangles, s.boxes, s.links, px, py, pz, dx[j], dy[j], dz[j], math.inf, True)[1] >= 0
            ):
                free[j] = 0.0
