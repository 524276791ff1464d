"""Everybody can use the page: axe finds nothing serious, keys reach everything, pictures have words, a phone is wide enough."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pypdf
import pytest
from playwright.sync_api import Browser

from browser import browser_at_bench, serious, watched

Bench = tuple[Browser, str]
STEPS = ("Lens", "Camera", "Hood", "Look", "Compare", "Make")


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One browser and one bench for this module."""
    with browser_at_bench() as opened:
        yield opened


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(bench: Bench, scheme: str) -> None:
    with watched(*bench, color_scheme=scheme) as it:
        assert serious(it) == []
        it.begin()
        for step in STEPS:
            it.step(step)
            it.page.wait_for_timeout(300)
            assert serious(it) == [], step
        it.step("Look")
        it.slide("depth", 8)
        assert serious(it) == []
        it.page.click("#by-hand")
        it.page.click("#drawer summary")
        assert serious(it) == []
        it.page.click("#present")
        assert serious(it) == []


def test_a_phone_is_wide_enough(bench: Bench) -> None:
    with watched(*bench, width=390, height=844, has_touch=True, is_mobile=True) as it:
        page = it.page
        fits = "() => document.documentElement.scrollWidth <= innerWidth"
        assert page.evaluate(fits)
        it.begin()
        for step in STEPS:
            it.step(step)
            page.wait_for_timeout(300)
            assert page.evaluate(fits), step
        it.step("Look")
        assert page.locator("#dial-zoom").is_visible()
        assert not page.locator("#dial-depth").is_visible()
        page.locator(".dial-choice button", has_text="Depth").tap()
        assert page.locator("#dial-depth").is_visible()
        assert serious(it) == []


def test_keys_alone_begin_and_turn(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.locator("#starters button").first.focus()
        page.keyboard.press("Enter")
        it.settled()
        page.focus("#dial-zoom")
        for _ in range(5):
            page.keyboard.press("PageUp")
        it.settled()
        assert page.inner_text("#said-zoom") != "24 mm"
        assert page.get_attribute("#dial-zoom", "aria-valuetext") == page.inner_text("#said-zoom")


def test_pictures_have_words_that_change_and_the_verdict_is_said_aloud(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        page = it.page
        for name in ("sensor", "section", "solid", "rim", "sky"):
            assert page.get_attribute(f"#{name}", "aria-describedby") == f"words-{name}"
            assert len(page.inner_text(f"#words-{name}")) > 20
        before = page.inner_text("#words-sensor")
        it.slide("depth", 8)
        assert page.inner_text("#words-sensor") != before
        page.wait_for_function("() => document.querySelector('#live').textContent.includes('The hood shows')")


def test_little_motion_makes_the_sweep_step(bench: Bench) -> None:
    with watched(*bench, reduced_motion="reduce") as it:
        it.begin()
        page = it.page
        page.get_by_role("button", name="Play a zoom sweep").click()
        places = set()
        for _ in range(12):
            places.add(page.input_value("#dial-zoom"))
            page.wait_for_timeout(150)
        page.get_by_role("button", name="Stop the zoom sweep").click()
        assert len(places) <= 4


def test_the_page_keeps_to_a_strict_policy(bench: Bench) -> None:
    """No script or style stands in the markup, so that the policy needs no exception."""
    browser, address = bench
    with watched(browser, address) as it:
        answer = it.page.goto(address)
        assert answer is not None
        text = answer.text()
        assert [word for word in ("<style", " style=", "onclick=") if word in text] == []
        assert "unsafe" not in answer.headers["content-security-policy"]


def test_the_sheet_prints_on_one_page(bench: Bench) -> None:
    with watched(*bench, color_scheme="dark") as it:
        it.begin()
        printed = pypdf.PdfReader(io.BytesIO(it.page.pdf(prefer_css_page_size=True, print_background=True)))
        assert len(printed.pages) == 1
        words = printed.pages[0].extract_text()
        assert "Nothing shows at any setting" in words
        assert "The rim, unrolled" in words
        assert it.page.locator("#steps").is_visible()  # and the screen is as it was
