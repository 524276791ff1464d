"""The rim of a round hood as a solid: everything that may remain of a wall under it, its edges rounded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from shadewright.make.profile import HAIR, Part, bends
from shadewright.make.section import solid_of
from shadewright.model.shape import Array, Rim

MOST_RIM_POINTS = 3600
"""A rim of more points than this is replaced by a lower one before meshing."""
MOST_RISE = 1.0
"""Most rise of the rim between two columns of the mesh, mm, outside steep flanks."""
RAMP = 0.05
"""Columns closer together than this, in mm, stand on a steep flank."""
ACROSS = 1.0
"""Most distance between points of the mesh across the wall's edge, mm."""
ARC_POINTS = 5
"""Points of the quarter circle that rounds an edge."""
BESIDE = 0.05
"""The quarter circle starts this far beside the wall, mm, so that the two surfaces cross instead of touching.
"""


@dataclass(frozen=True)
class Edge:
    """The rounded edge on the unrolled wall: `levels` (columns, m) mm are the z of the rim's curve at each
    `depth` (m,) mm into the wall, from its surface inwards, at `azimuth` (columns,) degrees.
    """

    azimuth: Array
    levels: Array
    depth: Array

    def with_columns_at(self, heights: tuple[float, ...]) -> Edge:
        """The same edge with a column wherever one of its curves passes one of the given z (mm).

        Then no curve passes a bend of the wall between two columns, and their points correspond.
        """
        following = np.roll(self.azimuth, -1).copy()
        following[-1] += 360.0
        ahead = np.roll(self.levels, -1, axis=0)
        rise = ahead - self.levels
        start, share = [np.arange(len(self.azimuth))], [np.zeros(len(self.azimuth))]
        for z in heights:
            column, level = np.nonzero((self.levels - z) * (ahead - z) < 0.0)
            start.append(column)
            share.append((z - self.levels[column, level]) / rise[column, level])
        columns, shares = np.concatenate(start), np.concatenate(share)
        order = np.lexsort((shares, columns))
        columns, shares = columns[order], shares[order]
        levels = self.levels[columns] + shares[:, None] * rise[columns]
        for z in heights:  # exactly, so that no curve passes the bend by a rounding error
            levels = np.where(np.abs(levels - z) < 1e-9, z, levels)
        azimuth = self.azimuth[columns] + shares * (following - self.azimuth)[columns]
        return Edge(azimuth, levels, self.depth)


def rounded_edge(rim: Rim, radius: float, *, rounding: float, segments: int) -> Edge:
    """The edge of a wall of mean `radius` under `rim`, rounded with `rounding`, mm.

    At each depth the curve is the rim shrunk, on the unrolled wall, by the quarter circle's own inset: the
    edge is rounded along flanks as it is along the top. Every curve lies at least a hair inside the rim, the
    straight lines between columns included.
    """
    rim = lowered(rim)
    turn = np.linspace(0.0, math.pi / 2, ARC_POINTS) if rounding > 0 else np.array([math.pi / 2])
    depth = rounding * (1.0 - np.cos(turn))
    inset = rounding * (1.0 - np.sin(turn)) + HAIR
    azimuth = _columns(rim, radius, inset, segments)
    levels = np.stack([_shrunk(rim, azimuth, radius, float(value)) for value in inset], axis=1)
    azimuth, levels = _split(azimuth, levels, radius)

    # A straight edge across the wall between two columns is not straight in azimuth; lower it by the
    # difference. On a steep flank the difference is sideways, far less than the hair by which the flank was
    # drawn in.
    rise = np.abs(np.roll(levels[:, -1], -1) - levels[:, -1])
    wide = np.radians((np.roll(azimuth, -1) - azimuth) % 360.0) * radius > RAMP
    slack = np.where(wide, 0.3 * rise * ACROSS / radius, 0.0)
    levels = levels - np.maximum(slack, np.roll(slack, 1))[:, None]
    levels = np.minimum.accumulate(levels[:, ::-1], axis=1)[:, ::-1]
    if rounding > 0:
        depth[0] = -BESIDE
    return Edge(azimuth, levels, depth)


def lowered(rim: Rim) -> Rim:
    """`rim` itself, or where it has too many points, a rim of fewer points that is nowhere above it."""
    if len(rim.z) <= MOST_RIM_POINTS:
        return rim
    azimuth: Array = np.linspace(0.0, 360.0, MOST_RIM_POINTS, endpoint=False)
    every: Array = np.union1d(azimuth, np.asarray(rim.azimuth) % 360.0)
    cell = np.searchsorted(azimuth, every, side="right") - 1
    lowest = np.full(MOST_RIM_POINTS, np.inf)
    np.minimum.at(lowest, cell, rim.z_at(every))  # least within the cell that starts at each new point
    lowest = np.minimum(lowest, np.roll(rim.z_at(azimuth), -1))  # and at the cell's end
    return Rim.from_arrays(azimuth, np.minimum(lowest, np.roll(lowest, 1)))


def inset_rim(rim: Rim, radius: float, *, inset: float, segments: int = 720) -> tuple[Array, Array]:
    """The curve that lies `inset` mm inside `rim` on the unrolled wall of `radius` mm: azimuth (degrees) and z (mm)."""
    rim = lowered(rim)
    azimuth = _columns(rim, radius, np.array([inset]), segments)
    return azimuth, _shrunk(rim, azimuth, radius, inset)


def _columns(rim: Rim, radius: float, inset: Array, segments: int) -> Array:
    """Azimuths (degrees, ascending in [0, 360)): even ones, the rim's own, and more beside steep flanks.

    Beside a steep flank the curve that lies inset[j] inside the rim jumps at that distance from the flank, so
    a column stands just there for every j: the rounded edge is then drawn without terraces. One more column
    keeps the foot of the flank a hair away from it.
    """
    own = np.asarray(rim.azimuth) % 360.0
    order = np.argsort(own, kind="stable")
    own, z = own[order], np.asarray(rim.z)[order]
    gap = (np.roll(own, -1) - own) % 360.0
    rise = np.abs(np.roll(z, -1) - z)
    steep = rise > 2.0 * np.radians(gap) * radius
    ends = np.concatenate([own[steep], np.roll(own, -1)[steep]])[:, None]
    hair = np.degrees(np.array([-0.9, 0.9]) * HAIR / radius)
    rounds = np.degrees((inset + 2.0 * HAIR) / radius)
    even = np.linspace(0.0, 360.0, segments, endpoint=False)
    # The rim's own points and the columns at a hair must stay, or the made edge could rise above the rim.
    needed = np.concatenate([own, (ends + hair).ravel()]) % 360.0
    wanted = np.concatenate([even, (ends + rounds).ravel(), (ends - rounds).ravel()]) % 360.0
    every = np.unique(np.concatenate([needed, wanted]))
    apart = np.degrees(0.5 * HAIR / radius)
    keep = np.isin(every, needed) | np.concatenate([[True], np.diff(every) > apart])
    return np.asarray(every[keep])


def _shrunk(rim: Rim, azimuth: Array, radius: float, inset: float) -> Array:
    """z (n,) at `azimuth` of the curve that lies `inset` mm inside the rim, measured on the unrolled wall.

    The set under the rim is shrunk by a disc: the least of Z(s) - sqrt(inset^2 - s^2) over the disc's width. It is
    sought at even angles round the disc and at every point of the rim within it, so that no notch is missed.
    """
    along = inset * np.sin(np.linspace(-math.pi / 2, math.pi / 2, 33))
    below = np.sqrt(np.maximum(0.0, inset**2 - along**2))
    near = rim.z_at(azimuth[:, None] + np.degrees(along[None, :] / radius))
    least = np.min(near - below[None, :], axis=1)

    own, z = np.asarray(rim.azimuth), np.asarray(rim.z)
    own, z = np.concatenate([own - 360.0, own, own + 360.0]), np.tile(z, 3)
    half = math.degrees(inset / radius)
    first, last = np.searchsorted(own, azimuth - half), np.searchsorted(own, azimuth + half)
    for k in range(int(np.max(last - first, initial=0))):
        point = np.minimum(first + k, len(own) - 1)
        away = np.radians(own[point] - azimuth) * radius
        found = z[point] - np.sqrt(np.maximum(0.0, inset**2 - away**2))
        least = np.where(first + k < last, np.minimum(least, found), least)
    return np.asarray(least)


def _split(azimuth: Array, levels: Array, radius: float) -> tuple[Array, Array]:
    """Columns inserted, straight between their neighbours, where the top level rises too much in one.

    Columns close together are left alone: there the flank is steep and its edge has been drawn in already.
    """
    following = np.roll(azimuth, -1).copy()
    following[-1] += 360.0
    ahead = np.roll(levels, -1, axis=0)
    rise = np.abs(ahead - levels)[:, -1]
    wide = np.radians(following - azimuth) * radius > RAMP
    pieces = np.where(wide, np.maximum(1, np.ceil(rise / MOST_RISE)), 1).astype(int)
    start = np.repeat(np.arange(len(azimuth)), pieces)
    share = np.concatenate([np.arange(n) / n for n in pieces])
    split = azimuth[start] + share * (following - azimuth)[start]
    return split, levels[start] + share[:, None] * (ahead - levels)[start]


# --- the solid under the edge -------------------------------------------------------------------------------


def under_edge(
    edge: Edge, part: Part, *, near: float, reach: float, bottom: float, within: float = math.inf
) -> Any:
    """What may remain of one part of the wall: a solid ring from radius `near` to `reach`, up from z = `bottom`, mm.

    Its upper face lies on the edge's levels, at their depths from the part's inner and outer surface; beyond
    the wall it stays on the lowest level. `within` is the least radius (mm) at which anything stands inside the wall.
    """
    inner_bends, outer_bends = bends(part.inside), bends(part.outside)
    edge = edge.with_columns_at(tuple(sorted({*inner_bends, *outer_bends})))
    levels, depth = edge.levels, edge.depth
    inner = _surface_line(levels, depth, inner_bends, part.inner)
    outer = _surface_line(levels, -depth, outer_bends, part.outer)
    start, finish = inner[:, -1, :1], outer[:, -1, :1]
    share = np.linspace(0.0, 1.0, max(2, math.ceil(float(np.max(finish - start)) / ACROSS) + 1))[1:-1]
    flat = np.stack(np.broadcast_arrays(start + share * (finish - start), levels[:, -1:]), axis=2)
    low = levels[:, :1]
    corners = [_upright(near, low), _upright(reach, low)]
    floor = [_upright(reach, np.full_like(low, bottom)), _upright(near, np.full_like(low, bottom))]
    rows = max(0, math.ceil(float(np.max(inner[:, 0, 0])) - within) if math.isfinite(within) else 0)
    inwards = within + np.linspace(0.0, 1.0, rows + 1)[:-1] * (inner[:, :1, 0] - within)
    steps = np.stack(np.broadcast_arrays(inwards, low), axis=2)
    loops = np.concatenate([corners[0], steps, inner, flat, outer[:, ::-1], corners[1], *floor], axis=1)
    angle = np.radians(edge.azimuth)[:, None]
    radius, height = loops[:, :, 0], loops[:, :, 1]
    return _ring_of(np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=2))


def _upright(radius: float, z: Array) -> Array:
    """Points (columns, 1, 2) at one radius and the given z (columns, 1)."""
    return np.stack([np.full_like(z, radius), z], axis=2)


def _surface_line(levels: Array, depth: Array, turns: tuple[float, ...], radius_at: Callable[[Array], Array]) -> Array:
    """The rounded edge along one surface of the wall: radius and z (columns, points, 2), lowest level first.

    Between two levels the line follows the surface's own bends, at a depth that changes evenly with z; in a
    column where the two levels lie on one side of a bend, its point falls together with the nearer level's.
    """
    points = [np.stack([radius_at(levels[:, 0]) + depth[0], levels[:, 0]], axis=1)]
    for j in range(levels.shape[1] - 1):
        low, high = levels[:, j], levels[:, j + 1]
        previous, here = points[-1], np.stack([radius_at(high) + depth[j + 1], high], axis=1)
        for z in turns:
            between = (low < z) & (z < high)
            share = np.where(between, (z - low) / np.where(between, high - low, 1.0), 0.0)
            inside = depth[j] + share * (depth[j + 1] - depth[j])
            bend = np.stack([radius_at(np.full_like(low, z)) + inside, np.full_like(low, z)], axis=1)
            points.append(np.where(between[:, None], bend, np.where((z <= low)[:, None], previous, here)))
        points.append(here)
    return np.stack(points, axis=1)


def _ring_of(loops: Array) -> Any:
    """A solid ring through closed outlines (columns, points, 3), each clockwise in (radius, z)."""
    columns, points, _ = loops.shape
    place = np.arange(columns * points, dtype=np.uint64).reshape(columns, points)
    beside = np.roll(place, -1, axis=0)
    here, over = np.roll(place, -1, axis=1), np.roll(beside, -1, axis=1)
    quads = [np.stack([place, here, over], axis=2), np.stack([place, over, beside], axis=2)]
    return solid_of(loops.reshape(-1, 3), np.concatenate([quad.reshape(-1, 3) for quad in quads]))
