"""Vanes: flat rings in a round hood, set so that the glass sees no wall that light from the front reaches.

The two-edge construction (W. J. Smith, Modern Optical Engineering, 4th ed., ch. 9, fig. 9.6 and 9.7): the line from the
far edge of the entrance over a vane's edge meets the wall where that vane's shadow ends; the line from the far edge of the
glass to that place crosses the line of vane edges where the next vane must stand. In round hoods the lines in a plane
through the axis are the worst: for a line past two circles its distance from the axis grows fastest there. On a wall that
widens forward the construction holds as it does in a tube: the place that a vane hides worst from the glass is still the
end of the shadow, since (W(z) + a) / z falls with z.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.keepout import KeepOut
from shadewright.errors import LightError
from shadewright.light.scene import Vane
from shadewright.model.shape import RoundWall

Array = NDArray[np.float64]

MOST_VANES = 200
"""More rings than anyone cuts; ridges are cut in the wall instead."""
LEAST_DEPTH = 0.2
"""A vane shallower than this hides nothing that a rough wall does not, mm (common practice, no source)."""
CLOSEST = 0.5
"""Vanes nearer to each other than this cannot be put in, mm (common practice, no source)."""
SECTION_STEP = 2.0
"""Degrees between the azimuths at which the keep-out's section is measured."""


@dataclass(frozen=True)
class EdgeLine:
    """The line on which the edges of vanes stand: radius (mm) growing straight from z = near to z = far (mm)."""

    near: float
    near_radius: float
    far: float
    far_radius: float

    def radius_at(self, z: float) -> float:
        """Radius of the clear opening at z, mm."""
        return self.near_radius + (z - self.near) * self.slope

    @property
    def slope(self) -> float:
        """Growth of the radius for each mm forward."""
        return (self.far_radius - self.near_radius) / (self.far - self.near)


@dataclass(frozen=True)
class VaneLayout:
    """Where vanes stand, from the front rearwards. Lengths in mm, z ahead of the seat plane.

    wall_radius: (n,) of the wall where each stands. shadow_end: (n,) how far back each shadow reaches on the wall.
    glass_radius and glass_z: the glass that they were laid out for.
    complete: True where no lit wall behind the foremost vane is seen from the glass.
    crowded: the closest spacing that the construction asks for where vanes were set further apart instead; else None.
    """

    vanes: tuple[Vane, ...]
    wall_radius: tuple[float, ...]
    shadow_end: tuple[float, ...]
    complete: bool
    glass_radius: float
    glass_z: float
    crowded: float | None = None

    @property
    def closest(self) -> float:
        """Spacing of the two vanes nearest to each other, mm; infinite for one vane."""
        return min((a.z - b.z for a, b in pairwise(self.vanes)), default=math.inf)

    @property
    def depth(self) -> float:
        """Height of the deepest vane above the wall, mm."""
        return max(w - v.inner_radius for w, v in zip(self.wall_radius, self.vanes, strict=True))


def lay_out_vanes(
    wall: RoundWall, edges: EdgeLine, *, glass_radius: float, glass_z: float, front: float, last: float | None = None,
    spread: float | None = None,
) -> VaneLayout:  # fmt: skip
    """Vanes from `front` (mm ahead of the seat plane) rearwards by the two-edge construction.

    wall: a tube, or a cone that widens forward; it must be straight between the glass and `front`. glass_radius and
    glass_z: the front glass, mm. last: no vane further back than this; left out, the glass. spread: where the construction
    wants two vanes closer than this, mm, they stand so far apart, and the layout is not complete. Raises LightError.
    """
    last = glass_z if last is None else last
    _require(wall, edges, glass_radius=glass_radius, glass_z=glass_z, front=front)
    wall_slope = float(wall.radius_at(front) - wall.radius_at(glass_z + 1e-9)) / (front - glass_z)
    entrance = edges.radius_at(front)
    places, ends, crowded = [front], [front], math.inf
    while len(places) < MOST_VANES:
        following = _next_vane(wall, edges, ends[-1], wall_slope, glass_radius=glass_radius, glass_z=glass_z)
        if spread is not None and places[-1] - following < spread:
            crowded, following = min(crowded, places[-1] - following), places[-1] - spread
        if following <= max(last, glass_z) + 1e-9 or places[-1] - following < CLOSEST:
            break
        places.append(following)
        ends.append(max(glass_z, _shadow_end(wall, edges, following, front, entrance, wall_slope)))
        if ends[-1] <= glass_z + 1e-9:
            break
    radius = [float(wall.radius_at(z)) for z in places]
    # What is left ahead of the glass is hidden when the shadow of the last vane reaches the glass.
    spaced = math.isfinite(crowded)
    return VaneLayout(
        tuple(Vane(z, edges.radius_at(z)) for z in places), tuple(radius), tuple(ends),
        ends[-1] <= glass_z + 1e-9 and not spaced, glass_radius, glass_z, crowded if spaced else None,
    )  # fmt: skip


def _shadow_end(
    wall: RoundWall, edges: EdgeLine, z: float, front: float, entrance: float, wall_slope: float
) -> float:
    """Where the line from the far edge of the entrance over a vane's edge meets the wall."""
    edge = edges.radius_at(z)
    rise = (edge + entrance) / (front - z)
    return z - (float(wall.radius_at(z)) - edge) / (rise + wall_slope)


def _next_vane(
    wall: RoundWall, edges: EdgeLine, end: float, wall_slope: float, *, glass_radius: float, glass_z: float
) -> float:
    """Where the line from the far edge of the glass to the end of a shadow crosses the line of edges."""
    away = end - glass_z
    if away <= 1e-9:
        return glass_z
    rise = (float(wall.radius_at(end)) + glass_radius) / away
    # -glass_radius + rise (z - glass_z) = edges.radius_at(z)
    return (glass_radius + rise * glass_z + edges.near_radius - edges.slope * edges.near) / (rise - edges.slope)


def _require(
    wall: RoundWall, edges: EdgeLine, *, glass_radius: float, glass_z: float, front: float
) -> None:
    """Refuse what the construction does not hold for."""
    if front - glass_z < 1.0:
        raise LightError(
            f"vanes: the hood ends {front - glass_z:.1f} mm ahead of the glass, too little for vanes; make it longer."
        )
    # The first and last segments of a wall go on beyond its ends, so that only inner points bend it.
    inner = [z for z in wall.z[1:-1] if glass_z + 1e-6 < z < front - 1e-6]
    if inner:
        raise LightError(
            f"vanes: the wall bends or steps {inner[0]:g} mm ahead of the seat; vanes are laid out in a tube or a cone only."
        )
    near, far = float(wall.radius_at(glass_z + 1e-9)), float(wall.radius_at(front))
    if far < near - 1e-9:
        raise LightError("vanes: the wall narrows forward; vanes are laid out in a tube or in a cone that widens only.")
    for z, radius in ((glass_z, near), (front, far)):
        edge = edges.radius_at(z)
        if edge <= 0 or radius - edge < LEAST_DEPTH:
            raise LightError(
                f"vanes: at {z:.1f} mm ahead of the seat there are {radius - edge:.2f} mm between their edges and the wall, "
                f"less than {LEAST_DEPTH:g} mm; make the hood wider."
            )
    if edges.slope < -1e-12:
        raise LightError("vanes: their edges must not close in forward; give the far edge a radius of at least the near one.")
    if glass_radius >= near:
        raise LightError(
            f"vanes: the glass, {2 * glass_radius:g} mm across, is not narrower than the wall there; check the wall."
        )


def clear_radius(keepout: KeepOut, z: float) -> float:
    """Radius (mm) of the smallest circle about the axis that the keep-out's section at z lies within."""
    azimuth = np.arange(0.0, (90.0 if keepout.mirrored else 360.0) + SECTION_STEP, SECTION_STEP)
    outermost = 20.0 * (abs(z) + max(beam.front_radius for beam in keepout.beams) + 10.0)
    section = keepout.section(z, azimuth, outermost=outermost).value
    best = int(np.argmax(section))
    # A corner between two azimuths: looked at more closely.
    fine = azimuth[best] + np.linspace(-SECTION_STEP, SECTION_STEP, 41)
    return float(np.max(keepout.section(z, fine, outermost=outermost).value))


def clear_edges(keepout: KeepOut, *, near: float, far: float, room: float = 0.1) -> EdgeLine:
    """The narrowest straight line of edges that stays `room` mm outside the keep-out between two z, mm.

    A ray's distance from the axis is convex in z, and so is the greatest of all rays': a chord stays outside.
    """
    return EdgeLine(near, clear_radius(keepout, near) + room, far, clear_radius(keepout, far) + room)


def straight_edges(keepout: KeepOut, *, near: float, far: float, room: float = 0.1) -> EdgeLine:
    """Edges all of one opening, as wide as the widest place of the keep-out needs."""
    widest = max(clear_radius(keepout, near), clear_radius(keepout, far)) + room
    return EdgeLine(near, widest, far, widest)


def standing_in_beam(keepout: KeepOut, vanes: Sequence[Vane], *, edge: float = 0.0) -> list[Vane]:
    """Those vanes whose opening the keep-out touches: none for a clear hood.

    edge: how far each edge goes on behind the vane's z, mm. The keep-out's width is convex in z, so its ends count.
    """
    return [
        vane for vane in vanes
        if max(clear_radius(keepout, z) for z in {vane.z, vane.z - edge}) > vane.inner_radius + 1e-6
    ]  # fmt: skip


def ridges(
    wall: RoundWall, *, pitch: float, height: float, near: float, front: float
) -> tuple[Vane, ...]:
    """Sharp ridges of one height on the wall, `pitch` mm apart from `front` rearwards to `near`. Raises LightError."""
    count = math.floor((front - near) / pitch + 1e-9) + 1 if pitch > 0 else 0
    if not 1 <= count <= 10 * MOST_VANES:
        raise LightError(
            f"ridges: a pitch of {pitch:g} mm over {front - near:g} mm does not give 1 to {10 * MOST_VANES}; change it."
        )
    places = front - pitch * np.arange(count)
    return tuple(Vane(float(z), float(wall.radius_at(float(z))) - height) for z in places)


def hidden_from_glass(
    layout: VaneLayout, wall: RoundWall, *, glass_radius: float, glass_z: float, samples: int = 400
) -> float:
    """Largest share of the wall behind the foremost vane that is both lit from the front and seen from the glass.

    An independent look along lines in planes through the axis: 0 for a complete layout.
    """
    front = layout.vanes[0].z
    z = glass_z + (np.arange(samples) + 0.5) / samples * (front - glass_z)
    radius = np.array([float(wall.radius_at(float(v))) for v in z])
    lit = _open_lines(layout.vanes, z, radius, front, layout.vanes[0].inner_radius)
    seen = _open_lines(layout.vanes, z, radius, glass_z, glass_radius)
    return float(np.mean(lit & seen))


def _open_lines(
    vanes: Sequence[Vane], z: Array, radius: Array, other: float, opening: float
) -> NDArray[np.bool_]:
    """Whether any line joins wall points (z, radius) to the disc of radius `opening` at z = other, past all vanes."""
    places = np.linspace(-opening, opening, 201)
    found = np.zeros(len(z), bool)
    for k, (zk, rk) in enumerate(zip(z, radius, strict=True)):
        clear = np.ones(len(places), bool)
        for vane in vanes:
            if min(zk, other) < vane.z < max(zk, other):
                share = (vane.z - other) / (zk - other)
                clear &= np.abs(places + share * (rk - places)) < vane.inner_radius
        found[k] = bool(np.any(clear))
    return found


__all__ = [
    "EdgeLine", "Vane", "VaneLayout", "clear_edges", "clear_radius", "hidden_from_glass", "lay_out_vanes", "ridges",
    "standing_in_beam", "straight_edges",
]  # fmt: skip
