"""Scattering as leaf functions for the kernels: mirror share, lobe values, samples. See `finish` for the formulas."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


@njit(cache=True, error_model="numpy")
def mirror_share(cosine: float, values: Array) -> float:
    """The mirror share at cos θ of incidence; `values` as in `finish.Prepared`."""
    index = values[2]
    if index <= 1.0:
        return 0.0
    inside = math.sqrt(1.0 - (1.0 - cosine * cosine) / (index * index))
    across = (cosine - index * inside) / (cosine + index * inside)
    along = (index * cosine - inside) / (index * cosine + inside)
    rough = values[4] * cosine
    return values[3] * math.exp(-rough * rough) * 0.5 * (across * across + along * along)


@njit(cache=True, error_model="numpy")
def lobe_value(offset2: float, values: Array) -> float:
    """The lobe at the square of |β - β0|, per steradian."""
    if values[5] == 1.0:
        return values[6] / (values[7] + offset2 ** (0.5 * values[8]))
    if values[5] == 2.0:
        return values[6] * (1.0 + offset2 / (values[7] * values[7])) ** (0.5 * values[8])
    return 0.0


@njit(cache=True, error_model="numpy")
def lobe_offset(u: float, v: float, values: Array, rings: Array) -> tuple[float, float, float]:
    """A sample of β - β0 from two numbers in (0, 1), and its weight: the lobe over the density of the sample.

    One of the rings of equal weight, then even over its area.
    """
    count = rings.shape[0] - 1
    place = u * count
    k = min(int(place), count - 1)
    offset2 = rings[k] + (place - k) * (rings[k + 1] - rings[k])
    weight = lobe_value(offset2, values) * math.pi * (rings[k + 1] - rings[k]) * count
    radius = math.sqrt(offset2)
    turn = 2.0 * math.pi * v
    return radius * math.cos(turn), radius * math.sin(turn), weight


@njit(cache=True, error_model="numpy")
def disc_point(u: float, v: float) -> tuple[float, float]:
    """An even sample of the unit disc from two numbers in (0, 1)."""
    radius = math.sqrt(u)
    turn = 2.0 * math.pi * v
    return radius * math.cos(turn), radius * math.sin(turn)


@njit(cache=True, error_model="numpy")
def frame_of(nx: float, ny: float, nz: float) -> tuple[float, float, float, float, float, float]:
    """Two unit vectors across a unit normal (Duff et al., "Building an orthonormal basis, revisited", JCGT 6 (2017))."""
    sign = 1.0 if nz >= 0.0 else -1.0
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return 1.0 + sign * nx * nx * a, sign * b, -sign * nx, b, sign + ny * ny * a, -ny


@njit(cache=True, error_model="numpy")
def to_world(
    bx: float, by: float, bz: float, nx: float, ny: float, nz: float
) -> tuple[float, float, float]:
    """A local direction (across, across, along the normal) in the scene's axes."""
    ax, ay, az, cx, cy, cz = frame_of(nx, ny, nz)
    return bx * ax + by * cx + bz * nx, bx * ay + by * cy + bz * ny, bx * az + by * cz + bz * nz


@njit(cache=True, error_model="numpy")
def scattered(
    ix: float, iy: float, iz: float, u: float, v: float, w: float, values: Array, rings: Array
) -> tuple[float, float, float, float, int]:
    """A scattered direction for light that leaves a surface backwards along (ix, iy, iz), local, iz > 0.

    (u, v, w): three numbers in (0, 1). Returns the local direction, the weight (0: taken by the surface) and the part:
    0 Lambertian, 1 lobe, 2 mirror. One part is chosen with a chance in proportion to its share, so that weights vary
    little; the weight is then that part's value times cos θ over the chance and density of the sample.
    """
    mirror = mirror_share(iz, values)
    body = values[0] + values[1]
    total = mirror + (1.0 - mirror) * body
    if total <= 0.0:
        return 0.0, 0.0, 1.0, 0.0, 0
    chance = mirror / total
    if w < chance:
        return -ix, -iy, iz, total, 2
    w = (w - chance) / (1.0 - chance)
    if w * body < values[0]:
        bx, by = disc_point(u, v)
        weight = 1.0
        part = 0
    else:
        bx, by, weight = lobe_offset(u, v, values, rings)
        weight /= values[1]
        bx -= ix
        by -= iy
        part = 1
    up2 = 1.0 - bx * bx - by * by
    if up2 <= 0.0:
        return 0.0, 0.0, 1.0, 0.0, part
    up = math.sqrt(up2)
    # (1 - mirror) body / (1 - chance) is the total.
    return bx, by, up, weight * total * (1.0 - mirror_share(up, values)), part


@njit(cache=True, error_model="numpy")
def bsdf(
    ix: float, iy: float, iz: float, ox: float, oy: float, oz: float, values: Array
) -> float:
    """The value per steradian between two local directions, the mirror part left out."""
    dx = ix + ox
    dy = iy + oy
    body = values[0] / math.pi + lobe_value(dx * dx + dy * dy, values)
    return (1.0 - mirror_share(iz, values)) * (1.0 - mirror_share(oz, values)) * body


@njit(cache=True, error_model="numpy")
def sample_many(
    ix: float, iy: float, iz: float, uvw: Array, values: Array, rings: Array, out: Array
) -> None:
    """Fill out (n, 5) with `scattered` for numbers (n, 3); for checks of the samplers."""
    for n in range(uvw.shape[0]):
        bx, by, bz, weight, part = scattered(ix, iy, iz, uvw[n, 0], uvw[n, 1], uvw[n, 2], values, rings)
        out[n, 0] = bx
        out[n, 1] = by
        out[n, 2] = bz
        out[n, 3] = weight
        out[n, 4] = part


@njit(cache=True, error_model="numpy")
def offsets_of(u: Array, v: Array, values: Array, rings: Array, out: Array) -> None:
    """Fill out (n, 3) with `lobe_offset` for numbers (n,) and (n,)."""
    for n in range(u.shape[0]):
        x, y, weight = lobe_offset(u[n], v[n], values, rings)
        out[n, 0] = x
        out[n, 1] = y
        out[n, 2] = weight


@njit(cache=True, error_model="numpy")
def mirror_shares(cosines: Array, values: Array) -> Array:
    """`mirror_share` at many cosines (n,)."""
    shares = np.empty(cosines.shape[0])
    for n in range(cosines.shape[0]):
        shares[n] = mirror_share(cosines[n], values)
    return shares
