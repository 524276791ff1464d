"""Many points against many directions: does light from there arrive, and what of it is passed on. Single precision.

Each stage is one loop without branches over a tile of directions, so that it runs on vector registers; what a stage
fills the next one reads. A point lies on the hood's inside or in the plane of the glass; the room is convex, so a ray
leaves it once, at the wall or its prolongation, and is free where that is beyond the rim.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Single = NDArray[np.float32]

TILE = 512
ZERO = np.float32(0.0)
ONE = np.float32(1.0)
THREE = np.float32(3.0)
TINY = np.float32(1e-30)
SMALLEST = np.float32(1e-12)
FAR = np.float32(1e9)
STEEPEST = 1e12

ROWS = 14
ROUND, FLOOR, BOX = 0, 1, 2
"""Kinds of point: on a tube or cone; in the floor of one; anywhere within a tunnel."""


def round_directions(directions: Array, taper: float) -> Single:
    """Rows for a tube or cone r = r0 + taper * z: dx, dy, dz, 1 / (dx² + dy² - taper² dz²), and what is added to z of the
    place of leaving where the ray never meets the prolonged wall.
    """
    dx, dy, dz = directions.T
    a = dx * dx + dy * dy - (taper * dz) ** 2
    meets = a > 1.0 / STEEPEST
    inverse = np.where(meets, 1.0 / np.where(meets, a, 1.0), 0.0)
    beyond = np.where(meets, 0.0, np.where(dz > 0, float(FAR), -float(FAR)))
    return np.ascontiguousarray(np.stack([dx, dy, dz, inverse, beyond]), dtype=np.float32)


def box_directions(directions: Array, box: Array) -> Single:
    """Rows for a tunnel: dx, dy, dz, 1 / dx, 1 / dy, the walls ahead x and y, and the heights of their lips."""
    dx, dy, dz = directions.T
    ix = 1.0 / np.where(np.abs(dx) < 1.0 / STEEPEST, np.copysign(1.0 / STEEPEST, dx), dx)
    iy = 1.0 / np.where(np.abs(dy) < 1.0 / STEEPEST, np.copysign(1.0 / STEEPEST, dy), dy)
    lip_x, lip_y = np.where(dx >= 0, box[3], box[5]), np.where(dy >= 0, box[4], box[6])
    rows = [dx, dy, dz, ix, iy, np.copysign(box[1], dx), np.copysign(box[2], dy), lip_x, lip_y]
    return np.ascontiguousarray(np.stack(rows), dtype=np.float32)


def coat_table(share: Array) -> Single:
    """Rows for a mirror share given at even cosines from 0 to 1 (n,); one column says that there is none."""
    if not np.any(share > 0):
        return np.zeros((2, 1), np.float32)
    return np.stack([share, np.append(np.diff(share), 0.0)]).astype(np.float32)


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _leave_round(
    p: Single, at: int, d: Single, start: int, count: int, floor_radius: np.float32, taper: np.float32, floor: bool,
    quarter: np.float32, cosine: Single, z: Single, place: Single,
) -> None:  # fmt: skip
    """Cosine at the point, z where the ray leaves, and the place in the rim's table in that azimuth."""
    dx = d[0, start : start + count]
    dy = d[1, start : start + count]
    dz = d[2, start : start + count]
    ia = d[3, start : start + count]
    beyond = d[4, start : start + count]
    px = p[0, at]
    py = p[1, at]
    pz = p[2, at]
    nx = p[3, at]
    ny = p[4, at]
    nz = p[5, at]
    reach = p[6, at]
    if floor:
        lean = taper * floor_radius
        c = px * px + py * py - floor_radius * floor_radius
        for j in range(count):
            b = px * dx[j] + py * dy[j] - lean * dz[j]
            a = dx[j] * dx[j] + dy[j] * dy[j] - taper * taper * dz[j] * dz[j]
            root = math.sqrt(max(b * b - a * c, ZERO))
            # Two forms of one root. In a hood that narrows steep rays too meet the prolonged wall: there the second holds.
            steep = (taper < ZERO) & (b > ZERO)
            t = -c / (b + root + TINY) if steep else (root - b) * ia[j]
            qx = px + t * dx[j]
            qy = py + t * dy[j]
            z[j] = pz + t * dz[j] + (ZERO if steep else beyond[j])
            s = qx / (abs(qx) + abs(qy) + TINY)
            place[j] = (ONE - s if qy >= ZERO else THREE + s) * quarter
            cosine[j] = max(dz[j], ZERO)
    else:
        for j in range(count):
            c = nx * dx[j] + ny * dy[j] + nz * dz[j]
            t = c * reach * ia[j]
            qx = px + t * dx[j]
            qy = py + t * dy[j]
            z[j] = pz + t * dz[j] + beyond[j]
            s = qx / (abs(qx) + abs(qy) + TINY)
            place[j] = (ONE - s if qy >= ZERO else THREE + s) * quarter
            cosine[j] = max(c, ZERO)


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _free_of_rim(count: int, base: Single, slope: Single, place: Single, cosine: Single, z: Single, rim: Single) -> None:
    """Cosine becomes 0 where the ray leaves below the rim."""
    for j in range(count):
        k = np.uint32(place[j])
        rim[j] = base[k] + (place[j] - np.float32(k)) * slope[k]
    for j in range(count):
        cosine[j] = cosine[j] if z[j] > rim[j] else ZERO


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _leave_box(p: Single, at: int, d: Single, start: int, count: int, cosine: Single) -> None:
    """Cosine at the point where the ray is free of a tunnel's lips, else 0."""
    dx = d[0, start : start + count]
    dy = d[1, start : start + count]
    dz = d[2, start : start + count]
    ix = d[3, start : start + count]
    iy = d[4, start : start + count]
    wx = d[5, start : start + count]
    wy = d[6, start : start + count]
    lip_x = d[7, start : start + count]
    lip_y = d[8, start : start + count]
    px = p[0, at]
    py = p[1, at]
    pz = p[2, at]
    nx = p[3, at]
    ny = p[4, at]
    nz = p[5, at]
    for j in range(count):
        tx = (wx[j] - px) * ix[j]
        ty = (wy[j] - py) * iy[j]
        first = min(tx, ty)
        lip = lip_x[j] if tx < ty else lip_y[j]
        c = max(nx * dx[j] + ny * dy[j] + nz * dz[j], ZERO)
        cosine[j] = c if pz + first * dz[j] > lip else ZERO


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def mirrored(count: int, cosine: Single, coat: Single, share: Single) -> None:
    """Mirror share at each cosine, from its table: values and steps at even cosines."""
    cells = np.float32(coat.shape[1] - 1)
    base = coat[0]
    step = coat[1]
    for j in range(count):
        at = min(cosine[j], ONE) * cells
        k = np.uint32(at)
        share[j] = base[k] + (at - np.float32(k)) * step[k]


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _to_glass(
    p: Single, at: int, axes: Single, ox: np.float32, oy: np.float32, d: Single, start: int, count: int,
    radius2: np.float32, up: Single,
) -> None:  # fmt: skip
    """Cosine of the direction whose β differs by (ox, oy) from the mirror direction's, where it goes to the glass, else 0."""
    dx = d[0, start : start + count]
    dy = d[1, start : start + count]
    dz = d[2, start : start + count]
    px = p[0, at]
    py = p[1, at]
    pz = p[2, at]
    nx = p[3, at]
    ny = p[4, at]
    nz = p[5, at]
    ax = axes[0]
    ay = axes[1]
    az = axes[2]
    bx = axes[3]
    by = axes[4]
    bz = axes[5]
    for j in range(count):
        u = ox - (ax * dx[j] + ay * dy[j] + az * dz[j])
        v = oy - (bx * dx[j] + by * dy[j] + bz * dz[j])
        up2 = ONE - u * u - v * v
        w = math.sqrt(max(up2, ZERO))
        gz = u * az + v * bz + w * nz
        t = pz / max(-gz, SMALLEST)
        x = px + t * (u * ax + v * bx + w * nx)
        y = py + t * (u * ay + v * by + w * ny)
        up[j] = w if (gz < ZERO) & (x * x + y * y < radius2) else ZERO


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _add3(count: int, cosine: Single, kept: Single, w1: np.float32, w2: np.float32, w3: np.float32, sums: Single) -> None:
    """Add the Lambertian part, by number of bounces; kept: 1 less the mirror share."""
    a = sums[0]
    b = sums[1]
    c = sums[2]
    for j in range(count):
        v = cosine[j] * kept[j]
        a[j] += v * w1
        b[j] += v * w2
        c[j] += v * w3


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _add3_plain(count: int, cosine: Single, w1: np.float32, w2: np.float32, w3: np.float32, sums: Single) -> None:
    """Add the Lambertian part of an uncoated finish."""
    a = sums[0]
    b = sums[1]
    c = sums[2]
    for j in range(count):
        v = cosine[j]
        a[j] += v * w1
        b[j] += v * w2
        c[j] += v * w3


@njit(cache=True, error_model="numpy", nogil=True)
def pair_sums(
    kind: int, points: Single, axes: Single, directions: Single, base: Single, slope: Single, floor_radius: float,
    taper: float, radius: float, coat: Single, sums: Array,
) -> None:  # fmt: skip
    """Add to sums (3, n) what arrives from each direction, by number of bounces.

    points (ROWS, m): place, normal, reach (2 r √(1 + taper²) on a round wall), weights of the Lambertian part for one, two
    and three or more bounces, the lobe's offset, the mirror's weight and the lobe's (0: no lobe). axes (m, 6): two vectors across each normal.
    directions: from `round_directions` or `box_directions`. base, slope: the rim's table. coat: from `coat_table`.
    """
    one = np.float32
    n = directions.shape[1]
    quarter = one(0.25 * (base.shape[0] - 1))
    tile = np.empty((3, TILE), np.float32)
    cosine = np.empty(TILE, np.float32)
    z = np.empty(TILE, np.float32)
    place = np.empty(TILE, np.float32)
    rim = np.empty(TILE, np.float32)
    mirror = np.empty(TILE, np.float32)
    kept = np.empty(TILE, np.float32)
    up = np.empty(TILE, np.float32)
    away = np.empty(TILE, np.float32)
    coated = coat.shape[1] > 1
    radius2 = one(radius * radius)
    for start in range(0, n, TILE):
        count = min(TILE, n - start)
        if kind == FLOOR and directions[2, start : start + count].max() <= ZERO:
            continue
        tile[:] = ZERO
        for i in range(points.shape[1]):
            if kind == BOX:
                _leave_box(points, i, directions, start, count, cosine)
            else:
                _leave_round(
                    points, i, directions, start, count, one(floor_radius), one(taper), kind == FLOOR, quarter, cosine,
                    z, place,
                )  # fmt: skip
                _free_of_rim(count, base, slope, place, cosine, z, rim)
            if not coated:
                _add3_plain(count, cosine, points[7, i], points[8, i], points[9, i], tile)
            else:
                mirrored(count, cosine, coat, mirror)
                for j in range(count):
                    kept[j] = ONE - mirror[j]
                _add3(count, cosine, kept, points[7, i], points[8, i], points[9, i], tile)
                if points[2, i] > ZERO:
                    _to_glass(points, i, axes[i], ZERO, ZERO, directions, start, count, radius2, up)
                    for j in range(count):
                        tile[0, j] += cosine[j] * mirror[j] * points[12, i] if up[j] > ZERO else ZERO
            if points[13, i] > ZERO and points[2, i] > ZERO:
                _to_glass(points, i, axes[i], points[10, i], points[11, i], directions, start, count, radius2, up)
                if coated:
                    mirrored(count, up, coat, away)
                    for j in range(count):
                        v = cosine[j] * kept[j] * (ONE - away[j]) * points[13, i]
                        tile[0, j] += v if up[j] > ZERO else ZERO
                else:
                    w = points[13, i]
                    for j in range(count):
                        tile[0, j] += cosine[j] * w if up[j] > ZERO else ZERO
        for k in range(3):
            for j in range(count):
                sums[k, start + j] += tile[k, j]


@njit(cache=True, error_model="numpy", nogil=True)
def lit_sums(
    kind: int, points: Single, directions: Single, base: Single, slope: Single, floor_radius: float, taper: float,
    sums: Array,
) -> None:  # fmt: skip
    """Add to sums (n,) the number of points of the glass lit from each direction, times cos θ (0 from behind)."""
    one = np.float32
    n = directions.shape[1]
    quarter = one(0.25 * (base.shape[0] - 1))
    tile = np.empty(TILE, np.float32)
    cosine = np.empty(TILE, np.float32)
    z = np.empty(TILE, np.float32)
    place = np.empty(TILE, np.float32)
    rim = np.empty(TILE, np.float32)
    for start in range(0, n, TILE):
        count = min(TILE, n - start)
        if directions[2, start : start + count].max() <= ZERO:
            continue
        tile[:] = ZERO
        for i in range(points.shape[1]):
            if kind == BOX:
                _leave_box(points, i, directions, start, count, cosine)
            else:
                _leave_round(
                    points, i, directions, start, count, one(floor_radius), one(taper), True, quarter, cosine, z, place
                )
                _free_of_rim(count, base, slope, place, cosine, z, rim)
            for j in range(count):
                tile[j] += cosine[j]
        for j in range(count):
            sums[start + j] += tile[j]
