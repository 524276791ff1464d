"""The rays of a beam in one plane through the axis, and the hood's wall cut by it: what a section shows.

In the plane at an azimuth, u is the distance from the axis towards it, mm; all z are from the seat plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.shape import HoodShape, MeshHood, RoundHood, RoundWall, TunnelHood
from shadewright.optics.beam import Beam
from shadewright.optics.footprints import NORMALS, Footprints

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlaneRay:
    """A straight ray u = height + (z - start) slope, mm; `start` is the z of the front rim plane."""

    start: float
    height: float
    slope: float

    def u_at(self, z: Array | float) -> Array:
        """Distance from the axis (mm, signed) at z."""
        return np.asarray(self.height + (np.asarray(z, dtype=float) - self.start) * self.slope)


@dataclass(frozen=True)
class EdgeRays:
    """The rays of the frame's edge in the plane: the outermost and innermost that pass all windows, and the
    chief ray.

    The chief ray goes through the middle of the entrance pupil; `passes` is False where the windows leave
    nothing.
    """

    outer: PlaneRay
    inner: PlaneRay
    chief: PlaneRay
    passes: bool


def edge_slope(beam: Beam, azimuth: float) -> float:
    """The slope of the frame's edge towards `azimuth` (degrees). Raises OpticsError where it has none."""
    along = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))])
    furthest = -math.inf
    # A curved frame has many pieces, nearly all of them triangles: those alike are looked at together.
    for corners in {len(piece) for piece in beam.pieces}:
        pieces = np.stack([piece for piece in beam.pieces if len(piece) == corners])
        side = np.roll(pieces, -1, 1) - pieces
        outward = np.stack([side[..., 1], -side[..., 0]], axis=-1)
        room, rate = np.sum(outward * pieces, axis=-1), outward @ along
        # Inside means t rate <= room for every side of the convex piece.
        level = np.abs(rate) <= 1e-12
        ends = room / np.where(level, 1.0, rate)
        low = np.max(np.where(rate < -1e-12, ends, -math.inf), axis=1)
        high = np.min(np.where(rate > 1e-12, ends, math.inf), axis=1)
        met = (low <= high + 1e-12) & np.all(~level | (room >= -1e-12), axis=1)
        furthest = max(furthest, float(np.max(high[met], initial=-math.inf)))
    if not math.isfinite(furthest):
        raise OpticsError(
            f"the frame of {beam.label} has no edge towards {azimuth:g} degrees; choose another plane for "
            "the section."
        )
    return furthest


def edge_rays(beam: Beam, azimuth: float) -> EdgeRays:
    """The rays of the frame's edge towards `azimuth` (degrees), in that plane. Raises OpticsError.

    Each window is a disc; seen along the rays of one frame point it cuts an interval out of the front rim
    plane.
    """
    slope = edge_slope(beam, azimuth)
    if beam.footprints is not None:
        return traced_edge_rays(beam, beam.footprints, slope)
    along = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))])
    across = np.array([-along[1], along[0]])
    depth, radius = beam.windows[:, 0], beam.windows[:, 1]
    centre, aside = beam.windows[:, 2:] @ along, beam.windows[:, 2:] @ across
    if math.isfinite(beam.object_distance):
        # All rays meet in the object point, ahead of the front rim plane by `ahead` and at height `target`.
        ahead = beam.object_distance - depth[0]
        target, sideways = centre[0] + beam.object_distance * slope, aside[0]
        gain = 1.0 + depth / ahead
        middle = (depth * target / ahead + centre) / gain
        off = (depth * sideways / ahead + aside) / gain
        size = radius / np.abs(gain)
    else:
        ahead, target = math.inf, 0.0
        middle, off, size = centre + depth * slope, aside, radius
    half = np.sqrt(np.maximum(size**2 - off**2, 0.0))
    low, high = float(np.max(middle - half)), float(np.min(middle + half))

    def ray(height: float) -> PlaneRay:
        tilt = slope if math.isinf(ahead) else (target - height) / ahead
        return PlaneRay(beam.reach, height, tilt)

    chief = ray(float(middle[0]))
    return EdgeRays(ray(high), ray(low), chief, high > low and bool(np.all(size > np.abs(off))))


def traced_edge_rays(beam: Beam, footprints: Footprints, slope: float) -> EdgeRays:
    """The extreme rays of one slope of a traced lens, in the plane through the axis that holds the slope."""
    support = footprints.planes(np.array([slope]))[0]
    high, low = float(support[0]), -float(support[NORMALS // 2])
    passes = high > low
    depth = float(np.interp(slope, footprints.slope, np.nan_to_num(footprints.pupil, nan=footprints.depth)))

    def ray(height: float) -> PlaneRay:
        if math.isinf(footprints.distance):
            return PlaneRay(beam.reach, height, slope)
        target = slope * (footprints.distance + footprints.depth)
        return PlaneRay(beam.reach, height, (target - height) / footprints.distance)

    middle = depth * slope
    if math.isfinite(footprints.distance):
        target = slope * (footprints.distance + footprints.depth)
        middle = target * depth / (footprints.distance + depth)
    if not passes:
        high = low = middle
    return EdgeRays(ray(high), ray(low), ray(middle), passes)


def wall_cut(hood: RoundHood | TunnelHood, azimuth: float) -> Array:
    """The inside of the wall in the half-plane at `azimuth` (degrees): (n, 2) z and u to the rim, mm."""
    if isinstance(hood, TunnelHood):
        return _tunnel_cut(hood, azimuth)
    end = float(hood.rim.z_at(azimuth))
    start = 0.0 if hood.wall.is_tube else max(0.0, min(hood.wall.z[0], end))
    start = min(start, end)
    points = [(start, _radius(hood.wall, start))]
    previous = points[0]
    for z, radius in zip(hood.wall.z, hood.wall.radius, strict=True):
        if start < z < end:
            # On a step the wall goes straight outwards between two equal z.
            for level in (_radius(hood.wall, z), radius):
                if (z, level) != previous:
                    previous = (z, level)
                    points.append(previous)
    points.append((end, _radius(hood.wall, end)))
    return np.array(points, dtype=float)


def _radius(wall: RoundWall, z: float) -> float:
    return float(wall.radius_at(z))


def _tunnel_cut(hood: TunnelHood, azimuth: float) -> Array:
    cosine, sine = math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))
    to_side = hood.wall.half_width / abs(cosine) if abs(cosine) > 1e-12 else math.inf
    to_level = hood.wall.half_height / abs(sine) if abs(sine) > 1e-12 else math.inf
    side = hood.rim.right if cosine > 0 else hood.rim.left
    level = hood.rim.top if sine > 0 else hood.rim.bottom
    if abs(to_side - to_level) < 1e-9 * to_side:
        end = max(side, level)
    else:
        end = side if to_side < to_level else level
    away = min(to_side, to_level)
    return np.array([(min(0.0, end), away), (end, away)], dtype=float)


def mesh_cut(hood: MeshHood, azimuth: float) -> Array:
    """A mesh cut by the plane at `azimuth` and its opposite: pieces of line (n, 2, 2) of z and u, mm."""
    along = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth)), 0.0])
    across = np.array([-along[1], along[0], 0.0])
    corners = np.asarray(hood.vertices, dtype=float)[hood.faces]
    # A corner exactly in the plane counts as on its positive side, so that each triangle is cut in two places
    # or none.
    above = (corners @ across) >= 0.0
    cut = corners[above.any(axis=1) & ~above.all(axis=1)]
    places = np.empty((len(cut), 2, 2))
    for m, triangle in enumerate(cut):
        found = 0
        for a, b in zip(triangle, np.roll(triangle, -1, 0), strict=True):
            da, db = float(a @ across), float(b @ across)
            if (da >= 0) != (db >= 0):
                point = a + (b - a) * (da / (da - db))
                places[m, found] = point[2], point @ along
                found += 1
    return places


def depth_towards(hood: HoodShape, azimuth: float) -> float:
    """z (mm) at which the hood ends towards `azimuth` (degrees); of a mesh, its greatest z anywhere."""
    if isinstance(hood, MeshHood):
        return float(np.max(hood.vertices[:, 2]))
    return float(wall_cut(hood, azimuth)[-1, 0])
