"""The contact sheet of a proof: each pair's bare frame, its loss as photographed and as worked out, and what is left."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shadewright.files import write_whole
from shadewright.measure.proof import Finding, PairProof, Proof
from shadewright.measure.strip import StripRim
from shadewright.show import page

Array = NDArray[np.float64]

ROWS = 4
"""Pairs on a page."""
LEFT, WIDE, GAP, TALL = 4.0, 40.0, 4.0, 42.0
"""Left margin, width of a map, gap between maps and greatest height of one, mm."""
HEAD, ROW, FOOT = 21.0, 54.0, 16.0
"""Heights of what stands above, in and below the rows, mm."""
LEAST_SCALE = 0.05
"""Loss at which the scale of a map ends at least, stops."""
WORDS = {
    Finding.CLEAR: "CLEAR",
    Finding.WITHIN: "WITHIN THE ALLOWANCE",
    Finding.SHOWS: "SHOWS",
    Finding.UNSETTLED: "UNSETTLED",
}


def contact_sheet(proof: Proof, path: Path, *, hood: str) -> list[Path]:
    """Write the pages as `path`.pdf, the same bytes for the same proof, and the first as `path`.png. Raises FileError."""
    from matplotlib.backends.backend_pdf import PdfPages

    pages = [proof.pairs[k : k + ROWS] for k in range(0, len(proof.pairs), ROWS)]
    stream, first = io.BytesIO(), io.BytesIO()
    about: dict[str, Any] = {"Title": f"Proof of {hood}", "CreationDate": None, "ModDate": None, "Producer": None, "Creator": "shadewright"}
    with page.style(), PdfPages(stream, metadata=about) as book:
        for number, pairs in enumerate(pages, start=1):
            of = f", page {number} of {len(pages)}" if len(pages) > 1 else ""
            figure = _page(pairs, proof, f'Proof of "{hood}": {WORDS[proof.finding].lower()}{of}')
            book.savefig(figure, dpi=page.DOTS_PER_INCH)
            if number == 1:
                figure.savefig(first, format="png", dpi=page.DOTS_PER_INCH, metadata={"Software": None})
    return [write_whole(path.with_name(path.name + ".pdf"), stream.getvalue()), write_whole(path.with_name(path.name + ".png"), first.getvalue())]


def proof_figure(proof: Proof, *, hood: str) -> Figure:
    """The first page of the contact sheet, as a figure."""
    with page.style():
        return _page(proof.pairs[:ROWS], proof, f'Proof of "{hood}": {WORDS[proof.finding].lower()}')


def _page(pairs: Sequence[PairProof], proof: Proof, title: str) -> Figure:
    height = HEAD + ROW * len(pairs) + FOOT
    figure = page.blank(height, title="")
    figure.set_layout_engine("none")
    figure.text(0.5, 1.0 - 6.0 / height, title, ha="center", va="center", fontweight="bold", fontsize=11)
    for column, words in enumerate(("Bare", "Loss in stops,\nphotographed", "Loss in stops,\nworked out", "Photographed less\nworked out, stops")):
        middle = (LEFT + (WIDE + GAP) * column + WIDE / 2) / page.PAGE_WIDTH
        figure.text(middle, 1.0 - 15.0 / height, words, ha="center", va="center", fontsize=9)
    for index, pair in enumerate(pairs):
        _row(figure, pair, height, height - HEAD - ROW * index)
    words = "\n".join(textwrap.wrap(_seat_words(proof), 105))
    figure.text(LEFT / page.PAGE_WIDTH, FOOT / 2 / height, words, ha="left", va="center", fontsize=8.5)
    return figure


def _row(figure: Figure, pair: PairProof, height: float, top_mm: float) -> None:
    """One pair: a line of words, and four maps on the frame, top up."""
    extent = _extent(pair)
    shape = (extent[3] - extent[2]) / (extent[1] - extent[0])
    wide = min(WIDE, TALL / shape)
    loss = pair.intrusion.loss
    top = max(LEAST_SCALE, float(np.nanquantile(loss, 0.999)), float(np.max(pair.fitted)))
    maps: list[tuple[Array, dict[str, Any]]] = [
        (pair.ratio.bare / np.nanmax(pair.ratio.bare), {"cmap": "gray", "vmin": 0.0, "vmax": 1.0}),
        (loss, {"cmap": "Blues", "vmin": 0.0, "vmax": top}),
        (pair.fitted, {"cmap": "Blues", "vmin": 0.0, "vmax": top}),
        (loss - pair.fitted, {"cmap": "PuOr", "vmin": -top / 2, "vmax": top / 2}),
    ]
    figure.text(LEFT / page.PAGE_WIDTH, (top_mm - 4.0) / height, f"{pair.setting.label}: {_finding_words(pair)}", fontsize=8.5)
    for column, (values, how) in enumerate(maps):
        left = LEFT + (WIDE + GAP) * column + (WIDE - wide) / 2
        bottom = top_mm - 6.0 - wide * shape
        axes = figure.add_axes((left / page.PAGE_WIDTH, bottom / height, wide / page.PAGE_WIDTH, wide * shape / height))
        axes.set_facecolor(page.PALE)
        drawn = axes.imshow(values, origin="lower", extent=extent, aspect="auto", interpolation="nearest", **how)
        for spine in axes.spines.values():
            spine.set_visible(True)
        axes.set_xticks([])
        axes.set_yticks([])
        if column == 0:
            continue
        scale = figure.add_axes(((left + 5.0) / page.PAGE_WIDTH, (bottom - 3.0) / height, (wide - 10.0) / page.PAGE_WIDTH, 1.6 / height))
        bar = figure.colorbar(drawn, cax=scale, orientation="horizontal")
        bar.set_ticks([0.0, top] if column < 3 else [-top / 2, 0.0, top / 2], labels=_ticks(top, both=column == 3))
        if column == 1:
            _mark(axes, pair)


def _ticks(top: float, *, both: bool) -> list[str]:
    if both:
        return [f"{-top / 2:.2g}", "0", f"{top / 2:.2g}"]
    return ["0", f"{top:.2g}"]


def _extent(pair: PairProof) -> tuple[float, float, float, float]:
    rows, columns = pair.points.shape[:2]
    low, high = pair.points[0, 0], pair.points[-1, -1]
    x, y = (high - low) / (2.0 * (np.array([columns, rows]) - 1.0))
    return float(low[0] - x), float(high[0] + x), float(low[1] - y), float(high[1] + y)


def _mark(axes: Axes, pair: PairProof) -> None:
    """Say in the map where it shows."""
    if not pair.intrusion.shows:
        axes.text(0.5, 0.5, "nothing found", transform=axes.transAxes, ha="center", va="center")
        return
    name = pair.worst.name
    x = 0.93 if "right" in name else 0.07 if "left" in name else 0.5
    y = 0.93 if "top" in name else 0.07 if "bottom" in name else 0.5
    axes.annotate(
        f"{pair.worst.loss:.2f} stop", (x, y), (0.5, 0.5), xycoords="axes fraction", textcoords="axes fraction", ha="center", va="center",
        arrowprops={"arrowstyle": "->", "color": page.STROKES[1].colour, "linewidth": 1.4},
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.5},
    )  # fmt: skip


def _finding_words(pair: PairProof) -> str:
    low, high = pair.stretch
    if pair.finding is Finding.CLEAR:
        return f"CLEAR (a loss of {pair.intrusion.floor:.3f} stop would have been found)"
    if not pair.intrusion.shows:
        return f"UNSETTLED (only losses from {pair.intrusion.floor:.2f} stop would have been found)"
    return f"{WORDS[pair.finding]}, {pair.worst.name}, {low:.2f} to {high:.2f} stop"


def _seat_words(proof: Proof) -> str:
    """How the hood sits, as far as the photographs tell."""
    seat = proof.seating
    if seat is None:
        return "A hood known only as a mesh: its seating was not fitted."
    names = ("turned", "forward", "right", "up")
    parts = [
        f"{name} {value:+.2f} ± {error:.2f} {unit}"
        for name, value, error, unit, told in zip(
            names, (seat.turn, seat.forward, seat.right, seat.up), seat.errors, ("°", "mm", "mm", "mm"), seat.told, strict=True
        )
        if told
    ]
    if parts:
        return "The hood sits, against its document: " + ", ".join(parts)
    low, high = seat.turn_range
    return f"Nothing shows that would tell how the hood sits (turns from {low:+.0f}° to {high:+.0f}° look alike)."


def strip_figure(found: StripRim, *, name: str) -> Figure:
    """Both lanes with the line found in them, and the rim unrolled with its uncertainty."""
    from shadewright.measure.target import LANE_HALF, LANE_HEIGHT

    with page.style():
        figure = page.blank(175.0, title=f"Rim of {name}, read from its strip")
        lanes = figure.subplots(3, 1)
        for axes, view, trace, words in zip(lanes[:2], found.lanes, found.traces, ("Top half", "Bottom half"), strict=True):
            axes.imshow(view, cmap="gray", vmin=0, vmax=255, extent=(-LANE_HALF, LANE_HALF, 0.0, LANE_HEIGHT), aspect="equal")
            axes.plot(trace[:, 0], trace[:, 1], color=page.STROKES[1].colour, linewidth=1.0)
            axes.set_title(f"{words}: the sheet seen straight on, and the line found", loc="left")
            axes.set_ylabel("mm")
        rim = lanes[2]
        rim.fill_between(found.azimuth, found.z - 2 * found.error, found.z + 2 * found.error, color=page.STROKES[5].colour, alpha=0.5, linewidth=0)
        rim.plot(found.azimuth, found.z, color=page.INK, linewidth=1.2)
        page.named_sides(rim, 0.0, 360.0)
        rim.set(xlim=(0, 360), ylabel="mm ahead of the seat")
        rim.set_title(f"The rim; the band is two standard errors (markers met to {found.sheet_error:.2f} mm)", loc="left")
    return figure
