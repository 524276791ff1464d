"""Sequential ray tracing: rays in blocks through all surfaces, the boundary of what passes, and its support function.

Light travels along +z here, from the subject to the image; z = 0 is the vertex of the first surface. Codes of rays are as
`ray_block` describes them.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from shadewright.optics.ray_block import BLOCK, CODE, ROWS, WHERE, WORST, L, M, N, X, Y, Z, through

MOST_SEARCH = 60
"""Most steps of the search for a boundary."""


@njit(cache=True, error_model="numpy", nogil=True)
def start_kernel(origins, directions, xs, ys, ls, ms, ns):
    """Fill xs, ys (n,) in the plane of the first vertex and the direction cosines ls, ms, ns (n,) of rays from origins
    (n, 3) along directions (n, 3) of any length."""
    for i in range(origins.shape[0]):
        a = directions[i, 0]
        b = directions[i, 1]
        c = directions[i, 2]
        length = 1.0 / np.sqrt(a * a + b * b + c * c)
        step = origins[i, 2] / c
        xs[i] = origins[i, 0] - step * a
        ys[i] = origins[i, 1] - step * b
        ls[i] = a * length
        ms[i] = b * length
        ns[i] = c * length


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
    infinity for a ray that cannot go on, asked for only where nothing clips; or of no rays.
    """
    block = np.empty(ROWS * BLOCK)
    measured = most.shape[0] > 0
    for first in range(0, xs.shape[0], BLOCK):
        count = min(BLOCK, xs.shape[0] - first)
        for i in range(count):
            block[X + i] = xs[first + i]
            block[Y + i] = ys[first + i]
            block[Z + i] = 0.0
            block[L + i] = ls[first + i]
            block[M + i] = ms[first + i]
            block[N + i] = ns[first + i]
            block[CODE + i] = 0.0
            block[WORST + i] = -1.0
            block[WHERE + i] = -1.0
        for k in range(curvature.shape[0]):
            through(block, count, k, curvature, conic, poly, degree, thickness, mu, limit, clips, measured)
            if path.shape[1] > 0:
                for i in range(count):
                    path[k, first + i, 0] = block[X + i]
                    path[k, first + i, 1] = block[Y + i]
                    path[k, first + i, 2] = block[Z + i]
        for i in range(count):
            xs[first + i] = block[X + i]
            ys[first + i] = block[Y + i]
            ls[first + i] = block[L + i]
            ms[first + i] = block[M + i]
            ns[first + i] = block[N + i]
            codes[first + i] = np.int64(block[CODE + i])
        if measured:
            for i in range(count):
                code = codes[first + i]
                most[first + i] = np.inf if code != 0 else block[WORST + i]
                which[first + i] = np.int64(block[WHERE + i]) if code == 0 else code // 4


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
