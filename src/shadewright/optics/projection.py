"""From image height to the slope of the ray in front of the lens, for every named projection.

Symbols: r image height (mm), f the image distance (mm), θ field angle, τ = tan θ the slope. The laws are those of
the usual tables of fisheye projections: rectilinear r = f tan θ, stereographic r = 2f tan(θ/2), equidistant r = fθ,
equisolid r = 2f sin(θ/2), orthographic r = f sin θ; "measured" is r = f τ (1 + c1 τ² + c2 τ⁴ + …).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.lens import Projection

Array = NDArray[np.float64]

STEEPEST_SLOPE = float(np.tan(np.radians(89.0)))
"""Fields beyond 89 degrees from the axis are refused: no hood can be ahead of such a front."""


def image_height(slope: Array, kind: Projection, coefficients: Sequence[float] = ()) -> Array:
    """r / f for slopes τ >= 0 (dimensionless, any shape)."""
    slope = np.asarray(slope, dtype=float)
    angle = np.arctan(slope)
    if kind is Projection.RECTILINEAR:
        return slope
    if kind is Projection.STEREOGRAPHIC:
        return 2.0 * np.tan(angle / 2.0)
    if kind is Projection.EQUIDISTANT:
        return angle
    if kind is Projection.EQUISOLID:
        return 2.0 * np.sin(angle / 2.0)
    if kind is Projection.ORTHOGRAPHIC:
        return np.sin(angle)
    return slope * _polynomial(slope, coefficients)


def slope_of(height: Array, kind: Projection, coefficients: Sequence[float] = ()) -> Array:
    """τ = tan θ for image heights r / f >= 0 (any shape).

    Raises OpticsError where the height lies at or beyond 89 degrees, or where a measured polynomial turns back.
    """
    height = np.asarray(height, dtype=float)
    if kind is Projection.RECTILINEAR:
        slope = height
    elif kind is Projection.MEASURED:
        slope = _solve_measured(height, coefficients)
    else:
        slope = np.tan(_angle_of(height, kind))
    if np.any(~np.isfinite(slope)) or np.any(slope >= STEEPEST_SLOPE) or np.any(slope < 0):
        raise OpticsError(
            f"the {kind} projection puts the frame's corner at 89 degrees or more from the axis, a field of "
            "180 degrees: nothing can stand ahead of such a front without showing; use a smaller frame or crop."
        )
    return slope


def _angle_of(height: Array, kind: Projection) -> Array:
    if kind is Projection.STEREOGRAPHIC:
        return 2.0 * np.arctan(height / 2.0)
    if kind is Projection.EQUIDISTANT:
        return np.minimum(height, np.pi / 2)
    limit = 2.0 if kind is Projection.EQUISOLID else 1.0
    factor = 2.0 if kind is Projection.EQUISOLID else 1.0
    angle = factor * np.arcsin(np.minimum(height / limit, 1.0))
    return np.minimum(angle, np.pi / 2)


def _polynomial(slope: Array, coefficients: Sequence[float]) -> Array:
    square = slope * slope
    total = np.zeros_like(slope)
    for coefficient in reversed(coefficients):
        total = (total + coefficient) * square
    return 1.0 + total


def _solve_measured(height: Array, coefficients: Sequence[float]) -> Array:
    """Invert r/f = τ (1 + c1 τ² + …) on its first rising branch, by bisection to the last bit that matters."""
    top = float(np.max(height, initial=0.0))
    grid = np.linspace(0.0, 6.0, 6001)
    values = image_height(grid, Projection.MEASURED, coefficients)
    falling = np.nonzero(np.diff(values) <= 0)[0]
    last = int(falling[0]) if falling.size else len(grid) - 1
    if values[last] < top:
        raise OpticsError(
            "projection.coefficients describe an image height that turns back before the frame's corner "
            f"(it reaches {values[last]:.4g} times the image distance, the corner needs {top:.4g}); "
            "measure the distortion out to the corner, or lower the highest coefficient."
        )
    low, high = np.zeros_like(height), np.full_like(height, grid[last])
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = image_height(middle, Projection.MEASURED, coefficients) < height
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def slopes_of_points(points: Array, kind: Projection, coefficients: Sequence[float] = ()) -> Array:
    """Slope vectors (n, 2) of image points (n, 2) given in units of the image distance. Raises OpticsError."""
    points = np.asarray(points, dtype=float)
    height = np.hypot(points[..., 0], points[..., 1])
    slope = slope_of(height, kind, coefficients)
    scale = np.where(height > 0, slope / np.where(height > 0, height, 1.0), 1.0)
    return points * scale[..., None]


def points_of_slopes(slopes: Array, kind: Projection, coefficients: Sequence[float] = ()) -> Array:
    """Image points (n, 2), in units of the image distance, of slope vectors (n, 2)."""
    slopes = np.asarray(slopes, dtype=float)
    slope = np.hypot(slopes[..., 0], slopes[..., 1])
    height = image_height(slope, kind, coefficients)
    scale = np.where(slope > 0, height / np.where(slope > 0, slope, 1.0), 1.0)
    return slopes * scale[..., None]
