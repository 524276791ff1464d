"""Backward tracing of Lambertian tubes and cones in stages: the reference's rays in single precision, many at a time.

A block of rays goes through one stage after another, each a loop without branches over plain arrays, so that it runs on
vector registers. The rays that live on are closed up after every segment, so all rays of a block have had as many
bounces.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.counter import STEPS, shifts_of, threefry
from shadewright.light.trace import ABSORBED, CLASSES, ESCAPED, FAINT, LAUNCHED, MOST_BOUNCES, RETURNED, SEGMENTS

Array = NDArray[np.float64]
Single = NDArray[np.float32]

BLOCK = 1024
ZERO = np.float32(0.0)
ONE = np.float32(1.0)
TWO = np.float32(2.0)
THREE = np.float32(3.0)
FOUR = np.float32(4.0)
HALF = np.float32(0.5)
TINY = np.float32(1e-30)
LEAST = np.float32(1e-12)
FAR = np.float32(1e9)
QUARTER_TURN = np.float32(math.pi / 2)
TO_UNIT = np.float32(2.0**-24)
# Taylor terms of sine and cosine: right to 4e-7 up to an eighth of a turn.
S3, S5, S7 = np.float32(-1 / 6), np.float32(1 / 120), np.float32(-1 / 5040)
C2, C4, C6, C8 = np.float32(-1 / 2), np.float32(1 / 24), np.float32(-1 / 720), np.float32(1 / 40320)
FLAGS = {"contract", "nsz"}


@njit(cache=True, error_model="numpy", fastmath=FLAGS, forceinline=True)
def _disc(u: np.float32, v: np.float32) -> tuple[np.float32, np.float32]:
    """An even sample of the unit disc, its sine and cosine by series."""
    radius = math.sqrt(u)
    q = v * FOUR
    k = np.int32(q + HALF)
    a = (q - np.float32(k)) * QUARTER_TURN
    a2 = a * a
    sine = a * (ONE + a2 * (S3 + a2 * (S5 + a2 * S7)))
    cosine = ONE + a2 * (C2 + a2 * (C4 + a2 * (C6 + a2 * C8)))
    odd = (k & np.int32(1)) != 0
    x = sine if odd else cosine
    y = cosine if odd else sine
    k1 = k + np.int32(1)
    x = -x if (k1 & np.int32(2)) != 0 else x
    y = -y if (k & np.int32(2)) != 0 else y
    return radius * x, radius * y


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _numbers(ray: NDArray[np.uint32], count: int, step: np.uint32, k0: np.uint32, k1: np.uint32, u: Single, v: Single) -> None:
    """Two numbers in (0, 1) for each ray."""
    for j in range(count):
        a, b = threefry(ray[j], step, k0, k1)
        u[j] = (np.float32(np.int32(a >> np.uint32(8))) + HALF) * TO_UNIT
        v[j] = (np.float32(np.int32(b >> np.uint32(8))) + HALF) * TO_UNIT


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _launch(
    first: int, count: int, shifts: NDArray[np.uint64], radius: np.float32, p: Single, ray: NDArray[np.uint32]
) -> None:
    """Start rays on the glass: even over it, by the cosine law."""
    px = p[0]
    py = p[1]
    pz = p[2]
    dx = p[3]
    dy = p[4]
    dz = p[5]
    w = p[6]
    for j in range(count):
        i = np.uint64(first + j)
        a = np.float32(np.int32((shifts[0] + i * STEPS[0]) >> np.uint64(40)))
        b = np.float32(np.int32((shifts[1] + i * STEPS[1]) >> np.uint64(40)))
        c = np.float32(np.int32((shifts[2] + i * STEPS[2]) >> np.uint64(40)))
        d = np.float32(np.int32((shifts[3] + i * STEPS[3]) >> np.uint64(40)))
        x, y = _disc((a + HALF) * TO_UNIT, (b + HALF) * TO_UNIT)
        u, v = _disc((c + HALF) * TO_UNIT, (d + HALF) * TO_UNIT)
        px[j] = x * radius
        py[j] = y * radius
        pz[j] = ZERO
        dx[j] = u
        dy[j] = v
        dz[j] = math.sqrt(max(ONE - u * u - v * v, ZERO))
        w[j] = ONE
        ray[j] = np.uint32(first + j)


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _leave(count: int, p: Single, near: np.float32, taper: np.float32, quarter: np.float32, at: Single) -> None:
    """Where each ray leaves the prolonged wall: x, y, z and the place in the rim's table."""
    px = p[0]
    py = p[1]
    pz = p[2]
    dx = p[3]
    dy = p[4]
    dz = p[5]
    qx = at[0]
    qy = at[1]
    qz = at[2]
    place = at[3]
    for j in range(count):
        radius = near + taper * pz[j]
        a = dx[j] * dx[j] + dy[j] * dy[j] - taper * taper * dz[j] * dz[j]
        b = px[j] * dx[j] + py[j] * dy[j] - taper * radius * dz[j]
        c = px[j] * px[j] + py[j] * py[j] - radius * radius
        root = math.sqrt(max(b * b - a * c, ZERO))
        meets = a > LEAST
        t = (root - b) / (a if meets else ONE)
        # In a hood that narrows steep rays meet the wall too; the same root in the form that loses no digits.
        t = -c / (b + root + TINY) if (taper < ZERO) & (b > ZERO) else t
        never = (taper >= ZERO) & (a <= LEAST)
        x = px[j] + t * dx[j]
        y = py[j] + t * dy[j]
        z = pz[j] + t * dz[j]
        qx[j] = x
        qy[j] = y
        qz[j] = (FAR if dz[j] > ZERO else -FAR) if never else z
        s = x / (abs(x) + abs(y) + TINY)
        place[j] = (ONE - s if y >= ZERO else THREE + s) * quarter


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _rim(count: int, at: Single, base: Single, slope: Single) -> None:
    """Height of the rim in each ray's azimuth."""
    place = at[3]
    rim = at[4]
    for j in range(count):
        k = np.uint32(place[j])
        rim[j] = base[k] + (place[j] - np.float32(k)) * slope[k]


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _floor(count: int, p: Single, fx: Single, fy: Single) -> None:
    """Where each ray passes the plane of the glass."""
    px = p[0]
    py = p[1]
    pz = p[2]
    dx = p[3]
    dy = p[4]
    dz = p[5]
    for j in range(count):
        t = pz[j] / max(-dz[j], LEAST)
        fx[j] = px[j] + t * dx[j]
        fy[j] = py[j] + t * dy[j]


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _sort(count: int, at: Single, fx: Single, fy: Single, glass2: np.float32, kind: NDArray[np.int32]) -> None:
    """What each ray meets: 0 the sky, 1 the wall, 2 the collar, 3 the glass."""
    qz = at[2]
    rim = at[4]
    for j in range(count):
        below = np.int32(3) if fx[j] * fx[j] + fy[j] * fy[j] < glass2 else np.int32(2)
        met = below if qz[j] <= ZERO else np.int32(1)
        kind[j] = np.int32(0) if qz[j] > rim[j] else met


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _settle(count: int, at: Single, fx: Single, fy: Single, near: np.float32, taper: np.float32) -> None:
    """The place that each ray meets, on the wall or the collar exactly, so that errors do not grow."""
    qx = at[0]
    qy = at[1]
    qz = at[2]
    for j in range(count):
        floor = qz[j] <= ZERO
        x = qx[j]
        y = qy[j]
        fit = (near + taper * qz[j]) / (math.sqrt(x * x + y * y) + TINY)
        qx[j] = fx[j] if floor else x * fit
        qy[j] = fy[j] if floor else y * fit
        qz[j] = ZERO if floor else qz[j]


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _cells(count: int, out: Single, rows: int, columns: int, cell: NDArray[np.int32]) -> None:
    """Number of the sky's cell for each direction that leaves (`trace.sky_cell`)."""
    half_rows = np.float32(0.5 * rows)
    top = np.int32(rows - 1)
    turn = np.float32(columns / (2.0 * math.pi))
    last = np.int32(columns - 1)
    wide = np.int32(columns)
    full = np.float32(2.0 * math.pi)
    half = np.float32(math.pi)
    dx = out[0]
    dy = out[1]
    dz = out[2]
    for j in range(count):
        row = min(max(np.int32((dz[j] + ONE) * half_rows), np.int32(0)), top)
        ax = abs(dx[j])
        ay = abs(dy[j])
        steep = ay > ax
        r = (ax if steep else ay) / (max(ax, ay) + TINY)
        r2 = r * r
        # S. Chebyshev-like fit of arc tangent on 0 to 1, right to 2e-6 (M. Abramowitz, I. Stegun, 4.4.49).
        a = r * (
            ONE
            + r2
            * (
                np.float32(-0.3333314528)
                + r2
                * (
                    np.float32(0.1999355085)
                    + r2
                    * (
                        np.float32(-0.1420889944)
                        + r2
                        * (
                            np.float32(0.1065626393)
                            + r2
                            * (
                                np.float32(-0.0752896400)
                                + r2 * (np.float32(0.0429096138) + r2 * (np.float32(-0.0161657367) + r2 * np.float32(0.0028662257)))
                            )
                        )
                    )
                )
            )
        )
        a = QUARTER_TURN - a if steep else a
        a = half - a if dx[j] < ZERO else a
        a = full - a if dy[j] < ZERO else a
        cell[j] = row * wide + min(max(np.int32(a * turn), np.int32(0)), last)


@njit(cache=True, error_model="numpy", fastmath=FLAGS)
def _scatter(count: int, p: Single, u: Single, v: Single, near: np.float32, taper: np.float32, floor: Single) -> None:
    """New directions by the cosine law, from the wall or (floor 1) the collar."""
    px = p[0]
    py = p[1]
    pz = p[2]
    dx = p[3]
    dy = p[4]
    dz = p[5]
    slant = ONE / math.sqrt(ONE + taper * taper)
    for j in range(count):
        a, b = _disc(u[j], v[j])
        c = math.sqrt(max(ONE - a * a - b * b, ZERO))
        size = ONE / (near + taper * pz[j])
        ex = px[j] * size
        ey = py[j] * size
        flat = floor[j] > ZERO
        # Normal (-e, taper) slant; across it the ring's tangent (-ey, ex, 0) and, up the wall, (e taper, 1) slant.
        across = b * taper * slant - c * slant
        wx = -ey * a + ex * across
        wy = ex * a + ey * across
        wz = b * slant + c * taper * slant
        dx[j] = a if flat else wx
        dy[j] = b if flat else wy
        dz[j] = c if flat else wz


@njit(cache=True, error_model="numpy", nogil=True)
def staged_batch(
    base: Single, slope: Single, near: float, taper: float, glass: float, wall: float, collar: float, first: int, count: int,
    seed: int, stream: int, rows: int, columns: int, cells: Array, tally: Array,
) -> None:  # fmt: skip
    """As `trace.trace_batch` for a round wall r = near + taper z and a flat collar, of Lambertian reflectances.

    base, slope: the rim's table (see `fast.Sides`).
    """
    one = np.float32
    shifts = np.empty(4, np.uint64)
    shifts_of(seed, stream, shifts)
    k0 = np.uint32(seed & 0xFFFFFFFF)
    k1 = np.uint32((seed >> 32) & 0xFFFFFFFF)
    p = np.empty((7, BLOCK), np.float32)
    at = np.empty((5, BLOCK), np.float32)
    out = np.empty((4, BLOCK), np.float32)
    floor = np.empty(BLOCK, np.float32)
    u = np.empty(BLOCK, np.float32)
    v = np.empty(BLOCK, np.float32)
    ray = np.empty(BLOCK, np.uint32)
    kind = np.empty(BLOCK, np.int32)
    cell = np.empty(BLOCK, np.int32)
    share = np.array([0.0, wall, collar, 0.0], np.float32)
    alive_kind = np.array([0, 1, 1, 0], np.int64)
    quarter = one(0.25 * (base.shape[0] - 1))
    for start in range(first, first + count, BLOCK):
        n = min(BLOCK, first + count - start)
        tally[LAUNCHED] += n
        _launch(start, n, shifts, one(glass), p, ray)
        for bounce in range(MOST_BOUNCES):
            tally[SEGMENTS] += n
            _leave(n, p, one(near), one(taper), quarter, at)
            _rim(n, at, base, slope)
            _floor(n, p, u, v)
            _sort(n, at, u, v, one(glass * glass), kind)
            _settle(n, at, u, v, one(near), one(taper))
            kept = 0
            gone = 0
            returned = 0.0
            absorbed = 0.0
            strongest = ZERO
            for j in range(n):
                k = kind[j]
                w = p[6, j]
                out[0, gone] = p[3, j]
                out[1, gone] = p[4, j]
                out[2, gone] = p[5, j]
                out[3, gone] = w
                gone += 1 - min(k, 1)
                returned += float(w) if k == 3 else 0.0
                alive = alive_kind[k]
                after = w * share[k]
                absorbed += float(w) - float(after) if alive == 1 else 0.0
                p[0, kept] = at[0, j]
                p[1, kept] = at[1, j]
                p[2, kept] = at[2, j]
                p[6, kept] = after
                ray[kept] = ray[j]
                floor[kept] = one(k - 1)
                kept += alive
            tally[RETURNED] += returned
            tally[ABSORBED] += absorbed
            _cells(gone, out, rows, columns, cell)
            number = min(bounce, CLASSES - 1)
            escaped = 0.0
            for j in range(gone):
                cells[number, cell[j]] += out[3, j]
                escaped += out[3, j]
            tally[ESCAPED] += escaped
            n = kept
            for j in range(n):
                strongest = max(strongest, p[6, j])
            if n == 0 or strongest <= ZERO:
                break
            if strongest < FAINT:
                # The numbers of odd steps decide who lives on.
                _numbers(ray, n, np.uint32((2 * bounce + 1) | (stream << 16)), k0, k1, u, v)
                kept = 0
                for j in range(n):
                    p[0, kept] = p[0, j]
                    p[1, kept] = p[1, j]
                    p[2, kept] = p[2, j]
                    floor[kept] = floor[j]
                    ray[kept] = ray[j]
                    lives = u[j] * one(FAINT) < p[6, j]
                    p[6, kept] = one(FAINT)
                    kept += 1 if lives else 0
                n = kept
            _numbers(ray, n, np.uint32((2 * bounce) | (stream << 16)), k0, k1, u, v)
            _scatter(n, p, u, v, one(near), one(taper), floor)
