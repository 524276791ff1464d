"""The unrolled rim: every part drawn once, under the name of what binds it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from show_cases import CAP, TUBE, ZOOM, kept_out, lines, require_legible, words

from shadewright.errors import MakeError
from shadewright.show.rim import MOST_NAMES, NO_SETTING, OTHERS, grouped, rim_figure, stretches

AZIMUTH = np.arange(360.0)
LABELS = ["24 mm at f/2.8, focused at infinity", "70 mm at f/2.8, focused at infinity"]


def lobes(azimuth: np.ndarray) -> np.ndarray:
    return 40.0 - 15.0 * np.abs(np.sin(np.radians(2 * azimuth)))


def test_lines_hold_what_was_given() -> None:
    state = np.where(np.abs(np.sin(np.radians(AZIMUTH))) > 0.7, 1, 0)
    figure = rim_figure(
        AZIMUTH, lobes(AZIMUTH), lobes(AZIMUTH) - 2.0, state, LABELS, plain=23.0, limits=(0.0, 45.0)
    )
    made = lines(figure, "made")[0]
    np.testing.assert_allclose(made[:-1, 1], lobes(AZIMUTH) - 2.0)
    np.testing.assert_allclose(made[-1], (360.0, made[0, 1]))
    for part, index in zip(lines(figure, "deepest"), grouped(state, LABELS), strict=True):
        inside = np.isin(part[:, 0], AZIMUTH[np.isin(state, index[1])] % 360)
        np.testing.assert_allclose(part[inside, 1], lobes(part[inside, 0]))
    assert lines(figure, "plain")[0][0, 1] == 23.0
    wall = next(part for part in figure.axes[0].collections if part.get_gid() == "wall")
    assert wall.get_hatch()
    text = words(figure)
    assert all(
        word in text for word in (*LABELS, "right", "top", "left", "bottom", "mm", "degrees", "23.0 mm")
    )
    assert "largest length allowed" in text
    require_legible(figure)


def test_a_worked_out_rim() -> None:
    found = kept_out(ZOOM).rim(TUBE, AZIMUTH, cap=CAP)
    state = kept_out(ZOOM).source[found.state]
    labels = [beam.label for beam in kept_out(ZOOM).beams]
    figure = rim_figure(AZIMUTH, found.value, found.value - 0.5, state, labels, limits=(0.0, CAP))
    drawn = np.concatenate(lines(figure, "deepest"))
    np.testing.assert_allclose(np.nanmax(drawn[:, 1]), found.value.max())
    assert lines(figure, "plain") == []
    assert "largest length" not in words(figure)
    require_legible(figure)


@given(st.lists(st.integers(-1, 4), min_size=4, max_size=40))
def test_stretches_cover_the_turn_once(states: list[int]) -> None:
    state = np.array(states)
    turn = np.append(np.arange(len(state)) * 360.0 / len(state), 360.0)
    closed = np.append(state, state[0])
    covered = 0.0
    for index in np.unique(state):
        x, _ = stretches(turn, turn, closed == index)
        steps = np.diff(x)
        covered += float(np.sum(steps[np.isfinite(steps)]))
    assert covered == pytest.approx(360.0)


def test_few_settings_are_named_and_the_rest_grouped() -> None:
    state = np.concatenate([np.full(40 - 3 * k, k) for k in range(9)] + [np.full(5, -1)])
    labels = [f"setting {k}" for k in range(9)]
    groups = grouped(state, labels)
    assert [name for name, _ in groups] == [*labels[: MOST_NAMES - 1], OTHERS]
    assert sorted(groups[-1][1]) == [-1, 5, 6, 7, 8]
    azimuth = np.arange(len(state)) * 360.0 / len(state)
    figure = rim_figure(azimuth, lobes(azimuth), lobes(azimuth), state, labels, limits=(0.0, 50.0))
    assert len(lines(figure, "deepest")) == MOST_NAMES
    assert OTHERS in words(figure)
    require_legible(figure)


def test_settings_with_the_same_words_are_one() -> None:
    assert grouped(np.array([0, 1, 0, 1]), ["same", "same"]) == [("same", [0, 1])]
    assert grouped(np.array([-1, -1, 0]), ["one"]) == [(NO_SETTING, [-1]), ("one", [0])]


def test_groups_differ_in_more_than_colour() -> None:
    state = np.repeat(np.arange(6), 60)
    figure = rim_figure(AZIMUTH, lobes(AZIMUTH), lobes(AZIMUTH), state, list("abcdef"), limits=(0.0, 50.0))
    drawn = [line for line in figure.axes[0].get_lines() if line.get_gid() == "deepest"]
    assert len({(line.get_marker(), str(line._dash_pattern)) for line in drawn}) == 6


def test_arrays_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(MakeError, match="360, 359, 360 and 360"):
        rim_figure(AZIMUTH, AZIMUTH[1:], AZIMUTH, np.zeros(360, int), LABELS, limits=(0.0, 50.0))
    with pytest.raises(MakeError, match="2 labels"):
        rim_figure(AZIMUTH, AZIMUTH, AZIMUTH, np.full(360, 2), LABELS, limits=(0.0, 50.0))
