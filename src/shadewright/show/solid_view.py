"""A printed solid, shaded, seen from the front right and from the sensor's side.

Each drawing is a picture on which every dot shows the nearest face behind it, so that 100 000 triangles need
neither sorting nor thinning out, and lengths across the line of sight are true to the scale drawn beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numba import njit
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.show import page

Array = NDArray[np.float64]
Faces = NDArray[np.int64]

VIEWS = (
    ("From the front: right and above", 26.0, 52.0),
    ("From the sensor's side: right and above", 26.0, -52.0),
)
"""What each drawing shows, and the eye's height above the level and direction from x towards z, degrees."""
DOTS = 640
"""Dots across a drawing: 200 to the inch at the size of the page."""
FINER = 2
"""Dots are worked out this much finer each way, then averaged."""
DARKEST, LIGHTEST = 0.34, 0.96
"""Greys of a face turned away from the lamp and of one turned towards it."""
EDGE_STEP = 0.012
"""Neighbouring dots further apart in depth than this share of the picture are parted by a dark line."""
EDGE_GREY = 0.12


@dataclass(frozen=True)
class Eye:
    """A far eye: unit vectors (3,) in seat coordinates towards it, and to the right and up in its picture."""

    towards: Array
    right: Array
    up: Array


def eye_at(height: float, direction: float) -> Eye:
    """An eye at `height` degrees above the level and `direction` degrees from x towards z.

    Seat coordinates are left-handed, so that right is up x (away from the eye): +x for an eye behind the
    camera.
    """
    rise, turn = math.radians(height), math.radians(direction)
    towards = np.array([math.cos(rise) * math.cos(turn), math.sin(rise), math.cos(rise) * math.sin(turn)])
    up = np.array([0.0, 1.0, 0.0]) - towards[1] * towards
    up = up / np.linalg.norm(up)
    return Eye(towards, np.cross(up, -towards), up)


def solid_figure(vertices: Array, faces: Faces, *, title: str) -> Figure:
    """Two shaded drawings of a closed solid.

    vertices: (n, 3) mm, seat coordinates. faces: (m, 3), counter-clockwise from outside in those numbers.
    Raises MakeError for an empty or broken mesh.
    """
    vertices, faces = np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.int64)
    indexed = len(faces) > 0 and faces.min() >= 0 and faces.max() < len(vertices)
    if not indexed or not np.all(np.isfinite(vertices)):
        raise MakeError(
            f"solid: {len(faces)} faces over {len(vertices)} corners cannot be drawn; give at least one "
            "face, finite corners, and indices within them."
        )
    size = np.ptp(vertices, axis=0)
    eyes = [eye_at(height, direction) for _, height, direction in VIEWS]
    flat = [np.stack([vertices @ eye.right, vertices @ eye.up], axis=1) for eye in eyes]
    # One scale for both drawings.
    span = 1.06 * max(float(np.max(np.ptp(points, axis=0))) for points in flat)
    tall = max(float(np.ptp(points[:, 1])) for points in flat) / span
    with page.style():
        figure = page.blank(82.0 * tall + 32.0, title=title)
        panels = figure.subplots(1, 2)
        for axes, (name, _, _), eye, points in zip(panels, VIEWS, eyes, flat, strict=True):
            middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
            picture = shaded(vertices, faces, eye, middle=middle, span=span)
            _show(axes, picture, span, tall)
            axes.set_title(name, fontsize=9.5)
        _scale_line(panels[0], span, tall)
        figure.supxlabel(
            f"Over all: {size[0]:.1f} mm wide, {size[1]:.1f} mm high, {size[2]:.1f} mm from back to front",
            fontsize=9,
        )
    return figure


def shaded(vertices: Array, faces: Faces, eye: Eye, *, middle: Array, span: float) -> Array:
    """Greys (DOTS, DOTS), the lowest row first, of a picture `span` mm wide about `middle` (2,); 1: empty."""
    count = DOTS * FINER
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    normals = normals / np.where(length > 0, length, 1.0)[:, None]
    # Of a closed solid only the faces turned towards the eye can be seen.
    seen = normals @ eye.towards > 1e-9
    placed = np.stack(
        [
            ((corners[seen] @ eye.right) - middle[0]) / span * count + 0.5 * count,
            ((corners[seen] @ eye.up) - middle[1]) / span * count + 0.5 * count,
            corners[seen] @ eye.towards,
        ],
        axis=2,
    )
    picture, depth = np.ones((count, count)), np.full((count, count), -np.inf)
    _nearest(placed, greys(normals[seen], eye), picture, depth)
    picture[_edges(depth, EDGE_STEP * span)] = EDGE_GREY
    return np.asarray(picture.reshape(DOTS, FINER, DOTS, FINER).mean(axis=(1, 3)))


def greys(normals: Array, eye: Eye) -> Array:
    """Greys (m,) of faces by Lambert's cosine law: a lamp above and left of the eye, and light all round."""
    lamp = eye.towards + 0.6 * eye.up - 0.5 * eye.right
    lamp = lamp / np.linalg.norm(lamp)
    return np.asarray(DARKEST + (LIGHTEST - DARKEST) * np.maximum(normals @ lamp, 0.0))


@njit(cache=True, fastmath=False, error_model="numpy")
def _nearest(triangles: Array, grey: Array, picture: Array, depth: Array) -> None:
    """Put the grey of the nearest triangle on every dot; triangles (m, 3, 3): column, row, depth."""
    rows, columns = picture.shape
    for m in range(triangles.shape[0]):
        ax, ay, az = triangles[m, 0]
        bx, by, bz = triangles[m, 1]
        cx, cy, cz = triangles[m, 2]
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if area == 0.0:
            continue
        first_row = max(0, math.ceil(min(ay, by, cy) - 0.5))
        last_row = min(rows - 1, math.floor(max(ay, by, cy) - 0.5))
        first_column = max(0, math.ceil(min(ax, bx, cx) - 0.5))
        last_column = min(columns - 1, math.floor(max(ax, bx, cx) - 0.5))
        for row in range(first_row, last_row + 1):
            y = row + 0.5
            for column in range(first_column, last_column + 1):
                x = column + 0.5
                # Shares of the corners b and c in the dot.
                b = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / area
                c = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / area
                if b < -1e-9 or c < -1e-9 or b + c > 1.0 + 1e-9:
                    continue
                z = az + b * (bz - az) + c * (cz - az)
                if z > depth[row, column]:
                    depth[row, column] = z
                    picture[row, column] = grey[m]


def _edges(depth: Array, step: float) -> NDArray[np.bool_]:
    """Dots that lie nearer than a neighbour by more than `step` mm: outlines, and parts before others."""
    inner = np.pad(depth, 1, constant_values=-np.inf)
    edge = np.zeros(depth.shape, bool)
    covered = np.isfinite(depth)
    for dy, dx in ((0, 1), (2, 1), (1, 0), (1, 2)):
        beside = inner[dy : dy + depth.shape[0], dx : dx + depth.shape[1]]
        edge |= covered & (np.where(covered, depth, 0.0) - beside > step)
    return edge


def _show(axes: Axes, picture: Array, span: float, tall: float) -> None:
    half = 0.5 * span
    axes.imshow(
        picture, origin="lower", extent=(-half, half, -half, half), cmap="gray", vmin=0.0, vmax=1.0,
        interpolation="antialiased", gid="solid",
    )  # fmt: skip
    axes.set(xlim=(-half, half), ylim=(-half * tall * 1.06, half * tall * 1.06))
    axes.set_aspect("equal")
    axes.set_axis_off()


def _scale_line(axes: Axes, span: float, tall: float) -> None:
    """A line of a round length, true for lengths across the line of sight."""
    length = max(value for value in (1, 2, 5, 10, 20, 50, 100, 200, 500) if value <= max(1.0, 0.25 * span))
    left, low = -0.5 * span, -0.5 * span * tall
    axes.plot(
        [left, left + length], [low, low], color=page.INK, linewidth=2.5, solid_capstyle="butt", gid="scale"
    )
    axes.annotate(
        f"{length} mm", (left, low), xytext=(0, 4), textcoords="offset points", fontsize=page.SMALLEST_LETTER,
        va="bottom",
    )  # fmt: skip
