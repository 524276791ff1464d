"""What a triangle mesh is: closed, in one piece, the right way out, and nowhere too thin."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from shadewright.model.shape import Array

LEAST_WALL = 0.4
"""A wall thinner than this, in mm, is one line of a common nozzle or less (common practice, no source)."""
FACING = -0.8
"""Two faces bound a wall where the cosine between their outward normals is below this: within 37 degrees of
opposite. Edges, chamfers and thread crests taper to nothing without being walls, so their faces are not
paired."""
LEAST_ALTITUDE = 0.01
"""Triangles narrower than this, in mm, are left out of the sampling: rounding turns their normals."""
MOST_CELLS = 96
"""Most cells of the search grid along one axis."""
SAMPLES = 30_000
"""Points that a whole surface is sampled at, beside one in every triangle."""


@dataclass(frozen=True)
class Inspection:
    """What was found. Lengths in mm, volume in mm3; `thickness` is None where no wall was met."""

    closed: bool
    oriented: bool
    bodies: int
    volume: float
    thickness: float | None
    thinnest_at: tuple[float, float, float] | None
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    problems: tuple[str, ...]


def inspect_mesh(vertices: Array, faces: NDArray[np.int64], *, least_wall: float = LEAST_WALL) -> Inspection:
    """Inspects a mesh of vertices (n, 3) mm and faces (m, 3), vertices shared between faces.

    `problems` holds a sentence for everything that stands in the way of making it; none means that it can be
    made.
    """
    vertices = np.ascontiguousarray(vertices, dtype=float)
    faces = np.ascontiguousarray(faces, dtype=np.int64)
    if len(faces) == 0 or not np.all(np.isfinite(vertices)):
        nowhere = (math.nan,) * 3
        return Inspection(
            False, False, 0, 0.0, None, None, nowhere, nowhere,
            ("The mesh has no triangles, or a coordinate that is not a number.",),
        )  # fmt: skip
    open_edges, crowded, unlike = _edge_faults(faces)
    closed, oriented = open_edges + crowded == 0, unlike == 0
    bodies = count_bodies(faces, len(vertices))
    a, b, c = vertices[faces[:, 0]], vertices[faces[:, 1]], vertices[faces[:, 2]]
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)
    thickness, place = least_thickness(vertices, faces)

    problems = []
    if open_edges:
        problems.append(f"The surface is not closed: {open_edges} edges belong to one triangle only.")
    if crowded:
        problems.append(f"The surface touches itself: {crowded} edges belong to more than two triangles.")
    if unlike:
        problems.append(f"Neighbouring triangles face opposite ways at {unlike} edges.")
    elif volume <= 0.0:
        problems.append("The triangles face inwards: the enclosed volume is not positive.")
    if bodies != 1:
        problems.append(f"The mesh is in {bodies} separate pieces; a hood is one.")
    if thickness is not None and thickness < least_wall:
        x, y, z = place or (math.nan,) * 3
        problems.append(
            f"The wall is only {thickness:.2f} mm thick at x {x:.1f}, y {y:.1f}, z {z:.1f}; at least "
            f"{least_wall:g} mm is needed."
        )
    used = vertices[np.unique(faces)]
    return Inspection(
        closed, oriented and volume > 0.0, bodies, volume, thickness, place, _triple(used.min(axis=0)),
        _triple(used.max(axis=0)), tuple(problems),
    )  # fmt: skip


def _triple(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _edge_faults(faces: NDArray[np.int64]) -> tuple[int, int, int]:
    """Counts of edges with one face, with more than two, and with two faces that run along it the same way."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ends = np.sort(edges, axis=1)
    key = ends[:, 0] * (int(faces.max()) + 1) + ends[:, 1]
    _, place, count = np.unique(key, return_inverse=True, return_counts=True)
    direction = np.where(edges[:, 0] < edges[:, 1], 1, -1)
    balance = np.bincount(place.reshape(-1), weights=direction)
    return int(np.sum(count == 1)), int(np.sum(count > 2)), int(np.sum((count == 2) & (balance != 0)))


def count_bodies(faces: NDArray[np.int64], vertices: int) -> int:
    """Number of pieces that share no vertex with one another."""
    start = np.concatenate([faces[:, 0], faces[:, 1]])
    end = np.concatenate([faces[:, 1], faces[:, 2]])
    graph = coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(vertices, vertices))
    _, label = connected_components(graph, directed=False)
    return len(np.unique(label[np.unique(faces)]))


# --- wall thickness -----------------------------------------------------------------------------------------


def least_thickness(
    vertices: Array, faces: NDArray[np.int64]
) -> tuple[float | None, tuple[float, float, float] | None]:
    """The least distance (mm) straight through the wall from any sampled point, and that point.

    Rays run inwards along the face's normal from one point of every triangle and from more on large ones; a
    ray counts where it leaves through a face turned the other way (`FACING`).
    """
    corner = vertices[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    double = np.linalg.norm(normal, axis=1)
    sides = np.linalg.norm(corner - np.roll(corner, -1, axis=1), axis=2)
    altitude = double / np.maximum(sides.max(axis=1), 1e-300)
    normal = normal / np.maximum(double, 1e-300)[:, None]
    face = np.flatnonzero(altitude > LEAST_ALTITUDE)
    if len(face) == 0:
        return None, None
    cell_area = max(float(double[face].sum()) / 2.0 / SAMPLES, 1e-6)
    count = 1 + (double[face] / 2.0 / cell_area).astype(np.int64)
    owner = np.repeat(face, count)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    # The first sample of a face is its centroid; the others follow an additive low-discrepancy sequence.
    u, v = (
        np.where(rank == 0, 1 / 3, rank * 0.7548776662 % 1.0),
        np.where(rank == 0, 1 / 3, rank * 0.5698402910 % 1.0),
    )
    fold = u + v > 1.0
    u, v = np.where(fold, 1.0 - u, u), np.where(fold, 1.0 - v, v)
    base = corner[owner, 0]
    points = base + u[:, None] * (corner[owner, 1] - base) + v[:, None] * (corner[owner, 2] - base)
    low, size, shape = _grid(vertices, len(faces))
    start, member = _fill_grid(corner, low, size, shape)
    distance = _through(points, -normal[owner], owner, corner, normal, low, size, shape, start, member)
    best = int(np.argmin(distance))
    if not math.isfinite(distance[best]):
        return None, None
    return float(distance[best]), _triple(points[best])


def _grid(vertices: Array, faces: int) -> tuple[Array, Array, NDArray[np.int64]]:
    """Corner, cell size and cell counts of a search grid with about as many cells as faces."""
    low = vertices.min(axis=0) - 1e-3
    span = vertices.max(axis=0) + 1e-3 - low
    edge = max(float(np.cbrt(np.prod(span) / max(faces, 1))), float(span.max()) / MOST_CELLS)
    shape = np.maximum(1, np.ceil(span / edge)).astype(np.int64)
    return low, span / shape, shape


@njit(cache=True)
def _cells(corner, low, size, shape, face):  # type: ignore[no-untyped-def]
    """First and last cell along each axis that the face's bounding box touches."""
    first = np.empty(3, np.int64)
    last = np.empty(3, np.int64)
    for k in range(3):
        least = min(corner[face, 0, k], corner[face, 1, k], corner[face, 2, k])
        most = max(corner[face, 0, k], corner[face, 1, k], corner[face, 2, k])
        first[k] = max(0, int((least - low[k] - 1e-9) / size[k]))
        last[k] = min(shape[k] - 1, int((most - low[k] + 1e-9) / size[k]))
    return first, last


@njit(cache=True)
def _fill_grid(corner, low, size, shape):  # type: ignore[no-untyped-def]
    """Faces by cell: `start` (cells + 1,) indexes `member`."""
    total = shape[0] * shape[1] * shape[2]
    start = np.zeros(total + 1, np.int64)
    for face in range(corner.shape[0]):
        first, last = _cells(corner, low, size, shape, face)
        for i in range(first[0], last[0] + 1):
            for j in range(first[1], last[1] + 1):
                for k in range(first[2], last[2] + 1):
                    start[(i * shape[1] + j) * shape[2] + k + 1] += 1
    for cell in range(total):
        start[cell + 1] += start[cell]
    member = np.empty(start[total], np.int64)
    filled = start[:-1].copy()
    for face in range(corner.shape[0]):
        first, last = _cells(corner, low, size, shape, face)
        for i in range(first[0], last[0] + 1):
            for j in range(first[1], last[1] + 1):
                for k in range(first[2], last[2] + 1):
                    cell = (i * shape[1] + j) * shape[2] + k
                    member[filled[cell]] = face
                    filled[cell] += 1
    return start, member


@njit(cache=True)
def _hit(origin, ray, a, b, c):  # type: ignore[no-untyped-def]
    """Distance along the ray to the triangle, or infinity (Moeller and Trumbore 1997, both sides)."""
    e1x, e1y, e1z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    e2x, e2y, e2z = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    px, py, pz = ray[1] * e2z - ray[2] * e2y, ray[2] * e2x - ray[0] * e2z, ray[0] * e2y - ray[1] * e2x
    det = e1x * px + e1y * py + e1z * pz
    if abs(det) < 1e-14:
        return np.inf
    tx, ty, tz = origin[0] - a[0], origin[1] - a[1], origin[2] - a[2]
    u = (tx * px + ty * py + tz * pz) / det
    if u < -1e-9 or u > 1.0 + 1e-9:
        return np.inf
    qx, qy, qz = ty * e1z - tz * e1y, tz * e1x - tx * e1z, tx * e1y - ty * e1x
    v = (ray[0] * qx + ray[1] * qy + ray[2] * qz) / det
    if v < -1e-9 or u + v > 1.0 + 1e-9:
        return np.inf
    return (e2x * qx + e2y * qy + e2z * qz) / det


@njit(cache=True)
def _through(points, rays, owner, corner, normal, low, size, shape, start, member):  # type: ignore[no-untyped-def]
    """Distance from each point along its ray to the first face it leaves by, infinity where that is no wall."""
    result = np.full(points.shape[0], np.inf)
    cell, step = np.empty(3, np.int64), np.empty(3, np.int64)
    ahead, stride = np.empty(3), np.empty(3)
    for n in range(points.shape[0]):
        origin, ray = points[n], rays[n]
        for k in range(3):
            cell[k] = min(shape[k] - 1, max(0, int((origin[k] - low[k]) / size[k])))
            step[k] = 1 if ray[k] > 0 else -1
            if abs(ray[k]) < 1e-12:
                ahead[k] = stride[k] = np.inf
            else:
                border = low[k] + (cell[k] + (1 if ray[k] > 0 else 0)) * size[k]
                ahead[k] = (border - origin[k]) / ray[k]
                stride[k] = size[k] / abs(ray[k])
        nearest, exit_face = np.inf, -1
        while True:
            place = (cell[0] * shape[1] + cell[1]) * shape[2] + cell[2]
            for m in range(start[place], start[place + 1]):
                face = member[m]
                if face != owner[n]:
                    t = _hit(origin, ray, corner[face, 0], corner[face, 1], corner[face, 2])
                    if 1e-6 < t < nearest:
                        nearest, exit_face = t, face
            axis = 0
            if ahead[1] < ahead[axis]:
                axis = 1
            if ahead[2] < ahead[axis]:
                axis = 2
            if nearest <= ahead[axis]:
                break
            cell[axis] += step[axis]
            if cell[axis] < 0 or cell[axis] >= shape[axis]:
                break
            ahead[axis] += stride[axis]
        if exit_face >= 0:
            facing = 0.0
            for k in range(3):
                facing -= ray[k] * normal[exit_face, k]
            if facing < FACING:
                result[n] = nearest
    return result
