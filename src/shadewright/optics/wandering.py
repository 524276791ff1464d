"""Footprints of a lens known by windows whose pupil moves with the field angle.

For every slope the windows are discs in the front plane, as ever, but the pupil's depth is its own at each: so the beams are
tabled as those of a traced lens are.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.optics import trace_kernel
from shadewright.optics.footprints import ARC, NORMALS, Footprints, normals

Array = NDArray[np.float64]

ROWS = 129
"""Slopes of the table, even in field angle."""
HALVINGS = 40
"""Halvings in the search for the slope at which the light vanishes."""


def window_footprints(
    windows: Array, wander: tuple[float, float], *, steepest: float, object_distance: float, reference: float | None = None
) -> Footprints:
    """The table of centred windows (k, 4) whose first, the pupil, lies deeper by w1 tau^2 + w2 tau^4 at slope tau.

    steepest: of the frame; reference: depth of the plane that slopes are measured from, the pupil's on the axis unless given;
    object_distance: from that plane to the subject, mm. Raises OpticsError where the pupil
    would lie beyond the subject, or no light passes even along the axis.
    """
    depth = float(windows[0, 0]) if reference is None else reference
    return _cached(windows.tobytes(), len(windows), wander, steepest, object_distance, depth)


@lru_cache(maxsize=512)
def _cached(
    raw: bytes, count: int, wander: tuple[float, float], steepest: float, object_distance: float, reference: float
) -> Footprints:
    windows = np.frombuffer(raw).reshape(count, 4)
    slope = _rows(windows, wander, steepest, (object_distance, reference))
    centres, radii = discs(windows, wander, slope, object_distance, reference=reference)
    low, high = np.max(centres - radii, axis=1), np.min(centres + radii, axis=1)
    lit = high > low
    if not lit[0]:
        raise OpticsError("state: by its windows no light passes along the axis; measure pupil_depth and windows again.")
    last = len(slope) if lit.all() else int(np.argmin(lit))
    slope, centres, radii = slope[:last], centres[:last], radii[:last]
    middle = 0.5 * (low[:last] + high[:last])
    arc = np.linspace(0.0, math.pi, ARC)
    reach, surface = boundary(centres, radii, middle, arc)
    row, angle, length, limit = _corners(centres, radii, middle)
    psi = normals()
    support, rim = np.empty((last, NORMALS)), np.empty((last, NORMALS), np.int64)
    area, hollow = np.empty(last), np.empty(last)
    trace_kernel.support_kernel(
        np.ascontiguousarray(middle), arc, reach, surface, row, angle, length, limit, np.cos(psi), np.sin(psi), support,
        rim, area, hollow,
    )  # fmt: skip
    depth = float(windows[0, 0])
    return Footprints(
        slope=slope, support=support, rim=rim, centre=middle, height=slope, pupil=depth + _wandered(wander, slope),
        area=area, hollow=float(hollow.max()), complete=bool(slope[-1] >= steepest * (1 - 1e-9)),
        distance=object_distance - reference, depth=reference,
    )  # fmt: skip


def _rows(windows: Array, wander: tuple[float, float], steepest: float, subject: tuple[float, float]) -> Array:
    """Slopes even in angle, and crowded towards the slope at which the light vanishes, if it does."""
    slope = np.tan(np.linspace(0.0, math.atan(steepest), ROWS))
    distance, reference = subject
    centres, radii = discs(windows, wander, slope, distance, reference=reference)
    dark = np.max(centres - radii, axis=1) >= np.min(centres + radii, axis=1)
    if not dark.any() or dark[0]:
        return slope
    end = int(np.argmax(dark))
    low, high = float(slope[end - 1]), float(slope[end])
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        centres, radii = discs(windows, wander, np.array([middle]), distance, reference=reference)
        if np.max(centres - radii) < np.min(centres + radii):
            low = middle
        else:
            high = middle
    # Towards the end the beam closes like a square root: slopes at even steps of that.
    crowd = low - (low - float(slope[max(end - 8, 0)])) * np.linspace(0.0, 1.0, ROWS)[1:] ** 2
    return np.unique(np.concatenate([slope[:end], crowd[crowd > 0], [low]]))


def _wandered(wander: tuple[float, float], slope: Array) -> Array:
    return np.asarray(wander[0] * slope**2 + wander[1] * slope**4)


def discs(
    windows: Array, wander: tuple[float, float], slope: Array, object_distance: float, *, reference: float
) -> tuple[Array, Array]:
    """Centres (n, k) along the slope and radii (n, k) in the front plane, mm, of windows (k, 4) at slopes (n,).

    object_distance: from the plane at depth `reference`, which slopes are measured from, to the subject.
    """
    depth = np.repeat(windows[None, :, 0], len(slope), axis=0)
    depth[:, 0] += _wandered(wander, slope)
    radius = np.repeat(windows[None, :, 1], len(slope), axis=0)
    if math.isinf(object_distance):
        return depth * slope[:, None], radius
    # Rays of a slope meet in the subject's point, `ahead` of the front plane.
    ahead = object_distance - reference
    gain = 1.0 + depth / ahead
    if np.any(gain <= 0):
        raise OpticsError("state: the entrance pupil would lie beyond the subject; check pupil_depth and pupil_wander.")
    return depth * (slope * object_distance / ahead)[:, None] / gain, radius / gain


def boundary(centres: Array, radii: Array, middle: Array, arc: Array) -> tuple[Array, NDArray[np.int64]]:
    """Distance (n, a) from points (n,) inside to the edge of overlapping discs in directions (a,), and which disc ends it."""
    off = middle[:, None] - centres
    along = off[:, None, :] * np.cos(arc)[None, :, None]
    under = along**2 - (off**2)[:, None, :] + (radii**2)[:, None, :]
    reach = -along + np.sqrt(np.maximum(under, 0.0))
    which = np.argmin(reach, axis=2)
    return np.take_along_axis(reach, which[..., None], axis=2)[..., 0], which.astype(np.int64)


def _corners(
    centres: Array, radii: Array, middle: Array
) -> tuple[NDArray[np.int64], Array, Array, NDArray[np.int64]]:
    """Corners of the overlaps: the row of each, direction and distance from the row's middle, and a disc that ends there."""
    rows, angles, lengths, limits = [], [], [], []
    for a in range(centres.shape[1]):
        for b in range(a + 1, centres.shape[1]):
            gap = centres[:, b] - centres[:, a]
            apart = np.abs(gap) > 1e-9
            # Both circles are centred on the slope's axis: they cross at one x, above and below.
            x = centres[:, a] + (radii[:, a] ** 2 - radii[:, b] ** 2 + gap**2) / (2 * np.where(apart, gap, 1.0))
            square = radii[:, a] ** 2 - (x - centres[:, a]) ** 2
            y = np.sqrt(np.maximum(square, 0.0))
            within = np.all((x[:, None] - centres) ** 2 + y[:, None] ** 2 <= radii**2 * (1 + 1e-9), axis=1)
            for k in np.nonzero(apart & (square > 0) & within)[0]:
                rows.append(int(k))
                angles.append(math.atan2(y[k], x[k] - middle[k]))
                lengths.append(math.hypot(x[k] - middle[k], y[k]))
                limits.append(a)
    return np.array(rows, np.int64), np.array(angles, float), np.array(lengths, float), np.array(limits, np.int64)
