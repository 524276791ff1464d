"""The drawing sheet: every figure on it, its scale measured on the rendered page, areas of its sections."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from pypdf import PdfReader
from template_cases import CASES, STEPPED, TUBE, TUNNEL, petal, shoelace

from shadewright.errors import MakeError
from shadewright.make.draft import half_section, hatch, largest_outside, seat_size
from shadewright.make.drawing import CAUTIONS, drawing_pdf, write_drawing
from shadewright.make.pdfpen import Pen
from shadewright.model.hood import Build, Hood, SeatKind
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood

WARNINGS = ("Pupil depth of state 2 is an estimate (\u00b16 mm).", "The image circle is not stated.")
SEAT = "Slip-on, sliding fit: 82.20 mm inside on a barrel of 82.0 mm."
MADE_FOR = "Invented zoom 24-70 mm f/2.8 on a 36 \u00d7 24 mm body."


def document_of(name: str = "Invented hood \u00d8 86", **build: object) -> Hood:
    made = Build(**build)  # type: ignore[arg-type]
    return Hood(document="hood", version=1, name=name, notes="For the stills kit.", build=made)


def drawn(
    hood: RoundHood | TunnelHood,
    document: Hood,
    *,
    warnings: tuple[str, ...] = WARNINGS,
    made_for: str = MADE_FOR,
) -> bytes:
    return drawing_pdf(
        hood, document, seat_text=SEAT, made_for=made_for, warnings=warnings, date="2030-01-31"
    )


def words_of(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


@pytest.mark.parametrize(
    "name", ["tube-petal", "cone-petal", "narrowing-petal", "stepped", "square-cut", "long", "tunnel"]
)
def test_the_sheet_says_what_a_workshop_must_know(name: str) -> None:
    hood = (TUNNEL if name == "tunnel" else CASES[name]).hood
    document = document_of(seat_diameter=82.0)
    first, second = words_of(drawn(hood, document))
    for page in (first, second):
        for text in (
            "Invented hood \u00d8 86",
            "2030-01-31",
            "Units mm",
            "Scale 1:",
            "\u00b10.3 mm",
            "+0 / -0.5 mm",
            "third angle",
        ):
            assert text in page
    assert SEAT in first
    assert "A-A" in first
    assert "B-B" in second
    for text in (*WARNINGS, *CAUTIONS, MADE_FOR, "For the stills kit."):
        assert text in second
    assert "\u25a0" not in first + second
    assert "1 of 2" in first
    assert "2 of 2" in second
    assert "\u00d8 82.20 seat inside" in first
    assert "12 seat" in first
    if isinstance(hood, TunnelHood):
        for lip in (38.0, 52.0, 36.0, 50.0):
            assert f"{lip:.2f}" in second
        assert "80.00 inside" in first
        assert "84.00 outside" in first
        assert "120.00 inside" in second
        return
    for azimuth in range(0, 360, 15):
        z = float(hood.rim.z_at(azimuth))
        diameter = 2 * float(hood.wall.radius_at(z))
        assert f" {azimuth} {z:.2f} {diameter:.2f}" in second
    assert f"{hood.rim.z_at(90):.2f} top" in first
    assert f"{hood.rim.z_at(270):.2f} bottom" in first
    assert f"{hood.rim.z_at(0):.2f} right" in second
    assert f"{hood.rim.z_at(180):.2f} left" in second
    end = min(float(hood.rim.z_at(90)), float(hood.rim.z_at(270)))
    inside = 2 * float(hood.wall.radius_at(end))
    assert f"\u00d8 {inside:.2f} inside" in first
    assert f"\u00d8 {inside + 4:.2f} outside" in first
    if hood.rim.deepest > hood.rim.shallowest:
        assert f"lowest z {hood.rim.shallowest:.2f}" in first


def test_a_thread_is_named_and_a_missing_seat_diameter_is_said() -> None:
    hood = CASES["tube-petal"].hood
    threaded = words_of(drawn(hood, document_of(seat=SeatKind.THREAD, thread="M77x0.75", seat_length=4.0)))[0]
    assert "M77x0.75 thread" in threaded
    unknown = words_of(drawn(hood, document_of()))[0]
    assert "seat's diameter is not in the hood's document" in unknown
    assert "seat inside" not in unknown


@pytest.mark.parametrize(
    ("radius", "depth", "scale"),
    [(18.0, 20.0, 2.0), (43.0, 40.0, 1.0), (60.0, 90.0, 0.5), (190.0, 300.0, 0.2), (1400.0, 2500.0, 0.02)],
)
def test_the_drawing_is_true_to_its_stated_scale(radius: float, depth: float, scale: float) -> None:
    """Outside diameter in the front view and length in the section, measured on the rendered page."""
    hood = RoundHood(RoundWall((0.0,), (radius,)), Rim.plain(depth))
    document = document_of(seat_diameter=2 * radius - 0.2, thickness=2.0)
    pdf = drawn(hood, document)
    stated = re.search(r"Scale (\d+):(\d+)", words_of(pdf)[0])
    assert stated
    assert int(stated[1]) / int(stated[2]) == scale
    per_mm = 20.0
    image = pdfium.PdfDocument(pdf)[0].render(scale=per_mm * 25.4 / 72, grayscale=True).to_numpy()
    dark = np.squeeze(image) < 128
    # A row above the middle of both views, clear of texts: the front view's circle is the last thing on it.
    outside = scale * (radius + 2.0)
    page_middle = 8 + 36 + (210 - 16 - 36) / 2 - 1.0
    row = round((210 - page_middle - 0.6 * outside) * per_mm)
    line = np.flatnonzero(dark[row]) / per_mm
    line = line[(line > 9) & (line < 288)]
    stroke = 0.5 if scale * 2.0 > 1.2 else 0.25
    chord = 2 * np.sqrt((outside + stroke / 2) ** 2 - (0.6 * outside) ** 2)
    right = line.max()
    left = line[line > right - chord - 8.0].min()
    assert right - left == pytest.approx(chord, abs=0.2)
    # In the section the seat's end and the rim are upright lines, as far apart as seat and depth together.
    gaps = line[None, :] - line[:, None]
    assert np.abs(gaps[:, line < left - 5.0] - scale * (depth + 12.0)).min() < 0.15


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 270.0])
def test_half_sections_have_the_area_of_wall_and_seat(azimuth: float) -> None:
    hood = RoundHood(TUBE, petal(skew=5.0))
    document = document_of(seat_diameter=85.8, thickness=2.0, seat_length=12.0)
    area = sum(shoelace(np.asarray(loop)) for loop in half_section(hood, azimuth, document))
    assert area == pytest.approx(2.0 * (float(hood.rim.z_at(azimuth)) + 12.0), rel=1e-6)
    tunnel_area = sum(
        shoelace(np.asarray(loop)) for loop in half_section(TUNNEL.hood, azimuth, document_of())
    )
    lips = {0.0: 38.0, 90.0: 52.0, 180.0: 36.0, 270.0: 50.0}
    assert tunnel_area == pytest.approx(2.0 * (lips[azimuth] + 12.0), rel=1e-6)


def test_half_sections_are_one_outline_whatever_the_seat() -> None:
    for name in ("tube-petal", "cone-petal", "narrowing-petal", "stepped"):
        for build in (
            {"seat_diameter": 70.0},
            {"seat_diameter": 95.0},
            {"seat_diameter": 120.0},
            {"seat": SeatKind.THREAD, "thread": "M72x0.75"},
        ):
            document = document_of(**build)
            hood = CASES[name].hood
            loops = half_section(hood, 90.0, document)
            assert len(loops) == 1
            z, r = np.asarray(loops[0]).T
            assert z.max() == pytest.approx(float(hood.rim.z_at(90.0)), abs=1e-6)
            assert z.min() == pytest.approx(-document.build.seat_length)
            assert r.max() <= largest_outside(hood, document) + 1e-9
            ahead = z > 3.0
            assert np.all(r[ahead] >= hood.wall.radius_at(z[ahead]) - 1e-5)
            assert seat_size(document, 0.0).known


def test_hatching_stays_inside_the_outline() -> None:
    pen = Pen("t", "t")
    found: list[list[tuple[float, float]]] = []
    pen.lines = lambda points, **_: found.append(list(points))  # type: ignore[method-assign,assignment]
    square = [(10.0, 10.0), (40.0, 10.0), (40.0, 30.0), (10.0, 30.0)]
    hole = [(20.0, 15.0), (30.0, 15.0), (30.0, 25.0), (20.0, 25.0)]
    hatch(pen, [square, hole])
    points = np.array(found)
    assert len(points) > 20
    assert points[..., 0].min() >= 10 - 1e-9
    assert points[..., 0].max() <= 40 + 1e-9
    middle = points.mean(axis=1)
    assert not np.any(
        (middle[:, 0] > 20.1) & (middle[:, 0] < 29.9) & (middle[:, 1] > 15.1) & (middle[:, 1] < 24.9)
    )
    slope = (points[:, 1, 1] - points[:, 0, 1]) / (points[:, 1, 0] - points[:, 0, 0])
    assert np.allclose(slope, 1.0)
    lengths = np.hypot(*(points[:, 1] - points[:, 0]).T).sum()
    assert lengths * 1.6 == pytest.approx(600.0 - 100.0, rel=0.05)  # spacing times length is the area


def test_many_warnings_and_long_texts_go_on_and_nothing_is_lost() -> None:
    warnings = tuple(
        f"Warning number {k}: " + "an estimate that somebody has to measure " * 3 + f"end{k}."
        for k in range(70)
    )
    made_for = "A very long description of an invented lens " * 9
    pdf = drawn(CASES["tube-petal"].hood, document_of("N" * 120), warnings=warnings, made_for=made_for)
    pages = words_of(pdf)
    assert len(pages) > 2
    flowing = " ".join(pages)
    for k in range(70):
        assert f"Warning number {k}:" in flowing
        assert f"end{k}." in flowing
    assert f"{len(pages)} of {len(pages)}" in pages[-1]
    assert all(text in flowing for text in CAUTIONS)


def test_names_in_other_scripts_do_not_break_the_sheet() -> None:
    pages = words_of(
        drawn(RoundHood(STEPPED, Rim.plain(60.0)), document_of("\u6f22\u5b57 hood \u03c6 \u0159"))
    )
    assert "?? hood phi r" in pages[0]


def test_the_same_hood_gives_the_same_bytes_and_no_warning_says_none(tmp_path: Path) -> None:
    hood, document = CASES["cone-petal"].hood, document_of(seat_diameter=77.0)
    assert drawn(hood, document) == drawn(hood, document)
    assert "Estimates and warnings None." in words_of(drawn(hood, document, warnings=()))[1]
    path = write_drawing(
        tmp_path / "d.pdf",
        hood,
        document,
        seat_text=SEAT,
        made_for=MADE_FOR,
        warnings=WARNINGS,
        date="2030-01-31",
    )
    assert path.read_bytes() == drawn(hood, document)


def test_a_hood_beyond_every_scale_is_refused() -> None:
    with pytest.raises(MakeError, match="too large"):
        drawn(RoundHood(RoundWall((0.0,), (2900.0,)), Rim.plain(9000.0)), document_of())
