"""Exact first entry of a line into a beam: compiled kernels, no ray sampling.

For a point P, window k of a beam says |a_k - b_k t| <= r_k of a frame slope t, where a_k, b_k and r_k are linear in P.
P is in the keep-out when a t in the frame (a union of convex polygons) satisfies every window. In the plane this is
decided by triples of convex sets (Helly's theorem): one disc and the polygon, two discs, two discs and a side, three
discs. Every violated triple yields a certificate: non-negative weights l_k and unit vectors u_k such that each feasible
t has

    sum l_k (u_k . a_k - r_k)  <=  (sum l_k b_k u_k) . t  <=  max over the polygon's corners.

Along a straight line all of it is linear in the distance s, so the first s at which the inequality can hold is the
smallest root over the corners. No point before it is in the keep-out: stepping from root to root approaches the first
entry from outside and never passes it. Near the entry the step is Newton's.

Coefficients of a window along a line, one row of `coef`: a0x, a0y, a1x, a1y, b0, b1, r0, r1.
"""

from __future__ import annotations

import math

from numba import njit

CONVERGED = 1e-10
"""A certified step shorter than this (mm) ends the approach."""
NUDGE = 1e-9
"""Uncertified step (mm) past a place where two circles just touch: the error it can cause."""
ROUNDING = 1e-12
"""What rounding alone may violate, relative to the numbers compared."""
MOST_STEPS = 2000


@njit(cache=True, fastmath=False, error_model="numpy")
def line_coefficients(coef, windows, first, last, reach, distance, px, py, pz, dx, dy, dz):
    """Fill coef[0 : last - first] for the line (px, py, pz) + s (dx, dy, dz) in seat coordinates."""
    z0 = pz - reach
    finite = math.isfinite(distance)
    e0 = windows[first, 0]
    c0x = windows[first, 2]
    c0y = windows[first, 3]
    for k in range(first, last):
        row = k - first
        depth = windows[k, 0]
        radius = windows[k, 1]
        cx = windows[k, 2]
        cy = windows[k, 3]
        b0 = z0 + depth
        if finite:
            # The ray through P and the object point Q: every term is divided by the object distance.
            zq = distance - e0
            gain = (zq + depth) / distance
            left = (zq - z0) / distance
            coef[row, 0] = px * gain - cx * left - c0x * b0 / distance
            coef[row, 1] = py * gain - cy * left - c0y * b0 / distance
            coef[row, 2] = dx * gain + (cx - c0x) * dz / distance
            coef[row, 3] = dy * gain + (cy - c0y) * dz / distance
            coef[row, 6] = radius * left
            coef[row, 7] = -radius * dz / distance
        else:
            coef[row, 0] = px - cx
            coef[row, 1] = py - cy
            coef[row, 2] = dx
            coef[row, 3] = dy
            coef[row, 6] = radius
            coef[row, 7] = 0.0
        coef[row, 4] = b0
        coef[row, 5] = dz


@njit(cache=True, fastmath=False, error_model="numpy")
def nearest_in_polygon(x, y, corners, first, last):
    """The point of a convex counter-clockwise polygon nearest to (x, y)."""
    inside = True
    best = math.inf
    bx = x
    by = y
    for i in range(first, last):
        j = i + 1 if i + 1 < last else first
        ex = corners[j, 0] - corners[i, 0]
        ey = corners[j, 1] - corners[i, 1]
        rx = x - corners[i, 0]
        ry = y - corners[i, 1]
        if ex * ry - ey * rx < 0.0:
            inside = False
            length2 = ex * ex + ey * ey
            share = (rx * ex + ry * ey) / length2 if length2 > 0.0 else 0.0
            share = min(1.0, max(0.0, share))
            qx = corners[i, 0] + share * ex
            qy = corners[i, 1] + share * ey
            d2 = (x - qx) ** 2 + (y - qy) ** 2
            if d2 < best:
                best = d2
                bx = qx
                by = qy
    if inside:
        return x, y
    return bx, by


@njit(cache=True, fastmath=False, error_model="numpy")
def first_root(a0, a1, w0x, w0y, w1x, w1y, corners, first, last):
    """Smallest ds > 0 with a0 + a1 ds <= max over corners of (w0 + w1 ds) . v; infinity where there is none."""
    best = math.inf
    for i in range(first, last):
        vx = corners[i, 0]
        vy = corners[i, 1]
        gap = a0 - (w0x * vx + w0y * vy)
        closing = w1x * vx + w1y * vy - a1
        if closing > 0.0:
            ds = gap / closing
            if ds < best:
                best = ds
    return best


@njit(cache=True, fastmath=False, error_model="numpy")
def support(wx, wy, corners, first, last):
    """Largest w . v over the corners."""
    best = -math.inf
    for i in range(first, last):
        best = max(best, wx * corners[i, 0] + wy * corners[i, 1])
    return best


@njit(cache=True, fastmath=False, error_model="numpy")
def _pair_weights(mix, miy, mjx, mjy, nx, ny):
    """Non-negative (li, lj) with li mi + lj mj = n, or (-1, -1) where there are none."""
    det = mix * mjy - miy * mjx
    if abs(det) < 1e-300:
        return -1.0, -1.0
    li = (nx * mjy - ny * mjx) / det
    lj = (mix * ny - miy * nx) / det
    if li < -1e-9 or lj < -1e-9:
        return -1.0, -1.0
    return max(li, 0.0), max(lj, 0.0)


@njit(cache=True, fastmath=False, error_model="numpy")
def circle_crossings(ox, oy, r, px, py, q):
    """Both crossings of two circles that meet, and whether neither lies within the other: (ok, x1, y1, x2, y2).

    Circles that touch from outside have their touching place twice.
    """
    dx = px - ox
    dy = py - oy
    d = math.hypot(dx, dy)
    if d <= abs(r - q) or d == 0.0:
        return False, 0.0, 0.0, 0.0, 0.0
    along = (d * d + r * r - q * q) / (2.0 * d)
    across = math.sqrt(max(0.0, r * r - along * along))
    ux = dx / d
    uy = dy / d
    mx = ox + along * ux
    my = oy + along * uy
    return True, mx - across * uy, my + across * ux, mx + across * uy, my - across * ux


@njit(cache=True, fastmath=False, error_model="numpy")
def assess(coef, count, s, corners, first, last, scratch, span, back, out):
    """Where the point at s stands to one beam and one convex piece of its frame.

    Returns the certified step (mm along the line) to the next place that can be in the keep-out: 0 where the point is
    in it, infinity where the line never enters. With `span` the question is another: whether one certificate holds both
    here and `back` mm further along the line (a negative number looks behind). What a certificate leaves over is concave
    along the line, so that nothing between the two places is in the keep-out then; the answer is 1, or 0 for not shown.
    scratch: (count, 6) work space. out, when violated: 0, 1 the frame slope that binds; 2 a bit mask of the binding
    windows; 3 the largest violation over the sum of its weights, in mm of window radius.
    """
    furthest = 0.0
    out[3] = 0.0
    for k in range(count):
        ax = coef[k, 0] + s * coef[k, 2]
        ay = coef[k, 1] + s * coef[k, 3]
        b = coef[k, 4] + s * coef[k, 5]
        r = coef[k, 6] + s * coef[k, 7]
        if abs(b) < 1e-9:
            b = 1e-9 if b >= 0.0 else -1e-9
        ox = ax / b
        oy = ay / b
        scratch[k, 0] = ax
        scratch[k, 1] = ay
        scratch[k, 2] = b
        scratch[k, 3] = r
        scratch[k, 4] = ox
        scratch[k, 5] = oy
        # One disc and the frame.
        tx, ty = nearest_in_polygon(ox, oy, corners, first, last)
        ux = ax - b * tx
        uy = ay - b * ty
        length = math.hypot(ux, uy)
        over = length - r
        if over > ROUNDING * (length + r):
            out[3] = max(out[3], over)
            ux /= length
            uy /= length
            a0 = ux * ax + uy * ay - r
            a1 = ux * coef[k, 2] + uy * coef[k, 3] - coef[k, 7]
            if span:
                w = b + back * coef[k, 5]
                if a0 + back * a1 > support(w * ux, w * uy, corners, first, last):
                    return 1.0
                continue
            ds = first_root(a0, a1, b * ux, b * uy, coef[k, 5] * ux, coef[k, 5] * uy, corners, first, last)
            if ds > furthest:
                furthest = ds
                out[0] = tx
                out[1] = ty
                out[2] = float(1 << k)
    for i in range(count):
        bi = scratch[i, 2]
        ri = scratch[i, 3] / abs(bi)
        for j in range(i + 1, count):
            bj = scratch[j, 2]
            rj = scratch[j, 3] / abs(bj)
            dx = scratch[i, 4] - scratch[j, 4]
            dy = scratch[i, 5] - scratch[j, 5]
            d = math.hypot(dx, dy)
            if d > (ri + rj) * (1.0 + ROUNDING):
                # Two discs apart.
                ux = dx / d
                uy = dy / d
                si = 1.0 if bi > 0.0 else -1.0
                sj = -1.0 if bj > 0.0 else 1.0
                ds = _step(
                    coef, scratch, i, j, -1, 1.0 / abs(bi), 1.0 / abs(bj), 0.0,
                    si * ux, si * uy, sj * ux, sj * uy, 0.0, 0.0, corners, first, last, out, furthest, span, back,
                )  # fmt: skip
                if span:
                    if ds > 0.0:
                        return 1.0
                    continue
                # Past the touch the side of the frame and the third disc have their say.
                ds = max(ds, NUDGE)
                if ds > furthest:
                    furthest = ds
                    out[0] = scratch[i, 4] - ri * ux
                    out[1] = scratch[i, 5] - ri * uy
                continue
            ok, x1, y1, x2, y2 = circle_crossings(scratch[i, 4], scratch[i, 5], ri, scratch[j, 4], scratch[j, 5], rj)
            if not ok:
                continue
            # Two discs and a side of the frame.
            for side in range(first, last):
                nxt = side + 1 if side + 1 < last else first
                nx = corners[nxt, 1] - corners[side, 1]
                ny = corners[side, 0] - corners[nxt, 0]
                length = math.hypot(nx, ny)
                if length == 0.0:
                    continue
                nx /= length
                ny /= length
                limit = nx * corners[side, 0] + ny * corners[side, 1]
                h1 = nx * x1 + ny * y1
                h2 = nx * x2 + ny * y2
                if min(h1, h2) <= limit + ROUNDING * (abs(limit) + abs(h1) + abs(h2)):
                    continue
                ex = scratch[i, 4] - ri * nx - scratch[j, 4]
                ey = scratch[i, 5] - ri * ny - scratch[j, 5]
                if ex * ex + ey * ey <= rj * rj:
                    continue
                ex = scratch[j, 4] - rj * nx - scratch[i, 4]
                ey = scratch[j, 5] - rj * ny - scratch[i, 5]
                if ex * ex + ey * ey <= ri * ri:
                    continue
                vx = x1 if h1 <= h2 else x2
                vy = y1 if h1 <= h2 else y2
                ds = _vertex_step(
                    coef, scratch, i, j, -1, vx, vy, nx, ny, corners, first, last, out, furthest, span, back
                )
                if span and ds > 0.0:
                    return 1.0
                furthest = max(furthest, ds)
            # Three discs.
            for k in range(j + 1, count):
                ds = _three_discs(
                    coef, scratch, i, j, k, ri, rj, x1, y1, x2, y2, corners, first, last, out, furthest, span, back
                )
                if span and ds > 0.0:
                    return 1.0
                furthest = max(furthest, ds)
    if span:
        return 0.0
    return furthest


@njit(cache=True, fastmath=False, error_model="numpy")
def _three_discs(coef, scratch, i, j, k, ri, rj, x1, y1, x2, y2, corners, first, last, out, furthest, span, back):
    """Certified step where discs i and j overlap but disc k misses the overlap; 0 where it does not miss it."""
    okx = scratch[k, 4]
    oky = scratch[k, 5]
    rk = scratch[k, 3] / abs(scratch[k, 2])
    # Where the nearest point of one disc lies within the other, the pairs have decided already.
    for side in range(2):
        p = i if side == 0 else j
        q = j if side == 0 else i
        rp = ri if side == 0 else rj
        rq = rj if side == 0 else ri
        dx = okx - scratch[p, 4]
        dy = oky - scratch[p, 5]
        d = math.hypot(dx, dy)
        share = min(1.0, rp / d) if d > 0.0 else 0.0
        ex = scratch[p, 4] + share * dx - scratch[q, 4]
        ey = scratch[p, 5] + share * dy - scratch[q, 5]
        if ex * ex + ey * ey <= rq * rq:
            return 0.0
    d1 = math.hypot(x1 - okx, y1 - oky)
    d2 = math.hypot(x2 - okx, y2 - oky)
    vx = x1 if d1 <= d2 else x2
    vy = y1 if d1 <= d2 else y2
    d = min(d1, d2)
    if d <= rk * (1.0 + ROUNDING):
        return 0.0
    return _vertex_step(coef, scratch, i, j, k, vx, vy, 0.0, 0.0, corners, first, last, out, furthest, span, back)


@njit(cache=True, fastmath=False, error_model="numpy")
def _vertex_step(coef, scratch, i, j, k, vx, vy, nx, ny, corners, first, last, out, furthest, span, back):
    """Certified step at the crossing (vx, vy) of circles i and j, against side normal n or, for k >= 0, disc k."""
    uix = scratch[i, 0] - scratch[i, 2] * vx
    uiy = scratch[i, 1] - scratch[i, 2] * vy
    ujx = scratch[j, 0] - scratch[j, 2] * vx
    ujy = scratch[j, 1] - scratch[j, 2] * vy
    li = math.hypot(uix, uiy)
    lj = math.hypot(ujx, ujy)
    uix /= li
    uiy /= li
    ujx /= lj
    ujy /= lj
    ukx = 0.0
    uky = 0.0
    lk = 0.0
    if k >= 0:
        ukx = scratch[k, 0] - scratch[k, 2] * vx
        uky = scratch[k, 1] - scratch[k, 2] * vy
        length = math.hypot(ukx, uky)
        ukx /= length
        uky /= length
        lk = 1.0
        nx = -scratch[k, 2] * ukx
        ny = -scratch[k, 2] * uky
    wi, wj = _pair_weights(scratch[i, 2] * uix, scratch[i, 2] * uiy, scratch[j, 2] * ujx, scratch[j, 2] * ujy, nx, ny)
    if wi < 0.0:
        # Circles that only touch give no sound certificate; past the touch they do, and NUDGE is all that is risked.
        return 0.0 if span else NUDGE
    ds = _step(
        coef,
        scratch,
        i,
        j,
        k,
        wi,
        wj,
        lk,
        uix,
        uiy,
        ujx,
        ujy,
        ukx,
        uky,
        corners,
        first,
        last,
        out,
        furthest,
        span,
        back,
    )
    if not span:
        ds = max(ds, NUDGE)
    if ds > furthest:
        out[0] = vx
        out[1] = vy
    return ds


@njit(cache=True, fastmath=False, error_model="numpy")
def _step(
    coef, scratch, i, j, k, li, lj, lk, uix, uiy, ujx, ujy, ukx, uky, corners, first, last, out, furthest, span, back
):
    """The certified step of a certificate over two or three windows, or with `span` whether it holds at both places.

    Fills out[2:] when the step is the longest so far.
    """
    a0 = li * (uix * scratch[i, 0] + uiy * scratch[i, 1] - scratch[i, 3])
    a0 += lj * (ujx * scratch[j, 0] + ujy * scratch[j, 1] - scratch[j, 3])
    a1 = li * (uix * coef[i, 2] + uiy * coef[i, 3] - coef[i, 7])
    a1 += lj * (ujx * coef[j, 2] + ujy * coef[j, 3] - coef[j, 7])
    w0x = li * scratch[i, 2] * uix + lj * scratch[j, 2] * ujx
    w0y = li * scratch[i, 2] * uiy + lj * scratch[j, 2] * ujy
    w1x = li * coef[i, 5] * uix + lj * coef[j, 5] * ujx
    w1y = li * coef[i, 5] * uiy + lj * coef[j, 5] * ujy
    mask = (1 << i) | (1 << j)
    if k >= 0:
        a0 += lk * (ukx * scratch[k, 0] + uky * scratch[k, 1] - scratch[k, 3])
        a1 += lk * (ukx * coef[k, 2] + uky * coef[k, 3] - coef[k, 7])
        w0x += lk * scratch[k, 2] * ukx
        w0y += lk * scratch[k, 2] * uky
        w1x += lk * coef[k, 5] * ukx
        w1y += lk * coef[k, 5] * uky
        mask |= 1 << k
    over = a0 - support(w0x, w0y, corners, first, last)
    if over <= 0.0:
        return 0.0
    out[3] = max(out[3], over / (li + lj + lk))
    if span:
        there = support(w0x + back * w1x, w0y + back * w1y, corners, first, last)
        return 1.0 if a0 + back * a1 > there else 0.0
    ds = first_root(a0, a1, w0x, w0y, w1x, w1y, corners, first, last)
    if ds > furthest:
        out[2] = float(mask)
    return ds


@njit(cache=True, fastmath=False, error_model="numpy")
def approach(coef, count, start, stop, corners, first, last, scratch, out):
    """First s in [start, stop] at which the line is in one piece's keep-out; infinity where it is not before `stop`."""
    s = start
    for _ in range(MOST_STEPS):
        ds = assess(coef, count, s, corners, first, last, scratch, False, 0.0, out)
        if ds < CONVERGED:
            return s
        s += ds
        if s > stop:
            return math.inf
    return s
