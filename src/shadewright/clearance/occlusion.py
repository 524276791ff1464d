"""How much of a beam, or of the front glass, a hood hides: exact chords across the beam, summed along one direction.

Seen along the rays of one frame point, the plane of the front rim shows the beam as the overlap of discs (the windows)
and the hood's edges as shifted curves. Across the direction of the slope the overlap is cut into chords; on each chord
the hood hides all beyond the nearest of its leading edges. Only the sum over chords is numerical: CHORDS midpoints in
the angle whose sine is the position across, which removes the square-root ends of a disc.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shadewright.model.shape import MeshHood, RoundHood, TunnelHood

Array = NDArray[np.float64]

CHORDS = 256
"""Chords across a beam: the hidden share of a disc is then right to about 1e-5."""
RASTER = 256
"""Cells along each side of the raster that judges a hood known only as a mesh."""


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def discs_on_front(windows, centre, slope_x, slope_y, distance, discs):
    """Fill discs (k, 3): centre x, y and radius in the front rim plane of the windows for one frame slope."""
    e0 = centre[0]
    for k in range(windows.shape[0]):
        if math.isfinite(distance):
            zq = distance - e0
            qx = centre[1] + distance * slope_x
            qy = centre[2] + distance * slope_y
            gain = 1.0 + windows[k, 0] / zq
            discs[k, 0] = (windows[k, 0] * qx / zq + windows[k, 2]) / gain
            discs[k, 1] = (windows[k, 0] * qy / zq + windows[k, 3]) / gain
            discs[k, 2] = windows[k, 1] / abs(gain)
        else:
            discs[k, 0] = windows[k, 2] + windows[k, 0] * slope_x
            discs[k, 1] = windows[k, 3] + windows[k, 0] * slope_y
            discs[k, 2] = windows[k, 1]


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _across(discs, planes, ux, uy):
    """Least and greatest place across the direction (ux, uy) of an opening, the overlap of discs (k, 3) and half planes.

    planes (m,): how far along its normal each allows; the normals stand at even angles from the direction.
    """
    low = -math.inf
    high = math.inf
    for k in range(discs.shape[0]):
        across = -discs[k, 0] * uy + discs[k, 1] * ux
        low = max(low, across - discs[k, 2])
        high = min(high, across + discs[k, 2])
    quarter = planes.shape[0] // 4
    if quarter > 0:
        low = max(low, -planes[3 * quarter])
        high = min(high, planes[quarter])
    return low, high


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _chords(discs, planes, cosines, sines, ux, uy, nodes, starts, stops):
    """Fill starts and stops (n,) along the direction (ux, uy) of an opening's chords at places (n,) across it."""
    for i in range(nodes.shape[0]):
        v = nodes[i]
        start = -math.inf
        stop = math.inf
        for k in range(discs.shape[0]):
            along = discs[k, 0] * ux + discs[k, 1] * uy
            across = v - (-discs[k, 0] * uy + discs[k, 1] * ux)
            chord = math.sqrt(max(0.0, discs[k, 2] ** 2 - across * across))
            start = max(start, along - chord)
            stop = min(stop, along + chord)
        starts[i] = start
        stops[i] = stop
    for m in range(planes.shape[0]):
        if cosines[m] > 1e-9:
            _cut_stops(stops, nodes, planes[m] / cosines[m], -sines[m] / cosines[m])
        elif cosines[m] < -1e-9:
            _cut_starts(starts, nodes, planes[m] / cosines[m], -sines[m] / cosines[m])


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _cut_stops(stops, nodes, at, lean):
    for i in range(nodes.shape[0]):
        x = at + lean * nodes[i]
        stops[i] = x if x < stops[i] else stops[i]


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _cut_starts(starts, nodes, at, lean):
    for i in range(nodes.shape[0]):
        x = at + lean * nodes[i]
        starts[i] = x if x > starts[i] else starts[i]


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _even_normals(count):
    cosines = np.empty(count)
    sines = np.empty(count)
    for m in range(count):
        angle = 2.0 * math.pi * m / count
        cosines[m] = math.cos(angle)
        sines[m] = math.sin(angle)
    return cosines, sines


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _sweep_edge(v0, x0, v1, x1, at, nodes, bound, leading):
    """Walk from v0 to v1 over the chords, lowering (leading) or raising the bound at each passed; returns the place."""
    n = nodes.shape[0]
    if v1 >= v0:
        while at < n and nodes[at] <= v1:
            if nodes[at] >= v0:
                share = (nodes[at] - v0) / (v1 - v0) if v1 > v0 else 0.0
                x = x0 + share * (x1 - x0)
                bound[at] = min(bound[at], x) if leading else max(bound[at], x)
            at += 1
    else:
        while at > 0 and nodes[at - 1] >= v1:
            at -= 1
            if nodes[at] <= v0:
                share = (nodes[at] - v0) / (v1 - v0)
                x = x0 + share * (x1 - x0)
                bound[at] = min(bound[at], x) if leading else max(bound[at], x)
    return at


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def hidden_share(discs, planes, cosines, sines, slope_x, slope_y, centre, distance, points, normals, loop_at, work):
    """Share of an opening that a hood's edges hide, for rays of one slope; NaN where the opening is empty.

    The opening is the overlap of discs (k, 3) and half planes (m,). points (p, 3): closed loops in front-rim
    coordinates, loop_at (loops + 1,) their bounds; normals (p, 2) outwards. work: (6, chords) space.
    """
    e0 = centre[0]
    c0x = centre[1]
    c0y = centre[2]
    steep = math.hypot(slope_x, slope_y)
    ux = slope_x / steep if steep > 1e-12 else 1.0
    uy = slope_y / steep if steep > 1e-12 else 0.0
    low, high = _across(discs, planes, ux, uy)
    if high <= low:
        return math.nan
    n = work.shape[1]
    nodes = work[0]
    weight = work[1]
    lead = work[2]
    trail = work[3]
    middle = 0.5 * (low + high)
    half = 0.5 * (high - low)
    for i in range(n):
        angle = -0.5 * math.pi + (i + 0.5) * math.pi / n
        nodes[i] = middle + half * math.sin(angle)
        weight[i] = math.cos(angle)
        lead[i] = math.inf
        trail[i] = -math.inf
    _chords(discs, planes, cosines, sines, ux, uy, nodes, work[4], work[5])
    finite = math.isfinite(distance)
    zq = distance - e0
    qx = c0x + distance * slope_x if finite else 0.0
    qy = c0y + distance * slope_y if finite else 0.0
    for loop in range(loop_at.shape[0] - 1):
        first = loop_at[loop]
        last = loop_at[loop + 1]
        at = -1
        previous_v = 0.0
        previous_x = 0.0
        previous_z = 0.0
        previous_facing = 0.0
        for step in range(last - first + 1):
            i = first + step if first + step < last else first
            z = points[i, 2]
            if finite:
                px = (points[i, 0] * zq - qx * z) / (zq - z)
                py = (points[i, 1] * zq - qy * z) / (zq - z)
            else:
                px = points[i, 0] - z * slope_x
                py = points[i, 1] - z * slope_y
            x = px * ux + py * uy
            v = -px * uy + py * ux
            facing = normals[i, 0] * ux + normals[i, 1] * uy
            if step > 0:
                v0 = previous_v
                x0 = previous_x
                v1 = v
                x1 = x
                z0 = previous_z
                # What lies behind the front rim plane is beside the lens and hides nothing.
                if z0 > 0.0 or z > 0.0:
                    if z0 < 0.0 or z < 0.0:
                        share = z0 / (z0 - z)
                        if z0 < 0.0:
                            v0 += share * (v1 - v0)
                            x0 += share * (x1 - x0)
                        else:
                            v1 = v0 + share * (v1 - v0)
                            x1 = x0 + share * (x1 - x0)
                        at = -1
                    if at < 0 or v0 != previous_v:
                        at = np.searchsorted(nodes, v0)
                    at = _sweep_edge(
                        v0, x0, v1, x1, at, nodes, lead if facing + previous_facing > 0.0 else trail,
                        facing + previous_facing > 0.0,
                    )  # fmt: skip
                    if v1 != v:
                        at = -1
                else:
                    at = -1
            previous_v = v
            previous_x = x
            previous_z = z
            previous_facing = facing
    total = 0.0
    hidden = 0.0
    for i in range(n):
        start = work[4, i]
        stop = work[5, i]
        if stop <= start:
            continue
        total += weight[i] * (stop - start)
        free = max(0.0, min(stop, lead[i]) - max(start, trail[i]))
        hidden += weight[i] * (stop - start - free)
    if total <= 0.0:
        return math.nan
    return hidden / total


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def hidden_shares(windows, planes, centre, slopes, distance, points, normals, loop_at, chords, shares):
    """Hidden share for every frame slope (n, 2) of one beam; fills shares (n,).

    windows (k, 4) limit every slope, planes (n, m) each its own; centre (3,): depth and place of the pupil's centre.
    """
    discs = np.empty((windows.shape[0], 3))
    work = np.empty((6, chords))
    cosines, sines = _even_normals(planes.shape[1])
    for n in range(slopes.shape[0]):
        discs_on_front(windows, centre, slopes[n, 0], slopes[n, 1], distance, discs)
        shares[n] = hidden_share(
            discs, planes[n], cosines, sines, slopes[n, 0], slopes[n, 1], centre, distance, points, normals, loop_at,
            work,
        )  # fmt: skip


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def opening_areas(windows, planes, centre, slopes, distance, chords, areas):
    """Area (n,) in mm2 of a beam's opening, seen in the front rim plane, at frame slopes (n, 2)."""
    discs = np.empty((windows.shape[0], 3))
    cosines, sines = _even_normals(planes.shape[1])
    nodes = np.empty(chords)
    starts = np.empty(chords)
    stops = np.empty(chords)
    for n in range(slopes.shape[0]):
        discs_on_front(windows, centre, slopes[n, 0], slopes[n, 1], distance, discs)
        steep = math.hypot(slopes[n, 0], slopes[n, 1])
        ux = slopes[n, 0] / steep if steep > 1e-12 else 1.0
        uy = slopes[n, 1] / steep if steep > 1e-12 else 0.0
        low, high = _across(discs, planes[n], ux, uy)
        if high <= low:
            areas[n] = 0.0
            continue
        for i in range(chords):
            angle = -0.5 * math.pi + (i + 0.5) * math.pi / chords
            nodes[i] = 0.5 * (low + high) + 0.5 * (high - low) * math.sin(angle)
        _chords(discs, planes[n], cosines, sines, ux, uy, nodes, starts, stops)
        total = 0.0
        for i in range(chords):
            total += max(0.0, stops[i] - starts[i]) * math.cos(-0.5 * math.pi + (i + 0.5) * math.pi / chords)
        areas[n] = total * 0.5 * (high - low) * math.pi / chords


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _box(discs, planes, ux, uy):
    """A box (x0, x1, y0, y1) about an opening."""
    x0 = -math.inf
    x1 = math.inf
    y0 = -math.inf
    y1 = math.inf
    for k in range(discs.shape[0]):
        x0 = max(x0, discs[k, 0] - discs[k, 2])
        x1 = min(x1, discs[k, 0] + discs[k, 2])
        y0 = max(y0, discs[k, 1] - discs[k, 2])
        y1 = min(y1, discs[k, 1] + discs[k, 2])
    quarter = planes.shape[0] // 4
    if quarter > 0:
        # Half lengths and middle along the direction and across it, turned back.
        mu = 0.5 * (planes[0] - planes[2 * quarter])
        hu = 0.5 * (planes[0] + planes[2 * quarter])
        mv = 0.5 * (planes[quarter] - planes[3 * quarter])
        hv = 0.5 * (planes[quarter] + planes[3 * quarter])
        mx = mu * ux - mv * uy
        my = mu * uy + mv * ux
        hx = abs(hu * ux) + abs(hv * uy)
        hy = abs(hu * uy) + abs(hv * ux)
        if hu < 0.0 or hv < 0.0:
            return 0.0, 0.0, 0.0, 0.0
        x0 = max(x0, mx - hx)
        x1 = min(x1, mx + hx)
        y0 = max(y0, my - hy)
        y1 = min(y1, my + hy)
    return x0, x1, y0, y1


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def _cover(cells, x0, y0, size, ax, ay, bx, by, cx, cy):
    """Mark the cells whose middle lies in a triangle."""
    g = cells.shape[0]
    top = min(g - 1, int(math.floor((max(ay, max(by, cy)) - y0) / size - 0.5)))
    bottom = max(0, int(math.ceil((min(ay, min(by, cy)) - y0) / size - 0.5)))
    for row in range(bottom, top + 1):
        y = y0 + (row + 0.5) * size
        left = math.inf
        right = -math.inf
        for side in range(3):
            px, py, qx, qy = ax, ay, bx, by
            if side == 1:
                px, py, qx, qy = bx, by, cx, cy
            elif side == 2:
                px, py, qx, qy = cx, cy, ax, ay
            if (py <= y) != (qy <= y):
                x = px + (y - py) / (qy - py) * (qx - px)
                left = min(left, x)
                right = max(right, x)
        if right < left:
            continue
        i0 = max(0, int(math.ceil((left - x0) / size - 0.5)))
        i1 = min(g - 1, int(math.floor((right - x0) / size - 0.5)))
        for i in range(i0, i1 + 1):
            cells[row, i] = True


@njit(cache=True, fastmath=False, error_model="numpy", nogil=True)
def mesh_hidden_shares(windows, planes, centre, slopes, distance, triangles, grid, shares):
    """As `hidden_shares` for a mesh (m, 3, 3) in front-rim coordinates, by a raster of `grid` squared cells."""
    discs = np.empty((windows.shape[0], 3))
    cells = np.zeros((grid, grid), np.bool_)
    cosines, sines = _even_normals(planes.shape[1])
    e0 = centre[0]
    flat = np.empty((4, 2))
    for n in range(slopes.shape[0]):
        sx = slopes[n, 0]
        sy = slopes[n, 1]
        discs_on_front(windows, centre, sx, sy, distance, discs)
        steep = math.hypot(sx, sy)
        ux = sx / steep if steep > 1e-12 else 1.0
        uy = sy / steep if steep > 1e-12 else 0.0
        x0, x1, y0, y1 = _box(discs, planes[n], ux, uy)
        if x1 <= x0 or y1 <= y0:
            shares[n] = math.nan
            continue
        size = max(x1 - x0, y1 - y0) / grid
        cells[:, :] = False
        finite = math.isfinite(distance)
        zq = distance - e0
        qx = centre[1] + distance * sx if finite else 0.0
        qy = centre[2] + distance * sy if finite else 0.0
        for m in range(triangles.shape[0]):
            corners = 0
            for i in range(3):
                j = i + 1 if i < 2 else 0
                za = triangles[m, i, 2]
                zb = triangles[m, j, 2]
                for part in range(2):
                    # A corner ahead of the front rim plane, then the place where the side passes through the plane.
                    if part == 0:
                        if za < 0.0:
                            continue
                        share = 0.0
                    else:
                        if (za < 0.0) == (zb < 0.0):
                            continue
                        share = za / (za - zb)
                    px = triangles[m, i, 0] + share * (triangles[m, j, 0] - triangles[m, i, 0])
                    py = triangles[m, i, 1] + share * (triangles[m, j, 1] - triangles[m, i, 1])
                    z = za + share * (zb - za)
                    if finite:
                        flat[corners, 0] = (px * zq - qx * z) / (zq - z)
                        flat[corners, 1] = (py * zq - qy * z) / (zq - z)
                    else:
                        flat[corners, 0] = px - z * sx
                        flat[corners, 1] = py - z * sy
                    corners += 1
            for i in range(2, corners):
                _cover(
                    cells, x0, y0, size, flat[0, 0], flat[0, 1], flat[i - 1, 0], flat[i - 1, 1], flat[i, 0], flat[i, 1]
                )
        total = 0
        hidden = 0
        for row in range(grid):
            y = y0 + (row + 0.5) * size
            for i in range(grid):
                x = x0 + (i + 0.5) * size
                inside = True
                for k in range(discs.shape[0]):
                    if (x - discs[k, 0]) ** 2 + (y - discs[k, 1]) ** 2 > discs[k, 2] ** 2:
                        inside = False
                        break
                along = x * ux + y * uy
                across = y * ux - x * uy
                for m in range(planes.shape[1]):
                    if not inside:
                        break
                    inside = cosines[m] * along + sines[m] * across <= planes[n, m]
                if inside:
                    total += 1
                    if cells[row, i]:
                        hidden += 1
        shares[n] = hidden / total if total > 0 else math.nan


class Edges:
    """A hood's edges as closed loops in seat coordinates, ready for the kernels.

    points (m, 3) mm, normals (m, 2) pointing outwards, loop_at (loops + 1,) the bounds of each loop.
    """

    def __init__(self, loops: list[tuple[Array, Array]]) -> None:
        self.points = np.concatenate([points for points, _ in loops])
        self.normals = np.concatenate([normals for _, normals in loops])
        self.loop_at = np.cumsum([0] + [len(points) for points, _ in loops]).astype(np.int64)

    def ahead_of(self, reach: float) -> Array:
        """The points (m, 3) in the coordinates of a front rim plane at `reach` mm."""
        return np.asarray(self.points - np.array([0.0, 0.0, reach]))


def edges_of(shape: RoundHood | TunnelHood, *, step: float = 0.5) -> Edges:
    """The edges of a hood that can cut a beam: its rim, and every place where the wall begins or turns.

    step: degrees between the points of a round rim, beside its own; its own are left out when more than 0.5 is asked for.
    """
    if isinstance(shape, TunnelHood):
        return _tunnel_edges(shape)
    azimuth = np.arange(0.0, 360.0, step)
    if step <= 0.5:
        azimuth = np.union1d(np.asarray(shape.rim.azimuth), azimuth)
    rim = shape.rim.z_at(azimuth)
    angle = np.radians(azimuth)
    normals = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    loops = []
    starts = [z for z in shape.wall.z if 0 < z < rim.max()]
    for level in [0.0, *starts, np.inf]:
        # Only the rim needs every azimuth; the rings behind it are round.
        keep = slice(None) if level == np.inf else slice(None, None, 3)
        z, n = np.minimum(level, rim[keep]), normals[keep]
        radius = shape.wall.radius_at(z if level > 0 else np.full_like(z, 1e-9))
        loops.append((np.stack([radius * n[:, 0], radius * n[:, 1], z], axis=1), n))
    return Edges(loops)


def _tunnel_edges(shape: TunnelHood) -> Edges:
    w, h = shape.wall.half_width, shape.wall.half_height
    rim = shape.rim
    loops = []
    for level in (0.0, np.inf):
        right, top, left, bottom = (min(level, v) for v in (rim.right, rim.top, rim.left, rim.bottom))
        corners = [
            (w, -h, right, 1, 0), (w, h, right, 1, 0), (w, h, top, 0, 1), (-w, h, top, 0, 1),
            (-w, h, left, -1, 0), (-w, -h, left, -1, 0), (-w, -h, bottom, 0, -1), (w, -h, bottom, 0, -1),
        ]  # fmt: skip
        table = np.array(corners, dtype=float)
        loops.append((table[:, :3].copy(), table[:, 3:].copy()))
    return Edges(loops)


def triangles_of(shape: MeshHood) -> Array:
    """The mesh's triangles (m, 3, 3) in seat coordinates, mm."""
    return np.ascontiguousarray(shape.vertices[shape.faces], dtype=float)
