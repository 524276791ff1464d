"""The printed sheet for strips: markers, two lanes with their base lines and ticks, a check line and what to do."""

from __future__ import annotations

from shadewright.make.pdfpen import Pen
from shadewright.make.pieces import Align
from shadewright.measure.target import (
    LANE_HALF,
    LANE_HEIGHT,
    LANE_MIDDLE,
    LANES,
    MARKER,
    MARKER_CELLS,
    PLACES,
    SHEET,
    marker_squares,
)

STEPS = (
    "Print at 100 % and measure the check line. Wrap a strip of white paper round the OUTSIDE of the hood, its straight edge on the seat end. "
    "Draw along the rim with a dark pen. Mark the top, right, bottom and left of the hood on the strip, and cut it at right and left.",
    "Lay both halves outside up, straight edge on a base line: the top half in the upper lane with its top mark on the tick, the bottom half in "
    "the lower lane likewise. Scan, or photograph from straight above. Keep all markers free.",
)


def target_sheet() -> bytes:
    """The sheet as a PDF of one A4 page, lying."""
    pen = Pen("Sheet for rim strips", "Markers and lanes for a strip of paper with a hood's rim on it")
    pen.page(*SHEET)
    for number, (x, y) in enumerate(PLACES):
        _marker(pen, number, x, y)
    for base, tick, ends in zip(LANES, ("top", "bottom"), (("left", "right"), ("right", "left")), strict=True):
        left, right = LANE_MIDDLE - LANE_HALF, LANE_MIDDLE + LANE_HALF
        pen.lines([(left, base), (right, base)], width=0.2)
        pen.lines([(LANE_MIDDLE, base - 3.0), (LANE_MIDDLE, base)], width=0.3)
        for k in range(-11, 12):
            pen.lines([(LANE_MIDDLE + 10.0 * k, base - 1.2), (LANE_MIDDLE + 10.0 * k, base)], width=0.15)
        pen.text(LANE_MIDDLE + 1.5, base - 3.4, tick, size=2.8)
        pen.text(left, base - 3.4, f"this end: {ends[0]} of the hood", size=2.8)
        pen.text(right, base - 3.4, f"this end: {ends[1]} of the hood", size=2.8, align=Align.END)
        pen.lines([(left, base + LANE_HEIGHT), (left + 4, base + LANE_HEIGHT)], width=0.15, grey=0.6)
        pen.lines([(right - 4, base + LANE_HEIGHT), (right, base + LANE_HEIGHT)], width=0.15, grey=0.6)
    pen.check_line(34.0, 17.0)
    y = 196.0
    for text, left in zip(STEPS, (33.0, 161.0), strict=True):
        pen.paragraph(left, y, text, width=102.0, size=2.3)
    pen.paragraph(161.0, 26.0, "Right and left are as seen from behind the camera, hood on the lens, top up.", width=102.0, size=2.3)
    return pen.finish()


def _marker(pen: Pen, number: int, x: float, y: float) -> None:
    """One marker, its lower left corner at (x, y)."""
    side = MARKER / MARKER_CELLS
    squares = marker_squares(number)
    for row in range(MARKER_CELLS):
        start: int | None = None
        for column in range(MARKER_CELLS + 1):
            black = column < MARKER_CELLS and bool(squares[row, column])
            if black and start is None:
                start = column
            if not black and start is not None:
                low, high = y + MARKER - (row + 1) * side - 0.01, y + MARKER - row * side + 0.01
                left, right = x + start * side, x + column * side
                pen.lines([(left, low), (right, low), (right, high), (left, high)], width=0.0, closed=True, fill=0.0)
                start = None
