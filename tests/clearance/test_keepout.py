"""The keep-out against an independent reference that samples and searches, and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from lenses import beam_of, reference
from shadewright.clearance.keepout import keep_out, pupil_only_rim
from shadewright.clearance.occlusion import triangles_of
from shadewright.model.hood import Margin
from shadewright.model.shape import MeshHood, RoundWall, TunnelWall
from shadewright.optics.beam import Beam

TUBE = RoundWall((0.0,), (45.0,))
CONE = RoundWall((0.0, 40.0), (44.0, 56.0))


def random_beam(seed: int) -> tuple[Beam, RoundWall]:
    """A lens as lenses are, or stranger: up to four windows, decentred or not, near or far, shifted or not."""
    rng = np.random.default_rng(seed)
    windows = [(rng.uniform(5, 60), rng.uniform(2, 20), 0.0, 0.0), (0.0, rng.uniform(20, 34), 0.0, 0.0)]
    for _ in range(rng.integers(0, 3)):
        windows.append((float(rng.choice([-1.0, 1.0]) * rng.uniform(40, 250)), rng.uniform(18, 60), 0.0, 0.0))
    if rng.random() < 0.4:
        windows = [(e, r, *rng.uniform(-2, 2, 2)) for e, r, _, _ in windows]
    beam = beam_of(
        windows, rng.uniform(0.1, 0.9), rng.uniform(0.1, 0.7), reach=rng.uniform(-4, 12),
        distance=math.inf if rng.random() < 0.6 else rng.uniform(300, 3000),
        offset=tuple(rng.uniform(-0.15, 0.15, 2)) if rng.random() < 0.3 else (0.0, 0.0),
    )  # fmt: skip
    wall = RoundWall((0.0,), (rng.uniform(38, 55),)) if rng.random() < 0.6 else CONE
    return beam, wall


@pytest.mark.parametrize("seed", range(40))
def test_entry_agrees_with_the_reference(seed: int) -> None:
    beam, wall = random_beam(seed)
    azimuth = np.random.default_rng(seed + 1000).uniform(0, 360, 5)
    found = keep_out([beam]).rim(wall, azimuth, cap=beam.reach + 150.0)
    profile = np.column_stack([[0.0, 400.0], wall.radius_at(np.array([1e-9, 400.0]))])
    low = max(0.0, beam.reach)
    expected = oracle.keepout_entry(
        reference(beam), profile, np.radians(azimuth), z_low=low, z_high=beam.reach + 150.0, scan=60
    )
    expected = np.minimum(expected, beam.reach + 150.0)
    np.testing.assert_allclose(found.value, expected, atol=0.01)


@pytest.mark.parametrize("seed", range(8))
def test_no_sampled_ray_hits_a_deepest_rim_and_one_does_when_it_is_deepened(seed: int) -> None:
    beam, wall = random_beam(seed)
    azimuth = np.arange(0.0, 360.0, 0.25)
    cap = beam.reach + 60.0
    entry = keep_out([beam]).rim(wall, azimuth, cap=cap).value
    assert np.all(entry > max(0.0, beam.reach)), "this wall stands in the beam from its start"
    profile = np.column_stack([[0.0, 400.0], wall.radius_at(np.array([1e-9, 400.0]))])

    # Between grid places the least of the two neighbours is below the rim, apart from a sharp valley's bottom.
    def rim(angle: np.ndarray) -> np.ndarray:
        place = (np.degrees(angle) % 360.0) / 0.25
        low = np.floor(place).astype(int) % len(entry)
        return np.minimum(entry[low], entry[(low + 1) % len(entry)])

    rays = oracle.sample_rays(reference(beam), 60_000, np.random.default_rng(seed))
    assert not np.any(oracle.ray_blocked(rays, profile, rim, beam.reach, slack=0.12))
    # Deepened by 0.2 mm at any one place below the cap, a point of it is in the beam.
    lowered = np.nonzero(entry < cap - 1e-9)[0][::90]
    for place in lowered:
        z = entry[place] + 0.2
        radius = float(wall.radius_at(z))
        angle = math.radians(azimuth[place])
        point = radius * np.array([[math.cos(angle), math.sin(angle)]])
        assert oracle.beam_excess(reference(beam), point, np.array([z - beam.reach]))[0] <= oracle.IN_BEAM_SLACK


@pytest.mark.parametrize("pupil", [0.0, 3.0, 9.0, 30.0])
def test_single_window_closed_form(pupil: float) -> None:
    azimuth = np.arange(0.0, 360.0, 0.5)
    beam = beam_of([(33.0, max(pupil, 1e-12), 0.0, 0.0)], 0.75, 0.5)
    found = keep_out([beam]).rim(TUBE, azimuth, cap=1e4).value
    ours = pupil_only_rim(
        45.0, azimuth, half_width=np.array([0.75]), half_height=np.array([0.5]), pupil=np.array([pupil]),
        depth=np.array([33.0]),
    )[0]  # fmt: skip
    theirs = oracle.pupil_rim(45.0, np.radians(azimuth), 0.75, 0.5, 33.0, pupil)
    np.testing.assert_allclose(ours, theirs, atol=1e-9)
    np.testing.assert_allclose(found, np.maximum(theirs, 0.0), atol=1e-9)
    if pupil == 0.0:
        np.testing.assert_allclose(ours, oracle.pinhole_rim(45.0, np.radians(azimuth), 0.75, 0.5, 33.0), atol=1e-9)


def test_pinhole_rim_waits_for_both_sides_of_the_frame() -> None:
    """A point comes into view when it is within the width and within the height: the later of the two distances."""
    azimuth = np.array([0.0, 90.0])
    rim = keep_out([beam_of([(30.0, 1e-12, 0.0, 0.0)], 0.75, 0.5)]).rim(TUBE, azimuth, cap=1e3).value
    np.testing.assert_allclose(rim, [45.0 / 0.75 - 30.0, 45.0 / 0.5 - 30.0], atol=1e-9)


@pytest.mark.parametrize("seed", [3, 11, 12])
def test_tunnel_lips_agree_with_the_reference(seed: int) -> None:
    beam, _ = random_beam(seed)
    wall = TunnelWall(52.0, 46.0)
    lips, _found = keep_out([beam]).tunnel(wall, cap=200.0)
    across = np.linspace(-1, 1, 61)
    for name, axis, sign in (("right", 0, 1), ("top", 1, 1), ("left", 0, -1), ("bottom", 1, -1)):
        half, other = (52.0, 46.0) if axis == 0 else (46.0, 52.0)
        points = np.empty((61, 2))
        points[:, axis], points[:, 1 - axis] = sign * half, across * other
        z = oracle.keepout_entry_line(reference(beam), points, z_low=max(0.0, beam.reach), z_high=200.0, scan=60)
        assert getattr(lips, name) == pytest.approx(min(float(z.min()), 200.0), abs=0.02)
        assert getattr(lips, name) <= float(z.min()) + 1e-3


def test_binding_is_told_apart_and_named() -> None:
    short = beam_of([(30.0, 4.0, 0.0, 0.0), (0.0, 33.0, 0.0, 0.0)], 0.75, 0.5, reach=0.0)
    long = beam_of([(60.0, 12.0, 0.0, 0.0), (0.0, 33.0, 0.0, 0.0)], 0.25, 0.17, reach=-30.0)
    keepout = keep_out([short, long])
    entries = keepout.rim(TUBE, np.array([0.0, 33.7, 90.0]), cap=200.0)
    alone = [keep_out([b]).rim(TUBE, np.array([0.0, 33.7, 90.0]), cap=200.0).value for b in (short, long)]
    np.testing.assert_allclose(entries.value, np.minimum(*alone), atol=1e-9)
    np.testing.assert_array_equal(entries.state, np.argmin(alone, axis=0))
    assert "top right corner" in keepout.binding(entries, 1)
    assert "right edge" in keepout.binding(entries, 0)


def test_margins_shorten_the_rim_by_what_they_say() -> None:
    beam = beam_of([(30.0, 4.0, 0.0, 0.0)], 0.75, 0.5)
    azimuth = np.array([0.0, 90.0, 180.0])
    bare = keep_out([beam]).rim(TUBE, azimuth, cap=500.0).value
    axial = keep_out([beam], margin=Margin(radial=0, axial=0.7, rotation=0)).rim(TUBE, azimuth, cap=500.0).value
    np.testing.assert_allclose(bare - axial, 0.7, atol=1e-9)
    radial = keep_out([beam], margin=Margin(radial=0.5, axial=0, rotation=0)).rim(TUBE, azimuth, cap=500.0).value
    np.testing.assert_allclose(bare - radial, [0.5 / 0.75, 0.5 / 0.5, 0.5 / 0.75], atol=1e-9)
    turned = keep_out([beam], margin=Margin(radial=0, axial=0, rotation=5.0))
    fine = np.arange(0.0, 360.0, 0.1)
    rim = keep_out([beam]).rim(TUBE, fine, cap=500.0).value
    expected = min(rim[(np.abs((fine - 37.0 + 180) % 360 - 180) <= 5.0 + 1e-9)])
    assert turned.rim(TUBE, np.array([37.0]), cap=500.0).value[0] == pytest.approx(expected, abs=1e-9)


def test_section_is_where_the_wall_meets_the_keepout() -> None:
    beam = beam_of([(30.0, 4.0, 0.0, 0.0), (0.0, 33.0, 0.0, 0.0), (60.0, 29.0, 0.0, 0.0)], 0.75, 0.5)
    azimuth = np.arange(0.0, 360.0, 7.0)
    keepout = keep_out([beam])
    z = 25.0
    radius = keepout.section(z, azimuth, outermost=300.0).value
    for a, r in zip(azimuth, radius, strict=True):
        entry = keepout.rim(RoundWall((0.0,), (float(r) + 1e-6,)), np.array([a]), cap=100.0).value[0]
        assert entry == pytest.approx(z, abs=1e-3)


def test_mesh_touching_is_certified_both_ways() -> None:
    beam = beam_of([(30.0, 4.0, 0.0, 0.0), (0.0, 33.0, 0.0, 0.0)], 0.75, 0.5)
    keepout = keep_out([beam])
    azimuth = np.arange(0.0, 360.0, 3.0)
    entry = keepout.rim(TUBE, azimuth, cap=100.0).value
    ring = np.stack([45 * np.cos(np.radians(azimuth)), 45 * np.sin(np.radians(azimuth))], axis=1)

    def strip(rim: np.ndarray) -> np.ndarray:
        n = len(azimuth)
        low = np.column_stack([ring, np.zeros(n)])
        high = np.column_stack([ring, rim])
        following = np.roll(np.arange(n), -1)
        faces = np.concatenate(
            [
                np.column_stack([np.arange(n), following, n + np.arange(n)]),
                np.column_stack([following, n + following, n + np.arange(n)]),
            ]
        )
        return triangles_of(MeshHood(np.concatenate([low, high]) * [1.02, 1.02, 1.0], faces))

    assert not keepout.touches(strip(entry - 0.5))[0].any()
    pushed = entry.copy()
    pushed[40] += 6.0
    assert keepout.touches(strip(pushed))[0].any()


def test_results_do_not_depend_on_the_order_of_beams() -> None:
    beams = [random_beam(seed)[0] for seed in (1, 2, 4, 5)]
    azimuth = np.arange(0.0, 360.0, 3.0)
    one = keep_out(beams).rim(TUBE, azimuth, cap=100.0).value
    other = keep_out(beams[::-1]).rim(TUBE, azimuth, cap=100.0).value
    np.testing.assert_allclose(one, other, atol=1e-8)
