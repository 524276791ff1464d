"""The wall of a round hood in half-section: inner surface, outer surface, and the parts between its steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from shadewright.make.section import FAR, Point, area, band, united
from shadewright.model.shape import Array, RoundWall

HAIR = 0.002
"""How far, in mm, made surfaces stay on the safe side of the ideal ones: more than the rounding of a file's
numbers and the merging of slivers can move them, and far less than any printer resolves."""
AHEAD = 1e-9
"""Just ahead of the seat plane, mm: the wall's radius there counts, also where a step lies at z = 0."""


@dataclass(frozen=True)
class Part:
    """A stretch of wall without steps: `z` and inside `radius`, mm, straight between.

    `ahead` is the inside radius beyond the step at its far end, None where it has none.
    """

    z: tuple[float, ...]
    radius: tuple[float, ...]
    ahead: float | None

    def inner(self, z: Array) -> Array:
        """Inside radius at z, held constant beyond the part's ends, mm."""
        return np.asarray(np.interp(z, self.z, self.radius))

    def outer(self, z: Array, thickness: float) -> Array:
        """Outside radius at z: inside radius and thickness, or the ledge that carries the next part, mm."""
        outside = self.inner(z) + thickness
        if self.ahead is None:
            return outside
        slope = self.ahead + thickness - np.maximum(0.0, self.z[-1] - thickness - z)
        return np.asarray(np.maximum(outside, slope))

    def inner_bends(self) -> tuple[float, ...]:
        """z of the bends of the inner surface, its ends among them where it slopes there, ascending, mm."""
        return _bends(np.asarray(self.z), np.asarray(self.radius))

    def outer_bends(self, thickness: float) -> tuple[float, ...]:
        """z of the bends of the outer surface, as `inner_bends`."""
        places = list(self.z)
        if self.ahead is not None:
            end = self.z[-1] - thickness
            places += [z for z in (end, end - (self.ahead - self.radius[-1])) if self.z[0] < z < self.z[-1]]
        z = np.unique(places)
        return _bends(z, self.outer(z, thickness))


def _bends(z: Array, radius: Array) -> tuple[float, ...]:
    """Those of the points z (n,) at which the line turns; before the first and after the last it is level."""
    slope = np.concatenate([[0.0], np.diff(radius) / np.diff(z), [0.0]])
    return tuple(float(value) for value in z[np.abs(np.diff(slope)) > 1e-9])


def wall_line(wall: RoundWall, top: float) -> list[Point]:
    """The inner surface from z = 0 to z = `top` as points (radius, z), steps as two points at one z."""
    points = [(float(wall.radius_at(AHEAD)), 0.0)]
    points += [(r, z) for z, r in zip(wall.z, wall.radius, strict=True) if 0.0 < z < top]
    points.append((float(wall.radius_at(top)), top))
    return points


def parts(wall: RoundWall, top: float) -> list[Part]:
    """The wall from z = 0 to `top` (mm), cut at its steps."""
    found: list[Part] = []
    stretch: list[Point] = []
    for point in wall_line(wall, top):
        if stretch and point[1] == stretch[-1][1]:
            if point[0] > stretch[-1][0] and len(stretch) > 1:
                found.append(_part(stretch, point[0]))
            stretch = [point]
        else:
            stretch.append(point)
    if len(stretch) > 1:
        found.append(_part(stretch, None))
    return found


def _part(points: list[Point], ahead: float | None) -> Part:
    return Part(tuple(z for _, z in points), tuple(r for r, _ in points), ahead)


def part_section(part: Part, thickness: float) -> Any:
    """The half-section of a part: the wall, and at its end the ledge that carries the next part.

    The ledge has an underside of 45 degrees.
    Every part but the first reaches half a thickness back into the ledge that carries it.
    """
    line = list(zip(part.radius, part.z, strict=True))
    outside = [(r + thickness, z) for r, z in line]
    pieces = [area([*line, *reversed(outside)])]
    start, end = part.z[0], part.z[-1]
    if start > 0.0:
        pieces.append(band(part.radius[0], part.radius[0] + thickness, start - 0.5 * thickness, start))
    if part.ahead is not None:
        behind, out = part.radius[-1], part.ahead + thickness
        foot = end - thickness - (part.ahead - behind)
        corners = [
            (behind, end),
            (out, end),
            (out, end - thickness),
            (behind + thickness, foot),
            (behind, foot),
        ]
        pieces.append(area(corners))
    return united(pieces) - band(0.0, FAR, -FAR, 0.0)


def outer_radius(wall: RoundWall, thickness: float, z: Array, *, top: float) -> Array:
    """Outside radius (mm) at z of the wall built up to `top`, ledges included."""
    outside = wall.radius_at(np.maximum(z, AHEAD)) + thickness
    for part in parts(wall, top):
        outside = np.where(z <= part.z[-1], np.maximum(outside, _ledge(part, thickness, z)), outside)
    return np.asarray(outside)


def _ledge(part: Part, thickness: float, z: Array) -> Array:
    """Outside radius of the ledge at the end of a part, mm; 0 where it has none."""
    if part.ahead is None:
        return np.zeros_like(z)
    return np.asarray(part.ahead + thickness - np.maximum(0.0, part.z[-1] - thickness - z))


def passage(wall: RoundWall, top: float) -> Any:
    """What must stay empty ahead of the seat plane: every radius below R(z), a hair more and a hair earlier."""
    line = [(r + HAIR, max(z - HAIR, 0.0)) for r, z in wall_line(wall, top)]
    return area([(0.0, 0.0), *line, (0.0, top - HAIR)])
