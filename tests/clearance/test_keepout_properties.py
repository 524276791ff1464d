"""What must hold of any keep-out, tried on random lenses."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lenses import beam_of
from shadewright.clearance.keepout import keep_out
from shadewright.model.shape import RoundWall
from shadewright.optics.beam import Beam

AZIMUTH = np.arange(0.0, 360.0, 5.0)
WALL = RoundWall((0.0,), (48.0,))
TINY = 1e-7

lens = st.tuples(
    st.floats(5, 60), st.floats(1, 20), st.floats(22, 34), st.floats(40, 120), st.floats(18, 50), st.floats(0.1, 0.9),
    st.floats(0.1, 0.7), st.floats(-5, 10),
)  # fmt: skip


def make(values: tuple[float, ...], *, scale: float = 1.0) -> Beam:
    depth, pupil, front, rear_depth, rear, w, h, reach = values
    windows = [
        (depth * scale, pupil * scale, 0.0, 0.0),
        (0.0, front * scale, 0.0, 0.0),
        (rear_depth * scale, rear * scale, 0.0, 0.0),
    ]
    return beam_of(windows, w, h, reach=reach * scale)


def rim(beams: list[Beam], wall: RoundWall = WALL, cap: float = 150.0, azimuth: np.ndarray = AZIMUTH) -> np.ndarray:
    return keep_out(beams).rim(wall, azimuth, cap=cap).value


@settings(max_examples=60, deadline=None)
@given(lens, lens)
def test_adding_a_state_never_deepens(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    assert np.all(rim([make(one), make(two)]) <= rim([make(one)]) + TINY)


@settings(max_examples=60, deadline=None)
@given(lens, st.floats(1.0, 1.5))
def test_widening_a_frame_never_deepens(values: tuple[float, ...], factor: float) -> None:
    wider = (*values[:5], values[5] * factor, values[6] * factor, values[7])
    assert np.all(rim([make(wider)]) <= rim([make(values)]) + TINY)


@settings(max_examples=60, deadline=None)
@given(lens, st.floats(1.0, 2.0))
def test_opening_an_aperture_never_deepens(values: tuple[float, ...], factor: float) -> None:
    opened = (values[0], values[1] * factor, *values[2:])
    assert np.all(rim([make(opened)]) <= rim([make(values)]) + TINY)


@settings(max_examples=60, deadline=None)
@given(lens, st.floats(0.2, 5.0))
def test_scaling_all_lengths_scales_the_rim(values: tuple[float, ...], factor: float) -> None:
    scaled = rim([make(values, scale=factor)], RoundWall((0.0,), (48.0 * factor,)), 150.0 * factor)
    np.testing.assert_allclose(scaled, factor * rim([make(values)]), rtol=1e-7, atol=1e-6)


@settings(max_examples=60, deadline=None)
@given(lens)
def test_mirror_symmetry(values: tuple[float, ...]) -> None:
    z = rim([make(values)])
    n = len(AZIMUTH)
    i = np.arange(n)
    np.testing.assert_allclose(z, z[(-i) % n], atol=1e-7)
    np.testing.assert_allclose(z, z[(n // 2 - i) % n], atol=1e-7)


@settings(max_examples=40, deadline=None)
@given(lens)
def test_square_frame_gives_four_equal_lobes(values: tuple[float, ...]) -> None:
    square = (*values[:6], values[5], values[7])
    z = rim([make(square)])
    np.testing.assert_allclose(z, np.roll(z, len(z) // 4), atol=1e-7)


@settings(max_examples=40, deadline=None)
@given(lens)
def test_a_turned_frame_turns_the_rim(values: tuple[float, ...]) -> None:
    turned = (*values[:5], values[6], values[5], values[7])
    np.testing.assert_allclose(rim([make(turned)]), np.roll(rim([make(values)]), len(AZIMUTH) // 4), atol=1e-7)


@settings(max_examples=40, deadline=None)
@given(lens)
def test_once_entered_straight_ahead_never_left(values: tuple[float, ...]) -> None:
    """For centred windows, sections grow with z: a shallower stop finds the same entry."""
    beam = make(values)
    entry = rim([beam])
    for z in (60.0, 100.0):
        radius = keep_out([beam]).section(z, AZIMUTH, outermost=400.0).value
        inside = entry < z - 1e-6
        assert np.all(radius[inside] >= 48.0 - 1e-6)
        assert np.all(radius[entry > z + 1e-6] <= 48.0 + 1e-6)
