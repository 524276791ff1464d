"""Any rim on any wall: one closed body, under its rim, outside its wall."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from solid_cases import cylindrical, height_above_rim, surface_points

from shadewright.make.inspect import count_bodies
from shadewright.make.rim import lowered
from shadewright.make.solid import build_hood, is_closed
from shadewright.model.hood import Build, SeatKind
from shadewright.model.lens import thread_size
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

HEIGHTS = st.floats(min_value=2.5, max_value=45.0, allow_nan=False)


@st.composite
def rims(draw: st.DrawFn) -> Rim:
    """Points at random azimuths, the gaps from a ten-thousandth of a degree to 60 degrees."""
    gaps = draw(st.lists(st.sampled_from([1e-4, 0.01, 0.5, 3.0, 20.0, 60.0]), min_size=8, max_size=24))
    azimuth = np.cumsum([0.0, *gaps])
    azimuth = azimuth[azimuth < 359.0]
    while 360.0 - azimuth[-1] > 60.0:
        azimuth = np.append(azimuth, azimuth[-1] + 50.0)
    heights = draw(st.lists(HEIGHTS, min_size=len(azimuth), max_size=len(azimuth)))
    return Rim.from_arrays(azimuth, np.array(heights))


@st.composite
def walls(draw: st.DrawFn) -> RoundWall:
    """Tubes, cones and stepped walls, never narrowing, of up to 45 degrees."""
    z, radius = [0.0], [draw(st.floats(min_value=25.0, max_value=60.0))]
    for _ in range(draw(st.integers(min_value=0, max_value=3))):
        length = draw(st.floats(min_value=0.5, max_value=15.0))
        z.append(z[-1] + length)
        radius.append(radius[-1] + draw(st.sampled_from([0.0, 0.3, 1.0])) * length)
        step = draw(st.sampled_from([0.0, 0.0, 0.4, 4.0]))
        if step:
            z.append(z[-1])
            radius.append(radius[-1] + step)
    return RoundWall(tuple(z), tuple(radius))


@st.composite
def builds(draw: st.DrawFn) -> Build:
    """Seats of every kind, walls from thin to thick, edges from sharp to as round as the wall allows."""
    return Build(
        seat=draw(st.sampled_from(list(SeatKind))),
        thickness=draw(st.sampled_from([0.8, 2.0, 4.0])),
        rim_rounding=draw(st.sampled_from([0.0, 0.6, 5.0])),
        seat_length=14.0,
    )


def check(wall: RoundWall, rim: Rim, build: Build, seat_diameter: float, thread: str) -> None:
    """The hood is one closed body, under its rim, outside its wall."""
    # The rim is lifted so that every seat and rounding finds its room under it.
    rim = rim.moved(0.5 * build.thickness)
    solid = build_hood(RoundHood(wall, rim), build, seat_diameter=seat_diameter, thread=thread, segments=48)
    assert is_closed(solid.faces)
    assert count_bodies(solid.faces, len(solid.vertices)) == 1
    assert solid.volume > 0.0
    points = surface_points(solid)
    assert height_above_rim(points, rim) < 0.0
    radius, _, z = cylindrical(points)
    free = wall.radius_at(np.maximum(z, 1e-9))
    if build.seat is SeatKind.THREAD:
        free = np.minimum(free, thread_size(thread)[0] / 2.0 - 2.2)
    assert np.all(radius[z > 1e-6] >= free[z > 1e-6])


DIAMETERS = st.floats(min_value=21.0, max_value=130.0)
THREADS = st.sampled_from(["M27x0.5", "M49x0.75", "M77x0.75", "M95x1", "M127x0.75"])


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(walls(), rims(), builds(), DIAMETERS, THREADS)
def test_any_rim_on_any_wall(wall: RoundWall, rim: Rim, build: Build, diameter: float, thread: str) -> None:
    check(wall, rim, build, diameter, thread)


@pytest.mark.deep
@settings(max_examples=800, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(walls(), rims(), builds(), DIAMETERS, THREADS)
def test_any_rim_on_any_wall_many_times(wall: RoundWall, rim: Rim, build: Build, diameter: float, thread: str) -> None:
    check(wall, rim, build, diameter, thread)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    size=st.tuples(*[st.floats(min_value=15.0, max_value=70.0)] * 2),
    lips=st.tuples(*[st.floats(min_value=5.0, max_value=40.0)] * 4),
    build=builds(),
    diameter=DIAMETERS,
    thread=THREADS,
)
def test_any_lips_on_any_tunnel(
    size: tuple[float, float],
    lips: tuple[float, float, float, float],
    build: Build,
    diameter: float,
    thread: str,
) -> None:
    hood = TunnelHood(TunnelWall(*size), TunnelRim(*lips))
    solid = build_hood(hood, build, seat_diameter=diameter, thread=thread, segments=48)
    assert is_closed(solid.faces)
    assert count_bodies(solid.faces, len(solid.vertices)) == 1
    assert solid.volume > 0.0
    points = surface_points(solid)
    x, y, z = np.abs(points[:, 0]), np.abs(points[:, 1]), points[:, 2]
    assert z.max() < hood.rim.deepest
    outside = (x >= size[0]) | (y >= size[1]) | (z <= 1e-6)
    if build.seat is SeatKind.THREAD:
        outside |= np.hypot(x, y) > thread_size(thread)[0] / 2.0 - 2.2
    assert np.all(outside)


@settings(max_examples=40, deadline=None)
@given(st.integers(min_value=0, max_value=2**32 - 1), st.integers(min_value=3601, max_value=8000))
def test_a_rim_of_fewer_points_is_nowhere_higher(seed: int, count: int) -> None:
    generator = np.random.default_rng(seed)
    azimuth = np.sort(generator.choice(36_000, count, replace=False)) / 100.0
    rim = Rim.from_arrays(azimuth, generator.uniform(0.0, 40.0, count))
    thin = lowered(rim)
    assert len(thin.z) < len(rim.z)
    every = np.union1d(azimuth, np.asarray(thin.azimuth))
    assert np.all(thin.z_at(every) <= rim.z_at(every) + 1e-12)
