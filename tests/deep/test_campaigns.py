"""Long campaigns against the independent reference; run by `make deep`."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from lenses import beam_of, camera, hood, prime, reference
from shadewright.clearance.check import check
from shadewright.clearance.keepout import keep_out
from shadewright.design.fit import fit
from shadewright.errors import FitError
from shadewright.model.hood import Margin, RimShape
from shadewright.model.shape import RoundWall

pytestmark = pytest.mark.deep


@pytest.mark.parametrize("block", range(20))
def test_entries_of_hundreds_of_lenses(block: int) -> None:
    """Up to five windows, decentred or not, near or far, shifted or not, on tubes and cones of either taper."""
    rng = np.random.default_rng(5000 + block)
    for _ in range(20):
        windows = [(rng.uniform(4, 90), rng.uniform(0.5, 28), 0.0, 0.0), (rng.uniform(0, 4), rng.uniform(18, 36), 0.0, 0.0)]
        for _ in range(rng.integers(0, 4)):
            windows.append((float(rng.choice([-1.0, 1.0]) * rng.uniform(20, 300)), rng.uniform(10, 70), 0.0, 0.0))
        if rng.random() < 0.5:
            windows = [(e, r, *rng.uniform(-3, 3, 2)) for e, r, _, _ in windows]
        beam = beam_of(
            windows, rng.uniform(0.03, 1.1), rng.uniform(0.03, 0.9), reach=rng.uniform(-6, 15),
            distance=math.inf if rng.random() < 0.5 else rng.uniform(250, 4000),
            offset=tuple(rng.uniform(-0.2, 0.2, 2)) if rng.random() < 0.4 else (0.0, 0.0),
        )  # fmt: skip
        near, far = rng.uniform(38, 60), rng.uniform(38, 70)
        wall = RoundWall((0.0,), (near,)) if rng.random() < 0.5 else RoundWall((0.0, 60.0), (near, far))
        azimuth = rng.uniform(0, 360, 6)
        low, cap = max(0.0, beam.reach), beam.reach + 120.0
        found = keep_out([beam]).rim(wall, azimuth, cap=cap).value
        profile = np.column_stack([[0.0, 400.0], wall.radius_at(np.array([1e-9, 400.0]))])
        expected = oracle.keepout_entry(reference(beam), profile, np.radians(azimuth), z_low=low, z_high=cap, scan=120)
        # The reference may miss a stretch shorter than its scan, never the other way round.
        assert np.all(found <= np.minimum(expected, cap) + 0.01)
        missed = found < np.minimum(expected, cap) - 0.01
        for a, z in zip(azimuth[missed], found[missed], strict=True):
            radius = float(wall.radius_at(z))
            point = radius * np.array([[math.cos(math.radians(a)), math.sin(math.radians(a))]])
            assert oracle.beam_excess(reference(beam), point, np.array([z - beam.reach]))[0] < 1e-4


@pytest.mark.parametrize("focal_length", [14.0, 18.0, 24.0, 35.0, 50.0, 85.0, 135.0, 200.0, 300.0, 400.0])
@pytest.mark.parametrize("shape", list(RimShape))
def test_fitted_hoods_of_every_shape_are_clear_to_a_million_rays(focal_length: float, shape: RimShape) -> None:
    margin = Margin(radial=0.2, axial=0.2, rotation=1.0)
    try:
        fitting = fit(prime(focal_length, 2.8), camera(), hood(shape, margin=margin, largest_length=120.0))
    except FitError as error:
        pytest.fail(str(error))
    assert not check(fitting.job, fitting.shape).shows
    (beam,) = fitting.job.beams(fitting.settings)
    rays = oracle.sample_rays(reference(beam), 1_000_000, np.random.default_rng(1))
    rim = fitting.shape.rim  # type: ignore[union-attr]
    if shape is RimShape.TUNNEL:
        wall = fitting.shape.wall  # type: ignore[union-attr]
        tunnel = oracle.Tunnel(wall.half_width, wall.half_height, rim.right, rim.top, rim.left, rim.bottom)
        assert not np.any(oracle.ray_blocked(rays, tunnel, 0.0, beam.reach))
    else:
        radius = fitting.shape.wall.radius[0]  # type: ignore[union-attr]
        assert not np.any(oracle.ray_blocked(rays, radius, lambda a: rim.z_at(np.degrees(a)), beam.reach))
