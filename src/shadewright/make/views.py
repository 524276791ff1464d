"""The views of a drawing sheet: sections through the axis with their dimensions, and the front view."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.make.draft import (
    MIDDLE,
    TEXT,
    THICK,
    THIN,
    Loop,
    arrow,
    centre_line,
    dimension,
    half_section,
    hatch,
    inside_at,
    largest_outside,
    rim_z,
    seat_size,
)
from shadewright.make.pdfpen import Pen
from shadewright.make.pieces import Align
from shadewright.make.rings import rings_of
from shadewright.model.hood import Hood, SeatKind
from shadewright.model.shape import RoundHood, TunnelHood

BESIDE = 31.0
"""Room for upright dimensions on each side of a section, mm."""
SIDES = ((0.0, "right"), (90.0, "top"), (180.0, "left"), (270.0, "bottom"))


@dataclass(frozen=True)
class Sheet:
    """What every page of one drawing shares."""

    pen: Pen
    hood: RoundHood | TunnelHood
    document: Hood
    seat_text: str
    made_for: str
    date: str
    scale: tuple[int, int]

    @property
    def factor(self) -> float:
        """Millimetres on paper for one of the hood."""
        return self.scale[0] / self.scale[1]

    @property
    def behind(self) -> float:
        """How far the seat reaches behind the seat plane, mm."""
        return self.document.build.seat_length


def section(sheet: Sheet, x: float, y: float, azimuths: tuple[float, float], name: str, plane: str) -> None:
    """A section through the axis with z to the right; (x, y) on paper is the axis at the seat plane.

    `azimuths`: of the half drawn above and of the half drawn below the axis.
    """
    pen, hood, f = sheet.pen, sheet.hood, sheet.factor
    for azimuth, up in zip(azimuths, (1.0, -1.0), strict=True):
        loops: list[Loop] = [
            [(x + f * z, y + up * f * r) for z, r in loop]
            for loop in half_section(hood, azimuth, sheet.document)
        ]
        hatch(pen, loops)
        for loop in loops:
            pen.lines(loop, width=cut_width(sheet), closed=True)
    _beyond(sheet, x, y, azimuths)
    reach = f * largest_outside(hood, sheet.document)
    deepest = f * hood.rim.deepest
    centre_line(pen, (x - f * sheet.behind - 4.0, y), (x + deepest + 4.0, y))
    pen.lines([(x, y - reach - 3.0), (x, y + reach + 3.0)], width=THIN, dash=(2.0, 1.0))
    pen.text(x - 1.0, y + reach + 1.2, "z = 0", size=2.2, align=Align.END)
    ahead = x + deepest + 6.0
    arrow(pen, ahead, y, 1.0, 0.0)
    pen.text(ahead - 1.4, y + 1.6, "z", size=2.6, align=Align.MIDDLE)
    pen.text(x, y + reach + 14.5, f"{name}  ({plane} section)", size=3.6, bold=True, align=Align.MIDDLE)
    _section_dimensions(sheet, x, y, azimuths, reach)


def cut_width(sheet: Sheet) -> float:
    """Width of cut outlines, mm: thinner where the wall would otherwise become one black line."""
    return THICK if sheet.factor * sheet.document.build.thickness > 1.2 else MIDDLE


def _beyond(sheet: Sheet, x: float, y: float, azimuths: tuple[float, float]) -> None:
    """What is seen behind the cutting plane: the far half of the rim, steps of the wall, ends of the seat."""
    pen, hood, f = sheet.pen, sheet.hood, sheet.factor
    seat = seat_size(sheet.document, inside_at(hood, azimuths[0], 0.0))
    if isinstance(hood, TunnelHood):
        far = 180.0 if azimuths[0] == 90.0 else 270.0
        up, down = (inside_at(hood, a, 0.0) for a in azimuths)
        corners = [(rim_z(hood, azimuths[0]), up), (rim_z(hood, far), up), (rim_z(hood, far), -down)]
        corners.append((rim_z(hood, azimuths[1]), -down))
        pen.lines([(x + f * z, y + f * v) for z, v in corners], width=MIDDLE)
        levels: list[tuple[float, float]] = [(0.0, inside_at(hood, azimuths[0], 0.0))]
    else:
        turn = np.linspace(0.0, 180.0, 721)
        z = hood.rim.z_at(azimuths[0] + turn)
        radius = hood.wall.radius_at(np.maximum(z, 1e-9))
        v = radius * np.cos(np.radians(turn))
        pen.lines([(x + f * a, y + f * b) for a, b in zip(z, v, strict=True)], width=MIDDLE)
        levels = _edges(hood)
        rings = rings_of(sheet.document, hood)
        for level, size, width in [(*edge, MIDDLE) for edge in levels] + [(r.z, r.inner_radius, THIN) for r in rings]:
            for run in _runs(z > level + 1e-6):
                edge = size * np.cos(np.radians(turn[run]))
                pen.lines([(x + f * level, y + f * edge[0]), (x + f * level, y + f * edge[-1])], width=width)
    back = x - f * seat.length
    pen.lines([(back, y + f * seat.inside), (back, y - f * seat.inside)], width=MIDDLE)
    if abs(seat.inside - levels[0][1]) > 1e-6:
        inner = min(seat.inside, levels[0][1])
        pen.lines([(x, y + f * inner), (x, y - f * inner)], width=MIDDLE)
    if seat.root > 0:
        for up in (1.0, -1.0):
            pen.lines([(back, y + up * f * seat.root), (x, y + up * f * seat.root)], width=THIN)


def _edges(hood: RoundHood) -> list[tuple[float, float]]:
    """Circles seen as edges inside the wall: (z, radius) at z = 0 and wherever its direction changes, mm."""
    z, radius = np.asarray(hood.wall.z), np.asarray(hood.wall.radius)
    run, rise = np.diff(z), np.diff(radius)
    bends = np.abs(run[:-1] * rise[1:] - run[1:] * rise[:-1]) > 1e-9
    edges = [(0.0, float(hood.wall.radius_at(1e-9)))]
    for k in np.flatnonzero(bends) + 1:
        if 1e-6 < z[k] < hood.rim.deepest - 1e-6:
            edges.append((float(z[k]), float(radius[k])))
    return edges


def _runs(seen: NDArray[np.bool_], *, least: int = 2) -> list[slice]:
    """Stretches of True values that hold at least `least` of them."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a >= least]


def _section_dimensions(
    sheet: Sheet, x: float, y: float, azimuths: tuple[float, float], reach: float
) -> None:
    """Depths above and below, the seat on the left, the wall on the right."""
    pen, hood, f, t = sheet.pen, sheet.hood, sheet.factor, sheet.document.build.thickness
    top, bottom = rim_z(hood, azimuths[0]), rim_z(hood, azimuths[1])
    names = dict(SIDES)
    level = y + reach + 7.0
    feet = y + f * (inside_at(hood, azimuths[0], max(top, 0.0)) + t)
    dimension(
        pen, (x, level), (x + f * top, level), f"{top:.2f} {names[azimuths[0]]}", feet=(y + reach, feet)
    )
    level = y - reach - 7.0
    feet = y - f * (inside_at(hood, azimuths[1], max(bottom, 0.0)) + t)
    dimension(
        pen, (x, level), (x + f * bottom, level), f"{bottom:.2f} {names[azimuths[1]]}", feet=(y - reach, feet)
    )
    first = inside_at(hood, azimuths[0], 0.0)
    seat = seat_size(sheet.document, first)
    back = x - f * seat.length
    foot = y - f * seat.outside
    level = y - reach - 14.0
    dimension(pen, (back, level), (x, level), f"{seat.length:g} seat", feet=(foot, y - reach - 7.0))
    sign = "\u00d8 " if isinstance(hood, RoundHood) else ""
    thread = sheet.document.build.thread if sheet.document.build.seat is SeatKind.THREAD else None
    if thread and seat.known:
        _across(pen, back - 7.0, y, f * seat.outside, f"{thread} thread", back)
    elif seat.known:
        _across(pen, back - 7.0, y, f * seat.inside, f"\u00d8 {2 * seat.inside:.2f} seat inside", back)
    if not seat.known or abs(first - seat.inside) > 0.005:
        place = back - (7.0 if not seat.known else 14.0)
        _across(pen, place, y, f * first, f"{sign}{2 * first:.2f} inside, z = 0", x)
    # On the right: inside and outside where both halves still reach.
    end = max(0.0, min(top, bottom))
    inside = inside_at(hood, azimuths[0], end)
    right = x + f * hood.rim.deepest
    where = "" if isinstance(hood, TunnelHood) or hood.wall.is_tube else f", z = {end:.1f}"
    _across(pen, right + 12.0, y, f * inside, f"{sign}{2 * inside:.2f} inside{where}", x + f * end)
    outside = inside + t
    _across(pen, right + 20.0, y, f * outside, f"{sign}{2 * outside:.2f} outside{where}", x + f * end)


def _across(pen: Pen, place: float, y: float, half: float, text: str, foot: float) -> None:
    """An upright dimension at x = place, across the axis."""
    dimension(pen, (place, y - half), (place, y + half), text, feet=(foot, foot))


def front_view(sheet: Sheet, x: float, y: float) -> None:
    """The hood seen from the subject: the camera's right is on the left of the drawing."""
    pen, hood, f, t = sheet.pen, sheet.hood, sheet.factor, sheet.document.build.thickness
    if isinstance(hood, TunnelHood):
        w, h = hood.wall.half_width, hood.wall.half_height
        for more in (0.0, t):
            size = 2 * f * (w + more), 2 * f * (h + more)
            pen.box(x - size[0] / 2, y - size[1] / 2, *size, line=cut_width(sheet))
        reach = f * (max(w, h) + t)
        smallest = min(w, h)
    else:
        turn = np.linspace(0.0, 360.0, 721)
        inner = hood.wall.radius_at(np.maximum(hood.rim.z_at(turn), 1e-9))
        for curve in (inner, inner + t):
            u, v = -curve * np.cos(np.radians(turn)), curve * np.sin(np.radians(turn))
            points = [(x + f * a, y + f * b) for a, b in zip(u, v, strict=True)]
            pen.lines(points, width=cut_width(sheet), closed=True)
        reach = f * largest_outside(hood, sheet.document)
        if reach > f * float((inner + t).max()) + 0.05:
            pen.circle(x, y, reach, width=MIDDLE)
        smallest = float(inner.min())
        for _, radius in _edges(hood):
            if radius < smallest - 1e-6:
                pen.circle(x, y, f * radius, width=MIDDLE)
                smallest = radius
        # From the front, of all the rings only those narrower than what stands ahead of them are seen.
        for ring in rings_of(sheet.document, hood):
            if ring.inner_radius < smallest - 1e-6:
                pen.circle(x, y, f * ring.inner_radius, width=THIN)
                smallest = ring.inner_radius
    seat = seat_size(sheet.document, smallest)
    if seat.inside < smallest - 1e-6:
        pen.circle(x, y, f * seat.inside, width=MIDDLE)
    centre_line(pen, (x - reach - 5.0, y), (x + reach + 5.0, y))
    centre_line(pen, (x, y - reach - 5.0), (x, y + reach + 5.0))
    pen.text(x, y + reach + 14.5, "Front view (from the subject)", size=3.6, bold=True, align=Align.MIDDLE)
    _planes(pen, x, y, reach)
    _side_labels(sheet, x, y, f * min(smallest, seat.inside))
    if isinstance(hood, RoundHood) and hood.rim.deepest - hood.rim.shallowest > 0.05:
        _lowest(pen, hood, (x, y), f, reach)


def _planes(pen: Pen, x: float, y: float, reach: float) -> None:
    """Where the sections are cut and which way they are seen: thick ends, arrows, letters."""
    for end in (1.0, -1.0):
        foot = y + end * (reach + 4.0)
        pen.lines([(x, foot), (x, foot + end * 4.0)], width=THICK)
        pen.lines([(x - 6.0, foot + end * 4.0), (x, foot + end * 4.0)], width=THIN)
        arrow(pen, x, foot + end * 4.0, 1.0, 0.0)
        pen.text(x - 8.6, foot + end * 4.0 - 1.2, "A", size=3.6, bold=True)
        side = x + end * (reach + 4.0)
        pen.lines([(side, y), (side + end * 4.0, y)], width=THICK)
        pen.lines([(side + end * 4.0, y + 6.0), (side + end * 4.0, y)], width=THIN)
        arrow(pen, side + end * 4.0, y, 0.0, -1.0)
        pen.text(side + end * 4.0, y + 7.0, "B", size=3.6, bold=True, align=Align.MIDDLE)


def _side_labels(sheet: Sheet, x: float, y: float, smallest: float) -> None:
    """Side, azimuth and depth of the rim at the four sides, inside the narrowest circle (paper mm)."""
    pen, hood = sheet.pen, sheet.hood
    if smallest < 12.0:
        return
    for azimuth, name in SIDES:
        u, v = -round(math.cos(math.radians(azimuth))), round(math.sin(math.radians(azimuth)))
        align = {0: Align.MIDDLE, -1: Align.START, 1: Align.END}[u]
        place_x, place_y = x + u * (smallest - 1.5), y + v * (smallest - 5.8)
        pen.text(place_x, place_y + 0.8, f"{name} {azimuth:.0f}\u00b0", size=TEXT, align=align, ground=True)
        pen.text(place_x, place_y - 2.9, f"z {rim_z(hood, azimuth):.2f}", size=TEXT, align=align, ground=True)


def _lowest(pen: Pen, hood: RoundHood, place: tuple[float, float], f: float, reach: float) -> None:
    """A tick across the rim at its lowest points, their azimuths outside and their depth in the middle."""
    x, y = place
    turn = np.union1d(np.arange(0.0, 360.0, 0.25), np.asarray(hood.rim.azimuth) % 360.0)
    least = hood.rim.shallowest
    is_low = hood.rim.z_at(turn) < least + 0.01
    # Each stretch of lowest points, counted from a place above them, is marked in its middle.
    begin = int(np.flatnonzero(~is_low)[0])
    lowest = [
        float(turn[begin] + (turn[run.start] + turn[run.stop - 1]) / 2) % 360.0
        for run in _runs(np.roll(is_low, -begin), least=1)
    ]
    if len(lowest) > 8:
        return
    radius = f * float(hood.wall.radius_at(max(least, 1e-9)))
    for angle in lowest:
        u, v = -math.cos(math.radians(angle)), math.sin(math.radians(angle))
        pen.lines(
            [
                (x + u * (radius - 2.0), y + v * (radius - 2.0)),
                (x + u * (reach + 2.0), y + v * (reach + 2.0)),
            ],
            width=THIN,
        )
        align = Align.END if u < 0 else Align.START
        pen.text(
            x + u * (reach + 3.0), y + v * (reach + 3.0) - 1.0, f"{angle:.1f}\u00b0", size=TEXT, align=align
        )
    if radius > 16.0:
        pen.text(x, y + 4.0, f"lowest z {least:.2f} at the ticks", size=TEXT, align=Align.MIDDLE, ground=True)
