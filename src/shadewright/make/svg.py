"""A flat template as SVG 1.1 at true scale: user units are millimetres, one group per kind of line."""

from __future__ import annotations

import textwrap
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from shadewright.files import write_whole
from shadewright.make.pieces import CAUTIONS, CHECK_TEXT, FlatTemplate, LineKind, Polyline, TextMark, one_line

MARGIN = 10.0
HEAD = 14.0
LEAST_WIDTH = 190.0
"""The sheet is at least this wide, mm, so that the notes can be read."""
ROW = 4.2
GREY = "#606060"
"""Colour of texts, legend and check line: black is kept for lines to cut, as some cutters go by colour."""
STROKES: dict[LineKind, tuple[float, str, str]] = {
    LineKind.CUT: (0.3, "#000000", ""),
    LineKind.FOLD: (0.25, "#0000c0", "4 2"),
    LineKind.MARK: (0.18, "#007000", "6 1.5 1 1.5"),
}
"""Width in mm, colour and dashes in mm of each kind of line: they differ in dashes, not only in colour."""


def svg_bytes(template: FlatTemplate, *, label: str) -> bytes:
    """The template as an SVG document in UTF-8, with its label, legend, notes and a 100 mm check line."""
    width = max(template.width, LEAST_WIDTH)
    per_row = int(width / 1.55)
    texts = (*template.notes, *CAUTIONS)
    rows = [row for text in texts for row in textwrap.wrap(one_line(text), per_row)]
    base = MARGIN + HEAD + template.height
    height = base + 22.0 + ROW * len(rows) + MARGIN
    sheet_width = width + 2 * MARGIN
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(sheet_width)}mm" '
        f'height="{_n(height)}mm" viewBox="0 0 {_n(sheet_width)} {_n(height)}">',
        f"<title>{escape(one_line(label))}</title>",
        f"<desc>Flat template at true scale, units mm, sheet {template.sheet_thickness:g} mm thick.</desc>",
    ]
    for kind in LineKind:
        parts += _group(kind, template, MARGIN, base)
    parts += [f'<g id="text" font-family="sans-serif" fill="{GREY}" stroke="none">']
    parts += [_text(text, MARGIN, base) for text in template.text]
    parts += ["</g>", *_check_line(base + 8.0), *_legend(base + 15.0)]
    parts += [f'<g id="notes" font-family="sans-serif" fill="{GREY}" stroke="none">']
    parts += [_plain(MARGIN, MARGIN + 5.0, one_line(label), 5.5)]
    parts += [_plain(MARGIN, base + 22.0 + ROW * k, row, 3.1) for k, row in enumerate(rows)]
    parts += ["</g>", "</svg>"]
    return ("\n".join(parts) + "\n").encode("utf-8", errors="replace")


def write_svg(path: Path, template: FlatTemplate, *, label: str) -> Path:
    """Write the template as SVG. Raises FileError."""
    return write_whole(path, svg_bytes(template, label=label))


def _n(value: float) -> str:
    """A number with at most four decimals and no minus zero."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _style(kind: LineKind, *, colour: str | None = None) -> str:
    width, own, dashes = STROKES[kind]
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'fill="none" stroke="{colour or own}" stroke-width="{width:g}" stroke-linejoin="round"{dash}'


def _group(kind: LineKind, template: FlatTemplate, left: float, base: float) -> list[str]:
    """One layer; y is turned over, since SVG counts it downwards."""
    lines = [f'<path d="{_path(line, left, base)}"/>' for line in template.lines(kind)]
    return [f'<g id="{kind.value}" {_style(kind)}>', *lines, "</g>"]


def _path(line: Polyline, left: float, base: float) -> str:
    points = " L".join(f"{_n(left + x)},{_n(base - y)}" for x, y in line.points)
    return f"M{points}" + (" Z" if line.closed else "")


def _text(text: TextMark, left: float, base: float) -> str:
    """A text turned about its own place; capitals are about 0.72 of the font size high."""
    x, y = _n(left + text.x), _n(base - text.y)
    turn = f' transform="rotate({_n(-text.angle)} {x} {y})"' if abs(text.angle) > 1e-6 else ""
    look = f'font-size="{_n(text.height / 0.72)}" text-anchor="{text.align.value}"'
    return f'<text x="{x}" y="{y}" {look}{turn}>{escape(text.text)}</text>'


def _plain(x: float, y: float, text: str, size: float) -> str:
    return f'<text x="{_n(x)}" y="{_n(y)}" font-size="{size:g}">{escape(text)}</text>'


def _check_line(y: float) -> list[str]:
    """A line of 100 mm with end ticks and a tick each 10 mm."""
    ticks = "".join(
        f" M{_n(MARGIN + 10.0 * k)},{_n(y - (2 if k % 10 == 0 else 1))} V{_n(y + (2 if k % 10 == 0 else 1))}"
        for k in range(11)
    )
    return [
        f'<g id="check" fill="none" stroke="{GREY}" stroke-width="0.2">',
        f'<line id="check-line" x1="{_n(MARGIN)}" y1="{_n(y)}" x2="{_n(MARGIN + 100.0)}" y2="{_n(y)}"/>',
        f"<path d={quoteattr(ticks.strip())}/>",
        f'<text x="{_n(MARGIN + 103.0)}" y="{_n(y + 1.1)}" font-family="sans-serif" font-size="3.1" '
        f'fill="{GREY}" stroke="none">{escape(CHECK_TEXT)}</text>',
        "</g>",
    ]


def _legend(y: float) -> list[str]:
    """A sample of each kind of line with its name."""
    parts = [f'<g id="legend" font-family="sans-serif" font-size="3.1" fill="{GREY}">']
    for k, kind in enumerate(LineKind):
        x = MARGIN + 45.0 * k
        style = _style(kind, colour=GREY)
        parts.append(f'<line x1="{_n(x)}" y1="{_n(y)}" x2="{_n(x + 22)}" y2="{_n(y)}" {style}/>')
        parts.append(f'<text x="{_n(x + 24)}" y="{_n(y + 1.1)}">{kind.value}</text>')
    return [*parts, "</g>"]
