"""The kernels' loops over azimuths, lines and triangles, and over all beams: what `keepout` calls."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from shadewright.clearance.kernel import approach, assess, line_coefficients


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def rim_kernel(
    cosines, sines, wall_z, wall_r, cap, windows, window_at, corners, corner_at, piece_at, reach, distance, entry,
    state, mask, slope,
):  # fmt: skip
    """First entry along each generatrix of a wall of revolution, over all beams.

    wall_z, wall_r: (m,) breakpoints; the last piece runs on to z = cap. Fills entry (n,) with z in mm (cap where nothing
    is met), state (n,) with the binding beam or -1, mask (n,) binding windows, slope (n, 2). A beam that one certificate
    shows to be missed all the way to the best entry so far is passed over; this dismisses nearly all of them.
    """
    widest = 1
    for b in range(reach.shape[0]):
        widest = max(widest, window_at[b + 1] - window_at[b])
    coef = np.empty((widest, 8))
    scratch = np.empty((widest, 6))
    out = np.zeros(4)
    beams = reach.shape[0]
    pieces = wall_z.shape[0]
    leader = 0
    for n in range(cosines.shape[0]):
        best = cap
        found = -1
        c = cosines[n]
        sn = sines[n]
        for turn in range(beams):
            # The beam that bound the neighbouring azimuth goes first: it usually binds here too and dismisses the rest.
            b = leader if turn == 0 else (turn - 1 if turn - 1 < leader else turn)
            for w in range(pieces):
                z0 = wall_z[w]
                z1 = wall_z[w + 1] if w + 1 < pieces else cap
                z1 = min(z1, best)
                if z1 <= z0 and not (z1 == z0 and w == 0):
                    continue
                tilt = 0.0
                if w + 1 < pieces:
                    tilt = (wall_r[w + 1] - wall_r[w]) / (wall_z[w + 1] - z0) if wall_z[w + 1] > z0 else 0.0
                elif pieces > 1 and wall_z[w] > wall_z[w - 1]:
                    tilt = (wall_r[w] - wall_r[w - 1]) / (wall_z[w] - wall_z[w - 1])
                start = max(0.0, reach[b] - z0)
                stop = z1 - z0
                if start > stop:
                    continue
                first = window_at[b]
                count = window_at[b + 1] - first
                line_coefficients(
                    coef, windows, first, first + count, reach[b], distance[b],
                    wall_r[w] * c, wall_r[w] * sn, z0, tilt * c, tilt * sn, 1.0,
                )  # fmt: skip
                for piece in range(piece_at[b], piece_at[b + 1]):
                    lo = corner_at[piece]
                    hi = corner_at[piece + 1]
                    if assess(coef, count, stop, corners, lo, hi, scratch, True, start - stop, out) > 0.0:
                        continue
                    s = approach(coef, count, start, stop, corners, lo, hi, scratch, out)
                    if z0 + s < best or (found < 0 and z0 + s <= best):
                        best = z0 + s
                        stop = s
                        found = b
                        mask[n] = int(out[2])
                        slope[n, 0] = out[0]
                        slope[n, 1] = out[1]
        entry[n] = best
        state[n] = found
        if found >= 0:
            leader = found


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def lines_kernel(
    origins, directions, stops, windows, window_at, corners, corner_at, piece_at, reach, distance, entry, state, mask,
    slope,
):  # fmt: skip
    """First entry along any lines: origins and directions (n, 3), stops (n,) in units of the direction.

    Only points ahead of a beam's front rim plane count. Fills entry (infinity where nothing is met), state, mask, slope.
    """
    widest = 1
    for b in range(reach.shape[0]):
        widest = max(widest, window_at[b + 1] - window_at[b])
    coef = np.empty((widest, 8))
    scratch = np.empty((widest, 6))
    out = np.zeros(4)
    for n in range(origins.shape[0]):
        best = math.inf
        state[n] = -1
        for b in range(reach.shape[0]):
            start = 0.0
            stop = min(best, stops[n])
            dz = directions[n, 2]
            ahead = origins[n, 2] - reach[b]
            if dz > 0.0:
                start = max(0.0, -ahead / dz)
            elif ahead < 0.0:
                continue
            elif dz < 0.0:
                stop = min(stop, ahead / -dz)
            if start > stop:
                continue
            first = window_at[b]
            count = window_at[b + 1] - first
            line_coefficients(
                coef, windows, first, first + count, reach[b], distance[b],
                origins[n, 0], origins[n, 1], origins[n, 2], directions[n, 0], directions[n, 1], dz,
            )  # fmt: skip
            for piece in range(piece_at[b], piece_at[b + 1]):
                lo = corner_at[piece]
                hi = corner_at[piece + 1]
                if (
                    stop < math.inf
                    and assess(coef, count, stop, corners, lo, hi, scratch, True, start - stop, out) > 0.0
                ):
                    continue
                s = approach(coef, count, start, stop, corners, lo, hi, scratch, out)
                if s < best:
                    best = s
                    stop = s
                    state[n] = b
                    mask[n] = int(out[2])
                    slope[n, 0] = out[0]
                    slope[n, 1] = out[1]
        entry[n] = best


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def mesh_kernel(
    triangles, windows, window_at, corners, corner_at, piece_at, reach, distance, spread, smallest, touched, where
):
    """Which beams' keep-outs triangles meet, by subdivision with certified clearances.

    triangles: (m, 3, 3) mm in seat coordinates. spread: (beams,) largest |slope| of the frame. smallest: triangles
    below this size (mm) that cannot be certified clear count as touching. Fills touched (beams,) and, where it does,
    where (beams, 3) with a place; returns the number of triangles examined.
    """
    widest = 1
    for b in range(reach.shape[0]):
        widest = max(widest, window_at[b + 1] - window_at[b])
    coef = np.empty((widest, 8))
    scratch = np.empty((widest, 6))
    out = np.zeros(4)
    stack = np.empty((256, 9))
    examined = 0
    for b in range(reach.shape[0]):
        first = window_at[b]
        count = window_at[b + 1] - first
        largest = 1.0
        near = 1.0 / distance[b] if math.isfinite(distance[b]) else 0.0
        for k in range(count):
            off = abs(windows[first + k, 2]) + abs(windows[first + k, 3]) + windows[first + k, 1]
            gain = abs(distance[b] - windows[first, 0] + windows[first + k, 0]) * near if near > 0.0 else 1.0
            largest = max(largest, gain + 2.0 * off * near)
        for m in range(triangles.shape[0]):
            if touched[b]:
                break
            depth = 1
            for i in range(9):
                stack[0, i] = triangles[m, i // 3, i % 3]
            while depth > 0:
                depth -= 1
                ax = stack[depth, 0]
                ay = stack[depth, 1]
                az = stack[depth, 2]
                bx = stack[depth, 3]
                by = stack[depth, 4]
                bz = stack[depth, 5]
                cx = stack[depth, 6]
                cy = stack[depth, 7]
                cz = stack[depth, 8]
                if max(az, max(bz, cz)) <= reach[b]:
                    continue
                examined += 1
                mx = (ax + bx + cx) / 3.0
                my = (ay + by + cy) / 3.0
                mz = (az + bz + cz) / 3.0
                size = math.sqrt(
                    max(
                        (ax - mx) ** 2 + (ay - my) ** 2 + (az - mz) ** 2,
                        max(
                            (bx - mx) ** 2 + (by - my) ** 2 + (bz - mz) ** 2,
                            (cx - mx) ** 2 + (cy - my) ** 2 + (cz - mz) ** 2,
                        ),
                    )
                )
                line_coefficients(coef, windows, first, first + count, reach[b], distance[b], mx, my, mz, 0.0, 0.0, 1.0)
                clear = True
                inside = False
                for piece in range(piece_at[b], piece_at[b + 1]):
                    ds = assess(
                        coef, count, 0.0, corners, corner_at[piece], corner_at[piece + 1], scratch, False, 0.0, out
                    )
                    if ds <= 0.0 or out[3] <= size * (largest + spread[b]):
                        clear = False
                        inside = ds <= 0.0 and mz > reach[b]
                        break
                if clear:
                    continue
                if inside or size < smallest or depth > 250:
                    touched[b] = True
                    where[b, 0] = mx
                    where[b, 1] = my
                    where[b, 2] = mz
                    break
                # The longest side is halved.
                ab = (ax - bx) ** 2 + (ay - by) ** 2 + (az - bz) ** 2
                bc = (bx - cx) ** 2 + (by - cy) ** 2 + (bz - cz) ** 2
                ca = (cx - ax) ** 2 + (cy - ay) ** 2 + (cz - az) ** 2
                if bc >= ab and bc >= ca:
                    ax, ay, az, bx, by, bz, cx, cy, cz = bx, by, bz, cx, cy, cz, ax, ay, az
                elif ca >= ab:
                    ax, ay, az, bx, by, bz, cx, cy, cz = cx, cy, cz, ax, ay, az, bx, by, bz
                hx = 0.5 * (ax + bx)
                hy = 0.5 * (ay + by)
                hz = 0.5 * (az + bz)
                stack[depth, 0] = ax
                stack[depth, 1] = ay
                stack[depth, 2] = az
                stack[depth, 3] = hx
                stack[depth, 4] = hy
                stack[depth, 5] = hz
                stack[depth, 6] = cx
                stack[depth, 7] = cy
                stack[depth, 8] = cz
                depth += 1
                stack[depth, 0] = hx
                stack[depth, 1] = hy
                stack[depth, 2] = hz
                stack[depth, 3] = bx
                stack[depth, 4] = by
                stack[depth, 5] = bz
                stack[depth, 6] = cx
                stack[depth, 7] = cy
                stack[depth, 8] = cz
                depth += 1
    return examined


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def pupil_rim_kernel(across, up, half_width, half_height, pupil, depth, rim):
    """The closed form for one window: across, up (n,) the wall's point in the section; the rest (states,).

    Fills rim (states, n). The wall is clear until its point comes within the pupil's radius of the growing rectangle:
    past the right side, past the top, or round the corner, where the lesser root of
    (across - s W)^2 + (up - s H)^2 = a^2 is the first touch.
    """
    for m in range(half_width.shape[0]):
        w = half_width[m]
        h = half_height[m]
        a = pupil[m]
        square = w * w + h * h
        for n in range(across.shape[0]):
            x = across[n]
            y = up[n]
            side = (x - a) / w
            top = (y - a) / h
            if y <= side * h:
                s = side
            elif x <= top * w:
                s = top
            else:
                middle = x * w + y * h
                s = (middle - math.sqrt(max(middle * middle - square * (x * x + y * y - a * a), 0.0))) / square
            rim[m, n] = max(s, 0.0) - depth[m]
