"""What a tube leaves of a beam: closed forms, and rays one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shadewright.measure.forward import OpenEnd, shares_of
from synthetic_camera import Barrel, Glass, Sensor, light

AXIS = np.zeros((1, 2))


def overlap(r: float, big: float, d: float) -> float:
    """Area common to two circles of radii r and big whose centres are d apart."""
    if d >= r + big:
        return 0.0
    if d <= abs(big - r):
        return math.pi * min(r, big) ** 2
    one = r * r * math.acos((d * d + r * r - big * big) / (2 * d * r))
    two = big * big * math.acos((d * d + big * big - r * r) / (2 * d * big))
    return one + two - 0.5 * math.sqrt((-d + r + big) * (d + r - big) * (d - r + big) * (d + r + big))


@pytest.mark.parametrize("slope", [0.30, 0.45, 0.50, 0.58, 0.66, 0.75])
def test_one_disc_and_an_upright_end_share_what_two_circles_do(slope: float) -> None:
    share, area = shares_of(np.array([[20.0, 8.0, 0, 0]]), np.array([[slope, 0.0]]), OpenEnd((0.0, 0.0, 40.0), 30.0), chords=512)
    assert share[0] == pytest.approx(overlap(8.0, 30.0, 60.0 * slope) / (math.pi * 64), abs=2e-5)
    assert area[0] == pytest.approx(math.pi * 64, rel=2e-5)


def test_few_chords_are_as_good_as_many_to_the_noise_of_frames() -> None:
    rng = np.random.default_rng(5)
    windows = np.array([[22.0, 7.0, 0.3, 0.1], [0.0, 21.0, 0, 0], [45.0, 20.0, -0.2, 0]])
    slopes = rng.uniform(-0.6, 0.6, (2000, 2))
    end = OpenEnd((1.0, -0.5, 33.0), 32.0, (0.03, -0.02))
    few, many = shares_of(windows, slopes, end)[0], shares_of(windows, slopes, end, chords=2048)[0]
    assert np.nanmax(np.abs(few - many)) < 4e-4


@pytest.mark.parametrize("subject", [math.inf, 400.0])
@pytest.mark.parametrize("wander", [(0.0, 0.0), (-7.0, 2.0)])
def test_leaning_decentred_tubes_against_rays_one_by_one(subject: float, wander: tuple[float, float]) -> None:
    glass = Glass(
        ((26.0, 5.0, 0.0, 0.0), (1.0, 21.0, 0.0, 0.0), (50.0, 26.0, 0.0, 0.0)), 24.0, reach=3.0, wander=wander, subject=subject
    )
    sensor = Sensor(columns=36, rows=24)
    barrel = Barrel.tube(70.0, 34.0, decentre=(0.8, -0.6), lean=(2.0, -1.5))
    samples = 6000
    bare, shaded = light(glass, sensor, barrel, samples=samples, area=False)
    lean = (math.tan(math.radians(2.0)), math.tan(math.radians(-1.5)))
    along = 34.0 * np.array([*lean, 1.0]) / math.sqrt(1 + lean[0] ** 2 + lean[1] ** 2)
    end = OpenEnd((0.8 + along[0], -0.6 + along[1], along[2] - 3.0), 35.0, lean)
    share, area = shares_of(np.array(glass.windows), sensor.points().reshape(-1, 2) / 24.0, end, wander=wander, subject=subject)
    counted = (bare > 0).ravel()
    expected = (shaded / np.where(bare > 0, bare, 1)).ravel()
    assert counted.sum() > 600
    half = counted & (share > 0.02) & (share < 0.98)
    assert half.sum() > 50
    spread = np.sqrt(share[half] * (1 - share[half]) / (samples * area[half] / (math.pi * 25.0)))
    pull = (share[half] - expected[half]) / spread
    # Stratified rays scatter less than independent ones would; a wrong lean or depth pulls by tens.
    assert np.max(np.abs(pull)) < 4.0
    assert abs(pull.mean()) < 0.35
    clear = counted & ~half
    assert np.max(np.abs(share[clear] - expected[clear])) < 0.03


def test_a_lean_is_felt() -> None:
    windows, slopes = np.array([[25.0, 6.0, 0, 0]]), np.array([[0.5, 0.1]])
    upright = shares_of(windows, slopes, OpenEnd((0.0, 0.0, 40.0), 33.0))[0]
    leaning = shares_of(windows, slopes, OpenEnd((0.0, 0.0, 40.0), 33.0, (0.05, 0.0)))[0]
    # The right side of an end whose axis points right is nearer: it hides less there.
    assert leaning[0] > upright[0] + 0.01


def test_dark_beams_are_told_from_shaded_ones() -> None:
    windows = np.array([[25.0, 6.0, 0, 0], [0.0, 10.0, 0, 0]])
    share, area = shares_of(windows, np.array([[0.9, 0.0], [0.0, 0.0]]), OpenEnd((0.0, 0.0, 500.0), 1.0))
    assert math.isnan(share[0])
    assert area[0] == 0.0
    assert 0.0 <= share[1] < 0.2
