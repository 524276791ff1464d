"""Closed forms and published configuration factors against the fast method's disc factor and the tracer's counts."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from shadewright.light.finish import Finish
from shadewright.light.importance import disc_factor
from shadewright.light.scene import bare_scene
from shadewright.light.wall_light import Method, Sky, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall

Array = NDArray[np.float64]
RAYS = 256_000


@lru_cache
def nodes() -> tuple[Array, Array]:
    """Gauss nodes and weights on 0 to 1."""
    x, w = np.polynomial.legendre.leggauss(200)
    return 0.5 * (x + 1), 0.5 * w


def cone_to_floor(near: float, far: float, height: float, disc: float) -> float:
    """Factor from the inside of a cone (radii near at z = 0, far at z = height) to a disc in its floor, by summing rings."""
    u, w = nodes()
    # Nodes gather at the floor, where the factor changes fastest.
    z, weight = height * u * u, w * 2 * u
    taper = (far - near) / height
    slant = math.hypot(1.0, taper)
    r = near + taper * z
    ring = np.array([disc_factor(a, 0.0, b, -1 / slant, 0.0, taper / slant, disc) for a, b in zip(r, z, strict=True)])
    return float(np.sum(weight * r * ring) / np.sum(weight * r))


def test_ring_of_the_wall_to_the_end() -> None:
    """(z² + 1/2) / sqrt(z² + 1) - z with z = x / 2r (Howell B-93, as cited by the help of EES, FDiff_7)."""
    for x in (0.05, 0.3, 1.0, 2.0, 7.0):
        z = x / 2
        wanted = (z * z + 0.5) / math.sqrt(z * z + 1) - z
        assert disc_factor(0.6, 0.8, x, -0.6, -0.8, 0.0, 1.0) == pytest.approx(wanted, abs=1e-13)


def test_element_that_faces_the_disc() -> None:
    """On the axis r² / (r² + h²); off it [1 - (h² + l² - r²) / sqrt((h² + l² + r²)² - 4 r² l²)] / 2 (Howell B-13)."""
    assert disc_factor(0.0, 0.0, 2.0, 0.0, 0.0, -1.0, 1.0) == pytest.approx(1 / 5, abs=1e-14)
    l, h = 1.7, 0.8
    wanted = 0.5 * (1 - (h * h + l * l - 1) / math.sqrt((h * h + l * l + 1) ** 2 - 4 * l * l))
    assert disc_factor(0.0, l, h, 0.0, 0.0, -1.0, 1.0) == pytest.approx(wanted, abs=1e-14)


def test_leaning_element_against_its_own_sum() -> None:
    """An element that leans, on a point of the disc after another: the definition of the factor, cos cos / π d²."""
    count = 500
    x, w = np.polynomial.legendre.leggauss(count)
    r, wr = 0.5 * (x + 1), 0.5 * w
    turn = (np.arange(count) + 0.5) * 2 * math.pi / count
    disc = np.stack([np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn)), np.zeros((count, count))], axis=-1)
    place, normal = np.array([1.2, 0.4, 0.9]), np.array([-0.7, -0.1, 0.15])
    normal /= np.linalg.norm(normal)
    to = disc - place
    d2 = np.sum(to**2, axis=-1)
    facing = to @ normal
    assert facing.min() > 0
    kernel = facing * place[2] / (math.pi * d2 * d2)
    wanted = float(np.sum(kernel * (r * wr)[:, None]) * 2 * math.pi / count)
    assert disc_factor(*place, *normal, 1.0) == pytest.approx(wanted, rel=1e-9)


# L/R: from the wall of a tube to one of its ends, and to itself, eight digits. Closed forms: 1 - F = (1 - F_ends) R / L;
# 1 - (sqrt(4 r² + 1) - 1) / 2r with r = R / L (formula in the view factors of the PyPI package machball).
WALL = {
    0.5: (0.39038820, 0.21922359), 1.0: (0.30901699, 0.38196601), 1.5: (0.25, 0.5), 2.0: (0.20710678, 0.58578644),
    4.0: (0.11803399, 0.76393202), 5.0: (0.09629120, 0.80741760), 10.0: (0.04950976, 0.90098049),
}  # fmt: skip


@pytest.mark.parametrize("length", WALL)
def test_wall_of_a_tube(length: float) -> None:
    to_end, to_itself = WALL[length]
    found = cone_to_floor(1.0, 1.0, length, 1.0)
    assert found == pytest.approx(to_end, abs=2e-8)
    assert 1 - 2 * found == pytest.approx(to_itself, abs=4e-8)
    r = 1 / length
    assert to_itself == pytest.approx(1 - 0.5 * (math.sqrt(4 * r * r + 1) - 1) / r, abs=1e-8)


# Radii, height: from the wall to the small end and to the large one, six digits, by algebra on the disc formula.
FRUSTA = [(1.0, 2.0, 2.0, 0.079176, 0.526390), (30.0, 40.0, 40.0, 0.177424, 0.419960)]


@pytest.mark.parametrize(("small", "large", "height", "to_small", "to_large"), FRUSTA)
def test_wall_of_a_cone(small: float, large: float, height: float, to_small: float, to_large: float) -> None:
    assert cone_to_floor(small, large, height, small) == pytest.approx(to_small, abs=1e-6)
    assert cone_to_floor(large, small, height, large) == pytest.approx(to_large, abs=1e-6)


def test_published_figures() -> None:
    """Wall to base, r = 1, h = 0.5: 0.390 (EES help, FDiff_12, Howell B-53); base to wall, r = 1, h = 2: 0.8284 (F3D_17)."""
    assert cone_to_floor(1.0, 1.0, 0.5, 1.0) == pytest.approx(0.390, abs=5e-4)
    assert cone_to_floor(1.0, 1.0, 2.0, 1.0) * 2 * 2.0 == pytest.approx(0.8284, abs=5e-5)


# Glass radius, tube radius, height and the factor to the rim.
DISCS = [
    (1.0, 1.0, 3.0, 0.0916731),  # MATLAB File Exchange 59234, the example of its documentation: (11 - sqrt 117) / 2
    (0.1, 0.2, 0.5, 0.1339313),  # EES help, F3D_3 (Siegel & Howell, 4th ed., p. 845): 0.1339
    (1.0, 1.0, 1.0, 0.3819660),  # (3 - sqrt 5) / 2
    (1.0, 1.0, 1.5, 0.25),
    (1.0, 1.0, 2.0, 0.1715729),  # 3 - 2 sqrt 2
]


@pytest.mark.parametrize(("glass", "tube", "height", "wanted"), DISCS)
def test_black_tubes_by_tracing(glass: float, tube: float, height: float, wanted: float) -> None:
    """With a black wall what escapes is the factor between the two discs, within 4 binomial deviations."""
    scene = bare_scene(glass * 100, RoundHood(RoundWall((0.0,), (tube * 100,)), Rim.plain(height * 100)))
    found = wall_light(scene, Finish("black", 0.0), sky=Sky(2, 2), method=Method.REFERENCE, samples=RAYS, seed=3).balance
    assert found is not None
    assert abs(found.escaped[0] - wanted) < 4 * math.sqrt(wanted * (1 - wanted) / RAYS)
    assert found.returned[0] == 0.0
    assert found.absorbed[0] == pytest.approx(1 - found.escaped[0], abs=1e-12)
