"""The unrolled rim: how far each part of it may reach, what binds it there, and what is made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.show import page

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

MOST_NAMES = 6
"""Settings named in the legend, "other settings" among them."""
NO_SETTING = "nothing optical: the largest length allowed"
OTHERS = "other settings"
MARKER_STEP = 12.0
"""Degrees between the marks on the deepest rim that name its setting in print without colour."""


def rim_figure(
    azimuth: Array,
    deepest: Array,
    made: Array,
    binding_state: Indices,
    labels: Sequence[str],
    *,
    plain: float | None = None,
    limits: tuple[float, float],
    title: str = "The rim, unrolled",
) -> Figure:
    """The deepest rim by what binds it, the rim that is made, and the wall behind it.

    azimuth: (n,) degrees, ascending within one turn. deepest, made: (n,) z in mm. binding_state: (n,) index
    into `labels`, -1 where the largest length and no setting binds. plain: z of the plain rim, mm. limits:
    where the wall begins and the largest length allowed, z in mm. Raises MakeError where the arrays do not
    belong together.
    """
    _require_alike(azimuth, deepest, made, binding_state, labels)
    turn = np.append(azimuth, azimuth[0] + 360.0)
    edge, state = np.append(deepest, deepest[0]), np.append(binding_state, binding_state[0])
    wall = np.append(made, made[0])
    groups = grouped(binding_state, labels)
    with page.style():
        figure = page.blank(98.0 + 4.3 * len(groups), title=title)
        axes = figure.subplots()
        axes.fill_between(
            turn, limits[0], wall, facecolor="white", edgecolor="#9a9a9a", hatch="///", linewidth=0,
            label="wall of the hood", gid="wall",
        )  # fmt: skip
        axes.plot(turn, wall, color=page.INK, linewidth=3.2, label="rim as made", gid="made")
        if plain is not None:
            axes.axhline(
                plain, color=page.INK, linewidth=1.0, dashes=(8, 3), gid="plain",
                label=f"plain rim, the same depth all round ({plain:.1f} mm)",
            )  # fmt: skip
        for (name, members), stroke in zip(groups, page.STROKES, strict=False):
            _draw_group(axes, turn, edge, np.isin(state, members), name, stroke)
        top = max(float(edge.max()), float(wall.max()))
        if limits[1] <= 1.15 * top:
            axes.axhline(
                limits[1], color=page.GREY, linewidth=1.2, dashes=(2, 2), label="largest length allowed"
            )
        axes.set(xlim=(turn[0], turn[0] + 360.0), ylim=(limits[0], limits[0] + 1.12 * (top - limits[0])))
        page.named_sides(axes, turn[0], turn[0] + 360.0)
        axes.set(
            xlabel="Direction from the axis, seen from behind the camera (degrees)",
            ylabel="Ahead of the seat plane (mm)",
        )
        handles, names = axes.get_legend_handles_labels()
        longest = max(len(name) for name in names)
        figure.legend(handles, names, loc="outside lower center", ncols=2 if longest <= 52 else 1)
    return figure


def _require_alike(
    azimuth: Array, deepest: Array, made: Array, state: Indices, labels: Sequence[str]
) -> None:
    sizes = {len(azimuth), len(deepest), len(made), len(state)}
    if len(sizes) != 1 or len(azimuth) < 2:
        raise MakeError(
            f"rim: azimuth, deepest, made and binding_state list {len(azimuth)}, {len(deepest)}, {len(made)} "
            f"and {len(state)} places; give the same number of each, at least 2."
        )
    if np.max(state) >= len(labels) or np.min(state) < -1:
        raise MakeError(
            f"rim: binding_state holds {int(np.min(state))} to {int(np.max(state))}, but there are "
            f"{len(labels)} labels; use -1 for no setting, or the index of a label."
        )


def grouped(state: Indices, labels: Sequence[str]) -> list[tuple[str, list[int]]]:
    """The words of the legend and the states that each stands for, the one that binds longest first.

    States with the same words count as one; what does not fit is grouped as other settings.
    """
    members: dict[str, list[int]] = {}
    share: dict[str, int] = {}
    for index in np.unique(state):
        name = NO_SETTING if index < 0 else labels[index]
        members.setdefault(name, []).append(int(index))
        share[name] = share.get(name, 0) + int(np.sum(state == index))
    names = sorted(members, key=lambda name: -share[name])
    if len(names) <= MOST_NAMES:
        return [(name, members[name]) for name in names]
    kept = names[: MOST_NAMES - 1]
    rest = [index for name in names[MOST_NAMES - 1 :] for index in members[name]]
    return [*((name, members[name]) for name in kept), (OTHERS, rest)]


def stretches(azimuth: Array, z: Array, inside: NDArray[np.bool_]) -> tuple[Array, Array]:
    """The parts of a curve (n,) that belong to a group, each to halfway to its neighbours, parted by NaN."""
    x_parts, z_parts = [], []
    starts = np.flatnonzero(inside & ~np.concatenate([[False], inside[:-1]]))
    ends = np.flatnonzero(inside & ~np.concatenate([inside[1:], [False]]))
    for a, b in zip(starts, ends, strict=True):
        x, y = list(azimuth[a : b + 1]), list(z[a : b + 1])
        if a > 0:
            x.insert(0, 0.5 * (azimuth[a - 1] + azimuth[a]))
            y.insert(0, 0.5 * (z[a - 1] + z[a]))
        if b < len(azimuth) - 1:
            x.append(0.5 * (azimuth[b] + azimuth[b + 1]))
            y.append(0.5 * (z[b] + z[b + 1]))
        x_parts += [*x, np.nan]
        z_parts += [*y, np.nan]
    return np.array(x_parts), np.array(z_parts)


def _draw_group(
    axes: Axes, azimuth: Array, z: Array, inside: NDArray[np.bool_], name: str, stroke: page.Stroke
) -> None:
    x, y = stretches(azimuth, z, inside)
    spacing = 360.0 / (len(azimuth) - 1)
    axes.plot(
        x, y, color=stroke.colour, linestyle=stroke.dash, linewidth=1.8, marker=stroke.marker, markersize=4.5,
        markevery=max(1, round(MARKER_STEP / spacing)), markeredgecolor="white", markeredgewidth=0.5,
        gid="deepest", label=f"deepest rim, bound by {name}",
    )  # fmt: skip
