"""Every live view is there and changes with the dials; the rim is pulled by hand; designs are kept, undone and opened again."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from browser import Watched, browser_at_bench, watched

Bench = tuple[Browser, str]


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One browser and one bench for this module."""
    with browser_at_bench() as opened:
        yield opened


def changed(before: dict[str, str], after: dict[str, str]) -> set[str]:
    """Names of the views that differ."""
    return {name for name in before if before[name] != after[name]}


def depth_said(it: Watched) -> str:
    return it.page.inner_text("#numbers div:first-child dd")


def test_every_view_answers_the_dials(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        first = it.seen()
        assert "Nothing shows" in it.page.inner_text("#sentence")
        assert "clear" in it.page.inner_text("#words-sensor").lower()
        it.slide("zoom", 1.5)
        zoomed = it.seen()
        assert changed(first, zoomed) >= {"section", "solid", "rim"}
        assert it.page.inner_text("#said-zoom") == "41.8 mm"
        it.slide("focus", 1)
        assert changed(zoomed, it.seen()) >= {"section", "rim"}
        assert it.page.inner_text("#said-focus") == "220 mm"
        it.slide("focus", 0)
        it.slide("zoom", 0)
        it.slide("depth", 8)
        assert changed(first, it.seen()) == {"sensor", "section", "solid", "rim", "sky"}
        assert "shows" in it.page.inner_text("#sentence")
        deep = it.seen()
        it.slide("stop", 1)
        assert changed(deep, it.seen()) >= {"sensor", "section"}
        assert it.page.inner_text("#said-stop") == "f/22"
        it.slide("stop", 0)
        it.slide("depth", 0)
        wide = it.page.inner_text("#said-diameter")
        it.slide("diameter", 92)
        assert it.page.inner_text("#said-diameter") == "92.0 mm" != wide
        assert changed(first, it.seen()) == {"sensor", "section", "solid", "rim", "sky"} - {"sensor"}
        assert it.page.locator("#numbers").get_by_text("96.0 mm").is_visible()


def test_enlarge_planes_cut_and_the_sensors_side(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        for name in ("sensor", "section", "solid", "rim", "sky"):
            page.click(f"[data-enlarge={name}]")
            assert page.locator(".view:visible").count() == 1
            page.keyboard.press("Escape")
        assert page.locator(".view:visible").count() == 5
        page.locator("label", has_text="Corners").click()
        page.get_by_text("Cut through two corners").wait_for()
        before = it.seen()["solid"]
        page.click("#solid-choice button:has-text('Cut')")
        page.get_by_text("with its right half cut away").wait_for()
        page.wait_for_timeout(300)
        assert it.seen()["solid"] != before
        page.click("text=Sensor's side")
        page.get_by_text("seen from the middle of the pupil").wait_for()
        page.focus("#solid")
        page.keyboard.press("+")


def test_the_drawing_in_space_turns(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        before = it.seen()["solid"]
        it.page.focus("#solid")
        it.page.keyboard.press("ArrowRight")
        it.page.wait_for_timeout(400)
        assert it.seen()["solid"] != before


def test_a_sweep_plays_and_stops(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        page.get_by_role("button", name="Play a zoom sweep").click()
        page.wait_for_function("() => Number(document.querySelector('#dial-zoom').value) > 0.4")
        page.get_by_role("button", name="Stop the zoom sweep").click()
        page.wait_for_timeout(500)
        resting = page.input_value("#dial-zoom")
        page.wait_for_timeout(500)
        assert page.input_value("#dial-zoom") == resting


def test_the_rim_pulled_by_hand_says_where_and_when_it_shows(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        page.click("#by-hand")
        page.wait_for_timeout(300)
        box = page.locator("#rim").bounding_box()
        assert box is not None
        x, y = box["x"] + 0.27 * box["width"], box["y"] + 0.3 * box["height"]
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x, y - 10)
        page.mouse.move(x, y - 25)
        page.mouse.up()
        it.settled()
        words = page.inner_text("#beneath")
        assert re.search(r"The rim shows at the (top|bottom), from \d+° to \d+°, [\d.]+ mm too deep, first at 24 mm", words)
        assert page.locator("#rim .showing").count() > 0
        page.click("text=Back to the fitted rim")
        it.settled()
        assert "Nothing shows" in page.inner_text("#sentence")
        page.fill("#hand-direction", "0")
        page.fill("#hand-height", "55")
        it.settled()
        assert re.search(r"The rim shows at the (right|left)", page.inner_text("#beneath"))


def test_undo_redo_and_keys(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        fitted = depth_said(it)
        assert page.locator("#undo").is_disabled()
        it.slide("depth", 5)
        moved = depth_said(it)
        assert moved != fitted
        page.click("#undo")
        it.settled()
        assert depth_said(it) == fitted
        page.keyboard.press("Control+Shift+z")
        it.settled()
        assert depth_said(it) == moved
        page.keyboard.press("Control+z")
        it.settled()
        assert depth_said(it) == fitted


def test_a_design_is_its_address_and_survives_a_reload(bench: Bench) -> None:
    browser, address = bench
    with watched(browser, address) as it:
        it.begin()
        it.slide("depth", -3)
        it.slide("zoom", 2)
        it.page.wait_for_function("() => location.hash.startsWith('#d=')")
        it.page.wait_for_timeout(500)
        link, said = it.page.url, it.page.inner_text("#numbers")
        it.page.reload()
        it.settled()
        assert it.page.inner_text("#numbers") == said
    with watched(browser, address) as other:
        other.page.goto(link)
        other.page.reload()
        other.settled()
        assert other.page.inner_text("#numbers") == said
        assert other.page.inner_text("#said-zoom") == "50 mm"
        assert other.page.url == link


def test_units_formats_and_portrait(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        landscape = it.seen()["sensor"]
        page.click("#drawer summary")
        page.locator("#drawer label", has_text="inch").click()
        page.keyboard.press("Escape")
        assert " in" in depth_said(it)
        it.step("Camera")
        page.locator(".choice", has_text="Portrait").click()
        it.settled()
        assert it.seen()["sensor"] != landscape
        page.get_by_role("combobox", name="Frame").select_option("aps-c")
        it.settled()
        assert page.get_by_role("combobox", name="Frame").input_value() == "aps-c"
        it.step("Lens")
        assert page.get_by_role("textbox", name="Front ring").input_value() == "3.1496"


def test_candidates_side_by_side_with_advice(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin(1)
        it.step("Compare")
        page = it.page
        page.get_by_role("button", name="Compare the shapes for me").click()
        page.locator(".advice li").first.wait_for(timeout=240_000)
        titles = page.locator(".candidate h2").all_inner_texts()
        assert [title.split("\n")[0] for title in titles][:2] == ["Plain", "Petal"]
        assert page.locator(".candidate.advised").count() == 1
        rows = page.locator(".candidate").first.locator("tr").all_inner_texts()
        assert any(row.startswith("Light let in") for row in rows)
        page.get_by_role("button", name="Put the present hood beside them").click()
        page.locator(".candidate h2", has_text="Sorrel petal").wait_for()
        page.locator(".candidate").nth(1).get_by_role("button", name="Take this one").click()
        it.settled()
        assert page.locator("body").get_attribute("data-step") == "look"


def test_lesson_shows_the_views_alone_in_large_type(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        size = "() => parseFloat(getComputedStyle(document.documentElement).fontSize)"
        before = page.evaluate(size)
        page.click("#present")
        assert page.evaluate(size) > 1.25 * before
        assert not page.locator("#steps").is_visible()
        assert page.locator("#dial-zoom").is_visible()
        page.keyboard.press("Escape")
        assert page.locator("#steps").is_visible()


@pytest.mark.parametrize("starter", range(4))
def test_every_invented_lens_opens(bench: Bench, starter: int) -> None:
    with watched(*bench) as it:
        it.begin(starter)
        assert it.page.inner_text("#sentence").strip()
        assert it.page.inner_text("#words-section").strip()
