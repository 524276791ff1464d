"""Weighing with wall light: parts add up, finishes are told apart, and the choice counts both."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lenses import camera, hood, prime
from shadewright.design.weigh import Candidate, Weighing, weigh
from shadewright.design.weigh_stray import USUAL_FINISH
from shadewright.errors import LightError
from shadewright.light.finishes import FINISHES
from shadewright.model.hood import Build, RimShape
from shadewright.model.named_surroundings import NAMED, USUAL

LENS = prime(35.0)
WISHES = hood(RimShape.PETAL, largest_length=40.0)


@pytest.fixture(scope="module")
def full() -> Weighing:
    """All three hoods in the usual surroundings."""
    return weigh(LENS, camera(), WISHES, cells=41)


def test_every_candidate_is_weighed_in_even_light_and_the_usual_surroundings(full: Weighing) -> None:
    for entry in full.candidates:
        assert [light.surroundings for light in entry.stray] == ["even", *USUAL]
        assert entry.total == entry.let_in + entry.wall
        for light in entry.stray:
            assert light.wall is not None
            assert 0 < light.wall < 0.1
            assert light.share == light.direct + light.wall


def test_even_light_is_the_let_in_share(full: Weighing) -> None:
    for entry in full.candidates:
        assert entry.stray[0].direct == pytest.approx(entry.light[0].hood, abs=1e-9)


def test_finishes_are_tried_on_the_hood_chosen_darkest_first(full: Weighing) -> None:
    walls = [trial.wall for trial in full.trials]
    assert walls == sorted(walls)
    assert {trial.finish for trial in full.trials} == {finish.name for finish in FINISHES}
    assert full.finish == USUAL_FINISH
    own = next(trial for trial in full.trials if trial.finish == full.finish)
    assert own.light == full.candidate(full.choice).stray
    assert full.trials[0].finish == "black velvet"
    assert full.trials[-1].finish == "white card"


def test_the_finish_of_the_document_is_counted(full: Weighing) -> None:
    flocked = WISHES.model_copy(update={"build": Build(finish="flocked paper")})
    dark = weigh(LENS, camera(), flocked, cells=41, surroundings=[])
    assert dark.finish == "flocked paper"
    for entry in dark.candidates:
        assert entry.wall < 0.5 * full.candidate(entry.name).wall
        assert entry.let_in == full.candidate(entry.name).let_in
        assert len(entry.stray) == 1


def test_fast_gives_the_direct_part_alone(full: Weighing) -> None:
    fast = weigh(LENS, camera(), WISHES, cells=41, fast=True)
    assert fast.finish == ""
    assert fast.trials == ()
    for entry in fast.candidates:
        assert entry.stray == ()
        assert entry.total == entry.let_in == full.candidate(entry.name).let_in
    around = weigh(LENS, camera(), WISHES, cells=41, fast=True, surroundings=[NAMED["low-sun"]])
    for entry in around.candidates:
        assert [light.wall for light in entry.stray] == [None, None]
        full_light = full.candidate(entry.name).stray[2]
        assert entry.stray[1].direct == full_light.direct


def test_an_unknown_finish_is_named() -> None:
    coal = WISHES.model_copy(update={"build": Build(finish="coal")})
    with pytest.raises(LightError, match='"coal": is not in the table'):
        weigh(LENS, camera(), coal, cells=41)


def test_the_choice_counts_wall_light() -> None:
    from shadewright.design import weigh as module

    fast = weigh(LENS, camera(), WISHES, cells=41, fast=True)
    choice, _ = module._recommend(fast.candidates, turning=False, hood=WISHES)

    def glaring(entry: Candidate) -> Candidate:
        """A hood whose wall gives back all that it stops."""
        light = weigh_light(entry)
        return replace(entry, stray=(replace(light, wall=0.9),))

    def weigh_light(entry: Candidate):  # type: ignore[no-untyped-def]
        from shadewright.light.surroundings import StrayLight

        return StrayLight("even", "x", 1.0, entry.let_in, 0.0, 0.0, 0.0, None, ())

    worse = [glaring(entry) if entry.name == choice else entry for entry in fast.candidates]
    assert choice != "plain"
    assert module._recommend(worse, turning=False, hood=WISHES)[0] != choice
