"""Mesh files against an independent reader, trimesh, and against the formats' published layouts."""

from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from lxml import etree

sys.path.insert(0, str(Path(__file__).parents[1] / "make"))
from solid_cases import SEAT_DIAMETER, SEATS, THREAD, all_hoods

from shadewright.make.inspect import count_bodies
from shadewright.make.meshfiles import read_3mf, read_stl, stl_bytes, threemf_bytes
from shadewright.make.solid import Solid, build_hood, enclosed_volume, fit_ring, is_closed
from shadewright.model.hood import Build, SeatKind

# Names and values fixed by the open 3MF Core Specification and the Open Packaging Conventions it builds on.
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
METADATA = {
    "Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating", "CreationDate", "ModificationDate",
    "Application",
}  # fmt: skip


def solids(seat: SeatKind) -> dict[str, Solid]:
    """Every wall under every rim on one seat, coarse, and the seat's fit ring."""
    build = Build(seat=seat, seat_length=11.0 if seat is SeatKind.CLAMP else 4.0)
    made = {
        name: build_hood(hood, build, seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=24)
        for name, hood in all_hoods().items()
    }
    return made | {"fit ring": fit_ring(build, seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=24)}


@pytest.mark.parametrize("seat", SEATS)
def test_every_hood_is_one_watertight_body_to_both_readers(seat: SeatKind, tmp_path: Path) -> None:
    for name, solid in solids(seat).items():
        stl, packed = stl_bytes(solid), threemf_bytes(solid, title=name)
        for kind, content in (("stl", stl), ("3mf", packed)):
            mesh = trimesh.load(io.BytesIO(content), file_type=kind, force="mesh")
            assert mesh.is_watertight, (name, kind)
            assert mesh.is_winding_consistent, (name, kind)
            assert mesh.body_count == 1, (name, kind)
            assert mesh.volume == pytest.approx(solid.volume, rel=1e-9), (name, kind)
            assert len(mesh.faces) == len(solid.faces), (name, kind)
            path = tmp_path / f"hood.{kind}"
            path.write_bytes(content)
            own = read_stl(path) if kind == "stl" else read_3mf(path)
            assert is_closed(own.faces), (name, kind)
            assert count_bodies(own.faces, len(own.vertices)) == 1, (name, kind)
            assert enclosed_volume(own.vertices, own.faces) == pytest.approx(solid.volume, rel=1e-9), (name, kind)
            # Seat coordinates mirror the file's; size, area and volume are the same in both.
            assert np.ptp(own.vertices, axis=0) == pytest.approx(mesh.extents, abs=1e-9)


@pytest.mark.parametrize("seat", SEATS)
def test_a_fine_hood_is_watertight_to_the_independent_reader(seat: SeatKind) -> None:
    hood = all_hoods()["cone, petal"]
    solid = build_hood(hood, Build(seat=seat), seat_diameter=SEAT_DIAMETER, thread=THREAD)
    mesh = trimesh.load(io.BytesIO(stl_bytes(solid)), file_type="stl")
    assert mesh.is_volume
    assert mesh.body_count == 1
    assert mesh.bounds[0][2] == pytest.approx(-Build().seat_length)  # the seat plane stays at z = 0


def test_binary_stl_has_its_customary_layout() -> None:
    solid = fit_ring(Build(), seat_diameter=SEAT_DIAMETER, thread=None, segments=24)
    content = stl_bytes(solid)
    # 80 bytes of header that must not begin like the text form, a 32-bit count, 50 bytes for each triangle.
    assert not content.startswith(b"solid")
    count = int.from_bytes(content[80:84], "little")
    assert count == len(solid.faces)
    assert len(content) == 84 + 50 * count
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    rows = np.frombuffer(content, record, offset=84)
    assert np.all(rows["attribute"] == 0)
    # Normals follow the right-hand rule from corners listed counter-clockwise seen from outside.
    a, b, c = (rows["corners"][:, k].astype(float) for k in range(3))
    cross = np.cross(b - a, c - a)
    assert np.all(np.einsum("ij,ij->i", cross, rows["normal"]) >= 0.0)
    assert np.linalg.norm(rows["normal"], axis=1) == pytest.approx(1.0, abs=1e-5)


def test_3mf_follows_the_core_specification() -> None:
    solid = fit_ring(Build(seat=SeatKind.THREAD), seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=24)
    package = zipfile.ZipFile(io.BytesIO(threemf_bytes(solid, title="Ring", description="A fit ring")))
    assert package.testzip() is None
    assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
    assert all(entry.date_time == (1980, 1, 1, 0, 0, 0) for entry in package.infolist())
    types = etree.fromstring(package.read("[Content_Types].xml"))
    assert {entry.get("Extension"): entry.get("ContentType") for entry in types} == {
        "rels": "application/vnd.openxmlformats-package.relationships+xml",
        "model": "application/vnd.ms-package.3dmanufacturing-3dmodel+xml",
    }
    (relation,) = etree.fromstring(package.read("_rels/.rels"))
    assert relation.get("Target") == "/3D/3dmodel.model"
    assert relation.get("Type") == "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"

    model = etree.fromstring(package.read("3D/3dmodel.model"))
    assert model.tag == f"{{{CORE}}}model"
    assert model.get("unit") == "millimeter"
    order = [etree.QName(child).localname for child in model]
    assert order == ["metadata", "metadata", "resources", "build"]
    assert {entry.get("name") for entry in model.iter(f"{{{CORE}}}metadata")} <= METADATA
    (item,) = model.iter(f"{{{CORE}}}item")
    (part,) = model.iter(f"{{{CORE}}}object")
    assert item.get("objectid") == part.get("id")
    assert part.get("type") == "model"

    # The build lies in the positive octant: row vectors times a 4 x 3 matrix, the last row the shift.
    points = np.array([[float(v.get(axis)) for axis in "xyz"] for v in model.iter(f"{{{CORE}}}vertex")])
    matrix = np.array([float(word) for word in item.get("transform").split()]).reshape(4, 3)
    placed = np.column_stack([points, np.ones(len(points))]) @ matrix
    assert placed.min(axis=0) == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)

    # Every triangle has three different corners, and every edge is used once in each direction.
    faces = np.array([[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in model.iter(f"{{{CORE}}}triangle")])
    assert np.all(np.diff(np.sort(faces, axis=1), axis=1) > 0)
    edges = {(int(a), int(b)) for face in faces for a, b in zip(face, np.roll(face, -1), strict=True)}
    assert len(edges) == 3 * len(faces)
    assert all((b, a) in edges for a, b in edges)
