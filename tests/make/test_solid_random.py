"""Any rim on any wall: one closed body, under its rim, outside its wall."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from solid_cases import SEAT_DIAMETER, THREAD, cylindrical, height_above_rim, surface_points

from shadewright.make.inspect import inspect_mesh
from shadewright.make.rim import lowered
from shadewright.make.solid import build_hood
from shadewright.model.hood import Build, SeatKind
from shadewright.model.shape import Rim, RoundHood, RoundWall

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


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    wall=walls(),
    rim=rims(),
    seat=st.sampled_from([SeatKind.SLIP_ON, SeatKind.SLIP_ON, SeatKind.CLAMP, SeatKind.THREAD]),
    thickness=st.sampled_from([0.8, 2.0, 4.0]),
    rounding=st.sampled_from([0.0, 0.6, 5.0]),
)
def test_any_rim_on_any_wall(wall: RoundWall, rim: Rim, seat: SeatKind, thickness: float, rounding: float) -> None:
    build = Build(seat=seat, thickness=thickness, rim_rounding=rounding, seat_length=14.0)
    # The rim is lifted so that every seat and rounding finds its room under it.
    rim = rim.moved(0.5 * thickness)
    hood = RoundHood(wall, rim)
    solid = build_hood(hood, build, seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=60)
    found = inspect_mesh(solid.vertices, solid.faces)
    assert (found.closed, found.oriented, found.bodies) == (True, True, 1)
    points = surface_points(solid)
    assert height_above_rim(points, rim) < 0.0
    radius, _, z = cylindrical(points)
    free = wall.radius_at(np.maximum(z, 1e-9))
    if seat is SeatKind.THREAD:
        free = np.minimum(free, 36.5)
    assert np.all(radius[z > 1e-6] >= free[z > 1e-6])


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
