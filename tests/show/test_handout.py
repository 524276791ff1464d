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


@pytest.mark.parametrize("paper", list(Paper))
def test_a_clear_hood_is_said_to_be_clear(tmp_path: Path, paper: Paper) -> None:
    job, document, shape = fitted(RimShape.PLAIN)
    path = write_handout(job, document, shape, tmp_path / "a.pdf", paper=paper, made_on=DAY, warnings=("Mind <this> & that.",))
    said = text_of(path)
    assert "does not show at the one setting there is" in said
    assert f"{document.name}" in said
    assert "Mind <this> & that." in said
    assert "2026-01-02" in said
    assert isinstance(shape, RoundHood)
    assert f"{shape.rim.deepest:.1f} and {shape.rim.shallowest:.1f} mm" in said
    box = pypdf.PdfReader(path).pages[0].mediabox
    assert (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72) == pytest.approx(SIZES[paper], abs=0.1)


def test_the_same_report_is_the_same_bytes(tmp_path: Path) -> None:
    job, document, shape = fitted(RimShape.PLAIN)
    first = write_handout(job, document, shape, tmp_path / "a.pdf", made_on=DAY).read_bytes()
    assert write_handout(job, document, shape, tmp_path / "b.pdf", made_on=DAY).read_bytes() == first


def test_a_hood_that_shows_is_said_to_show_and_where(tmp_path: Path) -> None:
    job, document, shape = fitted(RimShape.PLAIN)
    assert isinstance(shape, RoundHood)
    said = text_of(write_handout(job, document, RoundHood(shape.wall, shape.rim.moved(5.0)), tmp_path / "a.pdf", made_on=DAY))
    assert "The hood shows" in said
    assert "Where it shows" in said
    assert "does not show" not in said


def test_a_tunnel_has_its_lips_listed(tmp_path: Path) -> None:
    job, document, shape = fitted(RimShape.TUNNEL)
    assert isinstance(shape, TunnelHood)
    said = text_of(write_handout(job, document, shape, tmp_path / "a.pdf", made_on=DAY))
    assert f"Lip, top {shape.rim.top:.1f} mm" in said


def test_an_allowance_used_is_told(tmp_path: Path) -> None:
    job, document, shape = fitted(RimShape.PLAIN, allowance=0.2)
    said = text_of(write_handout(job, document, shape, tmp_path / "a.pdf", made_on=DAY))
    assert "within the 0.2 stop allowed" in said
