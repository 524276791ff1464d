"""Reading other programs' lens descriptions: the same lens in four forms, units, settings, glasses, and writing back."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lens_file_cases import DAT, GOOD, JSON, SEQ, ZMX
from shadewright.errors import DocumentError
from shadewright.model.documents import document_from, parse_document
from shadewright.model.glass import index_of
from shadewright.model.lens_files import read_prescription, read_with_notes
from shadewright.model.lens_files_dat import read_dat, write_dat
from shadewright.model.lens_rows import Reading, medium_of
from shadewright.model.prescription import Prescription
from shadewright.model.prescription_text import prescription_toml
from shadewright.model.writing import to_toml

FOLDER = Path(__file__).parent.parent / "prescriptions"
DESIGNS = sorted(path.stem for path in FOLDER.glob("*.toml"))


def reading(tmp_path: Path, name: str, content: str | bytes) -> Reading:
    """What is read from a file of this name and content."""
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_with_notes(path)


RADII = (22.511, 257.96, -33.468, 20.223, 0.0, 72.149, -24.842)
THICKNESSES = (3.84, 5.28, 1.41, 2.93, 2.13, 4.29, 41.819)


@pytest.mark.parametrize("name", ["lens.dat", "lens.zmx", "lens.seq"])
def test_the_same_lens_is_read_from_every_form(name: str, tmp_path: Path) -> None:
    lens = reading(tmp_path, name, GOOD[name]).prescription
    assert lens.name.startswith("Tern 50")
    assert [s.radius or 0.0 for s in lens.surface] == pytest.approx(RADII, rel=2e-5)
    assert [s.thickness for s in lens.surface] == pytest.approx(THICKNESSES, abs=0.02)
    assert [s.stop for s in lens.surface] == [False] * 4 + [True] + [False] * 2
    assert lens.surface[0].semi_diameter == 10.6
    media = [index_of(s.glass or (s.index, s.abbe)) for s in lens.surface]
    assert media == pytest.approx([1.72, 1, 1.689, 1, 1, 1.72, 1], abs=2e-4)


def test_the_json_with_its_stop_on_a_glass_is_read(tmp_path: Path) -> None:
    lens = reading(tmp_path, "lens.json", JSON).prescription
    assert [s.radius or 0.0 for s in lens.surface] == [r for r in RADII if r]
    assert [s.thickness for s in lens.surface] == pytest.approx([3.84, 5.28, 1.41, 2.93, 4.29, 41.82])
    assert lens.surface[3].stop
    assert lens.surface[1].conic == -1.5
    assert lens.surface[1].aspheric == (1e-6,)
    assert (lens.surface[0].glass, lens.surface[2].index, lens.surface[2].abbe) == ("N-LAK10", 1.68893, 31.16)
    assert lens.wavelengths == (587.6, 486.1)


@pytest.mark.parametrize("name", ["lens.zmx", "lens.seq"])
def test_aspheres_colours_and_the_aperture_are_read(name: str, tmp_path: Path) -> None:
    lens = reading(tmp_path, name, GOOD[name]).prescription
    assert lens.surface[1].conic == -1.5
    assert lens.surface[1].aspheric == pytest.approx((1e-6, -2e-9))
    assert lens.wavelengths[0] == pytest.approx(587.6, abs=0.05)
    # An entrance pupil of 12.5 mm: a ray at 6.25 mm, by hand through four surfaces, meets the stop at 4.994 mm.
    (setting,) = lens.setting
    height, slope, index = 6.25, 0.0, 1.0
    for surface in lens.surface[:4]:
        after = index_of(surface.glass or (surface.index, surface.abbe))
        slope = (index * slope - height * surface.vertex_curvature * (after - index)) / after
        height, index = height + slope * (surface.thickness or 0.0), after
    assert setting.stop_semi_diameter == pytest.approx(height, rel=1e-9)


def test_an_f_number_becomes_a_setting(tmp_path: Path) -> None:
    zmx = reading(tmp_path, "a.zmx", ZMX.replace("ENPD 12.5", "FNUM 4.0 0")).prescription
    seq = reading(tmp_path, "a.seq", SEQ.replace("EPD 12.5", "FNO 4.0")).prescription
    tree = reading(tmp_path, "a.json", JSON.replace('"EPD", "value": 12.5', '"imageFNO", "value": 4.0')).prescription
    assert [lens.setting[0].f_number for lens in (zmx, seq, tree)] == [4.0] * 3


@pytest.mark.parametrize(("unit", "mm"), [("CM", 10.0), ("IN", 25.4)])
def test_other_units_become_mm(unit: str, mm: float, tmp_path: Path) -> None:
    plain = reading(tmp_path, "a.zmx", ZMX.replace("DIAM 10.0 1", "DIAM 2.0 1")).prescription
    read = reading(tmp_path, "b.zmx", ZMX.replace("UNIT MM", f"UNIT {unit}").replace("DIAM 10.0 1", "DIAM 2.0 1"))
    assert any(f"multiplied by {mm:g}" in note for note in read.notes)
    for a, b in zip(plain.surface, read.prescription.surface, strict=True):
        assert (b.radius or 0.0) == pytest.approx((a.radius or 0.0) * mm)
        assert b.thickness == pytest.approx((a.thickness or 0.0) * mm)
        reach = (a.semi_diameter or 1.0) * 0.5
        assert b.sag(reach * mm) == pytest.approx(a.sag(reach) * mm, rel=1e-9), "the asphere is not the same shape"
    inches = reading(tmp_path, "c.seq", SEQ.replace("DIM M", f"DIM {unit[0]}").replace("ASP", "SPH")).prescription
    assert inches.surface[0].radius == pytest.approx(22.511 * mm)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "latin-1"])
def test_every_usual_encoding_is_read(encoding: str, tmp_path: Path) -> None:
    text = ZMX.replace("Tern 50", "Tërn 50")
    assert reading(tmp_path, "a.zmx", text.encode(encoding)).prescription.name == "Tërn 50"


@pytest.mark.parametrize("ending", ["\r\n", "\r", "\n"])
@pytest.mark.parametrize("name", ["lens.dat", "lens.zmx", "lens.seq"])
def test_every_usual_line_ending_is_read(name: str, ending: str, tmp_path: Path) -> None:
    plain = reading(tmp_path, name, GOOD[name])
    assert reading(tmp_path, name, GOOD[name].replace("\n", ending)) == plain


def test_spacings_of_many_settings_are_read(tmp_path: Path) -> None:
    operands = (
        'MNUM 3 1\nMOFF   0   1 "" 0 0 0 1 1 0 0.0 ""\nYFIE   2   2 10.0 0 0 0 1 1 0 0.0 ""\n'
        'THIC   2   1 5.28 0 0 0 1 1 0 0.0 ""\nTHIC   2   2 6.5 0 0 0 1 1 0 0.0 ""\nTHIC   2   3 7.75 0 0 0 1 1 0 0.0 ""\n'
        'THIC   7   3 40.5 0 0 0 1 1 0 0.0 ""\nTHIC   0   3 500 0 0 0 1 1 0 0.0 ""\n'
        'APER   0   2 10.0 0 0 0 1 1 0 0.0 ""\n'
    )
    zmx = reading(tmp_path, "a.zmx", ZMX.replace('MNUM 1 1\nMOFF   0   1 "" 0 0 0 1 1 0 0.0 ""\n', operands)).prescription
    assert [s.thickness for s in zmx.setting] == [
        {"2": 5.28, "7": 41.819}, {"2": 6.5, "7": 41.819}, {"2": 7.75, "7": 40.5},
    ]  # fmt: skip
    assert [s.focus_distance for s in zmx.setting] == ["infinity", "infinity", 500.0]
    semis = [s.stop_semi_diameter or 0.0 for s in zmx.setting]
    assert semis[0] > semis[2] > semis[1], "the entrance pupils are 12.5, 12.5 with another gap, and 10 mm"
    zoom = "ZOO 2\nZOO THI S2 5.28 6.5\nZOO THI SO 1e13 800\nZOO YAN F1 0 0\nZOO EPD 12.5 10\nGO"
    seq = reading(tmp_path, "a.seq", SEQ.replace("GO", zoom)).prescription
    assert [s.thickness for s in seq.setting] == [{"2": 5.28}, {"2": 6.5}]
    assert [s.focus_distance for s in seq.setting] == ["infinity", 800.0]
    assert (seq.setting[1].stop_semi_diameter or 0) < (seq.setting[0].stop_semi_diameter or 0)


def test_spacings_that_follow_from_others_are_worked_out_at_every_setting(tmp_path: Path) -> None:
    """A gap that makes up a total, one that makes up the length of a group, one picked up, and the image in focus."""
    operands = "MNUM 2 1\nTHIC 2 1 5.28 0 0\nTHIC 2 2 6.5 0 0\nTHIC 0 1 INFINITY 0\nTHIC 0 2 1E10 0\n"
    zmx = ZMX.replace("MNUM 1 1\n", operands).replace("  DISZ 41.819\n", "  DISZ 41.819\n  MAZH 0 0\n")
    for solve, at_first, at_second in (("TCOM 2 8.21", 2.93, 1.71), ("TOLE 2 9.62", 2.93, 1.71), ("PZUP 2 0.5 0.25", 2.89, 3.5)):
        read = reading(tmp_path, "a.zmx", zmx.replace("  DISZ 2.93\n", f"  DISZ 2.93\n  {solve}\n"))
        gaps = [setting.thickness["4"] for setting in read.prescription.setting]
        assert gaps == pytest.approx([at_first, at_second])
        assert [setting.focus_distance for setting in read.prescription.setting] == ["infinity", "infinity"]
        assert read.prescription.surface[-1].thickness is None
    with pytest.raises(DocumentError, match="must name an earlier surface than 4"):
        reading(tmp_path, "b.zmx", zmx.replace("  DISZ 2.93\n", "  DISZ 2.93\n  TCOM 6 8.21\n"))


def test_planes_ahead_of_and_behind_the_lens_are_left_out(tmp_path: Path) -> None:
    """Depths are measured from the front vertex, so a plane ahead of it must not become the first surface."""
    plain = reading(tmp_path, "a.seq", SEQ.replace("SO 0.0 0.1e14", "SO 0.0 800")).prescription
    ahead = SEQ.replace("SO 0.0 0.1e14\n", "SO 0.0 750\nS 0.0 50.0\n").replace("41.819\n", "40.0\nS 0 1.819\n")
    read = reading(tmp_path, "b.seq", ahead)
    assert read.prescription.surface == plain.surface
    assert plain.setting[0].focus_distance == read.prescription.setting[0].focus_distance == 800.0
    assert any("ahead of the lens" in note for note in read.notes)
    assert any("behind the lens" in note for note in read.notes)


@pytest.mark.parametrize("far", ["0.1e14", "inf", "Infinity", "1e10"])
def test_a_far_subject_is_at_infinity(far: str, tmp_path: Path) -> None:
    lens = reading(tmp_path, "a.seq", SEQ.replace("0.1e14", far)).prescription
    assert lens.setting[0].focus_distance == "infinity"


def test_a_stop_ahead_of_the_lens_stays(tmp_path: Path) -> None:
    lens = reading(tmp_path, "a.seq", SEQ.replace("  STO\n", "").replace("1e14\n", "1e14\nS 0 3\nSTO\n")).prescription
    assert lens.surface[0].stop
    assert lens.surface[0].thickness == 3.0


@pytest.mark.parametrize(
    ("name", "medium", "remark"),
    [
        ("N-BK7", "N-BK7", ""), ("BK7", "N-BK7", "taken as N-BK7"), ("NBK7_SCHOTT", "N-BK7", ""), ("SK16", "N-SK16", "taken as N-SK16"),
        ("517642", (1.517, 64.2), ""), ("517.642", (1.517, 64.2), ""), ("517642.251", (1.517, 64.2), ""),
        ("516800.641700", (1.5168, 64.17), ""), ("022291", (2.022, 29.1), ""), ("SF6", "SF6", ""), ("L-TIM28_MOLD", "L-TIM28", ""),
    ],
)  # fmt: skip
def test_glasses_are_known_by_name_and_number(name: str, medium: object, remark: str) -> None:
    found = medium_of(name)
    assert found is not None
    assert found[0] == (pytest.approx(medium) if isinstance(medium, tuple) else medium)
    assert remark in (found[1] or "")


def test_an_unknown_glass_with_its_numbers_beside_it_is_used_and_said(tmp_path: Path) -> None:
    read = reading(tmp_path, "a.zmx", ZMX.replace("N-LAK10 0 0 1.5 4.0E+1", "X-99 0 0 1.72 50.6"))
    assert (read.prescription.surface[0].index, read.prescription.surface[0].abbe) == (1.72, 50.6)
    assert any('"X-99" is not in the table' in note for note in read.notes)


def test_what_is_assumed_is_said(tmp_path: Path) -> None:
    notes = reading(tmp_path, "a.seq", SEQ.replace("SI 0.0 0.0", "SI -0.01 -0.2").replace("CIR 10.6", "REX 5")).notes
    for words in ("focus shift of -0.2", "image surface is curved", "REX at line 11"):
        assert any(words in note for note in notes), notes
    notes = reading(tmp_path, "a.zmx", ZMX.replace("DIAM 6.3 1", "DIAM 6.3 0")).notes
    assert any("worked out for its own fields" in note for note in notes)
    assert all(note.endswith(".") and note.isprintable() for note in notes)


def test_radius_and_curvature_modes_of_a_sequence(tmp_path: Path) -> None:
    by_radius = reading(tmp_path, "a.seq", SEQ).prescription
    text = SEQ.replace("RDM;LEN", "RDM N;LEN")
    for radius in ("22.511", "257.96", "-33.468", "20.223", "72.149", "-24.842"):
        text = text.replace(f"S {radius}", f"S {1 / float(radius)!r}")
    by_curvature = reading(tmp_path, "b.seq", text).prescription
    for a, b in zip(by_radius.surface, by_curvature.surface, strict=True):
        assert b.vertex_curvature == pytest.approx(a.vertex_curvature, rel=1e-12)


def test_a_document_is_read_by_the_same_call() -> None:
    lens = read_prescription(FOLDER / "zoom-72-194.toml")
    assert [setting.name for setting in lens.setting] == ["72 mm", "135 mm", "194 mm"]


# --- writing --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DESIGNS)
def test_a_design_written_as_toml_reads_back_the_same(name: str) -> None:
    lens = read_prescription(FOLDER / f"{name}.toml")
    text = prescription_toml(lens, heading="two\nlines")
    assert text.startswith("# two\n# lines\n")
    assert parse_document(text, Prescription) == lens
    assert parse_document(to_toml(lens), Prescription).setting == lens.setting


@pytest.mark.parametrize("name", ["double-gauss-50", "wide-22", "telephoto-250", "fisheye-10"])
def test_a_design_written_as_a_lens_table_reads_back_the_same(name: str) -> None:
    lens = read_prescription(FOLDER / f"{name}.toml")
    last = lens.surface[-1].model_copy(update={"thickness": 40.0})
    lens = lens.model_copy(update={"surface": (*lens.surface[:-1], last)})
    read = read_dat(write_dat(lens), "again.dat", name="again").prescription
    assert read.surface == lens.surface
    assert (read.name, read.source) == (lens.name, lens.source)


def test_a_setting_of_a_zoom_is_written_as_a_lens_table() -> None:
    lens = read_prescription(FOLDER / "zoom-72-194.toml")
    settings_ = [s.model_copy(update={"thickness": {**s.thickness, "34": 52.4}}) for s in lens.setting]
    lens = lens.model_copy(update={"setting": tuple(settings_)})
    read = read_dat(write_dat(lens, "194 mm"), "again.dat", name="again").prescription
    gaps = {k: read.surface[int(k) - 1].thickness for k in lens.setting[2].thickness}
    assert gaps == lens.setting[2].thickness
    with pytest.raises(DocumentError, match='no setting "80 mm"; it has 72 mm, 135 mm, 194 mm'):
        write_dat(lens, "80 mm")


@pytest.mark.parametrize(
    ("name", "says"),
    [("aspheric-31", "surface 4 is aspheric"), ("petzval-50", "surface 1 has no semi_diameter"), ("double-gauss-50", "no thickness to the image")],
)
def test_what_a_lens_table_cannot_hold_is_refused(name: str, says: str) -> None:
    with pytest.raises(DocumentError, match=says):
        write_dat(read_prescription(FOLDER / f"{name}.toml"))


ROUNDED = st.integers(10, 10**7).map(lambda n: n / 1000)
SIGNED = st.builds(lambda value, sign: value * sign, ROUNDED, st.sampled_from([1, -1]))


@given(
    st.lists(st.tuples(SIGNED | st.just(0.0), ROUNDED, st.integers(11_000, 21_000).map(lambda n: n / 10_000), ROUNDED), min_size=1, max_size=12),
    ROUNDED,
)
@settings(max_examples=100, deadline=None)
def test_any_spherical_lens_survives_both_ways_of_writing(rows: list[tuple[float, float, float, float]], stop: float) -> None:
    """Singlets in a row behind a stop, with any radii, planes too."""
    surfaces: list[dict[str, object]] = [{"thickness": 1.0, "semi_diameter": min(stop, 1000.0), "stop": True}]
    for radius, thickness, index, semi in rows:
        edge = min(semi, abs(radius) or 1000.0, 1000.0)
        gap = min(thickness, 100.0)
        face = {"radius": radius} if radius else {}
        surfaces.append({**face, "thickness": gap, "index": index, "semi_diameter": edge})
        surfaces.append({"thickness": gap, "semi_diameter": edge})
    assume(sum(float(str(s["thickness"])) for s in surfaces) <= 3000)
    lens = document_from({"document": "prescription", "version": 1, "name": "any", "surface": surfaces}, Prescription, name="any")
    assert parse_document(prescription_toml(lens), Prescription) == lens
    assert read_dat(write_dat(lens), "again.dat", name="again").prescription.surface == lens.surface


def test_the_lens_table_that_is_written_has_the_columns_that_renderers_read() -> None:
    lens = read_dat(DAT, "lens.dat", name="lens").prescription
    table = [[float(word) for word in line.split()] for line in write_dat(lens).splitlines() if not line.startswith("#")]
    assert table[0] == [22.511, 3.84, 1.72, 21.2]
    assert table[4] == [0.0, 2.13, 1.0, 10.0]


def test_a_renderers_own_lens_table_is_read_as_the_design_retyped_by_hand(tmp_path: Path) -> None:
    """Tabs, a stop of index 0, no distance to the film: the table of the open renderer pbrt, W. J. Smith, p. 312."""
    rows = """29.475 3.76 1.67 25.2;84.83 0.12 1 25.2;19.275 4.025 1.67 23;40.77 3.275 1.699 23;12.75 5.705 1 18;0 4.5 0 17.1;
    -14.495 1.18 1.603 17;40.77 6.065 1.658 20;-20.385 0.19 1 20;437.065 3.22 1.717 20;-39.73 0 1 20"""
    table = "# D-GAUSS F/2 22deg HFOV\t\t\t\n# scaled\n#    radius\t axpos\tN\taperture\n"
    read = reading(tmp_path, "lens.dat", table + "\n".join("\t".join(row.split()) for row in rows.split(";")) + "\n")
    assert read.prescription.surface == read_prescription(FOLDER / "double-gauss-50.toml").surface
    assert (read.prescription.name, read.prescription.source) == ("D-GAUSS F/2 22deg HFOV", "scaled")
    assert any("paraxial focus" in note for note in read.notes)
