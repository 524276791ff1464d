"""Prescriptions, finishes and meshes over the API: the same as the modules beneath say, and refusals in one sentence."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import httpx
import pytest
import trimesh

from api import design, opened
from lenses import camera
from shadewright.light.finishes import FINISHES
from shadewright.model.documents import read_document
from shadewright.model.prescription import Prescription
from shadewright.optics.paraxial import paraxial
from shadewright.optics.system import setting_names, system_of
from shadewright.web.answers import as_tree

DEMO = Path(str(resources.files("shadewright").joinpath("demo")))
BINARY = {"content-type": "application/octet-stream"}


@pytest.fixture(scope="module")
def bench() -> Iterator[httpx.Client]:
    with opened() as found:
        yield found


def sent(bench: httpx.Client, name: str, content: bytes) -> httpx.Response:
    return bench.post("/api/prescriptions", json={"name": name, "content": base64.b64encode(content).decode()})


def test_a_prescription_becomes_a_lens_and_is_told_setting_by_setting(bench: httpx.Client) -> None:
    path = DEMO / "zoom-prescription.toml"
    read = sent(bench, "C:\\lenses\\zoom.toml", path.read_bytes()).json()
    own = read_document(path, Prescription)
    assert read["prescription"] == as_tree(own)
    assert [entry["setting"] for entry in read["lens"]["placement"]] == list(setting_names(own))
    # The front ring goes round the front glass.
    assert read["lens"]["front"]["rim_diameter"] > 2 * own.surface[0].semi_diameter  # type: ignore[operator]
    wanted = {"lens": read["lens"], "camera": as_tree(camera())}
    told = bench.post("/api/surfaces", json={"design": wanted}).json()["settings"]
    for entry in told:
        first = paraxial(system_of(own, entry["name"]))
        assert entry["focal_length"] == pytest.approx(first.focal_length, abs=1e-4)
        assert entry["f_number"] == pytest.approx(first.f_number, abs=1e-4)
        assert entry["pupil"] == pytest.approx(first.entrance_pupil, abs=1e-4)
        assert len(entry["surfaces"]) == len(own.surface)
        assert [k for k, surface in enumerate(own.surface) if surface.stop] == [
            k for k, surface in enumerate(entry["surfaces"]) if surface["stop"]
        ]
        for k, surface in enumerate(entry["surfaces"]):
            (z0, r0), (z1, r1) = surface["points"][0], surface["points"][-1]
            assert r0 == 0
            assert z1 - z0 == pytest.approx(own.surface[k].sag(r1), abs=2e-3)


@pytest.mark.parametrize(
    ("name", "content"),
    [("x.zmx", b"nothing"), ("x.toml", b'document = "lens"'), ("x.json", b"{}"), ("x.dat", b"\x00\x01"), ("../../x.seq", b"")],
)
def test_what_is_no_prescription_is_refused_in_a_sentence_without_a_folder(bench: httpx.Client, name: str, content: bytes) -> None:
    answer = sent(bench, name, content)
    assert answer.status_code == 422
    assert "shadewright-lens" not in answer.json()["sentence"]
    assert "tmp" not in answer.json()["sentence"]


def test_content_that_is_not_base64_and_a_measured_lens_are_refused(bench: httpx.Client) -> None:
    bad = bench.post("/api/prescriptions", json={"name": "x.dat", "content": "§§"})
    assert (bad.status_code, "Base64" in bad.json()["sentence"]) == (422, True)
    measured = bench.post("/api/surfaces", json={"design": design()})
    assert (measured.status_code, "prescription" in measured.json()["sentence"]) == (422, True)


def test_a_lens_that_names_its_prescription_is_read_with_it(bench: httpx.Client) -> None:
    text = (
        'document = "lens"\nversion = 1\nname = "N"\nprescription = "p.toml"\n[front]\nrim_diameter = 60\n'
        '[[placement]]\nsetting = "infinity"\n'
    )
    alone = bench.post("/api/read", json={"text": text})
    assert alone.status_code == 422
    assert "open both together" in alone.json()["sentence"]
    beside = as_tree(read_document(DEMO / "prime-prescription.toml", Prescription))
    read = bench.post("/api/read", json={"text": text, "prescription": beside})
    assert read.status_code == 200, read.text
    assert read.json()["document"]["prescription"] == beside


def test_finishes_are_the_table(bench: httpx.Client) -> None:
    told = bench.get("/api/finishes").json()
    assert [entry["name"] for entry in told["finishes"]] == [finish.name for finish in FINISHES]
    assert told["usual"] in [finish.name for finish in FINISHES]
    for entry, finish in zip(told["finishes"], FINISHES, strict=True):
        assert entry["source"] == finish.source
        assert (entry["low"], entry["high"]) == (finish.low, finish.high)
        assert entry["reflectance"] == pytest.approx([finish.reflectance(a) for a in told["angles"]], abs=6e-5)


def test_a_mesh_is_named_by_its_content(bench: httpx.Client, tmp_path: Path) -> None:
    trimesh.creation.annulus(r_min=40.0, r_max=42.0, height=10.0).export(tmp_path / "a.stl")
    content = (tmp_path / "a.stl").read_bytes()
    name = hashlib.sha256(content).hexdigest()[:24]
    assert bench.get(f"/api/meshes/{name}").json() == {"mesh": name, "held": False}
    for _ in range(2):
        assert bench.post("/api/meshes", content=content, headers=BINARY).json()["mesh"] == name
    assert bench.get(f"/api/meshes/{name}").json()["held"] is True
    assert bench.get("/api/meshes/..%2f..%2fx").status_code in (200, 404)


def test_vanes_are_seen_in_the_section_and_judged_by_the_check(bench: httpx.Client) -> None:
    wanted: dict[str, Any] = design(largest_length=40.0)
    wanted["hood"] = bench.post("/api/fit", json={"design": wanted}).json()["hood"]
    across = wanted["hood"]["wall"]["inner_diameter"]
    wanted["hood"]["vane"] = [{"z": 6.0, "inner_diameter": across - 4.0}]
    planes = bench.post("/api/look", json={"design": wanted, "want": ["section"]}).json()["section"]["planes"]
    edges = [min(ring, key=lambda point: abs(point[1])) for ring in planes[0]["rings"]]
    assert sorted(round(u, 3) for _z, u in edges) == pytest.approx([-(across / 2 - 2), across / 2 - 2])
    wanted["hood"]["vane"] = [{"z": 10.0, "inner_diameter": 12.0}]
    report = bench.post("/api/check", json={"design": wanted}).json()
    assert (report["clear"], report["passes"]) == (False, False)
    assert any("the vane 10 mm ahead" in warning for warning in report["warnings"])
