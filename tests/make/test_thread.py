"""Metric threads: the basic profile, the rounding to preferred numbers, and the limits' order."""

from __future__ import annotations

import itertools
import math

import pytest

from shadewright.make.thread import (
    R40,
    basic_diameters,
    deviation_g,
    diameter_range,
    external_limits,
    internal_limits,
    is_tabulated,
    made_profile,
    rounded_r40,
    tolerance_major_external,
    tolerance_minor_internal,
    tolerance_pitch_external,
    tolerance_pitch_internal,
)

SIZES = list(itertools.product((10.0, 22.0, 37.0, 49.0, 77.0, 95.0, 127.0, 250.0), (0.25, 0.5, 0.75, 1.0, 1.5, 2.0)))


@pytest.mark.parametrize("pitch", [0.25, 0.5, 0.75, 1.0, 1.5, 2.0])
def test_the_basic_profile_is_an_equilateral_triangle_cut_at_an_eighth_and_a_quarter(pitch: float) -> None:
    # Independent of the module's constant: the flanks meet at 60 degrees, so the full height is (P/2) / tan 30.
    full = pitch / 2.0 / math.tan(math.radians(30.0))
    found = basic_diameters(50.0, pitch)
    assert found.major - found.minor == pytest.approx(2.0 * (full - full / 8.0 - full / 4.0), rel=1e-12)
    # On the pitch line tooth and groove are equally wide: it lies 3/8 of the height below the major diameter.
    assert found.major - found.pitch == pytest.approx(2.0 * full * 3.0 / 8.0, rel=1e-12)


@pytest.mark.parametrize(("diameter", "pitch"), SIZES)
def test_a_bolt_within_its_limits_enters_every_nut_within_its_own(diameter: float, pitch: float) -> None:
    bolt, nut, basic = (
        external_limits(diameter, pitch),
        internal_limits(diameter, pitch),
        basic_diameters(diameter, pitch),
    )
    assert bolt.major_min < bolt.major_max < basic.major
    assert bolt.pitch_min < bolt.pitch_max < basic.pitch <= nut.pitch_min < nut.pitch_max
    assert basic.minor <= nut.minor_min < nut.minor_max
    # Enough of the flanks still overlaps for the thread to hold.
    assert bolt.major_min > nut.minor_max


def test_preferred_numbers_are_the_rounded_fortieth_roots_of_ten() -> None:
    # ISO 3 rounds 10^(n/40) to three figures with a few exceptions of at most 1.3 per cent.
    for place, term in enumerate(R40):
        assert term == pytest.approx(10.0 ** (place / 40.0), rel=0.013)


@pytest.mark.parametrize(
    ("value", "expected"), [(127.2, 125.0), (136.3, 140.0), (1.0, 1.0), (9.9, 10.0), (0.0958, 0.095), (170.9, 170.0)]
)
def test_rounding_to_preferred_numbers(value: float, expected: float) -> None:
    assert rounded_r40(value) == pytest.approx(expected, rel=1e-12)


def test_the_formulae_and_the_tables_agree_to_a_step() -> None:
    # Where a table exists, the formula of ISO 965-1 must come within two steps of R40 of it.
    for pitch in (0.35, 0.5, 0.75, 1.0, 1.5, 2.0):
        formula = 180.0 * pitch ** (2.0 / 3.0) - 3.15 / math.sqrt(pitch)
        assert tolerance_major_external(pitch) * 1000.0 == pytest.approx(formula, rel=0.06)
        assert deviation_g(pitch) * 1000.0 == pytest.approx(-(15.0 + 11.0 * pitch), rel=0.07)
        raw = 433.0 * pitch - 190.0 * pitch**1.22 if pitch < 0.9 else 230.0 * pitch**0.7
        assert tolerance_minor_internal(pitch) * 1000.0 == pytest.approx(raw, rel=0.06)
    for diameter, pitch in SIZES:
        low, high = diameter_range(diameter)
        formula = 90.0 * pitch**0.4 * math.sqrt(low * high) ** 0.1
        assert tolerance_pitch_external(diameter, pitch) * 1000.0 == pytest.approx(formula, rel=0.07)
        assert tolerance_pitch_internal(diameter, pitch) * 1000.0 == pytest.approx(1.32 * formula, rel=0.07)


def test_filter_threads_lie_outside_the_tables() -> None:
    assert not any(is_tabulated(d, 0.75) for d in (49.0, 52.0, 55.0, 58.0, 62.0, 67.0, 72.0, 77.0, 82.0))
    assert is_tabulated(42.0, 0.75)
    assert is_tabulated(62.0, 1.0)


@pytest.mark.parametrize("diameter", [0.5, 0.99, 400.0])
def test_a_diameter_outside_the_standard_is_refused(diameter: float) -> None:
    with pytest.raises(ValueError, match="outside the range"):
        diameter_range(diameter)


def test_the_limits_of_a_range_belong_to_the_range_below() -> None:
    assert diameter_range(45.0) == (22.4, 45.0)
    assert diameter_range(45.001) == (45.0, 90.0)


@pytest.mark.parametrize(("diameter", "pitch"), SIZES)
@pytest.mark.parametrize("compensation", [0.0, 0.1])
def test_the_made_profile_lies_within_its_limits(diameter: float, pitch: float, compensation: float) -> None:
    limits, made = external_limits(diameter, pitch), made_profile(diameter, pitch, compensation=compensation)
    assert limits.major_min < 2.0 * made.crest_radius + compensation < limits.major_max
    assert limits.pitch_min < 2.0 * made.pitch_radius + compensation < limits.pitch_max
    assert 2.0 * made.root_radius < basic_diameters(diameter, pitch).minor
    assert 0.0 < made.half_crest < pitch / 4.0
    assert 0.0 < made.half_root < pitch / 4.0
    # Both flanks are inclined at 30 degrees.
    tooth_rise = made.crest_radius - made.root_radius
    flank = pitch / 2.0 - made.half_crest - made.half_root
    assert math.degrees(math.atan2(flank, tooth_rise)) == pytest.approx(30.0, abs=1e-9)
