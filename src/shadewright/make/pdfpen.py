"""Drawing on PDF pages in millimetres: text that the built-in fonts can show, lines, the check line."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from io import BytesIO

from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from shadewright.make.pieces import CHECK_TEXT, Align, one_line

POINTS = 72 / 25.4
"""Points in a millimetre."""
PLAIN, BOLD = "Helvetica", "Helvetica-Bold"
CAP = 0.718
"""Height of a capital of these fonts for size 1 (from the fonts' own metrics)."""
REPLACED = {
    "\u2212": "-",
    "\u2264": "<=",
    "\u2265": ">=",
    "\u2032": "'",
    "\u2033": '"',
    "\u03c6": "phi",
    "\u03c0": "pi",
}
CONTINUOUS: tuple[float, ...] = ()
CHAIN = (6.0, 1.2, 0.8, 1.2)
"""Centre lines: long dash, gap, dot, gap, mm."""


def drawable(text: str) -> str:
    """A text in characters of the built-in fonts: accents they lack are dropped, other signs become '?'."""
    found = []
    for character in one_line(text):
        if character in REPLACED:
            found.append(REPLACED[character])
            continue
        for candidate in (character, unicodedata.normalize("NFKD", character)):
            kept = "".join(c for c in candidate if not unicodedata.combining(c)) or "?"
            if _in_font(candidate):
                found.append(candidate)
                break
            if _in_font(kept):
                found.append(kept)
                break
        else:
            found.append("?")
    return "".join(found)


def _in_font(text: str) -> bool:
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


class Pen:
    """One PDF document: coordinates, widths and font sizes are in mm from the lower left of the page."""

    def __init__(self, title: str, subject: str) -> None:
        self._stream = BytesIO()
        # invariant: no date and no random identifier, so that the same drawing gives the same bytes.
        self._canvas = Canvas(self._stream, invariant=1, pageCompression=1)
        self._canvas.setTitle(one_line(title))
        self._canvas.setSubject(one_line(subject))
        self._canvas.setAuthor("")
        self._pages = 0

    def page(self, width: float, height: float) -> None:
        """Begin a page of this size."""
        if self._pages:
            self._canvas.showPage()
        self._pages += 1
        self._canvas.setPageSize((width * POINTS, height * POINTS))
        self._canvas.scale(POINTS, POINTS)
        self._canvas.setLineCap(0)
        self._canvas.setLineJoin(1)

    def finish(self) -> bytes:
        """The document."""
        self._canvas.save()
        return self._stream.getvalue()

    def clip(self, left: float, bottom: float, width: float, height: float) -> None:
        """Show only what falls in this rectangle, until `unclip`."""
        self._canvas.saveState()
        path = self._canvas.beginPath()
        path.rect(left, bottom, width, height)
        self._canvas.clipPath(path, stroke=0, fill=0)

    def unclip(self) -> None:
        """Show everything again."""
        self._canvas.restoreState()

    def lines(
        self,
        points: Iterable[tuple[float, float]],
        *,
        width: float = 0.25,
        dash: Sequence[float] = CONTINUOUS,
        closed: bool = False,
        grey: float = 0.0,
        fill: float | None = None,
    ) -> None:
        """Straight lines through points; `grey` from 0 (black) to 1, `fill` a grey to fill with."""
        corners = list(points)
        path = self._canvas.beginPath()
        path.moveTo(*corners[0])
        for corner in corners[1:]:
            path.lineTo(*corner)
        if closed:
            path.close()
        self._set(width, dash, grey)
        if fill is not None:
            self._canvas.setFillGray(fill)
        self._canvas.drawPath(path, stroke=1 if width > 0 else 0, fill=0 if fill is None else 1)

    def circle(
        self, x: float, y: float, radius: float, *, width: float = 0.25, dash: Sequence[float] = ()
    ) -> None:
        """A circle."""
        self._set(width, dash, 0.0)
        self._canvas.circle(x, y, radius, stroke=1, fill=0)

    def box(self, left: float, bottom: float, width: float, height: float, *, line: float = 0.25) -> None:
        """A rectangle."""
        corners = [
            (left, bottom),
            (left + width, bottom),
            (left + width, bottom + height),
            (left, bottom + height),
        ]
        self.lines(corners, width=line, closed=True)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 3.0,
        align: Align = Align.START,
        angle: float = 0.0,
        bold: bool = False,
        room: float | None = None,
        ground: bool = False,
    ) -> None:
        """A text of font size `size`, smaller where it would not fit `room`; `ground`: on a white ground."""
        shown, font = drawable(text), BOLD if bold else PLAIN
        wide = stringWidth(shown, font, size)
        if room is not None and wide > room:
            size *= room / wide
            wide = room
        offset = {Align.START: 0.0, Align.MIDDLE: -wide / 2, Align.END: -wide}[align]
        self._canvas.saveState()
        self._canvas.translate(x, y)
        self._canvas.rotate(angle)
        if ground:
            self._canvas.setFillGray(1.0)
            self._canvas.rect(offset - 0.4, -0.25 * size, wide + 0.8, 1.1 * size, stroke=0, fill=1)
        self._canvas.setFillGray(0.0)
        self._canvas.setFont(font, size)
        self._canvas.drawString(offset, 0.0, shown)
        self._canvas.restoreState()

    @staticmethod
    def width_of(text: str, size: float, *, bold: bool = False) -> float:
        """Width in mm of a text."""
        return float(stringWidth(drawable(text), BOLD if bold else PLAIN, size))

    def paragraph(
        self,
        x: float,
        y: float,
        text: str,
        *,
        width: float,
        size: float = 3.0,
        bold: bool = False,
        hang: float = 0.0,
    ) -> float:
        """A text broken to `width`, its first base line at y; returns the base line below the last row."""
        for k, row in enumerate(broken(text, width, size=size, bold=bold, hang=hang)):
            self.text(x + (hang if k else 0.0), y, row, size=size, bold=bold)
            y -= 1.3 * size
        return y

    def check_line(self, x: float, y: float) -> None:
        """A line of exactly 100 mm with ticks every 10 mm, and what it is for, above it."""
        self.lines([(x, y), (x + 100.0, y)], width=0.2)
        for k in range(11):
            tick = 2.0 if k % 10 == 0 else 1.0
            self.lines([(x + 10.0 * k, y - tick), (x + 10.0 * k, y + tick)], width=0.2)
        self.text(x, y + 3.2, CHECK_TEXT, size=2.8)

    def _set(self, width: float, dash: Sequence[float], grey: float) -> None:
        self._canvas.setLineWidth(width)
        self._canvas.setDash(list(dash))
        self._canvas.setStrokeGray(grey)


def broken(text: str, width: float, *, size: float, bold: bool = False, hang: float = 0.0) -> list[str]:
    """A text in rows no wider than `width` mm; rows after the first are indented by `hang`."""
    font = BOLD if bold else PLAIN
    rows: list[str] = []
    row = ""
    for word in drawable(text).split():
        for part in _parts(word, font, size, width - hang):
            longer = f"{row} {part}".strip()
            if row and stringWidth(longer, font, size) > width - (hang if rows else 0.0):
                rows.append(row)
                row = part
            else:
                row = longer
    return [*rows, row]


def _parts(word: str, font: str, size: float, width: float) -> list[str]:
    """A word, cut where it alone is wider than a row."""
    parts = [""]
    for character in word:
        if parts[-1] and stringWidth(parts[-1] + character, font, size) > width:
            parts.append("")
        parts[-1] += character
    return parts
