"""Backward tracing against published transmissions of tubes whose walls scatter by Lambert's law.

A front glass as wide as its tube, which launches by the cosine law, is the entrance of such a tube: what escapes is its
transmission, what comes back to the glass the share thrown back.

Sources: P. Clausing, Ann. Phys. 12 (1932) 961, reprinted J. Vac. Sci. Technol. 8 (1971) 636, set the problem for a
reflectance of 1 (his own figures run 1 to 4 % high for long tubes); R. J. Cole, Rarefied Gas Dynamics, Prog. Astro.
Aero. 51 (1977) 261, solved it to six digits (numbers from memory). The eight digits below are a Nyström solution of the
integral equation, which agrees with Cole's to 2e-6 up to L/R = 10 and 2e-5 at 20; so are the values for a reflectance
below 1, which are not in print.

Statistics: a share p of N rays has a variance of at most p (1 - p) / N, the binomial one (the low-discrepancy start only
lowers it). Rays of several seeds are pooled. Each value must lie within 4 such deviations, and the sum of their squares
must be one that chance gives more often than once in a thousand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from shadewright.light.finish import Finish
from shadewright.light.scene import bare_scene
from shadewright.light.wall_light import Balance, Method, Sky, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall

SEEDS = (11, 12)
RAYS = 64_000

CLAUSING = {
    0.1: 0.95239891, 0.2: 0.90921503, 0.5: 0.80127142, 1.0: 0.67198390, 1.5: 0.58148146, 2.0: 0.51423053,
    3.0: 0.42005545, 4.0: 0.35657273, 5.0: 0.31052528, 6.0: 0.27543877, 8.0: 0.22526312, 10.0: 0.19094243,
    20.0: 0.10932071, 50.0: 0.04848,
}  # fmt: skip
COLE = {0.5: 0.801271, 1.0: 0.671984, 2.0: 0.514231, 5.0: 0.310525, 10.0: 0.190941, 20.0: 0.109304}

# (L/R, reflectance): transmitted and thrown back.
GREY = {
    (1.0, 0.02): (0.385465, 0.004210), (1.0, 0.05): (0.390824, 0.010638), (1.0, 0.10): (0.400062, 0.021667),
    (1.0, 0.50): (0.490881, 0.127262), (2.0, 0.02): (0.173979, 0.004706), (2.0, 0.05): (0.177722, 0.011935),
    (2.0, 0.10): (0.184345, 0.024461), (2.0, 0.50): (0.262203, 0.154228), (4.0, 0.02): (0.056473, 0.004791),
    (4.0, 0.05): (0.057656, 0.012164), (4.0, 0.10): (0.059816, 0.024979), (4.0, 0.50): (0.092631, 0.162379),
    (5.0, 0.02): (0.037519, 0.004795), (5.0, 0.05): (0.038205, 0.012174), (5.0, 0.10): (0.039467, 0.025002),
    (5.0, 0.50): (0.060103, 0.162922), (10.0, 0.02): (0.009861, 0.004797), (10.0, 0.05): (0.009951, 0.012180),
    (10.0, 0.10): (0.010116, 0.025015), (10.0, 0.50): (0.012950, 0.163228),
}  # fmt: skip


def balance(wall: RoundWall, height: float, glass: float, reflectance: float, seed: int, rays: int = RAYS) -> Balance:
    """The balance of one run in a plain hood of a height; lengths in units of 20 mm."""
    scale = 20.0
    grown = RoundWall(tuple(z * scale for z in wall.z), tuple(r * scale for r in wall.radius))
    scene = bare_scene(glass * scale, RoundHood(grown, Rim.plain(height * scale)))
    found = wall_light(
        scene, Finish("wall", reflectance), sky=Sky(2, 2), method=Method.REFERENCE, samples=rays, seed=seed
    ).balance
    assert found is not None
    return found


def pooled(wall: RoundWall, height: float, glass: float, reflectance: float, rays: int = RAYS) -> tuple[float, float, float]:
    """Transmitted, thrown back and segments, over all seeds."""
    runs = [balance(wall, height, glass, reflectance, seed, rays) for seed in SEEDS]
    return (
        float(np.mean([run.escaped[0] for run in runs])), float(np.mean([run.returned[0] for run in runs])),
        float(np.mean([run.segments for run in runs])),
    )  # fmt: skip


def deviations(found: float, wanted: float, rays: int = RAYS) -> float:
    """How many standard deviations lie between a share found and the one wanted."""
    return (found - wanted) / math.sqrt(wanted * (1 - wanted) / (rays * len(SEEDS)))


def agrees(z: list[float]) -> None:
    """Neither one value nor all together stray further than chance has them."""
    assert np.abs(z).max() < 4.0
    assert stats.chi2.sf(float(np.sum(np.square(z))), len(z)) > 1e-3


def test_transmission_of_white_tubes() -> None:
    """Reflectance 1, L/R from 0.1 to 50; what does not get through comes back, and nothing else happens."""
    z = []
    for length, wanted in CLAUSING.items():
        through, back, _ = pooled(RoundWall((0.0,), (1.0,)), length, 1.0, 1.0)
        z.append(deviations(through, wanted))
        assert through + back == pytest.approx(1.0, abs=1e-12)
    agrees(z)


def test_the_table_agrees_with_the_older_one() -> None:
    for length, value in COLE.items():
        assert CLAUSING[length] == pytest.approx(value, abs=2e-5)


def test_segments_of_white_tubes() -> None:
    """With reflectance 1 and the glass as wide as the tube a ray has 1 + L/R segments in the mean, exactly.

    In a closed room of volume V and surface S chords average 4 V / S (Cauchy); a ray of a white tube stands for the whole
    of the room's light between its two ends, 2 π R² of S.
    """
    for length in (0.5, 2.0, 5.0):
        runs = [balance(RoundWall((0.0,), (1.0,)), length, 1.0, 1.0, seed) for seed in (21, 22, 23, 24)]
        counts = np.array([run.segments for run in runs])
        # The number of segments has about a geometric law, whose variance is at most its mean squared.
        assert abs(counts.mean() - (1 + length)) < 4 * (1 + length) / math.sqrt(4 * RAYS)


@pytest.mark.parametrize("reflectance", [0.02, 0.05, 0.10, 0.50])
def test_transmission_of_grey_tubes(reflectance: float) -> None:
    """Shares of weighted rays: a weight never passes 1, so the binomial variance is still an upper bound."""
    z = []
    for (length, rho), (through, back) in GREY.items():
        if rho == reflectance:
            found_through, found_back, _ = pooled(RoundWall((0.0,), (1.0,)), length, 1.0, rho)
            z += [deviations(found_through, through), deviations(found_back, back)]
    agrees(z)


@pytest.mark.parametrize("reflectance", [1.0, 0.5])
def test_a_cone_passes_as_much_either_way(reflectance: float) -> None:
    """Reciprocity: area times transmission is the same from the narrow end and from the wide one."""
    narrow, wide, height = 1.0, 1.5, 2.0
    out, _, _ = pooled(RoundWall((0.0, height), (narrow, wide)), height, narrow, reflectance)
    back, _, _ = pooled(RoundWall((0.0, height), (wide, narrow)), height, wide, reflectance)
    spread = math.hypot(narrow**2 * math.sqrt(out * (1 - out)), wide**2 * math.sqrt(back * (1 - back)))
    assert abs(narrow**2 * out - wide**2 * back) < 4 * spread / math.sqrt(RAYS * len(SEEDS))


def test_fast_method_transmits_the_same() -> None:
    """The fast method's mean over the sky, with the direct part, is the transmission: T = 4 times the mean (see `Sky`).

    The sum over 120 x 24 directions is a midpoint rule across the rim's shadow: good to 1e-3 of the transmission here.
    """
    for (length, rho), (through, _) in GREY.items():
        if length <= 5.0:
            scene = bare_scene(20.0, RoundHood(RoundWall((0.0,), (20.0,)), Rim.plain(20.0 * length)))
            found = wall_light(scene, Finish("wall", rho), sky=Sky(120, 24), samples=4096, seed=5)
            spread = 4 * np.mean(found.standard_error)
            scattered = through - GREY_ENDS[length]
            assert 4 * found.mean == pytest.approx(scattered, abs=4 * spread + 2e-3 * scattered)


# Configuration factor between the ends, the transmission at reflectance 0: closed form (see the factors' own checks).
GREY_ENDS = {1.0: 0.38196601, 2.0: 0.17157288, 4.0: 0.05572809, 5.0: 0.03708798, 10.0: 0.00980486}
