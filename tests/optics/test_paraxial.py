"""First-order quantities against closed forms, identities, published figures and a trace of the test's own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from prescription_cases import HEIGHTS, NAMES, SETTINGS, read, state
from shadewright.errors import OpticsError
from shadewright.optics.paraxial import paraxial, stop_for
from shadewright.optics.system import TERMS, System, system_of

EVERY = pytest.mark.parametrize(("name", "k"), SETTINGS, ids=NAMES)


def system(
    rows: list[tuple[float, float, float]], *, stop: int = 0, semi: float = 5.0, focus: float = math.inf
) -> System:
    """Surfaces from rows of radius (0: plane), thickness and index after."""
    n = len(rows)
    return System(
        curvature=np.array([1.0 / r if r else 0.0 for r, _, _ in rows]), conic=np.zeros(n), aspheric=np.zeros((n, TERMS)),
        thickness=np.array([t for _, t, _ in rows]), index=np.array([1.0] + [i for _, _, i in rows]),
        semi=np.full(n, semi), stop=stop, focus_distance=focus, wavelength=587.5618, name="made up",
    )  # fmt: skip


def reversed_system(lens: System) -> System:
    """The lens turned end for end, air on both sides."""
    last = float(lens.thickness[-1])
    return replace(
        lens, curvature=-lens.curvature[::-1], conic=lens.conic[::-1].copy(), aspheric=-lens.aspheric[::-1],
        thickness=np.append(lens.thickness[:-1][::-1], last), index=lens.index[::-1].copy(), semi=lens.semi[::-1].copy(),
        stop=len(lens) - 1 - lens.stop,
    )  # fmt: skip


def through(lens: System, height: float, slope: float) -> tuple[float, float, float]:
    """Height and slope behind the last surface and height at the stop of a paraxial ray from the first vertex's plane:
    n' u' = n u - y c (n' - n), y' = y + t u' (W. J. Smith, Modern Optical Engineering, from memory).
    """
    at_stop = math.nan
    for k in range(len(lens)):
        if k == lens.stop:
            at_stop = height
        n, after = lens.index[k], lens.index[k + 1]
        slope = (n * slope - height * lens.curvature[k] * (after - n)) / after
        if k < len(lens) - 1:
            height += lens.thickness[k] * slope
    return height, slope, at_stop


@EVERY
def test_a_trace_of_two_rays_gives_the_same(name: str, k: int) -> None:
    lens = state(name, k).main
    found = paraxial(lens)
    y, u, far_stop = through(lens, 1.0, 0.0)
    _, _, near_stop = through(lens, 0.0, 1.0)
    assert found.focal_length == pytest.approx(-1.0 / u, rel=1e-11)
    assert found.back_focus == pytest.approx(-y / u, rel=1e-9)
    assert found.entrance_pupil == pytest.approx(near_stop / far_stop, rel=1e-9)
    assert found.entrance_radius == pytest.approx(lens.stop_semi / abs(far_stop), rel=1e-11)
    assert found.f_number == pytest.approx(abs(found.focal_length) / (2 * found.entrance_radius), rel=1e-12)
    # A ray from the front focal point leaves level.
    assert through(lens, -found.front_focus, 1.0)[1] == pytest.approx(0.0, abs=1e-9)


@EVERY
def test_the_exit_pupil_is_the_entrance_pupil_of_the_lens_turned_round(name: str, k: int) -> None:
    lens = state(name, k).main
    if lens.index[lens.stop] != lens.index[lens.stop + 1]:
        # A stop on glass: both pupils see it from its own side, and turning the lens changes the sides.
        return
    found, turned = paraxial(lens), paraxial(reversed_system(lens))
    length = float(lens.vertices[-2])
    assert turned.focal_length == pytest.approx(found.focal_length, rel=1e-9)
    assert length - turned.entrance_pupil == pytest.approx(found.exit_pupil, rel=1e-7)
    assert turned.entrance_radius == pytest.approx(found.exit_radius, rel=1e-8)
    assert length - (length + turned.back_focus) == pytest.approx(found.front_focus, rel=1e-8)
    assert length - turned.front_focus == pytest.approx(length + found.back_focus, rel=1e-8)
    assert found.pupil_magnification == pytest.approx(found.exit_radius / found.entrance_radius)


@EVERY
@pytest.mark.parametrize("share", [3.0, 12.0, 400.0])
def test_newtons_equation_and_the_magnification(name: str, k: int, share: float) -> None:
    """x x' = -f^2 from the focal points, m = f / x (I. Newton, Opticks, in today's signs)."""
    lens = state(name, k).main
    distance = share * abs(paraxial(lens).focal_length) + abs(paraxial(lens).front_focus)
    near = paraxial(replace(lens, focus_distance=distance))
    length = float(lens.vertices[-2])
    before = -distance - near.front_focus
    behind = (length + near.image_distance) - (length + near.back_focus)
    assert before * behind == pytest.approx(-(near.focal_length**2), rel=1e-7)
    assert near.magnification == pytest.approx(near.focal_length / before, rel=1e-7)
    # Between the principal planes the magnification is one: 1 / s' - 1 / s = 1 / f.
    s, after = -distance - near.principal_front, length + near.image_distance - near.principal_rear
    assert 1.0 / after - 1.0 / s == pytest.approx(1.0 / near.focal_length, rel=1e-8)


def test_a_thin_lens_and_a_ball() -> None:
    thin = paraxial(system([(100.0, 0.0, 1.5), (-100.0, 100.0, 1.0)]))
    assert thin.focal_length == pytest.approx(100.0)
    assert thin.principal_front == pytest.approx(0.0, abs=1e-12)
    # A ball of index n and radius R: f = n R / (2 (n - 1)) from its centre.
    ball = paraxial(system([(10.0, 20.0, 1.5), (-10.0, 5.0, 1.0)]))
    assert ball.focal_length == pytest.approx(1.5 * 10 / (2 * 0.5))
    assert ball.principal_front == pytest.approx(10.0)
    assert ball.principal_rear == pytest.approx(10.0)


def test_a_stop_ahead_of_or_behind_a_thin_lens() -> None:
    """In front it is its own entrance pupil; 20 mm behind a lens of 100 mm it is seen at 25 mm, 1.25 times as large."""
    ahead = paraxial(system([(0.0, 20.0, 1.0), (100.0, 0.0, 1.5), (-100.0, 100.0, 1.0)], stop=0))
    assert (ahead.entrance_pupil, ahead.entrance_radius) == (0.0, 5.0)
    assert ahead.exit_pupil == pytest.approx(20.0 - 25.0)
    assert ahead.exit_radius == pytest.approx(6.25)
    behind = paraxial(system([(100.0, 0.0, 1.5), (-100.0, 20.0, 1.0), (0.0, 80.0, 1.0)], stop=2))
    assert behind.entrance_pupil == pytest.approx(25.0)
    assert behind.entrance_radius == pytest.approx(6.25)
    assert behind.exit_pupil == pytest.approx(20.0)
    assert behind.f_number == pytest.approx(8.0)


@pytest.mark.parametrize("f_number", [1.4, 2.8, 11.0])
def test_the_stop_is_set_for_an_f_number(f_number: float) -> None:
    lens = system_of(read("zoom-72-194"), "135 mm")
    assert paraxial(lens.with_stop(stop_for(lens, f_number))).f_number == pytest.approx(f_number, rel=1e-12)


def test_lenses_without_power_or_without_a_pupil_are_refused() -> None:
    with pytest.raises(OpticsError, match="no power"):
        paraxial(system([(0.0, 5.0, 1.5), (0.0, 10.0, 1.0)]))
    with pytest.raises(OpticsError, match="no real image"):
        paraxial(system([(-40.0, 5.0, 1.5), (40.0, 50.0, 1.0)]))
    # The stop in the rear focal plane: its image lies at infinity.
    with pytest.raises(OpticsError, match="telecentric"):
        paraxial(system([(100.0, 0.0, 1.5), (-100.0, 100.0, 1.0), (0.0, 10.0, 1.0)], stop=2))


def test_every_design_is_covered() -> None:
    assert len(HEIGHTS) == 17
