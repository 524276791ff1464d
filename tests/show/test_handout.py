"""The report to hand over: its verdict is the check's, whatever the hood is, and names are taken as they are."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pypdf
import pytest

from lenses import camera, hood, prime
from shadewright.design.fit import fit
from shadewright.make.paper import SIZES, Paper
from shadewright.model.hood import Hood, RimShape
from shadewright.model.shape import HoodShape, RoundHood, TunnelHood
from shadewright.optics.beam import Job
from shadewright.show.handout import write_handout

DAY = date(2026, 1, 2)


def text_of(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def fitted(shape: RimShape, **wishes: object) -> tuple[Job, Hood, HoodShape]:
    found = fit(prime(), camera(), hood(shape, largest_length=40.0, **wishes))
    return found.job, found.hood, found.shape


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[tuple[Job, Hood, HoodShape], Path]:
    """A clear plain hood and its report."""
    found = fitted(RimShape.PLAIN)
    path = tmp_path_factory.mktemp("report") / "a.pdf"
    return found, write_handout(*found, path, made_on=DAY, warnings=("Mind <this> & that.",))


def test_a_clear_hood_is_said_to_be_clear(plain: tuple[tuple[Job, Hood, HoodShape], Path]) -> None:
    (_job, document, shape), path = plain
    said = text_of(path)
    assert "does not show at the one setting there is" in said
    assert document.name in said
    assert "Mind <this> & that." in said
    assert "2026-01-02" in said
    assert isinstance(shape, RoundHood)
    assert f"{shape.rim.deepest:.1f} and {shape.rim.shallowest:.1f} mm" in said
    assert page_size(path) == pytest.approx(SIZES[Paper.A4], abs=0.1)


def page_size(path: Path) -> tuple[float, float]:
    """Width and height of the first page, mm."""
    box = pypdf.PdfReader(path).pages[0].mediabox
    return float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72


def test_the_same_report_is_the_same_bytes(plain: tuple[tuple[Job, Hood, HoodShape], Path], tmp_path: Path) -> None:
    found, path = plain
    again = write_handout(*found, tmp_path / "b.pdf", made_on=DAY, warnings=("Mind <this> & that.",))
    assert again.read_bytes() == path.read_bytes()


def test_a_hood_that_shows_is_said_to_show_and_where(plain: tuple[tuple[Job, Hood, HoodShape], Path], tmp_path: Path) -> None:
    (job, document, shape), _path = plain
    assert isinstance(shape, RoundHood)
    deeper = RoundHood(shape.wall, shape.rim.moved(5.0))
    path = write_handout(job, document, deeper, tmp_path / "a.pdf", paper=Paper.LETTER, made_on=DAY)
    said = text_of(path)
    assert "The hood shows" in said
    assert "Where it shows" in said
    assert "does not show" not in said
    assert page_size(path) == pytest.approx(SIZES[Paper.LETTER], abs=0.1)


def test_a_tunnel_has_its_lips_listed_and_an_allowance_used_is_told(tmp_path: Path) -> None:
    job, document, shape = fitted(RimShape.TUNNEL, allowance=0.2)
    assert isinstance(shape, TunnelHood)
    said = text_of(write_handout(job, document, shape, tmp_path / "a.pdf", made_on=DAY))
    assert f"Lip, top {shape.rim.top:.1f} mm" in said
    assert "within the 0.2 stop allowed" in said
