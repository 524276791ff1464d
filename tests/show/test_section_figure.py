"""Sections: the rays that are drawn are the outermost that pass, and the wall is where the hood is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from show_cases import (
    CONE,
    DECENTRED,
    FISHEYE,
    NEAR,
    STEPPED,
    TUBE,
    ZOOM,
    beams,
    deepest,
    lines,
    require_legible,
    tunnel,
    words,
)

from shadewright.errors import MakeError
from shadewright.model.shape import MeshHood, Rim, RoundHood, TunnelHood, TunnelRim, TunnelWall
from shadewright.optics.beam import Beam
from shadewright.show.rays import PlaneRay, edge_rays, edge_slope, mesh_cut, wall_cut
from shadewright.show.section import corner_azimuth, rim_gap, section_figure


def passing(beam: Beam, azimuth: float) -> tuple[float, float]:
    """Least and greatest height at the front rim of rays in the plane that pass all windows, by trial."""
    along = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))])
    slope = edge_slope(beam, azimuth) * along
    heights = np.linspace(-60, 60, 240_001)
    start = heights[:, None] * along
    if math.isfinite(beam.object_distance):
        ahead = beam.object_distance - beam.windows[0, 0]
        rate = (beam.windows[0, 2:] + beam.object_distance * slope - start) / ahead
    else:
        rate = np.broadcast_to(slope, start.shape)
    ok = np.ones(len(heights), bool)
    for depth, radius, x, y in beam.windows:
        ok &= np.hypot(*(start - depth * rate - (x, y)).T) <= radius
    return float(heights[ok].min()), float(heights[ok].max())


@pytest.mark.parametrize("text", [ZOOM, FISHEYE])
@pytest.mark.parametrize("azimuth", [0.0, 33.7, 90.0, 180.0, 215.0])
def test_the_edge_of_the_frame_is_where_the_frame_ends(text: str, azimuth: float) -> None:
    beam = beams(text)[0]
    reach = edge_slope(beam, azimuth) * np.array(
        [math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))]
    )
    outline = beam.frame.outlines()[0]
    following = np.roll(outline, -1, 0)
    point = beam.frame.points(reach[None, :])[0]
    across = np.array(
        [
            (b - a)[0] * (point - a)[1] - (b - a)[1] * (point - a)[0]
            for a, b in zip(outline, following, strict=True)
        ]
    )
    # Distance to the nearest side, mm: a curved outline is exceeded by up to 2e-4 of some 20 mm.
    assert abs((across / np.hypot(*(following - outline).T)).min()) < 5e-3


@pytest.mark.parametrize("text", [ZOOM, FISHEYE])
@pytest.mark.parametrize("azimuth", [0.0, 40.0, 90.0, 250.0])
def test_outermost_and_innermost_rays_are_those_that_just_pass(text: str, azimuth: float) -> None:
    for beam in beams(text):
        rays = edge_rays(beam, azimuth)
        low, high = passing(beam, azimuth)
        assert rays.passes
        assert rays.inner.height == pytest.approx(low, abs=1e-3)
        assert rays.outer.height == pytest.approx(high, abs=1e-3)


def test_rays_of_a_near_subject_meet_in_it() -> None:
    beam = next(b for b in beams(NEAR) if math.isfinite(b.object_distance))
    rays = edge_rays(beam, 90.0)
    low, high = passing(beam, 90.0)
    assert rays.inner.height == pytest.approx(low, abs=1e-3)
    assert rays.outer.height == pytest.approx(high, abs=1e-3)
    subject = beam.reach + beam.object_distance - beam.windows[0, 0]
    meeting = [float(ray.u_at(subject)) for ray in (rays.outer, rays.inner, rays.chief)]
    assert np.ptp(meeting) < 1e-9
    assert float(rays.chief.u_at(beam.reach - beam.windows[0, 0])) == pytest.approx(0.0, abs=1e-9)


def test_a_pupil_off_the_axis_is_cut_off_the_axis() -> None:
    beam = beams(DECENTRED)[0]
    for azimuth in (0.0, 90.0, 180.0):
        rays = edge_rays(beam, azimuth)
        low, high = passing(beam, azimuth)
        assert (rays.inner.height, rays.outer.height) == pytest.approx((low, high), abs=1e-3)


@pytest.mark.parametrize("wall", [TUBE, CONE, STEPPED])
@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 270.0])
def test_the_deepest_rim_is_just_touched(wall: object, azimuth: float) -> None:
    hood = deepest(ZOOM, wall)
    if float(hood.rim.z_at(azimuth)) < 119.0:
        assert min(rim_gap(hood, beam, azimuth) for beam in beams(ZOOM)) == pytest.approx(0.0, abs=2e-3)


def test_the_figure_says_so() -> None:
    figure = section_figure(deepest(ZOOM, TUBE), beams(ZOOM), second_azimuth=90.0, title="Two planes")
    assert words(figure).count("touches") == 4
    deep = RoundHood(TUBE, Rim.plain(45.0))
    assert "mm in the beam" in words(section_figure(deep, beams(ZOOM), title="Too deep"))
    short = RoundHood(TUBE, Rim.plain(15.0))
    assert words(section_figure(short, beams(ZOOM), title="Short")).count("mm clear") == 4


@pytest.mark.parametrize("hood", [deepest(ZOOM, TUBE), deepest(ZOOM, CONE), tunnel()])
@pytest.mark.parametrize("azimuth", [0.0, 90.0])
def test_what_is_drawn_is_what_was_worked_out(hood: RoundHood | TunnelHood, azimuth: float) -> None:
    chosen = beams(ZOOM)
    figure = section_figure(hood, chosen, azimuth=azimuth, title="Section", rim_radius=40.0)
    first = figure.axes[0]
    outer = [line for line in first.get_lines() if line.get_gid() == "outer"]
    assert len(outer) == 2 * len(chosen)
    for k, beam in enumerate(chosen):
        for line, side, turn in ((outer[2 * k], 1, 0), (outer[2 * k + 1], -1, 180)):
            z, u = line.get_data()
            np.testing.assert_allclose(u, side * edge_rays(beam, azimuth + turn).outer.u_at(np.asarray(z)))
            assert min(z) == pytest.approx(beam.reach - beam.windows[0, 0])
            assert max(z) > wall_cut(hood, azimuth)[-1, 0]
    walls = [patch for patch in first.patches if patch.get_gid() == "wall"]
    assert len(walls) == 2
    for patch, side, turn in zip(walls, (1, -1), (0, 180), strict=True):
        inside = wall_cut(hood, azimuth + turn)
        np.testing.assert_allclose(patch.get_xy()[: len(inside)], inside * (1, side))
        assert patch.get_hatch()
    fronts = [line.get_xydata() for line in first.get_lines() if line.get_gid() == "front"]
    for beam, ends in zip(chosen, fronts, strict=True):
        np.testing.assert_allclose(ends, [[beam.reach, -35.0], [beam.reach, 35.0]])
    pupils = lines(figure, "pupil")
    np.testing.assert_allclose(pupils[0][0], [chosen[0].reach - chosen[0].windows[0, 0], 0.0])
    assert all(axes.get_aspect() == 1.0 for axes in figure.axes)
    for beam in chosen:
        assert beam.label in words(figure)
    require_legible(figure)


def test_settings_differ_in_more_than_colour() -> None:
    figure = section_figure(deepest(ZOOM, TUBE), beams(ZOOM), title="Section")
    outer = [line for line in figure.axes[0].get_lines() if line.get_gid() == "outer"]
    dashes = {str(line.get_linestyle()) + str(line._dash_pattern) for line in outer}
    assert len(dashes) == len(beams(ZOOM))


def test_a_long_hood_is_drawn_over_the_whole_width() -> None:
    long = RoundHood(TUBE, Rim.plain(118.0))
    figure = section_figure(long, beams(ZOOM)[1:], title="Long")
    require_legible(figure)
    above, below = (axes.get_position() for axes in figure.axes)
    assert above.y0 > below.y1


def test_the_wall_follows_its_steps() -> None:
    np.testing.assert_allclose(
        wall_cut(RoundHood(STEPPED, Rim.plain(30.0)), 0.0), [(0, 44), (12, 44), (12, 48), (30, 48)]
    )
    np.testing.assert_allclose(wall_cut(RoundHood(CONE, Rim.plain(25.0)), 0.0), [(0, 44), (25, 52)])


def test_a_tunnel_is_cut_where_the_plane_leaves_it() -> None:
    hood = TunnelHood(TunnelWall(40.0, 30.0), TunnelRim(10.0, 20.0, 30.0, 40.0))
    np.testing.assert_allclose(wall_cut(hood, 0.0)[-1], (10, 40))
    np.testing.assert_allclose(wall_cut(hood, 90.0)[-1], (20, 30))
    np.testing.assert_allclose(wall_cut(hood, 180.0)[-1], (30, 40))
    np.testing.assert_allclose(wall_cut(hood, 270.0)[-1], (40, 30))
    np.testing.assert_allclose(wall_cut(hood, 45.0)[-1], (20, 30 * math.sqrt(2)))
    # Through the corner itself: the deeper of the two lips.
    np.testing.assert_allclose(wall_cut(hood, math.degrees(math.atan2(30, 40)))[-1], (20, 50))


def test_a_mesh_is_cut_by_the_plane() -> None:
    corners = np.array([[x, y, z] for x in (-2.0, 2.0) for y in (-1.0, 1.0) for z in (0.0, 5.0)])
    faces = np.array(
        [
            (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
            (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
        ]
    )  # fmt: skip
    for azimuth, half in ((0.0, 2.0), (90.0, 1.0)):
        pieces = mesh_cut(MeshHood(corners, faces), azimuth)
        length = np.sum(np.hypot(*(pieces[:, 1] - pieces[:, 0]).T))
        assert length == pytest.approx(2 * 5 + 4 * half)
        assert np.abs(pieces[..., 1]).max() == pytest.approx(half)
    figure = section_figure(MeshHood(corners * 20, faces), beams(ZOOM)[:1], title="A mesh")
    assert sum(c.get_gid() == "wall" for axes in figure.axes for c in axes.collections) == 2
    require_legible(figure)


def test_the_corner_of_the_frame() -> None:
    assert corner_azimuth(beams(ZOOM)[0]) == pytest.approx(math.degrees(math.atan2(2, 3)))
    assert corner_azimuth(beams(ZOOM, orientation="portrait")[0]) == pytest.approx(
        math.degrees(math.atan2(3, 2))
    )


def test_a_ray_is_straight() -> None:
    assert float(PlaneRay(2.0, 10.0, 0.5).u_at(6.0)) == pytest.approx(12.0)


def test_more_settings_than_can_be_told_apart_are_refused() -> None:
    with pytest.raises(MakeError, match="7 settings"):
        section_figure(deepest(ZOOM, TUBE), beams(ZOOM)[:1] * 7, title="Seven")
