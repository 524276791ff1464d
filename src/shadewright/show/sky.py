"""The sky ahead of the lens: from where a distant source reaches the front glass, past each hood."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.collections import QuadMesh
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke
from matplotlib.projections.polar import PolarAxes
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.light.share import LightMap
from shadewright.optics.frame import Frame
from shadewright.show import page

Array = NDArray[np.float64]

MOST_MAPS = 9
MOST_ACROSS = 88.0
"""Greatest width of one panel, mm, so that four of them fit on a page."""
NAME_WIDTH = 30
"""Letters of a hood's name on one line."""
CONTOURS = {0.1: (0, (1, 1.5)), 0.5: (0, (5, 2)), 0.9: (0, ())}
"""Lit shares at which lines are drawn, and how they are dashed."""
DARK = 0.4
"""Below this lit share lines are white, since the picture is dark there."""
OUTLINE_PIECES = 64
RINGS = (30, 60)
"""Angles from the axis at which rings are drawn, degrees."""


def sky_figure(
    maps: Mapping[str, LightMap],
    *,
    frames: Sequence[Frame],
    title: str = "From where light reaches the front glass",
) -> Figure:
    """The lit share over the forward sky for up to nine hoods, one panel each on one scale.

    maps: the name of each hood and its map. frames: one frame for all, or one for each map, outlined in
    white. Radius is the angle from the lens's axis, direction as seen from behind the camera. Raises
    MakeError.
    """
    if not 1 <= len(maps) <= MOST_MAPS or len(frames) not in (1, len(maps)):
        raise MakeError(
            f"sky: {len(maps)} maps and {len(frames)} frames; give 1 to {MOST_MAPS} maps and one frame, or "
            "one for each."
        )
    across = {1: 1, 2: 2, 4: 2}.get(len(maps), 3)
    down = math.ceil(len(maps) / across)
    each = min((page.PAGE_WIDTH - 10.0) / across, MOST_ACROSS)
    with page.style():
        names = [textwrap.fill(name, NAME_WIDTH) for name in maps]
        lines = max(name.count("\n") for name in names)
        figure = page.blank(down * (each + 10.0 + 4.0 * lines) + 36.0, title=title)
        panels = figure.subplots(down, across, subplot_kw={"projection": "polar"}, squeeze=False).ravel()
        for place, (axes, (name, light)) in enumerate(
            zip(panels, zip(names, maps.values(), strict=True), strict=False)
        ):
            image = _draw_sky(axes, light)
            _draw_frame(axes, frame_directions(frames[place % len(frames)]))
            axes.set_title(
                f"{name}\nlets in {light.let_in:.0%} from outside the frame", fontsize=9, y=1.0, pad=23
            )
        for axes in panels[len(maps) :]:
            axes.remove()
        bar = figure.colorbar(
            image, ax=list(panels[: len(maps)]), location="bottom", fraction=0.05, aspect=50, pad=0.04
        )
        bar.set_label(
            "Lit share: part of the front glass reached from a direction (middle: straight ahead, edge: 90°)"
        )
        entries = [
            Line2D([], [], color=page.INK, linestyle=dash, linewidth=1.2, label=_level_name(level))
            for level, dash in CONTOURS.items()
        ]
        white: dict[str, Any] = {
            "color": "white",
            "linewidth": 1.4,
            "path_effects": [withStroke(linewidth=2.8, foreground=page.INK)],
        }
        entries.append(Line2D([], [], label="frame of the picture", **white))
        figure.legend(handles=entries, loc="outside lower center", ncols=4)
    return figure


def _level_name(level: float) -> str:
    return f"{level:.0%} lit (white)" if level < DARK else f"{level:.0%} lit"


def _draw_sky(axes: PolarAxes, light: LightMap) -> QuadMesh:
    turn = np.radians(np.arange(0.0, 362.0, 2.0))
    angle = np.arange(0.0, 91.0, 1.0)
    share = sampled(light, angle[:, None], turn[None, :])
    image = axes.pcolormesh(
        turn, angle, share, cmap="cividis", vmin=0.0, vmax=1.0, shading="nearest", rasterized=True, gid="lit"
    )
    for level, dash in CONTOURS.items():
        if np.nanmin(share) < level < np.nanmax(share):
            colour = "white" if level < DARK else page.INK
            axes.contour(turn, angle, share, levels=[level], colors=colour, linewidths=1.2, linestyles=[dash])
    axes.set(ylim=(0.0, 90.0))
    axes.set_xticks(np.radians([0, 90, 180, 270]), ["right", "top", "left", "bottom"])
    axes.tick_params(axis="x", pad=1)
    axes.set_yticks(RINGS, [""] * len(RINGS))
    axes.grid(color="white", alpha=0.5, linewidth=0.6)
    return image


def _draw_frame(axes: PolarAxes, outlines: Sequence[Array]) -> None:
    """The frame's outlines, and the rings' angles written where the outlines leave room."""
    for outline in outlines:
        for colour, width in ((page.INK, 2.6), ("white", 1.4)):
            axes.plot(outline[:, 0], outline[:, 1], color=colour, linewidth=width, gid="frame")
    places = np.radians(np.arange(195.0, 346.0, 5.0))
    room = [min(_room_at(outline, place) for outline in outlines) for place in places]
    best = places[int(np.argmax(room))]
    for ring in RINGS:
        axes.text(
            best, ring, f"{ring}°", ha="center", va="center", fontsize=page.SMALLEST_LETTER, zorder=5,
            path_effects=[withStroke(linewidth=2.2, foreground="white")],
        )  # fmt: skip


def _room_at(outline: Array, place: float) -> float:
    """Degrees between a frame's outline and the nearest ring at an azimuth (radians)."""
    nearest = np.argmin(np.abs(outline[:, 0] % (2 * np.pi) - place))
    return float(np.min(np.abs(outline[nearest, 1] - np.array(RINGS))))


def sampled(light: LightMap, angle: Array, turn: Array) -> Array:
    """Lit share at angles from the axis (degrees) and azimuths (radians), broadcast; bilinear in cosines."""
    radial = np.sin(np.radians(angle))
    cells = len(light.lit)
    place = [(radial * part + 1.0) * cells / 2 - 0.5 for part in (np.cos(turn), np.sin(turn))]
    known = np.isfinite(light.lit)
    values = np.where(known, light.lit, 0.0)
    total, weight = np.zeros(place[0].shape), np.zeros(place[0].shape)
    corner = [np.clip(np.floor(p).astype(int), 0, cells - 2) for p in place]
    share = [np.clip(p - c, 0.0, 1.0) for p, c in zip(place, corner, strict=True)]
    # Cells beyond the horizon hold nothing: only those that are known count.
    for dx in (0, 1):
        for dy in (0, 1):
            part = (
                np.abs(1 - dx - share[0]) * np.abs(1 - dy - share[1]) * known[corner[1] + dy, corner[0] + dx]
            )
            total += part * values[corner[1] + dy, corner[0] + dx]
            weight += part
    return np.where(weight > 0, total / np.where(weight > 0, weight, 1.0), np.nan)


def frame_directions(frame: Frame) -> list[Array]:
    """Each outline of the frame as closed azimuths (radians) and angles from the axis (degrees), (n, 2)."""
    found = []
    share = np.arange(OUTLINE_PIECES)[:, None] / OUTLINE_PIECES
    for outline in frame.outlines():
        following = np.roll(outline, -1, 0)
        points = np.concatenate([a + (b - a) * share for a, b in zip(outline, following, strict=True)])
        slopes = frame.slopes(np.concatenate([points, points[:1]]))
        angle = np.degrees(np.arctan(np.hypot(slopes[:, 0], slopes[:, 1])))
        found.append(np.stack([np.arctan2(slopes[:, 1], slopes[:, 0]), angle], axis=1))
    return found
