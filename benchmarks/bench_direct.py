"""Direct visibility: 10,000 directions by 1,000 points of the front glass, blocked or not by a petal hood.

Against Embree (through trimesh and embreex) on the same hood as a mesh, and against vectorised numpy on the same curve,
in one run; both do a part of the pairs, and their time is scaled up. Processor seconds of all threads.
"""

from __future__ import annotations

import importlib.util
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

from common import heading

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
from renderer import inside_of
from shadewright.light.fast import Sides, lattice
from shadewright.light.pairs import FLOOR, ROWS, lit_sums
from shadewright.light.scene import bare_scene
from shadewright.light.wall_light import Sky
from shadewright.model.shape import Rim, RoundHood, RoundWall

GLASS, WALL = 32.0, 42.0
AZIMUTH = np.arange(0.0, 360.0, 0.5)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
HOOD = RoundHood(RoundWall((0.0,), (WALL,)), PETAL)
DIRECTIONS = Sky(100, 100).directions


def glass_points(count: int) -> np.ndarray:
    """Even points of the glass (count, 2)."""
    u = lattice(count, np.random.default_rng(0))
    r, turn = GLASS * np.sqrt(u[:, 1]), 2 * math.pi * u[:, 0]
    return np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1)


def processor(call: Callable[[], Any], times: int) -> tuple[float, Any]:
    """The least processor time of several calls, and the last answer."""
    best, found = math.inf, None
    for _ in range(times):
        started = time.process_time()
        found = call()
        best = min(best, time.process_time() - started)
    return best, found


def by_kernel(sides: Sides, rows: np.ndarray) -> np.ndarray:
    """Lit points times the cosine for every direction."""
    sums = np.zeros(sides.directions.shape[1])
    lit_sums(FLOOR, rows, sides.directions, sides.base, sides.slope, sides.floor_radius, sides.taper, sums)
    return sums


def by_numpy(points: np.ndarray, directions: np.ndarray) -> np.ndarray:
    """The same for some directions, all pairs at once in double precision."""
    d = directions[:, None, :]
    a = d[..., 0] ** 2 + d[..., 1] ** 2
    b = points[None, :, 0] * d[..., 0] + points[None, :, 1] * d[..., 1]
    c = (points**2).sum(axis=1)[None, :] - WALL**2
    t = (np.sqrt(b * b - a * c) - b) / a
    azimuth = np.degrees(np.arctan2(points[None, :, 1] + t * d[..., 1], points[None, :, 0] + t * d[..., 0]))
    free = t * d[..., 2] > PETAL.z_at(azimuth)
    return free.sum(axis=1) * np.maximum(directions[:, 2], 0.0)


def by_embree(scene: Any, points: np.ndarray, directions: np.ndarray) -> np.ndarray:
    """The same for some directions by rays on the mesh."""
    origins = np.concatenate([points, np.full((len(points), 1), 1e-3)], axis=1)
    starts = np.tile(origins, (len(directions), 1))
    towards = np.repeat(directions, len(points), axis=0)
    met = scene.intersects_any(starts, towards)
    return (~met).reshape(len(directions), -1).sum(axis=1) * np.maximum(directions[:, 2], 0.0)


def main() -> None:
    """Print the claim and what was measured."""
    heading("10,000 directions x 1,000 points of the glass, petal hood")
    points = glass_points(1000)
    sides = Sides.of(bare_scene(GLASS, HOOD), DIRECTIONS)
    rows = np.zeros((ROWS, len(points)), np.float32)
    rows[:2], rows[5] = points.T, 1.0
    by_kernel(sides, rows)
    ours, lit = processor(lambda: by_kernel(sides, rows), 7)
    print(f"  this kernel, whole sphere: {ours * 1e3:.1f} ms, {ours / 1e7 * 1e9:.2f} ns a pair (goal 10 ms)")
    some = np.flatnonzero(DIRECTIONS[:, 2] > 0)[:: 50]
    portion = len(DIRECTIONS) / len(some)
    slow, by_array = processor(lambda: by_numpy(points, DIRECTIONS[some]), 3)
    print(f"  numpy: {slow * portion * 1e3:,.0f} ms; ratio {slow * portion / ours:.0f}")
    compared = [("numpy", by_array)]
    if importlib.util.find_spec("embreex") is None:
        print("  Embree: not measured, the package embreex is not installed")
    else:
        from trimesh.ray.ray_pyembree import RayMeshIntersector

        vertices, faces = inside_of(HOOD, WALL - 1e-3)
        scene = RayMeshIntersector(trimesh.Trimesh(vertices, faces, process=False))
        by_embree(scene, points[:2], DIRECTIONS[some])
        rays, traced = processor(lambda: by_embree(scene, points, DIRECTIONS[some]), 3)
        print(f"  Embree on {len(faces):,} triangles: {rays * portion * 1e3:,.0f} ms; ratio {rays * portion / ours:.0f}")
        compared.append(("Embree", traced))
    for name, other in compared:
        print(f"  largest difference in the lit share from {name}: {np.abs(other - lit[some]).max() / len(points):.4f}")


if __name__ == "__main__":
    main()
