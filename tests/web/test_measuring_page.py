"""The measuring sheet in a real browser: photographs dropped on drawings, the fit seen, its lens taken to the bench."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator
from typer.testing import CliRunner

from browser import Watched, browser_at_bench, watched
from measuring_shots import CAMERA, LENS, pair_of_hood, tube_frames
from shadewright.cli import app
from shadewright.model.camera import Camera
from shadewright.model.documents import document_from, read_lens
from shadewright.model.lens import Lens
from shadewright.model.writing import to_toml

Bench = tuple[Browser, str]
DROP = """(place, { name, text }) => {
  const data = new DataTransfer();
  data.items.add(new File([text], name));
  place.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
}"""
"""What a browser does when a file is let go over an element."""
FIT = 90_000
"""Longest wait for a fit, ms."""


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    with browser_at_bench() as opened:
        yield opened


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tube_frames(tmp_path_factory.mktemp("frames"))


def opened(it: Watched, folder: Path, task: str) -> Locator:
    """A design with a plain hood opened at one thing to measure; gives back the places to drop on."""
    design, _bare, _hood = pair_of_hood(folder)
    path = folder / "plain.design.json"
    path.write_text(json.dumps({"shadewright": "design", "version": 1, **design, "step": "look"}))
    it.page.set_input_files("input[aria-label='Documents to open']", path)
    it.page.click("#measure")
    it.page.locator(f".ms-tasks input[value={task}]").check()
    return it.page.locator(".ms-drop input[type=file]")


def dropped(it: Watched, places: Locator, frames: Path) -> None:
    """Bare frame and one tube's dropped, and the tube's measures typed."""
    for place, name in enumerate(("bare.tif", "tube-2.tif")):
        places.nth(place).set_input_files(frames / name)
    measures = it.page.locator(".ms-measures").first.locator("input")
    measures.nth(0).fill("76")
    measures.nth(1).fill("46")
    measures.nth(2).fill("2")
    it.page.get_by_text("384 × 256 · TIFF").nth(1).wait_for()


def serious(it: Watched) -> list[str]:
    """What axe calls serious or critical, by rule and element."""
    found = Axe().run(it.page).response["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found if v["impact"] in ("serious", "critical")]


def test_from_dropped_frames_to_the_lens_on_the_bench(bench: Bench, frames: Path, tmp_path: Path) -> None:
    """By one tube that is hardly measured, which cannot settle the depth: that is said, and what the frames tell is shown all the same."""
    with watched(*bench, accept_downloads=True) as it:
        page = it.page
        dropped(it, opened(it, tmp_path, "pupil"), frames)
        page.get_by_role("button", name="Fit the pupil").click()
        page.locator("#ms-use-lens").wait_for(timeout=FIT)
        page.get_by_role("heading", name="The frames cannot settle the pupil").wait_for()
        assert page.locator(".ms-notes li").count() > 0
        assert page.locator(".ms-shadow canvas").count() == 3
        assert page.locator(".ms-chart .ms-dot").count() > 10
        assert serious(it) == []
        page.get_by_role("button", name="Download the lens document").first.wait_for()
        document = it.save("button:has-text('Download the lens document')", tmp_path)
        said = page.locator(".ms-values").first.inner_text()
        page.click("#ms-use-lens")
        page.click("#drawer summary")
        used = it.save("#save-lens", tmp_path / "used")
    lens, camera = tmp_path / "lens.toml", tmp_path / "camera.toml"
    lens.write_text(to_toml(document_from(LENS, Lens, name="lens")))
    camera.write_text(to_toml(document_from(CAMERA, Camera, name="camera")))
    taken = frames / "by-hand.toml"
    taken.write_text(
        'document = "shots"\nversion = 1\nname = "by hand"\n'
        '[[tube]]\nname = "tube 1"\ninner_diameter = 76.0\nlength = 46.0\n'
        'inner_diameter_plus_minus = 2.0\nlength_plus_minus = 2.0\n'
        '[[setting]]\nfocal_length = 24.0\nf_number = 2.8\nreach = 2.0\nbare = ["bare.tif"]\n'
        '[[setting.with_tube]]\ntube = "tube 1"\nframes = ["tube-2.tif"]\n'
    )
    out = tmp_path / "out"
    printed = CliRunner().invoke(app, ["measure", "pupil", str(lens), str(camera), str(taken), "--out", str(out), "--json"])
    values = json.loads(printed.stdout)["settings"][0]["values"]
    assert document.read_bytes() == next(out.glob("*-measured.toml")).read_bytes()
    assert read_lens(used) == read_lens(document)
    for name in ("pupil_depth", "pupil_radius", "image_distance"):
        assert f"{values[name]['value']:.2f} ± {values[name]['error']:.2f} mm" in said


def test_what_cannot_be_measured_is_said_where_it_was_dropped(bench: Bench, frames: Path, tmp_path: Path) -> None:
    words, bright = tmp_path / "words.jpg", tmp_path / "bright.tif"
    words.write_text("no picture")
    bright.write_bytes((frames / "bare.tif").read_bytes()[:-196_608] + b"\xff" * 196_608)
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        places = opened(it, tmp_path, "pupil")
        page.get_by_role("button", name="Fit the pupil").click()
        page.get_by_text("No tube's photographs are here yet").wait_for()
        page.locator(".ms-drop").nth(1).evaluate(DROP, {"name": words.name, "text": words.read_text()})
        page.locator(".ms-drop").nth(1).get_by_text("words.jpg: is not a photograph that can be read").wait_for()
        assert page.locator(".ms-frames li").count() == 0
        page.locator(".ms-tell").evaluate(DROP, {"name": words.name, "text": words.read_text()})
        page.get_by_text("Drop photographs on the drawing that they belong to.").wait_for()
        places.nth(0).set_input_files(bright)
        places.nth(1).set_input_files(frames / "tube-1.tif")
        page.get_by_text("tube-1.tif", exact=True).wait_for()
        page.get_by_role("button", name="Fit the pupil").click()
        page.get_by_text("Say how wide tube 1 is inside").wait_for()
        for field, value in enumerate(("76", "28")):
            page.locator(".ms-measures").nth(0).locator("input").nth(field).fill(value)
        page.get_by_role("button", name="Fit the pupil").click()
        page.get_by_text("clipped to white").wait_for(timeout=FIT)
        page.get_by_role("button", name="Take bright.tif away").click()
        assert page.get_by_text("bright.tif", exact=True).count() == 0
        assert not page.get_by_text("clipped to white").is_visible()
        assert it.errors == [entry for entry in it.errors if "422" in entry]


def test_a_fit_can_be_stopped(bench: Bench, frames: Path, tmp_path: Path) -> None:
    with watched(*bench) as it:
        dropped(it, opened(it, tmp_path, "pupil"), frames)
        it.page.get_by_role("button", name="Fit the pupil").click()
        it.page.locator(".ms-form").get_by_role("button", name="Stop").click()
        it.page.get_by_text("Stopped; nothing was kept.").wait_for()
        assert it.page.locator("#ms-use-lens").count() == 0


def test_a_hood_is_proved_and_its_sheet_taken_home(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench, accept_downloads=True) as it:
        page = it.page
        places = opened(it, tmp_path, "proof")
        places.nth(0).set_input_files(tmp_path / "bare-24.tif")
        places.nth(1).set_input_files(tmp_path / "hood-24.tif")
        page.get_by_text("hood-24.tif", exact=True).wait_for()
        page.get_by_role("button", name="Prove it").click()
        page.locator("#measuring").get_by_text("The hood shows.").wait_for(timeout=FIT)
        assert page.locator(".ms-maps canvas").count() == 3
        assert "corner" in page.locator(".ms-part").first.inner_text()
        sheet = it.save("button:has-text('Contact sheet')", tmp_path)
        record = it.save("button:has-text('Record (JSON)')", tmp_path)
        assert serious(it) == []
    assert sheet.read_bytes()[:5] == b"%PDF-"
    assert json.loads(record.read_text())["finding"] == "shows"


def test_readings_tubes_and_the_sheet(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench, accept_downloads=True) as it:
        page = it.page
        opened(it, tmp_path, "readings")
        for place, depth in enumerate(("25.4", "26.1", "25.9", "26.6", "26.0"), start=1):
            page.get_by_label(f"Reading by pin {place}", exact=True).fill(depth)
        page.locator(".ms-depths", has_text="Pin: 26.00 ±").get_by_text("by 5 readings").wait_for()
        page.get_by_role("button", name="Use this lens").click()
        page.locator(".ms-tasks input[value=tubes]").check()
        page.get_by_label("Inside diameter").fill("76")
        page.get_by_role("button", name="Propose tubes").click()
        page.get_by_text("Cut these tubes for 24 mm").wait_for(timeout=FIT)
        template = it.save("button:has-text('Template (PDF)')", tmp_path)
        page.get_by_role("button", name="Go on with these tubes").click()
        assert page.locator(".ms-measures").first.locator("input").first.input_value() == "76"
        page.locator(".ms-tasks input[value=strip]").check()
        sheet = it.save("button:has-text('Get the sheet')", tmp_path)
    assert template.read_bytes()[:5] == sheet.read_bytes()[:5] == b"%PDF-"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_the_sheet(bench: Bench, tmp_path: Path, scheme: str) -> None:
    """axe finds nothing serious, a phone is wide enough, and keys alone choose what to measure."""
    with watched(*bench, width=390, height=844, color_scheme=scheme) as it:
        page = it.page
        opened(it, tmp_path, "tubes")
        for task in ("tubes", "pupil", "readings", "proof", "strip"):
            page.locator(f".ms-tasks input[value={task}]").check()
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), task
            assert serious(it) == [], task
        page.keyboard.press("ArrowLeft")
        assert page.locator(".ms-task").inner_text() == "Prove a hood"
        page.locator(".ms-drop input").first.focus()
        assert page.evaluate("getComputedStyle(document.activeElement.closest('.ms-face')).outlineStyle") == "solid"


def test_what_was_fitted_before_cannot_be_taken_for_what_stands_there_now(bench: Bench, frames: Path, tmp_path: Path) -> None:
    with watched(*bench) as it:
        page = it.page
        dropped(it, opened(it, tmp_path, "pupil"), frames)
        fit, use = page.get_by_role("button", name="Fit the pupil"), page.locator("#ms-use-lens")
        fit.click()
        use.wait_for(timeout=FIT)
        assert use.is_enabled()
        page.get_by_role("button", name="Another tube").click()
        page.locator(".ms-measures").first.locator("input").nth(1).fill("45")
        page.get_by_text("Out of date").wait_for()
        assert use.is_disabled()
        assert page.locator(".ms-tell button:enabled").count() == 0
        page.locator(".ms-measures").first.locator("input").nth(1).fill("46")
        assert use.is_enabled()
        # The second fit is held back, however fast the machine is.
        running = json.dumps({"state": "running", "share": 0.3, "sentence": "fitting"})
        page.route(
            "**/api/jobs/*",
            lambda route: (
                route.fulfill(body=running, content_type="application/json") if route.request.method == "GET" else route.continue_()
            ),
        )
        fit.click()
        page.get_by_text("A new fit is running").wait_for()
        page.get_by_role("button", name="Another tube").click()
        assert page.locator(".ms-run progress").is_visible()
        assert use.is_disabled()
        page.locator(".ms-form").get_by_role("button", name="Stop").click()
        page.get_by_text("Stopped; nothing was kept.").wait_for()


def test_what_is_missing_is_said_in_sight_beside_the_button(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench, height=800) as it:
        opened(it, tmp_path, "pupil")
        it.page.get_by_role("button", name="Fit the pupil").click()
        said = it.page.locator(".ms-run [role=alert]")
        said.wait_for()
        box = said.bounding_box()
        assert box is not None
        assert 0 <= box["y"] <= 800 - box["height"]


def test_a_lens_is_drawn_as_wide_as_its_seat(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench) as it:
        call = """async (lens) => {
          const { tubeScene } = await import("/page/measuring_drawings.js");
          const tall = (name) => Number(tubeScene(lens, null, { reach: 2 }).querySelector(name).getAttribute("height"));
          return [tall(".ms-barrel"), tall(".ms-ring")];
        }"""
        assert it.page.evaluate(call, {"front": {"rim_diameter": 66}, "seat": {"diameter": 70}}) == [70, 66]
