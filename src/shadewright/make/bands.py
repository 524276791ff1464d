"""A round wall as bands that can be laid flat, and the exact development of one band.

Every band is a tube or a cone between two planes. `right` is the angle in degrees from the middle of a piece
to the right, as seen from OUTSIDE the hood with forward up, so azimuth falls to the right:
azimuth = centre - right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from shadewright.errors import MakeError
from shadewright.model.shape import Array, Rim, RoundWall

CHORD = 0.005
"""Largest distance between a curve and the chords drawn for it, mm."""
THINNING = 0.005
"""Points closer than this to the line through their neighbours are left out, mm."""
SAME = 1e-9


@dataclass(frozen=True)
class Band:
    """A straight piece of wall from `z0` to `z1` with inside radius `r0` at z0 and `r1` at z1, mm."""

    z0: float
    z1: float
    r0: float
    r1: float

    @property
    def slope(self) -> float:
        """dR/dz: 0 for a tube."""
        return (self.r1 - self.r0) / (self.z1 - self.z0)

    @property
    def is_tube(self) -> bool:
        """True where the ends agree so closely that the development is a straight strip."""
        return abs(self.r1 - self.r0) < 1e-6

    def radius(self, z: float) -> float:
        """Inside radius at z, mm; the band is prolonged both ways."""
        return self.r0 + self.slope * (z - self.z0)

    def reaching(self, z0: float, z1: float) -> Band:
        """The same cone or tube between other planes."""
        return Band(z0, z1, self.radius(z0), self.radius(z1))


def wall_bands(wall: RoundWall, *, back: float, top: float) -> tuple[Band, ...]:
    """The bands of a wall from z = -back to z = top, from the seat forward.

    Behind the seat plane, and behind the wall's first point, the wall goes on as a cylinder.
    Raises MakeError where the wall closes to nothing.
    """
    zs, rs = list(wall.z), list(wall.radius)
    steps_at_once = len(zs) > 1 and zs[1] - zs[0] <= SAME
    start = zs[0] if steps_at_once else min(zs[0], 0.0)
    first = float(wall.radius_at(start))
    bands = [Band(-back, start, first, first)] if back > -start + SAME else []
    if len(zs) == 1 or all(b - a <= SAME for a, b in pairwise(zs)):
        zs, rs = [start, start + 1.0], [first, first]
    for k, (a, b) in enumerate(pairwise(zs)):
        if b - a <= SAME:
            continue
        whole = Band(a, b, rs[k], rs[k + 1])
        is_last = all(later - b <= SAME for later in zs[k + 1 :])
        low = max(start if k == 0 else a, -back) + 0.0  # no minus zero
        high = top if is_last else min(b, top)
        if high - low > SAME:
            bands.append(whole.reaching(low, high))
    merged: list[Band] = []
    for band in bands:
        before = merged[-1] if merged else None
        if before and abs(before.r1 - band.r0) < SAME and abs(before.slope - band.slope) < SAME:
            merged[-1] = Band(before.z0, band.z1, before.r0, band.r1)
        else:
            merged.append(band)
    for band in merged:
        if min(band.r0, band.r1) <= 0.5:
            raise MakeError(
                f"the wall closes to a radius of {min(band.r0, band.r1):.2f} mm between z = {band.z0:.1f} "
                f"and {band.z1:.1f} mm, where more than 0.5 mm is needed; make far_diameter larger or the "
                "rim shallower."
            )
    return tuple(merged)


@dataclass(frozen=True)
class Span:
    """Azimuths from `low` up to `high`, degrees; `full` where they go all the way round."""

    low: float
    high: float
    full: bool = False

    @property
    def centre(self) -> float:
        """Azimuth of the middle."""
        return 90.0 if self.full else (self.low + self.high) / 2

    @property
    def half(self) -> float:
        """Half the angle spanned, degrees."""
        return (self.high - self.low) / 2


ALL_ROUND = Span(-90.0, 270.0, full=True)
"""The whole circle, cut open at the bottom (azimuth 270)."""


def rim_points(rim: Rim, *levels: float) -> tuple[Array, Array]:
    """Azimuth and z of the rim over one turn, closed, with the points where it crosses each level put in."""
    azimuth = np.append(rim.azimuth, rim.azimuth[0] + 360.0)
    z = np.append(rim.z, rim.z[0])
    for level in levels:
        below, above = z[:-1] - level, z[1:] - level
        k = np.flatnonzero(below * above < 0)
        share = below[k] / (below[k] - above[k])
        crossing = azimuth[k] + share * (azimuth[k + 1] - azimuth[k])
        azimuth, z = np.insert(azimuth, k + 1, crossing), np.insert(z, k + 1, level)
    return azimuth, z


def spans_above(rim: Rim, level: float) -> tuple[Span, ...]:
    """The ranges of azimuth in which the rim stands ahead of z = level."""
    azimuth, z = rim_points(rim, level)
    stands = (z[:-1] + z[1:]) / 2 > level + SAME
    if stands.all():
        return (ALL_ROUND,)
    spans: list[Span] = []
    n = len(stands)
    start = int(np.flatnonzero(~stands)[0])
    begun: float | None = None
    for step in range(1, n + 1):
        k = (start + step) % n
        turn = 360.0 * ((start + step) // n)
        if stands[k] and begun is None:
            begun = float(azimuth[k]) + turn
        elif not stands[k] and begun is not None:
            spans.append(Span(begun, float(azimuth[k]) + turn))
            begun = None
    return tuple(spans)


@dataclass(frozen=True)
class Development:
    """How a band of sheet `thickness` unrolls: (right, z) on the inside surface to (x, y) on the sheet, mm.

    Tube: the neutral line lies at R + s/2, so x = (R + s/2) right. Cone of half-angle a: the neutral surface
    lies s/2 along the normal, at slant distance R / sin a + (s/2) / tan a from its own tip, and an angle
    round the axis shrinks to its product with sin a on the sheet. Lengths along the neutral surface are kept
    exactly (elementary geometry). Origin: for a tube the middle of the piece at z = 0; for a cone the tip of
    the sector.
    """

    band: Band
    thickness: float

    @property
    def sine(self) -> float:
        """Sine of the half-angle: positive where the wall widens forward, 0 for a tube."""
        slope = 0.0 if self.band.is_tube else self.band.slope
        return slope / math.hypot(1.0, slope)

    def slant(self, z: Array | float) -> Array:
        """Distance on the sheet from the tip of a cone's sector, mm, of the inside point at z."""
        radius = self.band.r0 + self.band.slope * (np.asarray(z, dtype=float) - self.band.z0)
        return np.asarray(np.abs(radius / self.sine + self.thickness / 2 / self.band.slope))

    def at(self, right: Array | float, z: Array | float) -> Array:
        """Points (n, 2) mm on the sheet, seen on the outside face with forward up."""
        right, z = np.broadcast_arrays(np.atleast_1d(np.asarray(right, float)), np.asarray(z, float))
        turn = np.radians(right)
        if self.band.is_tube:
            return np.stack([(self.band.r0 + self.thickness / 2) * turn, z], axis=1)
        rho, beta = self.slant(z), turn * abs(self.sine)
        return np.stack([rho * np.sin(beta), math.copysign(1.0, self.sine) * rho * np.cos(beta)], axis=1)

    def tilt(self, right: float) -> float:
        """Angle in degrees, counter-clockwise, of a text that runs round the band at `right`."""
        return -right * self.sine

    def curve(self, right: Array, z: Array) -> Array:
        """Points (m, 2) mm of a curve straight in (right, z) between the given points, within CHORD."""
        if self.band.is_tube:
            return thinned(self.at(right, z))
        right, z = _split(right, z, np.ceil(np.abs(np.diff(right)) / 4.0))
        middle = self.at((right[1:] + right[:-1]) / 2, (z[1:] + z[:-1]) / 2)
        ends = self.at(right, z)
        bulge = np.hypot(*(middle - (ends[1:] + ends[:-1]) / 2).T)
        return thinned(self.at(*_split(right, z, np.ceil(np.sqrt(bulge / CHORD)))))


def _split(right: Array, z: Array, counts: Array) -> tuple[Array, Array]:
    """Every straight piece between (n,) points cut into its count (n-1,) of equal parts."""
    counts = np.maximum(counts, 1).astype(int)
    knots = np.concatenate([[0.0], np.cumsum(counts)])
    places = np.arange(knots[-1] + 1)
    return np.interp(places, knots, right), np.interp(places, knots, z)


def thinned(points: Array) -> Array:
    """The points (n, 2) less those within THINNING of the line that stays (Ramer, Douglas, Peucker)."""
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    pending = [(0, len(points) - 1)]
    while pending:
        a, b = pending.pop()
        if b - a < 2:
            continue
        inner, chord = points[a + 1 : b] - points[a], points[b] - points[a]
        length = float(np.hypot(*chord))
        if length < SAME:
            away = np.hypot(*inner.T)
        else:
            share = np.clip(inner @ chord / length**2, 0.0, 1.0)
            away = np.hypot(*(inner - share[:, None] * chord).T)
        worst = int(np.argmax(away))
        if away[worst] > THINNING:
            middle = a + 1 + worst
            keep[middle] = True
            pending += [(a, middle), (middle, b)]
    return points[keep]


@dataclass(frozen=True)
class Stretch:
    """The part of a band that becomes one piece: a span of azimuth, z from `low` to `high` or the rim."""

    label: str
    rim: Rim
    span: Span
    sheet: Development
    low: float
    high: float

    @property
    def band(self) -> Band:
        """The band that it is cut from."""
        return self.sheet.band

    def right_of(self, azimuth: float) -> float:
        """`right` of an azimuth, degrees from -180 to 180."""
        return (self.span.centre - azimuth + 180.0) % 360.0 - 180.0

    def top_at(self, right: Array | float) -> Array:
        """z of the front edge, mm."""
        return np.minimum(self.rim.z_at(self.span.centre - np.asarray(right, dtype=float)), self.high)

    def front_edge(self) -> tuple[Array, Array]:
        """The corners of the front edge from left to right: (right, z), each (n,)."""
        azimuth, _ = rim_points(self.rim, self.high)
        turns = np.concatenate([azimuth - 360.0, azimuth, azimuth + 360.0])
        inside = (turns > self.span.low + SAME) & (turns < self.span.high - SAME)
        chosen = np.concatenate([[self.span.low], np.unique(turns[inside]), [self.span.high]])
        right = (self.span.centre - chosen)[::-1]
        return right, self.top_at(right)

    def around(self, z: float) -> Array:
        """Points (n, 2) mm on the sheet of the line round the piece at z."""
        return self.sheet.curve(np.array([-self.span.half, self.span.half]), np.full(2, z))
