"""What every figure shares: page width, letter sizes, strokes that do not rest on colour alone, and saving.

Widths are for A4 with 15 mm margins, so that a figure printed at its own size has letters of at least
SMALLEST_LETTER.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shadewright.files import write_whole

PAGE_WIDTH = 180.0
"""Width of a figure, mm: an A4 page less its margins."""
PAGE_HEIGHT = 260.0
"""Greatest height of a figure, mm."""
SMALLEST_LETTER = 8.0
"""Smallest letter of any figure, points."""
DOTS_PER_INCH = 200
MM_PER_INCH = 25.4

INK = "#000000"
GREY = "#6e6e6e"
PALE = "#d9d9d9"


@dataclass(frozen=True)
class Stroke:
    """A colour that is never alone: a dash pattern, a marker and a hatch tell the same apart in grey."""

    colour: str
    dash: tuple[float, tuple[float, ...]]
    marker: str
    hatch: str


STROKES = (
    Stroke("#0072b2", (0, ()), "o", "////"),
    Stroke("#d55e00", (0, (6, 1.6)), "s", "...."),
    Stroke("#009e73", (0, (1.2, 1.2)), "^", "\\\\\\\\"),
    Stroke("#cc79a7", (0, (7, 1.5, 1.2, 1.5)), "D", "xxxx"),
    Stroke("#e69f00", (0, (3, 1, 1, 1, 1, 1)), "v", "++"),
    Stroke("#56b4e9", (0, (10, 3)), "P", "oo"),
)
"""Six colours told apart by colour-blind readers: M. Okabe and K. Ito, Color Universal Design (2008)."""

_SETTINGS = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.titlesize": 9.5,
    "axes.labelsize": 9.0,
    "xtick.labelsize": SMALLEST_LETTER,
    "ytick.labelsize": SMALLEST_LETTER,
    "legend.fontsize": SMALLEST_LETTER,
    "figure.titlesize": 11.0,
    "axes.linewidth": 0.8,
    "hatch.linewidth": 0.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "legend.handlelength": 3.6,
    "axes.unicode_minus": True,
    "svg.fonttype": "path",
    "svg.hashsalt": "shadewright",
    "image.composite_image": False,
}
_LOCK = threading.RLock()


@contextmanager
def style() -> Iterator[None]:
    """Draw with the figures' own settings, whatever the reader's; matplotlib's are put back afterwards.

    matplotlib keeps them for the whole process, so that figures are drawn one at a time.
    """
    with _LOCK, matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


def blank(height: float, *, title: str, width: float = PAGE_WIDTH) -> Figure:
    """An empty figure of `width` by `height` mm under a title; at most PAGE_HEIGHT high."""
    size = (width / MM_PER_INCH, min(height, PAGE_HEIGHT) / MM_PER_INCH)
    figure = Figure(figsize=size, dpi=DOTS_PER_INCH, facecolor="white", layout="constrained")
    figure.suptitle(title, fontweight="bold")
    return figure


def named_sides(axes: Axes, low: float, high: float) -> None:
    """Mark azimuths from `low` to `high` degrees every 45, with the names of the sides."""
    names = {0: "right", 90: "top", 180: "left", 270: "bottom"}
    ticks = [a for a in range(-720, 721, 45) if low - 1e-9 <= a <= high + 1e-9]
    axes.set_xticks(ticks, [f"{a}°\n{names[a % 360]}" if a % 90 == 0 else f"{a}°" for a in ticks])


def save(figure: Figure, path: Path) -> list[Path]:
    """Write a figure as `path`.svg and `path`.png (200 dots per inch): the same bytes for the same figure.

    `path` carries no suffix. Returns both paths. Raises FileError.
    """
    title = figure.get_suptitle()
    written = []
    metadata: dict[str, dict[str, str | None]] = {
        "svg": {"Date": None, "Creator": "shadewright", "Title": title},
        "png": {"Software": None, "Title": title},
    }
    for suffix, about in metadata.items():
        stream = io.BytesIO()
        with style():
            figure.savefig(stream, format=suffix, dpi=DOTS_PER_INCH, metadata=about)
        written.append(write_whole(path.with_name(f"{path.name}.{suffix}"), stream.getvalue()))
    return written
