"""The lit share, the let-in share and its bounds, against the independent reference and simple truths."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from lenses import beam_of, hood, prime, reference
from lenses import camera as body
from shadewright.clearance.loss import Occluder
from shadewright.design.fit import fit
from shadewright.design.weigh import let_in, weighed_settings
from shadewright.light.share import gain_stops, light_map, mask_let_in
from shadewright.model.hood import RimShape
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

BEAM = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 32.0, 0.0, 0.0)], 0.6, 0.4, reach=2.0)
AZIMUTH = np.arange(0.0, 360.0, 0.5)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))


@pytest.mark.parametrize("direction", [(20.0, 0.0), (45.0, 33.0), (60.0, 90.0), (75.0, 200.0), (85.0, 130.0)])
def test_lit_share_of_the_glass(direction: tuple[float, float]) -> None:
    shape = RoundHood(RoundWall((0.0,), (42.0,)), PETAL)
    theta, psi = np.radians(direction)
    slope = np.tan(theta) * np.array([[math.cos(psi), math.sin(psi)]])
    ours = 1.0 - Occluder(shape).hidden_glass(32.0, 2.0, slope)[0]
    theirs = oracle.lit_share(32.0, 2.0, direction, 42.0, lambda a: PETAL.z_at(np.degrees(a)), n=1000)
    assert ours == pytest.approx(theirs, abs=0.002)


def test_let_in_share_of_petal_and_tunnel() -> None:
    shape = RoundHood(RoundWall((0.0,), (42.0,)), PETAL)
    theirs = oracle.let_in_share(reference(BEAM), 32.0, 42.0, lambda a: PETAL.z_at(np.degrees(a)))
    assert light_map(BEAM, shape).let_in == pytest.approx(theirs, abs=0.004)
    tunnel = TunnelHood(TunnelWall(46.0, 40.0), TunnelRim(40.0, 44.0, 40.0, 44.0))
    theirs = oracle.let_in_share(reference(BEAM), 32.0, oracle.Tunnel(46.0, 40.0, 40.0, 44.0, 40.0, 44.0), 0.0)
    assert light_map(BEAM, tunnel).let_in == pytest.approx(theirs, abs=0.004)


def test_no_hood_lets_everything_in() -> None:
    assert light_map(BEAM, None).let_in == pytest.approx(1.0, abs=1e-12)
    assert gain_stops(0.25, 0.5) == 1.0
    assert gain_stops(0.0, 0.5) == math.inf


def test_a_flat_mask_is_a_disc_seen_past_an_edge() -> None:
    """A round hole in a flat mask: the let-in share over all directions is a configuration factor of discs."""
    hole = 40.0 * np.stack([np.cos(np.radians(AZIMUTH)), np.sin(np.radians(AZIMUTH))], axis=1)
    narrow = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 32.0, 0.0, 0.0)], 1e-4, 1e-4)
    got = mask_let_in(narrow, hole, 50.0, cells=201)
    # J. R. Howell's catalogue, coaxial parallel discs: F = (X - sqrt(X^2 - 4 (r2/r1)^2)) / 2 (number from memory, C-41).
    x = 1 + (1 + (40 / 50) ** 2) / (32 / 50) ** 2
    assert got == pytest.approx(0.5 * (x - math.sqrt(x * x - 4 * (40 / 32) ** 2)), abs=2e-4)


@pytest.mark.parametrize("shape", [RimShape.PLAIN, RimShape.PETAL, RimShape.TUNNEL])
def test_bounds_are_bounds(shape: RimShape) -> None:
    fitting = fit(prime(28.0), body(), hood(shape, largest_length=60.0))
    light = let_in(fitting, fitting.shape, weighed_settings(fitting.job)[0], cells=81)
    assert light.bound_depth <= light.hood + 1e-6
    assert light.bound_wall <= light.hood + 1e-6
    assert 0 < light.efficiency_depth <= 1 + 1e-6


def test_deepest_rim_reaches_its_own_bound() -> None:
    fitting = fit(prime(28.0), body(), hood(RimShape.DEEPEST, largest_length=60.0))
    light = let_in(fitting, fitting.shape, weighed_settings(fitting.job)[0], cells=81)
    assert light.efficiency_wall == pytest.approx(1.0, abs=0.002)
