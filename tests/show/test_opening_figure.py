"""The opening seen from the pupil: circles where circles are due, the frame inside, its share of the area."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from show_cases import FISHEYE, TUBE, ZOOM, beams, deepest, lines, require_legible, tunnel, words

from shadewright.errors import MakeError
from shadewright.model.lens import Mapping, Projection
from shadewright.model.shape import Rim, RoundHood, TunnelHood, TunnelRim, TunnelWall
from shadewright.show.opening import frame_share, opening_figure, rim_loop, seen_from_pupil


def test_a_plain_rim_is_seen_as_a_circle() -> None:
    beam = beams(ZOOM)[0]
    seen = seen_from_pupil(RoundHood(TUBE, Rim.plain(20.0)).rim_points(), beam)
    # The rim stands 20 - (6 - 30) = 44 mm ahead of the pupil.
    np.testing.assert_allclose(np.hypot(*seen.T), 24.0 * 46.0 / 44.0)
    # 360 straight pieces enclose a little less than the circle.
    circle = math.pi * (24.0 * 46.0 / 44.0) ** 2
    assert frame_share(seen, beam.frame) == pytest.approx(24.0 * 36.0 / circle, rel=1e-4)


def test_a_fisheye_draws_it_by_its_own_law() -> None:
    beam = beams(FISHEYE)[0]
    seen = seen_from_pupil(RoundHood(TUBE, Rim.plain(20.0)).rim_points(), beam)
    angle = math.atan2(46.0, 20.0 - 2.0 + 14.0)
    np.testing.assert_allclose(np.hypot(*seen.T), 2 * 18.0 * math.sin(angle / 2))


def test_a_pupil_off_the_axis_sees_the_rim_from_there() -> None:
    beam = beams(ZOOM)[0]
    windows = beam.windows.copy()
    windows[0, 2:] = (3.0, -2.0)
    seen = seen_from_pupil(np.array([[46.0, 0.0, 20.0]]), replace(beam, windows=windows))
    np.testing.assert_allclose(seen, [[24.0 * 43.0 / 44.0, 24.0 * 2.0 / 44.0]])


def test_what_lies_beside_or_behind_the_pupil_is_not_seen() -> None:
    seen = seen_from_pupil(
        np.array([[46.0, 0.0, -24.0], [46.0, 0.0, -60.0], [46.0, 0.0, -23.9]]), beams(ZOOM)[0]
    )
    assert np.all(np.isnan(seen))


def test_a_measured_projection_is_followed_only_while_it_rises() -> None:
    beam = beams(ZOOM)[0]
    # r / f = t (1 - 0.2 t^2) rises until t = sqrt(1 / 0.6) = 1.29.
    frame = replace(beam.frame, mapping=Mapping(kind=Projection.MEASURED, coefficients=(-0.2,)))
    points = np.array([[44.0, 0.0, 20.0], [66.0, 0.0, 20.0]])
    seen = seen_from_pupil(points, replace(beam, frame=frame))
    assert seen[0, 0] == pytest.approx(24.0 * 0.8)
    assert np.all(np.isnan(seen[1]))


def test_a_tunnel_is_followed_along_lips_and_corners() -> None:
    hood = TunnelHood(TunnelWall(40.0, 30.0), TunnelRim(10.0, 20.0, 30.0, 40.0))
    loop = rim_loop(hood)
    assert np.abs(loop[:, 0]).max() == 40.0
    assert np.abs(loop[:, 1]).max() == 30.0
    on_right = loop[(loop[:, 0] == 40.0) & (np.abs(loop[:, 1]) < 30.0)]
    np.testing.assert_allclose(on_right[:, 2], 10.0)
    on_top = loop[(loop[:, 1] == 30.0) & (np.abs(loop[:, 0]) < 40.0)]
    np.testing.assert_allclose(on_top[:, 2], 20.0)
    # No step is longer than a corner or lip divided by its pieces.
    assert np.linalg.norm(np.roll(loop, -1, 0) - loop, axis=1).max() < 80.0 / 40


@pytest.mark.parametrize("text", [ZOOM, FISHEYE])
def test_the_frame_lies_inside_the_opening(text: str) -> None:
    beam, hood = beams(text)[0], deepest(text, TUBE)
    figure = opening_figure(hood, beam)
    drawn = lines(figure, "opening")[0]
    np.testing.assert_allclose(drawn[:-1], seen_from_pupil(hood.rim_points(), beam))
    np.testing.assert_allclose(drawn[0], drawn[-1])
    frame = next(patch for patch in figure.axes[0].patches if patch.get_gid() == "frame")
    np.testing.assert_allclose(frame.get_xy()[:-1], beam.frame.outlines()[0])
    assert figure.axes[0].get_aspect() == 1.0
    require_legible(figure)


def test_a_petal_opening_is_nearer_to_the_frame_than_a_plain_one() -> None:
    beam, hood = beams(ZOOM)[0], deepest(ZOOM, TUBE)
    figure = opening_figure(hood, beam)
    petal, plain = lines(figure, "opening")[0], lines(figure, "plain")[0]
    assert frame_share(petal[:-1], beam.frame) > 1.4 * frame_share(plain[:-1], beam.frame)
    for shape in (petal, plain):
        assert f"the frame fills {frame_share(shape[:-1], beam.frame):.0%} of it" in words(figure)
    assert f"{2 * beam.windows[0, 1]:.1f} mm wide" in words(figure)


def test_a_tunnel_opening() -> None:
    figure = opening_figure(tunnel(), beams(ZOOM)[0])
    assert lines(figure, "plain") == []
    assert "the frame fills" in words(figure)
    require_legible(figure)


def test_a_hood_that_shows_is_not_said_to_hold_the_frame() -> None:
    figure = opening_figure(RoundHood(TUBE, Rim.plain(60.0)), beams(ZOOM)[0])
    assert "fills" not in words(figure)
    assert "gap round the frame" not in words(figure)
    require_legible(figure)


def test_a_rim_behind_the_pupil_is_refused() -> None:
    with pytest.raises(MakeError, match="ahead of the entrance pupil"):
        opening_figure(RoundHood(TUBE, Rim.plain(-30.0)), beams(ZOOM)[0])
