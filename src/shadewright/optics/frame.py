"""The frame as regions of slope: convex pieces that together contain every frame point's slope.

A rectilinear frame is one rectangle, exactly. Under any other projection its outline is curved; it is followed by
chords, or where it bulges by chords pushed outwards, so that the pieces always contain the true frame and exceed it by
less than OUTLINE_TOLERANCE of the slope.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.camera import Camera, Orientation
from shadewright.model.hood import Use
from shadewright.model.lens import Mapping, Projection
from shadewright.optics.projection import points_of_slopes, slopes_of_points

Array = NDArray[np.float64]

OUTLINE_TOLERANCE = 2e-4
"""How far a curved frame outline may be exceeded, as a share of the slope."""
CIRCLE_SIDES = 96
"""An image circle is replaced by a circumscribed polygon of this many sides."""


@dataclass(frozen=True)
class Frame:
    """The frame in front of one setting: half sizes in mm at the image, and what maps them to slopes."""

    half_width: float
    half_height: float
    image_distance: float
    mapping: Mapping
    orientation: Orientation
    image_circle: float | None
    """Radius of the image circle in mm, or None."""
    traced: tuple[tuple[float, float], ...] = ()
    """(image height in mm, slope) of chief rays from the axis outwards, for a traced lens: these and not `mapping` count."""

    def slopes(self, points: Array) -> Array:
        """Slope vectors (n, 2) of frame points (n, 2) in mm, as the viewer sees the subject."""
        if self.traced:
            return _scaled(points, _by_height(self.traced))
        scaled = np.asarray(points, dtype=float) / self.image_distance
        return slopes_of_points(scaled, self.mapping.kind, self.mapping.coefficients)

    def points(self, slopes: Array) -> Array:
        """Frame points (n, 2) in mm of slope vectors (n, 2)."""
        if self.traced:
            return _scaled(slopes, _by_slope(self.traced))
        return points_of_slopes(slopes, self.mapping.kind, self.mapping.coefficients) * self.image_distance

    def outlines(self) -> list[Array]:
        """Convex outlines in mm at the image, counter-clockwise, one for each orientation of the frame."""
        return list(_outlines(self.half_width, self.half_height, self.orientation, self.image_circle))

    def pieces(self) -> list[Array]:
        """Convex polygons of slope, each (n, 2) counter-clockwise, whose union contains the frame. Raises OpticsError."""
        pieces: list[Array] = []
        for outline in self.outlines():
            if self.mapping.kind is Projection.RECTILINEAR and not self.traced:
                pieces.append(self.slopes(outline))
            else:
                pieces.extend(_fan(self._curved(outline)))
        return pieces

    def grid(self, columns: int, rows: int) -> Array:
        """Frame points (rows, columns, 2) in mm over every outline of the used frame, edges included; NaN outside."""
        outlines = self.outlines()
        half = np.max(np.abs(np.concatenate(outlines)), axis=0)
        points = np.stack(
            np.meshgrid(np.linspace(-half[0], half[0], columns), np.linspace(-half[1], half[1], rows)), axis=-1
        )
        inside = np.zeros((rows, columns), bool)
        for outline in outlines:
            along = np.roll(outline, -1, 0) - outline
            off = points[..., None, :] - outline
            inside |= np.all(along[:, 0] * off[..., 1] - along[:, 1] * off[..., 0] >= -1e-9, axis=-1)
        points[~inside] = np.nan
        return points

    def describe(self, slope: Array) -> str:
        """Where in the frame a slope vector (2,) lies, in words such as "top right corner"."""
        x, y = self.points(np.asarray(slope, dtype=float)[None, :])[0]
        outlines = self.outlines()
        across = x / max(float(np.abs(o[:, 0]).max()) for o in outlines)
        up = y / max(float(np.abs(o[:, 1]).max()) for o in outlines)
        side = "right" if across > 0 else "left"
        level = "top" if up > 0 else "bottom"
        if self.image_circle is not None and np.hypot(x, y) > 0.99 * self.image_circle:
            return f"edge of the image circle, {level} {side}"
        if abs(across) > 0.97 and abs(up) > 0.97:
            return f"{level} {side} corner"
        if max(abs(across), abs(up)) < 0.03:
            return "centre of the frame"
        if abs(across) >= abs(up):
            return f"{side} edge" if abs(across) > 0.97 else f"{side} half of the frame"
        return f"{level} edge" if abs(up) > 0.97 else f"{level} half of the frame"

    def _curved(self, outline: Array) -> Array:
        """The outline in slope space as a polygon (n, 2) that contains the true one."""
        for count in (4, 8, 16, 32, 64, 128):
            dense = np.concatenate(
                [
                    a + (b - a) * np.arange(count)[:, None] / count
                    for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)
                ]
            )
            halfway = 0.5 * (dense + np.roll(dense, -1, 0))
            corners, truth = self.slopes(dense), self.slopes(halfway)
            chord = 0.5 * (corners + np.roll(corners, -1, 0))
            along = np.roll(corners, -1, 0) - corners
            outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(along[:, 0], along[:, 1])[:, None]
            height = np.sum(outward * corners, axis=1)
            if np.any(height <= 0):
                raise OpticsError("the frame does not hold the lens's axis under this projection; lower the shift.")
            bulge = np.sum(outward * (truth - chord), axis=1) / height
            if np.max(np.abs(bulge)) <= OUTLINE_TOLERANCE:
                break
        return corners * (1.0 + 1.5 * max(0.0, float(np.max(bulge))))


def _scaled(vectors: Array, law: Callable[[Array], Array]) -> Array:
    """Vectors (..., 2) made as long as the law makes their length."""
    vectors = np.asarray(vectors, dtype=float)
    length = np.hypot(vectors[..., 0], vectors[..., 1])
    away = length > 1e-12
    ratio = np.where(away, law(length) / np.where(away, length, 1.0), law(np.array([1e-6]))[0] / 1e-6)
    return vectors * ratio[..., None]


@lru_cache(maxsize=256)
def _by_height(table: tuple[tuple[float, float], ...]) -> Callable[[Array], Array]:
    height, slope = np.array(table).T
    return _odd_curve(height, slope)


@lru_cache(maxsize=256)
def _by_slope(table: tuple[tuple[float, float], ...]) -> Callable[[Array], Array]:
    height, slope = np.array(table).T
    return _odd_curve(slope, height)


def _odd_curve(x: Array, y: Array) -> Callable[[Array], Array]:
    """y over x >= 0 by a cubic spline, odd about 0; straight on beyond the end."""
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(np.concatenate([-x[:0:-1], x]), np.concatenate([-y[:0:-1], y]))
    end, value, rise = float(x[-1]), float(y[-1]), float(spline(x[-1], 1))

    def law(at: Array) -> Array:
        return np.where(at <= end, spline(np.minimum(at, end)), value + rise * (at - end))

    return law


@lru_cache(maxsize=1024)
def _outlines(
    half_width: float, half_height: float, orientation: Orientation, image_circle: float | None
) -> tuple[Array, ...]:
    """The outlines of a frame, worked out once for each size."""
    sizes = {
        Orientation.LANDSCAPE: [(half_width, half_height)],
        Orientation.PORTRAIT: [(half_height, half_width)],
        Orientation.BOTH: [(half_width, half_height), (half_height, half_width)],
    }[orientation]
    outlines = [np.array([(w, h), (-w, h), (-w, -h), (w, -h)], dtype=float) for w, h in dict.fromkeys(sizes)]
    if image_circle is not None:
        outlines = [_clip_to_circle(outline, image_circle) for outline in outlines]
    for outline in outlines:
        outline.setflags(write=False)
    return tuple(outlines)


def _clip_to_circle(outline: Array, radius: float) -> Array:
    """The convex outline cut by a polygon circumscribed about the image circle."""
    polygon = [np.asarray(point) for point in outline]
    for angle in (np.arange(CIRCLE_SIDES) + 0.5) * 2 * np.pi / CIRCLE_SIDES:
        normal = np.array([np.cos(angle), np.sin(angle)])
        kept: list[Array] = []
        for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True):
            da, db = float(normal @ a) - radius, float(normal @ b) - radius
            if da <= 0:
                kept.append(a)
            if (da < 0 < db) or (db < 0 < da):
                kept.append(a + (b - a) * (da / (da - db)))
        polygon = kept
    return np.array(polygon)


def _fan(outline: Array) -> list[Array]:
    """Triangles from the axis to each side of an outline that is star-shaped about it."""
    return [np.array([(0.0, 0.0), a, b]) for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)]


def frame_half_sizes(camera: Camera, use: Use) -> tuple[float, float]:
    """Half width and half height in mm of the used part of the frame, sensor travel included. Raises OpticsError."""
    try:
        width, height = camera.used_frame(crop=use.crop, mask=use.mask)
    except ValueError as error:
        raise OpticsError(f"use: {error}; name one that it has.") from None
    return width / 2 + camera.stabiliser_travel, height / 2 + camera.stabiliser_travel
