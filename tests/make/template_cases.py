"""Invented hoods for the tests of templates and drawings, and a way to roll a template up again."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.make.flat import Piece, PieceForm
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

Array = NDArray[np.float64]


def petal(
    *, lowest: float = 18.0, top: float = 45.0, side: float = 34.0, skew: float = 0.0, count: int = 720
) -> Rim:
    """A smooth rim with four lobes; `skew` makes the right side deeper than the left."""
    azimuth = np.arange(count) * 360.0 / count
    c, s = np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))
    lobes = np.cos(2 * np.radians(azimuth)) ** 2 * (side * c**2 + top * s**2 - lowest)
    return Rim.from_arrays(azimuth, lowest + lobes + skew * c * np.abs(c))


def square_cut() -> Rim:
    """Lobes with straight tops and upright sides."""
    steps = ((28, 30, 12), (52, 12, 44), (128, 44, 12), (152, 12, 30), (208, 30, 12), (232, 12, 44))
    steps += ((308, 44, 12), (332, 12, 30))
    azimuth, z = [0.0], [30.0]
    for at, before, after in steps:
        azimuth += [float(at), at + 0.01]
        z += [float(before), float(after)]
    return Rim(tuple(azimuth), tuple(z))


@dataclass(frozen=True)
class Case:
    """A hood with the stock of its template, mm."""

    hood: RoundHood | TunnelHood
    sheet: float = 0.5
    back: float = 12.0
    tab: float = 10.0


TUBE = RoundWall((0.0,), (43.0,))
CONE = RoundWall((0.0, 50.0), (41.0, 58.0))
NARROWING = RoundWall((0.0, 50.0), (58.0, 41.0))
STEPPED = RoundWall((0.0, 25.0, 25.0, 40.0, 40.0, 1040.0), (43.0, 43.0, 49.0, 49.0, 56.0, 56.0))
STEPPED_DOWN = RoundWall((0.0, 15.0, 15.0, 1015.0), (49.0, 49.0, 43.0, 43.0))
CASES: dict[str, Case] = {
    "tube-petal": Case(RoundHood(TUBE, petal())),
    "tube-plain": Case(RoundHood(TUBE, Rim.plain(40.0))),
    "tube-skew": Case(RoundHood(TUBE, petal(skew=6.0))),
    "square-cut": Case(RoundHood(TUBE, square_cut())),
    "cone-petal": Case(RoundHood(CONE, petal())),
    "cone-skew": Case(RoundHood(CONE, petal(skew=6.0)), sheet=1.2),
    "cone-square-cut": Case(RoundHood(CONE, square_cut())),
    "narrowing-petal": Case(RoundHood(NARROWING, petal())),
    "steep-cone": Case(RoundHood(RoundWall((0.0, 20.0), (41.0, 80.0)), Rim.plain(18.0)), tab=8.0),
    "stepped": Case(RoundHood(STEPPED, petal(lowest=45.0, top=70.0, side=55.0)), tab=8.0),
    "stepped-lobes": Case(RoundHood(STEPPED, petal(lowest=20.0, top=70.0, side=37.0)), tab=8.0),
    "stepped-down": Case(RoundHood(STEPPED_DOWN, petal(lowest=30.0, top=70.0, side=55.0)), tab=8.0),
    "stepped-down-lobes": Case(RoundHood(STEPPED_DOWN, petal(lowest=8.0, top=60.0, side=14.0)), tab=8.0),
    "long": Case(
        RoundHood(RoundWall((0.0, 300.0), (80.0, 95.0)), Rim.plain(380.0)), sheet=1.0, back=20.0, tab=15.0
    ),
}
TUNNEL = Case(
    TunnelHood(TunnelWall(60.0, 40.0), TunnelRim(38.0, 52.0, 36.0, 50.0)), sheet=0.8, back=10.0, tab=12.0
)


def rolled(
    piece: Piece, points: Array, *, wall: tuple[float, float], sheet: float
) -> tuple[Array, Array, Array]:
    """Azimuth (degrees), z and inside radius (mm) where points (n, 2) of a strip or sector come to lie.

    wall: (radius at z = 0 of the band, prolonged; its slope dR/dz). Worked in the half plane of the axis: the
    neutral surface is a straight line half the thickness outside the wall, and lengths along it are kept.
    """
    at_zero, slope = wall
    x, y = (points - np.asarray(piece.origin)).T
    if piece.form is PieceForm.STRIP:
        assert slope == 0
        right = np.degrees(x / (at_zero + sheet / 2))
        return piece.centre - right, y, np.full_like(y, at_zero)
    half_angle = math.atan(slope)
    normal = np.array([-math.sin(half_angle), math.cos(half_angle)])  # (z, r), away from the axis
    start = np.array([0.0, at_zero]) + sheet / 2 * normal
    tip = np.array([start[0] - start[1] / slope, 0.0])  # where the neutral line meets the axis
    along = np.array([math.cos(half_angle), math.sin(half_angle)]) * math.copysign(1.0, slope)
    rho = np.hypot(x, y)
    turned = np.arctan2(x, y * math.copysign(1.0, slope))
    neutral = tip + rho[:, None] * along
    inside = neutral - sheet / 2 * normal
    # A full turn of the neutral circle, 2 pi r, becomes an arc of the same length at distance rho.
    right = np.degrees(turned * rho / np.abs(neutral[:, 1]))
    return piece.centre - right, inside[:, 0], inside[:, 1]


def to_polyline(points: Array, line: Array) -> Array:
    """Distance (n,) of points (n, 2) from a polyline (m, 2)."""
    a, b = line[:-1], line[1:]
    ab = b - a
    length = np.maximum((ab**2).sum(axis=1), 1e-30)
    best = np.full(len(points), np.inf)
    for k in range(len(a)):
        ap = points - a[k]
        share = np.clip(ap @ ab[k] / length[k], 0.0, 1.0)
        best = np.minimum(best, np.hypot(*(ap - share[:, None] * ab[k]).T))
    return best


def shoelace(points: Array) -> float:
    """Area of a closed polygon (n, 2)."""
    x, y = points.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2
