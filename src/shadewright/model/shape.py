"""The geometry of a hood as values: a wall, and the rim in which it ends.

Seat coordinates: x right, y up, z forward (mm), z = 0 the seat plane; azimuth phi from +x towards +y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RoundWall:
    """A wall of revolution r = R(z): piecewise straight between `z` (n,), ascending, and `radius` (n,), mm.

    Before the first and after the last z the end segment goes on; two equal z make a step, at the end as elsewhere.
    """

    z: tuple[float, ...]
    radius: tuple[float, ...]

    def radius_at(self, z: Array | float) -> Array:
        """Inside radius at z (mm); on a step, the radius behind it. The last segment is prolonged."""
        zs, rs = np.asarray(self.z), np.asarray(self.radius)
        if len(zs) > 1 and zs[-1] == zs[-2]:
            # A step at the very end: the wall goes on from it as a tube.
            zs, rs = np.append(zs, zs[-1] + 1.0), np.append(rs, rs[-1])
        z = np.asarray(z, dtype=float)
        k = np.clip(np.searchsorted(zs, z, side="left") - 1, 0, max(len(zs) - 2, 0))
        if len(zs) == 1:
            return np.full_like(z, rs[0])
        span = zs[k + 1] - zs[k]
        share = np.where(span > 0, (z - zs[k]) / np.where(span > 0, span, 1.0), 0.0)
        return np.asarray(rs[k] + share * (rs[k + 1] - rs[k]))

    @property
    def is_tube(self) -> bool:
        """True where the radius is the same everywhere."""
        return max(self.radius) - min(self.radius) < 1e-12


@dataclass(frozen=True)
class TunnelWall:
    """A rectangular tunnel: inside half-width and half-height, mm."""

    half_width: float
    half_height: float


Wall = RoundWall | TunnelWall


@dataclass(frozen=True)
class Rim:
    """A rim on a round wall: `z` (n,) mm at `azimuth` (n,) degrees, ascending from 0; straight between points.

    The curve is closed: the last point joins the first at 360 degrees.
    """

    azimuth: tuple[float, ...]
    z: tuple[float, ...]

    @classmethod
    def from_arrays(cls, azimuth: Array, z: Array) -> Rim:
        """A rim from azimuths (n,) in degrees and z (n,) in mm."""
        return cls(tuple(float(a) for a in azimuth), tuple(float(v) for v in z))

    @classmethod
    def plain(cls, depth: float) -> Rim:
        """The rim at the same z all round."""
        return cls(tuple(float(a) for a in range(0, 360, 1)), (float(depth),) * 360)

    def z_at(self, azimuth: Array | float) -> Array:
        """z (mm) at any azimuth (degrees), straight between the points."""
        return np.interp(np.asarray(azimuth, dtype=float) % 360.0, self.azimuth, self.z, period=360.0)

    def turned(self, degrees: float) -> Rim:
        """This rim rotated by `degrees` from +x towards +y."""
        azimuth = (np.asarray(self.azimuth) + degrees) % 360.0
        order = np.argsort(azimuth, kind="stable")
        return Rim.from_arrays(azimuth[order], np.asarray(self.z)[order])

    def moved(self, dz: float) -> Rim:
        """This rim moved forward by dz mm."""
        return Rim(self.azimuth, tuple(v + dz for v in self.z))

    @property
    def deepest(self) -> float:
        """Largest z of the rim, mm."""
        return max(self.z)

    @property
    def shallowest(self) -> float:
        """Smallest z of the rim, mm."""
        return min(self.z)


@dataclass(frozen=True)
class TunnelRim:
    """The depth of a tunnel's four lips, z in mm ahead of the seat plane."""

    right: float
    top: float
    left: float
    bottom: float

    @property
    def deepest(self) -> float:
        """Largest z of the four lips, mm."""
        return max(self.right, self.top, self.left, self.bottom)

    @property
    def shallowest(self) -> float:
        """Smallest z of the four lips, mm."""
        return min(self.right, self.top, self.left, self.bottom)

    def moved(self, dz: float) -> TunnelRim:
        """These lips moved forward by dz mm."""
        return TunnelRim(self.right + dz, self.top + dz, self.left + dz, self.bottom + dz)


@dataclass(frozen=True)
class RoundHood:
    """A wall of revolution ended by a rim."""

    wall: RoundWall
    rim: Rim

    def rim_points(self) -> Array:
        """The rim in space, (n, 3) mm."""
        azimuth = np.radians(np.asarray(self.rim.azimuth))
        z = np.asarray(self.rim.z)
        radius = self.wall.radius_at(z)
        return np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), z], axis=1)


@dataclass(frozen=True)
class TunnelHood:
    """A rectangular tunnel ended by four lips."""

    wall: TunnelWall
    rim: TunnelRim


@dataclass(frozen=True)
class MeshHood:
    """A hood known only as a triangle mesh: `vertices` (n, 3) mm, `faces` (m, 3); seat plane at z = 0."""

    vertices: Array
    faces: NDArray[np.int64]


HoodShape = RoundHood | TunnelHood | MeshHood
