"""Saved figures: well-formed, the same bytes every time, and nobody's settings but their own."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from show_cases import TUBE, ZOOM, beams, deepest, tunnel

from shadewright.clearance.loss import sensor_view
from shadewright.errors import FileError
from shadewright.light.share import light_map
from shadewright.model.shape import Rim, RoundHood
from shadewright.show import page
from shadewright.show.compare import compare_figure
from shadewright.show.opening import opening_figure
from shadewright.show.rim import rim_figure
from shadewright.show.section import section_figure
from shadewright.show.sensor import sensor_figure
from shadewright.show.sky import sky_figure
from shadewright.show.solid_view import solid_figure

AZIMUTH = np.arange(360.0)
PLAIN = RoundHood(TUBE, Rim.plain(32.0))
FIGURES: dict[str, Callable[[], Figure]] = {
    "section": lambda: section_figure(deepest(ZOOM, TUBE), beams(ZOOM), title="Section"),
    "section-tunnel": lambda: section_figure(tunnel(), beams(ZOOM), title="Section"),
    "sensor": lambda: sensor_figure(
        [], [sensor_view(beams(ZOOM)[0], PLAIN, columns=13, rows=9)], allowance=0.1
    ),
    "opening": lambda: opening_figure(deepest(ZOOM, TUBE), beams(ZOOM)[0]),
    "rim": lambda: rim_figure(
        AZIMUTH, 40 + AZIMUTH * 0, 39 + AZIMUTH * 0, np.zeros(360, int), ["one"], limits=(0.0, 50.0)
    ),
    "sky": lambda: sky_figure(
        {"Plain": light_map(beams(ZOOM)[0], PLAIN, cells=21)}, frames=[beams(ZOOM)[0].frame]
    ),
    "compare": lambda: compare_figure([("One", {"Depth": (2.0, "mm")}), ("Other", {"Depth": (3.0, "mm")})]),
    "solid": lambda: solid_figure(np.eye(3) * 20, np.array([(0, 2, 1)]), title="A face"),
}


@pytest.mark.parametrize("name", sorted(FIGURES))
def test_files_are_well_formed_and_the_same_every_time(name: str, tmp_path: Path) -> None:
    first = page.save(FIGURES[name](), tmp_path / "a" / "figure.one")
    assert [path.name for path in first] == ["figure.one.svg", "figure.one.png"]
    with matplotlib.rc_context({"font.size": 5.0, "svg.hashsalt": "other", "axes.grid": True}):
        second = page.save(FIGURES[name](), tmp_path / "b" / "figure.one")
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes()
    root = ElementTree.fromstring(first[0].read_bytes())
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert root.find("{http://www.w3.org/2000/svg}title").text
    text = first[0].read_text(encoding="utf-8")
    assert "<dc:date>" not in text
    assert str(tmp_path) not in text
    _require_png(first[1].read_bytes())


def _require_png(data: bytes) -> None:
    """A figure for A4 at 200 dots to the inch and no moment of writing (PNG specification: pHYs, tIME)."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    assert width == round(page.PAGE_WIDTH / 25.4 * 200) or width == int(page.PAGE_WIDTH / 25.4 * 200)
    assert height <= page.PAGE_HEIGHT / 25.4 * 200 + 1
    at = data.index(b"pHYs")
    across, down, unit = struct.unpack(">IIB", data[at + 4 : at + 13])
    assert unit == 1
    assert across == down == pytest.approx(200 / 0.0254, abs=1)
    assert b"tIME" not in data


def test_matplotlib_is_left_as_it_was() -> None:
    before = dict(matplotlib.rcParams)
    FIGURES["compare"]()
    assert dict(matplotlib.rcParams) == before


def test_pyplot_is_not_used() -> None:
    source = Path(page.__file__).parent
    for path in source.glob("*.py"):
        assert "pyplot" not in path.read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(FileError, match="cannot be written"):
        page.save(FIGURES["compare"](), tmp_path / "taken" / "figure")


def test_strokes_are_told_apart_without_colour() -> None:
    assert len({stroke.dash for stroke in page.STROKES}) == len(page.STROKES)
    assert len({stroke.marker for stroke in page.STROKES}) == len(page.STROKES)
    assert len({stroke.hatch for stroke in page.STROKES}) == len(page.STROKES)
