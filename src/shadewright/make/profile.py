"""The wall of a round hood in half-section: inner surface, outer surface, and the parts between its steps."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np

from shadewright.make.section import Point, area, band, united
from shadewright.model.shape import Array, RoundWall

HAIR = 0.002
"""How far, in mm, made surfaces stay on the safe side of the ideal ones: more than the rounding of a file's
numbers and the merging of slivers can move them, and far less than any printer resolves."""
GRID = 2.0**-12
"""Spacing of the grid on which vertices lie, mm. A 32-bit number holds its multiples exactly up to 4096 mm."""
AHEAD = 1e-9
"""Just ahead of the seat plane, mm: the wall's radius there counts, also where a step lies at z = 0."""


@dataclass(frozen=True)
class Part:
    """A stretch of wall without steps: points (z, radius) of its inner and outer surface, mm, straight between."""

    inside: tuple[Point, ...]
    outside: tuple[Point, ...]

    def inner(self, z: Array) -> Array:
        """Inside radius at z, held constant beyond the part's ends, mm."""
        return np.asarray(np.interp(z, *np.transpose(self.inside)))

    def outer(self, z: Array) -> Array:
        """Outside radius at z, held constant beyond the part's ends, mm."""
        return np.asarray(np.interp(z, *np.transpose(self.outside)))


def bends(line: tuple[Point, ...]) -> tuple[float, ...]:
    """z of the points (z, radius) at which the line turns; before the first and after the last it is level."""
    z, radius = np.transpose(line)
    slope = np.concatenate([[0.0], np.diff(radius) / np.diff(z), [0.0]])
    return tuple(float(value) for value in z[np.abs(np.diff(slope)) > 1e-9])


def wall_line(wall: RoundWall, top: float) -> list[Point]:
    """The inner surface from z = 0 to z = `top` as points (z, radius), steps as two points at one z."""
    points = [(0.0, float(wall.radius_at(AHEAD)))]
    points += [(z, r) for z, r in zip(wall.z, wall.radius, strict=True) if 0.0 < z < top]
    points.append((top, float(wall.radius_at(top))))
    return points


def parts(wall: RoundWall, thickness: float, top: float) -> list[Part]:
    """The wall from z = 0 to `top` (mm), cut at its steps."""
    stretches: list[list[Point]] = [[]]
    for point in wall_line(wall, top):
        if stretches[-1] and point[0] == stretches[-1][-1][0]:
            stretches.append([])
        stretches[-1].append(point)
    around = outer_line(wall, thickness, top)
    z, radius = np.transpose(around)
    found = []
    for stretch in stretches:
        if len(stretch) < 2:
            continue
        start, end = stretch[0][0], stretch[-1][0]
        ends = np.interp([start, end], z, radius)
        between = [point for point in around if start < point[0] < end]
        found.append(Part(tuple(stretch), ((start, float(ends[0])), *between, (end, float(ends[1])))))
    return found


def outer_line(wall: RoundWall, thickness: float, top: float) -> list[Point]:
    """The outer surface from z = 0 to `top` as points (z, radius), z ascending: R(z) + thickness and its ledges.

    A step of the wall stands on a ledge, `thickness` high and reaching out as far as the wall ahead of it, with an
    underside that falls back to the wall at 45 degrees, or a little flatter where the wall itself flares.
    """
    inner = wall_line(wall, top)
    runs = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.pairwise(inner) if b[0] > a[0]]
    fall = max(1.0, max(runs) + 0.5)
    steps = [(b[0], b[1] + thickness) for a, b in itertools.pairwise(inner) if b[0] == a[0] and b[1] > a[1]]

    def candidates(z: float, side: float) -> list[float]:
        """Wall and ledges at z, seen from just behind (side < 0) or just ahead (side > 0)."""
        radius = [float(wall.radius_at(max(z + side * AHEAD, AHEAD))) + thickness]
        for z_step, out in steps:
            beyond = z > z_step or (z == z_step and side > 0)
            radius.append(0.0 if beyond else out - fall * max(0.0, z_step - thickness - z))
        return radius

    places = {z for z, _ in inner} | {z - thickness for z, _ in steps if z > thickness}
    for low, high in itertools.pairwise(sorted(places)):
        # Between these places wall and ledges are straight; the largest changes where two of them cross.
        before, after = candidates(low, 1.0), candidates(high, -1.0)
        for a, b in itertools.combinations(range(len(before)), 2):
            first, last = before[a] - before[b], after[a] - after[b]
            if first * last < 0.0:
                places.add(low + (high - low) * first / (first - last))
    return [(z, max(*candidates(z, -1.0), *candidates(z, 1.0))) for z in sorted(places)]


def outer_radius(wall: RoundWall, thickness: float, z: Array, *, top: float) -> Array:
    """Outside radius (mm) at z of the wall built up to `top`, ledges included."""
    return np.asarray(np.interp(z, *np.transpose(outer_line(wall, thickness, top))))


def part_section(part: Part, thickness: float) -> Any:
    """The half-section of a part; all but the first reach half a thickness back into the ledge they stand on."""
    line = [(r, z) for z, r in part.inside]
    section = area([*line, *reversed([(r, z) for z, r in part.outside])])
    start, radius = part.inside[0]
    if start == 0.0:
        return section
    return united([section, band(radius, radius + thickness, max(start - 0.5 * thickness, 0.0), start)])


def passage(wall: RoundWall, top: float) -> Any:
    """What must stay empty ahead of the seat plane: every radius below R(z), a hair more and a hair earlier."""
    line = [(r + HAIR, max(z - HAIR, 0.0)) for z, r in wall_line(wall, top)]
    return area([(0.0, 0.0), *line, (0.0, top - HAIR)])
