"""Sequential ray tracing in blocks: each stage is one short loop over a block of rays, so that the compiler can run
several rays in one instruction.

Light travels along +z here, from the subject to the image; z = 0 is the vertex of the first surface. Every ray keeps a
code: 0 while it travels, else 4 s + kind for the surface s (from 0) at which it ended and one of the kinds below. A ray
that ended is carried on with finite numbers that mean nothing.
"""

from __future__ import annotations

import numpy as np
from numba import njit

BLOCK = 256
"""Rays in a block: their state stays in the nearest cache."""
MISSED = 1
"""The ray does not meet the surface."""
REFLECTED = 2
"""Total reflection."""
CLIPPED = 3
"""The ray meets the surface outside its clear semi-diameter."""
NEWTON_STEPS = 12
"""Most steps to an aspheric surface; each squares the error, so that four usually do."""
CLOSE = 1e-8
"""A Newton step below this (mm) ends the search: what is left after it is the square, far below rounding."""
MOST_SEARCH = 60
"""Most steps of the search for a boundary."""
STRAY = 1e-7
"""A ray whose last step was longer than this (mm) has not met the asphere."""


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _to_plane(x, y, z, l, m, n, count, at):
    """Move along the rays to the plane z = at; z then starts anew from there."""
    for i in range(count):
        s = (at - z[i]) / n[i]
        x[i] += s * l[i]
        y[i] += s * m[i]


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _to_conic(x, y, l, m, n, d, s, count, c, k):
    """Path s from the vertex plane to a conicoid of curvature c, k = 1 + conic constant; d < 0 where it is missed.

    The root nearer the vertex of c (x2 + y2 + k z2) = 2 z along the ray, in the form that loses no digits for flat
    surfaces (W. T. Welford, Aberrations of Optical Systems, 1986, section 4.3).
    """
    for i in range(count):
        a = c * (1.0 + (k - 1.0) * n[i] * n[i])
        b = n[i] - c * (x[i] * l[i] + y[i] * m[i])
        q = c * (x[i] * x[i] + y[i] * y[i])
        d[i] = b * b - a * q
        s[i] = q / (b + np.sqrt(max(d[i], 0.0)))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _to_sphere(x, y, l, m, n, d, s, count, c):
    """As `_to_conic` for a sphere or a plane."""
    for i in range(count):
        b = n[i] - c * (x[i] * l[i] + y[i] * m[i])
        q = c * (x[i] * x[i] + y[i] * y[i])
        d[i] = b * b - c * q
        s[i] = q / (b + np.sqrt(max(d[i], 0.0)))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _along(x, y, z, l, m, n, s, count):
    for i in range(count):
        x[i] += s[i] * l[i]
        y[i] += s[i] * m[i]
        z[i] = s[i] * n[i]


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _polynomials(x, y, p, q, count, poly):
    """At h = x2 + y2: p = a0 + a1 h + ..., q = 2 a0 + 3 a1 h + ..., by Horner's rule, one coefficient at a time."""
    last = poly.shape[0] - 1
    for i in range(count):
        p[i] = poly[last]
        q[i] = (last + 2) * poly[last]
    for j in range(last - 1, -1, -1):
        first = poly[j]
        second = (j + 2) * poly[j]
        for i in range(count):
            h = x[i] * x[i] + y[i] * y[i]
            p[i] = p[i] * h + first
            q[i] = q[i] * h + second


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _steps(x, y, z, l, m, n, p, q, s, d, count, c, k):
    """Newton step s along each ray towards z = sag(x2 + y2); none where d < 0, the conic part having no height there."""
    for i in range(count):
        h = x[i] * x[i] + y[i] * y[i]
        under = 1.0 - k * c * c * h
        root = np.sqrt(max(under, 1e-12))
        sag = c * h / (1.0 + root) + h * h * p[i]
        slope = 0.5 * c / root + h * q[i]
        step = (sag - z[i]) / (n[i] - 2.0 * slope * (x[i] * l[i] + y[i] * m[i]))
        d[i] = under
        s[i] = step if under > 0.0 else 0.0


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _advance(x, y, z, l, m, n, s, count):
    for i in range(count):
        x[i] += s[i] * l[i]
        y[i] += s[i] * m[i]
        z[i] += s[i] * n[i]


@njit(cache=True, error_model="numpy")
def _largest(s, code, count):
    """Largest step among the rays that still travel."""
    largest = 0.0
    for i in range(count):
        if code[i] == 0:
            largest = max(largest, abs(s[i]))
    return largest


@njit(cache=True, error_model="numpy")
def _astray(s, d, count):
    """Mark as missed what has not settled."""
    for i in range(count):
        if not abs(s[i]) <= STRAY:
            d[i] = -1.0


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _refract_conic(x, y, z, l, m, n, d, count, c, k, mu):
    """Snell's law in vector form at a conicoid; d < 0 where light is totally reflected. mu: index before over after."""
    for i in range(count):
        nx = -c * x[i]
        ny = -c * y[i]
        nz = 1.0 - c * k * z[i]
        length = 1.0 / np.sqrt(nx * nx + ny * ny + nz * nz)
        cosine = (l[i] * nx + m[i] * ny + n[i] * nz) * length
        d[i] = 1.0 - mu * mu * (1.0 - cosine * cosine)
        g = (np.sqrt(max(d[i], 0.0)) - mu * cosine) * length
        l[i] = mu * l[i] + g * nx
        m[i] = mu * m[i] + g * ny
        n[i] = mu * n[i] + g * nz


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _refract_sphere(x, y, z, l, m, n, d, count, c, mu):
    """As `_refract_conic` for a sphere or a plane, whose normal needs no scaling."""
    for i in range(count):
        nx = -c * x[i]
        ny = -c * y[i]
        nz = 1.0 - c * z[i]
        cosine = l[i] * nx + m[i] * ny + n[i] * nz
        d[i] = 1.0 - mu * mu * (1.0 - cosine * cosine)
        g = np.sqrt(max(d[i], 0.0)) - mu * cosine
        l[i] = mu * l[i] + g * nx
        m[i] = mu * m[i] + g * ny
        n[i] = mu * n[i] + g * nz


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _refract_asphere(x, y, l, m, n, q, d, count, c, k, mu):
    """Snell's law at an asphere; q as `_polynomials` fills it."""
    for i in range(count):
        h = x[i] * x[i] + y[i] * y[i]
        slope = -c / np.sqrt(max(1.0 - k * c * c * h, 1e-12)) - 2.0 * h * q[i]
        nx = slope * x[i]
        ny = slope * y[i]
        length = 1.0 / np.sqrt(nx * nx + ny * ny + 1.0)
        cosine = (l[i] * nx + m[i] * ny + n[i]) * length
        d[i] = 1.0 - mu * mu * (1.0 - cosine * cosine)
        g = (np.sqrt(max(d[i], 0.0)) - mu * cosine) * length
        l[i] = mu * l[i] + g * nx
        m[i] = mu * m[i] + g * ny
        n[i] = mu * n[i] + g


@njit(cache=True, error_model="numpy")
def _note(d, code, count, value):
    """Rays that still travel end here where d < 0."""
    for i in range(count):
        code[i] = value if (d[i] < 0.0) & (code[i] == 0) else code[i]


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _beyond(x, y, d, count, limit):
    for i in range(count):
        d[i] = limit - (x[i] * x[i] + y[i] * y[i])


@njit(cache=True, error_model="numpy")
def _excess(d, code, most, which, count, limit, s):
    """Keep the largest (r / semi-diameter)^2 so far and its surface; d holds limit - r^2."""
    for i in range(count):
        ratio = 1.0 - d[i] / limit
        if code[i] != 0:
            ratio = np.inf
        if ratio > most[i]:
            most[i] = ratio
            which[i] = s


@njit(cache=True, error_model="numpy")
def _load(into, source, first, count):
    for i in range(count):
        into[i] = source[first + i]


@njit(cache=True, error_model="numpy", nogil=True)
def start_kernel(origins, directions, state):
    """Fill state (5, n): x and y in the plane of the first vertex and direction cosines, of rays from origins (n, 3) along
    directions (n, 3) of any length."""
    for i in range(origins.shape[0]):
        a = directions[i, 0]
        b = directions[i, 1]
        c = directions[i, 2]
        length = 1.0 / np.sqrt(a * a + b * b + c * c)
        step = origins[i, 2] / c
        state[0, i] = origins[i, 0] - step * a
        state[1, i] = origins[i, 1] - step * b
        state[2, i] = a * length
        state[3, i] = b * length
        state[4, i] = c * length


@njit(cache=True, error_model="numpy", nogil=True)
def trace_kernel(
    curvature, conic, poly, degree, thickness, mu, limit, xs, ys, ls, ms, ns, codes, clips, path, most, which
):
    """Trace rays through all surfaces.

    curvature, conic (1 + conic constant), mu, limit (semi-diameter squared, infinity where none): (surfaces,); poly:
    (surfaces, terms) from r^4 on, degree: terms in use; thickness: from each surface to the next.
    xs, ys: (rays,) in the plane of the first vertex; ls, ms, ns: direction cosines. They are overwritten with the state
    after the last surface, xs and ys in that surface. codes: (rays,) as described above.
    clips: whether a ray beyond a semi-diameter ends. path: (surfaces, rays, 3) to fill with where each surface is met,
    z from the surface's own vertex, or of no rays. most, which: (rays,) the largest (r / semi-diameter)^2 and its surface,
    infinity for a ray that cannot go on, or of no rays.
    """
    surfaces = curvature.shape[0]
    x = np.empty(BLOCK)
    y = np.empty(BLOCK)
    z = np.empty(BLOCK)
    l = np.empty(BLOCK)
    m = np.empty(BLOCK)
    n = np.empty(BLOCK)
    d = np.empty(BLOCK)
    s = np.empty(BLOCK)
    p = np.empty(BLOCK)
    q = np.empty(BLOCK)
    code = np.empty(BLOCK, np.int64)
    worst = np.empty(BLOCK)
    where = np.empty(BLOCK, np.int64)
    for first in range(0, xs.shape[0], BLOCK):
        count = min(BLOCK, xs.shape[0] - first)
        _load(x, xs, first, count)
        _load(y, ys, first, count)
        _load(l, ls, first, count)
        _load(m, ms, first, count)
        _load(n, ns, first, count)
        for i in range(count):
            z[i] = 0.0
            code[i] = 0
            worst[i] = -1.0
            where[i] = -1
        for k in range(surfaces):
            if k > 0:
                _to_plane(x, y, z, l, m, n, count, thickness[k - 1])
            if conic[k] == 1.0:
                _to_sphere(x, y, l, m, n, d, s, count, curvature[k])
            else:
                _to_conic(x, y, l, m, n, d, s, count, curvature[k], conic[k])
            if degree[k] == 0:
                _note(d, code, count, 4 * k + MISSED)
                _along(x, y, z, l, m, n, s, count)
            else:
                # Where the conic is missed the search starts from the vertex plane.
                for i in range(count):
                    if d[i] < 0.0:
                        s[i] = 0.0
                _along(x, y, z, l, m, n, s, count)
                for _ in range(NEWTON_STEPS):
                    _polynomials(x, y, p, q, count, poly[k, : degree[k]])
                    _steps(x, y, z, l, m, n, p, q, s, d, count, curvature[k], conic[k])
                    _advance(x, y, z, l, m, n, s, count)
                    if _largest(s, code, count) < CLOSE:
                        break
                _astray(s, d, count)
                _note(d, code, count, 4 * k + MISSED)
                for i in range(count):
                    if not (abs(x[i]) < 1e6 and abs(y[i]) < 1e6 and abs(z[i]) < 1e6):
                        x[i] = 0.0
                        y[i] = 0.0
                        z[i] = 0.0
            if path.shape[1] > 0:
                for i in range(count):
                    path[k, first + i, 0] = x[i]
                    path[k, first + i, 1] = y[i]
                    path[k, first + i, 2] = z[i]
            if limit[k] < np.inf:
                _beyond(x, y, d, count, limit[k])
                if most.shape[0] > 0:
                    _excess(d, code, worst, where, count, limit[k], k)
                if clips:
                    _note(d, code, count, 4 * k + CLIPPED)
            if mu[k] != 1.0:
                if degree[k] == 0 and conic[k] == 1.0:
                    _refract_sphere(x, y, z, l, m, n, d, count, curvature[k], mu[k])
                elif degree[k] == 0:
                    _refract_conic(x, y, z, l, m, n, d, count, curvature[k], conic[k], mu[k])
                else:
                    _polynomials(x, y, p, q, count, poly[k, : degree[k]])
                    _refract_asphere(x, y, l, m, n, q, d, count, curvature[k], conic[k], mu[k])
                _note(d, code, count, 4 * k + REFLECTED)
        for i in range(count):
            xs[first + i] = x[i]
            ys[first + i] = y[i]
            ls[first + i] = l[i]
            ms[first + i] = m[i]
            ns[first + i] = n[i]
            codes[first + i] = code[i]
        if most.shape[0] > 0:
            for i in range(count):
                most[first + i] = np.inf if code[i] != 0 and not clips else worst[i]
                which[first + i] = where[i] if code[i] == 0 or clips else code[i] // 4


@njit(cache=True, error_model="numpy", nogil=True)
def boundary_kernel(
    curvature, conic, poly, degree, thickness, mu, limit, plane, distance, depth, tau, centre, cosine, sine, low, high,
    surface, halvings, close,
):  # fmt: skip
    """Find where rays of a slope stop passing, going out from a point that passes.

    tau (n,) field slopes, centre (n,) x of the points in the front plane, cosine, sine (n,) of the directions; plane: z of
    that plane; distance: from it to the subject, depth of the pupil behind it. The bracket low, high (n,) is halved
    `halvings` times and then narrowed by false position in the Illinois form (M. Dowell and P. Jarratt, BIT 11 (1971)
    168), by halves wherever a ray is lost rather than clipped, until the ray passes a rim within 1e-7 of its radius or the
    bracket is below `close` mm. low ends as the place (n,), surface (n,) as what limits there. Bounds that do not hold the
    boundary end at the nearer of them.
    """
    n = tau.shape[0]
    x = np.empty(n)
    y = np.empty(n)
    l = np.empty(n)
    m = np.empty(n)
    c = np.empty(n)
    code = np.empty(n, np.int64)
    path = np.empty((curvature.shape[0], 0, 3))
    most = np.empty(n)
    which = np.empty(n, np.int64)
    inner = np.full(n, np.nan)
    outer = np.full(n, np.inf)
    side = np.zeros(n, np.int64)
    at = np.empty(n)
    active = np.arange(n)
    left = n
    for step in range(MOST_SEARCH):
        for k in range(left):
            i = active[k]
            at[i] = 0.5 * (low[i] + high[i])
            if step >= halvings and outer[i] < 1e6 and inner[i] < 0.0:
                at[i] = (low[i] * outer[i] - high[i] * inner[i]) / (outer[i] - inner[i])
            q = centre[i] + at[i] * cosine[i]
            v = at[i] * sine[i]
            if distance < np.inf:
                a = (q - tau[i] * (distance + depth)) / distance
                b = v / distance
            else:
                a = -tau[i]
                b = 0.0
            x[k] = q - plane * a
            y[k] = v - plane * b
            c[k] = 1.0 / np.sqrt(1.0 + a * a + b * b)
            l[k] = a * c[k]
            m[k] = b * c[k]
        trace_kernel(
            curvature, conic, poly, degree, thickness, mu, limit, x[:left], y[:left], l[:left], m[:left], c[:left],
            code[:left], False, path, most[:left], which[:left],
        )  # fmt: skip
        kept = 0
        for k in range(left):
            i = active[k]
            value = np.sqrt(most[k]) - 1.0
            if value <= 0.0:
                low[i] = at[i]
                inner[i] = value
                # The same end kept twice running: the other one's weight is halved.
                if side[i] == -1 and outer[i] < 1e6:
                    outer[i] *= 0.5
                side[i] = -1
            else:
                high[i] = at[i]
                outer[i] = value
                surface[i] = which[k]
                if side[i] == 1:
                    inner[i] *= 0.5
                side[i] = 1
            if abs(value) < 1e-7:
                low[i] = at[i]
                surface[i] = which[k]
            elif high[i] - low[i] < close:
                low[i] = 0.5 * (low[i] + high[i])
            else:
                active[kept] = i
                kept += 1
        left = kept
        if left == 0:
            break


@njit(cache=True, error_model="numpy", nogil=True)
def support_kernel(centre, arc, reach, surface, row, angle, length, limit, cosines, sines, support, rim, area, hollow):
    """Support functions of half footprints and their mirror images.

    centre (n,), arc (a,) directions from 0 to pi, reach (n, a) distances, surface (n, a); row, angle, length, limit (c,)
    further points, the corners. Fills support, rim (n, m) at normals cosines, sines (m,), area (n,) of the boundary and
    hollow (n,): how far the boundary comes inside its hull.
    """
    count = arc.shape[0]
    normals = cosines.shape[0]
    x = np.empty(count + row.shape[0])
    y = np.empty(count + row.shape[0])
    for k in range(centre.shape[0]):
        points = count
        for i in range(count):
            x[i] = centre[k] + reach[k, i] * np.cos(arc[i])
            y[i] = reach[k, i] * np.sin(arc[i])
        total = 0.0
        for i in range(count - 1):
            total += x[i] * y[i + 1] - x[i + 1] * y[i]
        area[k] = abs(total)
        for j in range(row.shape[0]):
            if row[j] == k:
                x[points] = centre[k] + length[j] * np.cos(angle[j])
                y[points] = length[j] * np.sin(angle[j])
                points += 1
        for m in range(normals):
            best = -np.inf
            chosen = 0
            up = abs(sines[m])
            for i in range(points):
                along = cosines[m] * x[i] + up * y[i]
                if along > best:
                    best = along
                    chosen = i
            support[k, m] = best
            if chosen < count:
                rim[k, m] = surface[k, chosen]
            else:
                # The corner's own entry: they stand after the arc in the order of `row`.
                seen = count
                for j in range(row.shape[0]):
                    if row[j] == k:
                        if seen == chosen:
                            rim[k, m] = limit[j]
                            break
                        seen += 1
        most = 0.0
        for i in range(count):
            least = np.inf
            for m in range(normals):
                least = min(least, support[k, m] - cosines[m] * x[i] - sines[m] * y[i])
            most = max(most, least)
        hollow[k] = most
