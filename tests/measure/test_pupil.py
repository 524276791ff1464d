"""The pupil found again from frames that another camera made: rays one by one, noise, dust, uneven light, tubes that lean."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lenses import camera
from pupil_cases import Case, measured, pull, shoot
from shadewright.errors import MeasureError
from shadewright.measure.measured import measured_lens, rim_choice, two_sided
from shadewright.measure.pupil import fit_pupil
from shadewright.show.measured import fit_figure, rim_choice_figure

WIDE = Case()
NORMAL = Case(focal_length=50.0, depth=30.0, front=22.0, diameter=62.0, lengths=(60.0, 95.0))
LONG = Case(focal_length=85.0, depth=45.0, front=28.0, diameter=66.0, lengths=(80.0, 120.0, 170.0), scale_known=0.0005)

DRAWN = Case(play=0.1)


@pytest.mark.parametrize("case", [WIDE, NORMAL, LONG], ids=["24 mm", "50 mm", "85 mm"])
def test_depth_from_linear_frames(case: Case, tmp_path: Path) -> None:
    fit = measured(case, tmp_path, 3)
    assert fit.settled
    assert abs(fit.depth - case.depth) < 0.3
    assert abs(fit.radius / case.radius - 1) < 0.01
    assert abs(fit.depth - case.depth) < 4 * fit.depth_error


def test_depth_from_a_developed_picture(tmp_path: Path) -> None:
    fit = measured(replace(WIDE, jpeg=True), tmp_path, 4)
    assert abs(fit.depth - WIDE.depth) < 0.8
    # The doubt about the tone curve is carried.
    assert fit.solution.has("tone")


def test_focused_near_the_beams_meet_in_the_subject(tmp_path: Path) -> None:
    case = replace(WIDE, subject=350.0)
    fit = measured(case, tmp_path, 5)
    assert abs(fit.depth - case.depth) < 0.3


def test_a_pupil_that_moves_with_field_angle(tmp_path: Path) -> None:
    case = replace(WIDE, wander=-6.0, lengths=(27.0, 36.0, 48.0))
    fit = measured(case, tmp_path, 6)
    assert abs(fit.solution.value("wander") + 6.0) < 4 * fit.solution.error("wander")
    edge = 0.6
    depth, error = fit.depth_at(edge)
    assert error < 0.5
    assert abs(depth - (case.depth - 6.0 * edge**2)) < max(0.3, 3 * error)


def test_one_tube_leaves_depth_and_field_scale_tied_and_says_so(tmp_path: Path) -> None:
    case = replace(LONG, lengths=(120.0,), scale_known=None)
    fit = measured(case, tmp_path, 7)
    assert not fit.settled
    assert any("second length" in note for note in fit.notes)
    assert abs(fit.depth - case.depth) < 3 * fit.depth_error


def test_how_the_tube_sits_is_found(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    pairs = shoot(WIDE, tmp_path, rng, lean=0.0, decentre=2.0)
    fit = fit_pupil(WIDE.setting(), pairs, WIDE.lens(), camera(), scale=(24.0 * WIDE.stretch, 0.03))
    solution = fit.solution
    for i, length in enumerate(WIDE.lengths):
        end = np.array([solution.value(f"decentre_{k} {i}") + length * solution.value(f"lean_{k} {i}") for k in "xy"])
        scale = 24.0 * WIDE.stretch / (length - WIDE.reach + WIDE.depth)
        middle = np.array([solution.value("axis_x"), solution.value("axis_y")]) + end * scale
        # A shadow tells where the end's middle is seen; the lens's axis meets this frame at (0.15, -0.1).
        assert math.hypot(*(middle - [0.15, -0.1])) == pytest.approx(2.0 * scale, abs=0.1)


def test_the_uncertainty_covers_the_truth(tmp_path: Path) -> None:
    """Eight sets: all within four standard errors, and neither all inside one nor all outside."""
    pulls = np.array([pull(DRAWN, tmp_path, seed)[0] for seed in range(8)])
    assert np.max(np.abs(pulls)) < 4.0
    assert 3 <= int(np.sum(np.abs(pulls) < 1)) <= 7


def test_without_noise_the_error_vanishes_as_pixels_shrink(tmp_path: Path) -> None:
    """The fit's own grain, no tolerance of tubes in play: depth and radius tend to the truth."""
    off = []
    for columns in (256, 512):
        case = replace(WIDE, columns=columns, samples=1500, full_well=3e6, read_noise=0.0, dust=0, scale_known=0.0001)
        fit = measured(case, tmp_path, 2)
        off.append((abs(fit.depth - case.depth), abs(fit.radius - case.radius)))
    assert off[0][0] < 0.04
    assert off[1][0] < 0.02
    assert off[1][1] < 0.002


def test_moving_dust_does_not_move_the_pupil(tmp_path: Path) -> None:
    clean, dusty = (measured(replace(WIDE, dust=dust), tmp_path, 11) for dust in (0, 12))
    assert abs(clean.depth - dusty.depth) < 2 * dusty.depth_error
    assert abs(clean.radius - dusty.radius) < 3 * dusty.solution.error("pupil_radius")


def test_the_lens_document_carries_the_doubt_and_its_rim_is_safe(tmp_path: Path) -> None:
    case = WIDE
    fit = measured(case, tmp_path, 9)
    lens = measured_lens(case.lens(), [fit], confidence=0.95)
    state = lens.state[0]
    assert state.pupil_depth_plus_minus >= two_sided(0.95) * fit.depth_error - 1e-3
    assert state.image_distance is not None
    assert state.image_distance < fit.solution.value("image_distance")
    choice = rim_choice(case.lens(), [fit], camera(), radius=40.0, draws=12)
    assert choice.cost > 0
    assert np.all(choice.documented <= choice.nominal + 1e-6)
    assert np.all(choice.safe <= choice.nominal + 1e-6)
    # The truth, by the windows the frames were made with.
    from shadewright.measure.measured import _rim

    exact = case.lens().state[0].model_copy(
        update={"pupil_depth": case.depth, "image_distance": case.focal_length * case.stretch, "reach": case.reach}
    )
    true = _rim(case.lens().model_copy(update={"state": (exact,)}), camera(), 40.0, choice.azimuth)
    assert np.all(choice.documented <= true + 0.02)
    assert np.max(true - choice.safe) < 1.0
    assert np.max(true - choice.documented) < 1.0
    assert fit_figure(fit).axes
    assert rim_choice_figure(choice, radius=40.0).axes


def test_frames_of_two_tubes_swapped_are_refused(tmp_path: Path) -> None:
    pairs = shoot(NORMAL, tmp_path, np.random.default_rng(8))
    swapped = [replace(pairs[0], tube=pairs[1].tube), replace(pairs[1], tube=pairs[0].tube)]
    with pytest.raises(MeasureError, match="swapped"):
        fit_pupil(NORMAL.setting(), swapped, NORMAL.lens(), camera())


def test_tubes_that_cannot_be_used_are_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with pytest.raises(MeasureError, match="hardly reaches"):
        measured(replace(WIDE, lengths=(9.0,), samples=200), tmp_path / "a", 1)
    with pytest.raises(MeasureError, match=r"more than half|swapped|dark"):
        measured(replace(WIDE, lengths=(120.0,), samples=200), tmp_path / "b", 1)
    with pytest.raises(MeasureError, match="no tube"):
        fit_pupil(WIDE.setting(), [], WIDE.lens(), camera())
