"""Mesh files: what is written reads back the same, and what is not a mesh is refused plainly."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from solid_cases import RIMS, SEAT_DIAMETER, THREAD, WALLS, box_mesh

from shadewright.errors import FileError, MakeError
from shadewright.make.inspect import inspect_mesh
from shadewright.make.meshfiles import (
    MOST_TRIANGLES,
    read_3mf,
    read_stl,
    stl_bytes,
    threemf_bytes,
    turned_round,
    write_3mf,
    write_stl,
)
from shadewright.make.solid import Solid, build_hood
from shadewright.model.hood import Build, SeatKind
from shadewright.model.shape import MeshHood, Rim, RoundHood


def hood(seat: SeatKind = SeatKind.SLIP_ON, rim: str = "petal") -> Solid:
    """A small mesh of a hood."""
    shape = RoundHood(WALLS["steps"], RIMS[rim])
    return build_hood(shape, Build(seat=seat), seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=60)


def triangles(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """The triangles (n, 9) in an order of their own, each starting at its least corner."""
    corners = vertices[faces]
    first = np.array([min(range(3), key=lambda k: tuple(t[k])) for t in corners])
    turned = np.stack([corners[np.arange(len(corners)), (first + k) % 3] for k in range(3)], axis=1).reshape(-1, 9)
    return turned[np.lexsort(turned.T)]


def text_stl(vertices: np.ndarray, faces: np.ndarray) -> str:
    """The mesh as text STL, without normals."""
    facets = []
    for face in faces:
        corners = "".join(f"   vertex {x:.9e} {y:.9e} {z:.9e}\n" for x, y, z in vertices[face])
        facets.append(f" facet normal 0 0 0\n  outer loop\n{corners}  endloop\n endfacet\n")
    return "solid part\n" + "".join(facets) + "endsolid part\n"


# --- there and back ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seat", tuple(SeatKind))
def test_both_files_read_back_as_the_same_closed_body(seat: SeatKind, tmp_path: Path) -> None:
    solid = hood(seat)
    read = {
        "stl": read_stl(write_stl(tmp_path / "hood.stl", solid)),
        "3mf": read_3mf(write_3mf(tmp_path / "hood.3mf", solid, title="Hood")),
    }
    expected = triangles(solid.vertices, solid.faces)
    for kind, mesh in read.items():
        found = inspect_mesh(mesh.vertices, mesh.faces)
        assert found.problems == (), kind
        assert found.volume == pytest.approx(solid.volume, rel=1e-12), kind
        assert np.array_equal(triangles(mesh.vertices, mesh.faces), expected), kind


def test_files_turn_x_round_and_readers_turn_it_back(tmp_path: Path) -> None:
    # A lobe on the right only, as seen from behind the camera: x > 0 in seat coordinates.
    azimuth = np.arange(0.0, 360.0, 5.0)
    rim = Rim.from_arrays(azimuth, 15.0 + 15.0 * (np.cos(np.radians(azimuth)) > 0.5))
    solid = build_hood(RoundHood(WALLS["tube"], rim), Build(), seat_diameter=80.0, thread=None, segments=60)
    path = write_stl(tmp_path / "hood.stl", solid)
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    corners = np.frombuffer(path.read_bytes(), record, offset=84)["corners"].reshape(-1, 3)
    assert np.all(corners[corners[:, 2] > 20.0][:, 0] < 0.0)
    mesh = read_stl(path)
    assert np.all(mesh.vertices[mesh.vertices[:, 2] > 20.0][:, 0] > 0.0)


def test_turning_round_twice_changes_nothing() -> None:
    vertices, faces = box_mesh(1.0, 2.0, 3.0)
    again, same = turned_round(*turned_round(vertices, faces))
    assert np.array_equal(again, vertices)
    assert np.array_equal(same, faces)


def test_the_same_solid_gives_the_same_bytes() -> None:
    first, second = hood(), hood()
    assert stl_bytes(first) == stl_bytes(second)
    text = {"title": "Hood", "description": "Made twice", "created": date(2024, 2, 29)}
    assert threemf_bytes(first, **text) == threemf_bytes(second, **text)


def test_text_and_binary_stl_read_alike(tmp_path: Path) -> None:
    vertices, faces = box_mesh(10.0, 20.0, 30.0)
    path = tmp_path / "box.stl"
    path.write_text(text_stl(vertices, faces), encoding="ascii")
    mesh = read_stl(path)
    found = inspect_mesh(mesh.vertices, mesh.faces)
    assert found.problems == ()
    assert found.volume == pytest.approx(6000.0)
    assert found.low == (-10.0, 0.0, 0.0)
    solid = Solid(mesh.vertices, mesh.faces, "box", found.volume, ())
    again = read_stl(write_stl(tmp_path / "again.stl", solid))
    assert np.array_equal(triangles(again.vertices, again.faces), triangles(mesh.vertices, mesh.faces))


def test_text_stl_in_capitals_and_with_empty_lines_is_read(tmp_path: Path) -> None:
    path = tmp_path / "box.stl"
    path.write_text(text_stl(*box_mesh(10.0, 20.0, 30.0)).upper().replace("\n", "\n\r\n"), encoding="ascii")
    assert len(read_stl(path).faces) == 12


def test_a_binary_file_that_begins_like_text_is_read_as_binary(tmp_path: Path) -> None:
    path = tmp_path / "hood.stl"
    content = stl_bytes(hood())
    path.write_bytes(b"solid " + content[6:])
    assert len(read_stl(path).faces) == len(hood().faces)


def test_triangles_without_area_are_dropped(tmp_path: Path) -> None:
    vertices, faces = box_mesh(10.0, 20.0, 30.0)
    path = tmp_path / "box.stl"
    path.write_text(text_stl(vertices, np.concatenate([faces, [[0, 0, 1]]])), encoding="ascii")
    assert len(read_stl(path).faces) == 12


def test_texts_in_3mf_are_escaped_and_cleaned() -> None:
    content = threemf_bytes(hood(), title='A "wide" & <fast> lens\x07', description="50 µm", created=date(2025, 6, 1))
    model = zipfile.ZipFile(io.BytesIO(content)).read("3D/3dmodel.model").decode("utf-8")
    assert '<metadata name="Title">A "wide" &amp; &lt;fast&gt; lens </metadata>' in model
    assert '<metadata name="Description">50 µm</metadata>' in model
    assert '<metadata name="CreationDate">2025-06-01</metadata>' in model
    assert "Designer" not in model


def test_a_mesh_that_would_not_read_back_closed_is_not_written(tmp_path: Path) -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    # Two corners closer together than 32-bit numbers tell apart: one triangle would vanish.
    fine = np.concatenate([vertices, [[10.0, 10.0, 10.0 - 1e-9]]])
    broken = Solid(fine, np.concatenate([faces, [[7, 8, 3], [8, 7, 3]]]), "box", 1000.0, ())
    for write in (lambda: write_stl(tmp_path / "a.stl", broken), lambda: write_stl(tmp_path / "b.stl", opened())):
        with pytest.raises(MakeError, match="would not read back"):
            write()
    assert list(tmp_path.iterdir()) == []


def opened() -> Solid:
    """A box without its lid."""
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    return Solid(vertices, faces[:-2], "box", 1000.0, ())


def test_a_folder_that_cannot_be_written_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="ascii")
    with pytest.raises(FileError, match="cannot be written"):
        write_stl(tmp_path / "taken" / "hood.stl", hood())


# --- STL that is none ----------------------------------------------------------------------------------------


def _with_corner(value: float) -> bytes:
    content = bytearray(stl_bytes(hood()))
    content[96:100] = np.float32(value).tobytes()
    return bytes(content)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "0 bytes are too few"),
        (b"not a mesh", "10 bytes are too few"),
        (b"x" * 200, "cut short or not STL"),
        (b"x" * 80 + bytes(4), "no triangles"),
        (stl_bytes(hood())[:-1], "cut short or not STL"),
        (b"solid empty\nendsolid empty\n", "no triangles"),
        (b"solid a\nfacet normal 0 0 0\nvertex 0 0 0\nvertex 1 0 0\n", "1 facets with 2 corners"),
        (b"solid a\nfacet normal 0 0 0\nvertex 0 0\n", "line 3 should hold a vertex"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 x 9\n", "a corner is not a number"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 nan 9\n", "not a number or infinite"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 inf 9\n", "not a number or infinite"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex 9 0 0\nvertex 9 0 0\n", "none of its triangles has an area"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex .1 0 0\nvertex 0 .1 0\n", "export it in millimetres"),
        (b"solid a\nfacet\nvertex 0 0 0\nvertex 9e4 0 0\nvertex 0 1 0\n", "export it in millimetres"),
        (_with_corner(float("nan")), "not a number or infinite"),
        (_with_corner(float("inf")), "not a number or infinite"),
        (_with_corner(1e6), "export it in millimetres"),
    ],
)
def test_an_stl_that_is_none_is_refused(content: bytes, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "mesh.stl"
    path.write_bytes(content)
    with pytest.raises(FileError, match=sentence) as caught:
        read_stl(path)
    assert str(path) in str(caught.value)


def test_too_many_triangles_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "mesh.stl"
    count = MOST_TRIANGLES + 1
    with path.open("wb") as stream:
        stream.write(bytes(80) + np.uint32(count).tobytes())
        stream.truncate(84 + 50 * count)
    with pytest.raises(FileError, match="are more than"):
        read_stl(path)


def test_a_missing_file_a_folder_and_a_file_too_large_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        read_stl(tmp_path / "none.stl")
    with pytest.raises(FileError, match="folder"):
        read_stl(tmp_path)
    large = tmp_path / "large.stl"
    with large.open("wb") as stream:
        stream.truncate(300_000_000)
    for read in (read_stl, read_3mf):
        with pytest.raises(FileError, match="more than"):
            read(large)


# --- 3MF that is none ----------------------------------------------------------------------------------------

MODEL = "3D/3dmodel.model"


def repacked(change: Callable[[str, str], str | None]) -> bytes:
    """The package of a box with its texts changed; None leaves an entry out."""
    vertices, faces = turned_round(*box_mesh(10.0, 20.0, 30.0))
    source = zipfile.ZipFile(io.BytesIO(threemf_bytes(Solid(vertices, faces, "box", 6000.0, ()), title="Box")))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name in source.namelist():
            text = change(name, source.read(name).decode("utf-8"))
            if text is not None:
                package.writestr(name, text)
    return stream.getvalue()


def in_model(before: str, after: str) -> bytes:
    """The package with one place of the model changed."""

    def change(name: str, text: str) -> str:
        if name != MODEL:
            return text
        assert before in text
        return text.replace(before, after, 1)

    return repacked(change)


def read_back(content: bytes, tmp_path: Path) -> MeshHood:
    path = tmp_path / "mesh.3mf"
    path.write_bytes(content)
    return read_3mf(path)


def test_a_package_from_elsewhere_is_read(tmp_path: Path) -> None:
    mesh = read_back(repacked(lambda name, text: text), tmp_path)
    assert inspect_mesh(mesh.vertices, mesh.faces).volume == pytest.approx(6000.0)
    inches = read_back(in_model('unit="millimeter"', 'unit="inch"'), tmp_path)
    assert inspect_mesh(inches.vertices, inches.faces).volume == pytest.approx(6000.0 * 25.4**3)
    default = read_back(in_model('unit="millimeter" ', ""), tmp_path)
    assert np.array_equal(default.vertices, mesh.vertices)
    bare = read_back(in_model(' transform="1 0 0 0 1 0 0 0 1 0.0 0.0 0.0"', ""), tmp_path)
    assert np.array_equal(bare.vertices, mesh.vertices)


def test_a_model_under_another_name_is_found_by_its_relationship(tmp_path: Path) -> None:
    plain = repacked(lambda name, text: text.replace("3dmodel.model", "part.model") if name == "_rels/.rels" else text)
    source = zipfile.ZipFile(io.BytesIO(plain))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name in source.namelist():
            package.writestr(name.replace("3dmodel.model", "part.model"), source.read(name))
    assert len(read_back(stream.getvalue(), tmp_path).faces) == 12


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"not a package", "not a readable 3MF package"),
        (repacked(lambda name, text: None if name == MODEL else text), f"has no {MODEL}"),
        (repacked(lambda name, text: None if name == "_rels/.rels" else text), "has no _rels/.rels"),
        (repacked(lambda name, text: text.replace("/2013/01/3dmodel", "/x")), "names 0 models"),
        (repacked(lambda name, text: text[:-20]), "cannot be read"),
        (in_model("<model", '<!DOCTYPE model [<!ENTITY a "b">]><model'), "document type"),
        (in_model('unit="millimeter"', 'unit="furlong"'), '"furlong" is not one of centimeter, foot'),
        (in_model("<item ", '<item objectid="1"/><item '), "builds 2 objects"),
        (in_model('objectid="1"', 'objectid="7"'), "builds 1 objects"),
        (in_model("<mesh>", "<other>"), "cannot be read"),
        (in_model("1 0 0 0 1 0 0 0 1", "0 1 0 -1 0 0 0 0 1"), "turned or scaled"),
        (in_model("1 0 0 0 1 0 0 0 1", "2 0 0 0 2 0 0 0 2"), "turned or scaled"),
        (in_model("1 0 0 0 1 0 0 0 1", "a b c"), "not made of numbers"),
        (in_model('v1="', 'v1="9'), "corner that does not exist"),
        (in_model('v2="', 'v2="-'), "corner that does not exist"),
        (in_model('v1="', 'v1="0.5'), "corner that does not exist"),
        (in_model('v1="', 'w1="'), "triangle lacks a number"),
        (in_model(' x="', ' x="nan" a="'), "not a number or infinite"),
        (in_model(' x="', ' x="ten" a="'), "vertex lacks a number"),
    ],
)
def test_a_3mf_that_is_none_is_refused(content: bytes, sentence: str, tmp_path: Path) -> None:
    with pytest.raises(FileError, match=sentence) as caught:
        read_back(content, tmp_path)
    assert "mesh.3mf" in str(caught.value)


def test_an_object_made_of_others_is_refused(tmp_path: Path) -> None:
    def change(name: str, text: str) -> str:
        if name != MODEL:
            return text
        start, end = text.index("<mesh>"), text.index("</mesh>") + len("</mesh>")
        return text[:start] + '<components><component objectid="2"/></components>' + text[end:]

    with pytest.raises(FileError, match="put together from others"):
        read_back(repacked(change), tmp_path)


def test_an_entry_that_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = repacked(lambda name, text: text + "\n" * 2000 if name == "_rels/.rels" else text)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("_rels/.rels", zipfile.ZipFile(io.BytesIO(content)).read("_rels/.rels"))
    monkeypatch.setattr("shadewright.make.meshfiles.MESH_LIMIT", 1000)
    with pytest.raises(FileError, match="unpacks to more than"):
        read_back(stream.getvalue(), tmp_path)
