"""Forms for the rarer measures, prescriptions, the finish, STEP and meshes: typed in, kept in the link, judged in words, undone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
import trimesh
from playwright.sync_api import Browser

from browser import Watched, browser_at_bench, serious, watched
from shadewright.light.finishes import FINISHES

Bench = tuple[Browser, str]
PRIME, ZOOM = "prime-prescription.toml", "zoom-prescription.toml"
KEPT = "() => JSON.parse(localStorage.getItem('shadewright.bench'))"


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One browser and one bench for this module."""
    with browser_at_bench() as opened:
        yield opened


def demo(name: str) -> Path:
    return Path(str(resources.files("shadewright").joinpath("demo"))) / name


def kept(it: Watched) -> Any:
    """The state as the browser keeps it, when it has come to rest."""
    it.page.wait_for_timeout(500)
    return it.page.evaluate(KEPT)


def field(it: Watched, label: str) -> Any:
    return it.page.get_by_role("textbox", name=label, exact=False).first


def described(it: Watched) -> None:
    """One setting of a lens, its pupil known."""
    it.page.locator("#begin-describe").click()
    field(it, "Pupil's depth").fill("24")
    field(it, "Reach").fill("2")


def test_openings_and_a_moving_pupil_by_form(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        described(it)
        page.locator(".setting summary", has_text="Further openings").click()
        page.get_by_role("button", name="Add the rear opening").click()
        page.get_by_role("button", name="Add another opening").click()
        rear = page.get_by_role("group", name="Rear opening")
        rear.get_by_role("textbox", name="Its depth").fill("52")
        rear.get_by_role("textbox", name="Across").fill("38")
        state = kept(it)["lens"]["state"][0]
        assert state["rear_window"] == {"depth": 52, "radius": 19}
        assert state["windows"][0]["depth"] == -2
        field(it, "Pupil's depth from there").fill("21")
        page.get_by_role("button", name="Work it out from these").click()
        # Three millimetres at 30 degrees: -3 / tan^2 30 = -9.
        assert kept(it)["lens"]["state"][0]["pupil_wander"] == [-9, 0]
        assert "1.2 mm forward at 20°" in page.locator(".comes-to").inner_text()  # 9 tan^2 20 = 1.192
        rear.get_by_role("textbox", name="Off centre, right").fill("2")
        page.locator(".problems", has_text="pupil_wander belongs to a lens whose windows are centred").wait_for()
        rear.get_by_role("textbox", name="Off centre, right").fill("")
        page.wait_for_function("() => document.querySelector('.problems').hidden")
        rear.get_by_role("textbox", name="Across").fill("-4")
        page.locator(".opening .wrong:visible").first.wait_for()
        assert serious(it) == []
        page.get_by_role("button", name="Take out: Rear opening").click()
        assert "rear_window" not in kept(it)["lens"]["state"][0]
        page.click("#undo")
        assert kept(it)["lens"]["state"][0]["rear_window"]["depth"] == 52


def test_an_opening_belongs_to_every_setting(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        described(it)
        page.get_by_role("button", name="Add a setting").click()
        page.locator(".setting summary", has_text="Further openings").first.click()
        page.get_by_role("button", name="Add the rear opening").first.click()
        assert all("rear_window" in state for state in kept(it)["lens"]["state"])


def test_shift_is_set_once_for_all_settings_and_takes_of_the_rim(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        described(it)
        it.step("Camera")
        it.settled()
        before = page.inner_text("#numbers")
        field(it, "To either side").fill("6")
        field(it, "Up or down").fill("9")
        it.settled()
        assert kept(it)["lens"]["state"][0]["shift"] == [6, 9]
        told = page.locator("svg[aria-label^='The frame in the lens']").get_attribute("aria-label")
        assert "6.0 mm to either side, 9.0 mm up or down" in str(told)
        assert page.inner_text("#numbers") != before
        assert serious(it) == []
        page.reload()
        it.settled()
        assert field(it, "Up or down").input_value() == "9"


def test_vanes_and_ridges_are_asked_for_and_drawn(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        it.begin(1)
        it.step("Hood")
        page.locator(".choice", has_text="Vanes").click()
        field(it, "They stand off the wall").fill("2")
        assert kept(it)["hood"]["wishes"]["vane_depth"] == 2
        it.settled()
        page.locator("#section .vane").first.wait_for(state="attached")
        assert page.locator("#section .vane").count() >= 2
        assert serious(it) == []
        page.locator(".choice", has_text="Ridges").click()
        field(it, "From one to the next").fill("0.5")
        page.locator(".field .wrong:visible").first.wait_for()
        field(it, "From one to the next").fill("3")
        hood = kept(it)["hood"]
        assert hood["ridges"] == {"pitch": 3, "depth": 1}
        assert "vane_depth" not in hood.get("wishes", {})
        page.locator(".choice", has_text="Bare").click()
        assert "ridges" not in kept(it)["hood"]


def test_a_prescription_is_loaded_shown_and_drives_the_views(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        it.begin(1)
        measured = kept(it)["lens"]["name"]
        it.step("Lens")
        page.locator("summary", has_text="You have its prescription").click()
        page.locator("input[aria-label='Prescription of the lens']").set_input_files(
            {"name": "table.zmx", "mimeType": "text/plain", "buffer": b"nothing of the kind"}
        )
        page.locator(".wrong:visible", has_text="table.zmx").wait_for()
        page.locator("input[aria-label='Prescription of the lens']").set_input_files(demo(PRIME))
        facts = page.locator("table.facts")
        facts.wait_for()
        rows = {row.split("\t")[0]: row.split("\t")[1:] for row in facts.inner_text().splitlines() if "\t" in row}
        assert rows["Aperture"][0] == "f/2"
        assert float(rows["Focal length"][0].removesuffix(" mm")) == pytest.approx(35.0, abs=0.6)
        assert page.locator(".surfaces .pic-glass").count() == 8  # its glasses, each between two surfaces
        assert "measure it" in page.locator(".notes").inner_text()
        field(it, "Front vertex").fill("1.5")
        assert kept(it)["lens"]["placement"][0]["vertex_reach"] == 1.5
        it.settled()
        assert serious(it) == []
        assert page.inner_text("#said-stop") == "f/2"
        page.wait_for_function("() => location.hash.startsWith('#d=')")
        page.reload()
        it.settled()
        page.locator("table.facts").wait_for()
        page.get_by_role("button", name="Describe it by measuring instead").click()
        assert "prescription" not in kept(it)["lens"]
        page.click("#undo")
        assert kept(it)["lens"]["prescription"]["name"] != measured


def test_a_lens_document_opens_with_the_prescription_that_it_names(bench: Bench, tmp_path: Path) -> None:
    lens = tmp_path / "lens.toml"
    lens.write_text(
        f'document = "lens"\nversion = 1\nname = "Traced one"\nprescription = "{PRIME}"\n[front]\nrim_diameter = 62\n'
        '[[placement]]\nsetting = "infinity"\nvertex_reach = 2\n'
    )
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        it.begin(1)
        picker = page.locator("input[aria-label='Documents to open']")
        picker.set_input_files(lens)
        page.locator(".toast", has_text="open both together").wait_for()
        picker.set_input_files([lens, demo(PRIME)])
        page.locator(".toast", has_text="Opened: prescription, lens").wait_for()
        found = kept(it)["lens"]
        assert (found["name"], found["placement"][0]["vertex_reach"]) == ("Traced one", 2)
        assert found["prescription"]["surface"]


def test_the_finish_is_chosen_from_the_table(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        it.begin(1)
        it.step("Make")
        choice = page.get_by_role("combobox", name="Finish of the inside")
        choice.wait_for()
        names = choice.locator("option").evaluate_all("(list) => list.map((entry) => entry.value)")
        assert names == ["", *(finish.name for finish in FINISHES), "other"]
        choice.select_option("black velvet")
        told = page.locator(".finish")
        assert "0.8\u00a0% of light straight on" in told.inner_text()
        assert "from memory" in told.inner_text()
        assert kept(it)["hood"]["build"]["finish"] == "black velvet"
        choice.select_option("other")
        assert told.is_hidden()
        field(it, "Its name").fill("soot")
        assert kept(it)["hood"]["build"]["finish"] == "soot"
        assert serious(it) == []
        choice.select_option("")
        assert "finish" not in kept(it)["hood"].get("build", {})


def test_step_is_offered_where_it_is_installed(bench: Bench) -> None:
    with watched(*bench) as it:
        page = it.page
        asked: list[Any] = []
        page.on("request", lambda r: asked.append(json.loads(r.post_data or "{}")) if r.url.endswith("/api/jobs") else None)
        page.route("**/api/about", lambda route: route.fulfill(json={"program": "shadewright", "version": "1", "step": False}))
        page.reload()
        it.begin(1)
        it.step("Make")
        tick = page.get_by_role("checkbox", name="exact solid")
        page.get_by_text("pip install shadewright[step]").wait_for()
        assert tick.is_disabled()
        page.unroute("**/api/about")
        page.route("**/api/about", lambda route: route.fulfill(json={"program": "shadewright", "version": "1", "step": True}))
        page.reload()
        it.settled()
        it.step("Make")
        tick.check()
        assert page.get_by_text("pip install").count() == 0
        box = page.locator(".job", has_text="Files for the workshop")
        box.get_by_role("button", name="Make the files").click()
        box.get_by_role("button", name="Stop").click()
        box.get_by_text("Stopped").wait_for()
        assert asked[0]["options"]["step"] is True


def tube(folder: Path) -> Path:
    made = trimesh.creation.annulus(r_min=42.0, r_max=44.0, height=20.0)
    made.apply_translation([0.0, 0.0, 10.0])
    made.export(folder / "tube.stl")
    return folder / "tube.stl"


def with_mesh(it: Watched, path: Path) -> None:
    """A design whose hood is known by a mesh alone."""
    page = it.page
    it.begin(1)
    it.step("Hood")
    page.locator(".choice", has_text="One I have").click()
    page.locator("summary", has_text="Or its mesh").click()
    page.locator("#panel input[type=file]").set_input_files(path)
    page.locator("#panel", has_text="judged as it is").wait_for()
    it.settled()


def test_a_mesh_is_missed_by_a_link_and_held_by_a_saved_design(bench: Bench, tmp_path: Path) -> None:
    browser, address = bench
    path = tube(tmp_path)
    with watched(browser, address, accept_downloads=True) as it:
        page = it.page
        with_mesh(it, path)
        name = kept(it)["mesh"]["id"]
        said, link = page.inner_text("#sentence"), page.url
        page.click("#drawer summary")
        saved = it.save("#save-design", tmp_path)
        assert json.loads(saved.read_text())["mesh"]["id"] == name
    with watched(browser, address, expect_errors=True) as it:
        # Another browser at a bench that does not hold the mesh: the link says so, and the saved design brings it.
        page = it.page
        page.route(f"**/api/meshes/{name}", lambda route: route.fulfill(json={"mesh": name, "held": False}))
        page.goto(link)
        page.locator("#beneath", has_text="Load tube.stl again").wait_for()
        it.step("Hood")
        page.locator("#panel .wrong", has_text="Load the STL again").wait_for()
        assert serious(it) == []
        page.locator("input[aria-label='Documents to open']").set_input_files(saved)
        page.locator("#panel", has_text="judged as it is").wait_for()
        it.settled()
        assert page.inner_text("#sentence") == said
        assert kept(it)["mesh"]["id"] == name


def test_a_mesh_that_the_program_dropped_comes_back_from_the_browser(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench) as it:
        page = it.page
        with_mesh(it, tube(tmp_path))
        sent: list[str] = []
        page.on("request", lambda r: sent.append(r.method) if r.url.endswith("/api/meshes") else None)
        name = kept(it)["mesh"]["id"]
        page.route(f"**/api/meshes/{name}", lambda route: route.fulfill(json={"mesh": name, "held": False}))
        page.reload()
        it.settled()
        assert sent == ["POST"]
        assert page.locator("#sentence").inner_text().strip()
        it.step("Compare")
        page.get_by_role("button", name="Put the present hood beside them").click()
        page.locator(".candidate tr", has_text="Across").wait_for()
        assert kept(it)["kept"][0]["mesh"]["id"] == name


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_phone_has_room_for_the_new_forms(bench: Bench, scheme: str) -> None:
    with watched(*bench, width=390, height=844, has_touch=True, is_mobile=True, color_scheme=scheme) as it:
        page = it.page
        fits = "() => document.documentElement.scrollWidth <= innerWidth"
        described(it)
        page.locator(".setting summary", has_text="Further openings").tap()
        page.get_by_role("button", name="Add the rear opening").tap()
        assert page.evaluate(fits)
        assert serious(it) == []
        page.locator("summary", has_text="You have its prescription").tap()
        page.locator("input[aria-label='Prescription of the lens']").set_input_files(demo(ZOOM))
        page.locator("table.facts").wait_for()
        assert page.evaluate(fits)
        assert serious(it) == []
        for step in ("Camera", "Hood", "Make"):
            it.step(step)
            page.wait_for_timeout(300)
            assert page.evaluate(fits), step


def test_words_at_the_rim_keep_off_the_panels_edge(bench: Bench) -> None:
    """Whatever the size of the panel and the depth of the hood, no note in the section comes nearer than 2 px to its frame."""
    with watched(*bench) as it:
        page = it.page
        it.begin(1)
        for width, height in ((1440, 620), (700, 500)):
            page.set_viewport_size({"width": width, "height": height})
            for depth in (0, 8):
                it.slide("depth", depth)
                nearest = page.evaluate(
                    """() => {
                      const frame = document.querySelector('#section .ground').getBoundingClientRect();
                      return Math.min(...[...document.querySelectorAll('#section .note')].map((note) => {
                        const box = note.getBoundingClientRect();
                        return Math.min(box.left - frame.left, frame.right - box.right, box.top - frame.top, frame.bottom - box.bottom);
                      }));
                    }"""
                )
                assert nearest >= 2, (width, height, depth)


def test_a_front_glass_wider_than_its_ring_is_marked_in_words_of_the_page(bench: Bench) -> None:
    with watched(*bench, expect_errors=True) as it:
        page = it.page
        it.begin(1)
        it.step("Lens")
        field(it, "Front glass").fill("190")
        page.locator(".field", has=page.get_by_role("textbox", name="Front glass")).locator(".wrong:visible").wait_for()
        assert field(it, "Front glass").get_attribute("aria-invalid") == "true"
        page.locator("#verdict[data-verdict=refused]").wait_for()
        assert "The front glass cannot be wider than the front ring" in page.inner_text("#beneath")
        assert "_" not in page.inner_text("#beneath")


def test_a_loaded_tube_shows_its_width(bench: Bench, tmp_path: Path) -> None:
    hood = tmp_path / "tube.toml"
    hood.write_text(
        'document = "hood"\nversion = 1\nname = "Tube"\n[wall]\nshape = "tube"\ninner_diameter = 94\n[rim]\nshape = "plain"\n'
    )
    with watched(*bench) as it:
        it.begin(1)
        it.page.set_input_files("input[aria-label='Documents to open']", hood)
        it.step("Hood")
        assert field(it, "Inside diameter").input_value() == "94"
        assert it.page.get_by_role("combobox", name="Shape").input_value() == "tube"
