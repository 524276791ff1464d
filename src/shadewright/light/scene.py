"""What light meets between the sky and the front glass: the hood's inside, the collar round the glass, vanes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import LightError
from shadewright.light.finish import Finish, prepared
from shadewright.light.tree import tree_of
from shadewright.model.shape import HoodShape, MeshHood, Rim, RoundHood, RoundWall, TunnelHood
from shadewright.optics.beam import Beam

Array = NDArray[np.float64]

RIM_CELLS = 4096
"""Places round the rim at which its height is kept; between them it is straight."""
MOST_BANDS = 4000
MOST_TRIANGLES = 2_000_000
FURTHEST = 10_000.0
"""No part of a scene lies further off than this, mm."""


class Part(IntEnum):
    """Which finish a surface wears."""

    WALL = 0
    FRONT = 1
    VANES = 2


@dataclass(frozen=True)
class Vane:
    """A ring standing on the wall at `z` mm ahead of the seat plane, open within `inner_radius` mm.

    edge: its thickness there along the axis, mm; 0 for a thin flat ring. Behind a thicker edge the ring slopes back to the
    wall at `flank` degrees to the axis, as a print does.
    """

    z: float
    inner_radius: float
    edge: float = 0.0
    flank: float = 45.0

    def foot(self, wall: RoundWall, *, into: float = 0.0) -> float:
        """Where the sloping rear face meets the wall's inside, or ends `into` mm deeper, mm ahead of the seat plane."""
        start, run = self.z - self.edge, 1.0 / math.tan(math.radians(self.flank))
        most = float(np.max(wall.radius_at(np.array([*wall.z, start, self.z])))) + into - self.inner_radius
        low, high = start - run * max(most, 0.0) - 1.0, start
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self.inner_radius + (start - middle) / run < float(wall.radius_at(middle)) + into:
                high = middle
            else:
                low = middle
        return 0.5 * (low + high)


@dataclass(frozen=True)
class Finishes:
    """The finish of each kind of surface: the hood's wall, the collar and filter frame round the glass, the vanes."""

    wall: Finish
    front: Finish
    vanes: Finish

    @classmethod
    def all_of(cls, finish: Finish) -> Finishes:
        """The same finish everywhere."""
        return cls(finish, finish, finish)


class Surfaces(NamedTuple):
    """The scene as plain arrays for the kernels, in front-rim coordinates, mm.

    glass: (3,) radius, z, reflectance. bands: (m, 4) z0, r0, z1, r1 of conical rings with z0 <= z1, or flat ones with
    z0 = z1. band_part, band_cut: (m,) the part, and 1 where the rim cuts the band. rim: (RIM_CELLS + 1,) height by the
    pseudo-angle of `meet.rim_height`. box: (7,) 1 where there is a tunnel, half-width, half-height and the lips right,
    top, left, bottom; a tunnel has a flat collar at z = 0 round the glass, and covers what of the glass is wider than it.
    triangles, boxes, links: see `tree`.
    """

    glass: Array
    bands: Array
    band_part: NDArray[np.int64]
    band_cut: NDArray[np.int64]
    rim: Array
    box: Array
    triangles: Array
    boxes: Array
    links: NDArray[np.int64]


class Coats(NamedTuple):
    """The finishes of the three parts as plain arrays: values (3, 9), rings (3, n), reflectance (3, m)."""

    values: Array
    rings: Array
    reflectance: Array


@dataclass(frozen=True, eq=False)
class Scene:
    """Surfaces in front-rim coordinates (z = 0 the front rim plane, mm), ready for tracing. Made by `scene_of`.

    simple: the hood's inside and the collar enclose a convex room with the glass in its floor, so that the fast method's
    closed forms hold: a tube, a cone or a tunnel without vanes before a glass that takes all light.
    """

    surfaces: Surfaces
    simple: bool

    @property
    def glass_radius(self) -> float:
        """Radius of the front glass, mm."""
        return float(self.surfaces.glass[0])

    @property
    def glass_area(self) -> float:
        """Area of the front glass, mm²."""
        return math.pi * self.glass_radius**2


def coats_of(finish: Finish | Finishes) -> Coats:
    """The finishes as arrays for the kernels."""
    finishes = finish if isinstance(finish, Finishes) else Finishes.all_of(finish)
    made = [prepared(f) for f in (finishes.wall, finishes.front, finishes.vanes)]
    return Coats(*(np.ascontiguousarray(np.stack(column)) for column in zip(*made, strict=True)))


def scene_of(
    beam: Beam, shape: HoodShape | None, *, vanes: tuple[Vane, ...] = (), frame_depth: float = 0.0,
    glass_reflectance: float = 0.0, collar_radius: float | None = None,
) -> Scene:  # fmt: skip
    """The scene of a hood before a beam's front glass (radius `beam.front_radius`, rim plane at `beam.reach`).

    vanes: rings on a round wall, cut by the rim as the wall is. frame_depth: how far the glass lies behind the front rim
    plane, mm; the filter frame then is a cylinder from the glass's edge to the plane. glass_reflectance: share that the
    glass sends back as a mirror. collar_radius: outer radius of the flat ring round the glass; left out, it reaches the
    wall. Raises LightError.
    """
    return bare_scene(
        beam.front_radius, shape, reach=beam.reach, vanes=vanes, frame_depth=frame_depth,
        glass_reflectance=glass_reflectance, collar_radius=collar_radius,
    )  # fmt: skip


def bare_scene(
    glass_radius: float, shape: HoodShape | None, *, reach: float = 0.0, vanes: tuple[Vane, ...] = (),
    frame_depth: float = 0.0, glass_reflectance: float = 0.0, collar_radius: float | None = None,
    cap: float | None = None,
) -> Scene:  # fmt: skip
    """As `scene_of`, for a glass of a given radius (mm) with its rim plane at `reach` mm ahead of the seat plane.

    cap: a lid across a round wall at this z, mm ahead of the seat plane, with the finish of the front; for checks with
    closed rooms.
    """
    _check("the glass's radius", glass_radius, 1e-3, FURTHEST)
    _check("reach", reach, -FURTHEST, FURTHEST)
    _check("frame_depth", frame_depth, 0.0, 1000.0)
    _check("glass_reflectance", glass_reflectance, 0.0, 1.0)
    if vanes and not isinstance(shape, RoundHood):
        raise LightError("vanes: only a round wall carries them; take them out, or use a tube, cone or stepped wall.")
    a = glass_radius
    bands: list[tuple[float, float, float, float, Part, bool]] = []
    rim = np.full(RIM_CELLS + 1, FURTHEST)
    box = np.zeros(7)
    triangles = np.zeros((0, 3, 3))
    outer = a
    if isinstance(shape, RoundHood):
        rim = _rim_table(shape.rim, reach)
        bands += _wall_bands(shape, reach)
        outer = float(shape.wall.radius_at(reach + 1e-9))
        bands += [band for vane in vanes for band in _vane_bands(vane, shape.wall, reach)]
        if cap is not None:
            bands.append((cap - reach, 0.0, cap - reach, float(shape.wall.radius_at(cap)), Part.FRONT, False))
    elif isinstance(shape, TunnelHood):
        wall, lips = shape.wall, shape.rim
        heights = [max(0.0, lip - reach) for lip in (lips.right, lips.top, lips.left, lips.bottom)]
        box[:] = 1.0, wall.half_width, wall.half_height, *heights
        outer = max(a, min(wall.half_width, wall.half_height))
    elif isinstance(shape, MeshHood):
        triangles = _moved_triangles(shape, reach)
    if outer < a * (1 - 1e-9):
        raise LightError(
            f"the hood: at the front rim plane its inside is {2 * outer:.2f} mm wide, narrower than the front glass "
            f"({2 * a:.2f} mm); use a wider wall."
        )
    made = tree_of(triangles)
    if isinstance(shape, MeshHood):
        outer = max(a, _mesh_opening(triangles))
    if collar_radius is not None:
        _check("collar_radius", collar_radius, a, FURTHEST)
        outer = collar_radius
    if outer > a * (1 + 1e-12) and not isinstance(shape, TunnelHood):
        bands.append((0.0, a, 0.0, outer, Part.FRONT, False))
    if frame_depth > 0:
        bands.append((-frame_depth, a, 0.0, a, Part.FRONT, False))
    if len(bands) > MOST_BANDS:
        raise LightError(f"the wall: has {len(bands)} rings, more than the {MOST_BANDS} that are traced; use fewer.")
    surfaces = Surfaces(
        glass=np.array([a, -frame_depth, glass_reflectance]),
        bands=np.array([band[:4] for band in bands], dtype=float).reshape(-1, 4),
        band_part=np.array([int(band[4]) for band in bands], dtype=np.int64),
        band_cut=np.array([int(band[5]) for band in bands], dtype=np.int64),
        rim=rim, box=box, triangles=made[0], boxes=made[1], links=made[2],
    )  # fmt: skip
    plain = frame_depth == 0 and glass_reflectance == 0 and collar_radius is None and cap is None
    return Scene(surfaces, simple=plain and _is_simple(shape, bands, a))


def _is_simple(
    shape: HoodShape | None, bands: list[tuple[float, float, float, float, Part, bool]], glass_radius: float
) -> bool:
    """Whether the closed forms of the fast method hold."""
    if isinstance(shape, TunnelHood):
        return min(shape.wall.half_width, shape.wall.half_height) >= glass_radius
    return isinstance(shape, RoundHood) and sum(band[5] for band in bands) == 1


def _rim_table(rim: Rim, reach: float) -> Array:
    """Height of the rim above the front rim plane at even steps of the pseudo-angle, never below the plane."""
    p = np.arange(RIM_CELLS + 1) * 4.0 / RIM_CELLS
    quarter = np.floor(p) % 4
    share = p - np.floor(p)
    x = np.choose(quarter.astype(int), [1 - share, -share, share - 1, share])
    y = np.choose(quarter.astype(int), [share, 1 - share, -share, share - 1])
    return np.maximum(rim.z_at(np.degrees(np.arctan2(y, x))) - reach, 0.0)


def _wall_bands(shape: RoundHood, reach: float) -> list[tuple[float, float, float, float, Part, bool]]:
    """The wall as rings from the front rim plane to just beyond the highest rim; steps become flat rings."""
    wall, top = shape.wall, shape.rim.deepest
    if top <= reach:
        raise LightError("the rim: lies nowhere ahead of the front rim plane, so there is no wall to scatter light.")
    if top - reach > FURTHEST:
        raise LightError(f"the rim: lies more than {FURTHEST:g} mm ahead of the front; use a shorter hood.")
    inner = [z for z in wall.z if reach < z < top]
    if wall.is_tube or len(wall.z) == 2:
        inner = inner if len(wall.z) == 2 and wall.z[0] == wall.z[1] else []
    levels = [reach, *dict.fromkeys(inner), top]
    bands = []
    for z0, z1 in pairwise(levels):
        r0, r1 = float(wall.radius_at(np.nextafter(z0, z1))), float(wall.radius_at(z1))
        if min(r0, r1) <= 0:
            raise LightError("the wall: closes to a point before the rim; use a wider far diameter or a shorter hood.")
        bands.append((z0 - reach, r0, z1 - reach, r1, Part.WALL, True))
        beyond = float(wall.radius_at(np.nextafter(z1, math.inf)))
        if z1 < top and abs(beyond - r1) > 1e-9:
            flat = (z1 - reach, min(r1, beyond), z1 - reach, max(r1, beyond), Part.WALL, True)
            bands.append(flat)
    return bands


def _vane_bands(vane: Vane, wall: RoundWall, reach: float) -> list[tuple[float, float, float, float, Part, bool]]:
    """A vane as a flat ring from its edge to the wall, and where it has a thickness, its edge and its sloping rear face."""
    _check("a vane's z", vane.z, -FURTHEST, FURTHEST)
    radius = float(wall.radius_at(vane.z))
    if vane.z <= reach:
        raise LightError(f"a vane: z is {vane.z:g} mm, not ahead of the front rim plane ({reach:g} mm); move it forward.")
    if not 0.0 < vane.inner_radius < radius:
        raise LightError(
            f"a vane: its inner radius is {vane.inner_radius:g} mm, but must be more than 0 and less than the wall's "
            f"({radius:.2f} mm at z = {vane.z:g} mm)."
        )
    _check("a vane's edge", vane.edge, 0.0, 10.0)
    _check("a vane's flank", vane.flank, 5.0, 85.0)
    z, inner = vane.z - reach, vane.inner_radius
    bands = [(z, inner, z, radius, Part.VANES, True)]
    if vane.edge > 0:
        # Nothing lies behind the front rim plane; a slope that goes on there is cut off.
        rear, foot = max(z - vane.edge, 0.0), max(vane.foot(wall) - reach, 0.0)
        bands.append((rear, inner, z, inner, Part.VANES, True))
        if foot < rear:
            bands.append((foot, inner + (rear - foot) * math.tan(math.radians(vane.flank)), rear, inner, Part.VANES, True))
    return bands


def _moved_triangles(shape: MeshHood, reach: float) -> Array:
    """The mesh's triangles in front-rim coordinates, those without area left out."""
    if len(shape.faces) == 0 or len(shape.faces) > MOST_TRIANGLES:
        raise LightError(f"the mesh: has {len(shape.faces):,} triangles; from 1 to {MOST_TRIANGLES:,} are traced.")
    triangles = np.ascontiguousarray(shape.vertices[shape.faces], dtype=float) - np.array([0.0, 0.0, reach])
    if not np.all(np.isfinite(triangles)) or np.abs(triangles).max() > FURTHEST:
        raise LightError(f"the mesh: a corner lies more than {FURTHEST:g} mm off; check that its unit is mm.")
    area = np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    return np.ascontiguousarray(triangles[area > 0])


def _mesh_opening(triangles: Array) -> float:
    """Largest distance (mm) from the axis at which the mesh's inside cuts the plane just ahead of the front rim; 0 where
    it does not. Along each of 720 azimuths the cut nearest to the axis counts.
    """
    z = 1e-3
    away = triangles[:, :, 2] - z
    crossing = triangles[(away.min(axis=1) < 0) & (away.max(axis=1) > 0)]
    nearest = np.full(720, np.inf)
    for triangle in crossing:
        ends = []
        for i in range(3):
            p, q = triangle[i], triangle[(i + 1) % 3]
            if (p[2] < z) != (q[2] < z):
                ends.append(p[:2] + (z - p[2]) / (q[2] - p[2]) * (q[:2] - p[:2]))
        if len(ends) == 2:
            points = ends[0] + np.linspace(0, 1, 33)[:, None] * (ends[1] - ends[0])
            place = (np.degrees(np.arctan2(points[:, 1], points[:, 0])) * 2).astype(int) % 720
            np.minimum.at(nearest, place, np.hypot(points[:, 0], points[:, 1]))
    found = nearest[np.isfinite(nearest)]
    return float(found.max()) if len(found) else 0.0


def _check(field: str, value: float, low: float, high: float) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise LightError(f"{field}: is {value:g}, but must be from {low:g} to {high:g}; correct it.")
