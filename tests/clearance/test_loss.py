"""Loss against the independent reference, for every kind of hood."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from lenses import beam_of, reference
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import Occluder, frame_samples, stops, worst_of_beam
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

FAR = beam_of([(30.0, 6.0, 0.0, 0.0), (0.0, 33.0, 0.0, 0.0), (60.0, 32.0, 0.0, 0.0)], 0.7, 0.45, reach=3.0)
NEAR = beam_of(
    [(30.0, 6.0, 0.5, -0.4), (0.0, 33.0, 0.0, 0.0), (60.0, 32.0, 0.0, 0.0)], 0.7, 0.45, reach=3.0, distance=260.0
)
PETAL = Rim.from_arrays(
    np.arange(0.0, 360.0, 0.5), 36.0 + 9.0 * np.cos(np.radians(2 * np.arange(0.0, 360.0, 0.5) - 180.0))
)
SLOPES = [(0.7, 0.45), (0.7, 0.0), (0.0, 0.45), (-0.69, 0.44), (-0.5, -0.45), (0.35, 0.2)]


def oracle_rim(rim: Rim):  # type: ignore[no-untyped-def]
    return lambda angle: rim.z_at(np.degrees(angle))


@pytest.mark.parametrize("beam", [FAR, NEAR], ids=["far", "near"])
@pytest.mark.parametrize(
    "wall", [RoundWall((0.0,), (44.0,)), RoundWall((0.0, 40.0), (42.0, 50.0))], ids=["tube", "cone"]
)
def test_round_hood_loss(beam, wall) -> None:  # type: ignore[no-untyped-def]
    shape = RoundHood(wall, PETAL.moved(-4.0))
    profile = np.column_stack([[0.0, 400.0], wall.radius_at(np.array([1e-9, 400.0]))])
    ours = Occluder(shape).hidden(beam, np.array(SLOPES))
    assert np.any((ours > 0.05) & (ours < 0.95))
    for slope, value in zip(SLOPES, ours, strict=True):
        theirs = oracle.loss_stops(reference(beam), slope, profile, oracle_rim(shape.rim), n=1200)
        assert value == pytest.approx(1.0 - 2.0**-theirs, abs=1e-3), slope


@pytest.mark.parametrize("beam", [FAR, NEAR], ids=["far", "near"])
def test_tunnel_loss(beam) -> None:  # type: ignore[no-untyped-def]
    rim = TunnelRim(right=48.0, top=34.0, left=40.0, bottom=44.0)
    ours = Occluder(TunnelHood(TunnelWall(50.0, 40.0), rim)).hidden(beam, np.array(SLOPES))
    assert np.any((ours > 0.05) & (ours < 0.95))
    wall = oracle.Tunnel(50.0, 40.0, 48.0, 34.0, 40.0, 44.0)
    for slope, value in zip(SLOPES, ours, strict=True):
        theirs = oracle.loss_stops(reference(beam), slope, wall, 0.0, n=1200)
        assert value == pytest.approx(1.0 - 2.0**-theirs, abs=1e-3), slope


def mesh_of(hood: RoundHood) -> MeshHood:
    """The bare wall of a round hood as triangles."""
    azimuth = np.radians(np.asarray(hood.rim.azimuth))
    n = len(azimuth)
    ring = np.column_stack([np.cos(azimuth), np.sin(azimuth)])
    z = np.asarray(hood.rim.z)
    low = np.column_stack([ring * hood.wall.radius_at(np.zeros(n) + 1e-9)[:, None], np.zeros(n)])
    high = np.column_stack([ring * hood.wall.radius_at(z)[:, None], z])
    i, j = np.arange(n), np.roll(np.arange(n), -1)
    faces = np.concatenate([np.column_stack([i, j, n + i]), np.column_stack([j, n + j, n + i])])
    return MeshHood(np.concatenate([low, high]), faces)


@pytest.mark.parametrize("beam", [FAR, NEAR], ids=["far", "near"])
def test_mesh_loss_is_that_of_the_wall_it_is_a_mesh_of(beam) -> None:  # type: ignore[no-untyped-def]
    hood = RoundHood(RoundWall((0.0,), (44.0,)), PETAL.moved(-4.0))
    exact = Occluder(hood).hidden(beam, np.array(SLOPES))
    meshed = Occluder(mesh_of(hood)).hidden(beam, np.array(SLOPES))
    np.testing.assert_allclose(meshed, exact, atol=0.004)


@pytest.mark.parametrize("beam", [FAR, NEAR], ids=["far", "near"])
def test_a_clear_rim_loses_nothing_and_a_deeper_one_loses(beam) -> None:  # type: ignore[no-untyped-def]
    wall = RoundWall((0.0,), (44.0,))
    azimuth = np.arange(0.0, 360.0, 0.1)
    z = keep_out([beam]).rim(wall, azimuth, cap=120.0).value
    clear = worst_of_beam(beam, Occluder(RoundHood(wall, Rim.from_arrays(azimuth, z - 0.02))))
    assert clear.stops == 0.0
    deep = worst_of_beam(beam, Occluder(RoundHood(wall, Rim.from_arrays(azimuth, z + 1.0))))
    assert deep.stops > 1e-3


def test_worst_place_is_no_better_than_a_dense_search() -> None:
    shape = RoundHood(RoundWall((0.0,), (44.0,)), PETAL.moved(-6.0))
    occluder = Occluder(shape)
    worst = worst_of_beam(FAR, occluder)
    dense = FAR.frame.grid(181, 121).reshape(-1, 2)
    values = stops(occluder.hidden(FAR, FAR.frame.slopes(dense)))
    assert worst.stops == pytest.approx(float(np.nanmax(values)), abs=0.01)
    assert len(frame_samples(FAR)) > 50


def test_stops_of_shares() -> None:
    np.testing.assert_allclose(stops(np.array([0.0, 0.5, 0.75])), [0.0, 1.0, 2.0])
    assert math.isnan(stops(np.array([math.nan]))[0])
    assert stops(np.array([1.0]))[0] == 20.0
