"""A flat template at true scale on sheets of office paper: a cover with a page map, then tiles to join."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np

from shadewright.errors import MakeError
from shadewright.files import write_whole
from shadewright.make.pdfpen import CAP, CHAIN, Pen, broken
from shadewright.make.pieces import CAUTIONS, Align, FlatTemplate, LineKind
from shadewright.model.shape import Array


class Paper(StrEnum):
    """Sizes of office paper: ISO 216 A4, and Letter (ANSI/ASME Y14.1, size A)."""

    A4 = "a4"
    LETTER = "letter"


SIZES: dict[Paper, tuple[float, float]] = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}
"""Width and height in mm, upright."""
SIDE, HEAD, FOOT = 12.0, 19.0, 31.0
"""Free edges of a page at the sides, above and below the printed field, mm."""
OVERLAP = 12.0
"""Width of the strip that neighbouring pages share, mm."""
PAD = 3.0
"""Free space round the template, mm."""
MOST_PAGES = 200
STYLES: dict[LineKind, tuple[float, tuple[float, ...]]] = {
    LineKind.CUT: (0.3, ()),
    LineKind.FOLD: (0.25, (4.0, 2.0)),
    LineKind.MARK: (0.18, CHAIN),
}
"""Width and dashes of each kind of line, mm."""


HOW_TO = (
    "Print all pages at 100 % (no scaling, no 'fit to page') and measure the 100 mm line on every page.",
    "Trim each page along the grey frame on two sides, lay it on its neighbour so that crosses with the same "
    "number meet, and tape or glue.",
)


@dataclass(frozen=True)
class Registration:
    """A cross printed on two neighbouring pages at the same place of the template, mm."""

    name: str
    x: float
    y: float
    pages: tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True)
class Tiling:
    """How a template is laid over pages: columns and rows counted from 1 at the upper left. All mm."""

    page_width: float
    page_height: float
    columns: int
    rows: int
    left: float
    bottom: float
    printed: tuple[tuple[int, int], ...]
    """(column, row) of the pages that hold something, row by row from the top."""

    @property
    def field(self) -> tuple[float, float]:
        """Width and height of the printed field of a page."""
        return self.page_width - 2 * SIDE, self.page_height - HEAD - FOOT

    def corner(self, column: int, row: int) -> tuple[float, float]:
        """Where on the template the lower left corner of a page's printed field lies."""
        width, height = self.field
        return self.left + (column - 1) * (width - OVERLAP), self.bottom + (self.rows - row) * (
            height - OVERLAP
        )


def tiling(template: FlatTemplate, paper: Paper) -> Tiling:
    """The arrangement, upright or lying, that prints on the fewest pages. Raises MakeError for too many."""
    short, long = SIZES[paper]
    ways = [_arranged(template, width, height) for width, height in ((short, long), (long, short))]
    best = min(ways, key=lambda way: len(way.printed))
    if len(best.printed) > MOST_PAGES:
        raise MakeError(
            f"the template of {template.width:.0f} x {template.height:.0f} mm would take {len(best.printed)} "
            f"pages, more than {MOST_PAGES}; use the SVG or DXF template on a plotter instead."
        )
    return best


def _arranged(template: FlatTemplate, page_width: float, page_height: float) -> Tiling:
    field = page_width - 2 * SIDE, page_height - HEAD - FOOT
    size = template.width + 2 * PAD, template.height + 2 * PAD
    counts = [
        max(1, math.ceil((s - OVERLAP) / (f - OVERLAP) - 1e-9)) for s, f in zip(size, field, strict=True)
    ]
    covered = [n * (f - OVERLAP) + OVERLAP for n, f in zip(counts, field, strict=True)]
    left, bottom = (-PAD - (c - s) / 2 for c, s in zip(covered, size, strict=True))
    whole = Tiling(page_width, page_height, counts[0], counts[1], left, bottom, ())
    points = _points(template)
    printed = tuple(
        (column, row)
        for row in range(1, counts[1] + 1)
        for column in range(1, counts[0] + 1)
        if _holds_something(template, points, whole.corner(column, row), field)
    )
    return Tiling(page_width, page_height, counts[0], counts[1], left, bottom, printed)


def _points(template: FlatTemplate) -> Array:
    """Points (n, 2) no further than 1 mm apart on all lines, and the places of the texts."""
    found = [np.array([[text.x, text.y] for text in template.text]).reshape(-1, 2)]
    for kind in LineKind:
        for line in template.lines(kind):
            corners = np.asarray(line.points + (line.points[:1] if line.closed else ()))
            lengths = np.hypot(*np.diff(corners, axis=0).T)
            along = np.concatenate([[0.0], np.cumsum(lengths)])
            places = np.linspace(0.0, along[-1], int(along[-1]) + 2)
            found.append(np.stack([np.interp(places, along, corners[:, axis]) for axis in (0, 1)], axis=1))
    return np.concatenate(found)


def _holds_something(
    template: FlatTemplate, points: Array, corner: tuple[float, float], field: tuple[float, float]
) -> bool:
    """True where a line or text falls into the field (grown by 1 mm), or it lies wholly inside a piece."""
    low = np.asarray(corner)
    if np.all((points > low - 1.0) & (points < low + np.asarray(field) + 1.0), axis=1).any():
        return True
    x, y = low + np.asarray(field) / 2
    crossings = 0
    for line in template.cut:
        a = np.asarray(line.points)
        b = np.roll(a, -1, axis=0)
        spans = (a[:, 1] > y) != (b[:, 1] > y)
        at = a[spans, 0] + (y - a[spans, 1]) / (b[spans, 1] - a[spans, 1]) * (b[spans, 0] - a[spans, 0])
        crossings += int(np.count_nonzero(at > x))
    return crossings % 2 == 1


def registrations(template: FlatTemplate, plan: Tiling) -> tuple[Registration, ...]:
    """Two crosses on every overlap that is printed on both of its pages, where they cover the least."""
    width, height = plan.field
    taken = np.concatenate([_points(template), *(text.middle_line() for text in template.text)])
    found: list[Registration] = []
    for column, row in plan.printed:
        x, y = plan.corner(column, row)
        upright = x + width - OVERLAP / 2, y, 0.0, height
        lying = x, y + OVERLAP / 2, width, 0.0
        for neighbour, (x0, y0, dx, dy) in (((column + 1, row), upright), ((column, row + 1), lying)):
            if neighbour not in plan.printed:
                continue
            for low, high in ((0.12, 0.42), (0.58, 0.88)):
                shares = np.linspace(low, high, 31)
                places = np.stack([x0 + shares * dx, y0 + shares * dy], axis=1)
                close = np.all((taken > places[0] - 10.0) & (taken < places[-1] + 10.0), axis=1)
                gaps = [np.hypot(*(taken[close] - place).T).min(initial=10.0) for place in places]
                free = np.asarray(gaps)
                # Beyond 8 mm more room is no gain: then the place nearest the middle of the stretch is taken.
                best = int(np.argmax(np.minimum(free, 8.0) - 0.5 * np.abs(shares - (low + high) / 2)))
                cross_x, cross_y = map(float, places[best])
                found.append(Registration(str(len(found) + 1), cross_x, cross_y, ((column, row), neighbour)))
    return tuple(found)


def paper_pdf(template: FlatTemplate, *, paper: Paper, label: str) -> bytes:
    """The template as a PDF: one cover page, then one page per tile. Raises MakeError for too many pages."""
    plan = tiling(template, paper)
    pen = Pen(f"Template: {label}", "flat template at true scale, mm")
    covers = _cover(pen, template, plan, label)
    crosses = registrations(template, plan)
    for number, page in enumerate(plan.printed, start=covers + 1):
        _tile(pen, template, plan, crosses, page, f"sheet {number} of {covers + len(plan.printed)}", label)
    return pen.finish()


def write_paper(path: Path, template: FlatTemplate, *, paper: Paper, label: str) -> Path:
    """Write the tiled template as PDF. Raises MakeError, FileError."""
    return write_whole(path, paper_pdf(template, paper=paper, label=label))


def _cover(pen: Pen, template: FlatTemplate, plan: Tiling, label: str) -> int:
    """Title, page map with the template in small, how to join, notes, cautions; returns its pages."""
    width, height = plan.page_width, plan.page_height
    pen.page(width, height)
    inner = width - 2 * SIDE
    pen.text(SIDE, height - 20.0, "FLAT TEMPLATE", size=7.0, bold=True)
    y = pen.paragraph(SIDE, height - 28.0, label, width=inner, size=4.2)
    facts = (
        f"scale 1:1, sheet {template.sheet_thickness:g} mm thick, template {template.width:.1f} x "
        f"{template.height:.1f} mm, {_count(len(template.pieces), 'piece')} on "
        f"{_count(len(plan.printed), 'page')} after the cover"
    )
    y = pen.paragraph(SIDE, y, facts, width=inner, size=3.0) - 1.0
    pen.lines([(SIDE, y + 1.5), (width - SIDE, y + 1.5)], width=0.35)
    pen.check_line(SIDE, 14.0)
    beside = width > height
    column = inner * 0.5 - 4.0 if beside else inner
    if beside:
        _map(pen, template, plan, (SIDE, 24.0, inner - column - 8.0, y - 28.0), None)
        left, text_y = width - SIDE - column, y - 5.0
    else:
        map_height = min(105.0, y - 150.0)
        _map(pen, template, plan, (SIDE, y - map_height - 3.0, inner, map_height), None)
        left, text_y = SIDE, y - map_height - 10.0
    pages = 1
    for k, text in enumerate((*HOW_TO, *template.notes, *CAUTIONS), start=1):
        if text_y - 3.8 * len(broken(text, column - 6.0, size=2.9)) < 20.0:
            pages += 1
            pen.page(width, height)
            pen.check_line(SIDE, 14.0)
            left, column, text_y = SIDE, inner, height - 20.0
        pen.text(left, text_y, f"{k}.", size=2.9)
        text_y = pen.paragraph(left + 6.0, text_y, text, width=column - 6.0, size=2.9) - 1.0
    return pages


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _map(
    pen: Pen,
    template: FlatTemplate,
    plan: Tiling,
    room: tuple[float, float, float, float],
    here: tuple[int, int] | None,
) -> None:
    """The pages as boxes with their column/row; on the cover (here is None) with the template in small."""
    left, bottom, width, height = room
    field_width, field_height = plan.field
    whole = plan.columns * (field_width - OVERLAP) + OVERLAP, plan.rows * (field_height - OVERLAP) + OVERLAP
    scale = min(width / whole[0], height / whole[1])
    x0 = left + (width - scale * whole[0]) / 2 if here is None else left + width - scale * whole[0]
    y0 = bottom + height - scale * whole[1] if here is None else bottom
    if here is None:
        for line in template.cut:
            points = [(x0 + scale * (x - plan.left), y0 + scale * (y - plan.bottom)) for x, y in line.points]
            pen.lines(points, width=0.2, closed=line.closed)
    for row in range(1, plan.rows + 1):
        for column in range(1, plan.columns + 1):
            x, y = plan.corner(column, row)
            corner = x0 + scale * (x - plan.left), y0 + scale * (y - plan.bottom)
            box = scale * field_width, scale * field_height
            printed = (column, row) in plan.printed
            corners = [(0.0, 0.0), (box[0], 0.0), box, (0.0, box[1])]
            pen.lines(
                [(corner[0] + dx, corner[1] + dy) for dx, dy in corners],
                width=0.5 if (column, row) == here else 0.12,
                dash=() if printed else (0.6, 0.6),
                closed=True,
                grey=0.0 if (column, row) == here else 0.45,
            )
            if here is None:
                name = f"{column}/{row}" if printed else f"{column}/{row} blank"
                pen.text(corner[0] + 1.5, corner[1] + box[1] - 4.2, name, size=3.0, bold=printed, ground=True)


def _tile(
    pen: Pen,
    template: FlatTemplate,
    plan: Tiling,
    crosses: Sequence[Registration],
    page: tuple[int, int],
    sheet: str,
    label: str,
) -> None:
    """One page: head line, its part of the template, registration crosses, check line, page map, cautions."""
    column, row = page
    width, height = plan.page_width, plan.page_height
    field_width, field_height = plan.field
    pen.page(width, height)
    x0, y0 = plan.corner(column, row)
    dx, dy = SIDE - x0, FOOT - y0
    pen.clip(SIDE, FOOT, field_width, field_height)
    for kind in LineKind:
        line_width, dash = STYLES[kind]
        for line in template.lines(kind):
            moved = [(x + dx, y + dy) for x, y in line.points]
            pen.lines(moved, width=line_width, dash=dash, closed=line.closed)
    for text in template.text:
        pen.text(
            text.x + dx, text.y + dy, text.text, size=text.height / CAP, align=text.align, angle=text.angle
        )
    pen.unclip()
    pen.lines(
        [
            (SIDE, FOOT),
            (SIDE + field_width, FOOT),
            (SIDE + field_width, FOOT + field_height),
            (SIDE, FOOT + field_height),
        ],
        width=0.12,
        closed=True,
        grey=0.6,
    )
    for cross in crosses:
        if page in cross.pages:
            _cross(pen, cross.x + dx, cross.y + dy, cross.name)
    pen.text(SIDE, height - 11.0, label, size=3.6, bold=True, room=width - 2 * SIDE - 62.0)
    pen.text(
        SIDE, height - 16.0, f"flat template, scale 1:1, sheet {template.sheet_thickness:g} mm", size=2.8
    )
    pen.text(
        width - SIDE, height - 11.0, f"page {column}/{row} (column/row)", size=3.6, bold=True, align=Align.END
    )
    pen.text(width - SIDE, height - 16.0, sheet, size=2.8, align=Align.END)
    pen.check_line(SIDE, 19.0)
    _map(pen, template, plan, (width - SIDE - 55.0, 9.0, 55.0, 19.0), page)
    y = 13.5
    for caution in CAUTIONS[:2]:
        pen.text(SIDE, y, caution, size=2.3, room=width - 2 * SIDE - 58.0)
        y -= 3.2


def _cross(pen: Pen, x: float, y: float, name: str) -> None:
    """A registration mark: a cross of 8 mm in a circle of 4 mm, with its number."""
    pen.lines([(x - 4.0, y), (x + 4.0, y)], width=0.15)
    pen.lines([(x, y - 4.0), (x, y + 4.0)], width=0.15)
    pen.circle(x, y, 2.0, width=0.15)
    pen.text(x + 2.3, y + 1.4, name, size=2.4)
