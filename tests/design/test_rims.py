"""Rims that can be made: below the deepest, as large as the limits allow, and within every limit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shadewright.design import rims
from shadewright.model.hood import Symmetry

FINE = np.arange(7200) / 20.0


def deepest(width: float, height: float, radius: float = 44.0, depth: float = 25.0) -> np.ndarray:
    """The pinhole rim, sharp valleys and all."""
    angle = np.radians(FINE)
    return np.maximum(radius * np.abs(np.cos(angle)) / width, radius * np.abs(np.sin(angle)) / height) - depth


def limits(**changes: object) -> rims.PetalLimits:
    values = {
        "radius": 44.0, "fillet_radius": 5.0, "smallest_lobe_width": 15.0, "largest_length": 60.0,
        "symmetry": Symmetry.FRAME, "stands": False,
    }  # fmt: skip
    return rims.PetalLimits(**{**values, **changes})  # type: ignore[arg-type]


@settings(max_examples=25, deadline=None)
@given(st.floats(0.3, 0.9), st.floats(0.3, 0.9), st.floats(1.0, 12.0), st.floats(5.0, 30.0), st.booleans())
def test_petal_respects_every_limit(width: float, height: float, fillet: float, lobe: float, stands: bool) -> None:
    fine = deepest(width, height)
    wish = limits(fillet_radius=fillet, smallest_lobe_width=lobe, stands=stands)
    rim = rims.petal(rims.safe_nodes(fine), wish)
    z = np.asarray(rim.z)
    assert np.all(rim.z_at(FINE) <= fine + 1e-9), "it stays below the deepest rim, between nodes too"
    assert z.max() <= 60.0 + 1e-9
    step = 2 * math.pi * 44.0 / rims.NODES
    bend = np.roll(z, 1) - 2 * z + np.roll(z, -1)
    # Heights are written to a tenth of a micrometre, which may add that much four times over.
    assert np.max(bend) <= step**2 / fillet + 4e-4, "valleys no sharper than the fillet radius"
    if not stands:
        assert np.min(bend) >= -(step**2) / fillet - 4e-4, "tips no sharper either"
    n = rims.NODES
    i = np.arange(n)
    np.testing.assert_allclose(z, z[(-i) % n], atol=2e-4)
    np.testing.assert_allclose(z, z[(n // 2 - i) % n], atol=2e-4)
    if stands:
        assert rims.standing_height(z) >= z.max() - 0.02


def test_petal_is_maximal_where_nothing_else_binds() -> None:
    """With hardly any limit the petal rim is the ceiling that straight lines between nodes allow."""
    ceiling = rims.safe_nodes(deepest(0.75, 0.5))
    rim = rims.petal(ceiling, limits(fillet_radius=0.0, smallest_lobe_width=0.0, largest_length=500.0))
    np.testing.assert_allclose(rim.z, ceiling, atol=2e-4)


def test_deepest_nodes_lose_less_than_a_fifth_of_a_millimetre_in_the_sharpest_valley() -> None:
    fine = deepest(0.75, 0.5)
    ceiling = rims.safe_nodes(fine, count=rims.DEEPEST_NODES)
    azimuth = np.arange(rims.DEEPEST_NODES) * 360.0 / rims.DEEPEST_NODES
    joined = np.interp(FINE, np.append(azimuth, 360.0), np.append(ceiling, ceiling[0]))
    assert np.all(joined <= fine + 1e-9)
    assert np.max(fine - joined) < 0.2


def test_larger_fillets_cost_area() -> None:
    ceiling = rims.safe_nodes(deepest(0.75, 0.5))
    areas = [sum(rims.petal(ceiling, limits(fillet_radius=r)).z) for r in (1.0, 4.0, 8.0, 16.0)]
    assert areas == sorted(areas, reverse=True)
    assert areas[0] > areas[-1]


@pytest.mark.parametrize("symmetry", list(Symmetry))
def test_symmetries(symmetry: Symmetry) -> None:
    """Under a lopsided ceiling, each symmetry is kept and none asked for uses what the others may not."""
    fine = deepest(0.75, 0.5) + 2.0 * np.cos(np.radians(FINE - 70.0))
    z = np.asarray(rims.petal(rims.safe_nodes(fine), limits(symmetry=symmetry)).z)
    for image in rims.images(symmetry):
        np.testing.assert_allclose(z, z[image], atol=2e-4)
    free = np.asarray(rims.petal(rims.safe_nodes(fine), limits(symmetry=Symmetry.NONE)).z)
    assert free.sum() >= z.sum() - 1e-6


def test_narrow_lobes_are_cut_to_where_they_are_wide_enough() -> None:
    angle = rims.nodes()
    spike = 10.0 + 20.0 * np.maximum(0.0, 1.0 - np.abs((angle - 90.0 + 180) % 360 - 180) / 10.0)
    width = 8.0
    cut = rims.without_narrow_lobes(spike, width, radius=44.0)
    assert np.all(cut <= spike + 1e-12)
    span = math.degrees(width / 44.0)
    # The spike is 20 degrees wide at its foot and narrows evenly, so it is as wide as asked at this height:
    assert cut.max() == pytest.approx(10.0 + 20.0 * (1.0 - span / 20.0), abs=0.6)
    assert cut.max() <= 10.0 + 20.0 * (1.0 - span / 20.0) + 1e-9


def test_standing_needs_support_on_all_sides() -> None:
    z = np.full(rims.NODES, 10.0)
    assert rims.standing_height(z) == 10.0
    one_lobe = z + 5.0 * (np.abs(rims.nodes() - 90.0) < 30.0)
    assert rims.standing_height(one_lobe) == 10.0
    two_lobes = one_lobe + 5.0 * (np.abs(rims.nodes() - 270.0) < 30.0)
    assert rims.standing_height(two_lobes) == 15.0
    narrow = z + 5.0 * ((np.abs(rims.nodes() - 90.0) < 3.0) | (np.abs(rims.nodes() - 270.0) < 3.0))
    assert rims.standing_height(narrow) == 10.0


@settings(max_examples=25, deadline=None)
@given(st.floats(0.3, 0.9), st.floats(0.3, 0.9))
def test_square_cut_is_below_the_deepest_and_above_the_plain(width: float, height: float) -> None:
    fine = deepest(width, height)
    rim = rims.square_cut(fine, largest_length=60.0, symmetry=Symmetry.FRAME, width=10.0, radius=44.0)
    dense = np.sort(np.concatenate([FINE, np.asarray(rim.azimuth)]))
    truth = np.interp(dense, np.append(FINE, 360.0), np.append(fine, fine[0]))
    assert np.all(rim.z_at(dense) <= truth + 1e-6)
    plain = rims.plain(fine, largest_length=60.0)
    assert np.all(np.asarray(rim.z) >= plain.z[0] - 2e-4)
    assert len({round(v, 3) for v in rim.z}) <= 5, "level tops"
    assert sum(rim.z_at(FINE)) > sum(plain.z_at(FINE)) or plain.z[0] == 60.0
    assert np.all(np.diff(rim.azimuth) > 0)


def test_safe_nodes_lie_below_between_nodes_too() -> None:
    fine = deepest(0.61, 0.43)
    ceiling = rims.safe_nodes(fine)
    joined = np.interp(FINE, np.append(rims.nodes(), 360.0), np.append(ceiling, ceiling[0]))
    assert np.all(joined <= fine + 1e-9)
    assert np.max(fine - joined) < 0.5
