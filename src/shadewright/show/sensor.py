"""The sensor's view of a hood: loss in stops over the frame, setting by setting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from shadewright.clearance.loss import SensorView
from shadewright.errors import MakeError
from shadewright.show import page

Array = NDArray[np.float64]

MOST_ROWS = 4
"""Settings that fit on a page; of more, those with the largest loss are shown."""
CONTOURS = {0.1: (0, (1, 1.5)), 0.5: (0, (5, 2)), 1.0: (0, ())}
"""Levels of loss at which lines are drawn, stops, and how they are dashed."""
OWN_CONTOURS = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 3.0)
GREATEST_SCALE = 3.0
"""Loss at which the scale of greys ends, stops: an eighth of the light is left."""
LETTERED = 20.0
"""Height of what is written above and below each row, mm."""
CLEAR = 5e-4
"""A loss below this is shown as none, stops."""
_OWN_DASHES = {"dotted": (0, (1, 1.5)), "dashed": (0, (5, 2)), "solid": (0, ())}
_CROSS: dict[str, Any] = {
    "marker": "X",
    "markersize": 8.0,
    "color": page.STROKES[1].colour,
    "markeredgecolor": "white",
}


def sensor_figure(
    views_before: Sequence[SensorView],
    views_after: Sequence[SensorView],
    *,
    allowance: float,
    names: tuple[str, str] = ("Before", "After"),
    title: str = "What the sensor sees of the hood",
) -> Figure:
    """Loss over the frame, one row for each setting: before, after, and the lens's own loss without a hood.

    The two sequences list the same settings in the same order; `views_before` may be empty. allowance: worst
    loss allowed, stops; where a view exceeds it, a cross marks the place nearest to the middle of the frame
    that does. Raises MakeError where the sequences do not belong together.
    """
    if not views_after or (
        views_before and [v.label for v in views_before] != [v.label for v in views_after]
    ):
        raise MakeError(
            f"sensor's view: {len(views_before)} views before and {len(views_after)} after do not show the "
            "same settings; give one view after for each setting, and as many before, in the same order, or "
            "none."
        )
    shown = _worst_rows(views_before, views_after)
    columns = [views for views in (views_before, views_after) if views]
    heads = [*names[2 - len(columns) :], "The lens itself, no hood (stops)"]
    left, right, bottom, top = _extent(views_after[shown[0]].points)
    each = (page.PAGE_WIDTH - 14.0) / len(heads) - 5.0
    tall = min(each * (top - bottom) / (right - left), (page.PAGE_HEIGHT - 58.0) / len(shown) - LETTERED)
    every = [views[index] for views in columns for index in shown]
    greatest = min(max(max(view.worst for view in every), 1.0), GREATEST_SCALE)
    dark = any(bool(np.any(np.isnan(view.loss))) for view in every)
    below = 34.0 if dark else 28.0
    if len(shown) < len(views_after):
        title = f"{title}\n({len(shown)} of {len(views_after)} settings: those with the largest loss)"
    with page.style():
        figure = page.blank(
            (tall + LETTERED) * len(shown) + below + 18.0 + 6.0 * title.count("\n"), title=title
        )
        parts: Any = figure.subfigures(
            len(shown) + 1, 1, height_ratios=[*[tall + LETTERED] * len(shown), below]
        )
        for part, index in zip(parts, shown, strict=False):
            part.suptitle(views_after[index].label, fontsize=9.5, fontweight="bold")
            panels = part.subplots(1, len(heads), sharex=True, sharey=True)
            for axes, views in zip(panels, columns, strict=False):
                image = _draw_loss(axes, views[index], allowance, greatest)
            _draw_own(panels[-1], views_after[index])
            for axes, head in zip(panels, heads, strict=True):
                axes.set_title(head, fontsize=9)
                axes.set_xlabel("right (mm on the frame)", fontsize=page.SMALLEST_LETTER)
            panels[0].set_ylabel("up (mm)", fontsize=page.SMALLEST_LETTER)
        _draw_scale(parts[-1], image, allowance, dark=dark)
    return figure


def _draw_scale(part: SubFigure, image: AxesImage, allowance: float, *, dark: bool) -> None:
    """The scale of loss and what lines and marks mean."""
    axes = part.subplots()
    bar = part.colorbar(image, cax=axes, orientation="horizontal", extend="max")
    axes.set_box_aspect(0.025)
    bar.set_label("Loss by the hood (stops: 1 leaves half of the light, 2 a quarter, 3 an eighth)")
    entries: list[Artist] = [
        Line2D([], [], color=page.INK, linestyle=dash, linewidth=1.1, label=f"{level:g} stop lost")
        for level, dash in CONTOURS.items()
    ]
    limit = f"more loss than the {allowance:g} stop allowed" if allowance > 0 else "any loss at all"
    words = f"first place, going out from the middle, with\n{limit}"
    entries.append(Line2D([], [], linestyle="none", label=words, **_CROSS))
    if dark:
        entries.append(Rectangle((0, 0), 1, 1, facecolor=page.PALE, label="no light from the lens"))
    part.legend(handles=entries, loc="outside lower center", ncols=3 if dark else 4)


def _worst_rows(before: Sequence[SensorView], after: Sequence[SensorView]) -> list[int]:
    """Indices of the settings shown: all, or those with the largest loss in either, in their own order."""
    worst = np.array([view.worst for view in after])
    if before:
        worst = np.maximum(worst, [view.worst for view in before])
    order = np.argsort(-worst, kind="stable")[:MOST_ROWS]
    return sorted(int(k) for k in order)


def _extent(points: Array) -> tuple[float, float, float, float]:
    """Bounds of the picture (left, right, bottom, top) in mm; the grid's points are its cells' middles."""
    low, high = np.nanmin(points, axis=(0, 1)), np.nanmax(points, axis=(0, 1))
    rows, columns = points.shape[:2]
    x, y = (high - low) / (2 * np.maximum([columns - 1, rows - 1], 1))
    return float(low[0] - x), float(high[0] + x), float(low[1] - y), float(high[1] + y)


def _axis_values(points: Array) -> tuple[Array, Array]:
    """The grid's x (columns,) and y (rows,) in mm, also where an image circle leaves some points out."""
    rows, columns = points.shape[:2]
    low, high = np.nanmin(points, axis=(0, 1)), np.nanmax(points, axis=(0, 1))
    return np.linspace(low[0], high[0], columns), np.linspace(low[1], high[1], rows)


def first_exceeding(view: SensorView, allowance: float) -> tuple[float, float] | None:
    """The frame point (mm) nearest to the middle of the frame whose loss exceeds the allowance, or None."""
    over = np.nan_to_num(view.loss, nan=0.0) > allowance + CLEAR
    if not over.any():
        return None
    away = np.where(over, np.hypot(view.points[..., 0], view.points[..., 1]), math.inf)
    row, column = np.unravel_index(int(np.argmin(away)), away.shape)
    x, y = view.points[row, column]
    return float(x), float(y)


def _draw_loss(axes: Axes, view: SensorView, allowance: float, greatest: float) -> AxesImage:
    axes.set_facecolor(page.PALE)
    image = axes.imshow(
        view.loss, origin="lower", extent=_extent(view.points), cmap="Blues", vmin=0.0, vmax=greatest,
        interpolation="bilinear", aspect="equal", gid="loss",
    )  # fmt: skip
    _frame(axes)
    if not np.any(np.isfinite(view.loss)):
        axes.text(0.5, 0.5, "no light", transform=axes.transAxes, ha="center", va="center", fontsize=16)
        return image
    if view.worst < CLEAR:
        axes.text(0.5, 0.5, "clear", transform=axes.transAxes, ha="center", va="center", fontsize=16)
        return image
    x, y = _axis_values(view.points)
    for level, dash in CONTOURS.items():
        if np.nanmin(view.loss) < level < view.worst:
            axes.contour(
                x, y, view.loss, levels=[level], colors="white" if level > 0.6 * greatest else page.INK,
                linewidths=1.1, linestyles=[dash],
            )  # fmt: skip
    place = first_exceeding(view, allowance)
    words = f"worst: {_stops(view.worst)}"
    if place is None:
        words = f"within the allowance\n{words}"
    else:
        axes.plot(*place, linestyle="none", clip_on=False, zorder=6, gid="first", **_CROSS)
    axes.text(
        0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", fontsize=9,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.5},
    )  # fmt: skip
    return image


def _draw_own(axes: Axes, view: SensorView) -> None:
    """The lens's own loss towards the edges, as lines only, so that nobody takes it for the hood's."""
    _frame(axes)
    left, right, bottom, top = _extent(view.points)
    axes.set(xlim=(left, right), ylim=(bottom, top))
    axes.set_aspect("equal")
    worst = float(np.nanmax(view.vignetting, initial=0.0))
    words = ["none" if worst < CLEAR else f"up to {_stops(worst)}" if worst < 10 else _stops(worst)]
    # Three lines are legible at this size: those nearest to the largest loss.
    levels = [level for level in OWN_CONTOURS if level < worst][-3:]
    for level, (name, dash) in zip(levels, _OWN_DASHES.items(), strict=False):
        x, y = _axis_values(view.points)
        axes.contour(
            x, y, view.vignetting, levels=[level], colors=page.GREY, linewidths=1.0, linestyles=[dash]
        )
        words.append(f"{name}: {level:g}")
    axes.text(0.5, 0.5, "\n".join(words), transform=axes.transAxes, ha="center", va="center", fontsize=9)


def _frame(axes: Axes) -> None:
    for spine in axes.spines.values():
        spine.set_visible(True)


def _stops(value: float) -> str:
    """A loss in words; beyond the scale only that it is more."""
    if value >= 10:
        return "over 10 stops"
    text = f"{value:.2f}" if value < 1 else f"{value:.1f}"
    return f"{text} stop" if value <= 1 else f"{text} stops"
