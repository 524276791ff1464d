"""The section: lens front, hood and extreme rays cut by planes through the axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.make.rings import Ring, ring_outline
from shadewright.model.shape import HoodShape, MeshHood, RoundHood, TunnelHood
from shadewright.optics.beam import Beam
from shadewright.show import page
from shadewright.show.rays import EdgeRays, depth_towards, edge_rays, mesh_cut, wall_cut

Array = NDArray[np.float64]

WALL_THICKNESS = 2.0
"""Thickness at which a wall is drawn where none is given, mm."""
BEYOND = 0.18
"""How far rays are drawn beyond the hood, as a share of the drawing's length."""
ROOM_FOR_LETTERS = 10.0
"""Room on the page beside the hood for what is written at its rims, mm."""
TOUCHING = 0.005
"""A ray that passes a rim by less than this is said to touch it, mm."""
_WALL: dict[str, Any] = {"facecolor": "white", "edgecolor": page.INK, "linewidth": 1.2, "hatch": "//////"}
_RINGS: dict[str, Any] = {"facecolor": page.GREY, "edgecolor": page.INK, "linewidth": 0.6}


def section_figure(
    hood: HoodShape,
    beams: Sequence[Beam],
    *,
    azimuth: float = 0.0,
    second_azimuth: float | None = None,
    rim_radius: float | None = None,
    thickness: float = WALL_THICKNESS,
    rings: Sequence[Ring] = (),
    title: str,
) -> Figure:
    """The lens's front and the hood, cut by two planes through the axis, with the extreme rays of each beam.

    beams: a few settings, such as the shortest and the longest. azimuth: of the first plane, degrees; the
    second is the plane through the corners of the frame unless `second_azimuth` says otherwise. rim_radius:
    outside radius of the front rim, mm, drawn where given. rings: vanes and ridges of a round hood. Raises OpticsError for a plane that a frame does
    not reach, and MakeError for more settings than can be told apart.
    """
    if not 1 <= len(beams) <= len(page.STROKES):
        raise MakeError(
            f"section: {len(beams)} settings cannot be told apart; give 1 to {len(page.STROKES)}."
        )
    if second_azimuth is None:
        second_azimuth = corner_azimuth(beams[0])
    planes = [azimuth, second_azimuth]
    back, ahead, away, outside = _extent(hood, beams, planes, thickness)
    # Two drawings stand beside each other unless the hood is so long that one above the other is larger.
    beside = 2 * away / (ahead - back) > 0.75
    scale = (page.PAGE_WIDTH / 2 - 16.0 if beside else page.PAGE_WIDTH - 18.0) / (ahead - back)
    away = max(away, outside + ROOM_FOR_LETTERS / scale)
    each = 2 * away * scale
    with page.style():
        entries = _legend(beams, hood, back, rings)
        below = 4.3 * math.ceil(len(entries) / 2)
        figure = page.blank((each + 26.0 if beside else 2 * each + 32.0) + below, title=title)
        panels = figure.subplots(*((1, 2) if beside else (2, 1)), sharex=True)
        for axes, plane in zip(panels, planes, strict=True):
            _draw_plane(
                axes, hood, beams, plane, rim_radius=rim_radius, thickness=thickness, rings=rings,
                span=(back, ahead),
            )  # fmt: skip
            axes.set(xlim=(back, ahead), ylim=(-away, away), title=_plane_name(plane, beams[0]))
            axes.set_aspect("equal")
            axes.set_ylabel(_across_name(plane))
            if beside or axes is panels[1]:
                axes.set_xlabel("Ahead of the seat plane, to the subject (mm)")
        figure.legend(handles=entries, loc="outside lower center", ncols=2)
    return figure


def corner_azimuth(beam: Beam) -> float:
    """Azimuth of the frame's top right corner, degrees: the frame point furthest from the axis there."""
    outline = beam.frame.outlines()[0]
    quarter = outline[(outline[:, 0] > 0) & (outline[:, 1] > 0)]
    # An image circle cuts the corner off in many equal points: the diagonal goes through their middle.
    reach = np.hypot(quarter[:, 0], quarter[:, 1])
    x, y = quarter[reach >= reach.max() * (1 - 1e-6)].mean(axis=0)
    return math.degrees(math.atan2(y, x))


def _extent(
    hood: HoodShape, beams: Sequence[Beam], planes: Sequence[float], thickness: float
) -> tuple[float, float, float, float]:
    """Least z, greatest z and greatest distance from the axis of the drawing; the hood's outside; all mm."""
    ways = [plane + turn for plane in planes for turn in (0.0, 180.0)]
    back = min(min(beam.reach - max(beam.windows[0, 0], 0.0) for beam in beams), 0.0)
    deepest = max(max(depth_towards(hood, way) for way in ways), max(beam.reach for beam in beams))
    length = deepest - back
    back, ahead = back - 0.12 * length, deepest + BEYOND * length
    if isinstance(hood, MeshHood):
        away = float(np.max(np.hypot(hood.vertices[:, 0], hood.vertices[:, 1])))
    else:
        away = max(float(np.max(wall_cut(hood, way)[:, 1])) for way in ways) + thickness
    reached = max(abs(float(edge_rays(b, way).outer.u_at(ahead))) for b in beams for way in ways)
    return back, ahead, min(1.12 * max(reached, away), 1.6 * away), away


def _draw_plane(
    axes: Axes,
    hood: HoodShape,
    beams: Sequence[Beam],
    azimuth: float,
    *,
    rim_radius: float | None,
    thickness: float,
    rings: Sequence[Ring],
    span: tuple[float, float],
) -> None:
    for beam in beams:
        _draw_barrel(axes, beam, rim_radius, span[0])
    axes.axhline(0.0, color=page.GREY, linewidth=0.7, dashes=(12, 3, 2, 3))
    axes.axvline(0.0, color=page.GREY, linewidth=0.8, dashes=(3, 2))
    axes.annotate(
        "seat plane", (0.0, 0.01), xycoords=("data", "axes fraction"), xytext=(3, 0),
        textcoords="offset points", fontsize=page.SMALLEST_LETTER, color=page.INK, va="bottom",
    )  # fmt: skip
    for beam, stroke in zip(beams, page.STROKES, strict=False):
        for side, turn in ((1.0, 0.0), (-1.0, 180.0)):
            _draw_rays(axes, edge_rays(beam, azimuth + turn), beam, stroke, side, span[1])
    for beam, stroke in zip(beams, page.STROKES, strict=False):
        _draw_windows(axes, beam, stroke, azimuth)
    _draw_hood(axes, hood, azimuth, thickness)
    if isinstance(hood, RoundHood):
        _draw_rings(axes, hood, rings, azimuth)
    if not isinstance(hood, MeshHood):
        _note_gaps(axes, hood, beams, azimuth)


def _draw_barrel(axes: Axes, beam: Beam, rim_radius: float | None, back: float) -> None:
    """The front rim in black and the barrel behind it in grey."""
    # Where the glass lies behind it, the rim has an opening of its own, which is a window of depth 0.
    glass = max([beam.front_radius, *(float(w[1]) for w in beam.windows[2:] if w[0] == 0)])
    outside = max(rim_radius if rim_radius is not None else glass + 3.0, glass + 0.5)
    for low in (glass, -outside):
        for length, colour, name in ((beam.reach - back, page.PALE, "barrel"), (2.0, page.INK, "rim")):
            axes.add_patch(
                Rectangle(
                    (beam.reach - length, low), length, outside - glass, facecolor=colour, edgecolor="none",
                    gid=name, zorder=0.5 if name == "barrel" else 1.5,
                )
            )  # fmt: skip


def _draw_rays(axes: Axes, rays: EdgeRays, beam: Beam, stroke: page.Stroke, side: float, end: float) -> None:
    pupil = beam.reach - float(beam.windows[0, 0])
    z = np.array([min(pupil, beam.reach), end])
    if rays.passes:
        outer, inner = side * rays.outer.u_at(z), side * rays.inner.u_at(z)
        axes.fill_between(z, inner, outer, color=stroke.colour, alpha=0.10, linewidth=0)
        axes.plot(z, outer, color=stroke.colour, linestyle=stroke.dash, linewidth=1.6, gid="outer")
        axes.plot(z, inner, color=stroke.colour, linestyle=stroke.dash, linewidth=0.8, gid="inner")
    axes.plot(
        z, side * rays.chief.u_at(z), color=stroke.colour, linestyle=(0, (1, 3)), linewidth=0.9, gid="chief"
    )


def _draw_windows(axes: Axes, beam: Beam, stroke: page.Stroke, azimuth: float) -> None:
    """Each window as a gap between ticks: the front glass and the pupil strongly, the others lightly."""
    along = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))])
    tick = 0.1 * beam.front_radius
    for index, (depth, radius, x, y) in enumerate(beam.windows):
        if index > 1 and depth == 0:
            continue  # the front rim, drawn as such
        z, middle = beam.reach - depth, float(np.array([x, y]) @ along)
        if index == 1:
            axes.plot(
                [z, z],
                [-radius, radius],
                color=stroke.colour,
                linestyle=stroke.dash,
                linewidth=1.0,
                gid="front",
            )
            continue
        colour, width = (stroke.colour, 2.6) if index == 0 else (page.GREY, 1.0)
        for side in (1.0, -1.0):
            ends = [middle + side * radius, middle + side * (radius + tick)]
            axes.plot([z, z], ends, color=colour, linewidth=width, solid_capstyle="butt", gid="window")
    axes.plot(
        [beam.reach - float(beam.windows[0, 0])], [float(beam.windows[0, 2:] @ along)], color=stroke.colour,
        marker=stroke.marker, markersize=4.5, linestyle="none", gid="pupil",
    )  # fmt: skip


def _draw_hood(axes: Axes, hood: HoodShape, azimuth: float, thickness: float) -> None:
    if isinstance(hood, MeshHood):
        axes.add_collection(
            LineCollection(list(mesh_cut(hood, azimuth)), colors=page.INK, linewidths=1.4, gid="wall")
        )
        return
    for side, turn in ((1.0, 0.0), (-1.0, 180.0)):
        inside = wall_cut(hood, azimuth + turn)
        outside = inside[::-1] + np.array([0.0, thickness])
        ring = np.concatenate([inside, outside]) * np.array([1.0, side])
        axes.add_patch(Polygon(ring, closed=True, gid="wall", **_WALL))


def _draw_rings(axes: Axes, hood: RoundHood, rings: Sequence[Ring], azimuth: float) -> None:
    """Vanes and ridges in grey, up to the rim."""
    for side, turn in ((1.0, 0.0), (-1.0, 180.0)):
        end = float(hood.rim.z_at(azimuth + turn))
        for ring in rings:
            if ring.z <= end + 1e-6:
                outline = [(z, side * r) for r, z in ring_outline(ring, hood.wall, into=0.0)]
                axes.add_patch(Polygon(outline, closed=True, gid="ring", **_RINGS))


def _legend(beams: Sequence[Beam], hood: HoodShape, back: float, rings: Sequence[Ring]) -> list[Artist]:
    """One entry for each setting, then what the kinds of line stand for."""
    entries: list[Artist] = [
        Line2D(
            [], [], color=stroke.colour, linestyle=stroke.dash, linewidth=1.6, marker=stroke.marker,
            markersize=4.5, label=beam.label,
        )
        for beam, stroke in zip(beams, page.STROKES, strict=False)
    ]  # fmt: skip
    grey: dict[str, Any] = {"color": page.GREY}
    dot: dict[str, Any] = {"linestyle": "none", "marker": "o", "markersize": 4.5}
    dots: dict[str, Any] = {"linestyle": (0, (1, 3)), "linewidth": 0.9}
    entries += [
        Line2D([], [], linewidth=1.8, label="heavy: outermost rays of the frame's edge", **grey),
        Line2D([], [], linewidth=0.8, label="thin: innermost rays of the frame's edge", **grey),
        Line2D([], [], label="dotted: ray through the pupil's middle", **dots, **grey),
        Line2D([], [], label="entrance pupil: the diaphragm seen from ahead", **dot, **grey),
    ]
    if any(beam.reach - depth > back for beam in beams for depth in beam.windows[2:, 0]):
        tick: dict[str, Any] = {"marker": "|", "markersize": 9.0, "linestyle": "none"}
        entries.append(
            Line2D([], [], label="edges of the lens's other openings seen from ahead", **tick, **grey)
        )
    if isinstance(hood, MeshHood):
        entries.append(Line2D([], [], color=page.INK, linewidth=1.4, label="hood, cut"))
    else:
        entries.append(Polygon(np.zeros((3, 2)), label="hood, cut", **_WALL))
    if rings:
        entries.append(Polygon(np.zeros((3, 2)), label="vanes or ridges, cut", **_RINGS))
    entries.append(Rectangle((0, 0), 1, 1, facecolor=page.INK, label="front rim of the lens (grey: barrel)"))
    if not isinstance(hood, MeshHood):
        ring: dict[str, Any] = {
            "marker": "o",
            "markersize": 7.0,
            "markerfacecolor": "none",
            "linestyle": "none",
        }
        entries.append(
            Line2D([], [], color=page.INK, label="rim, and the room between it and the beam", **ring)
        )
    return entries


def rim_gap(hood: RoundHood | TunnelHood, beam: Beam, azimuth: float) -> float:
    """How far inside the rim the outermost ray towards `azimuth` passes, mm; negative: the rim cuts it."""
    end, away = wall_cut(hood, azimuth)[-1]
    return float(away - edge_rays(beam, azimuth).outer.u_at(float(end)))


def _note_gaps(axes: Axes, hood: RoundHood | TunnelHood, beams: Sequence[Beam], azimuth: float) -> None:
    """At each rim, by how much the setting whose rays pass it most closely misses it."""
    for side, turn in ((1.0, 0.0), (-1.0, 180.0)):
        end, away = wall_cut(hood, azimuth + turn)[-1]
        gap = min(rim_gap(hood, beam, azimuth + turn) for beam in beams)
        if abs(gap) < TOUCHING:
            words = "touches"
        elif gap > 0:
            words = f"{gap:.2g} mm clear"
        else:
            words = f"{-gap:.2g} mm in the beam"
        axes.plot(
            [end], [side * away], marker="o", markersize=7, markerfacecolor="none", color=page.INK,
            gid="rim point",
        )  # fmt: skip
        axes.annotate(
            words, (end, side * away), xytext=(0, side * 16), textcoords="offset points", ha="right",
            va="center", fontsize=page.SMALLEST_LETTER,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
        )  # fmt: skip


def _plane_name(azimuth: float, beam: Beam) -> str:
    turned = azimuth % 180.0
    if turned < 1e-6 or turned > 180 - 1e-6:
        return "Cut level, from left to right"
    if abs(turned - 90.0) < 1e-6:
        return "Cut upright, from bottom to top"
    if abs(turned - corner_azimuth(beam)) < 0.5:
        return f"Cut through two corners ({turned:.0f}° from level)"
    return f"Cut {turned:.0f}° from level"


def _across_name(azimuth: float) -> str:
    turned = azimuth % 180.0
    if min(turned, 180.0 - turned) < 1e-6:
        return "Right of the axis (mm)"
    return "Above the axis (mm)"
