"""Where a ray meets the scene: leaf functions for the kernels, one ray at a time, in double precision.

A ray starts at (px, py, pz) along the unit vector (dx, dy, dz). Numbers for what it meets: SKY, GLASS, or a part's.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.scene import Surfaces

Array = NDArray[np.float64]

SKY = -1
GLASS = -2
NEAR = 1e-7
"""Nothing nearer than this to the start is met, mm: what the ray starts from."""

Hit = tuple[float, int, float, float, float]


@njit(cache=True, error_model="numpy", forceinline=True)
def rim_height(x: float, y: float, rim: Array) -> float:
    """Height of the rim in the azimuth of (x, y), by the pseudo-angle |y| / (|x| + |y|) counted through four quarters."""
    size = abs(x) + abs(y)
    s = x / size if size > 0.0 else 1.0
    p = 1.0 - s if y >= 0.0 else 3.0 + s
    cells = rim.shape[0] - 1
    place = p * (0.25 * cells)
    i = min(int(place), cells - 1)
    return rim[i] + (place - i) * (rim[i + 1] - rim[i])


@njit(cache=True, error_model="numpy", forceinline=True)
def _on_band(
    t: float, z0: float, z1: float, cut: int, px: float, py: float, pz: float, dx: float, dy: float, dz: float,
    rim: Array,
) -> bool:  # fmt: skip
    z = pz + t * dz
    if z < z0 or z > z1:
        return False
    return cut == 0 or z <= rim_height(px + t * dx, py + t * dy, rim)


@njit(cache=True, error_model="numpy", forceinline=True)
def band_distance(
    band: Array, cut: int, px: float, py: float, pz: float, dx: float, dy: float, dz: float, rim: Array
) -> float:
    """Distance along a ray to a conical or flat ring; infinity where it is missed."""
    z0 = band[0]
    r0 = band[1]
    z1 = band[2]
    r1 = band[3]
    if z1 == z0:
        if dz == 0.0:
            return math.inf
        t = (z0 - pz) / dz
        if t <= NEAR:
            return math.inf
        x = px + t * dx
        y = py + t * dy
        r2 = x * x + y * y
        if r2 < r0 * r0 or r2 > r1 * r1:
            return math.inf
        if cut == 1 and z0 > rim_height(x, y, rim):
            return math.inf
        return t
    k = (r1 - r0) / (z1 - z0)
    radius = r0 + k * (pz - z0)
    a = dx * dx + dy * dy - k * k * dz * dz
    b = px * dx + py * dy - k * radius * dz
    c = px * px + py * py - radius * radius
    root2 = b * b - a * c
    if root2 < 0.0:
        return math.inf
    root = math.sqrt(root2)
    q = -(b + root) if b >= 0.0 else root - b
    first = q / a if a != 0.0 else math.inf
    second = c / q if q != 0.0 else math.inf
    if second < first:
        first, second = second, first
    if first > NEAR and _on_band(first, z0, z1, cut, px, py, pz, dx, dy, dz, rim):
        return first
    if second > NEAR and second < math.inf and _on_band(second, z0, z1, cut, px, py, pz, dx, dy, dz, rim):
        return second
    return math.inf


@njit(cache=True, error_model="numpy")
def _box_hit(
    box: Array, glass: Array, px: float, py: float, pz: float, dx: float, dy: float, dz: float, nearest: float
) -> Hit:
    """A tunnel's four walls and its flat collar, if nearer than `nearest`."""
    best = nearest
    part = SKY
    nx = ny = nz = 0.0
    w = box[1]
    h = box[2]
    for side in range(4):
        if side == 0 or side == 2:
            if dx == 0.0:
                continue
            t = ((w if side == 0 else -w) - px) / dx
            along = abs(py + t * dy) - h
        else:
            if dy == 0.0:
                continue
            t = ((h if side == 1 else -h) - py) / dy
            along = abs(px + t * dx) - w
        z = pz + t * dz
        if t > NEAR and t < best and along <= 0.0 and z >= 0.0 and z <= box[3 + side]:
            best = t
            part = 0
            nx = -1.0 if side == 0 else (1.0 if side == 2 else 0.0)
            ny = -1.0 if side == 1 else (1.0 if side == 3 else 0.0)
    if dz != 0.0:
        t = -pz / dz
        if t > NEAR and t < best:
            x = px + t * dx
            y = py + t * dy
            if abs(x) <= w and abs(y) <= h and x * x + y * y > glass[0] * glass[0]:
                best = t
                part = 1
                nx = ny = 0.0
                nz = 1.0
    return best, part, nx, ny, nz


@njit(cache=True, error_model="numpy")
def mesh_distance(
    triangles: Array, boxes: Array, links: NDArray[np.int64], px: float, py: float, pz: float,
    dx: float, dy: float, dz: float, nearest: float, anything: bool,
) -> tuple[float, int]:  # fmt: skip
    """Distance to the nearest triangle nearer than `nearest`, and its number (-1: none); `anything`: the first found.

    T. Möller and B. Trumbore, "Fast, minimum storage ray-triangle intersection", JGT 2 (1997), within a tree of boxes.
    """
    ix = 1.0 / dx if dx != 0.0 else 1e30
    iy = 1.0 / dy if dy != 0.0 else 1e30
    iz = 1.0 / dz if dz != 0.0 else 1e30
    best = nearest
    found = -1
    node = 0
    count = links.shape[0]
    while node < count:
        ax = (boxes[node, 0] - px) * ix
        bx = (boxes[node, 3] - px) * ix
        ay = (boxes[node, 1] - py) * iy
        by = (boxes[node, 4] - py) * iy
        az = (boxes[node, 2] - pz) * iz
        bz = (boxes[node, 5] - pz) * iz
        enter = max(max(min(ax, bx), min(ay, by)), min(az, bz))
        leave = min(min(max(ax, bx), max(ay, by)), max(az, bz))
        if enter > leave or leave < 0.0 or enter > best:
            node = links[node, 0]
            continue
        first = links[node, 1]
        for m in range(first, first + links[node, 2]):
            e1x = triangles[m, 3]
            e1y = triangles[m, 4]
            e1z = triangles[m, 5]
            e2x = triangles[m, 6]
            e2y = triangles[m, 7]
            e2z = triangles[m, 8]
            hx = dy * e2z - dz * e2y
            hy = dz * e2x - dx * e2z
            hz = dx * e2y - dy * e2x
            det = e1x * hx + e1y * hy + e1z * hz
            if det == 0.0:
                continue
            inverse = 1.0 / det
            sx = px - triangles[m, 0]
            sy = py - triangles[m, 1]
            sz = pz - triangles[m, 2]
            u = inverse * (sx * hx + sy * hy + sz * hz)
            if u < 0.0 or u > 1.0:
                continue
            qx = sy * e1z - sz * e1y
            qy = sz * e1x - sx * e1z
            qz = sx * e1y - sy * e1x
            v = inverse * (dx * qx + dy * qy + dz * qz)
            if v < 0.0 or u + v > 1.0:
                continue
            t = inverse * (e2x * qx + e2y * qy + e2z * qz)
            if t > NEAR and t < best:
                best = t
                found = m
                if anything:
                    return best, found
        node = node + 1 if links[node, 2] == 0 else links[node, 0]
    return best, found


@njit(cache=True, error_model="numpy")
def nearest_hit(
    s: Surfaces, px: float, py: float, pz: float, dx: float, dy: float, dz: float
) -> Hit:
    """The first thing on a ray: distance, what it is, and its unit normal turned against the ray."""
    best = math.inf
    part = SKY
    nx = ny = nz = 0.0
    if dz < 0.0:
        t = (s.glass[1] - pz) / dz
        if t > NEAR:
            x = px + t * dx
            y = py + t * dy
            if x * x + y * y <= s.glass[0] * s.glass[0]:
                best = t
                # A tunnel narrower than the glass covers the rest of it.
                hidden = s.box[0] > 0.0 and (abs(x) > s.box[1] or abs(y) > s.box[2])
                part = 1 if hidden else GLASS
                nz = 1.0
    chosen = -1
    for m in range(s.bands.shape[0]):
        t = band_distance(s.bands[m], s.band_cut[m], px, py, pz, dx, dy, dz, s.rim)
        if t < best:
            best = t
            chosen = m
    if chosen >= 0:
        part = s.band_part[chosen]
        z0 = s.bands[chosen, 0]
        z1 = s.bands[chosen, 2]
        if z1 == z0:
            nx = ny = 0.0
            nz = 1.0
        else:
            k = (s.bands[chosen, 3] - s.bands[chosen, 1]) / (z1 - z0)
            nx = px + best * dx
            ny = py + best * dy
            size = 1.0 / math.sqrt((nx * nx + ny * ny) * (1.0 + k * k))
            nz = -k * math.sqrt(nx * nx + ny * ny) * size
            nx *= size
            ny *= size
    if s.box[0] > 0.0:
        t, found, ux, uy, uz = _box_hit(s.box, s.glass, px, py, pz, dx, dy, dz, best)
        if found >= 0:
            best = t
            part = found
            nx = ux
            ny = uy
            nz = uz
    if s.links.shape[0] > 0:
        t, m = mesh_distance(s.triangles, s.boxes, s.links, px, py, pz, dx, dy, dz, best, False)
        if m >= 0:
            best = t
            part = 0
            nx = s.triangles[m, 4] * s.triangles[m, 8] - s.triangles[m, 5] * s.triangles[m, 7]
            ny = s.triangles[m, 5] * s.triangles[m, 6] - s.triangles[m, 3] * s.triangles[m, 8]
            nz = s.triangles[m, 3] * s.triangles[m, 7] - s.triangles[m, 4] * s.triangles[m, 6]
            size = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz)
            nx *= size
            ny *= size
            nz *= size
    if nx * dx + ny * dy + nz * dz > 0.0:
        nx = -nx
        ny = -ny
        nz = -nz
    return best, part, nx, ny, nz


@njit(cache=True, error_model="numpy")
def reaches_sky(s: Surfaces, px: float, py: float, pz: float, dx: float, dy: float, dz: float) -> bool:
    """Whether nothing at all lies on a ray."""
    if dz < 0.0:
        t = (s.glass[1] - pz) / dz
        if t > NEAR:
            x = px + t * dx
            y = py + t * dy
            if x * x + y * y <= s.glass[0] * s.glass[0]:
                return False
    for m in range(s.bands.shape[0]):
        if band_distance(s.bands[m], s.band_cut[m], px, py, pz, dx, dy, dz, s.rim) < math.inf:
            return False
    if s.box[0] > 0.0 and _box_hit(s.box, s.glass, px, py, pz, dx, dy, dz, math.inf)[1] >= 0:
        return False
    if s.links.shape[0] > 0:
        return mesh_distance(s.triangles, s.boxes, s.links, px, py, pz, dx, dy, dz, math.inf, True)[1] < 0
    return True
