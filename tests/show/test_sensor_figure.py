"""The sensor's view: the pictures hold the losses, clear frames say so, and the cross is where it belongs."""

from __future__ import annotations

import numpy as np
import pytest
from show_cases import FISHEYE, TUBE, ZOOM, beams, deepest, require_legible, tunnel, words

from shadewright.clearance.loss import SensorView, sensor_view
from shadewright.errors import MakeError
from shadewright.model.shape import Rim, RoundHood
from shadewright.show.sensor import MOST_ROWS, first_exceeding, sensor_figure

PLAIN = RoundHood(TUBE, Rim.plain(32.0))


def invented(label: str, loss: np.ndarray) -> SensorView:
    rows, columns = loss.shape
    points = np.stack(np.meshgrid(np.linspace(-18, 18, columns), np.linspace(-12, 12, rows)), axis=-1)
    return SensorView(label, points, loss, np.zeros_like(loss))


def pictures(figure: object) -> list[np.ndarray]:
    return [
        np.asarray(image.get_array())
        for axes in figure.axes
        for image in axes.get_images()
        if image.get_gid()
    ]


def crosses(figure: object) -> list[np.ndarray]:
    return [
        line.get_xydata()[0] for axes in figure.axes for line in axes.get_lines() if line.get_gid() == "first"
    ]


def test_before_and_after_and_the_lens_itself() -> None:
    before = [sensor_view(beam, PLAIN) for beam in beams(ZOOM)]
    # Straight lines between the rim's points stand a little above the curve that they follow.
    petal = RoundHood(TUBE, deepest(ZOOM, TUBE).rim.moved(-0.05))
    after = [sensor_view(beam, petal) for beam in beams(ZOOM)]
    figure = sensor_figure(before, after, allowance=0.1, names=("Plain", "Petal"))
    shown = pictures(figure)
    assert len(shown) == 4
    for picture, view in zip(shown, [before[0], after[0], before[1], after[1]], strict=True):
        np.testing.assert_allclose(picture, view.loss)
    text = words(figure)
    assert before[0].worst > 0.1
    assert before[1].worst == after[0].worst == after[1].worst == 0.0
    assert text.count("clear") == 3
    assert all(
        part in text for part in ("Plain", "Petal", "stops", "worst", *(beam.label for beam in beams(ZOOM)))
    )
    assert len(crosses(figure)) == 1
    np.testing.assert_allclose(crosses(figure)[0], first_exceeding(before[0], 0.1))
    require_legible(figure)


def test_a_tunnel_alone() -> None:
    figure = sensor_figure([], [sensor_view(beams(ZOOM)[0], tunnel())], allowance=0.0)
    assert len(pictures(figure)) == 1
    assert "clear" in words(figure)
    assert "any loss at all" in words(figure)
    require_legible(figure)


def test_the_cross_is_the_nearest_place_over_the_allowance() -> None:
    loss = np.zeros((5, 7))
    loss[4, 6], loss[2, 5], loss[0, 3] = 2.0, 0.3, 0.2
    view = invented("one", loss)
    assert first_exceeding(view, 0.25) == pytest.approx((12.0, 0.0))
    assert first_exceeding(view, 1.0) == pytest.approx((18.0, 12.0))
    assert first_exceeding(view, 2.0) is None
    # 12 mm below the middle and 12 mm to its right are equally near: the first row is taken.
    assert first_exceeding(view, 0.1) == pytest.approx((0.0, -12.0))


def test_within_the_allowance_there_is_no_cross() -> None:
    loss = np.zeros((5, 7))
    loss[4, 6] = 0.3
    figure = sensor_figure([], [invented("one", loss)], allowance=0.5)
    assert crosses(figure) == []
    assert "within the allowance" in words(figure)
    assert "worst: 0.30 stop" in words(figure)
    assert "clear" not in words(figure)


def test_of_many_settings_the_worst_are_shown() -> None:
    views = [invented(f"setting {k}", np.full((5, 7), 0.1 * k)) for k in range(9)]
    figure = sensor_figure(views, views, allowance=0.1)
    text = words(figure)
    assert f"{MOST_ROWS} of 9 settings" in text
    assert [f"setting {k}" in text for k in range(9)] == [k >= 9 - MOST_ROWS for k in range(9)]
    require_legible(figure)


def test_places_without_light_are_not_called_clear() -> None:
    dark = invented("dark", np.full((5, 7), np.nan))
    figure = sensor_figure([], [dark], allowance=0.1)
    assert "no light" in words(figure)
    assert "clear" not in words(figure)
    require_legible(figure)


def test_an_image_circle_leaves_corners_out() -> None:
    view = sensor_view(beams(FISHEYE)[0], PLAIN)
    assert np.isnan(view.loss[0, 0])
    figure = sensor_figure([], [view], allowance=0.1)
    assert np.ma.getmaskarray(figure.axes[0].get_images()[0].get_array())[0, 0]
    require_legible(figure)


def test_the_lens_own_loss_is_drawn_as_lines() -> None:
    y, x = np.mgrid[-1:1:11j, -1:1:15j]
    loss = np.zeros_like(x)
    view = invented("one", loss)
    own = SensorView(view.label, view.points, loss, 1.5 * (x**2 + y**2) / 2)
    figure = sensor_figure([], [own], allowance=0.1)
    panel = figure.axes[1]
    assert len(panel.collections) == 3
    assert "up to 1.5 stops\ndotted: 0.25\ndashed: 0.5\nsolid: 1" in words(figure)


def test_views_of_different_settings_are_refused() -> None:
    one, other = invented("one", np.zeros((5, 7))), invented("other", np.zeros((5, 7)))
    with pytest.raises(MakeError, match="same settings"):
        sensor_figure([one], [other], allowance=0.1)
    with pytest.raises(MakeError, match="0 after"):
        sensor_figure([one], [], allowance=0.1)


def test_up_is_up_and_right_is_right() -> None:
    loss = np.zeros((5, 7))
    loss[4, 6], loss[0, 1] = 2.0, 0.5
    figure = sensor_figure([], [invented("one", loss)], allowance=0.1)
    image = figure.axes[0].get_images()[0]
    np.testing.assert_allclose(image.get_array(), loss)
    assert image.origin == "lower"
    # Cells are 6 mm wide and high about the grid's points, which reach to 18 and 12 mm.
    assert image.get_extent() == pytest.approx((-21.0, 21.0, -15.0, 15.0))
