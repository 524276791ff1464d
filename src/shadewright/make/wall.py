"""The wall of a round hood as a half-section, and everything that lies under its rim as a solid."""

from __future__ import annotations

import math
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from shadewright.make.section import FAR, area, united
from shadewright.model.shape import Array, Rim, RoundWall

HAIR = 0.002
"""How far, in mm, made surfaces stay on the safe side of the ideal ones: more than the rounding of a file's numbers
and the merging of slivers can move them, and far less than any printer resolves."""
MOST_RIM_POINTS = 3600
"""A rim of more points than this is replaced by a lower one before meshing."""
ARC_POINTS = 5
"""Points of the quarter circle that rounds an edge."""


# --- the half-section ----------------------------------------------------------------------------------------


def wall_line(wall: RoundWall, top: float) -> list[tuple[float, float]]:
    """The inner surface from z = 0 to z = `top` as points (radius, z), steps as two points at one z."""
    points = [(float(wall.radius_at(1e-9)), 0.0)]
    points += [(r, z) for z, r in zip(wall.z, wall.radius, strict=True) if 0.0 < z < top]
    points.append((float(wall.radius_at(top)), top))
    return points


def outer_line(wall: RoundWall, thickness: float, top: float) -> list[tuple[float, float]]:
    """The outer surface R(z) + thickness, as `wall_line`."""
    return [(r + thickness, z) for r, z in wall_line(wall, top)]


def ledges(wall: RoundWall, top: float) -> list[tuple[float, float, float]]:
    """Steps of the wall between z = 0 and `top`: (z, radius behind, radius ahead), mm."""
    line = wall_line(wall, top)
    return [(a[1], a[0], b[0]) for a, b in zip(line, line[1:], strict=False) if a[1] == b[1] and b[0] > a[0]]


def outer_radius(wall: RoundWall, thickness: float, z: Array, *, top: float) -> Array:
    """Outside radius (mm) at z, the thickened undersides of steps included."""
    outside = wall.radius_at(z) + thickness
    for z_step, _, ahead in ledges(wall, top):
        slope = ahead + thickness - np.maximum(0.0, z_step - thickness - z)
        outside = np.where(z <= z_step, np.maximum(outside, slope), outside)
    return np.asarray(outside)


def wall_section(wall: RoundWall, thickness: float, top: float) -> Any:
    """The wall from z = 0 to `top`: R(z) to R(z) + thickness, steps carried by a ledge with a 45 degree underside."""
    inner = wall_line(wall, top)
    parts = [area([*inner, *reversed(outer_line(wall, thickness, top))])]
    for z, behind, ahead in ledges(wall, top):
        rise = ahead - behind
        parts.append(
            area(
                [
                    (behind, z), (ahead + thickness, z), (ahead + thickness, z - thickness),
                    (behind + thickness, z - thickness - rise), (behind, z - thickness - rise),
                ]
            )
        )  # fmt: skip
    return united(parts) - area([(0.0, -FAR), (FAR, -FAR), (FAR, 0.0), (0.0, 0.0)])


def passage(wall: RoundWall, top: float) -> Any:
    """What must stay empty ahead of the seat plane: every radius below R(z), a hair more."""
    line = [(r + HAIR, z) for r, z in wall_line(wall, top)]
    return area([(0.0, 0.0), *line, (0.0, top)])


# --- under the rim -------------------------------------------------------------------------------------------


def lowered(rim: Rim) -> Rim:
    """`rim` itself, or where it has too many points, a rim of fewer points that is nowhere above it."""
    if len(rim.z) <= MOST_RIM_POINTS:
        return rim
    azimuth = np.arange(MOST_RIM_POINTS) * (360.0 / MOST_RIM_POINTS)
    every = np.union1d(azimuth, np.asarray(rim.azimuth) % 360.0)
    z = rim.z_at(every)
    cell = np.searchsorted(azimuth, every, side="right") - 1
    lowest = np.full(MOST_RIM_POINTS, np.inf)
    np.minimum.at(lowest, cell, z)  # least within the cell that starts at each new point, its start included
    lowest = np.minimum(lowest, np.roll(rim.z_at(azimuth), -1))  # and its end
    return Rim.from_arrays(azimuth, np.minimum(lowest, np.roll(lowest, 1)))


def _columns(rim: Rim, radius: float, rounding: float, segments: int) -> Array:
    """Azimuths (degrees, ascending in [0, 360)) of the mesh: even ones, the rim's own, and more beside steep flanks."""
    own = np.asarray(rim.azimuth) % 360.0
    order = np.argsort(own, kind="stable")
    own, z = own[order], np.asarray(rim.z)[order]
    gap = (np.roll(own, -1) - own) % 360.0
    rise = np.abs(np.roll(z, -1) - z)
    steep = rise > 2.0 * np.radians(gap) * radius
    extra: list[Array] = []
    if rounding > 0 and np.any(steep):
        reach = np.degrees(np.linspace(-1.25, 1.25, 21) * rounding / radius)
        ends = np.concatenate([own[steep], np.roll(own, -1)[steep]])
        extra.append((ends[:, None] + reach[None, :]).ravel())
    even = np.arange(segments) * (360.0 / segments)
    every = np.unique(np.concatenate([even, own, *extra]) % 360.0)
    # The rim's own points must stay, or the straight line between columns could rise above the rim.
    keep = np.isin(every, own) | np.concatenate([[True], np.diff(every) > 1e-3])
    return np.asarray(every[keep])


def _eroded(rim: Rim, azimuth: Array, radius: Array, inset: float) -> Array:
    """z (n,) at `azimuth` of the curve that lies `inset` mm inside the rim, measured on the unrolled wall.

    The set under the rim is shrunk by a disc: the least of Z(s) - sqrt(inset^2 - s^2) over the disc's width.
    """
    along = inset * np.sin(np.linspace(-math.pi / 2, math.pi / 2, 33))
    below = np.sqrt(np.maximum(0.0, inset**2 - along**2))
    near = rim.z_at(azimuth[:, None] + np.degrees(along[None, :] / radius[:, None]))
    return np.asarray(np.min(near - below[None, :], axis=1))


def _split(azimuth: Array, levels: Array, most: float) -> tuple[Array, Array]:
    """Columns inserted, straight between their neighbours, until no level rises more than `most` mm in one."""
    following = np.roll(azimuth, -1).copy()
    following[-1] += 360.0
    ahead = np.roll(levels, -1, axis=0)
    pieces = np.maximum(1, np.ceil(np.max(np.abs(ahead - levels), axis=1) / most).astype(int))
    start = np.repeat(np.arange(len(azimuth)), pieces)
    share = np.concatenate([np.arange(n) / n for n in pieces])
    split = azimuth[start] + share * (following - azimuth)[start]
    return split, levels[start] + share[:, None] * (ahead - levels)[start]


def under_rim(
    wall: RoundWall, rim: Rim, *, thickness: float, rounding: float, segments: int, reach: float, bottom: float
) -> Any:
    """Everything that may remain of a hood under its rim, as a solid ring from `bottom` to the rim and out to `reach`.

    Its upper face is Z(phi), a hair lower, across the wall, falling along a quarter circle of radius `rounding` at the
    wall's inner and outer edge and staying `rounding` lower beyond. On flanks the edge is rounded along the flank:
    the curve at each depth into the wall is the rim shrunk on the unrolled wall by the quarter circle's own inset.
    """
    rim = lowered(rim)
    middle = float(wall.radius_at(rim.shallowest)) + thickness / 2.0
    azimuth = _columns(rim, middle, rounding, segments)
    # Depth into the wall and inset of the edge there, along the quarter circle from wall to top.
    turn = np.linspace(0.0, math.pi / 2, ARC_POINTS) if rounding > 0 else np.array([math.pi / 2])
    depth = rounding * (1.0 - np.cos(turn))
    inset = rounding * (1.0 - np.sin(turn)) + HAIR
    local = wall.radius_at(rim.z_at(azimuth)) + thickness / 2.0
    levels = np.stack([_eroded(rim, azimuth, local, float(value)) for value in inset], axis=1)
    azimuth, levels = _split(azimuth, levels, most=1.0)

    # A straight edge across the wall between two columns is not straight in azimuth; lower it by the difference.
    rise = np.abs(np.roll(levels[:, -1], -1) - levels[:, -1])
    across = 1.0
    safety = 0.3 * np.maximum(rise, np.roll(rise, 1)) * across / middle
    levels = levels - safety[:, None]

    z_edge = np.maximum(levels[:, -1] - rounding, 0.0)
    inner = wall.radius_at(z_edge)
    outer = outer_radius(wall, thickness, z_edge, top=FAR)
    flat = max(2, math.ceil(float(np.max(outer - inner)) / across) + 1)
    loops = _loops(azimuth, levels, inner, outer, depth, flat, (0.5 * float(np.min(inner)), reach), bottom)
    return ring_of_loops(loops)


def _loops(
    azimuth: Array, levels: Array, inner: Array, outer: Array, depth: Array, flat: int, ends: tuple[float, float],
    bottom: float,
) -> Array:  # fmt: skip
    """The outline of the solid at each column, (columns, points, 3) mm."""
    n = len(azimuth)
    depth = depth.copy()
    if len(depth) > 1:
        depth[0] = -0.05  # start the arc beside the wall, so that the two surfaces cross instead of touching
    rising = inner[:, None] + depth[None, :]
    falling = outer[:, None] - depth[None, ::-1]
    share = np.linspace(0.0, 1.0, flat)[1:-1]
    between = rising[:, -1:] + share[None, :] * (falling[:, :1] - rising[:, -1:])
    low, top = levels[:, :1], levels[:, -1:]
    radius = np.concatenate(
        [
            np.full((n, 1), ends[0]), rising, between, falling,
            np.full((n, 1), ends[1]), np.full((n, 1), ends[1]), np.full((n, 1), ends[0]),
        ],
        axis=1,
    )  # fmt: skip
    height = np.concatenate(
        [low, levels, np.repeat(top, flat - 2, axis=1), levels[:, ::-1], low, np.full((n, 2), bottom)], axis=1
    )
    angle = np.radians(azimuth)[:, None]
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=2)


def ring_of_loops(loops: Array) -> Any:
    """A solid ring through closed outlines (columns, points, 3), each clockwise in (radius, z), azimuth ascending."""
    columns, points, _ = loops.shape
    place = np.arange(columns * points, dtype=np.uint64).reshape(columns, points)
    beside = np.roll(place, -1, axis=0)
    here, over = np.roll(place, -1, axis=1), np.roll(beside, -1, axis=1)
    faces = np.concatenate(
        [
            np.stack([place, here, over], axis=2).reshape(-1, 3),
            np.stack([place, over, beside], axis=2).reshape(-1, 3),
        ]
    )
    return solid_of(loops.reshape(-1, 3), faces)


def solid_of(vertices: Array, faces: NDArray[np.uint64]) -> Any:
    """A manifold from vertices (n, 3) and faces (m, 3)."""
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces, dtype=np.uint64)))
