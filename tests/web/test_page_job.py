"""The main job in a real browser: from an empty page to files, which are then judged as the command line judges them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
import trimesh
from playwright.sync_api import Browser
from typer.testing import CliRunner

from browser import Watched, browser_at_bench, watched
from shadewright.cli import app
from shadewright.make.meshfiles import read_stl

Bench = tuple[Browser, str]
LENS = {
    "Name": "Teasel 28", "Front ring": "72", "Front glass": "56", "Glass behind ring": "2", "Across what it grips": "72",
    "Focal length": "28", "Widest aperture": "2.8", "Reach": "1.5", "Pupil's depth": "22", "Give or take": "0.5",
}  # fmt: skip


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One browser and one bench for this module."""
    with browser_at_bench() as opened:
        yield opened


def describe(it: Watched) -> None:
    """Describe a wide prime, its camera and a plain hood by form."""
    page = it.page
    page.locator("#begin-describe").click()
    for label, value in LENS.items():
        page.get_by_role("textbox", name=label).first.fill(value)
    page.get_by_role("button", name="On: Camera").click()
    page.get_by_role("combobox", name="Frame").select_option("135")
    page.get_by_role("button", name="On: Hood").click()
    page.get_by_role("textbox", name="Name").fill("Teasel shade")
    page.locator(".choice", has_text="Plain").first.click()
    page.get_by_role("textbox", name="No longer than").fill("40")
    it.settled()


def test_from_an_empty_page_to_files_that_pass(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench, accept_downloads=True) as it:
        page = it.page
        describe(it)
        assert "Nothing shows" in page.inner_text("#sentence")
        it.step("Make")
        it.settled()
        page.get_by_role("button", name="Make the files").click()
        page.locator(".files a").first.wait_for(timeout=180_000)
        names = page.locator(".files a").all_inner_texts()
        assert {Path(name).suffix for name in names} >= {".stl", ".3mf", ".svg", ".dxf", ".pdf"}
        stl = it.save(".files a:text-matches('^(?!.*ring).*[.]stl$')", tmp_path)
        page.locator("#drawer summary").click()
        files = [it.save(f"#save-{name}", tmp_path) for name in ("lens", "camera", "hood")]
    lens, camera, hood = map(str, files)
    judged = CliRunner().invoke(app, ["check", lens, camera, hood, "--json"])
    assert judged.exit_code == 0, judged.output
    assert json.loads(judged.stdout)["clear"] is True
    assert len(read_stl(stl).faces) > 1000
    printed = tmp_path / "printed.toml"
    printed.write_text(f'document = "hood"\nversion = 1\nname = "as printed"\n\n[rim]\nstl = "{stl.name}"\n')
    again = CliRunner().invoke(app, ["check", lens, camera, str(printed), "--json"])
    assert again.exit_code == 0, again.output


def test_page_and_command_line_say_the_same(bench: Bench, tmp_path: Path) -> None:
    """The check run on the page prints what the command line finds for the same documents."""
    with watched(*bench, accept_downloads=True) as it:
        page = it.page
        describe(it)
        it.step("Make")
        page.get_by_role("button", name="Check", exact=True).click()
        said = page.locator(".job", has_text="Check it at every setting")
        said.get_by_text("Tightest at").wait_for(timeout=120_000)
        words = said.inner_text()
        page.locator("#drawer summary").click()
        lens, camera, hood = (str(it.save(f"#save-{name}", tmp_path)) for name in ("lens", "camera", "hood"))
    found = json.loads(CliRunner().invoke(app, ["check", lens, camera, hood, "--json"]).stdout)
    assert f"It could be {found['deeper_by']:.2f} mm deeper" in words
    assert f"Tightest at {found['tightest']}." in words


def test_a_report_for_the_customer(bench: Bench, tmp_path: Path) -> None:
    with watched(*bench, accept_downloads=True) as it:
        describe(it)
        it.step("Make")
        it.page.get_by_role("button", name="Write the report").click()
        report = it.page.locator(".job", has_text="A sheet for the customer").locator(".files a")
        report.first.wait_for(timeout=180_000)
        path = it.save(".job:has-text('A sheet for the customer') .files a", tmp_path)
    assert path.read_bytes()[:5] == b"%PDF-"


def test_a_job_can_be_stopped(bench: Bench) -> None:
    with watched(*bench) as it:
        it.begin()
        it.step("Make")
        box = it.page.locator(".job", has_text="Files for the workshop")
        box.get_by_role("button", name="Make the files").click()
        box.get_by_role("button", name="Stop").click()
        box.get_by_text("Stopped").wait_for()
        assert box.locator(".files a").count() == 0


def test_a_hood_known_only_as_a_mesh_is_judged(bench: Bench, tmp_path: Path) -> None:
    tube = trimesh.creation.annulus(r_min=42.0, r_max=44.0, height=24.0)
    tube.apply_translation([0.0, 0.0, 12.0])
    path = tmp_path / "tube.stl"
    tube.export(path)
    with watched(*bench) as it:
        page = it.page
        it.begin()
        it.step("Hood")
        page.locator(".choice", has_text="One I have").click()
        page.locator("summary", has_text="Or its mesh").click()
        page.locator("#panel input[type=file]").set_input_files(path)
        page.locator("h2", has_text="The hood").wait_for()
        it.settled()
        it.step("Look")
        page.locator("#words-solid", has_text="triangles").wait_for()
        assert page.locator("#section .wall").count() > 0
        it.step("Make")
        page.get_by_role("button", name="Check", exact=True).click()
        page.get_by_text("Clear at all").wait_for(timeout=240_000)
