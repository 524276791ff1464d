"""Light from named surroundings: skies against closed forms, directions by hand, shares against other sums."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lenses import beam_of
from shadewright.light.finish import Finish
from shadewright.light.scene import scene_of
from shadewright.light.share import light_map
from shadewright.light.surroundings import (
    StrayLight,
    direction_of,
    horizontal_illuminance,
    luminance,
    spots,
    stray_lights,
)
from shadewright.light.wall_light import Sky, WallLight, wall_light
from shadewright.model.named_surroundings import NAMED, USUAL
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.model.surroundings import Surroundings

BEAM = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 32.0, 0.0, 0.0)], 0.6, 0.4, reach=2.0)
AZIMUTH = np.arange(0.0, 360.0, 0.5)
PETAL = RoundHood(
    RoundWall((0.0,), (42.0,)), Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
)


def scene(**parts: object) -> Surroundings:
    """Surroundings from plain values."""
    return Surroundings.model_validate({"document": "surroundings", "version": 1, "name": "test", **parts})


def lamp(**more: object) -> dict[str, object]:
    """One lamp of unit illuminance."""
    return {"name": "lamp", "illuminance": 1.0, **more}


# --- directions -------------------------------------------------------------------------------------------------


def test_directions_of_a_level_lens_are_those_of_the_compass() -> None:
    level = scene(around=1.0)
    assert direction_of(level, 0.0, 0.0) == pytest.approx([0, 0, 1])
    assert direction_of(level, 0.0, 90.0) == pytest.approx([1, 0, 0], abs=1e-12)
    assert direction_of(level, 90.0, 33.0) == pytest.approx([0, 1, 0], abs=1e-12)
    assert direction_of(level, 0.0, 180.0) == pytest.approx([0, 0, -1], abs=1e-12)


def test_a_raised_lens_sees_the_horizon_below_its_axis() -> None:
    raised = scene(around=1.0, lens_elevation=25.0)
    assert direction_of(raised, 25.0, 0.0) == pytest.approx([0, 0, 1])
    assert direction_of(raised, 0.0, 0.0)[1] == pytest.approx(-math.sin(math.radians(25)))
    # The angle between axis and a place is what the sphere says: cos = sin h sin t + cos h cos t cos a.
    h, a, t = math.radians(40), math.radians(70), math.radians(25)
    want = math.sin(h) * math.sin(t) + math.cos(h) * math.cos(t) * math.cos(a)
    assert direction_of(raised, 40.0, 70.0)[2] == pytest.approx(want)


def test_a_clock_angle_runs_clockwise_from_the_top() -> None:
    for clock, want in ((0, (0, 1)), (90, (1, 0)), (180, (0, -1)), (270, (-1, 0))):
        found = spots(scene(source=[lamp(off_axis=30.0, clock=float(clock))])).directions[0]
        assert found == pytest.approx([0.5 * want[0], 0.5 * want[1], math.cos(math.radians(30))], abs=1e-12)


def test_a_lamp_with_a_size_keeps_its_middle_its_strength_and_its_spread() -> None:
    found = spots(scene(source=[lamp(off_axis=30.0, clock=90.0, size=4.0)]))
    assert found.illuminance.sum() == pytest.approx(1.0)
    middle = found.directions.mean(axis=0)
    assert middle / np.linalg.norm(middle) == pytest.approx([0.5, 0, math.cos(math.radians(30))], abs=1e-9)
    away = np.degrees(np.arccos(np.clip(found.directions @ found.directions[0], -1, 1)))
    # Of an even disc the mean square distance from its middle is half its radius squared.
    assert np.mean(away**2) == pytest.approx(2.0**2 / 2, rel=1e-6)


# --- skies ------------------------------------------------------------------------------------------------------


def test_an_even_sky_lights_the_ground_by_pi() -> None:
    assert horizontal_illuminance(scene(sky={"kind": "even", "zenith": 1.0})) == pytest.approx(math.pi)


def test_ground_under_an_even_sky_sends_back_its_reflectance() -> None:
    found = luminance(
        scene(sky={"kind": "even", "zenith": 2.0}, ground={"reflectance": 0.3}),
        np.array([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]]),
    )
    assert found == pytest.approx([2.0, 0.6])


def test_a_clear_sky_is_brightest_round_the_sun_and_meets_its_zenith() -> None:
    clear = scene(sky={"kind": "clear", "zenith": 3.0}, sun={"elevation": 30.0, "azimuth": 40.0, "illuminance": 1.0})
    near, away, zenith = (direction_of(clear, h, a) for h, a in ((30.0, 42.0), (30.0, -140.0), (90.0, 0.0)))
    found = luminance(clear, np.stack([near, away, zenith]))
    assert found[2] == pytest.approx(3.0)
    assert found[0] > 3 * found[1] > 0


def test_panes_cover_their_rectangle_and_nothing_else() -> None:
    room = scene(around=1.0, pane=[{"left": -40, "right": -20, "bottom": 0, "top": 30, "luminance": 50.0}])
    places = [(15.0, -30.0), (15.0, -41.0), (15.0, -19.0), (-1.0, -30.0), (31.0, -30.0), (15.0, 30.0)]
    found = luminance(room, np.stack([direction_of(room, h, a) for h, a in places]))
    assert found == pytest.approx([50, 1, 1, 1, 1, 1])


# --- shares -----------------------------------------------------------------------------------------------------


def test_an_even_surrounding_lets_in_the_let_in_share() -> None:
    (found,) = stray_lights(BEAM, PETAL, [scene(around=5.0)])
    assert found.direct == pytest.approx(light_map(BEAM, PETAL).let_in, abs=1e-12)
    assert found.wall is None
    assert found.stops == pytest.approx(-math.log2(found.direct))


def test_brightness_has_no_unit() -> None:
    weak, strong = stray_lights(BEAM, PETAL, [scene(around=1.0), scene(around=1000.0)])
    assert strong.open == pytest.approx(1000 * weak.open)
    assert strong.direct == pytest.approx(weak.direct)


def test_without_a_hood_everything_arrives() -> None:
    for found in stray_lights(BEAM, None, list(NAMED.values())):
        assert found.share == pytest.approx(1.0, abs=1e-9), found.surroundings
        assert found.stops == pytest.approx(0.0, abs=1e-8)


def test_the_open_glass_in_even_light_takes_pi_less_the_frame() -> None:
    """∫ cos θ dω over the sky ahead is π; the frame's part by a sum of solid angle elements over slopes."""
    (found,) = stray_lights(BEAM, None, [scene(around=1.0)], light=light_map(BEAM, None, cells=401))
    x, y = np.meshgrid((np.arange(600) + 0.5) / 600 * 1.2 - 0.6, (np.arange(400) + 0.5) / 400 * 0.8 - 0.4)
    frame = float(np.sum(1.2 * 0.8 / 240_000 / (1 + x * x + y * y) ** 2))
    assert found.open == pytest.approx(math.pi - frame, abs=2e-3)
    assert found.over_frame == pytest.approx((math.pi - frame) / frame, rel=3e-3)


def test_a_lamp_counts_by_its_cosine_and_what_of_the_glass_it_reaches() -> None:
    # A tube's rim blocks a lamp at 70 degrees by a shifted circle: the closed form of two circles.
    tube = RoundHood(RoundWall((0.0,), (42.0,)), Rim.plain(22.0))
    (found,) = stray_lights(BEAM, tube, [scene(source=[lamp(off_axis=70.0, clock=45.0)])])
    assert found.open == pytest.approx(math.cos(math.radians(70)))
    d, r, big = 20.0 * math.tan(math.radians(70)), 32.0, 42.0
    common = r * r * math.acos((d * d + r * r - big * big) / (2 * d * r))
    common += big * big * math.acos((d * d + big * big - r * r) / (2 * d * big))
    common -= 0.5 * math.sqrt((-d + r + big) * (d + r - big) * (d - r + big) * (d + r + big))
    assert found.direct == pytest.approx(common / (math.pi * r * r), abs=5e-4)


def test_lamps_in_the_frame_and_behind_the_glass_are_named_and_left_out() -> None:
    inside, behind, counted = lamp(name="in", off_axis=10.0, clock=0.0), lamp(name="back", off_axis=120.0, clock=0.0), lamp(
        name="side", off_axis=60.0, clock=90.0
    )
    (found,) = stray_lights(BEAM, None, [scene(source=[inside, behind, counted])])
    assert found.open == pytest.approx(math.cos(math.radians(60)))
    assert [note.split(":")[0] for note in found.notes] == ["in", "back"]


def test_the_frame_given_a_luminance_is_what_the_outside_is_compared_with() -> None:
    dark, bright = stray_lights(
        BEAM, None, [scene(around=1.0, frame_luminance=0.5), scene(around=1.0, frame_luminance=2.0)]
    )
    assert dark.over_frame is not None
    assert bright.over_frame is not None
    assert dark.over_frame == pytest.approx(4 * bright.over_frame)


# --- wall light -------------------------------------------------------------------------------------------------


def even_wall(value: float) -> object:
    """Wall light of the same value from everywhere."""

    def wall(directions: np.ndarray) -> WallLight:
        n = len(directions)
        return WallLight(
            directions, np.full(n, value), np.full(n, 0.1 * value), np.zeros((3, n)), np.zeros(n), None, "fast", 1, 1  # type: ignore[arg-type]
        )

    return wall


def test_even_wall_light_sums_to_its_value_times_the_sphere_outside_the_frame() -> None:
    (found,) = stray_lights(BEAM, PETAL, [scene(around=1.0)], wall=even_wall(0.01))  # type: ignore[arg-type]
    # The frame's solid angle: a rectangle of half-slopes w, h (closed form 4 atan(w h / sqrt(1 + w² + h²))).
    sphere = 4 * math.pi - 4 * math.atan(0.6 * 0.4 / math.sqrt(1 + 0.36 + 0.16))
    assert found.wall == pytest.approx(0.01 * sphere / found.open, rel=2e-3)
    assert found.wall_error is not None
    # A tenth of each of 3024 cells, added as chance errors are; the cells' own coarseness shows nothing here.
    assert found.wall_error == pytest.approx(0.1 * found.wall / math.sqrt(42 * 72), rel=0.05)


def test_a_lamp_takes_the_wall_light_of_its_own_direction() -> None:
    (found,) = stray_lights(
        BEAM, PETAL, [scene(source=[lamp(off_axis=60.0, clock=90.0)])], wall=even_wall(0.02)  # type: ignore[arg-type]
    )
    assert found.wall == pytest.approx(0.02 / math.cos(math.radians(60)))


def test_darker_walls_give_less_and_the_error_holds_the_grid() -> None:
    laid = scene_of(BEAM, PETAL)
    shares = []
    for albedo in (0.02, 0.1):
        (found,) = stray_lights(
            BEAM, PETAL, [NAMED["low-sun"]],
            wall=lambda d, albedo=albedo: wall_light(laid, Finish("matt", albedo), directions=d, samples=4096),  # type: ignore[misc]
        )  # fmt: skip
        shares.append(found)
    assert shares[0].wall is not None
    assert shares[1].wall is not None
    assert 4 < shares[1].wall / shares[0].wall < 7
    (fine,) = stray_lights(
        BEAM, PETAL, [NAMED["low-sun"]], sky=Sky(84, 144),
        wall=lambda d: wall_light(laid, Finish("matt", 0.1), directions=d, samples=4096),
    )  # fmt: skip
    assert fine.wall is not None
    assert shares[1].wall_error is not None
    assert abs(fine.wall - shares[1].wall) < 4 * shares[1].wall_error + 1e-4


def test_a_perfect_hood_is_not_given_stops() -> None:
    perfect = StrayLight("a", "b", 1.0, 0.0, 0.0, None, None, None, ())
    assert perfect.stops == math.inf
    assert perfect.stops_error == 0.0


def test_named_surroundings_are_good_and_described() -> None:
    assert set(USUAL) <= set(NAMED)
    for name, entry in NAMED.items():
        assert entry.name == name
        assert entry.notes.endswith(".")
