"""The lens cut open: its surfaces, the stop, the beams of three field points right through it, and the hood on it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.shape import HoodShape, MeshHood
from shadewright.optics.beam import Beam, Job
from shadewright.optics.settings import Setting
from shadewright.optics.system import System
from shadewright.optics.trace import trace
from shadewright.optics.traced import TracedState
from shadewright.show import page
from shadewright.show.rays import EdgeRays, PlaneRay, edge_rays, edge_slope, traced_edge_rays, wall_cut

Array = NDArray[np.float64]

SHARES = (0.0, 0.7, 1.0)
"""Field points drawn, as shares of the slope of the frame's edge in the plane."""
GLASS = "#dcebf5"
BEHIND = 0.06
"""Room behind the image plane, as a share of the drawing's length."""


def lens_section_figure(
    job: Job, setting: Setting, *, hood: HoodShape | None = None, thickness: float = 2.0, title: str
) -> Figure:
    """A traced lens cut upright through its axis, z ahead of the seat plane to the right. Raises OpticsError."""
    state = setting.traced
    if state is None:
        raise OpticsError("only a lens with a prescription can be drawn cut open; this one is known by its windows.")
    beam = job.beam(setting)
    origin = beam.reach + state.plane
    ahead = _ahead(beam, hood, state.main)
    behind = origin - float(state.main.vertices[-1])
    with page.style():
        length = ahead - behind
        away = _away(beam, hood, state.main, ahead, thickness)
        scale = (page.PAGE_WIDTH - 20.0) / (length * (1 + BEHIND))
        figure = page.blank(min(2 * away * scale + 44.0, page.PAGE_HEIGHT), title=title)
        axes = figure.subplots()
        _draw_glass(axes, state.main, origin)
        for stroke, share in zip(page.STROKES, SHARES, strict=False):
            _draw_beam(axes, beam, state, share, (origin, ahead), stroke)
        if hood is not None and not isinstance(hood, MeshHood):
            _draw_hood(axes, hood, thickness)
        axes.axhline(0.0, color=page.GREY, linewidth=0.5, linestyle=(0, (8, 2, 1, 2)))
        axes.plot([behind, behind], [-0.8 * away, 0.8 * away], color=page.INK, linewidth=1.0)
        axes.annotate("image", (behind, 0.8 * away), xytext=(2, 2), textcoords="offset points", fontsize=page.SMALLEST_LETTER)
        axes.set(xlim=(behind - BEHIND * length, ahead), ylim=(-away, away))
        axes.set_aspect("equal")
        axes.set_xlabel("Ahead of the seat plane, to the subject (mm)")
        axes.set_ylabel("Above the axis (mm)")
        figure.legend(handles=_legend(hood), loc="outside lower center", ncols=3)
    return figure


def _ahead(beam: Beam, hood: HoodShape | None, system: System) -> float:
    """z at which the drawing ends towards the subject, mm."""
    front = beam.reach + 0.25 * float(system.vertices[-1])
    if hood is None or isinstance(hood, MeshHood):
        return front
    tip = max(float(wall_cut(hood, way)[-1, 0]) for way in (90.0, 270.0))
    return max(front, tip + 0.12 * (tip + float(system.vertices[-1])))


def _away(beam: Beam, hood: HoodShape | None, system: System, ahead: float, thickness: float) -> float:
    away = float(np.max(system.semi[np.isfinite(system.semi)]))
    if hood is not None and not isinstance(hood, MeshHood):
        away = max(away, max(float(np.max(wall_cut(hood, way)[:, 1])) for way in (90.0, 270.0)) + thickness)
    reached = max(abs(float(edge_rays(beam, way).outer.u_at(ahead))) for way in (90.0, 270.0))
    return 1.08 * max(away, min(reached, 1.6 * away))


def _draw_glass(axes: Axes, system: System, origin: float) -> None:
    """Surfaces as arcs out to their clear edges, filled where glass stands between two; the stop as two bars."""
    vertices = system.vertices
    arcs = []
    for k in range(len(system)):
        radius = np.linspace(-system.semi[k], system.semi[k], 81)
        arcs.append(np.stack([origin - vertices[k] - system.sag(k, radius), radius], axis=1))
    for k in range(len(system) - 1):
        if system.index[k + 1] > 1.05:
            ring = np.concatenate([arcs[k], arcs[k + 1][::-1]])
            axes.add_patch(Polygon(ring, closed=True, facecolor=GLASS, edgecolor=page.INK, linewidth=0.7, gid="glass"))
    for k in range(len(system)):
        bends = abs(system.index[k + 1] - system.index[k]) > 1e-9
        if bends:
            estimated = k in system.estimated
            axes.plot(
                *arcs[k].T, color=page.INK, linewidth=0.9, linestyle=(0, (3, 1.5)) if estimated else "-", gid="surface"
            )
    z, semi = origin - float(vertices[system.stop]), system.stop_semi
    for side in (1.0, -1.0):
        axes.plot([z, z], [side * semi, side * semi * 1.35], color=page.INK, linewidth=2.6, solid_capstyle="butt", gid="stop")


def _draw_beam(
    axes: Axes, beam: Beam, state: TracedState, share: float, span: tuple[float, float], stroke: page.Stroke
) -> None:
    """The outermost, innermost and chief rays of one field point of the upper half, through the lens to the image."""
    origin, ahead = span
    assert beam.footprints is not None
    slope = share * edge_slope(beam, 90.0)
    rays = traced_edge_rays(beam, beam.footprints, slope)
    if not rays.passes:
        return
    for ray, width, dash in _three(rays, stroke):
        heights = np.array([float(ray.u_at(origin))])
        start = np.column_stack([np.zeros(1), heights, np.zeros(1)])
        found = trace(state.main, start, np.array([[0.0, -ray.slope, 1.0]]), path=True, clips=False)
        if not found.arrived[0]:
            continue
        z = np.concatenate([[ahead], origin - found.path[:, 0, 2]])
        u = np.concatenate([[float(ray.u_at(ahead))], found.path[:, 0, 1]])
        axes.plot(z, u, color=stroke.colour, linewidth=width, linestyle=dash, gid="ray", zorder=3)


def _three(rays: EdgeRays, stroke: page.Stroke) -> list[tuple[PlaneRay, float, tuple[float, tuple[float, ...]]]]:
    return [(rays.outer, 1.1, stroke.dash), (rays.inner, 1.1, stroke.dash), (rays.chief, 0.8, (0, (1, 2)))]


def _draw_hood(axes: Axes, hood: HoodShape, thickness: float) -> None:
    assert not isinstance(hood, MeshHood)
    for side, way in ((1.0, 90.0), (-1.0, 270.0)):
        inside = wall_cut(hood, way)
        ring = np.concatenate([inside, inside[::-1] + np.array([0.0, thickness])]) * np.array([1.0, side])
        axes.add_patch(
            Polygon(ring, closed=True, facecolor="white", edgecolor=page.INK, linewidth=1.1, hatch="//////", gid="wall")
        )


def _legend(hood: HoodShape | None) -> list[Line2D | Polygon]:
    names = ("middle of the frame", "70 % of the way to its top edge", "its top edge")
    entries: list[Line2D | Polygon] = [
        Line2D([], [], color=stroke.colour, linestyle=stroke.dash, linewidth=1.1, label=name)
        for stroke, name in zip(page.STROKES, names, strict=False)
    ]
    entries.append(Line2D([], [], color=page.GREY, linestyle=(0, (1, 2)), linewidth=0.8, label="chief rays, through the stop's middle"))
    entries.append(Line2D([], [], color=page.INK, linewidth=2.6, label="stop"))
    if hood is not None and not isinstance(hood, MeshHood):
        entries.append(
            Polygon(np.zeros((3, 2)), facecolor="white", edgecolor=page.INK, hatch="//////", label="hood, cut")
        )
    return entries


