"""The front of a search: light let in against size, with every hood that was looked at."""

from __future__ import annotations

import textwrap

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke

from shadewright.design.tradeoff import Front, Size, Task, describe
from shadewright.errors import MakeError
from shadewright.show import page

AXIS = {
    Size.VOLUME: "Volume that the hood fills (cm³)", Size.LENGTH: "Length ahead of the seat (mm)",
    Size.ACROSS: "Greatest outside dimension (mm)", Size.MASS: "Mass as printed (g)",
    Size.STORED: "Barrel covered when reversed (mm)",
}  # fmt: skip
KINDS = (
    ("plain tube", "tube", "plain"), ("plain cone", "cone", "plain"), ("plain, stepped", "stepped", "plain"),
    ("petal tube", "tube", "petal"), ("petal cone", "cone", "petal"), ("petal, stepped", "stepped", "petal"),
    ("tunnel", "tunnel", "tunnel"),
)  # fmt: skip
"""Name, wall and rim of each kind of hood, in the order of the legend."""
LISTED = 24
"""Hoods of the front that are listed below the picture."""
LIST_WIDTH = 100
"""Letters of a hood in the list."""
PANEL, TOP = (140.0, 80.0), 105.0
"""About the size of the picture, mm, and the top of its scale, %."""


def front_figure(front: Front, task: Task) -> Figure:
    """Light against size: what no other hood beats as a stepped line, numbered as in the list, and the rest pale.

    Raises MakeError where the search found nothing.
    """
    if not front.best:
        raise MakeError("tradeoff: the search found no hood to draw; allow a larger one.")
    listed = _list_lines(front)
    with page.style():
        figure = page.blank(
            140.0 + 4.4 * len(listed), title=f"Light against size: the best hoods for {task.lens.name}"
        )
        key, axes, below = figure.subplots(3, 1, height_ratios=[14.0, 100.0, 4.4 * len(listed)])
        entries = _draw(axes, front)
        key.legend(handles=entries, loc="center", ncols=4)
        key.set_axis_off()
        axes.set_xlabel(AXIS[front.size])
        inside = f", {task.finishes[0].name} inside" if task.finishes else ", direct light alone"
        axes.set_ylabel("Light on the front glass\nfrom outside the frame (% of that without a hood)")
        axes.set_title(f"{task.surroundings.name} surroundings{inside}", fontsize=9)
        below.set_axis_off()
        below.text(
            0.0, 1.0, "\n".join(listed), va="top", ha="left", fontsize=page.SMALLEST_LETTER, linespacing=1.35,
            transform=below.transAxes,
        )  # fmt: skip
    return figure


def _draw(axes: Axes, front: Front) -> list[Line2D]:
    """The points and the stepped line; returns what the legend says."""
    sizes = [traded.outcome.size(front.size) for traded in front.best]
    lights = [100 * traded.outcome.light for traded in front.best]
    axes.step(sizes, lights, where="post", color=page.INK, linewidth=1.0, gid="front", zorder=2)
    entries = [Line2D([], [], color=page.INK, linewidth=1.0, label="no hood beats these in both")]
    for place, (name, wall, rim) in enumerate(KINDS):
        stroke = page.STROKES[place % len(page.STROKES)]
        marker = stroke.marker if place < len(page.STROKES) else "*"
        colour = stroke.colour if place < len(page.STROKES) else page.INK
        tried = [
            (size, 100 * light) for size, light, design in front.tried if (str(design.wall), str(design.rim)) == (wall, rim)
        ]
        if not tried:
            continue
        axes.plot(*zip(*tried, strict=True), marker, color=colour, markersize=3, alpha=0.25, gid="tried", zorder=1)
        best = [k for k, t in enumerate(front.best) if (str(t.design.wall), str(t.design.rim)) == (wall, rim)]
        axes.plot(
            [sizes[k] for k in best], [lights[k] for k in best], marker, color=colour, markersize=7,
            markeredgecolor=page.INK, markeredgewidth=0.7, gid="best", zorder=3,
        )  # fmt: skip
        entries.append(
            Line2D([], [], linestyle="", marker=marker, color=colour, markeredgecolor=page.INK, markersize=6, label=name)
        )
    _number(axes, sizes, lights)
    axes.set_ylim(0.0, TOP)
    axes.set_xlim(left=0.0)
    axes.grid(color=page.PALE, linewidth=0.5)
    return entries


def _number(axes: Axes, sizes: list[float], lights: list[float]) -> None:
    """Numbers beside the front's hoods, both ends first, left out where they would lie on each other."""
    across = max(sizes) or 1.0
    # About where each stands on the page, mm.
    places = [(PANEL[0] * x / across, PANEL[1] * y / TOP) for x, y in zip(sizes, lights, strict=True)]
    order = dict.fromkeys([0, len(sizes) - 1, *range(len(sizes))])
    kept: list[tuple[float, float]] = []
    for k in order:
        if any(abs(places[k][0] - x) < 6.0 and abs(places[k][1] - y) < 5.0 for x, y in kept):
            continue
        axes.annotate(
            str(k + 1), (sizes[k], lights[k]), xytext=(-5, -11), textcoords="offset points", ha="right",
            fontsize=page.SMALLEST_LETTER, zorder=4, path_effects=[withStroke(linewidth=2.0, foreground="white")],
        )  # fmt: skip
        kept.append(places[k])


def _list_lines(front: Front) -> list[str]:
    """The front's hoods in words, those between left out where there are too many."""
    lines = []
    for k, traded in enumerate(front.best, start=1):
        words = textwrap.shorten(describe(traded.design, traded.outcome), LIST_WIDTH, placeholder=" ...")
        lines.append(f"{k}.  {traded.outcome.light:.1%}  {words}")
    if len(lines) > LISTED:
        lines = [*lines[: LISTED - 1], f"and {len(lines) - LISTED + 1} more, in the file beside this"]
    return lines
