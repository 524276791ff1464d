"""The comparison: bars as long as their numbers, and what is not known said to be so."""

from __future__ import annotations

import math

import pytest
from show_cases import require_legible, words

from shadewright.errors import MakeError
from shadewright.show.compare import compare_figure, number

ROWS = [
    ("Plain hood", {"Light let in": (74.3, "%"), "Depth": (21.6, "mm"), "Mass": (18.25, "g")}),
    ("Petal hood on a cone that screws on", {"Light let in": (45.2, "%"), "Depth": (54.8, "mm")}),
    ("Tunnel", {"Light let in": (41.0, "%"), "Depth": (56.8, "mm"), "Gain": (math.inf, "stops")}),
]


def test_bars_are_as_long_as_the_numbers() -> None:
    figure = compare_figure(ROWS)
    panels = {axes.get_title(): axes for axes in figure.axes if axes.get_title()}
    assert list(panels) == ["Light let in (%)", "Depth (mm)", "Mass (g)", "Gain (stops)"]
    for title, label in (("Light let in (%)", "Light let in"), ("Depth (mm)", "Depth")):
        bars = [bar for bar in panels[title].patches if bar.get_gid() == "bar"]
        assert [bar.get_width() for bar in bars] == [values[label][0] for _, values in ROWS]
        assert len({bar.get_hatch() for bar in bars}) == 3
    text = words(figure)
    assert all(part in text for part in ("74.3 %", "54.8 mm", "18.2 g", "without limit", "not known"))
    assert text.count("not known") == 4
    require_legible(figure)


def test_the_first_hood_stands_at_the_top() -> None:
    figure = compare_figure(ROWS)
    low, high = figure.axes[0].get_ylim()
    assert low > high
    assert figure.axes[0].get_yticklabels()[0].get_text() == "Plain hood"


def test_two_hoods_and_one_quantity() -> None:
    figure = compare_figure([(name, {"Depth": values["Depth"]}) for name, values in ROWS[:2]])
    require_legible(figure)


def test_a_loss_reaches_to_the_left() -> None:
    figure = compare_figure([("One", {"Gain": (-0.5, "stops")}), ("Other", {"Gain": (1.0, "stops")})])
    assert figure.axes[0].get_xlim()[0] < -0.5
    assert "-0.500 stops" in words(figure)
    require_legible(figure)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.0, "mm", "0 mm"),
        (1234.6, "g", "1235 g"),
        (99.96, "mm", "100.0 mm"),
        (0.0452, "", "0.0452"),
        (1.0, "stops", "1.00 stops"),
        (1000.0, "g", "1000 g"),
        (math.nan, "mm", "not known"),
        (-math.inf, "stops", "without limit below"),
    ],
)
def test_numbers_are_short(value: float, unit: str, text: str) -> None:
    assert number(value, unit) == text


def test_units_must_agree_and_something_must_be_given() -> None:
    with pytest.raises(MakeError, match='"Depth" of Other'):
        compare_figure([("One", {"Depth": (2.0, "mm")}), ("Other", {"Depth": (2.0, "cm")})])
    with pytest.raises(MakeError, match="0 hoods"):
        compare_figure([])
