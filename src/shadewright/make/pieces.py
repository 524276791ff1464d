"""What lies on a flat sheet: lines of three kinds, texts, pieces and the whole template. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from shadewright.model.shape import Array

LETTER = 0.84
"""Width of an average sans-serif letter for capitals of height 1 (common practice, no source)."""


class LineKind(StrEnum):
    """What the workshop does along a line."""

    CUT = "cut"
    FOLD = "fold"
    MARK = "mark"


class PieceForm(StrEnum):
    """The flat shape that a piece is cut from."""

    STRIP = "strip"  # a tube; origin: its middle at z = 0
    SECTOR = "sector"  # a cone; origin: the tip of the sector
    RING = "ring"  # the flat face of a step; origin: its centre
    PANELS = "panels"  # a tunnel; origin: its left edge at z = 0


@dataclass(frozen=True)
class Polyline:
    """Points (x, y) in mm joined by straight lines."""

    points: tuple[tuple[float, float], ...]
    closed: bool = False

    @classmethod
    def of(cls, points: Array | Sequence[tuple[float, float]], *, closed: bool = False) -> Polyline:
        """From points (n, 2) mm; neighbours that coincide are kept once."""
        kept: list[tuple[float, float]] = []
        for x, y in np.asarray(points, dtype=float):
            if not kept or math.hypot(x - kept[-1][0], y - kept[-1][1]) > 1e-6:
                kept.append((float(x), float(y)))
        if closed and len(kept) > 1 and math.dist(kept[0], kept[-1]) <= 1e-6:
            kept.pop()
        return cls(tuple(kept), closed)

    def moved(self, dx: float, dy: float) -> Polyline:
        """This line moved on the sheet."""
        return Polyline(tuple((x + dx, y + dy) for x, y in self.points), self.closed)


class Align(StrEnum):
    """Which point of a text's base line its place is."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True)
class TextMark:
    """A text whose base line has its start, middle or end at (x, y) mm.

    Capitals are `height` mm high; `angle` turns it counter-clockwise, degrees.
    """

    text: str
    x: float
    y: float
    height: float
    angle: float = 0.0
    align: Align = Align.MIDDLE

    def moved(self, dx: float, dy: float) -> TextMark:
        """This text moved on the sheet."""
        return replace(self, x=self.x + dx, y=self.y + dy)

    def middle_line(self) -> Array:
        """Points (20, 2) mm along the text at half the height of its capitals; its width is estimated."""
        turn = math.radians(self.angle)
        begin = {Align.START: 0.0, Align.MIDDLE: -0.5, Align.END: -1.0}[self.align]
        along = (begin + np.linspace(0.0, 1.0, 20)) * LETTER * self.height * len(self.text)
        up = self.height / 2
        x = self.x + along * math.cos(turn) - up * math.sin(turn)
        return np.stack([x, self.y + along * math.sin(turn) + up * math.cos(turn)], axis=1)


@dataclass(frozen=True)
class Piece:
    """One piece to cut out. Its layers lie on the template; `origin` (mm) is explained at its form."""

    name: str
    form: PieceForm
    centre: float
    """Azimuth of the middle of the piece, degrees."""
    origin: tuple[float, float]
    cut: tuple[Polyline, ...]
    fold: tuple[Polyline, ...] = ()
    mark: tuple[Polyline, ...] = ()
    text: tuple[TextMark, ...] = ()

    def moved(self, dx: float, dy: float) -> Piece:
        """This piece moved on the sheet."""
        return replace(
            self,
            origin=(self.origin[0] + dx, self.origin[1] + dy),
            cut=tuple(line.moved(dx, dy) for line in self.cut),
            fold=tuple(line.moved(dx, dy) for line in self.fold),
            mark=tuple(line.moved(dx, dy) for line in self.mark),
            text=tuple(text.moved(dx, dy) for text in self.text),
        )

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of what is cut, and of the texts that lie beside it, mm."""
        points = np.concatenate(
            [np.asarray(line.points) for line in self.cut]
            + [
                text.middle_line() + np.array([0.0, s * text.height])
                for text in self.text
                for s in (-1.0, 1.0)
            ]
        )
        (left, bottom), (right, top) = points.min(axis=0), points.max(axis=0)
        return float(left), float(bottom), float(right), float(top)


@dataclass(frozen=True)
class FlatTemplate:
    """The pieces of a hood on one sheet, lower left corner at (0, 0), and what the maker must know. In mm."""

    pieces: tuple[Piece, ...]
    sheet_thickness: float
    width: float
    height: float
    notes: tuple[str, ...]

    def lines(self, kind: LineKind) -> tuple[Polyline, ...]:
        """All lines of one kind."""
        return tuple(line for piece in self.pieces for line in getattr(piece, kind.value))

    @property
    def cut(self) -> tuple[Polyline, ...]:
        """Lines to cut along."""
        return self.lines(LineKind.CUT)

    @property
    def fold(self) -> tuple[Polyline, ...]:
        """Lines to score and bend along."""
        return self.lines(LineKind.FOLD)

    @property
    def mark(self) -> tuple[Polyline, ...]:
        """Index, centre, seat plane and lap lines, only to be seen."""
        return self.lines(LineKind.MARK)

    @property
    def text(self) -> tuple[TextMark, ...]:
        """All texts."""
        return tuple(text for piece in self.pieces for text in piece.text)


@dataclass(frozen=True)
class Stock:
    """The sheet and the extras that all pieces of one template share, mm."""

    thickness: float
    back: float
    """How far the wall goes on behind the seat plane."""
    tab: float
    """Width of glue tabs and teeth; 0 for none."""
    seat: float | None = None
    """Diameter of the barrel that the hood goes over, where it is known."""


CAUTIONS = (
    "Cutting: use a sharp blade, a steel rule and a cutting mat; cut away from your hand.",
    "Laser cutting, printing, painting and glueing give off fumes: ventilate, and follow local rules.",
    "Check that the finished hood cannot fall off before it goes above people.",
)
"""Said on every template (common practice, no source)."""
CHECK_TEXT = "100 mm - print at 100 %, no scaling; measure this line"
"""Stands at the check line of every printed page."""


def one_line(text: str) -> str:
    """A text without line breaks and other control characters, as file formats need it."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
