"""What a plain tube leaves of each beam: the share of the windows' overlap that its open end lets through, without sampling rays.

Seen along the rays of one frame point, the front rim plane shows the lens's windows as discs and the tube's open end, wherever
it stands and however it leans, as a conic: a plane maps to a plane, and a circle to a conic. The overlap is cut into chords
along the slope; on each, all limits are roots of quadratics. Only the sum over chords is numerical.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

CHORDS = 48
"""Chords across a beam: the share of a disc is then right to about 2e-4 and smooth in every parameter."""


@dataclass(frozen=True)
class OpenEnd:
    """The open end of a tube in front-rim coordinates: centre (x, y, z) and radius, mm, and the leaning (x, y) of its axis.

    The plane of the end is z = centre_z - lean . (p - centre): lean is the slope of the tube's axis.
    """

    centre: tuple[float, float, float]
    radius: float
    lean: tuple[float, float] = (0.0, 0.0)

    def array(self) -> Array:
        """(6,): x, y, z, radius, lean x, lean y."""
        return np.array([*self.centre, self.radius, *self.lean])


@njit(cache=True, error_model="numpy")
def _conic(end: Any, tx: float, ty: float, kappa: float, ux: float, uy: float, out: Any) -> None:
    """Fill out (6,): the quadratic a x² + 2 b x v + c v² + 2 d x + 2 e v + f <= 0 of the open end for points x along (ux, uy), v across.

    tx, ty: slope of the ray through the middle of the front rim plane; kappa: one over the distance at which the rays meet.
    """
    cx, cy, h, radius = end[0], end[1], end[2], end[3]
    sx, sy = -end[4], -end[5]
    steep = sx * tx + sy * ty
    level = h - sx * cx - sy * cy
    # N = n0 + n.q scales; P = q (1 - s.T) + level (T - kappa q) + (s.q) T; Z = level + s.q, all affine in q.
    n0 = 1.0 - steep
    nqx = kappa * sx
    nqy = kappa * sy
    keep = n0 - level * kappa
    px0, pxx, pxy = level * tx, keep + sx * tx, sy * tx
    py0, pyx, pyy = level * ty, sx * ty, keep + sy * ty
    ax0, axx, axy = px0 - cx * n0, pxx - cx * nqx, pxy - cx * nqy
    ay0, ayx, ayy = py0 - cy * n0, pyx - cy * nqx, pyy - cy * nqy
    az0, azx, azy = level - h * n0, sx - h * nqx, sy - h * nqy
    for k in range(6):
        out[k] = 0.0
    for row in range(4):
        if row == 0:
            k0, kx, ky, sign = ax0, axx, axy, 1.0
        elif row == 1:
            k0, kx, ky, sign = ay0, ayx, ayy, 1.0
        elif row == 2:
            k0, kx, ky, sign = az0, azx, azy, 1.0
        else:
            k0, kx, ky, sign = radius * n0, radius * nqx, radius * nqy, -1.0
        along = kx * ux + ky * uy
        across = -kx * uy + ky * ux
        out[0] += sign * along * along
        out[1] += sign * along * across
        out[2] += sign * across * across
        out[3] += sign * along * k0
        out[4] += sign * across * k0
        out[5] += sign * k0 * k0


@njit(cache=True, error_model="numpy")
def opening_shares(
    windows: Any, wander: Any, kappa: float, slopes: Any, end: Any, cosines: Any, sines: Any, shares: Any, areas: Any
) -> None:
    """Fill shares (n,), what the open end leaves of each beam, and areas (n,) in mm2 of the beams without it; NaN and 0 where dark.

    windows (k, 4): depth, radius, centre; row 0 the pupil, deeper by w1 tau² + w2 tau⁴; slopes (n, 2) of the rays through its
    centre on the axis; kappa: one over the distance from the front rim plane to the subject in focus; cosines, sines (c,) of the
    chords' angles.
    """
    chords = cosines.shape[0]
    conic = np.empty(6)
    discs = np.empty((windows.shape[0], 3))
    starts = np.empty(chords)
    stops = np.empty(chords)
    nodes = np.empty(chords)
    for n in range(slopes.shape[0]):
        sx = slopes[n, 0]
        sy = slopes[n, 1]
        square = sx * sx + sy * sy
        steep = math.sqrt(square)
        ux = sx / steep if steep > 1e-12 else 1.0
        uy = sy / steep if steep > 1e-12 else 0.0
        stretch = 1.0 + windows[0, 0] * kappa
        tx = sx * stretch + windows[0, 2] * kappa
        ty = sy * stretch + windows[0, 3] * kappa
        low = -math.inf
        high = math.inf
        for k in range(windows.shape[0]):
            depth = windows[k, 0]
            if k == 0:
                depth += square * (wander[0] + wander[1] * square)
            gain = 1.0 + depth * kappa
            x = (windows[k, 2] + depth * tx) / gain
            y = (windows[k, 3] + depth * ty) / gain
            discs[k, 0] = x * ux + y * uy
            discs[k, 1] = -x * uy + y * ux
            discs[k, 2] = windows[k, 1] / abs(gain)
            low = max(low, discs[k, 1] - discs[k, 2])
            high = min(high, discs[k, 1] + discs[k, 2])
        shares[n] = math.nan
        areas[n] = 0.0
        if high <= low:
            continue
        middle = 0.5 * (low + high)
        half = 0.5 * (high - low)
        for i in range(chords):
            nodes[i] = middle + half * sines[i]
            starts[i] = -math.inf
            stops[i] = math.inf
        for k in range(windows.shape[0]):
            for i in range(chords):
                across = nodes[i] - discs[k, 1]
                chord = math.sqrt(max(0.0, discs[k, 2] * discs[k, 2] - across * across))
                starts[i] = max(starts[i], discs[k, 0] - chord)
                stops[i] = min(stops[i], discs[k, 0] + chord)
        _conic(end, tx, ty, kappa, ux, uy, conic)
        whole = 0.0
        left = 0.0
        for i in range(chords):
            length = max(0.0, stops[i] - starts[i])
            v = nodes[i]
            b = conic[1] * v + conic[3]
            c = conic[2] * v * v + 2.0 * conic[4] * v + conic[5]
            inside = b * b - conic[0] * c
            root = math.sqrt(max(0.0, inside))
            first = (-b - root) / conic[0]
            last = (-b + root) / conic[0]
            free = max(0.0, min(stops[i], last) - max(starts[i], first))
            whole += cosines[i] * length
            left += cosines[i] * (free if inside > 0.0 else 0.0)
        if whole > 0.0:
            shares[n] = left / whole
            areas[n] = whole * half * math.pi / chords


def chord_angles(chords: int = CHORDS) -> tuple[Array, Array]:
    """Cosines and sines (chords,) of the angles whose sine is the place of a chord across the beam."""
    angle = -0.5 * math.pi + (np.arange(chords) + 0.5) * math.pi / chords
    return np.cos(angle), np.sin(angle)


def shares_of(
    windows: Array, slopes: Array, end: OpenEnd | None, *, wander: tuple[float, float] = (0.0, 0.0), subject: float = math.inf,
    chords: int = CHORDS,
) -> tuple[Array, Array]:
    """What an open end leaves (n,) of the beams at frame slopes (n, 2), NaN where the lens is dark, and their bare areas (n,) in mm2.

    windows (k, 4) as in `Beam`, the pupil first; subject: from the front rim plane to what is in focus, mm, infinity allowed.
    """
    slopes = np.ascontiguousarray(slopes, dtype=float)
    shares, areas = np.empty(len(slopes)), np.empty(len(slopes))
    opening = (end or OpenEnd((0.0, 0.0, 0.0), 1e9)).array()
    kappa = 0.0 if math.isinf(subject) else 1.0 / subject
    cosines, sines = chord_angles(chords)
    opening_shares(
        np.ascontiguousarray(windows, dtype=float), np.array(wander, dtype=float), kappa, slopes, opening, cosines, sines, shares, areas
    )
    return shares, areas


def warm() -> None:
    """Run the kernel once on a small job."""
    shares_of(np.array([[10.0, 5.0, 0.0, 0.0]]), np.zeros((1, 2)), OpenEnd((0.0, 0.0, 20.0), 30.0))
