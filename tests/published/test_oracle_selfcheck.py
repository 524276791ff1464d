"""The plain reference checked against published values, closed forms and itself.

Grid results are held to tolerances set by the grid: a share counted on n by n cells is good to n**-1.5 or so.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from math import acos, atan, hypot, log2, pi, radians, sqrt, tan
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from oracle import (
    Floats,
    Rays,
    Setting,
    Tunnel,
    Window,
    beam_discs,
    beam_excess,
    beam_grid,
    frame_polygon,
    in_beam,
    in_frame,
    keepout_entry,
    keepout_entry_line,
    let_in_share,
    lit_share,
    loss_stops,
    object_points,
    pinhole_rim,
    pupil_rim,
    ray_blocked,
    sample_rays,
)

CIRCLE = np.linspace(-pi, pi, 13) + 0.05

# Invented lenses. A fast short one: deep pupil, rear window far behind. A shifted one: windows off the axis.
FAST = Setting((Window(40.0, 14.0), Window(0.0, 33.0), Window(90.0, 42.0)), 0.6, 0.4, reach=6.0)
SHIFTED = Setting(
    (Window(30.0, 6.0, 1.5, -0.5), Window(0.0, 24.0, 0.4, 0.3), Window(-60.0, 70.0)),
    0.5,
    0.35,
    (0.12, -0.2),
    3.0,
)
CLOSE = replace(FAST, distance=400.0)
# The frame of a projection that stretches the corners: its sides bend inwards, so it is not convex.
HOLLOW = [
    (0.6, 0.4),
    (0.0, 0.33),
    (-0.6, 0.4),
    (-0.5, 0.0),
    (-0.6, -0.4),
    (0.0, -0.33),
    (0.6, -0.4),
    (0.5, 0.0),
]
CURVED = replace(FAST, outline=np.array(HOLLOW))
LENSES = {"fast": FAST, "shifted": SHIFTED, "close": CLOSE, "curved": CURVED}


def overlap_share(r: float, big: float, d: float) -> float:
    """Common area of two circles over that of the first (standard circle-circle intersection)."""
    first = r * r * acos((d * d + r * r - big * big) / (2 * d * r))
    second = big * big * acos((d * d + big * big - r * r) / (2 * d * big))
    root = sqrt((-d + r + big) * (d + r - big) * (d - r + big) * (d + r + big))
    return (first + second - root / 2) / (pi * r * r)


def disc_to_disc(r1: float, r2: float, h: float) -> float:
    """Configuration factor from disc 1 to a coaxial parallel disc 2 (Siegel & Howell, 4th ed., p. 845)."""
    x = 1 + (1 + (r2 / h) ** 2) / (r1 / h) ** 2
    return (x - sqrt(x * x - 4 * (r2 / r1) ** 2)) / 2


# ---- published -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rim_radius", "share"),
    [(42.6411, 1.0), (38.0, 0.741311), (34.6410, 0.475464), (30.0, 0.138861)],
)
def test_vignetting_by_a_rim_ahead_of_the_pupil(rim_radius: float, share: float) -> None:
    """Pupil of radius 8, rim 60 ahead of it, 30 degrees; at "half" vignetting the share is not a half.

    Conditions: Greivenkamp, Field Guide to Geometrical Optics, SPIE 2004, pp. 31-32, "Vignetting". Shares:
    from the area two circles have in common.
    """
    lens = Setting((Window(20.0, 8.0),), 0.6, 0.6)
    loss = loss_stops(lens, (tan(radians(30.0)), 0.0), rim_radius, 40.0, n=1000)
    assert 2.0**-loss == pytest.approx(share, abs=4e-5)


@pytest.mark.parametrize(("rim", "angles"), [(40.0, (20.1363, 32.3474)), (70.0, (13.7363, 22.8906))])
def test_vignetting_limits_of_a_tube(rim: float, angles: tuple[float, float]) -> None:
    """tan = (a - r) / h where vignetting begins, (a + r) / h where it ends: same source, tube radius 30."""
    lens = Setting((Window(20.0, 8.0),), 0.7, 0.7)
    begins, ends = (tan(radians(a)) for a in angles)
    assert loss_stops(lens, (begins - 2e-4, 0.0), 30.0, rim, n=600) == 0.0
    assert 0.0 < loss_stops(lens, (begins + 2e-3, 0.0), 30.0, rim, n=800) < 0.01
    assert 6.0 < loss_stops(lens, (ends - 2e-3, 0.0), 30.0, rim, n=800) < float("inf")
    assert loss_stops(lens, (ends + 2e-4, 0.0), 30.0, rim, n=800) == float("inf")


TWO_CIRCLES = [
    (1.0, 1.0, 1.0, 0.3910022),
    (1.0, 1.0, 0.5, 0.6850376),
    (1.0, 1.0, 0.8079455066, 0.5),  # OEIS A133741
    (1.0, 2.0, 2.0, 0.4466099),
    (1.0, 2.0, 2.5, 0.1662913),
    (10.0, 15.0, 15.0, 0.4284489),
]


@pytest.mark.parametrize(("r", "big", "d", "share"), TWO_CIRCLES)
def test_two_circle_overlap_three_ways(r: float, big: float, d: float, share: float) -> None:
    """Wolfram MathWorld, "Circle-Circle Intersection": as a pupil's loss, a front's lit share, a beam."""
    h = 2.0 * big
    assert overlap_share(r, big, d) == pytest.approx(share, abs=1e-7)
    lens = Setting((Window(0.0, r),), d / h, d / h, reach=5.0)
    assert 2.0 ** -loss_stops(lens, (0.0, d / h), big, 5.0 + h, n=700) == pytest.approx(share, abs=6e-5)
    theta = np.degrees(atan(d / h))
    assert lit_share(r, 5.0, (theta, 77.0), big, 5.0 + h, n=700) == pytest.approx(share, abs=6e-5)
    two = Setting((Window(h, r), Window(0.0, big)), d / h, d / h)
    rays, cell = beam_grid(two, (d / h, 0.0), 700)
    assert len(rays.q) * cell / (pi * r * r) == pytest.approx(share, abs=6e-5)


@pytest.mark.parametrize(
    ("glass", "opening", "h", "factor"),
    [
        (1.0, 1.0, 3.0, 0.0916731),
        (0.1, 0.2, 0.5, 0.1339),
        (1.0, 1.0, 1.0, 0.3819660),
        (1.0, 1.0, 2.0, 0.1715729),
    ],
)
def test_let_in_share_of_a_plain_tube(glass: float, opening: float, h: float, factor: float) -> None:
    """Light on the glass comes through the rim's disc: pi times their factor is the integral of L cos(theta).

    Worked numbers of coaxial discs after Siegel & Howell, Thermal Radiation Heat Transfer, 4th ed., p. 845.
    """
    assert disc_to_disc(glass, opening, h) == pytest.approx(factor, abs=5e-5)
    tiny = Setting((Window(0.0, glass),), 1e-4, 1e-4)
    assert let_in_share(tiny, glass, opening, h, n_direction=90, n_glass=36) == pytest.approx(
        factor, rel=4e-3
    )


def test_let_in_share_leaves_the_frame_out() -> None:
    """All of this frame lights all of the front: (pi F - frame) / (pi - frame), frame in closed form."""
    w, h = 0.45, 0.30
    a, b = sqrt(1 + w * w), sqrt(1 + h * h)
    frame = 2 * (w / a * atan(h / a) + h / b * atan(w / b))
    lens = Setting((Window(0.0, 0.1),), w, h, reach=-2.0)
    expected = (pi * disc_to_disc(0.1, 0.4, 0.5) - frame) / (pi - frame)
    found = let_in_share(lens, 0.1, 0.4, -1.5, n_direction=160, n_glass=24)
    assert found == pytest.approx(expected, rel=5e-3)
    assert let_in_share(lens, 0.1, 0.4, -2.0, n_direction=60, n_glass=24) == 1.0


# ---- beams and rays ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LENSES)
def test_sampled_rays_are_in_the_beam_and_reach_its_edge(name: str) -> None:
    lens = LENSES[name]
    rays = sample_rays(lens, 20_000, np.random.default_rng(1))
    assert len(rays.q) > 5_000
    assert in_beam(lens, rays, 1e-8).all()
    on_edge = ~in_beam(lens, rays, -1e-8)
    assert 0.6 < on_edge.mean() < 0.75
    if lens.outline is None:
        off = np.abs(rays.t - lens.offset)
        assert np.all(off <= np.array([lens.half_width, lens.half_height]) + 1e-12)
    corners = (rays.t[:, None, :] == frame_polygon(lens)).all(axis=2).any(axis=1)
    assert corners.sum() > 1000
    if lens.distance is not None:
        points, z_object = object_points(lens, rays.t)
        np.testing.assert_allclose(rays.q + z_object * rays.v, points, atol=1e-9)
        # The frame slope is that of the ray through the pupil's centre.
        pupil = lens.windows[0]
        np.testing.assert_allclose(points / (z_object + pupil.depth), rays.t, atol=1e-12)


def test_sampled_rays_find_thin_beams() -> None:
    """Two windows that only just overlap in the frame's corner: the sampler still finds that sliver."""
    reach_of_both = 10.0 + 8.0
    t = (reach_of_both - 1e-3) / 60.0
    lens = Setting((Window(60.0, 8.0), Window(0.0, 10.0)), 0.8 * t, 0.6 * t)
    rays = sample_rays(lens, 1000, np.random.default_rng(2))
    assert np.isclose(np.hypot(*rays.t.T), t).sum() > 150
    assert in_beam(lens, rays, 1e-8).all()


def test_beam_discs_and_grid_agree() -> None:
    for lens in (SHIFTED, CLOSE):
        rays, cell = beam_grid(lens, (0.1, -0.1), 400)
        centres, radii = beam_discs(lens, np.array([[0.1, -0.1]]))
        gap = rays.q[:, None, :] - centres[0]
        assert np.all(np.hypot(gap[..., 0], gap[..., 1]) <= radii + 1e-9)
        assert len(rays.q) * cell <= pi * radii.min() ** 2 * 1.001


def test_outline_of_a_rectangle_is_the_rectangle() -> None:
    t = np.random.default_rng(3).uniform(-1.0, 1.0, (2000, 2))
    same = replace(SHIFTED, outline=frame_polygon(SHIFTED))
    assert (in_frame(same, t) == in_frame(SHIFTED, t)).all()
    phi = CIRCLE[::3]
    np.testing.assert_allclose(keepout_entry(same, 30.0, phi), keepout_entry(SHIFTED, 30.0, phi), atol=1e-3)


# ---- walls ---------------------------------------------------------------------------------------


def test_rays_against_a_step_a_cone_and_a_petal() -> None:
    """Crossings worked out by hand."""
    step = np.array([[0.0, 10.0], [5.0, 10.0], [5.0, 20.0], [30.0, 20.0]])
    cone = np.array([[0.0, 10.0], [20.0, 30.0]])
    q = np.zeros((4, 2))
    v = np.array([[3.0, 0.0], [1.9, 0.0], [1.0, 0.0], [0.0, 0.0]])  # reach r = 10 at z 3.33, 5.26, 10; never
    rays = Rays(q, v, v)
    assert ray_blocked(rays, 10.0, 4.0, 0.0).tolist() == [True, False, False, False]
    assert ray_blocked(rays, 10.0, 6.0, 0.0).tolist() == [True, True, False, False]
    assert ray_blocked(rays, 10.0, 6.0, 2.0).tolist() == [True, False, False, False]
    assert ray_blocked(rays, step, 12.0, 0.0).tolist() == [True, True, False, False]  # 1.9: r = 20 at 10.53
    assert ray_blocked(rays, step, 10.0, 0.0).tolist() == [True, False, False, False]
    # The cone r = 10 + z is reached at z = 10 / (v - 1): 5, 11.1, never while conical; then r = 30 at z = 30.
    assert ray_blocked(rays, cone, 6.0, 0.0).tolist() == [True, False, False, False]
    assert ray_blocked(rays, cone, 12.0, 0.0).tolist() == [True, True, False, False]
    assert ray_blocked(rays, cone, 31.0, 0.0).tolist() == [True, True, True, False]

    def petal(phi: Floats) -> Floats:
        return np.where(np.abs(phi) < pi / 2, 50.0, 0.0)

    mirrored = Rays(q, -v, -v)
    assert ray_blocked(rays, 10.0, petal, 0.0).tolist() == [True, True, True, False]
    assert not ray_blocked(mirrored, 10.0, petal, 0.0).any()
    # A step narrows: the flat ring faces the glass and stops a ray along the axis.
    ledge = np.array([[0.0, 10.0], [5.0, 10.0], [5.0, 6.0], [30.0, 6.0]])
    level = Rays(np.array([[8.0, 0.0], [5.0, 0.0], [12.0, 0.0]]), np.zeros((3, 2)), np.zeros((3, 2)))
    assert ray_blocked(level, ledge, 9.0, 0.0).tolist() == [True, False, True]


# ---- keep-out ------------------------------------------------------------------------------------


@pytest.mark.parametrize("reach", [0.0, -4.0])
def test_pinhole_and_pupil_only_rims(reach: float) -> None:
    """Closed forms of one window; all three regimes occur."""
    for pupil in (0.0, 3.0, 12.0):
        lens = Setting((Window(25.0, pupil),), 0.6, 0.4, reach=reach)
        expected = pupil_rim(32.0, CIRCLE, 0.6, 0.4, 25.0, pupil) + reach
        found = keepout_entry(lens, 32.0, CIRCLE, z_low=reach - 25.0, z_high=reach + 100.0)
        np.testing.assert_allclose(found, expected, atol=2e-3)
    pinhole = pinhole_rim(32.0, CIRCLE, 0.6, 0.4, 25.0)
    np.testing.assert_allclose(pupil_rim(32.0, CIRCLE, 0.6, 0.4, 25.0, 0.0), pinhole, atol=1e-9)
    # Top longer than side, diagonal shortest: the later of two entries, not the earlier.
    top, side, corner = pinhole_rim(32.0, np.array([pi / 2, 0.0, atan(0.4 / 0.6)]), 0.6, 0.4, 25.0)
    assert (top, side, corner) == pytest.approx((32 / 0.4 - 25, 32 / 0.6 - 25, 32 / hypot(0.4, 0.6) - 25))


def entry_by_slopes(lens: Setting, radius: float, azimuth: float, n: int = 600) -> float:
    """The entry on a tube by another road: per slope of a grid, the z where its beam first holds the point.

    |p - (z + e) t - c| <= r is a quadratic in z with one stretch of solutions per window; the slope's beam
    holds the point where all stretches overlap. Never below the true entry; above it by about the grid's
    step.
    """
    p = radius * np.array([np.cos(azimuth), np.sin(azimuth)])
    x = lens.offset[0] + lens.half_width * np.linspace(-1.0, 1.0, n)
    y = lens.offset[1] + lens.half_height * np.linspace(-1.0, 1.0, n)
    t = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    start, stop = np.zeros(len(t)), np.full(len(t), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        for w in lens.windows:
            m = p - np.array([w.cx, w.cy])
            tt, mt = (t**2).sum(1), t @ m
            root = np.sqrt(mt**2 - tt * (m @ m - w.radius**2))
            start = np.maximum(start, (mt - root) / tt - w.depth)
            stop = np.minimum(stop, (mt + root) / tt - w.depth)
    return float(start[start <= stop].min() + lens.reach)


@pytest.mark.parametrize("name", ["fast", "shifted"])
def test_keepout_entry_by_two_roads(name: str) -> None:
    lens = LENSES[name]
    azimuths = np.linspace(-3.0, 3.0, 7)
    found = keepout_entry(lens, 40.0, azimuths)
    other = np.array([entry_by_slopes(lens, 40.0, a) for a in azimuths])
    assert np.all(other >= found - 1e-3)
    assert np.all(other <= found + 0.1)


@pytest.mark.parametrize("name", LENSES)
def test_keepout_rim_is_clear_and_tight(name: str) -> None:
    """In each of 24 sectors the sampled ray that meets the wall lowest meets it at the entry, never below."""
    lens, radius, n = LENSES[name], 38.0, 24
    edges = np.linspace(-pi, pi, n + 1)
    entry = keepout_entry(lens, radius, edges)
    assert np.isfinite(entry).all()
    rays = sample_rays(lens, 150_000, np.random.default_rng(4))
    azimuth, z = meets_tube(rays, radius, lens.reach)
    above = z - np.interp(azimuth, edges, entry)
    sector = np.digitize(azimuth, edges[1:-1])
    lowest = np.array([np.flatnonzero(sector == k)[above[sector == k].argmin()] for k in range(n)])
    gap = z[lowest] - keepout_entry(lens, radius, azimuth[lowest])
    assert gap.min() >= -1e-3
    assert np.median(gap) < 0.2
    assert gap.max() < 3.0

    # The blocking test agrees: nothing below a plain rim at the least entry, and something just above it.
    plain = min(entry.min(), (z[lowest] - gap).min())
    assert not ray_blocked(rays, radius, plain - 0.02, lens.reach).any()
    assert ray_blocked(rays, radius, plain + 0.2, lens.reach).any()


def meets_tube(rays: Rays, radius: float, reach: float) -> tuple[Floats, Floats]:
    """Azimuth and seat z at which each ray leaves a tube."""
    q, v = rays.q, rays.v
    b, vv = (q * v).sum(1), (v**2).sum(1)
    h = (np.sqrt(b**2 - vv * ((q**2).sum(1) - radius**2)) - b) / vv
    at = q + h[:, None] * v
    return np.arctan2(at[:, 1], at[:, 0]), h + reach


def test_keepout_on_a_cone_and_along_lines() -> None:
    """A cone is met where the line through the same point, parallel to the axis, meets the keep-out."""
    cone = np.array([[0.0, 36.0], [120.0, 72.0]])
    entry = keepout_entry(FAST, cone, CIRCLE)
    by_function = keepout_entry(FAST, lambda z: 36.0 + 0.3 * z, CIRCLE)
    np.testing.assert_allclose(entry, by_function, atol=2e-3)
    at = np.interp(entry, cone[:, 0], cone[:, 1])
    p = at[:, None] * np.stack([np.cos(CIRCLE), np.sin(CIRCLE)], axis=-1)
    np.testing.assert_allclose(keepout_entry_line(FAST, p), entry, atol=2e-3)


def test_excess_is_never_beaten_by_a_plain_grid() -> None:
    """The nested search finds at least as good a slope as a dense grid does, and hardly a better one."""
    rng = np.random.default_rng(5)
    p, z = rng.uniform(-60.0, 60.0, (80, 2)), rng.uniform(1.0, 80.0, 80)
    grid = np.stack(np.meshgrid(np.linspace(-1, 1, 201), np.linspace(-1, 1, 201)), axis=-1).reshape(-1, 2)
    for lens in (FAST, SHIFTED, CURVED):
        t = lens.offset + grid * (lens.half_width, lens.half_height)
        t = t[in_frame(lens, t)]
        plain = np.array([worst_miss(lens, a, b, t).min() for a, b in zip(p, z, strict=True)])
        found = beam_excess(lens, p, z)
        assert np.all(found <= plain + 1e-5)
        assert np.all(found >= plain - 1.0)
        assert np.median(plain - found) < 0.2


def worst_miss(lens: Setting, p: Floats, z: float, t: Floats) -> Floats:
    q = p - z * t
    misses = [np.hypot(*(q - w.depth * t - (w.cx, w.cy)).T) - w.radius for w in lens.windows]
    worst: Floats = np.max(misses, axis=0)
    return worst


def test_a_point_in_the_keepout_stays_in_it_further_ahead() -> None:
    """Centred windows, the axis in the frame: so a scan in z on a tube misses nothing."""
    rng = np.random.default_rng(6)
    p, z = rng.uniform(-60.0, 60.0, (3000, 2)), rng.uniform(0.0, 60.0, 3000)
    centred = replace(FAST, windows=(*FAST.windows, Window(-200.0, 190.0)), offset=(0.2, -0.1))
    now = beam_excess(centred, p, z) <= 0.0
    later = beam_excess(centred, p, z + rng.uniform(0.0, 30.0, 3000)) <= 1e-5
    assert now.sum() > 300
    assert later[now].all()


def test_tunnel_lips_from_a_pinhole() -> None:
    """A lip at x = X may end at X / W - d if (X, H X / W) is on its panel; likewise the others."""
    lens = Setting((Window(20.0, 0.0),), 0.6, 0.4, (0.05, -0.1), reach=2.0)
    right, left, top, bottom = 30 / 0.65 - 18, 30 / 0.55 - 18, 22 / 0.3 - 18, 22 / 0.5 - 18
    tunnel = Tunnel(30.0, 22.0, right, top, left, bottom)
    rays = sample_rays(lens, 40_000, np.random.default_rng(7))
    # Only rays that meet the panel before they leave past a shorter neighbour count against a lip.
    assert not ray_blocked(rays, tunnel, 0.0, lens.reach, slack=1e-6).any()
    for lip in ("right", "left", "bottom"):
        longer = replace(tunnel, **{lip: getattr(tunnel, lip) + 0.05})
        assert ray_blocked(rays, longer, 0.0, lens.reach, slack=1e-6).any(), lip


# ---- loss ----------------------------------------------------------------------------------------


def test_loss_of_half_a_beam_and_of_none() -> None:
    """A tube around a pupil takes what two circles do not share; a lens's own vignetting cancels."""
    lens = Setting((Window(0.0, 10.0), Window(30.0, 12.0)), 0.3, 0.3)
    assert loss_stops(lens, (0.0, 0.0), 11.0, 90.0, n=400) == 0.0
    share = overlap_share(10.0, 11.0, 0.25 * 20.0)
    alone = replace(lens, windows=lens.windows[:1])
    assert loss_stops(alone, (0.25, 0.0), 11.0, 20.0) == pytest.approx(-log2(share), abs=2e-4)
    # Against the same lens without the hood: here the second window already takes what the hood would.
    first, second = Window(0.0, 10.0), Window(-20.0, 11.0)
    assert loss_stops(replace(lens, windows=(first, second)), (0.25, 0.0), 11.0, 20.0, n=400) == 0.0
    with pytest.raises(ValueError, match="empty without a hood"):
        loss_stops(lens, (0.8, 0.0), 11.0, 20.0)
