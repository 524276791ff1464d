"""Where light on the front glass comes from: past the hood, and by way of its wall, for sources ahead and behind."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.colors import LogNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.light.wall_light import WallLight
from shadewright.optics.frame import Frame
from shadewright.show import page
from shadewright.show.sky import frame_directions

Array = NDArray[np.float64]

MOST_HOODS = 4
ANGLES, TURNS = 61, 73
"""Angles from the axis (0 to 180 degrees) and azimuths (all round) of the mesh that is drawn."""
LEAST = 1e-5
"""Wall light below this is drawn as this."""
RINGS = (30, 60)


def mesh_directions() -> Array:
    """Unit vectors (ANGLES * TURNS, 3) of the mesh, angle by angle; wall light is worked out for these."""
    angle, turn = _mesh()
    theta = np.radians(angle)[:, None]
    x, y = np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn)
    return np.stack([x, y, np.broadcast_to(np.cos(theta), x.shape)], axis=-1).reshape(-1, 3)


def _mesh() -> tuple[Array, Array]:
    return np.linspace(0.0, 180.0, ANGLES), np.linspace(0.0, 2 * np.pi, TURNS)


def wall_light_figure(
    lights: Mapping[str, WallLight], *, frame: Frame, title: str = "Light on the front glass by the place of its source"
) -> Figure:
    """For each hood: direct light, wall light from sources ahead, and wall light from sources behind.

    lights: the name of each hood, and its wall light for `mesh_directions`. Radius is the angle from the axis ahead (or, of
    the last, from straight behind), direction as seen from behind the camera. Raises MakeError.
    """
    wrong = any(len(light.value) != ANGLES * TURNS for light in lights.values())
    if not 1 <= len(lights) <= MOST_HOODS or wrong:
        raise MakeError(
            f"wall light: {len(lights)} hoods; give 1 to {MOST_HOODS}, each with its light for the mesh's directions."
        )
    top = max(float(np.max(light.value)) for light in lights.values())
    scales: dict[str, Any] = {
        "direct": Normalize(0.0, 1.0), "wall": LogNorm(LEAST, max(top, 10 * LEAST)),
    }  # fmt: skip
    with page.style():
        figure = page.blank(len(lights) * 66.0 + 40.0, title=title)
        panels = figure.subplots(len(lights), 3, subplot_kw={"projection": "polar"}, squeeze=False)
        for line, (name, light) in zip(panels, lights.items(), strict=True):
            direct = light.direct.reshape(ANGLES, TURNS)
            wall = np.maximum(light.value.reshape(ANGLES, TURNS), LEAST)
            ahead, behind = slice(0, ANGLES // 2 + 1), slice(ANGLES // 2, None)
            image_direct = _draw(line[0], direct[ahead], scales["direct"])
            image_wall = _draw(line[1], wall[ahead], scales["wall"])
            _draw(line[2], wall[behind][::-1], scales["wall"])
            for axes in line[:2]:
                for outline in frame_directions(frame):
                    for colour, width in ((page.INK, 2.4), ("white", 1.2)):
                        axes.plot(outline[:, 0], outline[:, 1], color=colour, linewidth=width, gid="frame")
            for axes, words in zip(line, ("direct", "by the wall", "by the wall, from behind"), strict=True):
                axes.set_title(f"{textwrap.shorten(name, 24)}: {words}", fontsize=9, pad=14)
        bars = (
            (image_direct, panels[:, 0], "Direct light (share of that at\nnormal incidence on the open glass)"),
            (image_wall, panels[:, 1:], "Light by way of the wall (on the same scale)\nwhite: the frame; middle: straight ahead, or behind; edge: 90°"),
        )  # fmt: skip
        for image, where, label in bars:
            bar = figure.colorbar(image, ax=list(where.ravel()), location="bottom", fraction=0.05, aspect=30, pad=0.05)
            bar.set_label(label)
    return figure


def _draw(axes: PolarAxes, share: Array, scale: Any) -> Any:
    angle, turn = _mesh()
    image = axes.pcolormesh(
        turn, angle[: ANGLES // 2 + 1], share, cmap="cividis", norm=scale, shading="gouraud", rasterized=True, gid="light"
    )
    axes.set(ylim=(0.0, 90.0))
    axes.set_xticks(np.radians([0, 90, 180, 270]), ["right", "top", "left", "bottom"])
    axes.tick_params(axis="x", pad=1)
    axes.set_yticks(RINGS, [f"{ring}°" for ring in RINGS])
    axes.set_rlabel_position(247.5)
    axes.tick_params(axis="y", colors="white")
    axes.grid(color="white", alpha=0.5, linewidth=0.6)
    return image
