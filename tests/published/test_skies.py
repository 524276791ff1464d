"""Standard skies and light from them against published values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lenses import beam_of
from shadewright.light.finish import Finish
from shadewright.light.scene import scene_of
from shadewright.light.surroundings import direction_of, horizontal_illuminance, luminance, stray_lights
from shadewright.light.wall_light import wall_light
from shadewright.model.named_surroundings import NAMED
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.model.surroundings import Surroundings

OVERCAST = Surroundings.model_validate(
    {"document": "surroundings", "version": 1, "name": "test", "sky": {"kind": "overcast", "zenith": 1.0}}
)


def test_an_overcast_zenith_is_three_times_as_bright_as_the_horizon() -> None:
    """P. Moon and D. E. Spencer, Illumination from a non-uniform sky (1942): (1 + 2 sin γ) / 3."""
    heights = [0.0, 30.0, 90.0]
    found = luminance(OVERCAST, np.stack([direction_of(OVERCAST, h, 20.0) for h in heights]))
    assert found == pytest.approx([1 / 3, 2 / 3, 1.0])


def test_an_overcast_sky_lights_level_ground_by_seven_ninths_of_pi() -> None:
    """The standard relation E = 7 π L / 9 of daylight textbooks (J. W. T. Walsh, The Science of Daylight; from memory)."""
    assert horizontal_illuminance(OVERCAST) == pytest.approx(7 * math.pi / 9, rel=1e-6)


def test_a_wall_under_an_overcast_sky_gets_39_6_per_cent_of_what_the_ground_gets() -> None:
    """The greatest vertical sky component, "almost 40 %" (P. Littlefair, Site layout planning for daylight and sunlight,
    BRE 209; 39.6 % from memory): what an open glass on a level lens takes from the sky alone.
    """
    up = (np.arange(400) + 0.5) / 400
    turn = (np.arange(400) + 0.5) / 400 * math.pi - math.pi / 2
    across = np.sqrt(1 - up * up)[:, None]
    directions = np.stack(
        [across * np.sin(turn), np.broadcast_to(up[:, None], (400, 400)), across * np.cos(turn)], axis=-1
    )
    vertical = float(np.sum(luminance(OVERCAST, directions) * directions[..., 2]) * math.pi / 400 / 400)
    assert vertical / horizontal_illuminance(OVERCAST) == pytest.approx(0.396, abs=5e-4)


@pytest.mark.parametrize("name", ["overcast", "clear-day", "low-sun", "snow"])
def test_named_days_follow_the_rules_of_thumb(name: str) -> None:
    """Illuminating Engineering Society, daylight availability (from memory): sky on level ground 0.8 + 15.5 sin^0.5 h klx
    when clear, 0.3 + 21 sin h klx when overcast; facing the sun 127.5 exp(-0.21 / sin h) klx. Within 3 %.
    """
    day = NAMED[name]
    if day.sun is None:
        assert horizontal_illuminance(day) == pytest.approx(1000 * (0.3 + 21 * math.sin(math.pi / 4)), rel=0.03)
        return
    sine = math.sin(math.radians(day.sun.elevation))
    assert day.sun.illuminance == pytest.approx(127_500 * math.exp(-0.21 / sine), rel=0.03)
    sky_alone = horizontal_illuminance(day) - day.sun.illuminance * sine
    assert sky_alone == pytest.approx(1000 * (0.8 + 15.5 * math.sqrt(sine)), rel=0.03)


@pytest.mark.parametrize(("length", "passes"), [(0.5, 0.801271), (1.0, 0.671984), (2.0, 0.514231)])
def test_a_white_tube_in_even_light_passes_what_a_molecular_tube_does(length: float, passes: float) -> None:
    """Direct and wall light together are the transmission of a tube of reflectance 1 whose far end takes all that comes:
    R. J. Cole, Rarefied Gas Dynamics (1977), for length over radius 0.5, 1 and 2 (from memory). The glass is a grain
    narrower than the tube; the frame is next to nothing.
    """
    tube = RoundHood(RoundWall((0.0,), (32.0,)), Rim.plain(2.0 + 32.0 * length))
    narrow = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 32.0, 0.0, 0.0)], 1e-3, 1e-3, reach=2.0)
    laid = scene_of(narrow, tube)
    even = NAMED["even"]
    (found,) = stray_lights(
        narrow, tube, [even], wall=lambda d: wall_light(laid, Finish("white", 1.0), directions=d)
    )
    assert found.share == pytest.approx(passes, abs=3e-3)
