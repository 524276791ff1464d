"""Depths read without frames: averages, a line through a ruler's widths, and what is said of poor readings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lenses import camera, prime
from shadewright.errors import MeasureError
from shadewright.measure.parallax import Way, combined, from_pin, from_rail, from_ruler, lens_with_readings, readings_of
from shadewright.model.shots import PinReadings, RailReadings, RulerReadings, RulerView, Shots


def ruler(depth: float, scale: float, distances: tuple[float, ...], noise: np.ndarray | None = None, **more: object) -> RulerReadings:
    noise = np.zeros(len(distances)) if noise is None else noise
    views = tuple(
        RulerView(distance=z, width=float(36.0 / scale * (z + depth) + e)) for z, e in zip(distances, noise, strict=True)
    )
    return RulerReadings(focal_length=24.0, view=views, **more)  # type: ignore[arg-type]


def test_a_ruler_gives_back_depth_and_scale() -> None:
    found = from_ruler(ruler(31.0, 24.6, (150.0, 400.0, 900.0)), camera())
    assert found.way is Way.RULER
    assert found.depth == pytest.approx(31.0, abs=1e-6)
    assert found.image_distance == pytest.approx(24.6, abs=1e-9)


def test_the_ruler_uncertainty_is_right() -> None:
    rng = np.random.default_rng(11)
    depth, scale = [], []
    for _ in range(600):
        found = from_ruler(
            ruler(31.0, 24.6, (150.0, 300.0, 600.0, 1200.0), rng.normal(0, 1.0, 4), width_plus_minus=1.0, distance_plus_minus=0.0), camera()
        )
        depth.append((found.depth - 31.0) / found.error)
        assert found.image_distance is not None
        assert found.image_distance_error is not None
        scale.append((found.image_distance - 24.6) / found.image_distance_error)
    # Standard errors grow where readings disagree, so a little more than 68 % is covered; 600 draws scatter by 2 %.
    assert 0.64 < float(np.mean(np.abs(depth) < 1)) < 0.86
    assert 0.64 < float(np.mean(np.abs(scale) < 1)) < 0.86
    assert abs(float(np.mean(depth))) < 0.15


def test_pin_readings_are_averaged_and_a_slip_left_out() -> None:
    found = from_pin(PinReadings(focal_length=24.0, depths=(25.0, 26.0, 25.5, 26.5, 25.5, 62.0), scale_plus_minus=0.0))
    assert found.depth == pytest.approx(25.7)
    assert "62" in found.notes[0]
    assert found.count == 5
    assert found.error == pytest.approx(np.std([25, 26, 25.5, 26.5, 25.5], ddof=1) / math.sqrt(5) * 1.1416, rel=1e-3)


def test_the_zero_of_the_scale_does_not_average_out() -> None:
    found = from_pin(PinReadings(focal_length=24.0, depths=(25.0,) * 100, scale_plus_minus=0.8))
    assert 0.8 < found.error < 0.82


def test_one_reading_is_not_trusted() -> None:
    found = from_pin(PinReadings(focal_length=24.0, depths=(25.0,)))
    assert found.error >= 2.0
    assert "five times" in found.notes[0]


def test_a_rail_reads_forward_positions() -> None:
    # Front rim over the axis at 40 mm on the rail; the camera goes 28 mm further forward until nothing parts.
    found = from_rail(RailReadings(focal_length=50.0, front_over_axis=40.0, readings=(68.0, 67.0, 69.0)))
    assert found.depth == pytest.approx(28.0)


def test_readings_that_disagree_widen_the_mean() -> None:
    one = from_pin(PinReadings(focal_length=24.0, depths=(20.0, 20.2, 19.8, 20.0, 20.0)))
    two = from_pin(PinReadings(focal_length=24.0, depths=(30.0, 30.2, 29.8, 30.0, 30.0)))
    depth, error = combined([one, two])
    assert depth == pytest.approx(25.0, abs=0.05)
    assert error == pytest.approx(5.0, abs=0.3)


def test_readings_complete_a_lens_document() -> None:
    lens = prime(24.0, pupil_depth=None)
    readings = [from_ruler(ruler(31.0, 24.6, (150.0, 400.0, 900.0)), camera())]
    state = lens_with_readings(lens, readings, confidence=0.95).state[0]
    assert state.pupil_depth == pytest.approx(31.0)
    assert state.pupil_depth_plus_minus == pytest.approx(1.96 * readings[0].error, abs=0.02)
    assert state.image_distance is not None
    assert 24.0 < state.image_distance < 24.6


def test_poor_readings_are_refused_in_words() -> None:
    with pytest.raises(MeasureError, match="too alike"):
        from_ruler(ruler(31.0, 24.0, (900.0, 1000.0)), camera())
    backwards = RulerReadings(focal_length=24.0, view=(RulerView(distance=200.0, width=500.0), RulerView(distance=800.0, width=300.0)))
    with pytest.raises(MeasureError, match="less from farther away"):
        from_ruler(backwards, camera())
    shots = Shots(document="shots", version=1, name="x", ruler=(backwards,))
    with pytest.raises(MeasureError, match="camera"):
        readings_of(shots, None)
    with pytest.raises(MeasureError, match="no reading belongs"):
        lens_with_readings(prime(85.0), [from_pin(PinReadings(focal_length=24.0, depths=(25.0,)))], confidence=0.95)
