"""What a measurement rests on: the shadows' profiles with their fit, where the fit misses, and depths that were read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shadewright.show.page import GREY, INK, PALE, STROKES, blank, style

if TYPE_CHECKING:
    from shadewright.measure.measured import RimChoice
    from shadewright.measure.parallax import DepthReading
    from shadewright.measure.pupil import Block, PupilFit

Array = NDArray[np.float64]

BINS = 20
RESIDUAL_RANGE = 5.0
"""Residuals are shown to this many standard errors."""


def fit_figure(fit: PupilFit) -> Figure:
    """For every tube: light left against distance from the shadow's middle, measured and fitted, and the map of what is missed."""
    from matplotlib.colors import Normalize

    tubes = [(i, block) for i, block in enumerate(fit.blocks) if block.tube is not None]
    error = f"{fit.depth_error:.2f}"
    title = f"Pupil at {fit.setting.focal_length:g} mm, f/{fit.setting.f_number:g}: {fit.depth:.2f} ± {error} mm behind the front rim"
    with style():
        figure = blank(min(40 + 58 * len(tubes), 250), title=title)
        grid: Any = figure.add_gridspec(len(tubes) * 2, 2, width_ratios=(1.15, 1), height_ratios=(2.2, 1) * len(tubes))
        for row, (i, block) in enumerate(tubes):
            value, residual, kept = fit.fitted(i), fit.solution.residuals[i], fit.solution.kept[i]
            upper = figure.add_subplot(grid[2 * row, 0])
            lower = figure.add_subplot(grid[2 * row + 1, 0], sharex=upper)
            _profile(upper, lower, fit, i, block, value, residual, kept)
            axes = figure.add_subplot(grid[2 * row : 2 * row + 2, 1])
            _residual_map(axes, block, residual, kept, Normalize(-RESIDUAL_RANGE, RESIDUAL_RANGE), last=row == len(tubes) - 1, figure=figure)
    return figure


def _middle(fit: PupilFit, i: int) -> Array:
    """Where the middle of a tube's shadow falls on the frame, mm."""
    from shadewright.measure.pupil import open_end

    values = {u.name: float(v) for u, v in zip(fit.solution.unknowns, fit.solution.values, strict=True)}
    end = open_end(values, i, fit.view.reach)
    scale = values["image_distance"] / (end.centre[2] + values["pupil_depth"])
    return np.array([values["axis_x"] + end.centre[0] * scale, values["axis_y"] + end.centre[1] * scale])


def _profile(
    upper: Any, lower: Any, fit: PupilFit, i: int, block: Block, value: Array, residual: Array, kept: NDArray[np.bool_]
) -> None:
    away = np.hypot(*(block.points - _middle(fit, i)).T)
    half = (value > 0.005) & (value < 0.995)
    if half.sum() < 3:
        half = np.ones(len(away), bool)
    low, high = float(away[half].min()), float(away[half].max())
    low, high = max(0.0, low - 0.25 * (high - low)), high + 0.15 * (high - low)
    seen = (away >= low) & (away <= high)
    measured, fitted, missed = STROKES[0], STROKES[1], STROKES[3]
    good, bad = seen & kept, seen & ~kept
    upper.plot(away[good], block.value[good], ".", color=measured.colour, markersize=1.6, alpha=0.5, label="measured", rasterized=True)
    if bad.any():
        upper.plot(away[bad], block.value[bad], "x", color=missed.colour, markersize=3, label="left out (dust, marks)")
    edges = np.linspace(low, high, BINS + 1)
    at = np.digitize(away[good], edges) - 1
    bins = [k for k in range(BINS) if np.any(at == k)]
    middle = 0.5 * (edges[:-1] + edges[1:])
    upper.plot(middle[bins], [float(np.median(value[good][at == k])) for k in bins], color=fitted.colour, lw=1.6, label="fitted")
    upper.set_ylim(-0.05, 1.1)
    upper.set_ylabel("light left")
    assert block.tube is not None
    upper.set_title(f"{block.tube.name}: {block.tube.inner_diameter:g} mm wide, {block.tube.length:g} mm long", loc="left")
    upper.legend(loc="lower left", markerscale=3)
    upper.tick_params(labelbottom=False)
    lower.axhspan(-1, 1, color=PALE, lw=0)
    lower.axhline(0, color=INK, lw=0.6)
    lower.plot(away[good], residual[good], ".", color=measured.colour, markersize=1.2, alpha=0.35, rasterized=True)
    lower.plot(middle[bins], [float(np.mean(residual[good][at == k])) for k in bins], color=fitted.colour, lw=1.4)
    lower.set_ylim(-RESIDUAL_RANGE, RESIDUAL_RANGE)
    lower.set_ylabel("missed by,\nstd. errors")
    lower.set_xlabel("distance from the shadow's middle on the frame, mm")


def _residual_map(
    axes: Any, block: Block, residual: Array, kept: NDArray[np.bool_], norm: Any, *, last: bool, figure: Figure
) -> None:
    """The frame's cells by what the fit misses; cells left out crossed."""
    x, y = block.points[:, 0], block.points[:, 1]
    columns, rows = np.round((x - x.min()) / block.cell[0]).astype(int), np.round((y - y.min()) / block.cell[1]).astype(int)
    table = np.full((rows.max() + 1, columns.max() + 1), np.nan)
    table[rows, columns] = residual
    cell = block.cell
    extent = (x.min() - cell[0] / 2, x.max() + cell[0] / 2, y.min() - cell[1] / 2, y.max() + cell[1] / 2)
    image = axes.imshow(table, origin="lower", extent=extent, cmap="PuOr", norm=norm, interpolation="nearest")
    if (~kept).any():
        axes.plot(x[~kept], y[~kept], "x", color=INK, markersize=2.5, mew=0.5)
    order = np.full(table.shape, np.nan)
    order[rows, columns] = block.value
    if np.isfinite(order).all():
        axes.contour(order, levels=[0.5], colors=[INK], linewidths=0.8, linestyles="--", extent=extent)
    axes.set_aspect("equal")
    axes.set_title("Missed; dashed: half the light", loc="left")
    axes.set_xlabel("mm")
    if last:
        figure.colorbar(image, ax=axes, orientation="horizontal", shrink=0.8, label="fitted less measured light, standard errors")


def readings_figure(readings: Sequence[DepthReading]) -> Figure:
    """Each depth that was read, with its standard error and its own scatter."""
    with style():
        figure = blank(40 + 16 * len(readings), title="Depth of the entrance pupil, as read")
        axes: Any = figure.add_subplot()
        names = []
        for row, reading in enumerate(readings):
            stroke = STROKES[list(type(reading.way)).index(reading.way)]
            if reading.image_distance is None:
                each = reading.depth + np.array(reading.residuals)
                axes.plot(each, np.full(len(each), row - 0.2), "|", color=GREY, markersize=8)
            axes.errorbar(reading.depth, row, xerr=reading.error, fmt=stroke.marker, color=stroke.colour, capsize=4, lw=1.4)
            focus = "far" if math.isinf(reading.focus_distance) else f"{reading.focus_distance:g} mm"
            names.append(f"{reading.way}, {reading.focal_length:g} mm, {focus}\n{reading.depth:.1f} ± {reading.error:.1f} mm")
        axes.set_yticks(range(len(readings)), names)
        axes.set_ylim(len(readings) - 0.4, -0.6)
        axes.grid(axis="x", color=PALE, lw=0.6)
        axes.set_xlabel("mm behind the front rim plane (bar: one standard error; ticks: single readings)")
    return figure


def rim_choice_figure(choice: RimChoice, *, radius: float) -> Figure:
    """The deepest rim of a measured lens: best guess, safe at the confidence asked for, and that of the document."""
    from shadewright.show.page import named_sides

    with style():
        figure = blank(95, title=f"Deepest rim on a tube of {2 * radius:g} mm: what the uncertainty costs")
        axes: Any = figure.add_subplot()
        azimuth = np.append(choice.azimuth, 360.0)
        rows = (
            (choice.nominal, "best guess"), (choice.safe, f"safe all round, {choice.confidence:.0%}"),
            (choice.documented, "lens document with its intervals"),
        )  # fmt: skip
        for stroke, (rim, label) in zip(STROKES, rows, strict=False):
            axes.plot(azimuth, np.append(rim, rim[0]), color=stroke.colour, ls=stroke.dash, lw=1.5, label=label)
        named_sides(axes, 0.0, 360.0)
        axes.set_ylabel("mm ahead of the seat")
        axes.grid(color=PALE, lw=0.6)
        axes.legend(loc="best")
    return figure
