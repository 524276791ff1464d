"""Rays through surfaces: against an independent tracer at every surface, against closed forms, and what must never change."""

from __future__ import annotations

import math
from dataclasses import replace

import batoid
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

import other_tracer
from prescription_cases import FIELDS, NAMES, SETTINGS, Other, state
from shadewright.optics.system import TERMS, System
from shadewright.optics.trace import SHARE, Ending, Excess, trace

Array = NDArray[np.float64]
GRAZING = 0.08
"""z cosine below which a ray between two glasses is left out: batoid may take the other of two crossings there."""


def made(
    rows: list[tuple[float, float, float]], *, conic: list[float] | None = None, poly: dict[int, list[float]] | None = None,
    semi: float = math.inf,
) -> System:  # fmt: skip
    """Surfaces from rows of curvature, thickness and index after; conics and terms from r^4 on by surface."""
    n = len(rows)
    aspheric = np.zeros((n, TERMS))
    for k, terms in (poly or {}).items():
        aspheric[k, : len(terms)] = terms
    return System(
        curvature=np.array([c for c, _, _ in rows], float), conic=np.array(conic or [0.0] * n, float), aspheric=aspheric,
        thickness=np.array([t for _, t, _ in rows], float), index=np.array([1.0] + [i for _, _, i in rows]),
        semi=np.full(n, semi), stop=0, focus_distance=math.inf, wavelength=587.5618, name="made up",
    )  # fmt: skip


def random_rays(lens: System, steepest: float, n: int, rng: np.random.Generator, *, width: float = 1.2) -> tuple[Array, Array]:
    """Origins and directions of rays towards a disc about the entrance pupil and about the front glass, any azimuth."""
    pupil = Other(lens).pupil
    size = width * (float(lens.semi[0]) if math.isfinite(lens.semi[0]) else 20.0)
    theta, turn = rng.uniform(0.0, math.radians(steepest), n), rng.uniform(0.0, 2 * math.pi, n)
    along = np.stack([np.sin(theta) * np.cos(turn), np.sin(theta) * np.sin(turn), np.cos(theta)], axis=1)
    r, a = size * np.sqrt(rng.random(n)) * rng.choice([1.0, 0.3, 0.1], n), rng.uniform(0.0, 2 * math.pi, n)
    at = np.stack([r * np.cos(a), r * np.sin(a), np.where(rng.random(n) < 0.7, pupil, 0.0)], axis=1)
    return at - along * ((at[:, 2] + rng.uniform(20.0, 80.0, n)) / along[:, 2])[:, None], along


def compare(lens: System, origins: Array, along: Array, *, within: float = 1.05, least: int = 300) -> None:
    """Every place of every ray on every surface, as far as both tracers follow it inside `within` semi-diameters."""
    ours = trace(lens, origins, along, path=True, clips=False)
    theirs = other_tracer.optic(lens, clips=False).traceFull(other_tracer.rays(origins, along))
    followed = np.ones(len(origins), bool)
    for k, name in enumerate(theirs):
        out = theirs[name]["out"]
        lost = np.asarray(out.failed)
        place = np.array(out.toCoordSys(batoid.globalCoordSys).r)
        own = ours.path[k] if k < len(lens) else ours.points
        ended = (ours.ending != Ending.ARRIVED) & (ours.surface <= k)
        # A ray that one of them loses where the other has it inside the edge is a difference; far outside, batoid's search
        # for aspheres gives up sooner.
        limit = within * (lens.semi[k] if k < len(lens) else np.inf)
        edge, theirs_inside = (np.hypot(*np.clip(np.nan_to_num(at[:, :2], nan=1e9), -1e9, 1e9).T) <= limit for at in (own, place))
        given_up = followed & lost & ~ended & edge
        if k < len(lens) and lens.aspheric[k].any():
            # The point is on the surface all the same, by its formula, and the ray is on its way to it.
            off = own[given_up, 2] - lens.vertices[k] - lens.sag(k, np.hypot(*own[given_up, :2].T))
            assert np.max(np.abs(off), initial=0.0) < 1e-9, name
            assert given_up.sum() <= 0.01 * len(origins), name
        else:
            assert not given_up.any(), name
        assert not np.any(followed & ended & ~lost & theirs_inside), name
        followed &= ~ended & ~lost & edge
        assert np.max(np.abs(place - own)[followed], initial=0.0) < 1e-9, name
        flat = np.abs(np.array(out.v)[:, 2]) / np.linalg.norm(np.array(out.v), axis=1) < GRAZING
        followed &= ~flat
    assert followed.sum() >= least


@pytest.mark.parametrize(("name", "k"), SETTINGS, ids=NAMES)
def test_published_designs_at_every_surface(name: str, k: int) -> None:
    lens = state(name, k).main
    rng = np.random.default_rng(41)
    compare(lens, *random_rays(lens, 1.1 * FIELDS[name][0], 20_000, rng))


@pytest.mark.parametrize(("name", "k"), SETTINGS, ids=NAMES)
def test_rays_pass_or_end_as_in_the_other_tracer(name: str, k: int) -> None:
    """Arrived or not for every ray; clipped ones at a clear edge they do pass outside of, in rays that batoid clips or loses."""
    lens = state(name, k).main
    origins, along = random_rays(lens, 1.1 * FIELDS[name][0], 20_000, np.random.default_rng(43))
    ours = trace(lens, origins, along, path=True)
    found = other_tracer.optic(lens).trace(other_tracer.rays(origins, along))
    arrived = ~np.asarray(found.vignetted) & ~np.asarray(found.failed)
    differ = np.nonzero(ours.arrived != arrived)[0]
    # Edges within rounding of a ray may fall either way; none should in twenty thousand.
    assert len(differ) == 0, [(int(i), Ending(int(ours.ending[i])), int(ours.surface[i])) for i in differ[:5]]
    clipped = ours.ending == Ending.CLIPPED
    assert clipped.sum() > 100
    assert arrived.sum() > 50
    at = ours.path[ours.surface[clipped], np.nonzero(clipped)[0]]
    assert np.all(np.hypot(at[:, 0], at[:, 1]) > lens.semi[ours.surface[clipped]])
    # A clipped ray was inside every edge before.
    for surface in range(len(lens)):
        before = (ours.surface > surface) | ours.arrived
        assert np.all(np.hypot(*ours.path[surface][before, :2].T) <= lens.semi[surface])


STRONG = {
    "oblate": made([(0.03, 8.0, 1.7), (-0.02, 30.0, 1.0)], conic=[2.5, 0.8], semi=15.0),
    "paraboloid": made([(0.05, 8.0, 1.5), (0.0, 30.0, 1.0)], conic=[-1.0, 0.0], semi=18.0),
    "hyperboloid": made([(0.06, 9.0, 1.6), (-0.04, 25.0, 1.0)], conic=[-2.4, -5.0], semi=16.0),
    "strong terms": made([(0.04, 9.0, 1.8), (0.01, 25.0, 1.0)], poly={0: [4e-5, -1.2e-7, 3e-10], 1: [-6e-5, 2e-7]}, semi=13.0),
    "terms on a plane": made([(0.0, 6.0, 1.5), (0.0, 40.0, 1.0)], poly={0: [9e-5, -2e-7], 1: [-5e-5, 0.0, 1e-10]}, semi=12.0),
    "terms on conics": made(
        [(0.05, 7.0, 1.7), (0.07, 9.0, 1.0), (0.01, 5.0, 1.6), (-0.03, 30.0, 1.0)], conic=[-1.0, -0.6, 0.0, 3.0],
        poly={0: [-2e-5, 4e-8], 1: [2e-5, -6e-8, 2e-10], 3: [1e-5, 2e-8]}, semi=11.0,
    ),
    "all eight terms": made(
        [(0.03, 6.0, 1.55), (-0.01, 30.0, 1.0)], semi=10.0,
        poly={0: [2e-5, -3e-7, 2e-9, 1e-11, -4e-13, 2e-15, 1e-17, -6e-20]},
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", STRONG)
def test_strong_conics_and_aspheres_at_every_surface(kind: str) -> None:
    lens = STRONG[kind]
    rng = np.random.default_rng(3)
    compare(lens, *random_rays(lens, 35.0, 8_000, rng, width=0.95), within=1.0, least=2_000)


@pytest.mark.parametrize("kind", STRONG)
def test_every_point_lies_on_its_surface(kind: str) -> None:
    lens = STRONG[kind]
    rays = trace(lens, *random_rays(lens, 30.0, 4_000, np.random.default_rng(8), width=0.9), path=True)
    for k in range(len(lens)):
        alive = rays.arrived | (rays.surface > k)
        r = np.hypot(*rays.path[k][alive, :2].T)
        np.testing.assert_allclose(rays.path[k][alive, 2] - lens.vertices[k], lens.sag(k, r), atol=1e-11)


# ---- closed forms -------------------------------------------------------------------------------------------------


def test_a_paraboloid_brings_no_ray_together_but_an_ellipsoid_does() -> None:
    """A prolate ellipsoid with e = 1 / n focuses a level beam in glass exactly (R. Descartes, Dioptrique)."""
    n, radius = 1.6, 30.0
    # Glass behind the surface: k = -1 / n^2, focus n R / (n - 1) behind the vertex, inside the glass.
    focus = n * radius / (n - 1.0)
    lens = made([(1.0 / radius, focus, n), (0.0, 1.0, 1.0)], conic=[-1.0 / n**2, 0.0], semi=28.0)
    x = np.linspace(-27.0, 27.0, 41)
    origins = np.stack([x, 0.3 * x, np.full_like(x, -5.0)], axis=1)[np.hypot(x, 0.3 * x) < 27]
    rays = trace(lens, origins, np.tile([0.0, 0.0, 1.0], (len(origins), 1)), path=True)
    assert rays.arrived.all()
    np.testing.assert_allclose(rays.path[1][:, :2], 0.0, atol=1e-10)


def test_a_hyperboloid_behind_glass_focuses_a_level_beam() -> None:
    """Light leaving glass through a hyperboloid with k = -n^2 meets in R / (n - 1) behind the vertex (R. Descartes)."""
    n, radius = 1.5, 20.0
    lens = made([(0.0, 6.0, n), (-1.0 / radius, radius / (n - 1.0), 1.0)], conic=[0.0, -(n**2)], semi=30.0)
    angle = np.linspace(0.0, 6.0, 50)
    r = np.linspace(0.0, 25.0, 50)
    origins = np.stack([r * np.cos(angle), r * np.sin(angle), np.full(50, -3.0)], axis=1)
    rays = trace(lens, origins, np.tile([0.0, 0.0, 1.0], (50, 1)))
    assert rays.arrived.all()
    np.testing.assert_allclose(rays.points[:, :2], 0.0, atol=1e-10)


@pytest.mark.parametrize("n", [1.4, 1.6, 2.2])
def test_the_aplanatic_points_of_a_sphere(n: float) -> None:
    """Light aimed at n R behind the centre of a convex ball meets at R / n behind it, at any aperture (J. Lister, 1830)."""
    radius = 10.0
    lens = made([(1.0 / radius, radius + radius / n, n), (0.0, 1.0, 1.0)], semi=radius)
    aim = np.array([0.0, 0.0, radius + n * radius])
    theta = np.linspace(0.0, math.asin(1.0 / n) * 0.97, 60)
    along = np.stack([np.sin(theta) * np.cos(4 * theta), np.sin(theta) * np.sin(4 * theta), np.cos(theta)], axis=1)
    rays = trace(lens, aim - 60.0 * along, along, path=True, clips=False)
    np.testing.assert_allclose(rays.path[1][:, :2], 0.0, atol=1e-9)


@given(angle=st.floats(0.0, 80.0), n=st.floats(1.05, 3.0), t=st.floats(0.1, 40.0), turn=st.floats(0.0, 360.0))
@settings(max_examples=80, deadline=None)
def test_a_plate_shifts_a_ray_and_leaves_its_direction(angle: float, n: float, t: float, turn: float) -> None:
    """By t (tan i - tan r) across the axis, n sin r = sin i."""
    lens = made([(0.0, t, n), (0.0, 10.0, 1.0)])
    i, psi = math.radians(angle), math.radians(turn)
    u = np.array([math.cos(psi), math.sin(psi)])
    along = np.array([[*(math.sin(i) * u), math.cos(i)]])
    rays = trace(lens, np.array([[1.0, 2.0, 0.0]]), along)
    expected = np.array([1.0, 2.0]) + u * (t * math.tan(math.asin(math.sin(i) / n)) + 10.0 * math.tan(i))
    np.testing.assert_allclose(rays.points[0, :2], expected, atol=1e-9)
    np.testing.assert_allclose(rays.directions[0], along[0], atol=1e-12)


@pytest.mark.parametrize("n", [1.3, 1.5168, 1.9])
def test_total_reflection_begins_at_the_critical_angle(n: float) -> None:
    """A 45 degree prism's hypotenuse stands in for it: here a cone of rays in glass meets a plane into air."""
    critical = math.asin(1.0 / n)
    # Light enters glass through a sphere about its starting point, so that it is not bent there.
    lens = made([(-1.0 / 5.0, 5.0, n), (0.0, 3.0, 1.0)])
    for offset, ending in ((-1e-9, Ending.ARRIVED), (1e-9, Ending.REFLECTED)):
        theta = critical + offset
        origin = np.array([[0.0, 0.0, -5.0]])
        rays = trace(lens, origin, np.array([[math.sin(theta), 0.0, math.cos(theta)]]))
        if math.sin(theta) * 5.0 > 4.99:
            continue
        assert rays.ending[0] == ending
        assert rays.surface[0] == (-1 if ending == Ending.ARRIVED else 1)


def test_a_ray_beside_a_ball_misses_it() -> None:
    lens = made([(0.1, 5.0, 1.5), (0.0, 5.0, 1.0)])
    rays = trace(lens, np.array([[10.0 + 1e-9, 0.0, -3.0], [10.0 - 1e-6, 0.0, -3.0]]), np.tile([0.0, 0.0, 1.0], (2, 1)))
    assert list(rays.ending[:1]) == [Ending.MISSED]
    assert rays.surface[0] == 0
    assert rays.ending[1] != Ending.MISSED


def test_a_clear_edge_is_where_it_says() -> None:
    lens = made([(0.02, 5.0, 1.5), (0.0, 5.0, 1.0)], semi=8.0)
    x = np.array([8.0 - 1e-9, 8.0 + 1e-9])
    origins = np.stack([x, np.zeros(2), np.full(2, -4.0)], axis=1)
    along = np.tile([0.0, 0.0, 1.0], (2, 1))
    assert list(trace(lens, origins, along).ending) == [Ending.ARRIVED, Ending.CLIPPED]
    assert trace(lens, origins, along, clips=False).arrived.all()
    ratio, where = Excess(lens)(x, np.zeros(2), np.zeros((2, 2)))
    np.testing.assert_allclose(ratio, x / 8.0, rtol=1e-12)
    assert list(where) == [0, 0]


# ---- what must never change ---------------------------------------------------------------------------------------


@given(seed=st.integers(0, 10_000), place=st.sampled_from(SETTINGS))
@settings(max_examples=40, deadline=None)
def test_the_skew_invariant_is_kept(seed: int, place: tuple[str, int]) -> None:
    """n (x M - y L) is the same in every medium of a lens of revolution; the media here are air at both ends."""
    lens = state(*place).main
    origins, along = random_rays(lens, FIELDS[place[0]][0], 200, np.random.default_rng(seed))
    rays = trace(lens, origins, along)
    before = origins[:, 0] * along[:, 1] - origins[:, 1] * along[:, 0]
    after = rays.points[:, 0] * rays.directions[:, 1] - rays.points[:, 1] * rays.directions[:, 0]
    np.testing.assert_allclose(after[rays.arrived], before[rays.arrived], atol=2e-11 * max(1.0, np.abs(origins).max()))


@given(seed=st.integers(0, 10_000), place=st.sampled_from(SETTINGS))
@settings(max_examples=40, deadline=None)
def test_light_goes_back_the_way_it_came(seed: int, place: tuple[str, int]) -> None:
    lens = state(*place).main
    last = float(lens.thickness[-1])
    turned = replace(
        lens, curvature=-lens.curvature[::-1], conic=lens.conic[::-1].copy(), aspheric=-lens.aspheric[::-1],
        thickness=np.append(lens.thickness[:-1][::-1], last), index=lens.index[::-1].copy(), semi=lens.semi[::-1].copy(),
        stop=len(lens) - 1 - lens.stop,
    )  # fmt: skip
    origins, along = random_rays(lens, FIELDS[place[0]][0], 200, np.random.default_rng(seed))
    rays = trace(lens, origins, along)
    ok = rays.arrived
    # Turned about the middle of the lens: z becomes the last vertex's z less z.
    length = float(lens.vertices[-2])
    start = rays.points[ok] * np.array([1.0, 1.0, -1.0]) + np.array([0.0, 0.0, length])
    back = trace(turned, start, rays.directions[ok] * np.array([-1.0, -1.0, 1.0]))
    assert back.arrived.all()
    np.testing.assert_allclose(back.directions, along[ok] * np.array([-1.0, -1.0, 1.0]), atol=1e-8)


@given(seed=st.integers(0, 10_000), away=st.floats(-300.0, 300.0))
@settings(max_examples=30, deadline=None)
def test_where_a_ray_starts_on_its_line_and_how_long_it_is_do_not_matter(seed: int, away: float) -> None:
    lens = state("aspheric-wide-14").main
    origins, along = random_rays(lens, 40.0, 50, np.random.default_rng(seed))
    here, there = trace(lens, origins, along), trace(lens, origins + away * along, 7.5 * along)
    ok = here.arrived
    np.testing.assert_array_equal(here.ending, there.ending)
    np.testing.assert_allclose(there.points[ok], here.points[ok], atol=1e-9)
    np.testing.assert_allclose(there.directions[ok], here.directions[ok], atol=1e-11)


@given(turn=st.floats(0.0, 360.0), seed=st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_turning_a_ray_about_the_axis_turns_where_it_ends(turn: float, seed: int) -> None:
    lens = state("fisheye-10").main
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    rotation = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    origins, along = random_rays(lens, 65.0, 60, np.random.default_rng(seed))
    plain, turned = trace(lens, origins, along, clips=False), trace(lens, origins @ rotation.T, along @ rotation.T, clips=False)
    ok = plain.arrived & turned.arrived
    np.testing.assert_allclose(turned.points[ok], plain.points[ok] @ rotation.T, atol=1e-8)


def test_any_number_of_threads_gives_the_same_bits() -> None:
    lens = state("aspheric-31").main
    origins, along = random_rays(lens, 25.0, 2 * SHARE + 1_234, np.random.default_rng(2))
    alone = trace(lens, origins, along, path=True)
    for threads in (2, 3):
        other = trace(lens, origins, along, path=True, threads=threads)
        for part in ("points", "directions", "ending", "surface", "path"):
            assert getattr(alone, part).tobytes() == getattr(other, part).tobytes(), part


def test_excess_says_which_rays_pass_and_what_cuts_the_others() -> None:
    lens = state("double-gauss-50").main
    origins, along = random_rays(lens, 25.0, 5_000, np.random.default_rng(6))
    at = origins - along * (origins[:, 2] / along[:, 2])[:, None]
    ratio, where = Excess(lens)(at[:, 0], at[:, 1], along[:, :2] / along[:, 2:])
    rays = trace(lens, origins, along, path=True, clips=False)
    passed = trace(lens, origins, along).arrived
    np.testing.assert_array_equal(ratio <= 1.0, passed)
    heights = np.hypot(rays.path[:-1, :, 0], rays.path[:-1, :, 1]) if len(rays.path) > len(lens) else np.hypot(rays.path[:, :, 0], rays.path[:, :, 1])
    share = heights[: len(lens)] / lens.semi[:, None]
    alive = rays.arrived
    np.testing.assert_allclose(ratio[alive], share[:, alive].max(axis=0), rtol=1e-9)
    np.testing.assert_array_equal(where[alive], share[:, alive].argmax(axis=0))
    assert np.all(np.isinf(ratio[~alive]))


def test_no_rays_at_all() -> None:
    rays = trace(state("wide-22").main, np.empty((0, 3)), np.empty((0, 3)), path=True)
    assert rays.points.shape == (0, 3)
    assert rays.path.shape[1] == 0
