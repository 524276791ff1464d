"""The opening of a hood as the middle of the entrance pupil sees it, laid over the frame.

A point P of the rim is seen from the pupil's middle C along the slope (Px - Cx, Py - Cy) / (Pz - Cz), and the
lens puts that slope at a place on the frame by its projection: both in mm on the frame, as the viewer sees
the subject.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.path import Path
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.model.shape import RoundHood, TunnelHood
from shadewright.optics.beam import Beam
from shadewright.optics.frame import Frame
from shadewright.optics.projection import STEEPEST_SLOPE
from shadewright.show import page

Array = NDArray[np.float64]

WIDEST_VIEW = 2.4
"""The figure ends at this many half diagonals of the frame."""
LIP_PIECES = 48
"""Straight edges of a tunnel are followed by this many points, since a fisheye lens shows them curved."""


def opening_figure(
    hood: RoundHood | TunnelHood, beam: Beam, *, title: str = "The hood's opening as the lens sees it"
) -> Figure:
    """The rim seen from the middle of the entrance pupil, the frame inside it, and a plain rim for
    comparison.

    Raises MakeError where no part of the rim lies ahead of the pupil within view.
    """
    rim = seen_from_pupil(rim_loop(hood), beam)
    if not np.any(np.all(np.isfinite(rim), axis=1)):
        raise MakeError(
            f"opening: no part of the rim lies ahead of the entrance pupil at {beam.label}; choose another "
            "setting."
        )
    outlines = beam.frame.outlines()
    half = np.max(np.abs(np.concatenate(outlines)), axis=0)
    limit = WIDEST_VIEW * float(np.hypot(*half))
    plain = _plain_rim(hood, beam)
    view = np.minimum(np.nanmax(np.abs(np.concatenate([rim, plain])), axis=0) * 1.06, limit)
    view = np.maximum(view, half * 1.15)
    scale = min((page.PAGE_WIDTH - 40.0) / (2 * view[0]), 130.0 / (2 * view[1]))
    with page.style():
        figure = page.blank(2 * float(view[1]) * scale + 52.0, title=title)
        axes = figure.subplots()
        axes.set_facecolor(page.PALE)
        _draw_opening(axes, rim, plain, beam)
        for outline in outlines:
            axes.add_patch(
                Polygon(
                    outline, closed=True, facecolor="none", edgecolor=page.STROKES[0].colour, linewidth=1.8,
                    hatch="..", label="frame" if outline is outlines[0] else None, gid="frame",
                )
            )  # fmt: skip
        axes.plot(
            [0], [0], marker="+", markersize=9, color=page.INK, linestyle="none", label="axis of the lens"
        )
        axes.set(xlim=(-view[0], view[0]), ylim=(-view[1], view[1]))
        axes.set(xlabel="right (mm on the frame)", ylabel="up (mm on the frame)")
        words = beam.label
        if _holds(rim, beam.frame):
            words += (
                "\nThe gap round the frame is needed because the lens looks from the whole entrance pupil,\n"
                f"{2 * beam.windows[0, 1]:.1f} mm wide, and not from its middle alone."
            )
        axes.set_title(words, fontsize=9)
        axes.set_aspect("equal")
        for spine in axes.spines.values():
            spine.set_visible(True)
        figure.legend(loc="outside lower center", ncols=2)
    return figure


def _plain_rim(hood: RoundHood | TunnelHood, beam: Beam) -> Array:
    """The rim (n, 2) seen, mm, of a plain hood with the same wall; none for a tunnel or plain hood."""
    if isinstance(hood, TunnelHood) or hood.rim.deepest - hood.rim.shallowest < 1e-6:
        return np.empty((0, 2))
    depth = hood.rim.shallowest
    return seen_from_pupil(_ring(float(hood.wall.radius_at(depth)), depth), beam)


def _holds(opening: Array, frame: Frame) -> bool:
    """True where every corner of the frame lies inside the opening."""
    if not np.all(np.isfinite(opening)):
        return False
    return bool(np.all(Path(opening).contains_points(np.concatenate(frame.outlines()))))


def _fills(opening: Array, frame: Frame) -> str:
    """What part of an opening the frame takes, in words; nothing where it is not wholly inside."""
    if not _holds(opening, frame):
        return ""
    return f";\nthe frame fills {frame_share(opening, frame):.0%} of it"


def _draw_opening(axes: Axes, rim: Array, plain: Array, beam: Beam) -> None:
    words = "opening of the hood (grey: the hood's inside)" + _fills(rim, beam.frame)
    if np.all(np.isfinite(rim)):
        axes.add_patch(Polygon(rim, closed=True, facecolor="white", edgecolor="none"))
    closed = np.concatenate([rim, rim[:1]])
    axes.plot(closed[:, 0], closed[:, 1], color=page.INK, linewidth=2.2, label=words, gid="opening")
    if len(plain):
        words = "opening of a plain hood as deep as this one's valleys" + _fills(plain, beam.frame)
        axes.plot(
            *np.concatenate([plain, plain[:1]]).T, color=page.STROKES[1].colour, label=words, gid="plain",
            linestyle=page.STROKES[1].dash, linewidth=1.6,
        )  # fmt: skip
    glass = seen_from_pupil(_ring(beam.front_radius, beam.reach), beam)
    axes.plot(
        *np.concatenate([glass, glass[:1]]).T, color=page.GREY, linestyle=page.STROKES[2].dash, linewidth=1.0,
        label="edge of the front glass", gid="glass",
    )  # fmt: skip


def _ring(radius: float, z: float) -> Array:
    angle = np.radians(np.arange(0.0, 360.0, 1.0))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full_like(angle, z)], axis=1)


def rim_loop(hood: RoundHood | TunnelHood) -> Array:
    """The rim as a closed loop of points (n, 3) mm; a tunnel's lips are joined along its corners."""
    if isinstance(hood, RoundHood):
        return hood.rim_points()
    w, h, rim = hood.wall.half_width, hood.wall.half_height, hood.rim
    corners = np.array(
        [
            (w, -h, rim.right), (w, h, rim.right), (w, h, rim.top), (-w, h, rim.top), (-w, h, rim.left),
            (-w, -h, rim.left), (-w, -h, rim.bottom), (w, -h, rim.bottom),
        ]
    )  # fmt: skip
    share = np.arange(LIP_PIECES)[:, None] / LIP_PIECES
    return np.concatenate(
        [a + (b - a) * share for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
    )


def seen_from_pupil(points: Array, beam: Beam) -> Array:
    """Where points (n, 3) of seat coordinates appear on the frame, (n, 2) mm; NaN for what no frame could
    show.

    That is what lies beside or behind the pupil, further than 89 degrees from the axis, or beyond the slope
    at which a measured projection turns back.
    """
    depth, _, x, y = beam.windows[0]
    offset = np.asarray(points, dtype=float) - np.array([x, y, beam.reach - depth])
    ahead = offset[:, 2] > 1e-9
    slopes = offset[:, :2] / np.where(ahead, offset[:, 2], 1.0)[:, None]
    steep = np.hypot(slopes[:, 0], slopes[:, 1])
    wanted = ahead & (steep < min(STEEPEST_SLOPE, _turning_slope(beam.frame)))
    seen = np.full((len(slopes), 2), np.nan)
    seen[wanted] = beam.frame.points(slopes[wanted])
    return seen


def _turning_slope(frame: Frame) -> float:
    """The slope up to which image height grows with slope."""
    slopes = np.tan(np.radians(np.linspace(0.0, 89.0, 891)))
    heights = frame.points(np.stack([slopes, np.zeros_like(slopes)], axis=1))[:, 0]
    falling = np.flatnonzero(np.diff(heights) <= 0)
    return float(slopes[falling[0]]) if len(falling) else float("inf")


def frame_share(opening: Array, frame: Frame) -> float:
    """Area of the frame's first outline over that of the opening (n, 2), both in mm2 on the frame."""
    return abs(_area(frame.outlines()[0])) / abs(_area(opening))


def _area(polygon: Array) -> float:
    x, y = polygon[:, 0], polygon[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
