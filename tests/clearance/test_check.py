"""The check of hoods that are measured, traced, or a mesh."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lenses import camera, hood, prime, zoom
from shadewright.clearance.check import NO_MARGIN, check, clearance_of
from shadewright.clearance.loss import own_darkening, sensor_view
from shadewright.design.fit import fit
from shadewright.model.geometry import shape_of
from shadewright.model.hood import Accessory, Hood, RimShape
from shadewright.model.lens import Seat, SeatPlace
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall
from shadewright.optics.beam import job
from shadewright.optics.settings import sweep


def document(**rim: object) -> Hood:
    return Hood.model_validate(
        {"document": "hood", "version": 1, "name": "found in the drawer", "wall": {"inner_diameter": 88.0}, "rim": rim}
    )


def tall_mesh(hood_shape: RoundHood) -> MeshHood:
    """The bare wall as triangles, fine enough that facets matter little."""
    azimuth = np.arange(0.0, 360.0, 0.5)
    angle, n = np.radians(azimuth), len(azimuth)
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * hood_shape.wall.radius[0] / math.cos(math.radians(0.25))
    z = np.minimum(hood_shape.rim.z_at(azimuth), hood_shape.rim.z_at(azimuth + 0.5))
    low, high = np.column_stack([ring, np.zeros(n)]), np.column_stack([ring, z])
    i, j = np.arange(n), np.roll(np.arange(n), -1)
    faces = np.concatenate([np.column_stack([i, j, n + i]), np.column_stack([j, n + j, n + i])])
    return MeshHood(np.concatenate([low, high]), faces)


def test_a_plain_hood_too_deep_shows_by_so_much_and_stays_clear_where_it_does() -> None:
    work = job(zoom(), camera())
    fitting = fit(zoom(), camera(), hood(RimShape.PLAIN).model_copy(update={"wall": document(depth=1.0).wall}))
    deep = shape_of(document(depth=round(fitting.plain_depth + 3.0, 3)))
    verdict = check(work, deep)
    assert verdict.shows
    assert not verdict.passes
    assert verdict.deeper == pytest.approx(-3.0, abs=0.05)
    assert verdict.worst.stops > 0
    assert "corner" in verdict.worst.where
    zoom_range, aperture, focus = verdict.ranges
    assert zoom_range.low is None or zoom_range.high - zoom_range.low < 46
    assert aperture.low is None or aperture.low > 2.8
    assert focus.quantity.startswith("focus")
    shallow = check(work, shape_of(document(depth=round(fitting.plain_depth - 3.0, 3))))
    assert not shallow.shows
    assert shallow.deeper == pytest.approx(3.0, abs=0.05)
    assert shallow.turn == 180.0


def test_the_range_that_stays_clear_is_where_showing_begins() -> None:
    """A hood too deep for some focal lengths is clear at both ends of the range stated, and shows a little outside it."""
    work = job(zoom(), camera())
    fitting = fit(zoom(), camera(), hood(RimShape.PLAIN).model_copy(update={"wall": document(depth=1.0).wall}))
    deep = RoundHood(RoundWall((0.0,), (44.0,)), Rim.plain(fitting.plain_depth + 2.0))
    run = check(work, deep).ranges[0]
    assert run.low is not None
    assert run.high is not None
    assert not run.whole
    listed = [24.0, 40.0, 70.0]
    ends = [(run.low, -1), (run.high, 1)]
    inner = [(f, side) for f, side in ends if 24.01 < f < 69.99]
    assert inner
    for focal_length, side in inner:
        place = float(np.interp(np.log(focal_length), np.log(listed), [0.0, 1.0, 2.0]))

        def shows(zoom_place: float) -> bool:
            settings = sweep(work.resolved, np.array([zoom_place]), np.linspace(0.0, 1.0, 3))
            return clearance_of(work, settings, deep, NO_MARGIN)[0] < -1e-3

        assert not shows(place - side * 0.01)
        assert shows(place + side * 0.01)


def test_an_aperture_that_stays_clear() -> None:
    lens = prime(35.0, 1.4)
    work = job(lens, camera())
    fitting = fit(lens, camera(), hood(RimShape.PLAIN, largest_length=300.0))
    wall = fitting.shape.wall
    deep = RoundHood(wall, Rim.plain(fitting.plain_depth + 4.0))
    run = next(entry for entry in check(work, deep).ranges if entry.quantity == "f-number")
    assert run.low is not None
    assert 1.4 < run.low < 22
    stopped = work.resolved.settings[0].stopped_down(run.low * 1.01)
    assert sensor_view(work.beam(stopped), deep).worst == 0.0
    opened = work.resolved.settings[0].stopped_down(run.low * 0.97)
    assert sensor_view(work.beam(opened), deep, columns=121, rows=81).worst > 0.0


def test_rotation_to_spare_is_where_it_begins_to_show() -> None:
    lens = prime(24.0)
    fitting = fit(lens, camera(), hood(RimShape.PETAL, largest_length=200.0))
    shape = RoundHood(fitting.shape.wall, fitting.shape.rim.moved(-3.0))
    verdict = check(fitting.job, shape)
    assert 1.0 < verdict.turn < 45.0
    for sign in (1, -1):
        turned = RoundHood(shape.wall, shape.rim.turned(sign * verdict.turn))
        assert not check(fitting.job, turned).shows
    beyond = [RoundHood(shape.wall, shape.rim.turned(sign * (verdict.turn + 0.5))) for sign in (1, -1)]
    assert any(check(fitting.job, b).shows for b in beyond)


def test_petals_measured_at_sides_and_corners() -> None:
    rim = {"right": 30.0, "left": 30.0, "top": 44.0, "bottom": 44.0, "corners": 20.0, "corner_azimuth": 36.0}
    shape = shape_of(document(petals=rim))
    assert isinstance(shape, RoundHood)
    np.testing.assert_allclose(
        shape.rim.z_at(np.array([0.0, 36.0, 90.0, 144.0, 180.0, 216.0, 270.0])), [30, 20, 44, 20, 30, 20, 44]
    )
    assert shape.rim.deepest == pytest.approx(44.0)
    assert shape.rim.shallowest == pytest.approx(20.0)


def test_traced_points_and_a_mesh_of_them_agree() -> None:
    lens = prime(24.0)
    fitting = fit(lens, camera(), hood(RimShape.PETAL, largest_length=60.0))
    for moved, shows in ((-1.0, False), (2.0, True)):
        shape = RoundHood(fitting.shape.wall, fitting.shape.rim.moved(moved))
        points = [[a, z] for a, z in zip(shape.rim.azimuth, shape.rim.z, strict=True)]
        read = shape_of(
            Hood.model_validate(
                {
                    "document": "hood", "version": 1, "name": "traced", "rim": {"points": points},
                    "wall": {"inner_diameter": 2 * shape.wall.radius[0]},
                }
            )
        )  # fmt: skip
        traced, meshed = check(fitting.job, read), check(fitting.job, tall_mesh(shape))
        assert traced.shows is shows
        assert meshed.shows is shows
        assert meshed.deeper == pytest.approx(traced.deeper, abs=0.3)
        assert meshed.worst.stops == pytest.approx(traced.worst.stops, abs=0.03)


def test_a_stack_of_filters_is_judged_by_itself_and_carries_the_hood() -> None:
    lens = prime(24.0).model_copy(update={"seat": Seat(on=SeatPlace.THREAD)})
    thin = Accessory(
        name="thin filter", thickness=3.0, clear_diameter=lens.front.clear_diameter + 8.0, outer_diameter=70.0
    )
    thick = Accessory(name="tall ring", thickness=16.0, clear_diameter=lens.front.clear_diameter, outer_diameter=70.0)
    bare = fit(lens, camera(), hood(RimShape.PLAIN, largest_length=200.0))
    carried = fit(lens, camera(), hood(RimShape.PLAIN, largest_length=200.0).model_copy(update={"accessory": (thin,)}))
    assert carried.plain_depth == pytest.approx(bare.plain_depth - 3.0, abs=1e-6)
    work = job(lens, camera(), accessories=(thin, thick))
    sentences = check(
        work, RoundHood(RoundWall((0.0,), (44.0,)), Rim.plain(-18.0)), accessories=(thin, thick)
    ).accessories
    assert "does not show" in sentences[0]
    assert "shows by itself" in sentences[1]


def test_loss_without_light_is_not_called_clear() -> None:
    dark = prime(24.0, pupil_depth=200.0)
    view = sensor_view(
        job(dark, camera()).beam(job(dark, camera()).resolved.settings[0]),
        RoundHood(RoundWall((0.0,), (60.0,)), Rim.plain(5.0)),
    )
    assert np.any(np.isnan(view.loss))
    dark_everywhere = prime(24.0, pupil_depth=20.0, rear_window={"depth": 60.0, "radius": 1.0, "decentre": [90.0, 0.0]})
    work = job(dark_everywhere, camera())
    view = sensor_view(work.beam(work.resolved.settings[0]), RoundHood(RoundWall((0.0,), (60.0,)), Rim.plain(5.0)))
    assert math.isnan(view.worst)
    assert own_darkening(work)
    assert not own_darkening(job(prime(24.0), camera()))
