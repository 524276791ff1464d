"""Hoods to make in the tests, and measurements on their meshes. All lengths in mm."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shadewright.make.solid import Solid
from shadewright.model.hood import Build, SeatKind
from shadewright.model.shape import (
    Array,
    Rim,
    RoundHood,
    RoundWall,
    TunnelHood,
    TunnelRim,
    TunnelWall,
)

SEAT_DIAMETER = 80.0
THREAD = "M77x0.75"

WALLS = {
    "tube": RoundWall((0.0,), (43.0,)),
    "narrow tube": RoundWall((0.0,), (34.0,)),
    "wide tube": RoundWall((0.0,), (60.0,)),
    "tube like the seat": RoundWall((0.0,), (40.0,)),
    "cone": RoundWall((0.0, 40.0), (41.0, 55.0)),
    "steps": RoundWall((0.0, 8.03, 8.03, 20.0, 20.0, 30.0), (38.0, 38.0, 42.0, 42.0, 50.0, 50.0)),
}
"""Narrower than the bore of the thread, between bore and ring, and wider than both; one step off the file's grid."""


def petal_rim() -> Rim:
    """Two long and two short lobes."""
    azimuth = np.arange(0.0, 360.0, 2.0)
    turn = np.radians(azimuth)
    return Rim.from_arrays(azimuth, 20.0 - 8.0 * np.cos(2.0 * turn) + 5.0 * np.cos(4.0 * turn))


def square_cut_rim() -> Rim:
    """Four lobes with straight tops and sides that rise within a thousandth of a degree."""
    points = []
    for centre, half, top in (
        (0.0, 20.0, 30.0),
        (90.0, 25.0, 42.0),
        (180.0, 20.0, 30.0),
        (270.0, 25.0, 42.0),
    ):
        points += [(centre - half, top), (centre + half, top), (centre + half + 0.001, 12.0)]
        points += [(centre - half - 0.001, 12.0)]
    order = sorted((azimuth % 360.0, z) for azimuth, z in points)
    return Rim.from_arrays(np.array([p[0] for p in order]), np.array([p[1] for p in order]))


RIMS = {"petal": petal_rim(), "plain": Rim.plain(25.0), "square-cut": square_cut_rim()}

TUNNELS = {
    "wide tunnel": TunnelHood(TunnelWall(50.0, 42.0), TunnelRim(20.0, 26.0, 22.0, 30.0)),
    "flat tunnel": TunnelHood(TunnelWall(45.0, 30.0), TunnelRim(20.0, 26.0, 20.0, 26.0)),
    "small tunnel": TunnelHood(TunnelWall(30.0, 24.0), TunnelRim(24.0, 30.0, 24.0, 30.0)),
    "low tunnel": TunnelHood(TunnelWall(45.0, 30.0), TunnelRim(5.0, 7.0, 5.0, 6.0)),
}

SEATS = tuple(SeatKind)


def all_hoods() -> dict[str, RoundHood | TunnelHood]:
    """Every wall with every rim, and the tunnels."""
    made: dict[str, RoundHood | TunnelHood] = {
        f"{wall}, {rim}": RoundHood(WALLS[wall], RIMS[rim]) for wall in WALLS for rim in RIMS
    }
    return made | dict(TUNNELS)


def plain_build(**wishes: object) -> Build:
    """A build without rounding, mark or chamfer, for closed forms."""
    bare: dict[str, object] = {
        "rim_rounding": 0.0,
        "index_mark": False,
        "printer": {"first_layer_spread": 0.0, "hole_compensation": 0.0, "thread_compensation": 0.0},
    }
    return Build.model_validate(bare | wishes)


def surface_points(solid: Solid, *, each: int = 5) -> Array:
    """Points (n, 3) on the mesh: its vertices, points along every edge and every face's middle."""
    corner = solid.vertices[solid.faces]
    share = np.linspace(0.0, 1.0, each + 2)[1:-1][:, None, None]
    along = [corner[:, k] + share * (corner[:, (k + 1) % 3] - corner[:, k]) for k in range(3)]
    return np.concatenate([solid.vertices, corner.mean(axis=1), *(a.reshape(-1, 3) for a in along)])


def cylindrical(points: Array) -> tuple[Array, Array, Array]:
    """Radius, azimuth in degrees and z of points (n, 3)."""
    return (
        np.hypot(points[:, 0], points[:, 1]),
        np.degrees(np.arctan2(points[:, 1], points[:, 0])),
        points[:, 2],
    )


def height_above_rim(points: Array, rim: Rim) -> float:
    """How far the highest of the points (n, 3) lies above the rim, mm; negative where all lie below."""
    _, azimuth, z = cylindrical(points)
    return float(np.max(z - rim.z_at(azimuth)))


def box_mesh(x: float, y: float, z: float) -> tuple[Array, NDArray[np.int64]]:
    """A closed box from the origin, faces outward."""
    vertices = np.array([[i, j, k] for i in (0.0, x) for j in (0.0, y) for k in (0.0, z)])
    faces = np.array(
        [
            (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
            (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
        ]
    )  # fmt: skip
    return vertices, faces
