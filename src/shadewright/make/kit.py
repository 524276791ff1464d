"""The few operations that hoods are put together with, and how they are done on triangle meshes.

The same steps make the mesh that is printed and the exact solid of `exact`: both know these operations.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import manifold3d as m3
import numpy as np

from shadewright.make import section as flat
from shadewright.make.helix import threaded_rod
from shadewright.make.profile import Part
from shadewright.make.rim import rounded_edge, under_edge
from shadewright.make.seat import Screw, screw_envelope
from shadewright.model.shape import Array, Rim

CORNER_POINTS = 16
"""Points round a full turn of a rounded edge."""

Span = tuple[float, float]


@dataclass(frozen=True)
class Trim:
    """What cuts a round wall to its rim, mm: rounding of its edges, mean radius of the wall, and the space looked at.

    `within` is the least radius at which anything stands inside the wall; infinite where nothing does.
    """

    rim: Rim
    rounding: float
    middle: float
    near: float
    reach: float
    bottom: float
    within: float


class Kit(Protocol):
    """Operations on bodies in seat coordinates, mm. A section is a half-section in radius and z."""

    def turned(self, section: Any) -> Any:
        """The solid of revolution of a section."""

    def sector(self, section: Any, *, centre: float, half_angle: float) -> Any:
        """As `turned`, over `half_angle` degrees to either side of azimuth `centre` (degrees)."""

    def box(self, x: Span, y: Span, z: Span) -> Any:
        """A box with sharp edges."""

    def rounded_box(self, x: Span, y: Span, z: Span, rounding: float) -> Any:
        """A box with its upright edges and the edges of its top rounded, its foot flat."""

    def loft(self, rings: Array) -> Any:
        """The solid through convex outlines (rings, points, 3), each counter-clockwise seen from the last one."""

    def rod(self, x: Span, y: float, z: float, radius: float, *, sides: int | None = None) -> Any:
        """A bar along x through (y, z): round, or with `sides` corners at `radius`, one of them up."""

    def joined(self, bodies: Sequence[Any]) -> Any:
        """The union of bodies."""

    def cut(self, body: Any, tools: Sequence[Any]) -> Any:
        """`body` less every tool."""

    def common(self, first: Any, second: Any) -> Any:
        """What two bodies share."""

    def under_rim(self, parts: Sequence[tuple[Part, Any]], trim: Trim) -> Any:
        """The parts of a round wall turned and cut to the rim."""

    def teeth(self, screw: Screw) -> Any:
        """The thread of a seat, cut to length, hollow."""


@dataclass(frozen=True)
class MeshKit:
    """The operations on triangle meshes with `segments` facets round a full turn."""

    segments: int

    def turned(self, section: Any) -> Any:
        """Facets touch the circles from outside."""
        return flat.turned(section, self.segments)

    def sector(self, section: Any, *, centre: float, half_angle: float) -> Any:
        """The angle is rounded to whole facets."""
        return flat.sector(section, self.segments, centre=centre, half_angle=half_angle)

    def box(self, x: Span, y: Span, z: Span) -> Any:
        """A box with sharp edges."""
        return m3.Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))

    def rounded_box(self, x: Span, y: Span, z: Span, rounding: float) -> Any:
        """Outlines from the foot up: four arcs about the same four centres, at falling radius over the top."""
        if rounding < 0.01:
            return self.box(x, y, z)
        turn = np.linspace(0.0, math.pi / 2, CORNER_POINTS // 4 + 1)
        starts = np.array([0.0, 1.0, 2.0, 3.0]) * math.pi / 2
        angle = (starts[:, None] + turn[None, :]).ravel()
        cx = np.repeat([x[1] - rounding, x[0] + rounding, x[0] + rounding, x[1] - rounding], len(turn))
        cy = np.repeat([y[1] - rounding, y[1] - rounding, y[0] + rounding, y[0] + rounding], len(turn))
        rings = [(rounding, z[0])]
        rings += [(rounding * math.cos(h), z[1] - rounding + rounding * math.sin(h)) for h in turn[:-1]]
        rings.append((0.05 * rounding, z[1]))
        outlines = [
            np.stack([cx + radius * np.cos(angle), cy + radius * np.sin(angle), np.full_like(angle, level)], axis=1)
            for radius, level in rings
        ]
        return flat.loft(np.array(outlines))

    def loft(self, rings: Array) -> Any:
        """Two triangles between neighbouring points, fans at the ends."""
        return flat.loft(rings)

    def rod(self, x: Span, y: float, z: float, radius: float, *, sides: int | None = None) -> Any:
        """A round bar has 48 facets."""
        bar = m3.Manifold.cylinder(x[1] - x[0], radius, -1.0, sides or 48, True).rotate((0.0, 90.0, 0.0))
        return bar.translate(((x[0] + x[1]) / 2.0, y, z))

    def joined(self, bodies: Sequence[Any]) -> Any:
        """The union of meshes."""
        return flat.joined(list(bodies))

    def cut(self, body: Any, tools: Sequence[Any]) -> Any:
        """`body` less every tool."""
        return flat.cut(body, list(tools))

    def common(self, first: Any, second: Any) -> Any:
        """What two meshes share."""
        return first ^ second

    def under_rim(self, parts: Sequence[tuple[Part, Any]], trim: Trim) -> Any:
        """Every part is cut with a body made for its own inner and outer surface."""
        edge = rounded_edge(trim.rim, trim.middle, rounding=trim.rounding, segments=self.segments)
        pieces = []
        for part, section in parts:
            under = under_edge(edge, part, near=trim.near, reach=trim.reach, bottom=trim.bottom, within=trim.within)
            pieces.append(self.turned(section) ^ under)
        return self.joined(pieces)

    def teeth(self, screw: Screw) -> Any:
        """The thread itself, as one structured mesh cut to length."""
        rod = threaded_rod(screw.profile, bottom=-screw.length - 1.0, top=1.0, segments=self.segments)
        return rod ^ self.turned(screw_envelope(screw))
