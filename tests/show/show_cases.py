"""An invented zoom lens, hoods for it, and what every figure keeps to: legible letters inside the page."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.model.camera import Camera
from shadewright.model.documents import parse_document
from shadewright.model.lens import Lens
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelWall
from shadewright.optics.beam import Beam, job
from shadewright.show import page

ZOOM = """
document = "lens"
version = 1
name = "Invented zoom"
[front]
rim_diameter = 80
clear_diameter = 70
clear_depth = 0.0
[[state]]
focal_length = 24.0
f_number = 2.8
reach = 6
pupil_depth = 30
rear_window = { depth = 60, radius = 30 }
[[state]]
focal_length = 70.0
f_number = 2.8
reach = -4
pupil_depth = 55
rear_window = { depth = 95, radius = 32 }
"""
NEAR = ZOOM.replace("reach = 6", "reach = 6\nfocus_distance = 200")
DECENTRED = ZOOM.replace("reach = 6", "reach = 6\npupil_decentre = [1.5, -0.75]")
FISHEYE = """
document = "lens"
version = 1
name = "Invented fisheye"
image_circle = 40
[front]
rim_diameter = 80
clear_diameter = 70
clear_depth = 0.0
[projection]
kind = "equisolid"
[[state]]
focal_length = 18.0
f_number = 4.0
reach = 2
pupil_depth = 14
"""
TUBE = RoundWall((0.0,), (46.0,))
CONE = RoundWall((0.0, 50.0), (44.0, 60.0))
STEPPED = RoundWall((0.0, 12.0, 12.0, 1012.0), (44.0, 44.0, 48.0, 48.0))
AZIMUTH = np.arange(720) / 2
CAP = 120.0


@cache
def beams(text: str, *, orientation: str = "landscape") -> tuple[Beam, ...]:
    """The beams of a lens document's states on a 24 x 36 mm frame, from the shortest focal length."""
    camera = parse_document(
        f'document = "camera"\nversion = 1\nname = "Invented"\nformat = "135"\norientation = "{orientation}"',
        Camera,
    )
    work = job(parse_document(text, Lens), camera)
    settings = sorted(work.resolved.settings, key=lambda setting: setting.focal_length)
    return tuple(work.beam(setting) for setting in settings)


@cache
def kept_out(text: str) -> KeepOut:
    """The keep-out of those beams without a margin."""
    return keep_out(beams(text))


@cache
def deepest(text: str, wall: RoundWall) -> RoundHood:
    """The hood whose rim is the edge of the keep-out."""
    return RoundHood(wall, Rim.from_arrays(AZIMUTH, kept_out(text).rim(wall, AZIMUTH, cap=CAP).value))


@cache
def tunnel() -> TunnelHood:
    """A rectangular tunnel for the zoom, as deep as it can be."""
    wall = TunnelWall(48.0, 46.0)
    return TunnelHood(wall, kept_out(ZOOM).tunnel(wall, cap=CAP)[0])


def words(figure: Figure) -> str:
    """All that is written in a figure, line by line."""
    return "\n".join(text.get_text() for text in written(figure))


def written(figure: Figure) -> list[Text]:
    """The visible texts of a figure that say something."""
    return [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]


def lines(figure: Figure, gid: str) -> list[np.ndarray]:
    """The data (n, 2) of all lines of a kind, in the order drawn."""
    return [
        np.asarray(line.get_xydata())
        for axes in figure.axes
        for line in axes.get_lines()
        if line.get_gid() == gid
    ]


def require_legible(figure: Figure) -> None:
    """Every letter is large enough, inside the page, and on no other text."""
    with page.style():
        # Once to lay out and once with all in place, as saving does.
        figure.draw_without_rendering()
        FigureCanvasAgg(figure).draw()
        whole = figure.bbox
        boxes = []
        hidden = _beyond_view(figure)
        for text in written(figure):
            if id(text) in hidden:
                continue
            assert text.get_fontsize() >= page.SMALLEST_LETTER, text
            box = text.get_window_extent()
            assert whole.x0 - 1 <= box.x0, text
            assert box.x1 <= whole.x1 + 1, text
            assert whole.y0 - 1 <= box.y0, text
            assert box.y1 <= whole.y1 + 1, text
            boxes.append((text.get_text(), box))
    _require_apart(boxes)


def _beyond_view(figure: Figure) -> set[int]:
    """The identities of tick labels beyond the ends of an axis, which matplotlib keeps but does not draw."""
    hidden: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not axes.axison or not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    hidden |= {id(tick.label1), id(tick.label2)}
    return hidden


def _require_apart(boxes: Iterable[tuple[str, object]]) -> None:
    found = list(boxes)
    for k, (first, a) in enumerate(found):
        for second, b in found[k + 1 :]:
            across = min(a.x1, b.x1) - max(a.x0, b.x0)
            down = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert across < 1.0 or down < 1.0, f"{first!r} lies on {second!r}"
