"""What a drawing sheet is drawn with: half sections, hatching, dimensions, the projection symbol."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from manifold3d import CrossSection, FillRule

from shadewright.make.bands import wall_bands
from shadewright.make.pdfpen import CHAIN, Pen
from shadewright.make.pieces import Align
from shadewright.make.rings import ring_outline, rings_of
from shadewright.model.hood import FIT_PLAY, Hood, SeatKind
from shadewright.model.lens import thread_size
from shadewright.model.shape import Array, RoundHood, TunnelHood

THICK, MIDDLE, THIN = 0.5, 0.25, 0.13
"""Widths of cut outlines, visible edges and dimension lines, mm (the steps of ISO 128)."""
ARROW = 2.4
TEXT = 2.8
HATCH = 1.6
"""Distance of hatch lines on paper, mm."""

WEB, LEAST_RING, FACE = 1.6, 1.2, 1.5
"""As drawn: least web between wall and seat, least thickness of a ring, face round a thread, mm."""

Loop = list[tuple[float, float]]


@dataclass(frozen=True)
class SeatSize:
    """The seat as drawn, at nominal size: radii and length behind z = 0, mm.

    `known` tells whether the document gives its size; `face` is the radius of the face ahead of a thread,
    `root` that of its root, both 0 for a ring.
    """

    inside: float
    outside: float
    length: float
    known: bool
    face: float = 0.0
    root: float = 0.0


def seat_size(document: Hood, wall_radius: float) -> SeatSize:
    """The seat of a hood document; where its diameter is left out, the wall is drawn prolonged."""
    build = document.build
    thick = max(build.thickness, LEAST_RING)
    if build.seat is SeatKind.THREAD and build.thread is not None:
        diameter, pitch = thread_size(build.thread)
        # Depth of the external thread of the basic profile, 17/24 H with H = 0.866 P (ISO 68-1).
        root = diameter / 2 - 17 / 24 * math.sqrt(0.75) * pitch
        return SeatSize(root - thick, diameter / 2, build.seat_length, True, diameter / 2 + FACE, root)
    if build.seat is not SeatKind.THREAD and build.seat_diameter is not None:
        inside = (build.seat_diameter + FIT_PLAY[build.fit]) / 2
        return SeatSize(inside, inside + thick, build.seat_length, True)
    return SeatSize(wall_radius, wall_radius + build.thickness, build.seat_length, False)


def half_section(hood: RoundHood | TunnelHood, azimuth: float, document: Hood) -> list[Loop]:
    """Outlines in (z, r) mm of the half cut through at an azimuth (a multiple of 90 degrees), z forward.

    The wall's outside lies `thickness` further from the axis than its inside. Where the seat differs from the
    wall, a flat web joins them: behind the seat plane under a wider wall, else ahead of it. Vanes and ridges stand in
    from the wall up to the rim.
    """
    t = document.build.thickness
    first, top = inside_at(hood, azimuth, 0.0), rim_z(hood, azimuth)
    seat = seat_size(document, first)
    web = max(t, WEB)
    if isinstance(hood, TunnelHood):
        parts = [_rectangle(0.0, first, top, first + t)] if top > 0 else []
    else:
        parts = _wall_parts(hood, t, top) if top > 0 else []
    parts.append(_rectangle(-seat.length, seat.inside, min(0.0, top), seat.outside))
    out = max(first + t, seat.outside, seat.face)
    if seat.face > 0 or first + t - seat.inside < min(1.0, 0.75 * t):
        parts.append(_rectangle(0.0, min(first, seat.inside), min(web, max(top, 0.0)), out))
    elif first > seat.inside:
        parts.append(_rectangle(-web, seat.inside, min(0.0, top), out))
    joined = CrossSection([_upright(part) for part in parts if len(part) > 2], FillRule.NonZero)
    rings = rings_of(document, hood)
    if rings and isinstance(hood, RoundHood) and top > 0:
        outlines = [ring_outline(ring, hood.wall, into=0.5 * t) for ring in rings]
        standing = CrossSection([_upright([(z, r) for r, z in loop]) for loop in outlines], FillRule.NonZero)
        joined += standing ^ CrossSection([_upright(_rectangle(0.0, 0.0, top, out + hood.rim.deepest))])
    return [[(float(z), float(r)) for z, r in loop] for loop in joined.to_polygons()]


def _wall_parts(hood: RoundHood, thickness: float, top: float) -> list[Loop]:
    """The wall cut through from z = 0 to z = top: a part for each band, one for what carries each step."""
    bands = wall_bands(hood.wall, back=0.0, top=top)
    loops: list[Loop] = []
    for band in bands:
        loops.append(
            [
                (band.z0, band.r0),
                (band.z1, band.r1),
                (band.z1, band.r1 + thickness),
                (band.z0, band.r0 + thickness),
            ]
        )
    for band, following in pairwise(bands):
        z, r, rise = band.z1, band.r1, following.r0 - band.r1
        if rise > 1e-6:
            # A ledge with an underside at 45 degrees, as it can be printed.
            low, out = z - thickness, r + rise + thickness
            foot = low - rise
            loops.append([(z, r), (z, out), (low, out), (foot, r + thickness), (foot, r)])
        elif rise < -1e-6:
            loops.append(_rectangle(z, r + rise, min(z + thickness, top), r + thickness))
    return loops


def inside_at(hood: RoundHood | TunnelHood, azimuth: float, z: float) -> float:
    """Distance from the axis of the inside at z, in the direction of a multiple of 90 degrees, mm."""
    if isinstance(hood, TunnelHood):
        return hood.wall.half_height if round(azimuth / 90) % 2 else hood.wall.half_width
    return float(hood.wall.radius_at(z if z > 0 else 1e-9))


def rim_z(hood: RoundHood | TunnelHood, azimuth: float) -> float:
    """Depth of the rim at a multiple of 90 degrees, mm ahead of the seat plane."""
    if isinstance(hood, TunnelHood):
        rim = hood.rim
        return (rim.right, rim.top, rim.left, rim.bottom)[round(azimuth / 90) % 4]
    return float(hood.rim.z_at(azimuth))


def _rectangle(z0: float, r0: float, z1: float, r1: float) -> Loop:
    return [(z0, r0), (z1, r0), (z1, r1), (z0, r1)]


def _upright(loop: Loop) -> Array:
    """A loop as an array, counter-clockwise."""
    points = np.asarray(loop, dtype=float)
    z, r = points.T
    area = float(np.sum(z * np.roll(r, -1) - r * np.roll(z, -1)))
    return points if area > 0 else points[::-1].copy()


def hatch(pen: Pen, loops: Sequence[Loop], *, falling: bool = False) -> None:
    """Fill closed loops (paper mm) with lines at 45 degrees, by the even-odd rule."""
    turn = -math.pi / 4 if falling else math.pi / 4
    c, s = math.cos(turn), math.sin(turn)
    turned = [np.asarray(loop) @ np.array([[c, -s], [s, c]]) for loop in loops]  # turned back by `turn`
    if not turned:
        return
    low = min(float(loop[:, 1].min()) for loop in turned)
    high = max(float(loop[:, 1].max()) for loop in turned)
    for level in np.arange(math.floor(low / HATCH) * HATCH + HATCH / 2, high, HATCH):
        crossings: list[float] = []
        for loop in turned:
            a, b = loop, np.roll(loop, -1, axis=0)
            k = (a[:, 1] > level) != (b[:, 1] > level)
            share = (level - a[k, 1]) / (b[k, 1] - a[k, 1])
            crossings += list(a[k, 0] + share * (b[k, 0] - a[k, 0]))
        crossings.sort()
        for begin, end in zip(crossings[::2], crossings[1::2], strict=True):
            pen.lines([(x * c - level * s, x * s + level * c) for x in (begin, end)], width=THIN)


def arrow(pen: Pen, x: float, y: float, dx: float, dy: float) -> None:
    """A filled arrow head with its tip at (x, y), pointing along the unit vector (dx, dy)."""
    back_x, back_y = x - ARROW * dx, y - ARROW * dy
    wing = ARROW / 6
    corners = [(x, y), (back_x - wing * dy, back_y + wing * dx), (back_x + wing * dy, back_y - wing * dx)]
    pen.lines(corners, width=0.0, closed=True, fill=0.0)


def dimension(
    pen: Pen,
    begin: tuple[float, float],
    end: tuple[float, float],
    text: str,
    *,
    feet: tuple[float, float] | None = None,
) -> None:
    """A dimension line, upright or level, with arrow heads and its text above it or to its left.

    `feet`: where the witness lines start: x for an upright dimension, y for a level one, at begin and end.
    """
    upright = abs(begin[0] - end[0]) < 1e-9
    axis = 1 if upright else 0
    if begin[axis] > end[axis]:
        begin, end = end, begin
        feet = feet and (feet[1], feet[0])
    x, y = begin
    length = end[axis] - begin[axis]
    ux, uy = (0.0, 1.0) if upright else (1.0, 0.0)
    if feet is not None:
        for place, foot in zip((begin, end), feet, strict=True):
            beyond = math.copysign(1.5, place[1 - axis] - foot)
            gap = math.copysign(0.8, place[1 - axis] - foot)
            if upright:
                pen.lines([(foot + gap, place[1]), (place[0] + beyond, place[1])], width=THIN)
            else:
                pen.lines([(place[0], foot + gap), (place[0], place[1] + beyond)], width=THIN)
    inside = length > 3 * ARROW
    if inside:
        pen.lines([begin, end], width=THIN)
        arrow(pen, *begin, -ux, -uy)
        arrow(pen, *end, ux, uy)
    else:
        out = 2.2 * ARROW
        pen.lines([(x - out * ux, y - out * uy), (end[0] + out * ux, end[1] + out * uy)], width=THIN)
        arrow(pen, *begin, ux, uy)
        arrow(pen, *end, -ux, -uy)
    middle = ((begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2)
    if upright:
        pen.text(middle[0] - 0.9, middle[1], text, size=TEXT, align=Align.MIDDLE, angle=90.0, ground=True)
    elif pen.width_of(text, TEXT) <= length - 1.0:
        pen.text(middle[0], middle[1] + 0.9, text, size=TEXT, align=Align.MIDDLE)
    else:
        beyond = end[0] + (0.0 if inside else 2.2 * ARROW) + 1.0
        pen.text(beyond, middle[1] - TEXT / 3, text, size=TEXT)


def centre_line(pen: Pen, begin: tuple[float, float], end: tuple[float, float]) -> None:
    """A thin chain line."""
    pen.lines([begin, end], width=THIN, dash=CHAIN)


def third_angle(pen: Pen, x: float, y: float) -> None:
    """The symbol of third-angle projection (ISO 128): two circles, right of them a cone narrowing to them."""
    pen.circle(x - 6.0, y, 2.8, width=MIDDLE)
    pen.circle(x - 6.0, y, 1.5, width=MIDDLE)
    corners = [(x + 1.0, y - 1.5), (x + 7.5, y - 2.8), (x + 7.5, y + 2.8), (x + 1.0, y + 1.5)]
    pen.lines(corners, width=MIDDLE, closed=True)
    centre_line(pen, (x - 10.0, y), (x + 9.0, y))
    centre_line(pen, (x - 6.0, y - 3.6), (x - 6.0, y + 3.6))


def largest_outside(hood: RoundHood | TunnelHood, document: Hood) -> float:
    """Largest distance of the hood's outside from its axis in the two section planes, mm."""
    return max(
        r
        for azimuth in (0.0, 90.0, 180.0, 270.0)
        for loop in half_section(hood, azimuth, document)
        for _, r in loop
    )
