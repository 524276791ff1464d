"""A block of rays on its way through one surface: each stage is one short loop over the block, so that the compiler can
run several rays in one instruction.

The block is one flat array with a row of BLOCK numbers for each quantity. Rows at fixed distances let the compiler see that
no write touches what is still to be read, so that a whole spherical surface is one loop without checks between its parts.
Light travels along +z; z counts from the vertex of the surface last met. A ray's code is 0 while it travels, else 4 s + kind
for the surface s (from 0) at which it ended and one of the kinds below. A ray that missed or was totally reflected is sent
on along the axis, so that its numbers stay finite; they mean nothing.
"""

from __future__ import annotations

import numpy as np
from numba import njit

BLOCK = 256
"""Rays in a block: their state stays in the nearest cache."""
X, Y, Z, L, M, N, CODE, D, S, P, Q, WORST, WHERE = (BLOCK * row for row in range(13))
"""Where the rows begin: place, direction cosines, code, discriminant, path, polynomial and its slope, largest excess and
its surface."""
ROWS = 13
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
FAR = 1e6
"""A ray farther than this (mm) from the vertex has lost its way."""
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
        code[i] = value if (d[i] < 0.0) & (code[i] == 0.0) else code[i]


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _beyond(x, y, d, count, limit):
    for i in range(count):
        d[i] = limit - (x[i] * x[i] + y[i] * y[i])


@njit(cache=True, error_model="numpy")
def _send_on(block, count):
    """Send rays that went astray on along the axis."""
    for i in range(count):
        fine = (abs(block[i]) < FAR) & (abs(block[Y + i]) < FAR) & (abs(block[Z + i]) < FAR)
        block[i] = block[i] if fine else 0.0
        block[Y + i] = block[Y + i] if fine else 0.0
        block[Z + i] = block[Z + i] if fine else 0.0


@njit(cache=True, error_model="numpy")
def _excess(block, count, limit, k):
    """Keep the largest (r / semi-diameter)^2 so far and its surface k; infinity once a ray has ended."""
    scale = 1.0 / limit
    for i in range(count):
        ratio = (block[i] * block[i] + block[Y + i] * block[Y + i]) * scale
        ratio = ratio if block[CODE + i] == 0.0 else np.inf
        more = ratio > block[WORST + i]
        block[WORST + i] = ratio if more else block[WORST + i]
        block[WHERE + i] = k if more else block[WHERE + i]


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _through_sphere(block, count, gap, c, mu, limit, k):
    """Move on by `gap`, meet a sphere or plane of curvature c and refract there, as surface k; limit: radius squared
    beyond which a ray ends.

    From the foot of the perpendicular from the vertex on the ray, so that one division and one root lead to the surface;
    that root is the cosine of incidence, and Snell's law in vector form takes only one more (W. T. Welford, Aberrations of
    Optical Systems, 1986, sections 4.3 and 4.4, with the foot in place of the vertex plane).
    """
    missed = 4.0 * k + MISSED
    clipped = 4.0 * k + CLIPPED
    reflected = 4.0 * k + REFLECTED
    square = mu * mu
    rest = 1.0 - square
    for i in range(count):
        x = block[i]
        y = block[Y + i]
        z = block[Z + i] - gap
        l = block[L + i]
        m = block[M + i]
        n = block[N + i]
        code = block[CODE + i]
        foot = -(x * l + y * m + z * n)
        x += foot * l
        y += foot * m
        z += foot * n
        f = c * (x * x + y * y + z * z) - 2.0 * z
        d = n * n - c * f
        after = rest + square * d
        cosine = np.sqrt(d)
        s = f / (n + cosine)
        g = np.sqrt(after) - mu * cosine
        bend = g * c
        x += s * l
        y += s * m
        z += s * n
        met = d >= 0.0
        on = met & (after >= 0.0)
        kind = clipped if x * x + y * y > limit else reflected
        kind = kind if met else missed
        passed = on & (x * x + y * y <= limit)
        block[i] = x if met else 0.0
        block[Y + i] = y if met else 0.0
        block[Z + i] = z if met else 0.0
        block[L + i] = mu * l - bend * x if on else 0.0
        block[M + i] = mu * m - bend * y if on else 0.0
        block[N + i] = mu * n + g - bend * z if on else 1.0
        block[CODE + i] = code if (code != 0.0) | passed else kind


@njit(cache=True, error_model="numpy")
def _through_other(block, count, gap, c, conic, poly, mu, limit, k):
    """As `_through_sphere` for a conicoid (conic: 1 + conic constant) and, where poly holds any terms, an asphere."""
    x = block[X : X + BLOCK]
    y = block[Y : Y + BLOCK]
    z = block[Z : Z + BLOCK]
    l = block[L : L + BLOCK]
    m = block[M : M + BLOCK]
    n = block[N : N + BLOCK]
    code = block[CODE : CODE + BLOCK]
    d = block[D : D + BLOCK]
    s = block[S : S + BLOCK]
    p = block[P : P + BLOCK]
    q = block[Q : Q + BLOCK]
    _to_plane(x, y, z, l, m, n, count, gap)
    _to_conic(x, y, l, m, n, d, s, count, c, conic)
    if poly.shape[0] == 0:
        _note(d, code, count, 4.0 * k + MISSED)
        _along(x, y, z, l, m, n, s, count)
    else:
        # Where the conic is missed the search starts from the vertex plane.
        for i in range(count):
            s[i] = s[i] if d[i] >= 0.0 else 0.0
        _along(x, y, z, l, m, n, s, count)
        for _ in range(NEWTON_STEPS):
            _polynomials(x, y, p, q, count, poly)
            _steps(x, y, z, l, m, n, p, q, s, d, count, c, conic)
            _advance(x, y, z, l, m, n, s, count)
            if _largest(s, code, count) < CLOSE:
                break
        _astray(s, d, count)
        _note(d, code, count, 4.0 * k + MISSED)
    _send_on(block, count)
    if limit < np.inf:
        _beyond(x, y, d, count, limit)
        _note(d, code, count, 4.0 * k + CLIPPED)
    if mu != 1.0:
        if poly.shape[0] == 0:
            _refract_conic(x, y, z, l, m, n, d, count, c, conic, mu)
        else:
            _polynomials(x, y, p, q, count, poly)
            _refract_asphere(x, y, l, m, n, q, d, count, c, conic, mu)
        _note(d, code, count, 4.0 * k + REFLECTED)


@njit(cache=True, error_model="numpy")
def through(block, count, surface, curvature, conic, poly, degree, thickness, mu, limit, clips, measured):
    """Take the first `count` rays of a block through one surface; arrays as `trace_kernel.trace_kernel` takes them.

    clips: whether rays end at semi-diameters; measured: whether the largest excess is kept.
    """
    gap = thickness[surface - 1] if surface > 0 else 0.0
    edge = limit[surface] if clips else np.inf
    if degree[surface] == 0 and conic[surface] == 1.0:
        _through_sphere(block, count, gap, curvature[surface], mu[surface], edge, surface)
    else:
        used = poly[surface, : degree[surface]]
        _through_other(block, count, gap, curvature[surface], conic[surface], used, mu[surface], edge, surface)
    if measured and limit[surface] < np.inf:
        _excess(block, count, limit[surface], surface)
