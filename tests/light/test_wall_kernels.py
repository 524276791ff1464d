"""The staged kernels against the questions asked one ray at a time, and those against plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy import stats

from shadewright.light import staged
from shadewright.light.block import WORK_ROWS, free_towards_sky
from shadewright.light.fast import Sides, wall_points
from shadewright.light.importance import disc_factor
from shadewright.light.lines import CELLS, line_sums, sight_table, step_table
from shadewright.light.meet import GLASS, SKY, mesh_distance, nearest_hit, reaches_sky, rim_height
from shadewright.light.pairs import ROWS, lit_sums, pair_sums
from shadewright.light.scatter import disc_point
from shadewright.light.scene import RIM_CELLS, Scene, Vane, bare_scene
from shadewright.light.tree import tree_of
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

Array = NDArray[np.float64]

AZIMUTH = np.arange(0.0, 360.0, 1.0)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
TUBE = RoundHood(RoundWall((0.0,), (42.0,)), PETAL)
SIMPLE = {
    "tube": bare_scene(32.0, TUBE),
    "cone": bare_scene(32.0, RoundHood(RoundWall((0.0, 40.0), (36.0, 50.0)), PETAL)),
    "narrowing": bare_scene(32.0, RoundHood(RoundWall((0.0, 40.0), (44.0, 36.0)), PETAL)),
    "tunnel": bare_scene(32.0, TunnelHood(TunnelWall(46.0, 38.0), TunnelRim(40.0, 30.0, 35.0, 25.0))),
}
ANY = SIMPLE | {
    "vanes": bare_scene(32.0, TUBE, vanes=(Vane(12.0, 38.0), Vane(28.0, 37.0))),
    "stepped": bare_scene(32.0, RoundHood(RoundWall((0.0, 15.0, 15.0, 40.0), (36.0, 36.0, 42.0, 42.0)), PETAL), frame_depth=2.0),
}


def towards(count: int, seed: int) -> Array:
    """Even random directions (count, 3)."""
    d = np.random.default_rng(seed).normal(size=(count, 3))
    return np.ascontiguousarray(d / np.linalg.norm(d, axis=1)[:, None])


@pytest.mark.parametrize("name", ANY)
def test_block_of_directions_is_asked_the_same(name: str) -> None:
    """From places inside: each direction free or not as `reaches_sky` has it, but for grazing ones."""
    scene, d = ANY[name], towards(2000, 1)
    rng = np.random.default_rng(2)
    free, work = np.empty(len(d)), np.empty((WORK_ROWS, len(d)))
    differing, open_ways = 0, 0
    for _ in range(40):
        r, turn = 30 * math.sqrt(rng.random()), rng.random() * 2 * math.pi
        place = (r * math.cos(turn), r * math.sin(turn), rng.random() * 20)
        normal = towards(1, int(rng.integers(1 << 30)))[0]
        free_towards_sky(scene.surfaces, *place, *normal, np.ascontiguousarray(d.T), free, work)
        alone = np.array([reaches_sky(scene.surfaces, *place, *w) for w in d])
        cosine = np.maximum(d @ normal, 0.0)
        differing += int(np.sum((free > 0) != (alone & (cosine > 0))))
        open_ways += int(np.sum(free > 0))
        same = (free > 0) == (alone & (cosine > 0))
        assert np.allclose(free[same], np.where(alone, cosine, 0.0)[same], atol=1e-12)
    assert open_ways > 2000
    assert differing <= 2


@pytest.mark.parametrize("name", SIMPLE)
def test_pairs_of_the_fast_method_are_asked_the_same(name: str) -> None:
    """Sums over points of the wall and collar, by single precision and closed geometry, against one ray at a time."""
    scene, d = SIMPLE[name], towards(1500, 3)
    sides = Sides.of(scene, d)
    for points in wall_points(scene, 64, np.random.default_rng(4)):
        rows = np.zeros((ROWS, len(points.places)))
        rows[:6] = points.places.T
        rows[6] = 2 * np.hypot(rows[0], rows[1]) * math.sqrt(1 + sides.taper**2)
        rows[7] = 1.0
        sums = np.zeros((3, len(d)))
        pair_sums(
            points.kind, rows.astype(np.float32), np.zeros((len(points.places), 6), np.float32), sides.directions, sides.base,
            sides.slope, sides.floor_radius, sides.taper, scene.glass_radius, np.zeros((2, 1), np.float32), sums,
        )  # fmt: skip
        wanted = np.zeros(len(d))
        for p in points.places:
            c = d @ p[3:]
            wanted += [w if w > 0 and reaches_sky(scene.surfaces, *p[:3], *v) else 0.0 for v, w in zip(d, c, strict=True)]
        # A ray that passes the rim within a thousandth of a millimetre may be judged either way: one point each.
        wrong = np.abs(sums[0] - wanted) > 1e-3
        assert wrong.mean() < 0.004
        assert np.all(sums[1:] == 0)


@pytest.mark.parametrize("name", ["tube", "cone", "narrowing"])
def test_lines_of_the_wall_are_integrated(name: str) -> None:
    """One line at a time: the closed form's integral and the steps of the walks, against one ray at a time from many heights."""
    scene, d = SIMPLE[name], towards(400, 8)
    sides, s = Sides.of(scene, d), scene.surfaces
    slant = math.hypot(1.0, sides.taper)
    highest = float(s.rim.max())
    sight = sight_table(sides.floor_radius, sides.taper, highest, scene.glass_radius)
    heights, fine = 8, 400
    for turn, first in ((0.3, 0.2), (1.4, 0.7), (4.0, 0.9)):
        x, y = math.cos(turn), math.sin(turn)
        top = rim_height(x, y, s.rim)
        weights = np.random.default_rng(5).random((1, heights, 3))
        lines = np.array([[x], [y], [top], [1 / top], [first]], np.float32)
        sums = np.zeros((3, len(d)))
        line_sums(
            lines, step_table(weights), sight, CELLS / highest, sides.directions, sides.base, sides.slope, sides.floor_radius,
            sides.taper, np.zeros((2, 1), np.float32), sums,
        )  # fmt: skip
        normal = np.array([-x, -y, sides.taper]) / slant

        def free(z: float, w: Array, x: float = x, y: float = y) -> bool:
            r = sides.floor_radius + sides.taper * z
            return reaches_sky(s, r * x, r * y, z, *w)

        wrong = 0
        for j in np.flatnonzero(d @ normal > 0):
            cosine = float(d[j] @ normal)
            straight = 0.0
            for k in range(fine):
                z = (k + 0.5) * top / fine
                r = sides.floor_radius + sides.taper * z
                if free(z, d[j]):
                    straight += disc_factor(r * x, r * y, z, *normal, scene.glass_radius) * r * slant * top / fine
            # Half a step of height at the edge of what is lit; the disc factor is below a half.
            assert abs(sums[0, j] / cosine - straight / scene.glass_area) < 0.5 * 0.6 * 50 * slant * top / fine / scene.glass_area
            lit = np.array([free((k + first) * top / heights, d[j]) for k in range(heights)])
            wrong += not np.allclose(sums[1:, j] / cosine, weights[0, lit, 1:].sum(axis=0), atol=1e-5)
        # A place within a thousandth of a millimetre of the edge may be judged either way.
        assert wrong <= 1
        assert np.all(sums[:, d @ normal <= 0] == 0.0)
        assert np.sum(sums[0] > 0) > 60


@pytest.mark.parametrize("name", SIMPLE)
def test_lit_points_of_the_glass(name: str) -> None:
    scene, d = SIMPLE[name], towards(800, 5)
    sides = Sides.of(scene, d)
    rng = np.random.default_rng(6)
    r, turn = 32 * np.sqrt(rng.random(100)), rng.random(100) * 2 * math.pi
    rows = np.zeros((ROWS, 100))
    rows[0], rows[1], rows[5] = r * np.cos(turn), r * np.sin(turn), 1.0
    sums = np.zeros(len(d))
    kind = 2 if name == "tunnel" else 1
    lit_sums(kind, rows.astype(np.float32), sides.directions, sides.base, sides.slope, sides.floor_radius, sides.taper, sums)
    wanted = [
        max(w[2], 0.0) * sum(reaches_sky(scene.surfaces, x, y, 0.0, *w) for x, y in zip(rows[0], rows[1], strict=True)) for w in d
    ]
    assert np.mean(np.abs(sums - wanted) > 1e-3) < 0.01


def test_rim_height_is_the_rim() -> None:
    """Between the places kept, an eleventh of a degree apart, the rim is straight: 2e-4 mm on this one."""
    scene = ANY["tube"]
    for azimuth in np.random.default_rng(7).uniform(0, 360, 200):
        a = math.radians(azimuth)
        found = rim_height(3 * math.cos(a), 3 * math.sin(a), scene.surfaces.rim)
        assert found == pytest.approx(float(PETAL.z_at(azimuth)), abs=2e-4 + 16 * math.pi / RIM_CELLS / 180)


def test_nearest_hit_by_hand() -> None:
    """A tube of radius 42: across it, down to the glass, down to the collar, and out."""
    s = ANY["tube"].surfaces
    t, part, nx, ny, nz = nearest_hit(s, 0.0, 0.0, 5.0, 1.0, 0.0, 0.0)
    assert (t, part, nx, ny, nz) == pytest.approx((42.0, 0, -1.0, 0.0, 0.0))
    assert nearest_hit(s, 0.0, 0.0, 5.0, 0.0, 0.0, -1.0)[:2] == pytest.approx((5.0, GLASS))
    assert nearest_hit(s, 36.0, 0.0, 5.0, 0.0, 0.0, -1.0)[:2] == pytest.approx((5.0, 1))
    assert nearest_hit(s, 0.0, 0.0, 5.0, 0.0, 0.0, 1.0)[1] == SKY
    # Towards azimuth 90 degrees the rim is 38 mm high, towards 0 degrees 22.
    assert nearest_hit(s, 0.0, 0.0, 30.0, 0.0, 1.0, 0.0)[1] == 0
    assert nearest_hit(s, 0.0, 0.0, 30.0, 1.0, 0.0, 0.0)[1] == SKY


def test_tree_finds_what_every_triangle_would() -> None:
    mesh = trimesh.creation.icosphere(subdivisions=3, radius=10.0)
    triangles, boxes, links = tree_of(np.asarray(mesh.triangles))
    rng = np.random.default_rng(9)
    for _ in range(60):
        origin, way = rng.uniform(-15, 15, 3), towards(1, int(rng.integers(1 << 30)))[0]
        found, number = mesh_distance(triangles, boxes, links, *origin, *way, math.inf, False)
        every = [mesh_distance(t[None], np.array([[-99.0, -99, -99, 99, 99, 99]]), np.array([[1, 0, 1]]), *origin, *way, math.inf, False)[0] for t in triangles]
        assert found == min(every)
        assert (number >= 0) == math.isfinite(found)
        assert (mesh_distance(triangles, boxes, links, *origin, *way, math.inf, True)[1] >= 0) == math.isfinite(found)


def test_a_scene_is_simple_only_where_closed_forms_hold() -> None:
    assert all(scene.simple for scene in SIMPLE.values())
    others: list[Scene] = [
        ANY["vanes"], ANY["stepped"], bare_scene(32.0, TUBE, glass_reflectance=0.1), bare_scene(32.0, TUBE, frame_depth=1.0),
        bare_scene(32.0, TunnelHood(TunnelWall(40.0, 26.0), TunnelRim(30.0, 30.0, 30.0, 30.0))), bare_scene(32.0, None),
    ]  # fmt: skip
    assert not any(scene.simple for scene in others)




def chi_square(values: Array, *, bins: int = 40) -> float:
    """Chance of a scatter at least as large in `bins` of values that should lie evenly in 0 to 1."""
    return float(stats.chisquare(np.histogram(values, bins=bins, range=(0.0, 1.0))[0]).pvalue)


def test_disc_sampler() -> None:
    """Area and azimuth are even, and so are the four quarters against the four rings of equal area."""
    u = np.random.default_rng(10).random((100_000, 2))
    points = np.array([disc_point(*row) for row in u])
    area = (points**2).sum(axis=1)
    turn = np.arctan2(points[:, 1], points[:, 0]) / (2 * math.pi) + 0.5
    assert chi_square(area) > 1e-3
    assert chi_square(turn) > 1e-3
    joint = np.histogram2d(area, turn, bins=4)[0]
    assert stats.chi2_contingency(joint).pvalue > 1e-3


def test_staged_samplers() -> None:
    """In single precision: even over the glass, cosine law about the leaning normal of a cone and about the collar's."""
    one, n, taper = np.float32, staged.BLOCK, 0.3
    p, u, v = np.empty((7, n), one), np.empty(n, one), np.empty(n, one)
    ray = np.empty(n, np.uint32)
    shifts = np.array([1 << 61, 1 << 60, 3 << 58, 5 << 57], dtype=np.uint64)
    for floor in (0.0, 1.0):
        area, cosine, turn, start = [], [], [], []
        for block in range(60):
            staged._launch(block * n, n, shifts, one(32.0), p, ray)
            start.append((p[0] ** 2 + p[1] ** 2) / 32.0**2)
            area.append(1 - p[5] ** 2)
            staged._numbers(ray, n, np.uint32(block), np.uint32(77), np.uint32(5), u, v)
            azimuth = np.linspace(0, 2 * math.pi, n)
            p[0], p[1], p[2] = 43 * np.cos(azimuth), 43 * np.sin(azimuth), 10.0
            staged._scatter(n, p, u, v, one(40.0), one(taper), np.full(n, floor, one))
            slant = math.hypot(1.0, taper)
            across = -(np.cos(azimuth) * p[3] + np.sin(azimuth) * p[4])
            cosine.append(p[5].copy() if floor else (across + taper * p[5]) / slant)
            along = p[3] if floor else -np.sin(azimuth) * p[3] + np.cos(azimuth) * p[4]
            up = p[4] if floor else (p[5] + taper * -across) / slant
            turn.append(np.arctan2(up, along) / (2 * math.pi) + 0.5)
            assert np.allclose(p[3] ** 2 + p[4] ** 2 + p[5] ** 2, 1.0, atol=2e-6)
        assert np.concatenate(cosine).min() > -1e-6
        assert chi_square(1 - np.concatenate(cosine) ** 2) > 1e-3
        assert chi_square(np.concatenate(turn)) > 1e-3
        # A low-discrepancy start is more even than chance: no more than its expected scatter.
        assert chi_square(np.concatenate(start)) > 0.5
        assert chi_square(np.concatenate(area)) > 0.5
