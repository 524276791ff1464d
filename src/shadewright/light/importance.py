"""What of the light that a place on the hood scatters reaches the glass: closed forms, and walks for further bounces."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.light.block import WORK_ROWS, free_towards_sky
from shadewright.light.counter import low_discrepancy, pair, shifts_of
from shadewright.light.meet import GLASS, SKY, nearest_hit, reaches_sky
from shadewright.light.scatter import disc_point, lobe_offset, mirror_share
from shadewright.light.scene import Coats, Surfaces
from shadewright.light.trace import FAINT, MOST_BOUNCES, bounced, local_of, vertices_batch

Array = NDArray[np.float64]


@njit(cache=True, error_model="numpy")
def disc_factor(px: float, py: float, pz: float, nx: float, ny: float, nz: float, radius: float) -> float:
    """Configuration factor from an element at (px, py, pz), pz >= 0, to the disc of `radius` about the origin in z = 0.

    No part of the disc may lie behind the element, nor anything between. The factor's vector has a part along the axis
    and one towards it: the elements parallel and perpendicular to a disc of J. R. Howell's catalogue of radiation
    configuration factors (B-13 and B-14, numbers from memory).
    """
    away2 = px * px + py * py
    near2 = away2 + pz * pz - radius * radius
    far2 = away2 + pz * pz + radius * radius
    away = math.sqrt(away2)
    # The product of the squares of the distances to the disc's nearest and furthest points: no digits are lost.
    root = math.sqrt(((away - radius) ** 2 + pz * pz) * ((away + radius) ** 2 + pz * pz))
    if pz <= 0.0 or root <= 0.0:
        return 0.0
    axial = 0.5 * (1.0 - near2 / root)
    if away < 1e-12:
        return max(0.0, -nz * axial)
    radial = 0.5 * pz / away * (far2 / root - 1.0)
    return max(0.0, -nz * axial - (nx * px + ny * py) / away * radial)


ARRIVES, COUNTED, BY_FORM = 0, 1, 2
"""What the arrival of a walk's first segment is: to be counted, counted elsewhere, or counted by a closed form."""


@njit(cache=True, error_model="numpy")
def sees_by_glass(s: Surfaces, px: float, py: float, pz: float, dx: float, dy: float, dz: float) -> bool:
    """Whether a place sees the sky's direction (dx, dy, dz) mirrored in the glass."""
    if dz <= 0.0:
        return False
    t, part, _, _, _ = nearest_hit(s, px, py, pz, dx, dy, -dz)
    return part == GLASS and reaches_sky(s, px + t * dx, py + t * dy, s.glass[1], dx, dy, dz)


@njit(cache=True, error_model="numpy")
def _walk(
    s: Surfaces, coats: Coats, px: float, py: float, pz: float, dx: float, dy: float, dz: float, weight: float,
    cosine_out: float, part_out: int, scored: int, closed: bool, ray: int, seed: int, stream: int, bounces: int,
    sums: Array,
) -> None:  # fmt: skip
    """Follow scattered light to the glass; add what arrives to sums (3,) by number of bounces (one, two, more).

    scored: ARRIVES, or the arrival of this first segment has been counted: COUNTED, or BY_FORM, by its closed form, but for
    the share that the coat of part_out keeps back at cosine_out. closed: count the arrival of Lambertian scatter by closed form at every bounce.
    """
    for step in range(MOST_BOUNCES):
        t, part, nx, ny, nz = nearest_hit(s, px, py, pz, dx, dy, dz)
        if part == SKY:
            return
        px += t * dx
        py += t * dy
        pz += t * dz
        if part == GLASS:
            if scored == BY_FORM:
                share = mirror_share(cosine_out, coats.values[part_out])
                sums[min(bounces, 3) - 1] -= weight / (1.0 - share) * share if share < 1.0 else 0.0
            elif scored == ARRIVES:
                sums[min(bounces, 3) - 1] += weight
            weight *= s.glass[2]
            if weight <= 0.0:
                return
            dz = -dz
            scored = ARRIVES
            continue
        bounces += 1
        if closed:
            mirror = mirror_share(min(1.0, -(nx * dx + ny * dy + nz * dz)), coats.values[part])
            direct = disc_factor(px, py, pz, nx, ny, nz, s.glass[0])
            sums[min(bounces, 3) - 1] += weight * (1.0 - mirror) * coats.values[part, 0] * direct
        u, v = pair(ray, 2 * step + 2, seed, stream)
        w, chance = pair(ray, 2 * step + 3, seed, stream)
        dx, dy, dz, factor, kind = bounced(part, nx, ny, nz, dx, dy, dz, u, v, w, coats)
        cosine_out = nx * dx + ny * dy + nz * dz
        part_out = part
        scored = BY_FORM if closed and kind == 0 else ARRIVES
        weight *= factor
        if weight < FAINT:
            if chance * FAINT >= weight:
                return
            weight = FAINT


@njit(cache=True, error_model="numpy", nogil=True)
def importances(
    s: Surfaces, coats: Coats, places: Array, parts: NDArray[np.int64], gathers: int, straight: bool, seed: int,
    stream: int, out: Array,
) -> None:  # fmt: skip
    """Fill out (m, 3): share of the Lambertian scatter of each place (m, 6: point, normal) that reaches the glass directly,
    after one and after more further bounces. A convex room (`Scene.simple`) only.

    straight: with the disc factor; without it what is left of the first is what a coat keeps back from it.
    """
    sums = np.zeros(3)
    shifts = np.empty(4, np.uint64)
    shifts_of(seed, stream, shifts)
    for i in range(places.shape[0]):
        px, py, pz, nx, ny, nz = places[i]
        ax, ay, az, bx, by, bz, _ = local_of(nx, ny, nz, nx, ny, nz)
        sums[:] = 0.0
        for g in range(gathers):
            ray = i * gathers + g
            u, v = disc_point(low_discrepancy(ray, 0, shifts), low_discrepancy(ray, 1, shifts))
            w = math.sqrt(max(0.0, 1.0 - u * u - v * v))
            mirror = mirror_share(w, coats.values[parts[i]])
            _walk(
                s, coats, px, py, pz, u * ax + v * bx + w * nx, u * ay + v * by + w * ny, u * az + v * bz + w * nz,
                (1.0 - mirror) / gathers, w, parts[i], BY_FORM, True, ray, seed, stream, 1, sums,
            )  # fmt: skip
        out[i, 0] = sums[0]
        if straight:
            out[i, 0] += disc_factor(px, py, pz, nx, ny, nz, s.glass[0])
        out[i, 1] = sums[1]
        out[i, 2] = sums[2]


@njit(cache=True, error_model="numpy", nogil=True)
def mirror_walks(
    s: Surfaces, coats: Coats, places: Array, parts: NDArray[np.int64], areas: Array, directions: Array, first: int,
    stop: int, per_direction: int, closed: bool, seed: int, stream: int, sums: Array,
) -> None:  # fmt: skip
    """Add to sums (3, n) the light whose first bounce, seen from the sky, is by lobe or mirror, for directions first to stop.

    Each direction takes `per_direction` of the places (m, 6), whose areas (m,) are over the glass's. An arrival straight
    after that one bounce is left out: `pairs` or `lobe_sums` counts it. closed: a convex room.
    """
    m = places.shape[0]
    part_sums = np.zeros(3)
    # With a glass that reflects, light also comes to a place by way of the glass.
    legs = 2 if s.glass[2] > 0.0 else 1
    for n in range(first, stop):
        part_sums[:] = 0.0
        for g in range(per_direction * legs):
            by_glass = g >= per_direction
            dx = directions[n, 0]
            dy = directions[n, 1]
            dz = -directions[n, 2] if by_glass else directions[n, 2]
            # Every direction begins elsewhere in the sequence, and takes every so-manieth place.
            i = (n * 7919 + (g % per_direction) * m // per_direction) % m
            nx = places[i, 3]
            ny = places[i, 4]
            nz = places[i, 5]
            ax, ay, az, bx, by, bz, c = local_of(nx, ny, nz, dx, dy, dz)
            values = coats.values[parts[i]]
            if c < 0.0 and not closed:
                # Thin surfaces have two sides.
                nx, ny, nz = -nx, -ny, -nz
                ax, ay, az, bx, by, bz, c = local_of(nx, ny, nz, dx, dy, dz)
            mirror = mirror_share(min(abs(c), 1.0), values)
            total = mirror + (1.0 - mirror) * values[1]
            if c <= 0.0 or total <= 0.0 or areas[i] <= 0.0:
                continue
            px = places[i, 0]
            py = places[i, 1]
            pz = places[i, 2]
            weight = c * areas[i] * m / per_direction
            if by_glass:
                if not sees_by_glass(s, px, py, pz, dx, dy, -dz):
                    continue
                weight *= s.glass[2]
            elif not reaches_sky(s, px, py, pz, dx, dy, dz):
                continue
            ray = n * per_direction * legs + g
            u, v = pair(ray, 0, seed, stream)
            w, _ = pair(ray, 1, seed, stream)
            ix = dx * ax + dy * ay + dz * az
            iy = dx * bx + dy * by + dz * bz
            if w * total < mirror:
                ox = -ix
                oy = -iy
                up = c
                weight *= total
            else:
                ox, oy, factor = lobe_offset(u, v, values, coats.rings[parts[i]])
                ox -= ix
                oy -= iy
                up2 = 1.0 - ox * ox - oy * oy
                if up2 <= 0.0:
                    continue
                up = math.sqrt(up2)
                weight *= total * factor / values[1] * (1.0 - mirror_share(up, values))
            gx = ox * ax + oy * bx + up * nx
            gy = ox * ay + oy * by + up * ny
            gz = ox * az + oy * bz + up * nz
            _walk(
                s, coats, px, py, pz, gx, gy, gz, weight, up, parts[i], ARRIVES if by_glass else COUNTED, closed, ray, seed, stream, 1, part_sums
            )
        for k in range(3):
            sums[k, n] += part_sums[k]


@njit(cache=True, error_model="numpy", nogil=True)
def vertex_sums(
    s: Surfaces, coats: Coats, vertices: Array, directions: Array, first: int, stop: int, sums: Array
) -> None:
    """Add to sums (3, n) the Lambertian part, by number of bounces, that goes from each vertex (m, 11, see
    `trace.vertices_batch`) to directions (3, n) first to stop; for any scene.
    """
    count = stop - first
    free = np.empty(count)
    work = np.empty((WORK_ROWS, count))
    towards = directions[:, first:stop].copy()
    turned = towards.copy()
    turned[2] = -turned[2]
    for i in range(vertices.shape[0]):
        px, py, pz, nx, ny, nz = vertices[i, :6]
        code = int(vertices[i, 10])
        part = code % 16
        bounces = min(code // 16, 2)
        values = coats.values[part]
        come = -(nx * vertices[i, 6] + ny * vertices[i, 7] + nz * vertices[i, 8])
        weight = vertices[i, 9] * values[0] * (1.0 - mirror_share(min(come, 1.0), values))
        if weight <= 0.0:
            continue
        free_towards_sky(s, px, py, pz, nx, ny, nz, towards, free, work)
        if values[2] > 1.0:
            for j in range(count):
                if free[j] > 0.0:
                    free[j] *= 1.0 - mirror_share(free[j], values)
        for j in range(count):
            sums[bounces, first + j] += weight * free[j]
        if s.glass[2] > 0.0:
            for j in range(count):
                c = nx * turned[0, j] + ny * turned[1, j] + nz * turned[2, j]
                if c > 0.0 and sees_by_glass(s, px, py, pz, towards[0, j], towards[1, j], towards[2, j]):
                    sums[bounces, first + j] += weight * s.glass[2] * c * (1.0 - mirror_share(c, values))


@njit(cache=True, error_model="numpy", nogil=True)
def backward_sums(
    s: Surfaces, coats: Coats, count: int, few: int, seed: int, stream: int, deepest: int, directions: Array, first: int,
    stop: int, sums: Array,
) -> None:  # fmt: skip
    """`vertex_sums` of `count` backward rays, a few at a time, each followed for at most `deepest` bounces."""
    found = np.empty((few * deepest, 11))
    for begin in range(0, count, few):
        kept = vertices_batch(s, coats, begin, min(few, count - begin), seed, stream, deepest, found)
        vertex_sums(s, coats, found[:kept], directions, first, stop, sums)


@njit(cache=True, error_model="numpy", nogil=True)
def glass_sums(s: Surfaces, points: Array, directions: Array, first: int, stop: int, sums: Array) -> None:
    """Add to sums (n,) the points (m, 3) of the glass that each of the directions (3, n) first to stop lights, times cos θ."""
    count = stop - first
    free = np.empty(count)
    work = np.empty((WORK_ROWS, count))
    towards = directions[:, first:stop].copy()
    for i in range(points.shape[0]):
        free_towards_sky(s, points[i, 0], points[i, 1], points[i, 2], 0.0, 0.0, 1.0, towards, free, work)
        for j in range(count):
            sums[first + j] += free[j]


@njit(cache=True, error_model="numpy")
def _ends_on_glass(
    s: Surfaces, px: float, py: float, pz: float, gx: float, gy: float, gz: float, edge2: float
) -> bool:
    """Whether a direction from a place leads straight to the glass; edge2: its radius squared."""
    if gz >= 0.0:
        return False
    t = (s.glass[1] - pz) / gz
    x = px + t * gx
    y = py + t * gy
    return t > 0.0 and x * x + y * y <= edge2 and nearest_hit(s, px, py, pz, gx, gy, gz)[1] == GLASS


@njit(cache=True, error_model="numpy", nogil=True)
def lobe_sums(
    s: Surfaces, coats: Coats, places: Array, parts: NDArray[np.int64], areas: Array, offsets: Array, directions: Array,
    first: int, stop: int, sums: Array,
) -> None:  # fmt: skip
    """Add to sums (3, n) what comes from directions (3, n) first to stop by one bounce off a lobe or mirror, in any scene.

    places (m, 6), areas (m,) over the glass's; offsets (m, 3): a sample of each place's lobe and its weight.
    """
    count = stop - first
    free = np.empty(count)
    work = np.empty((WORK_ROWS, count))
    towards = directions[:, first:stop].copy()
    radius = s.glass[0]
    for i in range(places.shape[0]):
        values = coats.values[parts[i]]
        if areas[i] <= 0.0 or (values[1] <= 0.0 and values[2] <= 1.0):
            continue
        px = places[i, 0]
        py = places[i, 1]
        pz = places[i, 2]
        for side in range(2):
            sign = 1.0 - 2.0 * side
            nx = sign * places[i, 3]
            ny = sign * places[i, 4]
            nz = sign * places[i, 5]
            # The glass lies wholly behind this side.
            if radius * math.hypot(nx, ny) + nz * (s.glass[1] - pz) - nx * px - ny * py <= 0.0:
                continue
            free_towards_sky(s, px, py, pz, nx, ny, nz, towards, free, work)
            ax, ay, az, bx, by, bz, _ = local_of(nx, ny, nz, nx, ny, nz)
            for j in range(count):
                if free[j] <= 0.0:
                    continue
                c = min(free[j], 1.0)
                u = towards[0, j] * ax + towards[1, j] * ay + towards[2, j] * az
                v = towards[0, j] * bx + towards[1, j] * by + towards[2, j] * bz
                mirror = mirror_share(c, values)
                if mirror > 0.0 and _ends_on_glass(
                    s, px, py, pz, c * nx - u * ax - v * bx, c * ny - u * ay - v * by, c * nz - u * az - v * bz,
                    radius * radius,
                ):  # fmt: skip
                    sums[0, first + j] += areas[i] * c * mirror
                ox = offsets[i, 0] - u
                oy = offsets[i, 1] - v
                up2 = 1.0 - ox * ox - oy * oy
                if values[1] > 0.0 and up2 > 0.0:
                    up = math.sqrt(up2)
                    if _ends_on_glass(
                        s, px, py, pz, ox * ax + oy * bx + up * nx, ox * ay + oy * by + up * ny,
                        ox * az + oy * bz + up * nz, radius * radius,
                    ):  # fmt: skip
                        kept = (1.0 - mirror) * (1.0 - mirror_share(up, values))
                        sums[0, first + j] += areas[i] * c * offsets[i, 2] * kept
