"""Template files read back by other software: SVG by lxml, DXF by ezdxf, PDF by pypdf."""

from __future__ import annotations

import io
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf import recover
from lxml import etree
from pypdf import PdfReader
from template_cases import CASES, TUBE, TUNNEL, Case, petal

from shadewright.errors import FileError, MakeError
from shadewright.make.dxf import dxf_bytes, write_dxf
from shadewright.make.flat import FlatTemplate, LineKind, flatten
from shadewright.make.paper import SIZES, Paper, paper_pdf, registrations, tiling, write_paper
from shadewright.make.pdfpen import broken, drawable
from shadewright.make.svg import svg_bytes, write_svg
from shadewright.model.shape import Rim, RoundHood, RoundWall

LABEL = 'Hood <24-70> & "spare", \u00d8 86\u00b0'
SOME = ("tube-petal", "cone-petal", "stepped", "stepped-lobes", "square-cut", "tunnel")
SVG = "{http://www.w3.org/2000/svg}"


def template_of(name: str) -> FlatTemplate:
    case: Case = TUNNEL if name == "tunnel" else CASES[name]
    return flatten(case.hood, sheet_thickness=case.sheet, back=case.back, tab=case.tab)


def path_points(data: str) -> np.ndarray:
    """Points (n, 2) of an SVG path of straight lines in absolute coordinates."""
    pairs = data.replace("M", " ").replace("L", " ").replace("Z", " ").split()
    return np.array([[float(v) for v in pair.split(",")] for pair in pairs])


@pytest.mark.parametrize("name", SOME)
def test_svg_is_at_true_scale_and_holds_every_line(name: str) -> None:
    template = template_of(name)
    root = etree.fromstring(svg_bytes(template, label=LABEL))
    assert root.tag == f"{SVG}svg"
    box = [float(v) for v in root.get("viewBox").split()]
    for size, side in (("width", box[2]), ("height", box[3])):
        assert root.get(size).endswith("mm")
        assert float(root.get(size)[:-2]) == pytest.approx(side, abs=1e-9)  # a user unit is a millimetre
    check = root.find(f".//{SVG}line[@id='check-line']")
    assert float(check.get("x2")) - float(check.get("x1")) == pytest.approx(100.0, abs=1e-9)
    assert check.get("y1") == check.get("y2")
    assert root.findall(".//*[@transform]") == [
        e for e in root.findall(f".//{SVG}text") if e.get("transform")
    ]
    dashes = set()
    for kind in LineKind:
        group = root.find(f"{SVG}g[@id='{kind.value}']")
        dashes.add(group.get("stroke-dasharray"))
        paths = group.findall(f"{SVG}path")
        assert len(paths) == len(template.lines(kind))
        for path, line in zip(paths, template.lines(kind), strict=True):
            assert path.get("d").endswith("Z") == line.closed
            points = path_points(path.get("d"))
            expected = np.asarray(line.points) * (1, -1)
            assert np.allclose(points - points[0], expected - expected[0], atol=2e-4)
    assert len(dashes) == 3, "kinds of line differ in their dashes, not only in colour"
    black = root.xpath("//*[@stroke='#000000' or @fill='#000000']")
    assert [element.get("id") for element in black] == ["cut"], (
        "a cutter that goes by colour cuts nothing else"
    )
    cut = np.concatenate(
        [path_points(p.get("d")) for p in root.find(f"{SVG}g[@id='cut']").findall(f"{SVG}path")]
    )
    assert cut.min(axis=0).min() >= 0
    assert cut[:, 0].max() <= box[2]
    assert cut[:, 1].max() <= box[3]
    words = " ".join(root.itertext())
    assert LABEL in words
    for text in template.text:
        assert text.text in words
    assert "100 %" in words
    assert "ventilate" in words
    assert "sharp blade" in words


@pytest.mark.parametrize("name", SOME)
def test_dxf_is_sound_in_millimetres_and_holds_every_line(name: str) -> None:
    template = template_of(name)
    document, auditor = recover.read(io.BytesIO(dxf_bytes(template, label=LABEL)))
    assert not auditor.errors
    assert not auditor.fixes
    assert document.header["$INSUNITS"] == ezdxf.units.MM
    assert document.header["$MEASUREMENT"] == 1
    space = document.modelspace()
    for kind, layer in ((LineKind.CUT, "CUT"), (LineKind.FOLD, "FOLD"), (LineKind.MARK, "MARK")):
        assert layer in document.layers
        found = list(space.query(f"LWPOLYLINE[layer=='{layer}']"))
        assert len(found) == len(template.lines(kind))
        for entity, line in zip(found, template.lines(kind), strict=True):
            assert entity.closed == line.closed
            assert np.allclose(np.asarray(entity.get_points("xy")), np.asarray(line.points), atol=1e-9)
    types = {document.layers.get(layer).dxf.linetype for layer in ("CUT", "FOLD", "MARK")}
    assert len(types) == 3
    lengths = [line.dxf.start.distance(line.dxf.end) for line in space.query("LINE")]
    assert max(lengths) == pytest.approx(100.0, abs=1e-9)
    words = " ".join(text.plain_text() for text in space.query("TEXT"))
    assert "THIS SIDE FACES OUT" in words
    assert "Hood <24-70>" in words
    assert {entity.dxf.layer for entity in space} <= {"CUT", "FOLD", "MARK", "TEXT"}


def test_the_same_template_gives_the_same_bytes() -> None:
    first, second = template_of("cone-petal"), template_of("cone-petal")
    assert first == second
    assert svg_bytes(first, label=LABEL) == svg_bytes(second, label=LABEL)
    assert dxf_bytes(first, label=LABEL) == dxf_bytes(second, label=LABEL)
    for paper in Paper:
        assert paper_pdf(first, paper=paper, label=LABEL) == paper_pdf(second, paper=paper, label=LABEL)
    text = dxf_bytes(first, label=LABEL).decode()
    assert "{00000000-0000-0000-0000-000000000000}" in text
    assert "2451544.5" in text


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("name", [*SOME, "long"])
def test_every_page_of_the_pdf_says_where_it_belongs(name: str, paper: Paper) -> None:
    template = template_of(name)
    plan = tiling(template, paper)
    reader = PdfReader(io.BytesIO(paper_pdf(template, paper=paper, label=LABEL)))
    assert len(reader.pages) == len(plan.printed) + 1
    short, long = (v * 72 / 25.4 for v in SIZES[paper])
    for page in reader.pages:
        assert sorted((float(page.mediabox.width), float(page.mediabox.height))) == pytest.approx(
            [short, long], abs=0.01
        )
        assert "100 mm - print at 100 %, no scaling; measure this line" in page.extract_text()
        assert LABEL in page.extract_text()
    cover = reader.pages[0].extract_text()
    flowing = " ".join(cover.split())
    for note in template.notes:
        assert " ".join(note.split()) in flowing
    assert "sharp blade" in cover
    assert "ventilate" in cover
    for number, ((column, row), page) in enumerate(zip(plan.printed, reader.pages[1:], strict=True), start=2):
        words = page.extract_text()
        assert f"page {column}/{row} (column/row)" in words
        assert f"sheet {number} of {len(reader.pages)}" in words
        assert "sharp blade" in words
        assert f"{column}/{row}" in cover


@pytest.mark.parametrize("name", [*SOME, "long"])
def test_the_pages_cover_the_template_and_share_two_crosses_on_each_overlap(name: str) -> None:
    template = template_of(name)
    plan = tiling(template, Paper.A4)
    width, height = plan.field
    boxes = np.array(
        [[*plan.corner(c, r), *np.add(plan.corner(c, r), (width, height))] for c, r in plan.printed]
    )
    for line in (*template.cut, *template.fold, *template.mark):
        for x, y in line.points:
            inside = (boxes[:, 0] <= x) & (x <= boxes[:, 2]) & (boxes[:, 1] <= y) & (y <= boxes[:, 3])
            assert inside.any()
    crosses = registrations(template, plan)
    pairs = [
        (page, (page[0] + dc, page[1] + dr))
        for page in plan.printed
        for dc, dr in ((1, 0), (0, 1))
        if (page[0] + dc, page[1] + dr) in plan.printed
    ]
    for pair in pairs:
        shared = [cross for cross in crosses if cross.pages == pair]
        assert len(shared) == 2
        a, b = shared
        assert np.hypot(a.x - b.x, a.y - b.y) > 25.0
        for cross in shared:
            for page in pair:
                x, y = plan.corner(*page)
                assert 4.0 <= cross.x - x <= width - 4.0
                assert 4.0 <= cross.y - y <= height - 4.0
    assert len(crosses) == 2 * len(pairs)
    assert len({cross.name for cross in crosses}) == len(crosses)


def test_blank_pages_are_left_out_but_the_inside_of_a_piece_is_printed() -> None:
    wide = RoundHood(RoundWall((0.0, 300.0), (150.0, 320.0)), Rim.plain(300.0))
    template = flatten(wide, sheet_thickness=1.0, back=0.0, tab=10.0)
    plan = tiling(template, Paper.A4)
    assert len(plan.printed) < plan.columns * plan.rows
    width, height = plan.field
    piece = np.asarray(template.pieces[0].cut[0].points)
    for column in range(1, plan.columns + 1):
        for row in range(1, plan.rows + 1):
            x, y = plan.corner(column, row)
            inside = (
                (piece[:, 0] > x) & (piece[:, 0] < x + width) & (piece[:, 1] > y) & (piece[:, 1] < y + height)
            )
            if inside.any():
                assert (column, row) in plan.printed
    # A sheet so high that pages lie wholly inside the strip.
    tall = flatten(
        RoundHood(RoundWall((0.0,), (200.0,)), Rim.plain(1000.0)), sheet_thickness=1.0, back=0.0, tab=0.0
    )
    plan = tiling(tall, Paper.A4)
    assert len(plan.printed) == plan.columns * plan.rows


def test_too_many_pages_are_refused_in_words() -> None:
    template = flatten(
        RoundHood(RoundWall((0.0,), (900.0,)), Rim.plain(2800.0)), sheet_thickness=1.0, back=0.0, tab=0.0
    )
    with pytest.raises(MakeError, match="SVG or DXF"):
        tiling(template, Paper.LETTER)


@pytest.mark.parametrize(
    "label",
    [
        "\u6f22\u5b57 \u03c6 \u0159\u0151\u0142 \u2212 \u2264",
        "line\nbreak\ttab\x07bell",
        "x" * 120,
        "%%c %% 100%",
        "\U0001f600",
    ],
)
def test_any_label_can_be_written(label: str) -> None:
    template = template_of("tube-petal")
    etree.fromstring(svg_bytes(template, label=label))
    _, auditor = recover.read(io.BytesIO(dxf_bytes(template, label=label)))
    assert not auditor.errors
    words = PdfReader(io.BytesIO(paper_pdf(template, paper=Paper.A4, label=label))).pages[1].extract_text()
    assert "\u25a0" not in words  # what stands for a glyph that a font lacks
    assert drawable(label) in " ".join(words.split())
    drawable(label).encode("cp1252")


def test_long_words_and_texts_are_broken_to_the_width() -> None:
    rows = broken("one two " + "y" * 300 + " three", 60.0, size=3.0)
    assert "".join(rows).replace(" ", "") == "onetwo" + "y" * 300 + "three"
    assert len(rows) > 4


def test_files_are_written_whole(tmp_path: Path) -> None:
    template = flatten(RoundHood(TUBE, petal()), sheet_thickness=0.5, back=10.0, tab=8.0)
    written = [
        write_svg(tmp_path / "a.svg", template, label=LABEL),
        write_dxf(tmp_path / "a.dxf", template, label=LABEL),
        write_paper(tmp_path / "a.pdf", template, paper=Paper.A4, label=LABEL),
    ]
    assert written[0].read_bytes() == svg_bytes(template, label=LABEL)
    assert written[1].read_bytes() == dxf_bytes(template, label=LABEL)
    assert written[2].read_bytes()[:5] == b"%PDF-"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.dxf", "a.pdf", "a.svg"]
    with pytest.raises(FileError, match="cannot be written"):
        write_svg(tmp_path / "a.svg" / "b.svg", template, label=LABEL)
