"""Finishes that a hood document describes from measurements."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from shadewright.design.weigh_stray import finish_of
from shadewright.errors import LightError
from shadewright.light.finish import fresnel
from shadewright.light.finishes import FINISHES, finish_named, finishes_for, measured
from shadewright.model.hood import Build, Hood, OwnFinish

DULL = OwnFinish(name="card as measured", reflectance=0.031, source="sphere photometer")
SHINY = OwnFinish(name="print as measured", reflectance=0.05, mirror=0.03, index=1.5, source="sphere photometer")


def hood(*finishes: OwnFinish, of: str | None = None) -> Hood:
    return Hood(document="hood", version=1, name="Kit hood", finish=finishes, build=Build(finish=of))


@pytest.mark.parametrize("part", [DULL, SHINY], ids=["dull", "shiny"])
def test_it_sends_back_straight_on_what_was_measured(part: OwnFinish) -> None:
    finish = measured(part)
    assert finish.reflectance() == pytest.approx(part.reflectance, abs=1e-9)
    assert float(finish.mirror_share(1.0)) == pytest.approx(part.mirror, abs=1e-12)


def test_the_mirrored_share_grows_as_fresnel_says() -> None:
    """At 80 degrees from the normal and index 1.5 a smooth skin mirrors 38.7 % (Fresnel's equations, by hand)."""
    share = float(measured(SHINY).mirror_share(0.17364817766693033))
    assert share == pytest.approx(0.387 * 0.03 / 0.04, rel=2e-3)
    assert measured(SHINY).reflectance(80.0) > 5 * measured(SHINY).reflectance()


def test_what_mirrors_nothing_sends_back_alike_from_everywhere() -> None:
    assert measured(DULL).diffuse_reflectance == pytest.approx(0.031, rel=1e-3)


def test_a_hood_names_its_own_and_those_of_the_table() -> None:
    assert finish_of(hood(DULL, of="card as measured")).source == "sphere photometer"
    assert finish_of(hood(DULL, of="flocked paper")) == finish_named("flocked paper")
    assert len(finishes_for(hood(DULL, SHINY))) == len(FINISHES) + 2


def test_a_name_of_the_table_is_given_anew() -> None:
    own = DULL.model_copy(update={"name": "flocked paper"})
    known = finishes_for(hood(own))
    assert len(known) == len(FINISHES)
    assert finish_named("flocked paper", known).source == "sphere photometer"


def test_an_unknown_name_says_where_to_describe_it() -> None:
    with pytest.raises(LightError, match=r"\[\[finish\]\]"):
        finish_of(hood(DULL, of="soot"))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"reflectance": 0.03, "mirror": 0.05}, "more than a skin"),
        ({"reflectance": 0.01, "mirror": 0.02}, "cannot be more"),
        ({"reflectance": 0.05, "low": 0.06}, "must lie from"),
        ({"reflectance": float("nan")}, "reflectance"),
        ({"reflectance": 0.05, "source": ""}, "source"),
    ],
)
def test_what_cannot_be_is_refused(values: dict[str, object], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        OwnFinish.model_validate({"name": "x", "source": "sphere photometer", **values})


def test_two_of_one_name_are_refused() -> None:
    with pytest.raises(ValidationError, match="same name"):
        hood(DULL, DULL)


def test_fresnel_straight_on() -> None:
    assert float(fresnel(1.0, 1.5)) == pytest.approx(0.04, rel=1e-12)
