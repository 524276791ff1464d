"""The rim as a few smooth curves, for exact solids: cubic splines that stay within a tolerance under the rim.

A ribbon is the surface of all radial lines through such a curve: each point of the rim, carried straight outwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline, make_lsq_spline

from shadewright.make.rim import inset_rim
from shadewright.model.shape import Array, Rim

TOLERANCE = 0.01
"""The curves lie under the rim and no further from it than this, mm, measured on the unrolled wall."""
INSET = 0.005
"""The rim is drawn in by this before it is followed, mm; the curves may then depart by as much to either side."""
CORNER = 12.0
"""Where the rim turns by more than this, in degrees on the unrolled wall, one curve ends and the next begins."""
LONGEST = 90.0
"""Most degrees round the axis that one curve goes."""


@dataclass(frozen=True)
class Curve:
    """A clamped spline of `degree` over `knots`: poles (n, 3) are cosine and sine of the azimuth, and z in mm."""

    knots: Array
    poles: Array
    degree: int

    def at(self, share: Array) -> Array:
        """Azimuth (degrees) and z (mm) at shares from 0 to 1 of the curve, as (n, 2)."""
        c, s, z = BSpline(self.knots, self.poles, self.degree)(share).T
        return np.stack([np.degrees(np.arctan2(s, c)), z], axis=1)


def rim_curves(rim: Rim, radius: float) -> list[Curve]:
    """Curves that follow `rim` all round, end to end, on a wall of `radius` mm."""
    azimuth, z = inset_rim(rim, radius, inset=INSET)
    azimuth, z = _without_doubles(azimuth, z, radius)
    along = np.radians(azimuth) * radius
    ends = _corners(along, z, 2.0 * math.pi * radius)
    while True:
        gaps = np.diff([*azimuth[ends], azimuth[ends[0]] + 360.0])
        widest = int(np.argmax(gaps))
        if gaps[widest] <= LONGEST + 1.0 and len(ends) > 1:
            break
        middle = (azimuth[ends[widest]] + gaps[widest] / 2.0) % 360.0
        away = np.abs((azimuth - middle + 180.0) % 360.0 - 180.0)
        ends = sorted({*ends, int(np.argmin(away))})
    points = np.stack([azimuth, z], axis=1)
    closed = np.concatenate([points, points + [360.0, 0.0]])
    curves: list[Curve] = []
    for first, last in zip(ends, [*ends[1:], ends[0] + len(azimuth)], strict=True):
        curves += _followed(closed[first : last + 1], radius)
    return curves


def _without_doubles(azimuth: Array, z: Array, radius: float) -> tuple[Array, Array]:
    """Points closer together than a ten-thousandth of a millimetre are taken once."""
    step = np.hypot(np.radians(np.diff(azimuth, prepend=azimuth[-1] - 360.0)) * radius, z - np.roll(z, 1))
    return azimuth[step > 1e-4], z[step > 1e-4]


def _corners(along: Array, z: Array, round_trip: float) -> list[int]:
    """Points at which the closed line turns sharply; at least one."""
    du, dz = np.diff(along, append=along[0] + round_trip), np.diff(z, append=z[0])
    heading = np.degrees(np.arctan2(dz, du))
    turn = np.abs((heading - np.roll(heading, 1) + 180.0) % 360.0 - 180.0)
    return [int(k) for k in np.flatnonzero(turn > CORNER)] or [0]


def _followed(points: Array, radius: float) -> list[Curve]:
    """Curves through (azimuth, z) points (n, 2) within INSET; where one does not do, two do, and so on."""
    flat = np.stack([np.radians(points[:, 0]) * radius, points[:, 1]], axis=1)
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(flat, axis=0), axis=1))])
    share, count = length / length[-1], len(points)
    turn = np.radians(points[:, 0])
    target = np.stack([np.cos(turn), np.sin(turn), points[:, 1]], axis=1)
    if count == 2:
        return [Curve(np.array([0.0, 0.0, 1.0, 1.0]), target, 1)]
    inner = 0
    while inner <= count // 3:
        curve = _spline(share, target, inner, np.array([radius, radius, 1.0]))
        if curve is not None and _departure(curve, flat, share, radius) < INSET:
            return [curve]
        inner = 2 * inner + 1
    split = int(np.clip(np.searchsorted(share, 0.5), 1, count - 2))
    return _followed(points[: split + 1], radius) + _followed(points[split:], radius)


def _spline(share: Array, target: Array, inner: int, scale: Array) -> Curve | None:
    """The least-squares cubic with `inner` knots between its ends, which are met exactly."""
    degree = min(3, len(share) - 1)
    if inner == 0 and len(share) <= 4:
        spline = make_interp_spline(share, target, k=degree)
    else:
        place = np.linspace(0, len(share) - 1, inner + 2)[1:-1]
        middle = np.interp(place, np.arange(len(share)), share)
        knots = np.concatenate([np.zeros(degree + 1), middle, np.ones(degree + 1)])
        weight = np.ones(len(share))
        weight[[0, -1]] = 1e3
        try:
            spline = make_lsq_spline(share, target * scale, knots, k=degree, w=weight)
        except (ValueError, np.linalg.LinAlgError):
            return None
        spline = BSpline(spline.t, spline.c / scale, degree)
    poles = np.array(spline.c)
    poles[0], poles[-1] = target[0], target[-1]
    return Curve(np.array(spline.t), poles, degree)


def _departure(curve: Curve, flat: Array, share: Array, radius: float) -> float:
    """Largest distance on the unrolled wall between the curve and the line through the points it follows, mm."""
    between = [(a + (b - a) * k / 5.0) for k in range(5) for a, b in [(share[:-1], share[1:])]]
    found = curve.at(np.sort(np.concatenate([*between, [1.0]])))
    start = math.degrees(flat[0, 0] / radius)
    azimuth = start + np.unwrap(np.radians(found[:, 0] - start) + math.pi, period=2 * math.pi) * 180.0 / math.pi - 180.0
    azimuth -= 360.0 * round((azimuth[0] - start) / 360.0)
    here = np.stack([np.radians(azimuth) * radius, found[:, 1]], axis=1)
    # Each place is compared with the stretch it belongs to and those beside it.
    base = np.repeat(np.arange(len(share) - 1), 5)
    base = np.append(base, len(share) - 2)
    least = np.full(len(here), np.inf)
    for shift in (-1, 0, 1):
        k = np.clip(base + shift, 0, len(share) - 2)
        a, b = flat[k], flat[k + 1]
        run = b - a
        t = np.clip(np.einsum("ij,ij->i", here - a, run) / np.einsum("ij,ij->i", run, run), 0.0, 1.0)
        least = np.minimum(least, np.linalg.norm(here - a - t[:, None] * run, axis=1))
    return float(least.max())
