"""The tables of traced beams against rays of an independent tracer: nothing that passes lies outside, little inside is lost."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from prescription_cases import HEIGHTS, NAMES, SETTINGS, Other, focused, state, state_of
from shadewright.optics.footprints import GUARD, HALFWAY, NORMALS, Footprints, footprints, normals
from shadewright.optics.traced import TracedState

Array = NDArray[np.float64]
TANGENTS = np.stack([np.cos(normals()), np.sin(normals())], axis=1)
NEAR = [
    ("wide-22", 250.0), ("wide-22", 1200.0), ("double-gauss-50", 400.0), ("telephoto-250", 2000.0), ("aspheric-31", 400.0),
    ("four-elements-100", 1200.0), ("petzval-50", 600.0), ("fisheye-10", 250.0),
]  # fmt: skip


def others_of(of: TracedState) -> list[Other]:
    """The setting at each wavelength; field slopes are measured at the main one's pupil."""
    found = [Other(system) for system in of.systems]
    for other in found:
        other.pupil = found[0].pupil
    return found


def slopes_of(table: Footprints, n: int, rng: np.random.Generator) -> Array:
    """Slopes of rows, half-way between rows, and anywhere; a table whose light ends is used up to its last row."""
    between = 0.5 * (table.slope[1:] + table.slope[:-1])
    anywhere = rng.uniform(0.0, table.slope[-1], n - 2 * (n // 4))
    return np.concatenate([rng.choice(table.slope, n // 4), rng.choice(between, n // 4), anywhere])


def near_the_boundary(table: Footprints, tau: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Points (n, 2) within 0.12 mm or so of the polygons of slopes (n,), and how far outside they lie (n,), mm."""
    support = table.planes(tau)
    middle = np.interp(tau, table.slope, table.centre)
    angle = rng.uniform(0.0, 2 * math.pi, len(tau))
    outward = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    cosine = outward @ TANGENTS.T
    room = support - middle[:, None] * TANGENTS[:, 0]
    reach = np.min(np.where(cosine > 1e-6, room / np.where(cosine > 1e-6, cosine, 1.0), np.inf), axis=1)
    r = np.maximum(reach + rng.uniform(-0.12, 0.08, len(tau)), 0.0)
    q = np.stack([middle, np.zeros_like(middle)], axis=1) + r[:, None] * outward
    return q, np.max(q @ TANGENTS.T - support, axis=1)


def flat(tau: Array) -> Array:
    return np.stack([tau, np.zeros_like(tau)], axis=1)


def compare(of: TracedState, height: float, *, n: int = 9000) -> None:
    rng = np.random.default_rng(17)
    table = of.footprints(height)
    assert table.support.shape == (len(table.slope), NORMALS)
    tau = slopes_of(table, n, rng)
    q, outside = near_the_boundary(table, tau, rng)
    passed = np.stack([other.passes(q, of.plane, flat(tau)) for other in others_of(of)])
    some = passed.any(axis=0)
    assert 0.2 < some.mean() < 0.8
    for line, rays in enumerate(passed):
        leaks = rays & (outside > GUARD)
        assert not leaks.any(), f"wavelength {line}: {leaks.sum()} rays outside the table and its guard pass, {outside[leaks].max():.4f} mm out"
    lost = ~some & (outside < -0.03 - table.hollow)
    assert not lost.any(), f"{lost.sum()} rays inside the table do not pass, by {-outside[lost].min():.3f} mm"


@pytest.mark.parametrize(("name", "k"), SETTINGS, ids=NAMES)
def test_the_table_holds_every_ray_that_passes_and_little_else(name: str, k: int) -> None:
    compare(state(name, k), HEIGHTS[name])


@pytest.mark.parametrize(("name", "distance"), NEAR)
def test_the_table_of_a_near_subject(name: str, distance: float) -> None:
    compare(state_of(focused(name, distance), HEIGHTS[name]), 0.92 * HEIGHTS[name])


@pytest.mark.parametrize(("name", "k"), SETTINGS, ids=NAMES)
def test_areas_are_those_that_rays_fill(name: str, k: int) -> None:
    """At five slopes the area of the beam at the main wavelength, within four standard deviations of a count of rays."""
    of = state(name, k)
    other = Other(of.main)
    table = footprints(of.main, height=HEIGHTS[name])
    rng = np.random.default_rng(29)
    n = 40_000
    for row in np.linspace(0, len(table.slope) - 1, 5).astype(int):
        tau = float(table.slope[row])
        h = table.support[row]
        low = np.array([-h[NORMALS // 2], -h[3 * NORMALS // 4]]) - 0.05
        high = np.array([h[0], h[NORMALS // 4]]) + 0.05
        q = rng.uniform(low, high, (n, 2))
        share = float(other.passes(q, of.plane, np.tile([tau, 0.0], (n, 1))).mean())
        box = float(np.prod(high - low))
        spread = box * math.sqrt(share * (1.0 - share) / n)
        # The area is that of 256 boundary points joined by chords: short of a curve by less than 2e-4.
        assert abs(share * box - table.area[row]) < 4.0 * spread + 2e-4 * table.area[row], tau


@pytest.mark.parametrize(
    ("name", "heights"),
    [("fisheye-10", (16.79, 20.0)), ("wide-17-100-degrees", (16.0, 19.0)), ("double-gauss-50", (30.0, 33.0))],
)
def test_no_light_passes_beyond_the_last_row(name: str, heights: tuple[float, ...]) -> None:
    """Where the table says that the light ends, a search of the front plane at steeper slopes finds none that passes."""
    of = state(name)
    other = Other(of.main)
    rng = np.random.default_rng(3)
    for height in heights:
        table = of.footprints(height)
        assert not table.complete
        for beyond in (0.1, 0.5, 1.5, 4.0):
            angle = math.atan(float(table.slope[-1])) + math.radians(beyond)
            if angle > math.radians(89.0):
                continue
            tau = math.tan(angle)
            reach = of.front_radius + 1.5 * abs(of.plane) * tau
            r, turn = reach * np.sqrt(rng.random(60_000)), rng.uniform(0.0, 2 * math.pi, 60_000)
            q = np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1)
            passed = other.passes(q, of.plane, np.tile([tau, 0.0], (len(q), 1)))
            assert not passed.any(), f"to {height:.1f} mm: {passed.sum()} rays pass {beyond} degrees beyond the last slope"


def test_further_wavelengths_only_widen() -> None:
    of = state("petzval-50")
    assert len(of.systems) == 3
    alone, joined = footprints(of.main, height=6.0), of.footprints(6.0)
    widening = joined.planes(alone.slope) - alone.support
    assert widening.min() > -HALFWAY
    assert widening.max() > 0.01


def test_a_scaled_and_grown_table_is_scaled_about_its_middles_and_then_grown() -> None:
    table = state("wide-22").footprints(17.0)
    altered = table.altered(scale=0.5, growth=0.3)
    middle = table.centre[:, None] * TANGENTS[:, 0]
    np.testing.assert_allclose(altered.planes(table.slope), middle + 0.5 * (table.support - middle) + 0.3, atol=1e-12)
    assert table.altered() is table


@pytest.mark.parametrize("name", ["wide-22", "wide-17-100-degrees", "zoom-72-194"])
def test_the_image_heights_are_those_of_chief_rays(name: str) -> None:
    of = state(name)
    other, table = Other(of.main), of.footprints(HEIGHTS[name])
    for row in (1, len(table.slope) // 2, len(table.slope) - 1):
        assert table.height[row] == pytest.approx(other.image_height(float(table.slope[row])), abs=2e-6)
