"""The same hoods as meshes in a general-purpose physically based renderer, an independent reference for light."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import mitsuba
import numpy as np
from numpy.typing import NDArray

from shadewright.model.shape import RoundHood, TunnelHood

Array = NDArray[np.float64]


def use_variant(name: str = "scalar_rgb") -> None:
    """Choose how the renderer computes; the scalar variant needs no compiler of its own."""
    if mitsuba.variant() != name:
        mitsuba.set_variant(name)


def strip(loops: list[Array]) -> tuple[Array, NDArray[np.int64]]:
    """Triangles between neighbouring closed loops (n, 3) of as many points each."""
    n = len(loops[0])
    i = np.arange(n)
    j = (i + 1) % n
    faces = []
    for k in range(len(loops) - 1):
        a, b = k * n, (k + 1) * n
        faces += [np.stack([a + i, a + j, b + i], axis=1), np.stack([a + j, b + j, b + i], axis=1)]
    return np.concatenate(loops), np.concatenate(faces)


def joined(*meshes: tuple[Array, NDArray[np.int64]]) -> tuple[Array, NDArray[np.int64]]:
    """Several meshes as one."""
    vertices, faces, count = [], [], 0
    for v, f in meshes:
        vertices.append(v)
        faces.append(f + count)
        count += len(v)
    return np.concatenate(vertices), np.concatenate(faces)


def ring(radius: float, z: Array | float, azimuth: Array) -> Array:
    """A loop of a radius at z."""
    return np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), z + 0 * azimuth], axis=1)


def inside_of(hood: RoundHood | TunnelHood, glass: float, *, vanes: tuple[tuple[float, float], ...] = (), step: float = 0.5) -> tuple[
    Array, NDArray[np.int64]
]:  # fmt: skip
    """The inside of a hood and the collar round the glass, seat plane and front rim plane at z = 0; vanes (z, radius)."""
    azimuth = np.radians(np.arange(0.0, 360.0, step))
    if isinstance(hood, TunnelHood):
        return _inside_of_tunnel(hood, glass, azimuth)
    rim = hood.rim.z_at(np.degrees(azimuth))
    loops = []
    for share in np.linspace(0, 1, 9):
        z = share * rim
        r = hood.wall.radius_at(z)
        loops.append(np.stack([r * np.cos(azimuth), r * np.sin(azimuth), z], axis=1))
    parts = [strip(loops), strip([ring(glass, 0.0, azimuth), ring(float(hood.wall.radius_at(1e-9)), 0.0, azimuth)])]
    for z, radius in vanes:
        parts.append(strip([ring(radius, z, azimuth), ring(float(hood.wall.radius_at(z)), z, azimuth)]))
    return joined(*parts)


def _inside_of_tunnel(hood: TunnelHood, glass: float, azimuth: Array) -> tuple[Array, NDArray[np.int64]]:
    w, h, lips = hood.wall.half_width, hood.wall.half_height, hood.rim
    corners = [(w, -h), (w, h), (-w, h), (-w, -h), (w, -h)]
    walls = []
    tops = (lips.right, lips.top, lips.left, lips.bottom)
    for (a, b), top in zip(pairwise(corners), tops, strict=True):
        v = np.array([(*a, 0.0), (*b, 0.0), (*b, top), (*a, top)])
        walls.append((v, np.array([[0, 1, 2], [0, 2, 3]])))
    # Loops of the collar: the glass's edge and the same azimuths on the rectangle, its corners among them.
    corner = math.atan2(h, w)
    azimuth = np.union1d(azimuth, [corner, math.pi - corner, math.pi + corner, 2 * math.pi - corner])
    reach = 1.0 / np.maximum(np.abs(np.cos(azimuth)) / w, np.abs(np.sin(azimuth)) / h)
    edge = np.stack([reach * np.cos(azimuth), reach * np.sin(azimuth), 0 * azimuth], axis=1)
    return joined(*walls, strip([ring(glass, 0.0, azimuth), edge]))


def mesh_of(vertices: Array, faces: NDArray[np.int64], finish: float | dict[str, Any]) -> Any:
    """A mesh of the renderer with the same finish on both sides: Lambertian of a reflectance, or as described."""
    properties = mitsuba.Properties()
    plain = {"type": "diffuse", "reflectance": {"type": "rgb", "value": finish}}
    properties["bsdf"] = mitsuba.load_dict({"type": "twosided", "inner": finish if isinstance(finish, dict) else plain})
    mesh = mitsuba.Mesh("hood", len(vertices), len(faces), has_vertex_normals=False, has_vertex_texcoords=False, props=properties)
    values = mitsuba.traverse(mesh)
    values["vertex_positions"] = np.ascontiguousarray(vertices, dtype=np.float32).ravel()
    values["faces"] = np.ascontiguousarray(faces, dtype=np.uint32).ravel()
    values.update()
    return mesh


def sunlit(vertices: Array, faces: NDArray[np.int64], glass: float, direction: Array, reflectance: float, *, rays: int) -> Any:
    """A scene whose sensor is a black disc for the glass, under parallel light of irradiance 1 from a direction."""
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    film = {
        "type": "hdrfilm", "width": 1, "height": 1, "rfilter": {"type": "box"}, "pixel_format": "luminance",
        "component_format": "float32",
    }  # fmt: skip
    meter = {"type": "irradiancemeter", "film": film, "sampler": {"type": "independent", "sample_count": rays}}
    return mitsuba.load_dict(
        {
            "type": "scene", "integrator": {"type": "path", "max_depth": 64, "rr_depth": 64},
            "hood": mesh_of(vertices, faces, reflectance),
            "glass": {
                "type": "disk", "to_world": mitsuba.ScalarTransform4f().scale([glass, glass, 1.0]), "bsdf": black, "meter": meter,
            },
            "sun": {
                "type": "directional", "direction": [-float(v) for v in direction], "irradiance": {"type": "rgb", "value": 1.0},
            },
        }
    )  # fmt: skip


def wall_light_by_renderer(
    vertices: Array, faces: NDArray[np.int64], glass: float, direction: Array, reflectance: float, *, rays: int = 65_536,
    batches: int = 16, seed: int = 1,
) -> tuple[float, float]:  # fmt: skip
    """Wall light in one direction and its standard error: the irradiance of the glass by reflected light alone.

    Give each direction a seed of its own: the renderer's rays from the meter are the same for all directions, and so is
    their luck.

    The sun is a direction without extent, so its direct light meets no ray from the meter and is not counted.
    """
    scene = sunlit(vertices, faces, glass, direction, reflectance, rays=rays)
    found = [float(np.array(mitsuba.render(scene, seed=1000 * seed + k)).ravel()[0]) for k in range(batches)]
    return float(np.mean(found)), float(np.std(found, ddof=1) / math.sqrt(batches))


def let_out_by_renderer(
    vertices: Array, faces: NDArray[np.int64], glass: float, finish: dict[str, Any], *, rays: int = 65_536, batches: int = 16
) -> tuple[float, float]:
    """Share of light sent out by the glass that leaves the hood, and its standard error: the glass under an even sky."""
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    film = {
        "type": "hdrfilm", "width": 1, "height": 1, "rfilter": {"type": "box"}, "pixel_format": "luminance",
        "component_format": "float32",
    }  # fmt: skip
    meter = {"type": "irradiancemeter", "film": film, "sampler": {"type": "independent", "sample_count": rays}}
    scene = mitsuba.load_dict(
        {
            "type": "scene", "integrator": {"type": "path", "max_depth": 64, "rr_depth": 64},
            "hood": mesh_of(vertices, faces, finish), "sky": {"type": "constant", "radiance": {"type": "rgb", "value": 1.0}},
            "glass": {
                "type": "disk", "to_world": mitsuba.ScalarTransform4f().scale([glass, glass, 1.0]), "bsdf": black, "meter": meter,
            },
        }
    )  # fmt: skip
    found = [float(np.array(mitsuba.render(scene, seed=5000 + k)).ravel()[0]) / math.pi for k in range(batches)]
    return float(np.mean(found)), float(np.std(found, ddof=1) / math.sqrt(batches))
