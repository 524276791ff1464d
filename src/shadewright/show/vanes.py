"""Vanes: where they stand in a hood, and what their depth buys."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shadewright.design.vane_trade import VaneTrade
from shadewright.errors import MakeError
from shadewright.light.vanes import VaneLayout
from shadewright.show import page

MOST_DEPTHS = 12


def vane_figure(rows: Sequence[VaneTrade], *, title: str = "Vanes") -> Figure:
    """Wall light against outer diameter for each depth, and the layout of one of them cut along the axis.

    Raises MakeError where no row has vanes.
    """
    ringed = [row for row in rows if row.layout is not None]
    if not ringed or len(rows) > MOST_DEPTHS:
        raise MakeError(
            f"vanes: {len(ringed)} of {len(rows)} depths have vanes; give 1 to {MOST_DEPTHS} depths, one of them over 0 mm."
        )
    # Few enough vanes to tell apart.
    shown = ringed[-1]
    with page.style():
        figure = page.blank(175.0, title=title)
        top, bottom = figure.subplots(2, 1, height_ratios=[1.0, 1.2])
        _draw_trade(top, rows)
        _draw_layout(bottom, shown)
    return figure


def _draw_trade(axes: Axes, rows: Sequence[VaneTrade]) -> None:
    bare, ringed = page.STROKES[1], page.STROKES[0]
    across = [row.across for row in rows]
    axes.plot(
        across, [100 * row.bare for row in rows], color=bare.colour, linestyle=bare.dash, marker=bare.marker,
        label="the same wall without vanes", gid="bare",
    )  # fmt: skip
    with_vanes = [row for row in rows if row.layout is not None]
    axes.errorbar(
        [row.across for row in with_vanes], [100 * (row.light.wall or 0.0) for row in with_vanes],
        yerr=[100 * (row.light.wall_error or 0.0) for row in with_vanes], color=ringed.colour, linestyle=ringed.dash,
        marker=ringed.marker, capsize=2, label="with vanes (depth and number beside)", gid="vanes",
    )  # fmt: skip
    for row in with_vanes:
        known = "" if row.complete else ", some lit wall in sight"
        axes.annotate(
            f"{row.depth:g} mm, {row.count}{known}", (row.across, 100 * (row.light.wall or 0.0)), xytext=(0, 7),
            textcoords="offset points", fontsize=page.SMALLEST_LETTER, ha="center",
        )  # fmt: skip
    values = [100 * row.bare for row in rows] + [100 * (row.light.wall or 0.0) for row in with_vanes]
    positive = [value for value in values if value > 0]
    if positive:
        axes.set_yscale("log")
        axes.set_ylim(min(positive) / 2, max(positive) * 12)
    axes.margins(x=0.1)
    axes.set_xlabel("Outside diameter (mm)")
    axes.set_ylabel("Light by way of the wall\n(% of that on the open glass)")
    axes.set_title(
        f"{rows[0].light.surroundings} surroundings, {rows[0].light.setting}; direct light {rows[-1].light.direct:.1%} throughout",
        fontsize=9,
    )
    axes.legend(loc="upper right")
    axes.grid(color=page.PALE, linewidth=0.5, which="both")


def _draw_layout(axes: Axes, row: VaneTrade) -> None:
    """One side of the hood, with the two lines that place the vane after the second."""
    layout = row.layout
    assert layout is not None
    z = np.array([vane.z for vane in layout.vanes])
    inner = np.array([vane.inner_radius for vane in layout.vanes])
    wall = float(layout.wall_radius[0])
    front, ends, glass = float(z[0]), np.array(layout.shadow_end), page.STROKES[1]
    axes.plot([min(layout.glass_z, 0.0), front], [wall, wall], color=page.INK, linewidth=2.0, gid="wall")
    axes.vlines(z, inner, layout.wall_radius, color=page.STROKES[0].colour, linewidth=1.4, gid="vane")
    for k in range(1, len(z)):
        axes.plot(
            [ends[k], z[k]], [1.04 * wall] * 2, color=page.GREY, linewidth=3.0, solid_capstyle="butt", gid="shadow",
        )  # fmt: skip
    axes.plot([layout.glass_z] * 2, [0.0, layout.glass_radius], color=glass.colour, linewidth=2.5, gid="glass")
    axes.annotate(
        "front glass", (layout.glass_z, 0.5 * layout.glass_radius), xytext=(5, 0), textcoords="offset points", va="center",
        fontsize=page.SMALLEST_LETTER,
    )  # fmt: skip
    if len(z) > 2:
        _construct(axes, front, float(inner[0]), (float(z[1]), float(inner[1])), (float(ends[1]), wall), layout)
    axes.plot([min(layout.glass_z, 0.0), front], [0.0, 0.0], color=page.GREY, linewidth=0.6, linestyle=(0, (8, 3, 1, 3)))
    axes.set_ylim(0.0, 1.1 * wall)
    axes.set_aspect("equal")
    axes.set_xlabel("Ahead of the seat (mm)")
    axes.set_ylabel("From the axis (mm)")
    axes.set_title(
        f"{row.count} vanes {row.depth:g} mm deep, one side cut along the axis. Grey: wall in their shadow.\n"
        "Dotted: light from the far edge of the front over a vane; dashed: sight from the far edge of the glass",
        fontsize=9,
    )


def _construct(
    axes: Axes, front: float, entrance: float, edge: tuple[float, float], end: tuple[float, float], layout: VaneLayout
) -> None:
    """The line of light over an edge to the end of its shadow, and the line of sight to that place."""
    axes.plot([front, end[0]], [-entrance, end[1]], color=page.INK, linewidth=0.9, linestyle=(0, (1, 1.5)), gid="light")
    axes.plot(
        [layout.glass_z, end[0]], [-layout.glass_radius, end[1]], color=page.INK, linewidth=0.9, linestyle=(0, (5, 3)),
        gid="sight",
    )  # fmt: skip
    axes.plot(*edge, "o", color=page.INK, markersize=3)
