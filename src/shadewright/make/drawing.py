"""The drawing sheet of a hood for a workshop, as PDF: views, rim table, title block, texts and cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shadewright.errors import MakeError
from shadewright.files import write_whole
from shadewright.make.bands import wall_bands
from shadewright.make.draft import MIDDLE, THICK, THIN, largest_outside, rim_z, seat_size, third_angle
from shadewright.make.pdfpen import Pen, broken
from shadewright.make.pieces import Align
from shadewright.make.views import BESIDE, SIDES, Sheet, front_view, section
from shadewright.model.hood import Hood
from shadewright.model.shape import RoundHood, TunnelHood

WIDTH, HEIGHT = 297.0, 210.0
"""ISO 216 A4 on its side, mm."""
FRAME = 8.0
SCALES: tuple[tuple[int, int], ...] = ((2, 1), (1, 1), (1, 2), (1, 5), (1, 10), (1, 20), (1, 50))
"""Drawing scales of ISO 5455, largest first."""
BLOCK_WIDTH, BLOCK_HEIGHT = 152.0, 36.0
TOLERANCE = "\u00b10.3 mm, angles \u00b11\u00b0"
"""General tolerance of printed and hand-made parts (common practice, no source)."""
RIM_TOLERANCE = "+0 / -0.5 mm"
"""A rim may be lower than drawn, which costs shade, but not higher, which shows in the frame."""
CAUTIONS = (
    "Never aim a lens, a finder or your eye through either at the sun: focused sunlight burns and blinds.",
    "Ventilate when printing, cutting, painting or flocking; follow local rules for lasers and solvents.",
    "Check that the hood cannot fall off before it goes above people.",
)
HEAD_SIZE, ROW_SIZE, LINE, ROW_HEIGHT = 3.2, 2.7, 3.7, 4.1
"""Font sizes, distance of text rows and height of table rows, mm."""


def drawing_pdf(
    hood: RoundHood | TunnelHood,
    document: Hood,
    *,
    seat_text: str,
    made_for: str,
    warnings: Sequence[str],
    date: str,
) -> bytes:
    """The drawing sheet as a PDF of two A4 pages, more only where many warnings need them.

    seat_text: how the seat holds, in words; made_for: lens and camera; warnings: sentences to print; date: as
    it shall stand in the title block. Raises MakeError for a hood too large to draw.
    """
    scale = _scale(hood, document)
    pen = Pen(f"Drawing: {document.name}", "lens hood, drawing sheet, mm")
    sheet = Sheet(pen, hood, document, seat_text, made_for, date, scale)
    texts = _texts(sheet, warnings)
    pages = _laid_out(sheet, texts)
    total = 1 + len(pages)
    _first_page(sheet, f"1 of {total}")
    for number, page in enumerate(pages, start=2):
        _text_page(sheet, page, f"{number} of {total}", with_table=number == 2)
    return pen.finish()


def write_drawing(
    path: Path,
    hood: RoundHood | TunnelHood,
    document: Hood,
    *,
    seat_text: str,
    made_for: str,
    warnings: Sequence[str],
    date: str,
) -> Path:
    """Write the drawing sheet as PDF. Raises MakeError, FileError."""
    content = drawing_pdf(
        hood, document, seat_text=seat_text, made_for=made_for, warnings=warnings, date=date
    )
    return write_whole(path, content)


def _scale(hood: RoundHood | TunnelHood, document: Hood) -> tuple[int, int]:
    """The largest scale at which section and front view fit side by side."""
    length = hood.rim.deepest + document.build.seat_length
    across = 2 * largest_outside(hood, document)
    for scale in SCALES:
        factor = scale[0] / scale[1]
        wide = factor * length + 2 * BESIDE + factor * across + 40.0
        high = factor * across + 37.0
        if wide <= WIDTH - 2 * FRAME - 4.0 and high <= HEIGHT - 2 * FRAME - BLOCK_HEIGHT - 2.0:
            return scale
    raise MakeError(
        f"the hood measures {across:.0f} x {length:.0f} mm, too large for an A4 drawing at "
        f"{SCALES[-1][0]}:{SCALES[-1][1]}; check its units."
    )


def _first_page(sheet: Sheet, number: str) -> None:
    """Vertical section on the left, front view on the right (third angle), title block and seat below."""
    pen, f = sheet.pen, sheet.factor
    _begin(sheet, number)
    length = f * (sheet.hood.rim.deepest + sheet.behind)
    outside = f * largest_outside(sheet.hood, sheet.document)
    wide = length + 2 * BESIDE + 2 * outside + 40.0
    left = FRAME + 2.0 + (WIDTH - 2 * FRAME - 4.0 - wide) / 2
    middle = FRAME + BLOCK_HEIGHT + (HEIGHT - 2 * FRAME - BLOCK_HEIGHT) / 2 - 1.0
    section(sheet, left + BESIDE + f * sheet.behind, middle, (90.0, 270.0), "A-A", "vertical")
    front_view(sheet, left + length + 2 * BESIDE + 20.0 + outside, middle)
    texts = [sheet.seat_text]
    if not seat_size(sheet.document, 0.0).known:
        texts.append("The seat's diameter is not in the hood's document: it is drawn as the wall prolonged.")
    texts.append(
        "Wall and seat are drawn at nominal size, the web between them flat; a printed part may carry slopes "
        "and printer compensation."
    )
    texts.append("Sides and azimuths are named as seen from behind the camera: 0\u00b0 right, 90\u00b0 top.")
    y = FRAME + BLOCK_HEIGHT - 5.0
    pen.text(FRAME + 3.0, y, "Seat", size=HEAD_SIZE, bold=True)
    y -= 4.4
    room = WIDTH - 2 * FRAME - BLOCK_WIDTH - 8.0
    # A long seat text is set smaller, so that it stays inside the frame.
    size = 2.6
    while size > 1.6 and sum(len(broken(text, room, size=size)) for text in texts) * 1.3 * size > y - FRAME:
        size -= 0.1
    for text in texts:
        y = pen.paragraph(FRAME + 3.0, y, text, width=room, size=size)


def _begin(sheet: Sheet, number: str) -> None:
    """A page with its frame and title block."""
    sheet.pen.page(WIDTH, HEIGHT)
    sheet.pen.box(FRAME, FRAME, WIDTH - 2 * FRAME, HEIGHT - 2 * FRAME, line=THICK)
    _title_block(sheet, number)


def _title_block(sheet: Sheet, number: str) -> None:
    """Name, what it was made for, material, scale, units, projection, tolerances, date and sheet."""
    pen, build = sheet.pen, sheet.document.build
    x, y = WIDTH - FRAME - BLOCK_WIDTH, FRAME
    pen.box(x, y, BLOCK_WIDTH, BLOCK_HEIGHT, line=THICK)
    rows = (0.0, 8.0, 16.0, 25.0, BLOCK_HEIGHT)
    for level in rows[1:-1]:
        pen.lines([(x, y + level), (x + BLOCK_WIDTH, y + level)], width=MIDDLE)

    def cell(
        left: float, row: int, width: float, name: str, text: str, *, size: float = 3.2, bold: bool = False
    ) -> None:
        bottom, top = y + rows[row], y + rows[row + 1]
        if left > 0:
            pen.lines([(x + left, bottom), (x + left, top)], width=MIDDLE)
        pen.text(x + left + 1.2, top - 2.6, name, size=1.9)
        pen.text(x + left + 1.2, bottom + 1.6, text, size=size, bold=bold, room=width - 2.4)

    cell(0.0, 3, 114.0, "Lens hood", sheet.document.name, size=5.0, bold=True)
    cell(114.0, 3, 38.0, "Projection: third angle", "")
    third_angle(pen, x + 133.5, y + rows[3] + 3.9)
    cell(0.0, 2, 114.0, "Made for (in full on sheet 2)", _shortened(pen, sheet.made_for, 110.0), size=2.8)
    cell(114.0, 2, 38.0, "Rim depth, tolerance", RIM_TOLERANCE)
    material = f"opaque, wall {build.thickness:g} mm; inside blackened or flocked"
    cell(0.0, 1, 76.0, "Material", material, size=2.8)
    cell(76.0, 1, 38.0, "General tolerance", TOLERANCE)
    cell(114.0, 1, 38.0, "Units", "mm")
    cell(0.0, 0, 38.0, "Scale", f"{sheet.scale[0]}:{sheet.scale[1]}", bold=True)
    cell(38.0, 0, 38.0, "Date", sheet.date)
    cell(76.0, 0, 38.0, "Seat", build.seat.value)
    cell(114.0, 0, 38.0, "Sheet", number)


def _shortened(pen: Pen, text: str, width: float) -> str:
    if pen.width_of(text, 2.8) <= width:
        return text
    while text and pen.width_of(text + " ...", 2.8) > width:
        text = text[:-1]
    return text.rstrip() + " ..."


@dataclass(frozen=True)
class _Row:
    """A row of text on a later page; `head` in bold."""

    text: str
    head: bool = False
    hang: float = 0.0


def _texts(sheet: Sheet, warnings: Sequence[str]) -> list[_Row]:
    """Everything that stands in words, in order."""
    rows = [_Row("Wall", head=True), _Row(_wall_text(sheet.hood))]
    rows += [_Row("Made for", head=True), _Row(sheet.made_for or "not stated")]
    rows += [_Row("Cautions", head=True), *(_Row(text) for text in CAUTIONS)]
    rows += [_Row("Estimates and warnings", head=True)]
    rows += [_Row(f"{k}. {text}", hang=4.0) for k, text in enumerate(warnings, start=1)] or [_Row("None.")]
    if sheet.document.notes:
        rows += [_Row("Notes", head=True), _Row(sheet.document.notes)]
    return rows


def _wall_text(hood: RoundHood | TunnelHood) -> str:
    """The inside of the wall in words."""
    if isinstance(hood, TunnelHood):
        w, h = 2 * hood.wall.half_width, 2 * hood.wall.half_height
        return f"Rectangular tunnel, inside {w:.2f} wide and {h:.2f} high."
    parts = []
    for band in wall_bands(hood.wall, back=0.0, top=max(hood.rim.deepest, 0.1)):
        size = f"\u00d8 {2 * band.r0:.2f}" + ("" if band.is_tube else f" to \u00d8 {2 * band.r1:.2f}")
        parts.append(f"{size} from z {band.z0:.2f} to {band.z1:.2f}")
    return "Inside " + "; ".join(parts) + "."


@dataclass(frozen=True)
class _Box:
    """A column for text on a page: left edge, first base line, width and lowest base line, mm."""

    left: float
    top: float
    width: float
    bottom: float


@dataclass(frozen=True)
class _Placed:
    """A row of text at its place."""

    x: float
    y: float
    text: str
    bold: bool


def _table_box(sheet: Sheet) -> _Box:
    """Where the rim table stands on the second page: right of the horizontal section."""
    length = sheet.factor * (sheet.hood.rim.deepest + sheet.behind)
    left = FRAME + 2.0 + length + 2 * BESIDE + 4.0
    return _Box(left, HEIGHT - FRAME - 7.0, WIDTH - FRAME - 3.0 - left, FRAME + BLOCK_HEIGHT + 4.0)


def _boxes(sheet: Sheet, page: int) -> list[_Box]:
    """The text columns of a page; the second page holds the section and the rim table too."""
    beside = _Box(FRAME + 3.0, FRAME + BLOCK_HEIGHT - 4.5, WIDTH - 2 * FRAME - BLOCK_WIDTH - 8.0, FRAME + 2.5)
    if page == 2:
        table = _table_box(sheet)
        under = table.top - _table_height(sheet, table) - 4.0
        return [_Box(table.left, under, table.width, table.bottom), beside]
    half = (WIDTH - 2 * FRAME - 14.0) / 2
    top, bottom = HEIGHT - FRAME - 7.0, FRAME + BLOCK_HEIGHT + 4.0
    return [_Box(FRAME + 4.0 + k * (half + 6.0), top, half, bottom) for k in (0, 1)] + [beside]


def _laid_out(sheet: Sheet, rows: Sequence[_Row]) -> list[list[_Placed]]:
    """The rows broken and placed over the second and, where they need them, further pages."""
    pages: list[list[_Placed]] = [[]]
    boxes = _boxes(sheet, 2)
    y = boxes[0].top
    for row in rows:
        size = HEAD_SIZE if row.head else ROW_SIZE
        need = 3 * LINE if row.head else 0.0
        pending = broken(row.text, boxes[0].width, size=size, bold=row.head, hang=row.hang)
        while pending:
            if y - need < boxes[0].bottom:
                left_over = " ".join(pending)
                boxes.pop(0)
                if not boxes:
                    pages.append([])
                    boxes = _boxes(sheet, len(pages) + 1)
                y = boxes[0].top
                pending = broken(left_over, boxes[0].width, size=size, bold=row.head, hang=row.hang)
            need = 0.0
            text = pending.pop(0)
            is_first = row.hang == 0 or text.split(" ")[0] == row.text.split(" ")[0]
            pages[-1].append(_Placed(boxes[0].left + (0.0 if is_first else row.hang), y, text, row.head))
            y -= LINE
        y -= 0.0 if row.head else LINE * 0.35
    return pages


def _text_page(sheet: Sheet, placed: Sequence[_Placed], number: str, *, with_table: bool) -> None:
    """A later page: on the second the horizontal section and the rim table, on all of them text."""
    pen, f = sheet.pen, sheet.factor
    _begin(sheet, number)
    if with_table:
        middle = FRAME + BLOCK_HEIGHT + (HEIGHT - 2 * FRAME - BLOCK_HEIGHT) / 2 - 1.0
        section(sheet, FRAME + 2.0 + BESIDE + f * sheet.behind, middle, (180.0, 0.0), "B-B", "horizontal")
        _table(sheet, _table_box(sheet))
    for row in placed:
        pen.text(row.x, row.y, row.text, size=HEAD_SIZE if row.bold else ROW_SIZE, bold=row.bold)


def _table_rows(hood: RoundHood | TunnelHood) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and rows of the rim table: every 15 degrees for a round hood, the four lips for a tunnel."""
    found: list[tuple[str, ...]] = []
    if isinstance(hood, TunnelHood):
        rows: list[tuple[str, ...]]
        rows = [(name, f"{azimuth:.0f}", f"{rim_z(hood, azimuth):.2f}") for azimuth, name in SIDES]
        return ("lip", "azimuth \u00b0", "z mm"), rows
    for azimuth in range(0, 360, 15):
        z = float(hood.rim.z_at(azimuth))
        radius = float(hood.wall.radius_at(max(z, 1e-9)))
        found.append((f"{azimuth}", f"{z:.2f}", f"{2 * radius:.2f}"))
    return ("azimuth \u00b0", "z mm", "inside \u00d8 mm"), found


def _table_shape(sheet: Sheet, box: _Box) -> tuple[int, int]:
    """Blocks side by side, and rows of each."""
    count = len(_table_rows(sheet.hood)[1])
    blocks = 2 if box.width >= 96.0 and count > 4 else 1
    return blocks, math.ceil(count / blocks)


def _table_height(sheet: Sheet, box: _Box) -> float:
    return 5.0 + ROW_HEIGHT * (_table_shape(sheet, box)[1] + 1)


def _table(sheet: Sheet, box: _Box) -> None:
    """The rim table with its heading; z is measured from the seat plane."""
    pen = sheet.pen
    heads, rows = _table_rows(sheet.hood)
    blocks, per_block = _table_shape(sheet, box)
    pen.text(box.left, box.top, "Rim, z from the seat plane", size=HEAD_SIZE, bold=True)
    width = min((box.width - 6.0 * (blocks - 1)) / blocks, 56.0)
    column = width / len(heads)
    for block in range(blocks):
        left, top = box.left + block * (width + 6.0), box.top - 3.0
        part = rows[block * per_block : (block + 1) * per_block]
        for k, row in enumerate([heads, *part]):
            base = top - ROW_HEIGHT * (k + 1) + 1.2
            for m, text in enumerate(row):
                pen.text(left + column * (m + 1) - 2.0, base, text, size=2.6, align=Align.END, bold=k == 0)
        for k in range(len(part) + 2):
            level = top - ROW_HEIGHT * k
            pen.lines(
                [(left, level), (left + width, level)], width=MIDDLE if k in (0, 1, len(part) + 1) else THIN
            )
        bottom = top - ROW_HEIGHT * (len(part) + 1)
        for m in range(len(heads) + 1):
            pen.lines([(left + m * column, top), (left + m * column, bottom)], width=THIN)
