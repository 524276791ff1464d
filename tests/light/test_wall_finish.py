"""Finishes: energy, reciprocity, samplers against the densities they should have."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats
from scipy.integrate import quad

from shadewright.errors import LightError
from shadewright.light.finish import WIDEST, ABg, Finish, Harvey, Lobe, prepared, tis
from shadewright.light.finishes import FINISHES, finish_named
from shadewright.light.scatter import bsdf, sample_many

Array = NDArray[np.float64]

LOBES: list[Lobe] = [ABg(0.0025, 0.001, 1.8), ABg(0.02, 0.01, 2.0), ABg(0.001, 0.01, 3.0), Harvey(1.0, 0.01, -1.5), Harvey(3.0, 0.05, -2.5)]
FINISH = Finish("mixed", 0.3, lobe=Harvey(3.0, 0.05, -2.5), index=1.5, gloss=0.9, roughness=0.05)


def drawn(finish: Finish, theta: float, count: int, seed: int) -> Array:
    """Samples (count, 5) for light at theta degrees: local direction, weight, part."""
    made = prepared(finish)
    out = np.empty((count, 5))
    t = math.radians(theta)
    sample_many(math.sin(t), 0.0, math.cos(t), np.random.default_rng(seed).random((count, 3)), made.values, made.rings, out)
    return out


def chi_square(values: Array, *, bins: int = 40) -> float:
    """Chance of a scatter at least as large in `bins` of values that should lie evenly in 0 to 1."""
    counts = np.histogram(values, bins=bins, range=(0.0, 1.0))[0]
    return float(stats.chisquare(counts).pvalue)


@pytest.mark.parametrize("lobe", LOBES)
def test_closed_form_integrals_against_quadrature(lobe: Lobe) -> None:
    for radius in (0.01, 0.3, 1.0, WIDEST):
        edges = np.concatenate([[0.0], np.geomspace(1e-6, radius, 30)])
        summed = sum(
            quad(lambda x: 2 * math.pi * x * float(lobe.bsdf(x)), a, b, epsrel=1e-11)[0]
            for a, b in pairwise(edges)
        )
        assert lobe.within(radius) == pytest.approx(summed, rel=1e-9)


def test_lambertian_sampler() -> None:
    """sin² θ and azimuth are even for a cosine law; the weight is the albedo."""
    out = drawn(Finish("plain", 0.4), 35.0, 100_000, 1)
    assert np.all(out[:, 3] == pytest.approx(0.4, abs=1e-15))
    assert chi_square(1.0 - out[:, 2] ** 2) > 1e-3
    assert chi_square(np.arctan2(out[:, 1], out[:, 0]) / (2 * math.pi) + 0.5) > 1e-3


@pytest.mark.parametrize("lobe", LOBES)
def test_lobe_sampler(lobe: Lobe) -> None:
    """At normal incidence |β|, weighted, follows the closed-form integral; azimuths are even; weights stay near the mean."""
    out = drawn(Finish("lobe", 0.0, lobe=lobe), 0.0, 200_000, 2)
    radius, weight = np.hypot(out[:, 0], out[:, 1]), out[:, 3]
    edges = np.array([0.0, *np.geomspace(0.002, 1.0, 25)])
    landed = weight > 0
    expected = np.diff([lobe.within(e) for e in edges])
    z = []
    for low, high, wanted in zip(edges[:-1], edges[1:], expected, strict=True):
        each = np.where(landed & (radius >= low) & (radius < high), weight, 0.0)
        spread = each.std(ddof=1) / math.sqrt(len(each))
        if wanted > 1e-4 * tis(lobe):
            z.append((each.mean() - wanted) / spread)
    assert np.abs(z).max() < 4.5
    assert stats.chi2.sf(np.sum(np.square(z)), len(z)) > 1e-3
    assert chi_square(np.arctan2(out[landed, 1], out[landed, 0]) / (2 * math.pi) + 0.5) > 1e-3
    assert weight.max() < 3.0 * lobe.within(WIDEST)


def test_lobe_sampler_off_axis_is_centred_on_the_mirror_direction() -> None:
    lobe = Harvey(3.0, 0.05, -2.5)
    out = drawn(Finish("lobe", 0.0, lobe=lobe), 40.0, 200_000, 3)
    keep = out[:, 3] > 0
    away = np.hypot(out[keep, 0] + math.sin(math.radians(40.0)), out[keep, 1])
    share = np.array([lobe.within(r) for r in np.minimum(away, 0.3)]) / lobe.within(0.3)
    assert chi_square(share[away < 0.3]) > 1e-3


@pytest.mark.parametrize("theta", [0.0, 30.0, 60.0, 85.0])
def test_mirror_part_is_chosen_in_proportion(theta: float) -> None:
    out = drawn(FINISH, theta, 100_000, 4)
    mirror = float(FINISH.mirror_share(math.cos(math.radians(theta))))
    made = prepared(FINISH)
    chance = mirror / (mirror + (1 - mirror) * (made.values[0] + made.values[1]))
    picked = out[:, 4] == 2
    assert stats.binomtest(int(picked.sum()), len(picked), chance).pvalue > 1e-3
    assert np.allclose(out[picked, 0], -math.sin(math.radians(theta)))
    assert np.allclose(out[picked, 2], math.cos(math.radians(theta)))


@pytest.mark.parametrize("theta", [0.0, 20.0, 45.0, 70.0, 85.0])
@pytest.mark.parametrize("finish", [FINISH, *FINISHES], ids=lambda f: f.name)
def test_mean_weight_is_the_tabulated_reflectance(finish: Finish, theta: float) -> None:
    """The sampler and the table are separate sums of the same function; the table's own error is below 1e-3 of it."""
    weight = drawn(finish, theta, 100_000, 5)[:, 3]
    spread = weight.std(ddof=1) / math.sqrt(len(weight))
    assert abs(weight.mean() - finish.reflectance(theta)) < 4.5 * spread + 1e-3 * finish.reflectance(theta)


FINISHES_DRAWN = st.builds(
    Finish, st.just("drawn"), st.floats(0, 1),
    lobe=st.one_of(
        st.none(), st.builds(ABg, st.floats(0, 5), st.floats(1e-4, 1), st.floats(0.2, 4)),
        st.builds(Harvey, st.floats(0, 100), st.floats(0.005, 0.5), st.floats(-4, -0.2)),
    ),
    index=st.one_of(st.none(), st.floats(1.0, 4.0)), gloss=st.floats(0, 1), roughness=st.floats(0, 2),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(FINISHES_DRAWN)
def test_never_sends_back_more_than_it_gets(finish: Finish) -> None:
    assert np.all(prepared(finish).reflectance <= 1.0)
    assert np.all(prepared(finish).reflectance >= 0.0)


@settings(max_examples=60, deadline=None)
@given(FINISHES_DRAWN, st.floats(0, 89), st.floats(0, 89), st.floats(0, 360))
def test_both_ways_alike(finish: Finish, one: float, other: float, turn: float) -> None:
    """Helmholtz reciprocity: swapping the two directions changes nothing."""
    a, b, p = math.radians(one), math.radians(other), math.radians(turn)
    i = (math.sin(a), 0.0, math.cos(a))
    o = (math.sin(b) * math.cos(p), math.sin(b) * math.sin(p), math.cos(b))
    values = prepared(finish).values
    assert bsdf(*i, *o, values) == pytest.approx(bsdf(*o, *i, values), rel=1e-9, abs=1e-15)


def test_too_bright_a_finish_is_scaled_down() -> None:
    bright = Finish("bright", 0.9, lobe=Harvey(20.0, 0.1, -2.5))
    assert bright.scale > 1.0
    assert bright.reflectance(0.0) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("finish", FINISHES, ids=lambda f: f.name)
def test_named_finishes_lie_in_their_range(finish: Finish) -> None:
    """Near-normal hemispherical reflectance within the range given; each says where its numbers come from."""
    assert finish.low is not None
    assert finish.high is not None
    assert finish.low <= finish.reflectance(8.0) <= finish.high
    assert finish.source


def test_names_are_found_and_others_refused() -> None:
    assert finish_named("black velvet").albedo < finish_named("flocked paper").albedo
    with pytest.raises(LightError, match=r"\"green\": is not in the table; choose one of: gloss black plastic"):
        finish_named("green")


@pytest.mark.parametrize(
    ("field", "make"),
    [
        ("albedo", lambda v: Finish("x", v)), ("gloss", lambda v: Finish("x", 0.1, gloss=v)),
        ("index", lambda v: Finish("x", 0.1, index=v)), ("roughness", lambda v: Finish("x", 0.1, roughness=v)),
        ("lobe.a", lambda v: ABg(v, 0.1, 2.0)), ("lobe.b", lambda v: ABg(0.1, v, 2.0)), ("lobe.l", lambda v: Harvey(0.1, v, -2.0)),
    ],
)  # fmt: skip
@pytest.mark.parametrize("value", [math.nan, math.inf, -0.5, 1e12])
def test_bad_numbers_are_refused(field: str, make: object, value: float) -> None:
    with pytest.raises(LightError, match=f"finish: {field} is .* but must be from"):
        make(value)  # type: ignore[operator]
