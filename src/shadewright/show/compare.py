"""Candidate hoods side by side: one panel of bars for each quantity."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shadewright.errors import MakeError
from shadewright.show import page

MOST_HOODS = 12
MOST_QUANTITIES = 12
PANELS_ACROSS = 3
NAME_WIDTH = 24
"""Letters of a hood's name on one line."""
NOT_KNOWN = "not known"

Row = tuple[str, Mapping[str, tuple[float, str]]]


def compare_figure(rows: Sequence[Row], *, title: str = "The hoods compared") -> Figure:
    """Horizontal bars with their numbers for every quantity of every hood.

    rows: for each hood its name and, for each quantity in words, a value and its unit. A quantity that a hood
    lacks is shown as not known. Raises MakeError where there is nothing to compare, too much of it, or units
    that differ.
    """
    labels = _quantities(rows)
    across = 2 if len(labels) == 4 else min(len(labels), PANELS_ACROSS)
    down = math.ceil(len(labels) / across)
    names = [textwrap.fill(name, NAME_WIDTH) for name, _ in rows]
    lines = max(2, max(name.count("\n") + 1 for name in names))
    with page.style():
        figure = page.blank(down * (16.0 + 3.6 * lines * len(rows)) + 10.0, title=title)
        panels = figure.subplots(down, across, squeeze=False, sharey=True)
        for place, axes in enumerate(panels.ravel()):
            if place >= len(labels):
                axes.set_axis_off()
                continue
            _draw_bars(axes, [values.get(labels[place]) for _, values in rows], labels[place])
        for line in panels:
            line[0].set_yticks(range(len(rows)), names)
        # The first hood stands at the top.
        panels[0, 0].set_ylim(len(rows) - 0.5, -0.5)
    return figure


def _quantities(rows: Sequence[Row]) -> list[str]:
    """Every quantity in the order in which it first appears."""
    units: dict[str, str] = {}
    for name, values in rows:
        for label, (_, unit) in values.items():
            if units.setdefault(label, unit) != unit:
                raise MakeError(
                    f'compare: "{label}" of {name} is in "{unit}" and elsewhere in "{units[label]}"; use one '
                    "unit for each quantity."
                )
    if not units or len(rows) > MOST_HOODS or len(units) > MOST_QUANTITIES:
        raise MakeError(
            f"compare: {len(rows)} hoods with {len(units)} quantities; give 1 to {MOST_HOODS} hoods and 1 to "
            f"{MOST_QUANTITIES} quantities."
        )
    return list(units)


def number(value: float, unit: str) -> str:
    """A value with three significant digits and its unit."""
    if math.isnan(value):
        return NOT_KNOWN
    if math.isinf(value):
        return "without limit" if value > 0 else "without limit below"
    decimals = 0 if value == 0 else max(0, 2 - math.floor(math.log10(abs(value)) + 1e-9))
    text = f"{value:.{min(decimals, 4)}f}"
    return f"{text} {unit}".strip()


def _draw_bars(axes: Axes, entries: Sequence[tuple[float, str] | None], label: str) -> None:
    unit = next(entry[1] for entry in entries if entry is not None)
    finite = [entry[0] for entry in entries if entry is not None and math.isfinite(entry[0])]
    low, high = min([0.0, *finite]), max([0.0, *finite])
    span = high - low or 1.0
    for place, entry in enumerate(entries):
        stroke = page.STROKES[place % len(page.STROKES)]
        value, words = (math.nan, NOT_KNOWN) if entry is None else (entry[0], number(*entry))
        if math.isfinite(value):
            axes.barh(
                place, value, height=0.62, facecolor=stroke.colour, edgecolor="white", hatch=stroke.hatch,
                linewidth=0, gid="bar",
            )  # fmt: skip
            axes.barh(place, value, height=0.62, facecolor="none", edgecolor=page.INK, linewidth=0.8)
        end = value if math.isfinite(value) and value > 0 else 0.0
        axes.text(end + 0.03 * span, place, words, va="center", ha="left", fontsize=page.SMALLEST_LETTER)
    # Room to the right of the longest bar for its number.
    axes.set_xlim(low - (0.05 * span if low < 0 else 0.0), high + 0.55 * span)
    axes.set_title(textwrap.fill(f"{label} ({unit})" if unit else label, 30), fontsize=9)
    axes.axvline(0.0, color=page.INK, linewidth=0.8)
    axes.tick_params(axis="y", length=0)
    axes.locator_params(axis="x", nbins=4)
    axes.spines["left"].set_visible(False)
