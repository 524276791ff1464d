"""Overlaps of circles that are tabulated elsewhere, asked of the forward model of a tube's shadow."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shadewright.measure.forward import OpenEnd, shares_of


def share(r: float, big: float, d: float) -> float:
    """Share of a disc of radius r, one length behind the front rim, that an end of radius big one length ahead leaves at distance d."""
    found, _ = shares_of(np.array([[1.0, r, 0, 0]]), np.array([[d / 2.0, 0.0]]), OpenEnd((0.0, 0.0, 1.0), big), chords=4096)
    return float(found[0])


def test_half_overlap_of_equal_circles() -> None:
    # OEIS A133741 (from memory): unit circles whose overlap is half of either are 0.8079455065990344... apart.
    assert share(1.0, 1.0, 0.8079455065990344) == pytest.approx(0.5, abs=2e-7)


def test_vesica() -> None:
    # E. W. Weisstein, "Lens", MathWorld (from memory): circles through each other's centres share 2 pi / 3 - sqrt(3) / 2.
    assert share(1.0, 1.0, 1.0) * math.pi == pytest.approx(2 * math.pi / 3 - math.sqrt(3) / 2, abs=5e-7)
