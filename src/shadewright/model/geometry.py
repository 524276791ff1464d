"""From a hood document to its geometry."""

from __future__ import annotations

import numpy as np

from shadewright.errors import FitError
from shadewright.model.hood import Hood, MeasuredPetals, WallPart, WallShape
from shadewright.model.shape import (
    HoodShape,
    MeshHood,
    Rim,
    RoundHood,
    RoundWall,
    TunnelHood,
    TunnelRim,
    TunnelWall,
    Wall,
)


def wall_of(part: WallPart) -> Wall:
    """The wall that a document describes."""
    if part.shape is WallShape.TUNNEL:
        assert part.inner_width is not None
        assert part.inner_height is not None
        return TunnelWall(part.inner_width / 2, part.inner_height / 2)
    if part.shape is WallShape.TUBE:
        assert part.inner_diameter is not None
        return RoundWall((0.0,), (part.inner_diameter / 2,))
    if part.shape is WallShape.CONE:
        assert part.near_diameter is not None
        assert part.far_diameter is not None
        assert part.far_z is not None
        return RoundWall((0.0, part.far_z), (part.near_diameter / 2, part.far_diameter / 2))
    z: list[float] = []
    radius: list[float] = []
    for index, step in enumerate(part.steps):
        if index > 0:
            z.append(step.z)
            radius.append(radius[-1])
        z.append(step.z if index > 0 else min(step.z, 0.0))
        radius.append(step.diameter / 2)
    # A far last point keeps the last step a tube.
    return RoundWall((*z, z[-1] + 1000.0), (*radius, radius[-1]))


def measured_rim(hood: Hood) -> Rim | TunnelRim | None:
    """The rim a document gives by points, depth, lips or petals; None for a mesh or where none is given."""
    part = hood.rim
    if part.points:
        azimuth, z = zip(*part.points, strict=True)
        return Rim(tuple(float(a) for a in azimuth), tuple(float(v) for v in z))
    if part.depth is not None:
        if hood.wall is not None and hood.wall.shape is WallShape.TUNNEL:
            return TunnelRim(*(part.depth,) * 4)
        return Rim.plain(part.depth)
    if part.lips is not None:
        return TunnelRim(part.lips.right, part.lips.top, part.lips.left, part.lips.bottom)
    if part.petals is not None:
        return _petal_rim(part.petals)
    return None


def _petal_rim(petals: MeasuredPetals) -> Rim:
    """A rim through heights at the four sides and corners: level lobes with valleys of a stated width, or a smooth wave."""
    if petals.valley_width is not None:
        return _level_lobes(petals, petals.valley_width)
    from scipy.interpolate import PchipInterpolator

    corner = petals.corner_azimuth
    azimuth = [0, corner, 90, 180 - corner, 180, 180 + corner, 270, 360 - corner]
    z = [petals.right, petals.corners, petals.top, petals.corners, petals.left, petals.corners, petals.bottom]
    z.append(petals.corners)
    turns = np.array([a + 360 * k for k in (-1, 0, 1) for a in azimuth])
    curve = PchipInterpolator(turns, np.tile(z, 3))
    fine = np.arange(0.0, 360.0, 1.0)
    return Rim.from_arrays(fine, np.asarray(curve(fine)))


def _level_lobes(petals: MeasuredPetals, width: float) -> Rim:
    """Lobes level up to each valley, the valleys rounded like a cosine."""
    fine = np.arange(0.0, 360.0, 0.5)
    corner = petals.corner_azimuth
    valleys = np.array([corner, 180 - corner, 180 + corner, 360 - corner])
    side = np.searchsorted(valleys, fine) % 4
    z = np.array([petals.right, petals.top, petals.left, petals.bottom])[side]
    for valley in valleys:
        off = np.abs((fine - valley + 180) % 360 - 180)
        low = off < width / 2
        z[low] = petals.corners + (z[low] - petals.corners) * 0.5 * (1 - np.cos(2 * np.pi * off[low] / width))
    return Rim.from_arrays(fine, z)


def shape_of(hood: Hood, *, mesh: MeshHood | None = None) -> HoodShape:
    """The geometry of a hood document whose rim is known. Raises FitError.

    mesh: what `rim.stl` names, already read.
    """
    if mesh is not None:
        return mesh
    rim = measured_rim(hood)
    if rim is None:
        raise FitError(
            "rim: this hood has no rim yet; run `shadewright fit` first, or give rim.points, depth, lips, petals or stl."
        )
    if hood.wall is None:
        raise FitError("wall: a hood with a rim needs its wall too; give the inside diameter.")
    wall = wall_of(hood.wall)
    if isinstance(wall, TunnelWall):
        assert isinstance(rim, TunnelRim)
        return TunnelHood(wall, rim)
    assert isinstance(rim, Rim)
    return RoundHood(wall, rim)
