"""The lines of steepest rise of a tube or cone against many directions: Lambertian light, integrated along each line.

Along such a line the normal is one, and so is the azimuth in which a ray of one direction leaves the wall; the height at
which it leaves grows linearly with that of its start. So what of a line sees the sky in one direction is all that lies
above one height, and what it sends to the glass is a difference of two values of an integral: once a table of the disc
factor's, for further bounces a sum over walks from places along the line. Only the azimuths are left to be sampled, and
round a closed curve even steps converge fast. Single precision, staged as in `pairs`.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.importance import disc_factor
from shadewright.light.pairs import ONE, THREE, TILE, TINY, ZERO, mirrored

Array = NDArray[np.float64]
Single = NDArray[np.float32]

CELLS = 1024
"""Steps of height in which the disc factor's integral is kept; between them it is straight, to 1e-6 of the whole."""
LINE_ROWS = 5
"""Rows of lines: cos and sin of the azimuth, height of the rim, its inverse (0 for none), place of the first walk."""


def sight_table(radius: float, taper: float, top: float, glass_radius: float) -> Single:
    """Rows for heights from 0 to `top` in CELLS even steps: what of the Lambertian light of the wall above that height,
    per radian of azimuth, goes straight to the glass, over the glass's area; and the steps between the values.
    """
    from_, weight = np.polynomial.legendre.leggauss(4)
    step = top / CELLS
    part = np.zeros(CELLS)
    _disc_factors(radius, taper, glass_radius, step, from_, weight, part)
    table = np.append(np.cumsum(part[::-1])[::-1], 0.0) / (math.pi * glass_radius**2)
    return np.stack([table, np.append(np.diff(table), 0.0)]).astype(np.float32)


@njit(cache=True, error_model="numpy")
def _disc_factors(
    radius: float, taper: float, glass_radius: float, step: float, nodes: Array, weights: Array, part: Array
) -> None:
    """Integrals of the disc factor times radius and slant over each step of height, by Gauss's rule."""
    slant = math.sqrt(1.0 + taper * taper)
    for k in range(part.shape[0]):
        for i in range(nodes.shape[0]):
            z = (k + 0.5 + 0.5 * nodes[i]) * step
            r = radius + taper * z
            seen = disc_factor(r, 0.0, z, -1.0 / slant, 0.0, taper / slant, glass_radius)
            part[k] += 0.5 * step * weights[i] * seen * r * slant


def step_table(weights: Array) -> Single:
    """From weights (m, heights, 3) of walks, lowest first: (m, 3, heights + 2) sums of all from each number on."""
    above = np.cumsum(weights[:, ::-1], axis=1)[:, ::-1]
    table = np.zeros((len(weights), 3, weights.shape[1] + 2), np.float32)
    table[:, :, :-2] = above.transpose(0, 2, 1)
    return table


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _leave_line(
    x: np.float32, y: np.float32, radius: np.float32, taper: np.float32, level: np.float32, d: Single, start: int,
    count: int, quarter: np.float32, cosine: Single, place: Single, ahead: Single, rate: Single,
) -> None:  # fmt: skip
    """Cosine on the line, the place in the rim's table where rays leave, and their height there: ahead + start / rate."""
    dx = d[0, start : start + count]
    dy = d[1, start : start + count]
    dz = d[2, start : start + count]
    ia = d[3, start : start + count]
    beyond = d[4, start : start + count]
    for j in range(count):
        e = taper * dz[j] - x * dx[j] - y * dy[j]
        g = np.float32(2.0) * e * ia[j]
        qx = x + g * dx[j]
        qy = y + g * dy[j]
        s = qx / (abs(qx) + abs(qy) + TINY)
        place[j] = (ONE - s if qy >= ZERO else THREE + s) * quarter
        ahead[j] = radius * g * dz[j] + beyond[j]
        rate[j] = ONE / max(ONE + taper * g * dz[j], TINY)
        cosine[j] = max(e * level, ZERO)


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _lowest_lit(count: int, base: Single, slope: Single, top: np.float32, place: Single, ahead: Single, rate: Single, z: Single) -> None:
    """The height on the line, from 0 to its rim, above which it sees the sky."""
    for j in range(count):
        k = np.uint32(place[j])
        rim = base[k] + (place[j] - np.float32(k)) * slope[k]
        z[j] = min(max((rim - ahead[j]) * rate[j], ZERO), top)


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _straight(count: int, sight: Single, cells: np.float32, least: np.float32, z: Single, value: Single) -> None:
    """What goes straight to the glass from above each height."""
    base = sight[0]
    step = sight[1]
    for j in range(count):
        at = z[j] * cells
        k = np.uint32(at)
        value[j] = base[k] + (at - np.float32(k)) * step[k] - least


@njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz"}, forceinline=True)
def _by_walks(
    count: int, steps: Single, each: np.float32, first: np.float32, coated: bool, z: Single, value: Single,
    cosine: Single, tile: Single,
) -> None:  # fmt: skip
    """Add the straight part and that of the walks from above each height."""
    one = steps[0]
    two = steps[1]
    more = steps[2]
    a = tile[0]
    b = tile[1]
    c = tile[2]
    for j in range(count):
        k = np.uint32(z[j] * each - first)
        b[j] += cosine[j] * two[k]
        c[j] += cosine[j] * more[k]
        if coated:
            value[j] += one[k]
    for j in range(count):
        a[j] += cosine[j] * value[j]


@njit(cache=True, error_model="numpy", nogil=True)
def line_sums(
    lines: Single, steps: Single, sight: Single, per_height: float, directions: Single, base: Single, slope: Single,
    radius: float, taper: float, coat: Single, sums: Array,
) -> None:  # fmt: skip
    """Add to sums (3, n) the Lambertian light of a round wall from each direction, by number of bounces.

    lines: (LINE_ROWS, m) even in azimuth. steps: (m, 3, heights + 2) from `step_table`. sight: from `sight_table`, with
    per_height of its cells to a mm. directions, base, slope, coat: as for `pairs.pair_sums`.
    """
    one = np.float32
    n = directions.shape[1]
    m = lines.shape[1]
    quarter = one(0.25 * (base.shape[0] - 1))
    level = one(1.0 / math.sqrt(1.0 + taper * taper))
    heights = one(steps.shape[2] - 2)
    tile = np.empty((3, TILE), np.float32)
    cosine = np.empty(TILE, np.float32)
    place = np.empty(TILE, np.float32)
    ahead = np.empty(TILE, np.float32)
    rate = np.empty(TILE, np.float32)
    z = np.empty(TILE, np.float32)
    value = np.empty(TILE, np.float32)
    coated = coat.shape[1] > 1
    for start in range(0, n, TILE):
        count = min(TILE, n - start)
        tile[:] = ZERO
        for i in range(m):
            top = lines[2, i]
            if top <= ZERO:
                continue
            _leave_line(
                lines[0, i], lines[1, i], one(radius), one(taper), level, directions, start, count, quarter, cosine,
                place, ahead, rate,
            )  # fmt: skip
            _lowest_lit(count, base, slope, top, place, ahead, rate, z)
            at = top * one(per_height)
            k = np.uint32(at)
            least = sight[0, k] + (at - one(k)) * sight[1, k]
            _straight(count, sight, one(per_height), least, z, value)
            if coated:
                mirrored(count, cosine, coat, ahead)
                for j in range(count):
                    cosine[j] *= ONE - ahead[j]
            _by_walks(count, steps[i], lines[3, i] * heights, lines[4, i] - ONE, coated, z, value, cosine, tile)
        for b in range(3):
            for j in range(count):
                sums[b, start + j] += tile[b, j]
