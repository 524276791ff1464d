"""The page's own small sums, asked of its modules as the browser runs them: closed forms and round trips."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pytest

from browser import Watched, browser_at_bench, watched


@pytest.fixture(scope="module")
def it() -> Iterator[Watched]:
    """One page for this module."""
    with browser_at_bench() as (browser, address), watched(browser, address) as opened:
        yield opened


def ask(it: Watched, module: str, body: str, given: object = None) -> Any:
    """What a function body returns, the module's exports being `m` and the argument `given`."""
    call = f"async (given) => {{ const m = await import('/page/{module}.js'); {body} }}"
    return it.page.evaluate(call, given)


@pytest.mark.parametrize(
    ("symmetry", "places"),
    [("frame", {30, 150, 210, 330}), ("left-right", {30, 150}), ("half-turn", {30, 210}), ("quarter-turn", {30, 120, 210, 300}),
     ("none", {30})],
)  # fmt: skip
def test_a_symmetry_names_the_places_that_it_makes_alike(it: Watched, symmetry: str, places: set[int]) -> None:
    assert set(ask(it, "shaping", "return m.alike(30, given);", symmetry)) == places


def test_a_pull_reaches_its_height_and_dies_away(it: Watched) -> None:
    pull = "return m.pulled(new Array(180).fill(40), 90, 52, { width: 20, symmetry: 'none', least: 1, most: 400 });"
    made = ask(it, "shaping", pull)
    assert made[45] == 52
    assert made[50] == pytest.approx(46, abs=0.006)  # half way out, half the pull: a raised cosine
    assert made[55] == made[35] == made[0] == 40
    assert made[40] == made[50]


def test_a_pull_keeps_within_its_bounds(it: Watched) -> None:
    pull = "return m.pulled(new Array(180).fill(40), 0, given, { width: 20, symmetry: 'frame', least: 1, most: 60 });"
    assert max(ask(it, "shaping", pull, 500)) == 60
    assert min(ask(it, "shaping", pull, -500)) == 1


def test_a_contour_of_a_cone_is_a_circle(it: Watched) -> None:
    cone = """
      const n = 41, values = [];
      for (let r = 0; r < n; r++) for (let c = 0; c < n; c++) values.push(Math.hypot(c - 20, r - 20));
      return m.contours(values, n, n, 12);"""
    lines = ask(it, "contour", cone)
    assert len(lines) == 1
    line = lines[0]
    assert math.dist(line[0], line[-1]) < 1.5  # it closes
    assert all(abs(math.hypot(x - 20, y - 20) - 12) < 0.02 for x, y in line)


def test_a_contour_leaves_out_cells_without_a_value(it: Watched) -> None:
    half = """
      const values = [];
      for (let r = 0; r < 9; r++) for (let c = 0; c < 9; c++) values.push(c > 4 ? null : r);
      return m.contours(values, 9, 9, 3.5);"""
    lines = ask(it, "contour", half)
    assert len(lines) == 1
    assert max(x for x, _ in lines[0]) <= 4


@pytest.mark.parametrize("angle", [0.0, 30.0, 60.0, 90.0])
def test_the_sky_has_angles_equally_spaced(it: Watched, angle: float) -> None:
    place = ask(it, "sky", "return m.onDisc([Math.sin(given * Math.PI / 180), 0]);", angle)
    assert place == pytest.approx([angle / 90, 0], abs=1e-9)


def test_a_design_comes_back_from_its_address(it: Watched) -> None:
    state = {
        "lens": {"name": "Ünï ✓", "state": [{"focal_length": 24.5}]}, "camera": {"format": "135"}, "hood": {"name": "x" * 5000},
        "moved": -2.5, "hand": [[k * 2, 30 + k / 7] for k in range(180)], "kept": [], "mesh": None,
        "at": {"zoom": 1.25, "focus": 0, "stop": 4}, "step": "look", "stage": "", "plane": -1, "cut": True,
    }  # fmt: skip
    assert ask(it, "keep", "return m.fromHash(await m.toHash(given));", state) == state


def test_an_address_that_inflates_without_end_is_refused(it: Watched) -> None:
    bomb = """
      const bytes = new Uint8Array(50_000_000);
      const text = await new Response(new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate-raw"))).arrayBuffer();
      let plain = ""; for (const b of new Uint8Array(text)) plain += String.fromCharCode(b);
      const hash = "#d=" + btoa(plain).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
      try { await m.fromHash(hash); return "taken"; } catch (fault) { return fault.message; }"""
    assert "more than any design" in ask(it, "keep", bomb)


@pytest.mark.parametrize(
    ("typed", "inches", "mm"),
    [("25.4", False, 25.4), ("1", True, 25.4), ("2,5", False, 2.5), ("", False, None), (" 3 ", False, 3)],
)
def test_lengths_as_typed(it: Watched, typed: str, inches: bool, mm: float | None) -> None:
    found = ask(it, "words", "m.useInches(given[1]); const v = m.typedLength(given[0]); m.useInches(false); return v;", [typed, inches])
    assert found == mm


def test_taking_a_field_out_takes_its_empty_table_with_it(it: Watched) -> None:
    assert ask(it, "store", "return m.withValue({ a: 1, seat: { diameter: 5 } }, ['seat', 'diameter'], null);") == {"a": 1}
    found = ask(it, "store", "return m.withValue({ state: [{ f: 1 }, { f: 2 }] }, ['state', 1, 'reach'], 3);")
    assert found == {"state": [{"f": 1}, {"f": 2, "reach": 3}]}


def test_a_hood_moved_by_hand_is_moved_as_a_document(it: Watched) -> None:
    bake = "return m.baked(given, { hand: null, moved: 1.5 });"
    assert ask(it, "hoods", bake, {"rim": {"points": [[0, 10], [90, 20]]}})["rim"]["points"] == [[0, 11.5], [90, 21.5]]
    assert ask(it, "hoods", bake, {"rim": {"depth": 30}})["rim"]["depth"] == 31.5
    petals = {"right": 1, "left": 2, "top": 3, "bottom": 4, "corners": 5, "valley_width": 40}
    moved = ask(it, "hoods", bake, {"rim": {"petals": petals}})["rim"]["petals"]
    assert moved == {"right": 2.5, "left": 3.5, "top": 4.5, "bottom": 5.5, "corners": 6.5, "valley_width": 40}
