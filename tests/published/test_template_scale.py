"""Printed templates come out at true size: units and paper sizes as published, distances measured in pixels.

Sources. ISO 216: A4 is 210 mm x 297 mm. Letter is 8.5 in x 11 in (ANSI/ASME Y14.1, size A), and one inch is
25.4 mm (international inch of 1959). ISO 32000-1, 8.3.2.3: the unit of a PDF page is 1/72 inch. DXF
reference, HEADER section: $INSUNITS 4 means millimetres, $MEASUREMENT 1 means metric. SVG 1.1, 7.7 to 7.10:
the viewBox sets the user unit, and "mm" is a real millimetre. ISO 5455: scales 2:1, 1:1, 1:2, 1:5, 1:10, 1:20
and 1:50. All from memory, clause numbers included.
"""

from __future__ import annotations

import io
import math
import re

import numpy as np
import pypdfium2 as pdfium
import pytest
from lxml import etree
from numpy.typing import NDArray
from pypdf import PdfReader

from shadewright.make.drawing import SCALES
from shadewright.make.dxf import dxf_bytes
from shadewright.make.flat import FlatTemplate, flatten
from shadewright.make.paper import FOOT, SIDE, Paper, paper_pdf, registrations, tiling
from shadewright.make.svg import svg_bytes
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

DPI = 300
PER_MM = DPI / 25.4
"""Pixels in a millimetre: an inch of 25.4 mm has 300."""
HOODS: dict[str, RoundHood | TunnelHood] = {
    "tube": RoundHood(RoundWall((0.0,), (43.0,)), Rim.plain(40.0)),
    "cone": RoundHood(RoundWall((0.0, 50.0), (41.0, 58.0)), Rim.plain(45.0)),
    "tunnel": TunnelHood(TunnelWall(60.0, 40.0), TunnelRim(38.0, 52.0, 36.0, 50.0)),
    "long": RoundHood(RoundWall((0.0, 300.0), (80.0, 95.0)), Rim.plain(330.0)),
}


def template_of(name: str) -> FlatTemplate:
    return flatten(HOODS[name], sheet_thickness=0.5, back=12.0, tab=10.0)


def rendered(pdf: bytes) -> list[NDArray[np.bool_]]:
    """Every page as dark pixels, row 0 at the top."""
    document = pdfium.PdfDocument(pdf)
    return [np.squeeze(page.render(scale=DPI / 72, grayscale=True).to_numpy()) < 160 for page in document]


def groups(values: NDArray[np.intp]) -> list[float]:
    """Middles of runs of neighbouring integers."""
    parts = np.split(values, np.flatnonzero(np.diff(values) > 1) + 1)
    return [float(part[0] + part[-1] + 1) / 2 for part in parts if len(part)]


def longest_run(row: NDArray[np.bool_]) -> int:
    """Length of the longest run of dark pixels."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return int((ends[1::2] - ends[::2]).max(initial=0))


def check_line_ticks(page: NDArray[np.bool_]) -> list[float]:
    """Places in mm of the ticks of the check line, found in the foot of a page wherever it stands."""
    foot = page[-int(FOOT * PER_MM) :]
    longest, row = max((longest_run(pixels), k) for k, pixels in enumerate(foot))
    assert longest > 80 * PER_MM, "there is no long line in the foot"
    above = foot[row - round(0.7 * PER_MM)] & foot[row + round(0.7 * PER_MM)]
    dark = np.flatnonzero(foot[row])
    begin, end = dark.min(), dark.max()
    ticks = np.flatnonzero(above)
    return [
        g / PER_MM for g in groups(ticks[(ticks >= begin - 2) & (ticks <= min(end, begin + longest) + 2)])
    ]


def cross_centre(page: NDArray[np.bool_], x: float, y: float) -> tuple[float, float]:
    """Centre in mm (from left and bottom) of the cross near (x, y): the darkest column and row there."""
    reach = 3.0
    height = page.shape[0]
    left, top = round((x - reach) * PER_MM), round(height - (y + reach) * PER_MM)
    size = round(2 * reach * PER_MM)
    window = page[top : top + size, left : left + size]
    columns, rows = window.sum(axis=0), window.sum(axis=1)
    assert columns.max() > 0.95 * size
    assert rows.max() > 0.95 * size
    column = groups(np.flatnonzero(columns > 0.9 * columns.max()))[0]
    row = groups(np.flatnonzero(rows > 0.9 * rows.max()))[0]
    return (left + column) / PER_MM, (height - top - row) / PER_MM


@pytest.mark.parametrize(
    ("paper", "size"), [(Paper.A4, (210.0, 297.0)), (Paper.LETTER, (8.5 * 25.4, 11 * 25.4))]
)
def test_pages_have_the_published_size(paper: Paper, size: tuple[float, float]) -> None:
    reader = PdfReader(io.BytesIO(paper_pdf(template_of("tube"), paper=paper, label="Hood")))
    for page in reader.pages:
        found = sorted(float(v) / 72 * 25.4 for v in (page.mediabox.width, page.mediabox.height))
        assert found == pytest.approx(size, abs=0.005)
        assert page.user_unit == 1.0  # so that the unit stays 1/72 inch


@pytest.mark.parametrize(
    ("name", "paper"), [("tube", Paper.A4), ("cone", Paper.LETTER), ("tunnel", Paper.A4), ("long", Paper.A4)]
)
def test_the_check_line_measures_100_mm_and_crosses_meet_on_every_page(name: str, paper: Paper) -> None:
    template = template_of(name)
    plan = tiling(template, paper)
    pages = rendered(paper_pdf(template, paper=paper, label="Hood"))
    assert len(pages) == len(plan.printed) + 1
    for page in pages:
        ticks = check_line_ticks(page)
        assert len(ticks) == 11
        assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.2)
        assert np.diff(ticks) == pytest.approx(10.0, abs=0.2)

    # Where each cross really stands on its two pages, and so how far one page's field is from the next.
    measured: dict[tuple[int, int], dict[str, tuple[float, float]]] = {page: {} for page in plan.printed}
    crosses = registrations(template, plan)
    for cross in crosses:
        for place in cross.pages:
            x0, y0 = plan.corner(*place)
            image = pages[1 + plan.printed.index(place)]
            measured[place][cross.name] = cross_centre(image, cross.x - x0 + SIDE, cross.y - y0 + FOOT)
    for place, found in measured.items():
        names = sorted(found)
        for a in names:
            for b in names:
                wanted = [next((c.x, c.y) for c in crosses if c.name == n) for n in (a, b)]
                gap = math.dist(found[a], found[b])
                assert gap == pytest.approx(math.dist(*wanted), abs=0.2), (
                    f"crosses {a} and {b} on page {place}"
                )
    for cross in crosses:
        first, second = (measured[page][cross.name] for page in cross.pages)
        shift = np.subtract(plan.corner(*cross.pages[1]), plan.corner(*cross.pages[0]))
        assert np.subtract(first, second) == pytest.approx(shift, abs=0.2)


def test_a_strip_joined_over_two_pages_is_as_long_as_the_formula_says() -> None:
    """Left edge to cross on one page, cross to right edge on the next: together pi (D + s) and the tab."""
    template = template_of("tube")
    plan = tiling(template, Paper.A4)
    assert plan.printed == ((1, 1), (2, 1))
    pages = rendered(paper_pdf(template, paper=Paper.A4, label="Hood"))[1:]
    cross = registrations(template, plan)[0]
    spans = []
    for page, place in zip(pages, plan.printed, strict=True):
        x0, y0 = plan.corner(*place)
        centre_x, _ = cross_centre(page, cross.x - x0 + SIDE, cross.y - y0 + FOOT)
        # A row between near edge and seat plane, where the strip has only its ends and centre lines.
        row = page.shape[0] - round((template.pieces[0].origin[1] - 6.0 - y0 + FOOT) * PER_MM)
        dark = np.asarray(groups(np.flatnonzero(page[row]))) / PER_MM
        inner = dark[(dark > SIDE + 0.5) & (dark < page.shape[1] / PER_MM - SIDE - 0.5)]
        spans.append(centre_x - inner.min() if place == (1, 1) else inner.max() - centre_x)
    assert sum(spans) == pytest.approx(math.pi * 86.5 + 10.0, abs=0.4)


def test_svg_and_dxf_say_millimetres_in_the_published_way() -> None:
    template = template_of("cone")
    root = etree.fromstring(svg_bytes(template, label="Hood"))
    view = [float(v) for v in root.get("viewBox").split()]
    width, height = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
    assert root.get("width").endswith("mm")
    assert (width / view[2], height / view[3]) == pytest.approx((1.0, 1.0), abs=1e-9)
    text = dxf_bytes(template, label="Hood").decode()
    header = dict(re.findall(r"  9\n\$(\w+)\n *\d+\n *([^\n]+)\n", text))
    assert header["INSUNITS"] == "4"
    assert header["MEASUREMENT"] == "1"


def test_drawing_scales_are_those_of_iso_5455() -> None:
    published = {
        (2, 1),
        (1, 1),
        (1, 2),
        (1, 5),
        (1, 10),
        (1, 20),
        (1, 50),
    }  # ISO 5455:1979, table, from memory
    assert set(SCALES) == published
