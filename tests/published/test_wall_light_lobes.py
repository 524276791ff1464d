"""Published values of total integrated scatter (TIS), and of the counter-based random numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shadewright.light.counter import threefry
from shadewright.light.finish import ABg, Finish, Harvey, fresnel, tis, tis_of_roughness

# A, B, g and the integral over the hemisphere at normal incidence, by quadrature to 1e-8 (π A ln(1 + 1/B) for g = 2).
# The first row's A, B and g = 1.8 are the defaults of the help of the stray-light program FRED, "ABg".
ABG = [
    (0.0025, 0.001, 1.8, 0.0413437), (0.0025, 0.001, 2.0, 0.0542612), (0.001, 0.01, 2.0, 0.0144988),
    (0.05, 1.0, 2.0, 0.1088793), (0.0025, 0.001, 0.5, 0.0104563), (0.001, 0.01, 1.0, 0.00599321),
    (0.001, 0.01, 3.0, 0.0289975),
]  # fmt: skip
# b0, l, s, the integral and half of its last digit: the first is the example of FRED's help, "Harvey-Shack".
HARVEY = [
    (0.1, 0.01, -1.5, 0.00113100, 5e-9), (1.0, 0.01, -1.5, 0.0113100, 5e-8), (0.1, 0.01, -2.0, 0.000289355, 5e-10),
]  # fmt: skip


@pytest.mark.parametrize(("a", "b", "g", "wanted"), ABG)
def test_tis_of_abg(a: float, b: float, g: float, wanted: float) -> None:
    assert tis(ABg(a, b, g)) == pytest.approx(wanted, abs=6e-8)


@pytest.mark.parametrize(("b0", "l", "s", "wanted", "digit"), HARVEY)
def test_tis_of_harvey(b0: float, l: float, s: float, wanted: float, digit: float) -> None:
    assert tis(Harvey(b0, l, s)) == pytest.approx(wanted, abs=digit)


def test_harvey_is_abg_only_for_s_of_minus_two() -> None:
    """B = l², A = b0 l² (FRED's help, "Harvey-Shack")."""
    b0, l = 0.7, 0.03
    offsets = np.linspace(0, 1, 50)
    assert np.allclose(Harvey(b0, l, -2.0).bsdf(offsets), ABg(b0 * l**2, l**2, 2.0).bsdf(offsets), rtol=1e-12)
    assert tis(Harvey(b0, l, -2.0)) == pytest.approx(tis(ABg(b0 * l**2, l**2, 2.0)), rel=1e-12)
    assert tis(Harvey(b0, l, -1.5)) != pytest.approx(tis(ABg(b0 * l**2, l**2, 1.5)), rel=0.01)


def test_tis_of_a_roughness() -> None:
    """5 nm at 0.5 µm on a mirror: 0.015791 (FRED's help, "Harvey-Shack", worked example)."""
    assert tis_of_roughness(5.0, 500.0) == pytest.approx(0.015791, abs=5e-7)
    # A mirror share that a small roughness lowers loses just that.
    rough, smooth = Finish("r", 0.0, index=1.5, roughness=0.01), Finish("s", 0.0, index=1.5)
    lost = 1 - float(rough.mirror_share(1.0)) / float(smooth.mirror_share(1.0))
    assert lost == pytest.approx(tis_of_roughness(0.01, 1.0), rel=0.01)


def test_lambertian() -> None:
    """ρ / π is the value, ρ the whole: any text."""
    assert Finish("l", 0.05).reflectance(40.0) == pytest.approx(0.05, abs=1e-12)


def test_fresnel() -> None:
    """((n - 1) / (n + 1))² at normal incidence, 4 % at n = 1.5; 1 at grazing; half of the senkrecht part at Brewster's angle."""
    assert float(fresnel(1.0, 1.5)) == pytest.approx(0.04, abs=1e-15)
    assert float(fresnel(0.0, 1.5)) == pytest.approx(1.0, abs=1e-12)
    brewster = math.cos(math.atan(1.5))
    across = ((1 - 1.5**2) / (1 + 1.5**2)) ** 2
    assert float(fresnel(brewster, 1.5)) == pytest.approx(across / 2, abs=1e-14)


# Counter, key and result: the known answers of Threefry-2x32 of 20 rounds published with Random123.
ANSWERS = [
    ((0x00000000, 0x00000000), (0x00000000, 0x00000000), (0x6B200159, 0x99BA4EFE)),
    ((0xFFFFFFFF, 0xFFFFFFFF), (0xFFFFFFFF, 0xFFFFFFFF), (0x1CB996FC, 0xBB002BE7)),
    ((0x243F6A88, 0x85A308D3), (0x13198A2E, 0x03707344), (0xC4923A9C, 0x483DF7A0)),
]


@pytest.mark.parametrize(("counter", "key", "wanted"), ANSWERS)
def test_threefry(counter: tuple[int, int], key: tuple[int, int], wanted: tuple[int, int]) -> None:
    found = threefry(*(np.uint32(v) for v in (*counter, *key)))
    assert tuple(int(v) for v in found) == wanted
