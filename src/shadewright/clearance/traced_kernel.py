"""First entry of a line into the beams of a traced lens: for one field slope exactly, over the frame by search.

The footprint of one slope is a convex polygon given by tangents, so that the beam of that slope is a slanted prism and a
line meets it between two places that follow from one division per tangent. Over the frame the earliest entry is looked
for at samples and then refined by a search in frame coordinates.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

WORTH = 0.5
"""A frame sample whose entry is within this (mm) of the best is refined."""
MOVES = 10
"""Ways to move a frame point in that search."""
PLACES = 24
"""Places along a line that does not lie in a plane through the axis, towards which the frame's edge is looked at."""
LONGEST_LINE = 2000.0
"""How far along such a line they reach at most, in its own length."""
FINEST = 2e-3
"""The search over the frame ends at this step, mm in the image."""


@njit(cache=True, error_model="numpy")
def slope_at(height, law, law_step):
    """Slope of an image height in mm; law: slopes at even heights from 0."""
    place = height / law_step
    j = int(place)
    if j >= law.shape[0] - 1:
        j = law.shape[0] - 2
    return law[j] + (place - j) * (law[j + 1] - law[j])


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def prism_entry(ox, oy, oz, dx, dy, dz, start, stop, tau, ux, uy, slopes, support, cosines, sines, growth, near, far):
    """Where in [start, stop] a line first is in the beam of one slope; infinity where it is not.

    Line o + s d from the front plane; (ux, uy) the direction of the slope tau; slopes (j,), support (j, m): the table.
    near: 1 / distance of the subject, 0 when distant; far: (distance + pupil depth) / distance.
    Returns the place and the tangent that decides, -1 where the line starts inside.
    """
    rows = slopes.shape[0]
    if tau > slopes[rows - 1] * (1.0 + 1e-9):
        return math.inf, -1
    j = np.searchsorted(slopes, tau, side="right") - 1
    j = min(max(j, 0), rows - 2)
    share = (tau - slopes[j]) / (slopes[j + 1] - slopes[j])
    shift = tau * far
    au = ox * ux + oy * uy - oz * shift
    av = oy * ux - ox * uy
    bu = dx * ux + dy * uy - dz * shift
    bv = dy * ux - dx * uy
    scale = 1.0 - oz * near
    lean = dz * near
    low = start
    high = stop
    decides = -1
    for m in range(support.shape[1]):
        h = support[j, m] + share * (support[j + 1, m] - support[j, m])
        a = cosines[m] * au + sines[m] * av - h * scale - growth
        b = cosines[m] * bu + sines[m] * bv + h * lean
        if b < 0.0:
            s = -a / b
            if s > low:
                low = s
                decides = m
        elif b > 0.0:
            high = min(high, -a / b)
        elif a > 0.0:
            return math.inf, -1
        if low > high:
            return math.inf, -1
    return low, decides


@njit(cache=True, error_model="numpy")
def _into_frame(x, y, half_width, half_height, circle):
    x = min(max(x, -half_width), half_width)
    y = min(max(y, -half_height), half_height)
    r = math.hypot(x, y)
    if r > circle:
        x *= circle / r
        y *= circle / r
    return x, y


@njit(cache=True, error_model="numpy")
def _moved(x, y, size, k, half_width, half_height, circle):
    """A frame point moved by `size` in one of MOVES ways, kept in the frame: eight straight ones, and round the axis."""
    if k < 8:
        return _into_frame(
            x + size * math.cos(k * math.pi / 4), y + size * math.sin(k * math.pi / 4), half_width, half_height, circle
        )
    turn = size / max(math.hypot(x, y), size)
    turn = turn if k == 8 else -turn
    return _into_frame(
        x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn), half_width, half_height, circle
    )


@njit(cache=True, error_model="numpy")
def _towards(x, y, half_width, half_height, circle, light):
    """The frame point farthest from the axis towards (x, y) to which the lens still lets light, mm in the image."""
    r = math.hypot(x, y)
    if r < 1e-9:
        return 0.0, 0.0
    c = x / r
    s = y / r
    reach = min(circle, light)
    if abs(c) > 1e-12:
        reach = min(reach, half_width / abs(c))
    if abs(s) > 1e-12:
        reach = min(reach, half_height / abs(s))
    return reach * c, reach * s


@njit(cache=True, error_model="numpy", nogil=True)
def traced_lines_kernel(
    origins, directions, starts, stops, samples, sample_at, sample_frame, frames, frame_at, light, slopes, support,
    table_at, laws, law_steps, cosines, sines, reach, near, far, growth, entry, state, tangent, slope,
):  # fmt: skip
    """First entry along lines over all traced beams; only what lies ahead of a beam's front plane counts.

    origins, directions (n, 3), starts, stops (n,) in units of the direction. samples (p, 4): image x, y in mm, slope x,
    y; sample_at (beams + 1,), sample_frame (p,) the row of frames (f, 3): half width, half height, image circle;
    frame_at (beams + 1,); light (beams,) image height to which the lens lets light.
    slopes (j,), support (j, m), table_at (beams + 1,). laws (beams, k) slopes at even image heights law_steps (beams,).
    Fills entry (n,) where earlier than what stands there, and then state (n,), tangent (n,) the row of the table nearest
    below times m plus the tangent, slope (n, 2).
    """
    count = cosines.shape[0]
    for n in range(origins.shape[0]):
        ox = origins[n, 0]
        oy = origins[n, 1]
        dx = directions[n, 0]
        dy = directions[n, 1]
        dz = directions[n, 2]
        for b in range(reach.shape[0]):
            oz = origins[n, 2] - reach[b]
            start = starts[n]
            stop = min(stops[n], entry[n])
            if dz > 0.0:
                start = max(start, -oz / dz)
            elif oz < 0.0:
                continue
            elif dz < 0.0:
                stop = min(stop, oz / -dz)
            if start > stop:
                continue
            t0 = table_at[b]
            t1 = table_at[b + 1]
            best = math.inf
            chosen = -1
            for p in range(sample_at[b], sample_at[b + 1]):
                tau = math.hypot(samples[p, 2], samples[p, 3])
                ux = samples[p, 2] / tau if tau > 1e-12 else 1.0
                uy = samples[p, 3] / tau if tau > 1e-12 else 0.0
                limit = min(stop + WORTH, best)
                s, _m = prism_entry(
                    ox, oy, oz, dx, dy, dz, start, limit, tau, ux, uy, slopes[t0:t1], support[t0:t1], cosines, sines,
                    growth[b], near[b], far[b],
                )  # fmt: skip
                if s < best:
                    best = s
                    chosen = p
            f = -1
            x = 0.0
            y = 0.0
            if chosen >= 0:
                f = sample_frame[chosen]
                x = samples[chosen, 0]
                y = samples[chosen, 1]
            # A beam narrow against its way from sample to sample lets lines through between them; the frame's edge in the
            # direction of the line itself is never missed.
            places = 1 if abs(ox * dy - oy * dx) < 1e-9 * (abs(ox) + abs(oy)) else PLACES
            last = min(stop, LONGEST_LINE)
            for k in range(places):
                at = start + (last - start) * k / max(places - 1, 1)
                for row in range(frame_at[b], frame_at[b + 1]):
                    tx, ty = _towards(
                        ox + at * dx, oy + at * dy, frames[row, 0], frames[row, 1], frames[row, 2], light[b]
                    )
                    r = math.hypot(tx, ty)
                    s, _m = prism_entry(
                        ox, oy, oz, dx, dy, dz, start, min(stop + WORTH, best), slope_at(r, laws[b], law_steps[b]),
                        tx / r if r > 1e-12 else 1.0, ty / r if r > 1e-12 else 0.0, slopes[t0:t1], support[t0:t1],
                        cosines, sines, growth[b], near[b], far[b],
                    )  # fmt: skip
                    if s < best:
                        best = s
                        f = row
                        x = tx
                        y = ty
            if f < 0 or best > stop + WORTH:
                continue
            decides = -1
            size = 0.05 * max(frames[f, 0], frames[f, 1])
            r = math.hypot(x, y)
            tau = slope_at(r, laws[b], law_steps[b])
            found_x = tau * x / r if r > 1e-12 else tau
            found_y = tau * y / r if r > 1e-12 else 0.0
            while size > FINEST:
                moved = False
                for k in range(MOVES):
                    tx, ty = _moved(x, y, size, k, frames[f, 0], frames[f, 1], frames[f, 2])
                    r = math.hypot(tx, ty)
                    tau = slope_at(r, laws[b], law_steps[b])
                    ux = tx / r if r > 1e-12 else 1.0
                    uy = ty / r if r > 1e-12 else 0.0
                    s, m = prism_entry(
                        ox, oy, oz, dx, dy, dz, start, best, tau, ux, uy, slopes[t0:t1], support[t0:t1], cosines, sines,
                        growth[b], near[b], far[b],
                    )  # fmt: skip
                    if s < best - 1e-9:
                        best = s
                        x = tx
                        y = ty
                        found_x = tau * ux
                        found_y = tau * uy
                        decides = m
                        moved = True
                        break
                if not moved:
                    size *= 0.5
            if best <= stops[n] and (best < entry[n] or state[n] < 0):
                entry[n] = best
                state[n] = b
                slope[n, 0] = found_x
                slope[n, 1] = found_y
                tau = math.hypot(found_x, found_y)
                if decides < 0:
                    _s, decides = prism_entry(
                        ox, oy, oz, dx, dy, dz, start, best + 1e-6, tau, found_x / tau if tau > 1e-12 else 1.0,
                        found_y / tau if tau > 1e-12 else 0.0, slopes[t0:t1], support[t0:t1], cosines, sines,
                        growth[b], near[b], far[b],
                    )  # fmt: skip
                j = min(max(np.searchsorted(slopes[t0:t1], tau, side="right") - 1, 0), t1 - t0 - 1)
                tangent[n] = (t0 + j) * count + decides if decides >= 0 else -1


@njit(cache=True, error_model="numpy")
def _depth_inside(px, py, z, tau, ux, uy, slopes, support, cosines, sines, growth, near, far, enough):
    """How far outside one slope's footprint a point lies, mm across the beam; 0 or less inside."""
    rows = slopes.shape[0]
    if tau > slopes[rows - 1] * (1.0 + 1e-9):
        return math.inf
    j = np.searchsorted(slopes, tau, side="right") - 1
    j = min(max(j, 0), rows - 2)
    share = (tau - slopes[j]) / (slopes[j + 1] - slopes[j])
    au = px * ux + py * uy - z * tau * far
    av = py * ux - px * uy
    scale = 1.0 - z * near
    most = -math.inf
    for m in range(support.shape[1]):
        h = support[j, m] + share * (support[j + 1, m] - support[j, m])
        most = max(most, cosines[m] * au + sines[m] * av - h * scale - growth)
        if most > enough:
            break
    return most


@njit(cache=True, error_model="numpy", nogil=True)
def traced_mesh_kernel(
    triangles, samples, sample_at, sample_frame, frames, frame_at, light, slopes, support, table_at, laws, law_steps,
    cosines, sines, reach, near, far, growth, smallest, touched, where,
):  # fmt: skip
    """Which traced beams triangles (m, 3, 3) meet, by subdivision; as `mesh_kernel` of the windows.

    A triangle is passed over when its middle is farther outside the beam of every frame sample, refined about the
    nearest, than the triangle reaches; what comes within `smallest` mm counts as touching.
    """
    stack = np.empty((256, 9))
    for b in range(reach.shape[0]):
        t0 = table_at[b]
        t1 = table_at[b + 1]
        # How fast the distance across a beam can change as a point moves forward; as it moves across, by 1 at most.
        steepest = slopes[t1 - 1] * far[b] + near[b] * np.max(support[t0:t1])
        for n in range(triangles.shape[0]):
            if touched[b]:
                break
            depth = 1
            for i in range(9):
                stack[0, i] = triangles[n, i // 3, i % 3]
            while depth > 0 and not touched[b]:
                depth -= 1
                corner = stack[depth].copy()
                if max(corner[2], max(corner[5], corner[8])) <= reach[b]:
                    continue
                mx = (corner[0] + corner[3] + corner[6]) / 3.0
                my = (corner[1] + corner[4] + corner[7]) / 3.0
                mz = (corner[2] + corner[5] + corner[8]) / 3.0
                size = 0.0
                for i in range(3):
                    across = math.hypot(corner[3 * i] - mx, corner[3 * i + 1] - my)
                    size = max(size, across + steepest * abs(corner[3 * i + 2] - mz))
                away = _away(
                    mx, my, mz - reach[b], b, samples, sample_at, sample_frame, frames, frame_at, light, slopes[t0:t1],
                    support[t0:t1], laws, law_steps, cosines, sines, near, far, growth,
                    size if size >= smallest else 0.0,
                )  # fmt: skip
                if away > size:
                    continue
                if (away <= 0.0 and mz > reach[b]) or size < smallest or depth > 250:
                    touched[b] = True
                    where[b, 0] = mx
                    where[b, 1] = my
                    where[b, 2] = mz
                    break
                # The side along which the distance can change most is halved.
                sides = np.empty(3)
                for i in range(3):
                    j = (i + 1) % 3
                    across = math.hypot(corner[3 * i] - corner[3 * j], corner[3 * i + 1] - corner[3 * j + 1])
                    sides[i] = across + steepest * abs(corner[3 * i + 2] - corner[3 * j + 2])
                i = int(np.argmax(sides))
                j = (i + 1) % 3
                k = (i + 2) % 3
                for c in range(3):
                    half = 0.5 * (corner[3 * i + c] + corner[3 * j + c])
                    stack[depth, c] = corner[3 * i + c]
                    stack[depth, 3 + c] = half
                    stack[depth, 6 + c] = corner[3 * k + c]
                    stack[depth + 1, c] = half
                    stack[depth + 1, 3 + c] = corner[3 * j + c]
                    stack[depth + 1, 6 + c] = corner[3 * k + c]
                depth += 2


@njit(cache=True, error_model="numpy")
def _away(
    px, py, z, b, samples, sample_at, sample_frame, frames, frame_at, light, slopes, support, laws, law_steps, cosines,
    sines, near, far, growth, enough,
):  # fmt: skip
    """Least distance across the beam of a point from the beams of all frame slopes, mm; only right above `enough`: the
    search ends at the first beam that comes as near."""
    best = math.inf
    chosen = sample_at[b]
    for p in range(sample_at[b], sample_at[b + 1]):
        tau = math.hypot(samples[p, 2], samples[p, 3])
        ux = samples[p, 2] / tau if tau > 1e-12 else 1.0
        uy = samples[p, 3] / tau if tau > 1e-12 else 0.0
        d = _depth_inside(
            px, py, z, tau, ux, uy, slopes, support, cosines, sines, growth[b], near[b], far[b], best
        )  # fmt: skip
        if d < best:
            best = d
            chosen = p
            if best <= enough:
                return best
    # Between samples a beam can come nearer: the place is refined before the point is called clear.
    f = sample_frame[chosen]
    x = samples[chosen, 0]
    y = samples[chosen, 1]
    for row in range(frame_at[b], frame_at[b + 1]):
        tx, ty = _towards(px, py, frames[row, 0], frames[row, 1], frames[row, 2], light[b])
        r = math.hypot(tx, ty)
        d = _depth_inside(
            px, py, z, slope_at(r, laws[b], law_steps[b]), tx / r if r > 1e-12 else 1.0, ty / r if r > 1e-12 else 0.0,
            slopes, support, cosines, sines, growth[b], near[b], far[b], best,
        )  # fmt: skip
        if d < best:
            best = d
            f = row
            x = tx
            y = ty
    if best <= enough:
        return best
    size = 0.05 * max(frames[f, 0], frames[f, 1])
    while size > 20 * FINEST and best > enough and best < enough + 2.0:
        moved = False
        for k in range(MOVES):
            tx, ty = _moved(x, y, size, k, frames[f, 0], frames[f, 1], frames[f, 2])
            r = math.hypot(tx, ty)
            tau = slope_at(r, laws[b], law_steps[b])
            d = _depth_inside(
                px, py, z, tau, tx / r if r > 1e-12 else 1.0, ty / r if r > 1e-12 else 0.0, slopes, support, cosines,
                sines, growth[b], near[b], far[b], best,
            )  # fmt: skip
            if d < best - 1e-9:
                best = d
                x = tx
                y = ty
                moved = True
                break
        if not moved:
            size *= 0.5
    return best
