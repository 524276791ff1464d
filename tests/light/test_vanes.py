"""Vanes: nothing lit is seen, none could be left out, and the light engine agrees; their edges stay out of the beam."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lenses import beam_of
from shadewright.clearance.keepout import keep_out
from shadewright.errors import LightError
from shadewright.light.finish import Finish
from shadewright.light.scene import Vane, scene_of
from shadewright.light.vanes import (
    EdgeLine,
    VaneLayout,
    clear_edges,
    clear_radius,
    hidden_from_glass,
    lay_out_vanes,
    ridges,
    standing_in_beam,
    straight_edges,
)
from shadewright.light.wall_light import Method, Sky, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall

CONE = RoundWall((0.0, 100.0), (40.0, 60.0))
CONE_EDGES = EdgeLine(0.0, 32.0, 100.0, 54.0)
BEAM = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 30.0, 0.0, 0.0)], 0.3, 0.2)


def seen(layout: VaneLayout, wall: RoundWall, radius: float, z: float) -> float:
    """Share of the wall that is lit and seen from the glass."""
    return hidden_from_glass(layout, wall, glass_radius=radius, glass_z=z, samples=800)


def test_a_cone_hides_all_its_lit_wall_too() -> None:
    found = lay_out_vanes(CONE, CONE_EDGES, glass_radius=30.0, glass_z=-2.0, front=90.0)
    assert found.complete
    assert len(found.vanes) > 5
    assert seen(found, CONE, 30.0, -2.0) == 0.0


def test_no_vane_can_be_left_out() -> None:
    found = lay_out_vanes(CONE, CONE_EDGES, glass_radius=30.0, glass_z=-2.0, front=90.0)
    for k in range(1, len(found.vanes) - 1):
        fewer = replace(found, vanes=found.vanes[:k] + found.vanes[k + 1 :])
        assert seen(fewer, CONE, 30.0, -2.0) > 0.0


@settings(max_examples=40, deadline=None)
@given(
    st.floats(30, 60), st.floats(0.0, 0.4), st.floats(2.0, 12.0), st.floats(0.4, 0.95), st.floats(25, 120),
    st.floats(0.0, 0.1),
)
def test_any_widening_wall_is_hidden(
    near: float, taper: float, depth: float, glass: float, length: float, closing: float
) -> None:
    wall = RoundWall((0.0, 200.0), (near, near + 200 * taper))
    edges = EdgeLine(0.0, near - depth - closing * length, length, near + taper * length - depth)
    radius = glass * (near - depth)
    assume(edges.radius_at(0.0) > radius)
    found = lay_out_vanes(wall, edges, glass_radius=radius, glass_z=0.0, front=length)
    if found.complete:
        assert hidden_from_glass(found, wall, glass_radius=radius, glass_z=0.0, samples=200) == 0.0


def test_a_glass_further_back_still_sees_nothing_lit() -> None:
    """So that a layout for the front where it stands furthest forward serves a front that moves."""
    tube, edges = RoundWall((0.0,), (50.0,)), EdgeLine(0.0, 44.0, 90.0, 44.0)
    found = lay_out_vanes(tube, edges, glass_radius=30.0, glass_z=15.0, front=90.0, last=16.0)
    z = 15.0 + (np.arange(300) + 0.5) / 300 * 75.0
    assert seen(found, tube, 30.0, 15.0) == 0.0
    for moved in (10.0, 0.0):
        # Only the wall ahead of where the vanes begin can be judged by them.
        for at in z:
            lines = np.linspace(-30.0, 30.0, 61)
            hidden = np.zeros(len(lines), bool)
            shaded = _shaded(found, at, 90.0, 44.0)
            for vane in found.vanes:
                if moved < vane.z < at:
                    hidden |= np.abs(lines + (vane.z - moved) / (at - moved) * (50.0 - lines)) >= vane.inner_radius
            assert shaded or np.all(hidden)


def _shaded(layout: VaneLayout, z: float, front: float, opening: float) -> bool:
    lines = np.linspace(-opening, opening, 201)
    blocked = np.zeros(len(lines), bool)
    for vane in layout.vanes:
        if z < vane.z < front:
            blocked |= np.abs(lines + (front - vane.z) / (front - z) * (50.0 - lines)) >= vane.inner_radius
    return bool(np.all(blocked))


@pytest.mark.parametrize(
    ("wall", "edges", "front", "says"),
    [
        (RoundWall((0.0, 30.0, 60.0), (40.0, 50.0, 52.0)), EdgeLine(0, 30, 80, 40), 80.0, "bends or steps 30 mm"),
        (RoundWall((0.0, 100.0), (50.0, 40.0)), EdgeLine(0, 30, 80, 30), 80.0, "narrows"),
        (RoundWall((0.0,), (40.0,)), EdgeLine(0, 39.9, 80, 39.9), 80.0, "make the hood wider"),
        (RoundWall((0.0,), (40.0,)), EdgeLine(0, 36, 80, 30), 80.0, "close in"),
        (RoundWall((0.0,), (40.0,)), EdgeLine(0, 36, 80, 36), 0.5, "make it longer"),
        (RoundWall((0.0,), (28.0,)), EdgeLine(0, 26, 80, 26), 80.0, "not narrower"),
    ],
)
def test_what_the_construction_does_not_hold_for_is_refused(
    wall: RoundWall, edges: EdgeLine, front: float, says: str
) -> None:
    with pytest.raises(LightError, match=says):
        lay_out_vanes(wall, edges, glass_radius=30.0, glass_z=0.0, front=front)


def test_edges_of_the_keep_out_stay_outside_it() -> None:
    keepout = keep_out([BEAM])
    # The corner's ray through the edge of the pupil, 5 mm at 30 mm behind the front.
    assert clear_radius(keepout, 40.0) == pytest.approx(5.0 + 70.0 * math.hypot(0.3, 0.2), abs=1e-3)
    for edges in (clear_edges(keepout, near=5.0, far=60.0), straight_edges(keepout, near=5.0, far=60.0)):
        rings = [Vane(float(z), edges.radius_at(float(z))) for z in np.linspace(5, 60, 12)]
        assert standing_in_beam(keepout, rings) == []
        inside = [Vane(v.z, v.inner_radius - 0.15 - 0.001) for v in (rings[0], rings[-1])]
        assert inside[-1] in standing_in_beam(keepout, inside)


def test_the_clear_radius_is_that_of_a_dense_look() -> None:
    keepout = keep_out([BEAM])
    azimuth = np.linspace(0.0, 360.0, 7201)
    dense = keepout.section(35.0, azimuth, outermost=900.0).value.max()
    assert clear_radius(keepout, 35.0) == pytest.approx(dense, abs=2e-3)


def test_ridges_stand_at_their_pitch() -> None:
    found = ridges(RoundWall((0.0,), (40.0,)), pitch=2.0, height=0.5, near=10.0, front=20.0)
    assert [v.z for v in found] == [20, 18, 16, 14, 12, 10]
    assert {v.inner_radius for v in found} == {39.5}
    with pytest.raises(LightError, match="pitch"):
        ridges(RoundWall((0.0,), (40.0,)), pitch=0.0, height=0.5, near=10.0, front=20.0)


def test_the_light_engine_sees_vanes_do_their_work() -> None:
    """Both methods: a complete layout cuts the wall light of an oblique sky many times over, and they agree about it."""
    tube = RoundWall((0.0,), (40.0,))
    hood = RoundHood(tube, Rim.plain(60.0))
    edges = EdgeLine(0.0, 35.0, 60.0, 35.0)
    layout = lay_out_vanes(tube, edges, glass_radius=25.0, glass_z=0.0, front=60.0)
    assert layout.complete
    beam = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 25.0, 0.0, 0.0)], 0.2, 0.15)
    matt, sky = Finish("matt", 0.05), Sky(12, 16)
    means = []
    for vanes in ((), layout.vanes):
        scene = scene_of(beam, hood, vanes=vanes)
        fast = wall_light(scene, matt, sky=sky, samples=4096)
        plain = wall_light(scene, matt, sky=sky, method=Method.REFERENCE, samples=400_000)
        slack = 4 * math.hypot(
            float(np.sqrt(np.sum(fast.standard_error**2))) / len(fast.value),
            float(np.sqrt(np.sum(plain.standard_error**2))) / len(plain.value),
        )
        # The fast method reads the middles of cells, the reference their means: a twentieth covers that.
        assert fast.mean == pytest.approx(plain.mean, abs=slack + 0.05 * plain.mean)
        means.append(plain.mean)
    assert means[1] < 0.1 * means[0]


def test_a_least_spacing_is_kept_and_said() -> None:
    tube, edges = RoundWall((0.0,), (42.0,)), EdgeLine(0.0, 39.0, 20.0, 39.0)
    free = lay_out_vanes(tube, edges, glass_radius=29.0, glass_z=0.0, front=20.0)
    spread = lay_out_vanes(tube, edges, glass_radius=29.0, glass_z=0.0, front=20.0, spread=3.0)
    # From the front, 20: the glass's far edge over the next edge meets the wall at the front, (29 + 39) / (29 + 42) of the way.
    assert spread.crowded is not None
    assert spread.crowded <= 20.0 * (1 - 68 / 71) + 1e-9
    assert [v.z for v in spread.vanes] == pytest.approx([20, 17, 14, 11, 8, 5, 2])
    assert spread.closest == pytest.approx(3.0)
    assert not spread.complete
    assert seen(spread, tube, 29.0, 0.0) > 0.0
    assert free.crowded is None
    wide = lay_out_vanes(tube, edges, glass_radius=29.0, glass_z=0.0, front=20.0, spread=0.1)
    assert wide.crowded is None
    assert wide.vanes == free.vanes


def test_crowded_printed_rings_hide_less_than_fewer_with_their_whole_slope() -> None:
    """Why vanes that would stand closer than a print can have them are set further apart than they need be."""
    hood = RoundHood(RoundWall((0.0,), (42.0,)), Rim.plain(18.0))
    beam = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 29.0, 0.0, 0.0)], 0.2, 0.15)

    def light(spacing: float) -> float:
        rings = tuple(Vane(float(z), 39.0, 0.45, 45.0) for z in np.arange(17.3, 3.6, -spacing))
        return wall_light(scene_of(beam, hood, vanes=rings), Finish("m", 0.05), sky=Sky(12, 16), samples=1024).mean

    assert light(3.45) < 0.75 * light(0.85)
