"""Flat templates: a hood's wall laid flat as outlines that are cut from card or sheet and bent up again.

A template is drawn as it is seen on the OUTSIDE of the hood, forward up: left is left and right is right as
seen from behind the camera. The seam lies at the bottom (azimuth 270), the index line at the top (90).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import assert_never

import numpy as np

from shadewright.errors import MakeError
from shadewright.make.labels import general_notes
from shadewright.make.pieces import FlatTemplate, LineKind, Piece, PieceForm, Polyline, Stock, TextMark
from shadewright.make.rings import Ring
from shadewright.make.strips import LEAST_HEIGHT, round_pieces, vane_pieces
from shadewright.model.shape import Array, HoodShape, MeshHood, RoundHood, TunnelHood, TunnelWall

GAP = 8.0
"""Free space between pieces on the sheet, mm."""
LONGEST_SHEET = 12_000.0
"""No template is larger than this in either direction, mm."""

__all__ = ["FlatTemplate", "LineKind", "Piece", "PieceForm", "Polyline", "TextMark", "flatten"]


def flatten(
    hood: HoodShape, *, sheet_thickness: float, back: float, tab: float, rings: Sequence[Ring] = (), seat: float | None = None
) -> FlatTemplate:
    """The template of a hood for sheet of `sheet_thickness`, prolonged `back` behind the seat plane, all mm.

    `tab` is the width of glue tabs and teeth; 0 leaves them out. `rings` are vanes to be cut as flat rings and set in. `seat`
    is the diameter of the barrel, for the words on how to fit it. Raises MakeError for what cannot be laid flat.
    """
    _check_wishes(sheet_thickness, back, tab)
    stock = Stock(sheet_thickness, back, tab, seat)
    if isinstance(hood, RoundHood):
        pieces, notes = round_pieces(hood, stock)
        vanes, more = vane_pieces(hood, rings)
        pieces, notes = pieces + vanes, notes + more
    elif isinstance(hood, TunnelHood):
        pieces, notes = _tunnel_pieces(hood, stock)
    elif isinstance(hood, MeshHood):
        raise MakeError(
            "a hood known only as a mesh cannot be laid flat; give its wall and rim in a hood document."
        )
    else:
        assert_never(hood)
    placed = _placed(pieces)
    width = max(piece.box[2] for piece in placed)
    height = max(piece.box[3] for piece in placed)
    if max(width, height) > LONGEST_SHEET:
        raise MakeError(
            f"the template would measure {width:.0f} x {height:.0f} mm, more than the {LONGEST_SHEET:.0f} mm "
            "that is drawn; choose a wall with less taper or a smaller hood."
        )
    return FlatTemplate(tuple(placed), sheet_thickness, width, height, tuple(notes))


def _check_wishes(sheet_thickness: float, back: float, tab: float) -> None:
    wishes = (
        ("sheet_thickness", sheet_thickness, 0.05, 10.0),
        ("back", back, 0.0, 200.0),
        ("tab", tab, 0.0, 50.0),
    )
    for name, value, low, high in wishes:
        if not low <= value <= high:  # also refuses a value that is not a number
            raise MakeError(f"{name} = {value:g} mm must lie from {low:g} to {high:g} mm; correct it.")
    if 0 < tab < 2:
        raise MakeError(f"tab = {tab:g} mm is too narrow to glue; make it 2 mm or more, or 0 for none.")


def _tunnel_pieces(hood: TunnelHood, stock: Stock) -> tuple[list[Piece], list[str]]:
    """Four panels side by side, left, top, right and bottom, seam at the lower left corner."""
    wall, rim, s = hood.wall, hood.rim, stock.thickness
    _check_tunnel(wall, hood, stock)
    names = ("left", "top", "right", "bottom")
    lips = (rim.left, rim.top, rim.right, rim.bottom)
    inside = (2 * wall.half_height, 2 * wall.half_width) * 2
    folds = np.concatenate([[0.0], np.cumsum(np.asarray(inside) + s)])
    low, width = -stock.back, float(folds[-1])
    outline: list[tuple[float, float]] = [(0.0, low), (width, low)]
    joined = min(rim.left, rim.bottom) - low
    if stock.tab > 0:
        inset = min(joined / 4, 0.6 * stock.tab)
        outline += [
            (width + stock.tab, low + inset),
            (width + stock.tab, low + joined - inset),
            (width, low + joined),
        ]
    for k in (3, 2, 1, 0):
        outline += [(float(folds[k + 1]), lips[k]), (float(folds[k]), lips[k])]
    fold = [
        Polyline.of([(float(x), low), (float(x), min(a, b))])
        for x, (a, b) in zip(folds[1:4], pairwise(lips), strict=True)
    ]
    if stock.tab > 0:
        fold.append(Polyline.of([(width, low), (width, low + joined)]))
    mark, text = _panel_marks(names, lips, inside, folds, low)
    if stock.tab >= 5:
        text.append(TextMark("glue", width + stock.tab / 2 + 1, low + joined / 2, min(2.0, joined / 8), 90.0))
    piece = Piece(
        "tunnel",
        PieceForm.PANELS,
        90.0,
        (0.0, 0.0),
        (Polyline.of(outline, closed=True),),
        tuple(fold),
        tuple(mark),
        tuple(text),
    )
    notes = [
        *general_notes(stock),
        f"Fold lines lie at half the thickness: each panel is its inside size plus {s:g} mm; once round 2 x "
        f"({inside[1]:.2f} + {s:g}) + 2 x ({inside[0]:.2f} + {s:g}) = {width:.2f} mm.",
        "Score the fold lines on the printed side and bend the panels away from you by 90 degrees.",
        "A tunnel does not hold on a round barrel by itself: glue it to a plate or ring that fits the lens.",
    ]
    return [piece], notes


def _check_tunnel(wall: TunnelWall, hood: TunnelHood, stock: Stock) -> None:
    for side in ("right", "top", "left", "bottom"):
        lip = getattr(hood.rim, side)
        if lip + stock.back < LEAST_HEIGHT:
            raise MakeError(
                f"the {side} lip lies at z = {lip:.2f} mm and the near edge at z = {-stock.back:.2f} mm, so "
                f"less than {LEAST_HEIGHT:g} mm of that panel is left; make back larger or the lip deeper."
            )
    narrowest = 2 * min(wall.half_width, wall.half_height)
    if stock.thickness > narrowest / 10:
        raise MakeError(
            f"sheet_thickness = {stock.thickness:g} mm is too thick to fold round a tunnel {narrowest:.1f} "
            f"mm wide; use sheet of at most {narrowest / 10:.2f} mm, or print the hood."
        )


def _panel_marks(
    names: Sequence[str], lips: Sequence[float], inside: Sequence[float], folds: Array, low: float
) -> tuple[list[Polyline], list[TextMark]]:
    """Seat plane, centre lines, the index line on the top panel, and a text on each panel."""
    marks = [Polyline.of([(0.0, 0.0), (float(folds[-1]), 0.0)])] if low < 0 < min(lips) else []
    texts: list[TextMark] = []
    for name, lip, size, left in zip(names, lips, inside, folds[:-1], strict=True):
        middle = float(left) + float(folds[names.index(name) + 1] - left) / 2
        rows = [f"{name.upper()}, lip z = {lip:.2f}", f"{size:.2f} inside"]
        if name == "top":
            rows = ["THIS SIDE FACES OUT", *rows, "forward is up"]
            tip = lip - 1.0
            marks.append(Polyline.of([(middle - 1.5, tip - 3), (middle, tip), (middle + 1.5, tip - 3)]))
        floor, ceiling = (
            (0.0, lip) if low < 0 < lip and lip > -low else (low, min(0.0, lip) if low < 0 else lip)
        )
        height = min(2.5, (ceiling - floor) / (1.7 * len(rows) + 4), size / (0.85 * max(map(len, rows))))
        base = floor + 0.7 * height
        texts += [
            TextMark(row, middle, base + 1.7 * height * k, height) for k, row in enumerate(reversed(rows))
        ]
        # The centre line is broken where it would run through the texts.
        above = base + 1.7 * height * len(rows)
        marks += [
            Polyline.of([(middle, above), (middle, lip)]),
            Polyline.of([(middle, low), (middle, floor)]),
        ]
    return marks, texts


def _placed(pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces in rows, upwards from (0, 0), beside each other where the widest piece leaves room."""
    widest = max(piece.box[2] - piece.box[0] for piece in pieces)
    placed: list[Piece] = []
    x = y = row = 0.0
    rings_last = sorted(pieces, key=lambda piece: piece.form is PieceForm.RING)
    for piece in rings_last:
        left, bottom, right, top = piece.box
        if x > 0 and x + right - left > widest + 1e-6:
            x, y, row = 0.0, y + row + GAP, 0.0
        placed.append(piece.moved(x - left, y - bottom))
        x += right - left + GAP
        row = max(row, top - bottom)
    return placed
