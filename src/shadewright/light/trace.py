"""Backward tracing from the glass to the sky: the reference method's kernels."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.counter import low_discrepancy, pair, shifts_of
from shadewright.light.meet import GLASS, SKY, nearest_hit
from shadewright.light.scatter import bsdf, disc_point, scattered, to_world
from shadewright.light.scene import Coats, Surfaces

Array = NDArray[np.float64]

FAINT = 1e-3
"""A ray whose weight is below this lives on with the chance weight / FAINT, and then weighs FAINT."""
MOST_BOUNCES = 30_000
CLASSES = 4
"""Tallies by the number of bounces off hood surfaces: none, one, two, three or more."""
ABSORBED, RETURNED, ESCAPED, SEGMENTS, LAUNCHED = range(5)

State = tuple[float, float, float, float, float, float]


@njit(cache=True, error_model="numpy")
def launched(i: int, shifts: NDArray[np.uint64], s: Surfaces) -> State:
    """Ray i of a stream: an even point of the glass, and a direction with the density cos θ / π."""
    gx, gy = disc_point(low_discrepancy(i, 0, shifts), low_discrepancy(i, 1, shifts))
    dx, dy = disc_point(low_discrepancy(i, 2, shifts), low_discrepancy(i, 3, shifts))
    return s.glass[0] * gx, s.glass[0] * gy, s.glass[1], dx, dy, math.sqrt(max(0.0, 1.0 - dx * dx - dy * dy))


@njit(cache=True, error_model="numpy")
def covered(x: float, y: float, s: Surfaces) -> bool:
    """Whether a tunnel narrower than the glass covers this point of it."""
    return s.box[0] > 0.0 and (abs(x) > s.box[1] or abs(y) > s.box[2])


@njit(cache=True, error_model="numpy")
def bounced(
    part: int, nx: float, ny: float, nz: float, dx: float, dy: float, dz: float, u: float, v: float, w: float,
    coats: Coats,
) -> tuple[float, float, float, float, int]:  # fmt: skip
    """A ray's new direction after a surface, the factor on its weight and the kind of scatter (see `scattered`)."""
    # The direction back along the ray, in the surface's frame.
    ax, ay, az, bx, by, bz, iz = local_of(nx, ny, nz, -dx, -dy, -dz)
    ix = -(dx * ax + dy * ay + dz * az)
    iy = -(dx * bx + dy * by + dz * bz)
    ox, oy, oz, factor, kind = scattered(ix, iy, min(iz, 1.0), u, v, w, coats.values[part], coats.rings[part])
    return (
        ox * ax + oy * bx + oz * nx, ox * ay + oy * by + oz * ny, ox * az + oy * bz + oz * nz, factor, kind,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def local_of(
    nx: float, ny: float, nz: float, dx: float, dy: float, dz: float
) -> tuple[float, float, float, float, float, float, float]:
    """The two unit vectors across a normal, and the part of (dx, dy, dz) along it."""
    sign = 1.0 if nz >= 0.0 else -1.0
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return (
        1.0 + sign * nx * nx * a, sign * b, -sign * nx, b, sign + ny * ny * a, -ny, nx * dx + ny * dy + nz * dz,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def reflected_share(part: int, cosine: float, coats: Coats) -> float:
    """The tabulated reflectance at cos θ of incidence."""
    cells = coats.reflectance.shape[1] - 1
    place = min(cosine, 1.0) * cells
    i = min(int(place), cells - 1)
    return coats.reflectance[part, i] + (place - i) * (coats.reflectance[part, i + 1] - coats.reflectance[part, i])


@njit(cache=True, error_model="numpy")
def sky_cell(dx: float, dy: float, dz: float, rows: int, columns: int) -> int:
    """Number of the cell of a `Sky` in which a direction lies."""
    row = min(max(int((dz + 1.0) * 0.5 * rows), 0), rows - 1)
    turn = math.atan2(dy, dx) / (2.0 * math.pi)
    if turn < 0.0:
        turn += 1.0
    return row * columns + min(int(turn * columns), columns - 1)


@njit(cache=True, error_model="numpy")
def trace_ray(
    n: int, s: Surfaces, coats: Coats, shifts: NDArray[np.uint64], seed: int, stream: int, rows: int, columns: int
) -> tuple[int, int, float, float, float, int]:
    """Trace ray n of a stream to its end: bounces off hood surfaces, the cell of the sky in which it escapes (-1: none) and
    the weight that does, what was absorbed and returned on the way, and the number of segments.

    Compiled for the processor by `trace_batch` and for a graphics card by `trace_cuda`.
    """
    px, py, pz, dx, dy, dz = launched(n, shifts, s)
    weight = 1.0
    absorbed = 0.0
    returned = 0.0
    bounces = 0
    segments = 0
    if covered(px, py, s):
        return 0, -1, 0.0, 1.0, 0.0, 0
    for step in range(MOST_BOUNCES):
        t, part, nx, ny, nz = nearest_hit(s, px, py, pz, dx, dy, dz)
        segments += 1
        if part == SKY:
            return bounces, sky_cell(dx, dy, dz, rows, columns), weight, absorbed, returned, segments
        px += t * dx
        py += t * dy
        pz += t * dz
        if part == GLASS:
            returned += weight * (1.0 - s.glass[2])
            weight *= s.glass[2]
            dz = -dz
        else:
            cosine = -(nx * dx + ny * dy + nz * dz)
            absorbed += weight * (1.0 - reflected_share(part, cosine, coats))
            u, v = pair(n, 2 * step, seed, stream)
            w, chance = pair(n, 2 * step + 1, seed, stream)
            dx, dy, dz, factor, _ = bounced(part, nx, ny, nz, dx, dy, dz, u, v, w, coats)
            weight *= factor
            bounces += 1
            if weight < FAINT:
                if chance * FAINT >= weight:
                    break
                weight = FAINT
        if weight <= 0.0:
            break
    return bounces, -1, 0.0, absorbed, returned, segments


@njit(cache=True, error_model="numpy", nogil=True)
def trace_batch(
    s: Surfaces, coats: Coats, first: int, count: int, seed: int, stream: int, rows: int, columns: int,
    cells: Array, tally: Array,
) -> None:  # fmt: skip
    """Trace rays first to first + count of a stream; add to cells (CLASSES, rows * columns) and tally (5,).

    cells: weight that escapes into each cell of the sky. tally: absorbed, returned to the glass, escaped, segments,
    launched. What a surface takes is tallied by its tabulated reflectance, not by what its sample kept, so that the sum
    of the tallies equals what was launched only within the statistics: a check.
    """
    shifts = np.empty(4, np.uint64)
    shifts_of(seed, stream, shifts)
    for n in range(first, first + count):
        bounces, cell, escaped, absorbed, returned, segments = trace_ray(
            n, s, coats, shifts, seed, stream, rows, columns
        )
        tally[LAUNCHED] += 1.0
        tally[ABSORBED] += absorbed
        tally[RETURNED] += returned
        tally[SEGMENTS] += segments
        if cell >= 0:
            tally[ESCAPED] += escaped
            cells[min(bounces, CLASSES - 1), cell] += escaped


@njit(cache=True, error_model="numpy", nogil=True)
def vertices_batch(
    s: Surfaces, coats: Coats, first: int, count: int, seed: int, stream: int, deepest: int, found: Array
) -> int:
    """As `trace_batch`, but keep each place where a ray meets the hood, for sums over directions.

    found (k, 11), filled up to the number returned: place, normal, direction the ray came along, weight, and part plus
    16 times the number of bounces before it. Rays go on for at most `deepest` bounces, or until `found` is full.
    """
    kept = 0
    shifts = np.empty(4, np.uint64)
    shifts_of(seed, stream, shifts)
    for n in range(first, first + count):
        px, py, pz, dx, dy, dz = launched(n, shifts, s)
        weight = 1.0
        bounces = 0
        if covered(px, py, s):
            continue
        for step in range(MOST_BOUNCES):
            t, part, nx, ny, nz = nearest_hit(s, px, py, pz, dx, dy, dz)
            if part == SKY or kept >= found.shape[0]:
                break
            px += t * dx
            py += t * dy
            pz += t * dz
            if part == GLASS:
                weight *= s.glass[2]
                dz = -dz
            else:
                row = found[kept]
                row[0] = px
                row[1] = py
                row[2] = pz
                row[3] = nx
                row[4] = ny
                row[5] = nz
                row[6] = dx
                row[7] = dy
                row[8] = dz
                row[9] = weight
                row[10] = part + 16 * bounces
                kept += 1
                bounces += 1
                if bounces >= deepest:
                    break
                u, v = pair(n, 2 * step, seed, stream)
                w, chance = pair(n, 2 * step + 1, seed, stream)
                dx, dy, dz, factor, _ = bounced(part, nx, ny, nz, dx, dy, dz, u, v, w, coats)
                weight *= factor
                if weight < FAINT:
                    if chance * FAINT >= weight:
                        break
                    weight = FAINT
            if weight <= 0.0:
                break
    return kept


__all__ = [
    "ABSORBED", "CLASSES", "ESCAPED", "LAUNCHED", "RETURNED", "SEGMENTS", "bsdf", "disc_point", "to_world",
    "trace_batch", "vertices_batch",
]  # fmt: skip
