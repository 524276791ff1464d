"""What can go wrong on the page: wrong values, damaged links and files, a program that stops answering."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from browser import browser_at_bench, watched

Bench = tuple[Browser, str]


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One browser and one bench for this module."""
    with browser_at_bench() as opened:
        yield opened


def test_a_wrong_value_is_said_beside_its_field(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        it.begin()
        it.step("Lens")
        page = it.page
        field = page.get_by_role("textbox", name="Front ring")
        field.fill("-5")
        page.locator(".wrong:visible").first.wait_for()
        assert field.get_attribute("aria-invalid") == "true"
        assert "rim_diameter" in page.locator(".wrong:visible").first.inner_text()
        page.locator("#verdict[data-verdict=refused]").wait_for()
        field.fill("eighty")
        page.locator(".wrong", has_text='"eighty" is no number').wait_for()
        field.fill("80")
        it.settled()
        page.locator("#verdict[data-verdict=clear]").wait_for()
        assert field.get_attribute("aria-invalid") is None


def test_what_is_not_measured_is_said_to_be_estimated(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        it.step("Lens")
        page = it.page
        page.get_by_role("textbox", name="Pupil's depth").first.fill("")
        page.locator(".assumed:visible").first.wait_for()
        assert "not measured" in page.locator(".assumed:visible").first.inner_text()


def test_a_damaged_link_is_said_and_nothing_breaks(bench: Bench) -> None:
    browser, address = bench
    for link in ("#d=AAAA", "#d=" + "A" * 3000, "#d=%%%", "#nonsense"):
        with watched(browser, address) as it:
            it.page.goto(address + link)
            it.page.reload()
            it.page.locator("#starters button").first.wait_for()
            assert it.page.locator("#welcome").is_visible()


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("broken.toml", "document = ", "broken.toml"),
        ("strange.toml", 'document = "teapot"\nversion = 1\n', "strange.toml"),
        ("wrong.design.json", "[1, 2", "holds no design"),
        ("list.design.json", "[1, 2]", "holds no design"),
    ],
)
def test_files_that_are_no_documents(bench: Bench, tmp_path: Path, name: str, text: str, said: str) -> None:
    with watched(*bench, expect_errors=True) as it:
        path = tmp_path / name
        path.write_text(text)
        it.page.set_input_files("input[type=file]", str(path))
        toast = it.page.locator(".toast")
        toast.wait_for()
        assert said in toast.inner_text()
        assert it.page.locator("#welcome").is_visible()


def test_documents_are_opened_together(bench: Bench) -> None:
    demo = Path(__file__).parents[2] / "src" / "shadewright" / "demo"
    with watched(*bench) as it:
        it.page.set_input_files("input[type=file]", [str(demo / name) for name in ("shift.toml", "camera.toml", "shift-hood.toml")])
        it.settled()
        it.step("Lens")
        assert it.page.get_by_role("textbox", name="Name").input_value() == "Quill 24 shift"


def test_a_document_edited_as_text(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        it.begin()
        page = it.page
        page.click("#drawer summary")
        page.click("#as-text")
        text = page.locator("dialog textarea")
        page.wait_for_function("() => document.querySelector('dialog textarea').value.includes('Tarn 24-70')")
        text.fill(text.input_value().replace("Tarn 24-70", "Tarn again").replace("rim_diameter = 80", "rim_diameter = -80"))
        page.get_by_role("button", name="Use this").click()
        page.locator("dialog .wrong:visible").wait_for()
        text.fill(text.input_value().replace("rim_diameter = -80", "rim_diameter = 80"))
        page.get_by_role("button", name="Use this").click()
        page.locator("dialog").wait_for(state="hidden")
        it.step("Lens")
        assert page.get_by_role("textbox", name="Name").input_value() == "Tarn again"


def test_a_lost_connection_is_waited_out(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        it.begin()
        page = it.page
        page.context.set_offline(True)
        page.eval_on_selector("#dial-depth", "(d) => { d.value = 7; d.dispatchEvent(new Event('input', { bubbles: true })); }")
        page.locator("#trouble:visible").wait_for()
        assert "Your design is safe" in page.inner_text("#trouble")
        page.context.set_offline(False)
        page.locator("#trouble").wait_for(state="hidden")
        it.settled()
        assert "shows" in page.inner_text("#sentence")


def test_a_refusal_of_the_program_is_passed_on(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        page.route("**/api/look", lambda route: route.fulfill(status=422, json={"sentence": "wall: too narrow; widen it."}))
        page.locator("#starters button").first.click()
        page.get_by_text("wall: too narrow; widen it.").first.wait_for()
        assert page.locator("#verdict").get_attribute("data-verdict") == "refused"


def test_while_a_field_cannot_be_read_nothing_is_said_nor_made(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        it.begin(1)
        it.step("Lens")
        ring = page.get_by_role("textbox", name="Front ring")
        before = ring.input_value()
        ring.fill("abc")
        page.locator("#verdict[data-verdict=refused]").wait_for()
        assert "Front ring" in page.inner_text("#beneath")
        assert page.locator(".view:not(.old):visible").count() == 0
        it.step("Make")
        for name in ("Check", "Make the files", "Write the report"):
            assert page.get_by_role("button", name=name, exact=True).is_disabled()
        assert page.locator("#verdict").get_attribute("data-verdict") == "refused"
        it.step("Lens")
        assert ring.input_value() == "abc"
        ring.fill(before)
        page.wait_for_function("() => document.querySelector('#verdict').dataset.verdict !== 'refused'")
        it.settled()
        assert page.locator(".view.old:visible").count() == 0


@pytest.mark.parametrize("width", [360, 375])
def test_a_narrow_phone_needs_no_scrolling_sideways(bench: Bench, width: int) -> None:
    with watched(*bench, width=width, height=760) as it:
        it.begin(1)
        for step in ("Look", "Lens", "Camera", "Hood", "Compare", "Make"):
            it.step(step)
            assert it.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), step


def test_a_comparison_says_what_it_does_until_it_stands(bench: Bench) -> None:
    with watched(*bench, height=900, width=1440) as it:
        page = it.page
        it.begin(1)
        it.step("Compare")
        assert not page.get_by_text("best of these").is_visible()
        page.get_by_role("button", name="Compare the shapes for me").click()
        progress = page.locator("#choose progress")
        progress.wait_for()
        progress.wait_for(state="hidden", timeout=120_000)
        assert page.locator(".candidate table td").count() > 0
        assert page.get_by_text("best of these").is_visible()
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
