"""The rectangular tunnel: four lips of different depth, and what joins them to a round seat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from shadewright.make.kit import Kit
from shadewright.make.profile import GRID, HAIR
from shadewright.make.seat import (
    LEAST_WALL,
    LEDGE,
    Foot,
    Grip,
    Screw,
    cone_below,
    grip_bore,
    ring_section,
    roof,
    screw_core,
    stop_note,
    too_low,
    web_thickness,
)
from shadewright.make.section import FAR, area, band, united
from shadewright.model.shape import TunnelHood


@dataclass(frozen=True)
class Frame:
    """The tunnel's numbers, mm, on the file's grid, so that faces meant to lie in one plane do so exactly.

    `width` and `height` are half of the inside's, a hair wider; `depth` are the lips in the order right, top, left,
    bottom, a hair lower.
    """

    width: float
    height: float
    thickness: float
    rounding: float
    depth: tuple[float, float, float, float]

    @property
    def outside(self) -> tuple[float, float]:
        """Half-width and half-height over all."""
        return self.width + self.thickness, self.height + self.thickness

    @property
    def corner(self) -> float:
        """Distance of the outermost edge from the axis."""
        return math.hypot(*self.outside)


def frame_of(hood: TunnelHood, thickness: float, rounding: float) -> Frame:
    """The frame of a tunnel with walls of `thickness`, edges rounded with `rounding`, mm."""

    def up(value: float) -> float:
        return math.ceil(value / GRID) * GRID

    def down(value: float) -> float:
        return math.floor(value / GRID) * GRID

    rim = hood.rim
    right, top, left, bottom = (down(lip - HAIR) for lip in (rim.right, rim.top, rim.left, rim.bottom))
    return Frame(
        width=up(hood.wall.half_width + HAIR),
        height=up(hood.wall.half_height + HAIR),
        thickness=up(thickness),
        rounding=up(rounding),
        depth=(right, top, left, bottom),
    )


def lips(frame: Frame, *, bottom: float, kit: Kit) -> Any:
    """The four walls from z = `bottom` to their lips; a corner is as deep as the shallower of its two lips."""
    width, height, rounding = frame.width, frame.height, frame.rounding
    (wide, high), (right, top, left, low) = frame.outside, frame.depth
    overlap = 2.0 * rounding + 0.25
    parts = []
    for depth, sign in ((right, 1.0), (left, -1.0)):
        parts.append(kit.rounded_box(_span(width, wide, sign), (-height, height), (bottom, depth), rounding))
    for depth, sign in ((top, 1.0), (low, -1.0)):
        parts.append(kit.rounded_box((-width, width), _span(height, high, sign), (bottom, depth), rounding))
    for side, sx in ((right, 1.0), (left, -1.0)):
        for other, sy in ((top, 1.0), (low, -1.0)):
            z = (bottom, min(side, other))
            parts.append(kit.rounded_box(_span(width, wide, sx), _span(height - overlap, high, sy), z, rounding))
            parts.append(kit.rounded_box(_span(width - overlap, wide, sx), _span(height, high, sy), z, rounding))
    return kit.joined(parts)


def _span(near: float, far: float, sign: float) -> tuple[float, float]:
    """The interval between two distances from the axis, on the side of `sign`."""
    return (near, far) if sign > 0 else (-far, -near)


def _slab(kit: Kit, half_width: float, half_height: float, bottom: float, top: float) -> Any:
    """A box about the axis."""
    return kit.box((-half_width, half_width), (-half_height, half_height), (bottom, top))


def grip_tunnel(hood: TunnelHood, grip: Grip, thickness: float, rounding: float, *, kit: Kit) -> tuple[Any, Foot]:
    """The tunnel on a ring. Raises MakeError where a lip comes too low."""
    lowest = hood.rim.shallowest
    room = lowest - rounding
    if lowest < 0.0:
        raise too_low("ring seat", lowest, 0.0)
    web = web_thickness(thickness)
    frame = frame_of(hood, thickness, rounding)
    outside, corner, least = frame.outside, frame.corner, min(frame.width, frame.height)
    walls = lips(frame, bottom=-0.5 * min(web, grip.length), kit=kit)

    # Behind the seat plane: the ring, and a collar under what the ring does not carry, its underside at 45
    # degrees.
    parts = [walls, kit.turned(ring_section(grip)), _slab(kit, *outside, -min(web, grip.length), 0.0)]
    if corner > grip.outer and web < grip.length:
        depth = web + corner - grip.outer
        slope = area([(0.0, 0.5 - web), (corner, 0.5 - web), (corner, -web), (grip.outer, -depth), (0.0, -depth)])
        under = kit.turned(slope ^ band(0.0, FAR, -grip.length, FAR))
        parts.append(kit.common(_slab(kit, *outside, -grip.length, 1.0 - web), under))
    cuts = [grip_bore(grip)]

    # Ahead of it: a roof over what is inside the ring but outside the tunnel.
    step = grip.inner - least
    notes = [stop_note(step, grip.length)]
    top = 0.0
    if step > 0.0:
        if room < LEAST_WALL:
            raise too_low("seat wider than the tunnel", lowest, LEAST_WALL + rounding)
        ahead, top, cone, flat = _roof(frame, grip.inner - LEDGE, grip.outer, web, room, kit)
        parts.append(ahead)
        cuts += cone
        if flat and step > LEDGE:
            notes.append(_flat_note("inside", step))
    body = kit.cut(kit.joined(parts), [kit.turned(tool) for tool in cuts])
    return body, Foot((), (), (), top, tuple(notes))


def _roof(
    frame: Frame, ledge: float, outer: float, web: float, room: float, kit: Kit
) -> tuple[Any, float, list[Any], bool]:
    """The roof inside radius `outer`, less the tunnel: (solid, top outside, cuts, whether it is flat)."""
    least = min(frame.width, frame.height)
    hole = _slab(kit, frame.width, frame.height, -1.0, FAR)
    line = outer + web
    if line - least <= room and ledge > least:
        section = roof(0.8 * least, outer, web)
        return kit.cut(kit.turned(section), [hole]), line - least, [cone_below(ledge)], False
    low = min(web, room)
    return kit.cut(kit.turned(band(0.0, outer, 0.0, low)), [hole]), low, [], True


def screw_tunnel(
    hood: TunnelHood, screw: Screw, thickness: float, rounding: float, *, kit: Kit
) -> tuple[Any, Foot]:
    """The tunnel on a threaded seat, its teeth left out. Raises MakeError where a lip comes too low."""
    lowest = hood.rim.shallowest
    room = lowest - rounding
    if room < LEAST_WALL:
        raise too_low("threaded seat", lowest, LEAST_WALL + rounding)
    web = web_thickness(thickness)
    frame = frame_of(hood, thickness, rounding)
    outside, corner, least = frame.outside, frame.corner, min(frame.width, frame.height)
    walls = lips(frame, bottom=0.0, kit=kit)
    opening = area([(0.0, 0.0), (screw.bore, 0.0), (screw.bore + FAR, FAR), (0.0, FAR)])

    # A funnel from the bore out to the tunnel, or a flat flange where the lips leave no room for one.
    reach = max(corner - screw.face, 0.0)
    above = min(1.5 * thickness, screw.face - screw.bore)
    tall = reach + above
    notes: list[str] = []
    shell: list[Any]
    if tall <= room:
        beyond = screw.face + reach
        funnel = area([(0.0, 0.0), (screw.face, 0.0), (beyond, reach), (beyond, max(tall, web)), (0.0, max(tall, web))])
        hollow = area([(screw.bore, 0.0), (beyond, max(tall, web)), (beyond, FAR), (0.0, FAR), (0.0, 0.0)])
        shell = [kit.common(kit.turned(funnel - hollow), _slab(kit, *outside, 0.0, FAR))]
        outer_cuts = [area([(screw.face, 0.0), (screw.face + FAR, FAR), (screw.face + FAR, 0.0)])]
    else:
        web = min(web, room)
        # The hole reaches past both faces of the flange, or rounding could leave a skin over it.
        hole = united([opening ^ band(0.0, FAR, 0.0, web + 1.0), band(0.0, screw.bore, -1.0, 0.0)])
        shell = [kit.cut(_slab(kit, *outside, 0.0, web), [kit.turned(hole)])]
        outer_cuts = []
        if corner - screw.face > web:
            notes.append(_flat_note("outside", corner - screw.face))
    shell.append(kit.turned(band(0.0, screw.face, 0.0, web) - opening))
    shell.append(kit.turned(screw_core(screw)))

    cuts = outer_cuts
    top = max(reach, web)
    if least < screw.bore:
        ahead, above_roof, cone, flat = _roof(frame, screw.bore, screw.face, web, room, kit)
        top = max(top, above_roof)
        shell.append(ahead)
        cuts += cone
        if flat:
            notes.append(_flat_note("inside", screw.bore - least))
    body = kit.cut(kit.joined([walls, *shell]), [kit.turned(tool) for tool in cuts])
    return body, Foot((), (), (), top, tuple(notes))


def _flat_note(side: str, width: float) -> str:
    """The note for a flat underside that the lips leave no room to slope."""
    return (
        "The lips leave no room for a slope between seat and tunnel: the flat underside there, up to "
        f"{width:.1f} mm wide {side} the seat, needs support when printed seat down."
    )
