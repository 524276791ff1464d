"""A plain reference for keep-out, loss and light: dense grids and rays, written to be seen to be right.

It shares nothing with the package: no import, no formula. Everything rests on one picture. z runs forward
from the front rim plane; a window of depth e lies at z = -e; a ray is the straight line q + z v, with q
its point on the front rim plane and v its slope. Seat coordinates are z_seat = z + reach. Millimetres,
slopes as tangents, azimuths in radians, directions of light in degrees.

* distant subject: the rays of frame slope t all have v = t;
* object plane at `distance` ahead of window 0: the rays of frame slope t meet in Q = c_0 + distance t,
  which lies at z = distance - e_0, so v = (Q - q) / (distance - e_0);
* a ray is in the beam when its point on every window plane lies in that window's disc.

Keep-out is asked for ahead of the front rim plane only: behind it the line is no longer the light's path.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Rim = float | Callable[[Floats], Floats]
"""Seat z where the wall ends: one number, or a function of azimuth (radians)."""

IN_BEAM_SLACK = 1e-6
"""A point counts as in the keep-out when its best ray misses a window by no more than this (mm)."""


@dataclass(frozen=True)
class Window:
    """A disc that limits the beam, `depth` mm behind the front rim plane (negative: ahead of it)."""

    depth: float
    radius: float
    cx: float = 0.0
    cy: float = 0.0


@dataclass(frozen=True, eq=False)
class Setting:
    """One state of a lens: windows (0 is the entrance pupil), frame as slopes, reach, object distance.

    offset is the slope at the frame's centre; distance is measured from window 0 and None means a distant
    subject; outline, shape (n, 2), replaces the rectangle by a closed polygon of slopes.
    """

    windows: Sequence[Window]
    half_width: float
    half_height: float
    offset: tuple[float, float] = (0.0, 0.0)
    reach: float = 0.0
    distance: float | None = None
    outline: Floats | None = None


@dataclass(frozen=True, eq=False)
class Rays:
    """q, v, t: each (n, 2): point on the front rim plane, slope of the ray, slope of the frame point."""

    q: Floats
    v: Floats
    t: Floats


@dataclass(frozen=True)
class Tunnel:
    """A rectangular wall |x| = half_x, |y| = half_y, whose four lips end at these seat z."""

    half_x: float
    half_y: float
    right: float
    top: float
    left: float
    bottom: float


Wall = float | Floats | Tunnel
"""A tube radius; a profile (m, 2) of (z_seat, radius) in order, straight between its points and a tube
beyond both ends, two points of one z making a step; or a tunnel."""


# ---- the frame -----------------------------------------------------------------------------------


def frame_polygon(setting: Setting) -> Floats:
    """Corners (n, 2) of the frame in slopes, in order round it."""
    if setting.outline is not None:
        return np.asarray(setting.outline, dtype=np.float64)
    w, h, (ox, oy) = setting.half_width, setting.half_height, setting.offset
    return np.array([[ox + w, oy + h], [ox - w, oy + h], [ox - w, oy - h], [ox + w, oy - h]])


def in_frame(setting: Setting, t: Floats) -> Bools:
    """Is each slope (n, 2) in the frame, its edge included (but for rounding, on an outline)?"""
    if setting.outline is None:
        off = np.abs(t - np.asarray(setting.offset))
        inside: Bools = (off[:, 0] <= setting.half_width) & (off[:, 1] <= setting.half_height)
        return inside
    # Even-odd rule: count the sides crossed by a line running off to +x.
    corners = frame_polygon(setting)
    inside = np.zeros(len(t), dtype=np.bool_)
    for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if ay != by:
            spans = (ay > t[:, 1]) != (by > t[:, 1])
            inside ^= spans & (t[:, 0] < ax + (t[:, 1] - ay) * (bx - ax) / (by - ay))
    return inside


# ---- beams ---------------------------------------------------------------------------------------


def object_points(setting: Setting, t: Floats) -> tuple[Floats, float]:
    """Where the rays of each frame slope (n, 2) meet, and the z of that plane. Finite distance only."""
    if setting.distance is None:
        raise ValueError("a distant subject has no object plane; give the setting a distance")
    pupil = setting.windows[0]
    return np.array([pupil.cx, pupil.cy]) + setting.distance * t, setting.distance - pupil.depth


def ray_slopes(setting: Setting, q: Floats, t: Floats) -> Floats:
    """Slopes v (n, 2) of the rays that start at q (n, 2) and serve the frame slopes t (n, 2)."""
    if setting.distance is None:
        return np.broadcast_to(t, q.shape)
    points, z_object = object_points(setting, t)
    return (points - q) / z_object


def in_beam(setting: Setting, rays: Rays, slack: float = 0.0) -> Bools:
    """Does each ray pass every window, to within `slack` mm?"""
    passed = np.ones(len(rays.q), dtype=np.bool_)
    for w in setting.windows:
        at_window = rays.q - w.depth * rays.v
        passed &= np.hypot(at_window[:, 0] - w.cx, at_window[:, 1] - w.cy) <= w.radius + slack
    return passed


def beam_discs(setting: Setting, t: Floats) -> tuple[Floats, Floats]:
    """The windows seen on the front rim plane along the rays of t (n, 2): centres (n, k, 2), radii (k,)."""
    depth = np.array([w.depth for w in setting.windows])
    radius = np.array([w.radius for w in setting.windows])
    centre = np.array([[w.cx, w.cy] for w in setting.windows])
    if setting.distance is None:
        return centre + t[:, None, :] * depth[:, None], radius
    # q - e (Q - q) / D = q (1 + e / D) - Q e / D must lie in the window: a disc for q again.
    points, z_object = object_points(setting, t)
    stretch = 1.0 + depth / z_object
    return (centre + points[:, None, :] * depth[:, None] / z_object) / stretch[:, None], radius / stretch


def beam_grid(setting: Setting, t: tuple[float, float], n: int = 1500) -> tuple[Rays, float]:
    """The rays of one frame point on an n by n grid over the front rim plane, and a cell's area (mm^2)."""
    slope = np.array([t], dtype=np.float64)
    centres, radii = beam_discs(setting, slope)
    low = (centres[0] - radii[:, None]).max(axis=0)
    high = (centres[0] + radii[:, None]).min(axis=0)
    if np.any(high <= low):
        return Rays(np.empty((0, 2)), np.empty((0, 2)), np.empty((0, 2))), 0.0
    x, y = (low[i] + (np.arange(n) + 0.5) * (high[i] - low[i]) / n for i in (0, 1))
    q = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    rays = Rays(q, ray_slopes(setting, q, slope), np.broadcast_to(slope, q.shape))
    keep = in_beam(setting, rays)
    return Rays(rays.q[keep], rays.v[keep], rays.t[keep]), float(np.prod((high - low) / n))


# ---- sampled rays --------------------------------------------------------------------------------


def sample_slopes(setting: Setting, n: int, rng: np.random.Generator) -> Floats:
    """n frame slopes: 2/5 spread over the frame, 2/5 along its edge, 1/5 on its corners."""
    corners = frame_polygon(setting)
    low, high = corners.min(axis=0), corners.max(axis=0)
    n_corner, n_edge = n // 5, 2 * n // 5
    n_inside = n - n_corner - n_edge

    # Inside: one point in each cell of a grid that is fine enough, then a fair choice of n_inside of them.
    side, inside = int(np.ceil(np.sqrt(n_inside))), np.empty((0, 2))
    while len(inside) < n_inside:
        cell = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2)
        spread = low + (cell + rng.random(cell.shape)) * (high - low) / side
        inside, side = spread[in_frame(setting, spread)], 2 * side
    inside = rng.permutation(inside)[:n_inside]

    # Along the edge: one point in each of n_edge equal stretches of it.
    sides = np.roll(corners, -1, axis=0) - corners
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(sides[:, 0], sides[:, 1]))])
    at = (np.arange(n_edge) + rng.random(n_edge)) * walked[-1] / max(n_edge, 1)
    closed = np.vstack([corners, corners[:1]])
    edge = np.stack([np.interp(at, walked, closed[:, i]) for i in (0, 1)], axis=-1)
    return np.vstack([inside, edge, corners[np.arange(n_corner) % len(corners)]])


def disc_vertices(centres: Floats, radii: Floats) -> Floats:
    """Crossing points of every pair of circles: (n, pairs * 2, 2), not a number where two do not cross."""
    found: list[Floats] = []
    for i, j in combinations(range(len(radii)), 2):
        gap = centres[:, j] - centres[:, i]
        d = np.hypot(gap[:, 0], gap[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (d**2 + radii[i] ** 2 - radii[j] ** 2) / (2.0 * d)
            across = np.sqrt(radii[i] ** 2 - along**2)
            unit = gap / d[:, None]
        normal = np.stack([-unit[:, 1], unit[:, 0]], axis=-1)
        foot = centres[:, i] + along[:, None] * unit
        found += [foot + across[:, None] * normal, foot - across[:, None] * normal]
    return np.stack(found, axis=1) if found else np.empty((len(centres), 0, 2))


def _in_all(points: Floats, centres: Floats, radii: Floats) -> Bools:
    """Which of the points (n, m, 2) lie in all discs of their row?"""
    gap = points[:, :, None, :] - centres[:, None, :, :]
    inside: Bools = np.all(np.hypot(gap[..., 0], gap[..., 1]) <= radii + 1e-9, axis=-1)
    return inside


def sample_rays(setting: Setting, n: int, rng: np.random.Generator) -> Rays:
    """About n rays of the beam, a third inside each frame point's beam and two thirds on its very edge.

    Half of the edge rays are the furthest ones of their beam in some direction, which includes the points
    where two windows' edges cross. Frame points whose beam is empty give none.
    """
    t = rng.permutation(sample_slopes(setting, n, rng))
    centres, radii = beam_discs(setting, t)
    vertices = disc_vertices(centres, radii)

    # What discs have in common is nothing, or a whole disc, or has circle crossings as corners; the mean of
    # those corners (or that disc's centre) is in it.
    whole = _in_all(centres, centres, radii)
    for k in range(len(radii)):
        gap = centres - centres[:, k : k + 1]
        whole[:, k] &= np.all(np.hypot(gap[..., 0], gap[..., 1]) + radii[k] <= radii + 1e-9, axis=1)
    corner = _in_all(vertices, centres, radii)
    share = np.concatenate([whole, corner], axis=1).astype(np.float64)
    spots = np.concatenate([centres, np.nan_to_num(vertices)], axis=1)
    lit = share.sum(axis=1) > 0
    t, centres, vertices, share, spots = t[lit], centres[lit], vertices[lit], share[lit], spots[lit]
    seed = (spots * share[..., None]).sum(axis=1) / share.sum(axis=1)[:, None]

    # Walk from the seed in a random direction: some way (inside), or until the first window's edge.
    angle = rng.permutation((np.arange(len(t)) + rng.random(len(t))) * 2.0 * np.pi / max(len(t), 1))
    heading = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    back = seed[:, None, :] - centres
    b = np.einsum("nki,ni->nk", back, heading)
    room = np.maximum(b**2 + radii**2 - (back**2).sum(axis=2), 0.0)
    far = np.maximum((np.sqrt(room) - b).min(axis=1), 0.0)
    kind = np.arange(len(t)) % 3
    far = far * np.where(kind == 0, np.sqrt(rng.random(len(t))), 1.0)
    q = seed + far[:, None] * heading

    # The beam's furthest point in that direction is a disc's own furthest point or a crossing of circles.
    extreme = np.concatenate([centres + radii[:, None] * heading[:, None, :], vertices], axis=1)
    score = np.where(_in_all(extreme, centres, radii), np.einsum("nmi,ni->nm", extreme, heading), -np.inf)
    best = extreme[np.arange(len(t)), score.argmax(axis=1)]
    use = (kind == 2) & np.isfinite(score.max(axis=1))
    q[use] = best[use]
    return Rays(q, ray_slopes(setting, q, t), t)


# ---- walls ---------------------------------------------------------------------------------------


def rim_height(rim: Rim, azimuth: Floats) -> Floats:
    """Seat z of the rim at each azimuth (radians)."""
    if callable(rim):
        return np.asarray(rim(azimuth), dtype=np.float64)
    return np.full(azimuth.shape, float(rim))


def wall_profile(wall: float | Floats) -> Floats:
    """The wall as points (m, 2) of (z_seat, radius)."""
    if isinstance(wall, int | float):
        return np.array([[0.0, float(wall)]])
    return np.asarray(wall, dtype=np.float64).reshape(-1, 2)


def ray_blocked(rays: Rays, wall: Wall, rim: Rim, reach: float, *, slack: float = 0.0) -> Bools:
    """Does each ray (n) hit the wall ahead of the front rim plane, more than `slack` mm below its rim?

    Every crossing counts, from inside or outside. A ray that starts outside a round wall which rises past
    the front rim plane there is blocked too: nothing reaches that part of the glass. For a tunnel, rim is
    not used.
    """
    if isinstance(wall, Tunnel):
        return _tunnel_blocked(rays, wall, reach, slack)
    profile = wall_profile(wall)
    q, v = rays.q, rays.v
    hit = np.zeros(len(q), dtype=np.bool_)

    def below_rim(h: Floats) -> Bools:
        at = q + h[:, None] * v
        return np.asarray(h + reach < rim_height(rim, np.arctan2(at[:, 1], at[:, 0])) - slack)

    outside = np.hypot(q[:, 0], q[:, 1]) > np.interp(reach, profile[:, 0], profile[:, 1]) + 1e-9
    hit |= outside & below_rim(np.zeros(len(q)))
    ahead, behind = (np.inf, profile[-1, 1]), (-np.inf, profile[0, 1])
    points = [behind, *profile, ahead] if len(profile) > 1 else [behind, ahead]
    pieces = [(a[0], b[0], a[1], b[1]) for a, b in pairwise(points)]
    for z_a, z_b, r_a, r_b in pieces:
        if z_a == z_b:  # a step: a flat ring
            h = np.full(len(q), z_a - reach)
            rho = np.hypot(*(q + h[:, None] * v).T)
            hit |= (h >= 0.0) & (rho >= min(r_a, r_b)) & (rho <= max(r_a, r_b)) & below_rim(h)
            continue
        # On this piece R = r_0 + m h, with h measured from the front rim plane: |q + h v|^2 = R^2.
        m = 0.0 if r_a == r_b else (r_b - r_a) / (z_b - z_a)
        r_0 = r_a if m == 0.0 else r_a + m * (reach - z_a)
        for h_any in _roots((v**2).sum(1) - m**2, (q * v).sum(1) - r_0 * m, (q**2).sum(1) - r_0**2):
            h = np.where(np.isfinite(h_any), h_any, -1.0)
            on_piece = (h >= 0.0) & (r_0 + m * h >= 0.0)
            on_piece &= (h + reach >= z_a) & (h + reach <= z_b)
            hit |= on_piece & below_rim(h)
    return hit


def _roots(a: Floats, half_b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Both solutions of a h^2 + 2 half_b h + c = 0, not a number where there is none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        s = -(half_b + np.copysign(np.sqrt(half_b**2 - a * c), half_b))
        return s / a, c / s


def _tunnel_blocked(rays: Rays, wall: Tunnel, reach: float, slack: float) -> Bools:
    hit = (np.abs(rays.q[:, 0]) > wall.half_x) | (np.abs(rays.q[:, 1]) > wall.half_y)
    panels = [
        (0, wall.half_x, wall.half_y, wall.right),
        (0, -wall.half_x, wall.half_y, wall.left),
        (1, wall.half_y, wall.half_x, wall.top),
        (1, -wall.half_y, wall.half_x, wall.bottom),
    ]
    for axis, place, half_span, lip in panels:
        with np.errstate(divide="ignore", invalid="ignore"):
            h = (place - rays.q[:, axis]) / rays.v[:, axis]
            along = rays.q[:, 1 - axis] + h * rays.v[:, 1 - axis]
            hit |= (h >= 0.0) & (np.abs(along) <= half_span) & (h + reach < lip - slack)
    return hit


# ---- keep-out ------------------------------------------------------------------------------------


def _miss(setting: Setting, p: Floats, z: Floats, t: Floats) -> Floats:
    """How far (mm) the ray of frame slope t through the point (p, z) lies outside its worst window."""
    if setting.distance is None:
        v = t
    else:
        points, z_object = object_points(setting, t)
        v = (points - p) / (z_object - z)[:, None]
    worst = np.full(len(p), -np.inf)
    for w in setting.windows:
        at_x = p[:, 0] - (z + w.depth) * v[:, 0] - w.cx
        at_y = p[:, 1] - (z + w.depth) * v[:, 1] - w.cy
        worst = np.maximum(worst, np.hypot(at_x, at_y) - w.radius)
    return worst


def _least(value: Callable[[Floats], Floats], low: Floats, high: Floats, steps: int) -> tuple[Floats, Floats]:
    """Where, and how low, a function convex on [low, high] comes, by golden section.

    Of two points within, the end beyond the higher one is dropped; the other point serves again.
    """
    g = (np.sqrt(5.0) - 1.0) / 2.0
    a, b = high - g * (high - low), low + g * (high - low)
    at_a, at_b = value(a), value(b)
    for _ in range(steps):
        left = at_a < at_b
        low, high = np.where(left, low, a), np.where(left, b, high)
        new = np.where(left, high - g * (high - low), low + g * (high - low))
        at_new = value(new)
        a, b, at_a, at_b = (
            np.where(left, new, b),
            np.where(left, a, new),
            np.where(left, at_new, at_b),
            np.where(left, at_a, at_new),
        )
    return np.where(at_a < at_b, a, b), np.minimum(at_a, at_b)


def beam_excess(setting: Setting, p: Floats, z: Floats, *, steps: int = 38) -> Floats:
    """By how much (mm) the best ray through each point misses the beam; zero or less in the keep-out.

    p (n, 2) and z (n,), measured from the front rim plane. It is the least over all frame slopes of the
    worst window's miss. The miss is convex in the slope (a largest of distances), so a search along y
    inside a search along x finds the least over the box round the frame. If the box's best slope is not in
    an outline, the outline's best is on its sides, each of which is searched as well. Slopes are resolved
    to 0.618**steps of the frame, 1e-8 of it.
    """
    if setting.distance is not None and np.any(z >= setting.distance - setting.windows[0].depth):
        raise ValueError("a point lies at or beyond the object plane; give only points nearer than it")
    corners = frame_polygon(setting)
    low, high = corners.min(axis=0), corners.max(axis=0)
    ones = np.ones(len(p))

    def along_y(x: Floats) -> tuple[Floats, Floats]:
        return _least(
            lambda y: _miss(setting, p, z, np.stack([x, y], axis=-1)), low[1] * ones, high[1] * ones, steps
        )

    best_x, best = _least(lambda x: along_y(x)[1], low[0] * ones, high[0] * ones, steps)
    if setting.outline is None:
        return best
    best = np.where(in_frame(setting, np.stack([best_x, along_y(best_x)[0]], axis=-1)), best, np.inf)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        on_side = _least(
            lambda s, a=a, b=b: _miss(setting, p, z, a + s[:, None] * (b - a)),  # type: ignore[misc]
            0.0 * ones,
            ones,
            steps,
        )
        best = np.minimum(best, on_side[1])
    return best


def keepout_entry(
    setting: Setting,
    radius: float | Floats | Callable[[Floats], Floats],
    azimuth: Floats | float,
    *,
    z_low: float | None = None,
    z_high: float | None = None,
    scan: int = 80,
) -> Floats:
    """Seat z at which the wall first enters the keep-out, per azimuth (radians); infinite if it does not.

    radius: a tube, a profile (m, 2) of (z_seat, radius), or a function of z_seat. The wall is walked from
    z_low (the front rim plane) to z_high (200 mm further) in `scan` steps; the first step that ends in the
    keep-out is walked again in 12 steps, four times: resolution (z_high - z_low) / scan / 12**4, far under
    0.001 mm. Only a stretch in the keep-out shorter than one scan step could be missed; on a tube with
    centred windows and the axis in the frame there is none, for there a point that is in the keep-out
    stays in it as it moves forward.
    """
    phi = np.atleast_1d(np.asarray(azimuth, dtype=np.float64))
    low = setting.reach if z_low is None else z_low
    high = setting.reach + 200.0 if z_high is None else z_high
    place, start, end = _wall_walk(radius, low, high)

    def to_point(z_r: Floats, which: NDArray[np.intp]) -> Floats:
        return z_r[:, 1:] * _unit(phi[which])

    return _first_entry(setting, to_point, place, (start, end), (len(phi), scan))


def keepout_entry_line(
    setting: Setting, p: Floats, *, z_low: float | None = None, z_high: float | None = None, scan: int = 80
) -> Floats:
    """The same on lines parallel to the axis through the points p (n, 2), for tunnels and flat masks."""
    p = np.atleast_2d(np.asarray(p, dtype=np.float64))
    low = setting.reach if z_low is None else z_low
    high = setting.reach + 200.0 if z_high is None else z_high
    place, start, end = _wall_walk(0.0, low, high)
    return _first_entry(setting, lambda z_r, i: p[i], place, (start, end), (len(p), scan))


def _unit(angle: Floats) -> Floats:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _wall_walk(
    radius: float | Floats | Callable[[Floats], Floats], low: float, high: float
) -> tuple[Callable[[Floats], Floats], float, float]:
    """A way to walk the wall: place(s) gives (z_seat, radius), for s from start to end."""
    if callable(radius):
        function = radius
        return lambda s: np.stack([s, function(s)], axis=-1), low, high
    profile = wall_profile(radius)
    between = profile[(profile[:, 0] > low) & (profile[:, 0] < high)]
    ends = [[z, float(np.interp(z, profile[:, 0], profile[:, 1]))] for z in (low, high)]
    points = np.vstack([ends[:1], between, ends[1:]])
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])

    def place(s: Floats) -> Floats:
        return np.stack([np.interp(s, walked, points[:, i]) for i in (0, 1)], axis=-1)

    return place, 0.0, float(walked[-1])


def _first_entry(
    setting: Setting,
    to_point: Callable[[Floats, NDArray[np.intp]], Floats],
    place: Callable[[Floats], Floats],
    span: tuple[float, float],
    counts: tuple[int, int],
) -> Floats:
    n, scan = counts
    low, high = np.full(n, span[0]), np.full(n, span[1])
    never = np.zeros(n, dtype=np.bool_)
    for steps in (scan, 12, 12, 12, 12):
        s = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, steps + 1)
        z_r = place(s.ravel())
        which = np.repeat(np.arange(n), steps + 1)
        excess = beam_excess(setting, to_point(z_r, which), z_r[:, 0] - setting.reach)
        inside = (excess <= IN_BEAM_SLACK).reshape(s.shape)
        never |= ~inside.any(axis=1)
        first = np.where(inside.any(axis=1), inside.argmax(axis=1), steps)
        high = s[np.arange(n), first]
        low = s[np.arange(n), np.maximum(first - 1, 0)]
    return np.where(never, np.inf, place(high)[:, 0])


# ---- closed forms for one centred window and a centred frame -------------------------------------


def pinhole_rim(
    radius: float, azimuth: Floats, half_width: float, half_height: float, depth: float
) -> Floats:
    """Rim of a tube, z from the front rim plane, for a pupil of no size.

    The point R (cos, sin) seen at distance s from the pupil has slopes R cos / s and R sin / s. It is out
    of view while at least one of them is outside the frame; it comes into view when the LATER of the two
    is inside.
    """
    s_side = radius * np.abs(np.cos(azimuth)) / half_width
    s_top = radius * np.abs(np.sin(azimuth)) / half_height
    return np.asarray(np.maximum(s_side, s_top) - depth)


def pupil_rim(
    radius: float, azimuth: Floats, half_width: float, half_height: float, depth: float, pupil_radius: float
) -> Floats:
    """Rim of a tube, z from the front rim plane, for one round pupil.

    The least s at which x = R |cos|, y = R |sin| is within a of the rectangle of half-sides s W, s H. If y
    <= s H it touches the side, x - s W = a; if x <= s W the top, y - s H = a; otherwise the corner,
    (x - s W)^2 + (y - s H)^2 = a^2, at the lesser root.
    """
    a, w, h = pupil_radius, half_width, half_height
    x, y = radius * np.abs(np.cos(azimuth)), radius * np.abs(np.sin(azimuth))
    side, top = (x - a) / w, (y - a) / h
    b, g = x * w + y * h, w * w + h * h
    corner = (b - np.sqrt(np.maximum(b**2 - g * (x**2 + y**2 - a**2), 0.0))) / g
    on_top = (top >= 0.0) & (x <= top * w)
    s = np.where((side >= 0.0) & (y <= side * h), side, np.where(on_top, top, corner))
    return np.asarray(np.where(radius <= a, 0.0, s) - depth)


# ---- loss and light ------------------------------------------------------------------------------


def loss_stops(setting: Setting, t: tuple[float, float], wall: Wall, rim: Rim, *, n: int = 1500) -> float:
    """Loss (stops) at frame slope t, by an n by n grid over the beam; infinite when all of it is taken.

    Raises ValueError when the lens alone passes nothing there: a share of nothing is undefined.
    """
    rays, _ = beam_grid(setting, t, n)
    if len(rays.q) == 0:
        raise ValueError(f"the beam of frame slope {t} is empty without a hood; ask inside the image circle")
    free = 1.0 - float(np.mean(ray_blocked(rays, wall, rim, setting.reach)))
    return float("inf") if free == 0.0 else -float(np.log2(free))


def disc_grid(n: int) -> Floats:
    """The cell centres of an n by n grid that lie in the unit disc, shape (m, 2)."""
    x = (np.arange(n) + 0.5) * 2.0 / n - 1.0
    points = np.stack(np.meshgrid(x, x), axis=-1).reshape(-1, 2)
    inside: Floats = points[(points**2).sum(axis=1) <= 1.0]
    return inside


def lit_share(
    front_radius: float, reach: float, direction: tuple[float, float], wall: Wall, rim: Rim, *, n: int = 1500
) -> float:
    """Part of the front disc that a distant source at (theta, psi) degrees lights, by a grid over it."""
    theta, psi = np.radians(direction)
    q = front_radius * disc_grid(n)
    v = np.broadcast_to(np.tan(theta) * _unit(np.asarray(psi)), q.shape)
    return 1.0 - float(np.mean(ray_blocked(Rays(q, v, v), wall, rim, reach)))


def let_in_share(
    setting: Setting, front_radius: float, wall: Wall, rim: Rim, *, n_direction: int = 120, n_glass: int = 48
) -> float:
    """Let-in share by grids over the directions outside the frame and over the glass.

    A direction (theta, psi) is the point sin(theta) (cos psi, sin psi) of the unit disc, and cos(theta)
    times its solid angle is exactly area on that disc: so the weighted integral is a plain mean over the
    disc.
    """
    u = disc_grid(n_direction)
    u = u[(u**2).sum(axis=1) < 1.0]
    t = u / np.sqrt(1.0 - (u**2).sum(axis=1))[:, None]
    t = t[~in_frame(setting, t)]
    glass = front_radius * disc_grid(n_glass)
    lit, total = 0, 0
    for some in np.array_split(t, max(1, len(t) // 200)):
        v = np.repeat(some, len(glass), axis=0)
        q = np.tile(glass, (len(some), 1))
        lit += int(np.sum(~ray_blocked(Rays(q, v, v), wall, rim, setting.reach)))
        total += len(q)
    return lit / total
