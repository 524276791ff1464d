"""The sky: maps are read where they are known, and the frame is outlined where the lens sees it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from show_cases import FISHEYE, TUBE, ZOOM, beams, deepest, lines, require_legible, tunnel, words

from shadewright.errors import MakeError
from shadewright.light.share import LightMap, light_map
from shadewright.model.shape import Rim, RoundHood
from shadewright.show import page
from shadewright.show.sky import MOST_MAPS, frame_directions, sampled, sky_figure

CELLS = 41


def invented() -> LightMap:
    """A map whose lit share falls from 1 on the left to 0 on the right."""
    edge = np.linspace(-1, 1, CELLS + 1)
    middle = 0.5 * (edge[:-1] + edge[1:])
    cosines = np.stack(np.meshgrid(middle, middle), axis=-1)
    inside = np.hypot(cosines[..., 0], cosines[..., 1]) < 1.0
    lit = np.where(inside, 0.5 - 0.5 * cosines[..., 0], np.nan)
    return LightMap(cosines, lit, inside.astype(float), "invented")


def test_a_map_is_read_at_its_own_cells() -> None:
    light = invented()
    known = np.isfinite(light.lit) & (np.hypot(light.cosines[..., 0], light.cosines[..., 1]) < 0.95)
    ux, uy = light.cosines[known].T
    angle = np.degrees(np.arcsin(np.hypot(ux, uy)))
    np.testing.assert_allclose(sampled(light, angle, np.arctan2(uy, ux)), light.lit[known])


def test_between_cells_it_is_read_in_proportion() -> None:
    angle, turn = np.array([0.0, 20.0, 40.0, 60.0]), np.radians([0.0, 50.0, 180.0, 260.0])
    wanted = 0.5 - 0.5 * np.sin(np.radians(angle)) * np.cos(turn)
    np.testing.assert_allclose(sampled(invented(), angle, turn), wanted, atol=1e-12)


def test_up_is_up_and_right_is_right() -> None:
    light = invented()
    upward = LightMap(light.cosines, 0.5 - 0.5 * light.cosines[..., 1], light.outside, "up")
    assert sampled(upward, np.array([60.0]), np.radians([90.0]))[0] < 0.1
    assert sampled(light, np.array([60.0]), np.radians([0.0]))[0] < 0.1


def test_the_horizon_is_read_from_what_is_known() -> None:
    share = sampled(invented(), np.full(360, 89.0), np.radians(np.arange(360.0)))
    assert np.isfinite(share).mean() > 0.9
    assert np.nanmin(share) >= 0.0
    assert np.nanmax(share) <= 1.0


def test_the_frame_is_where_the_lens_sees_it() -> None:
    outline = frame_directions(beams(ZOOM)[0].frame)[0]
    assert outline[:, 1].max() == pytest.approx(math.degrees(math.atan2(math.hypot(18.0, 12.0), 24.0)))
    assert outline[:, 1].min() == pytest.approx(math.degrees(math.atan2(12.0, 24.0)))
    np.testing.assert_allclose(outline[0], outline[-1])
    # Equisolid: r = 2 f sin(angle / 2) with the corner cut by an image circle of 40 mm.
    fisheye = frame_directions(beams(FISHEYE)[0].frame)[0]
    assert fisheye[:, 1].max() == pytest.approx(math.degrees(2 * math.asin(20.0 / 36.0)), rel=1e-3)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_hoods_side_by_side(count: int) -> None:
    beam, hood = beams(ZOOM)[0], deepest(ZOOM, TUBE)
    hoods = {
        "No hood": None,
        "Plain hood": RoundHood(TUBE, Rim.plain(hood.rim.shallowest)),
        "Petal hood": hood,
    }
    hoods["Tunnel hood"] = tunnel()
    maps = {name: light_map(beam, shape, cells=CELLS) for name, shape in list(hoods.items())[:count]}
    figure = sky_figure(maps, frames=[beam.frame])
    text = words(figure)
    for name, light in maps.items():
        assert f"{name}\nlets in {light.let_in:.0%} from outside the frame" in text
    drawn = [part for axes in figure.axes for part in axes.collections if part.get_gid() == "lit"]
    assert len(drawn) == count
    assert {part.get_clim() for part in drawn} == {(0.0, 1.0)}
    turn, angle = np.radians(np.arange(0.0, 362.0, 2.0)), np.arange(0.0, 91.0)
    wanted = sampled(next(iter(maps.values())), angle[:, None], turn[None, :])
    np.testing.assert_allclose(np.ma.filled(drawn[0].get_array(), np.nan), wanted)
    assert len(lines(figure, "frame")) == 2 * count
    assert all(word in text for word in ("right", "top", "left", "bottom", "30°", "60°", "90% lit"))
    require_legible(figure)


def test_nine_hoods_with_long_names() -> None:
    maps = {f"Petal hood number {k} on a stepped wall with a thread": invented() for k in range(MOST_MAPS)}
    figure = sky_figure(maps, frames=[beams(ZOOM)[0].frame])
    assert figure.get_figheight() * 25.4 <= page.PAGE_HEIGHT + 1e-9
    require_legible(figure)


def test_too_many_maps_or_frames_are_refused() -> None:
    frame = beams(ZOOM)[0].frame
    many = {str(k): invented() for k in range(MOST_MAPS + 1)}
    with pytest.raises(MakeError, match="10 maps"):
        sky_figure(many, frames=[frame])
    with pytest.raises(MakeError, match="2 frames"):
        sky_figure({"one": invented()}, frames=[frame, frame])
