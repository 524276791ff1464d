"""Loss, meshes, sections, margins and the whole road of a traced lens, against counted rays of an independent tracer."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from test_traced_rim import CAP, Case, case, crossings

from lenses import NO_PLAY, hood
from prescription_cases import HEIGHTS, camera_for, job_of, lens_of, read
from shadewright.clearance.check import check
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import Occluder, sensor_view, stops, worst_loss
from shadewright.clearance.occlusion import triangles_of
from shadewright.design.fit import fit
from shadewright.model.hood import Margin, RimShape
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall

Array = NDArray[np.float64]
AZIMUTH = np.arange(0.0, 360.0, 0.5)
LENSES = ["wide", "normal", "telephoto", "zoom, middle", "wide, near", "normal, near"]


def wall_of(of: Case) -> RoundWall:
    return RoundWall((0.0,), (max(float(of.setting.front_radius), of.radius) + 5.0,))


def too_deep(of: Case) -> RoundHood:
    """A hood 5 mm too deep all round, or half a millimetre across the beam where a long lens would hardly notice."""
    by = max(5.0, 0.5 / float(np.hypot(*of.field.slopes(np.array([of.half]))[0]))) if of.radius < 15 else 20.0
    rim = keep_out([of.beam]).rim(wall_of(of), AZIMUTH, cap=CAP).value
    return RoundHood(wall_of(of), Rim.from_arrays(AZIMUTH, rim + by))


def mesh_of(shape: RoundHood, *, outwards: float = 0.0) -> MeshHood:
    """The bare wall as triangles, moved outwards by as much."""
    angle, z = np.radians(np.asarray(shape.rim.azimuth)), np.asarray(shape.rim.z)
    n = len(angle)
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * (float(shape.wall.radius_at(0.0)) + outwards)
    points = np.concatenate([np.column_stack([ring, np.zeros(n)]), np.column_stack([ring, z])])
    i, j = np.arange(n), np.roll(np.arange(n), -1)
    return MeshHood(points, np.concatenate([np.column_stack([i, j, n + i]), np.column_stack([j, n + j, n + i])]))


def counted(of: Case, shape: RoundHood, points: Array, n: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Hidden share of the beam of each frame point at the main wavelength, and its standard deviation."""
    share, spread = [], []
    main = of.others[0]
    for tau in of.field.slopes(points):
        r, a = 1.8 * of.radius * np.sqrt(rng.random(n)), rng.uniform(0, 2 * math.pi, n)
        q = tau * (main.pupil - of.plane) + np.stack([r * np.cos(a), r * np.sin(a)], axis=1)
        many = np.tile(tau, (n, 1))
        q = q[main.passes(q, of.plane, many)]
        z, azimuth = crossings(q, of.ahead(q, many[: len(q)]), of.front, shape.wall)
        hidden = float((z < shape.rim.z_at(azimuth)).mean())
        share.append(hidden)
        spread.append(math.sqrt(max(hidden * (1.0 - hidden), 1.0 / len(q)) / len(q)))
    return np.array(share), np.array(spread)


def spots(of: Case) -> Array:
    return np.array([(1, 1), (1, 0), (0, 1), (-0.99, 0.97), (0.6, -1), (0.5, 0.4), (0, 0)]) * np.array(of.half) * 0.999


@pytest.mark.parametrize("name", LENSES)
def test_the_hidden_share_is_that_of_counted_rays(name: str) -> None:
    """Within four standard deviations of the count, and what the tables add to a beam's edge: 0.03 mm of its perimeter."""
    of = case(name)
    shape, points = too_deep(of), spots(of)
    ours = Occluder(shape).hidden(of.beam, of.field.slopes(points))
    share, spread = counted(of, shape, points, 60_000, np.random.default_rng(12))
    assert share.max() > 0.02
    table = 2 * 0.03 / of.radius
    assert np.all(np.abs(ours - share) <= 4.0 * spread + table * share + 1e-4), np.c_[ours, share, spread]


@pytest.mark.parametrize("name", ["wide", "normal, near"])
def test_a_mesh_hides_what_the_hood_it_is_of_hides(name: str) -> None:
    of = case(name)
    shape = too_deep(of)
    slopes = of.field.slopes(spots(of))
    np.testing.assert_allclose(Occluder(mesh_of(shape)).hidden(of.beam, slopes), Occluder(shape).hidden(of.beam, slopes), atol=5e-3)


@pytest.mark.parametrize("name", ["wide", "telephoto"])
def test_the_sensors_view_is_the_loss_at_its_points(name: str) -> None:
    of = case(name)
    shape = too_deep(of)
    view = sensor_view(of.beam, shape, columns=13, rows=9)
    slopes = of.field.slopes(view.points.reshape(-1, 2))
    expected = stops(Occluder(shape).hidden(of.beam, slopes)).reshape(9, 13)
    np.testing.assert_allclose(view.loss, expected, atol=2e-3)
    assert view.worst > 0.02
    # Left is right and top is bottom.
    np.testing.assert_allclose(view.loss, view.loss[::-1, ::-1], atol=1e-3)


@pytest.mark.parametrize("name", ["wide", "normal"])
def test_a_mesh_just_inside_the_keep_out_touches_and_one_just_outside_does_not(name: str) -> None:
    of = case(name)
    keepout = keep_out([of.beam])
    rim = keepout.rim(wall_of(of), AZIMUTH, cap=CAP).value
    slope = float(np.hypot(*of.field.slopes(np.array([of.half]))[0]))
    # 0.15 mm across the beam either way, in depth: more than the 0.02 mm that a mesh's check leaves, and its chords.
    step = 0.15 / slope
    clear = mesh_of(RoundHood(wall_of(of), Rim.from_arrays(AZIMUTH, rim - step)), outwards=0.05)
    deep = mesh_of(RoundHood(wall_of(of), Rim.from_arrays(AZIMUTH, rim + step)))
    assert not keepout.touches(triangles_of(clear))[0].any()
    touched, where = keepout.touches(triangles_of(deep))
    assert touched.all()
    assert np.hypot(*where[0, :2]) == pytest.approx(float(wall_of(of).radius[0]), abs=0.05)


@pytest.mark.parametrize("name", ["wide", "normal", "normal, near"])
def test_a_section_lies_on_the_rim_of_the_tube_that_is_as_wide(name: str) -> None:
    """The keep-out's section at z has the radius R where the deepest rim of a tube of radius R has that z."""
    of = case(name)
    keepout = keep_out([of.beam])
    azimuth = np.arange(0.0, 360.0, 15.0)
    radius = float(wall_of(of).radius[0])
    rim = keepout.rim(wall_of(of), azimuth, cap=CAP).value
    for a, z in zip(azimuth, rim, strict=True):
        found = keepout.section(float(z), np.array([a]), outermost=4 * radius)
        assert float(found.value[0]) == pytest.approx(radius, abs=0.02)


@pytest.mark.parametrize("name", ["wide", "telephoto", "normal, near"])
def test_margins_move_the_hood_that_much(name: str) -> None:
    """A hood within an axial margin stays clear moved forward by it, one within a radial one moved sideways any way by it."""
    of = case(name)
    wall = wall_of(of)
    plain = keep_out([of.beam]).rim(wall, AZIMUTH, cap=CAP).value
    axial = keep_out([of.beam], margin=Margin(radial=0.0, axial=0.7, rotation=0.0)).rim(wall, AZIMUTH, cap=CAP).value
    np.testing.assert_allclose(plain - axial, 0.7, atol=0.01)
    radial = keep_out([of.beam], margin=Margin(radial=0.4, axial=0.0, rotation=0.0)).rim(wall, AZIMUTH, cap=CAP).value
    assert np.all(radial < plain)
    shape = RoundHood(wall, Rim.from_arrays(AZIMUTH, radial))
    keepout = keep_out([of.beam])
    for turn in np.radians([0.0, 70.0, 135.0, 260.0]):
        moved = shape.rim_points() + 0.4 * np.array([math.cos(turn), math.sin(turn), 0.0])
        # Straight forward from the wall's foot the moved rim is met no sooner than where it ends.
        low = moved * np.array([1.0, 1.0, 0.0])
        found = keepout.first_entry(low, np.tile([0.0, 0.0, 1.0], (len(low), 1)), np.full(len(low), CAP))
        assert np.all(found.value >= moved[:, 2] - 0.02)


def test_a_hood_with_an_allowance_uses_it_up() -> None:
    lens, camera = lens_of(read("wide-22"), reach=4.0), camera_for(HEIGHTS["wide-22"])
    strict = fit(lens, camera, hood(RimShape.PLAIN))
    allowed = fit(lens, camera, hood(RimShape.PLAIN, allowance=0.1))
    assert isinstance(strict.shape, RoundHood)
    assert isinstance(allowed.shape, RoundHood)
    assert allowed.worst is not None
    assert allowed.worst.stops == pytest.approx(0.1, abs=0.01)
    assert allowed.shape.rim.shallowest > strict.shape.rim.shallowest
    assert max(entry.stops for entry in worst_loss(allowed.job, allowed.settings, allowed.shape)) == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize("name", ["wide-22", "zoom-72-194"])
def test_a_fitted_hood_is_clear_and_a_deeper_one_shows(name: str) -> None:
    fitting = fit(lens_of(read(name), reach=4.0), camera_for(HEIGHTS[name]), hood(RimShape.PETAL, margin=NO_PLAY))
    assert isinstance(fitting.shape, RoundHood)
    verdict = check(fitting.job, fitting.shape, steps=1)
    assert not verdict.shows
    assert verdict.deeper >= -1e-3
    deeper = replace(fitting.shape, rim=fitting.shape.rim.moved(verdict.deeper + 3.0))
    again = check(fitting.job, deeper, steps=1)
    assert again.shows
    assert again.deeper == pytest.approx(-3.0, abs=0.02)
    assert again.worst.stops > 0


def test_weighing_runs_on_a_traced_lens() -> None:
    from shadewright.design.weigh import weigh

    lens, camera = lens_of(read("wide-22"), reach=4.0), camera_for(HEIGHTS["wide-22"])
    assert weigh(lens, camera, hood(RimShape.PETAL), cells=24, fast=True) is not None


def test_the_job_of_every_design_has_one_beam_a_setting() -> None:
    for name in ("zoom-72-194", "wide-22"):
        work = job_of(name)
        assert len(work.beams(work.resolved.settings)) == len(read(name).setting or (1,))
