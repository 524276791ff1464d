"""Half-sections in the plane of radius and z, solids turned from them, and a few other building blocks.

Every radius is meant as the circle's own radius. A turned solid has flat facets; they are laid outside the
circle (touching it), so a hole is never smaller than asked, and an outside is larger by at most 0.004 % at
360 facets.
"""

from __future__ import annotations

import math
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from shadewright.model.shape import Array

Point = tuple[float, float]
FAR = 1000.0
"""A length beyond any hood, mm, for cutting bodies."""


def area(points: list[Point]) -> Any:
    """The closed polygon through `points` (radius, z) as a cross-section, whichever way round it is listed."""
    corners = np.asarray(points, dtype=float)
    x, y = corners[:, 0], corners[:, 1]
    twice = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return m3.CrossSection([corners if twice > 0 else corners[::-1]])


def band(inner: float, outer: float, bottom: float, top: float) -> Any:
    """The rectangle from `inner` to `outer` radius and from `bottom` to `top` z, mm."""
    return area([(inner, bottom), (outer, bottom), (outer, top), (inner, top)])


def united(parts: list[Any]) -> Any:
    """The union of cross-sections."""
    return m3.CrossSection.batch_boolean(parts, m3.OpType.Add)


def joined(parts: list[Any]) -> Any:
    """The union of solids."""
    return m3.Manifold.batch_boolean(parts, m3.OpType.Add)


def cut(body: Any, tools: list[Any]) -> Any:
    """`body` less every tool."""
    return m3.Manifold.batch_boolean([body, *tools], m3.OpType.Subtract) if tools else body


def turned(section: Any, segments: int) -> Any:
    """The solid of revolution of a half-section (radius, z), with facets that touch the circles from outside."""
    grow = 1.0 / math.cos(math.pi / segments)
    return m3.Manifold.revolve(section, segments).scale((grow, grow, 1.0))


def sector(section: Any, segments: int, *, centre: float, half_angle: float) -> Any:
    """As `turned`, over `half_angle` degrees to either side of azimuth `centre` (degrees).

    The angle is rounded to whole facets so that the facets lie where those of `turned` lie.
    """
    step = 360.0 / segments
    half = max(1, round(half_angle / step))
    start = round(centre / step) - half
    grow = 1.0 / math.cos(math.pi / segments)
    part = m3.Manifold.revolve(section, 2 * half, 2 * half * step)
    return part.rotate((0.0, 0.0, start * step)).scale((grow, grow, 1.0))


def solid_of(vertices: Array, faces: NDArray[np.uint64]) -> Any:
    """A manifold from vertices (n, 3) and faces (m, 3)."""
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces, dtype=np.uint64)))


def loft(rings: Array) -> Any:
    """The solid through convex outlines (rings, points, 3), each counter-clockwise seen from the last one."""
    levels, points, _ = rings.shape
    place = np.arange(levels * points).reshape(levels, points)
    beside = np.roll(place, -1, axis=1)
    a, b, c, d = place[:-1], beside[:-1], beside[1:], place[1:]
    fan = np.stack([np.zeros(points - 2, dtype=int), np.arange(1, points - 1), np.arange(2, points)], axis=1)
    faces = np.concatenate(
        [
            np.stack([a, b, c], axis=2).reshape(-1, 3), np.stack([a, c, d], axis=2).reshape(-1, 3),
            place[-1][fan], place[0][fan[:, ::-1]],
        ]
    )  # fmt: skip
    return solid_of(rings.reshape(-1, 3), faces.astype(np.uint64))
