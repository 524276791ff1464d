"""The API gives the command line's own numbers, and live views that agree with them."""

from __future__ import annotations

import io
import json
import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pypdf
import pytest

from api import design, opened, zoom_design
from lenses import camera, prime, zoom
from shadewright.clearance.check import check
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import sensor_view
from shadewright.design.fit import fit
from shadewright.light.share import light_map
from shadewright.make.inspect import inspect_mesh
from shadewright.make.meshfiles import read_stl
from shadewright.model.documents import document_from, parse_document
from shadewright.model.geometry import shape_of
from shadewright.model.hood import Hood
from shadewright.model.lens import Lens
from shadewright.optics.beam import job
from shadewright.report import check_report

ALL = ["sensor", "rim", "section", "sky", "solid", "numbers"]


@pytest.fixture(scope="module")
def bench() -> Iterator[httpx.Client]:
    with opened() as found:
        yield found


@pytest.fixture(scope="module")
def fitted(bench: httpx.Client) -> dict[str, Any]:
    """A fitted zoom hood's design."""
    wishes = zoom_design(largest_length=60.0)
    answer = bench.post("/api/fit", json={"design": wishes})
    assert answer.status_code == 200, answer.text
    return {**wishes, "hood": answer.json()["hood"]}


@pytest.fixture(scope="module")
def simple(bench: httpx.Client) -> dict[str, Any]:
    """A fitted plain hood of a prime: quick to make."""
    wishes = design(largest_length=40.0)
    return {**wishes, "hood": bench.post("/api/fit", json={"design": wishes}).json()["hood"]}


def look(bench: httpx.Client, wanted: dict[str, Any], **more: Any) -> dict[str, Any]:
    answer = bench.post("/api/look", json={"design": wanted, "want": ALL, **more})
    assert answer.status_code == 200, answer.text
    return answer.json()


def ended(bench: httpx.Client, kind: str, wanted: dict[str, Any], **options: Any) -> dict[str, Any]:
    """A job followed to its end."""
    begun = bench.post("/api/jobs", json={"kind": kind, "design": wanted, "options": options})
    assert begun.status_code == 202, begun.text
    until = time.monotonic() + 120
    while time.monotonic() < until:
        told = bench.get(f"/api/jobs/{begun.json()['id']}").json()
        if told["state"] not in ("waiting", "running"):
            return dict(told)
        time.sleep(0.05)
    raise AssertionError("the job did not end")


def test_a_fit_is_the_command_lines_own(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    wishes = document_from(zoom_design(largest_length=60.0)["hood"], Hood, name="hood")
    own = fit(zoom(), camera(), wishes)
    given = document_from(fitted["hood"], Hood, name="hood")
    assert given.rim.points == own.hood.rim.points
    assert given.made_for == own.hood.made_for


def test_a_check_is_the_command_lines_own(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    deeper = {**fitted, "hood": {**fitted["hood"], "rim": {"depth": 45.0}}}
    given = bench.post("/api/check", json={"design": deeper}).json()
    document = document_from(deeper["hood"], Hood, name="hood")
    own = check(job(zoom(), camera()), shape_of(document))
    expected = check_report(own, lens="Tarn 24-70", camera="Heron body", hood=document.name)
    assert given["clear"] is False
    assert given == json.loads(json.dumps({**expected, "estimates": given["estimates"]}))


@pytest.mark.parametrize("place", [0.0, 0.4, 1.0, 2.0])
def test_the_live_view_of_the_sensor_is_the_sensors_view(bench: httpx.Client, fitted: dict[str, Any], place: float) -> None:
    from shadewright.optics.settings import at

    hints = {"columns": 61, "rows": 41}
    given = look(bench, fitted, at={"zoom": place}, alter={"moved": 7.0}, hints=hints)["sensor"]
    work = job(zoom(), camera())
    own_shape = shape_of(document_from(fitted["hood"], Hood, name="hood"))
    moved = type(own_shape)(own_shape.wall, own_shape.rim.moved(7.0))  # type: ignore[union-attr,call-arg,arg-type]
    view = sensor_view(work.beam(at(work.resolved, place, 0.0)), moved, columns=61, rows=41)
    loss = np.array(given["loss"], dtype=float).reshape(41, 61)
    assert np.allclose(loss, view.loss, atol=2e-4)
    # The lens's own loss is joined by straight lines between places, which a drawing does not show.
    assert np.allclose(np.array(given["own"], dtype=float).reshape(41, 61), view.vignetting, atol=0.02)
    assert given["worst"] >= view.worst - 2e-4
    assert (given["first"] is None) == (view.worst < 5e-4)


def test_what_is_deeper_than_the_limit_shows_and_nothing_else_does(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    clear = look(bench, fitted)
    assert clear["numbers"]["verdict"] == "clear"
    assert clear["rim"]["shows"] == []
    spare = clear["numbers"]["spare"]
    assert spare >= 0.0
    barely = look(bench, fitted, alter={"moved": spare - 0.01})
    over = look(bench, fitted, alter={"moved": spare + 0.02})
    assert barely["numbers"]["verdict"] == "clear"
    assert over["numbers"]["verdict"] == "shows"
    assert over["rim"]["shows"][0]["by"] == pytest.approx(0.02, abs=0.005)
    verdict = bench.post("/api/check", json={"design": {**fitted, "hood": _moved(fitted["hood"], spare + 0.02)}}).json()
    assert verdict["clear"] is False
    verdict = bench.post("/api/check", json={"design": {**fitted, "hood": _moved(fitted["hood"], spare - 0.01)}}).json()
    assert verdict["clear"] is True


def _moved(tree: dict[str, Any], by: float) -> dict[str, Any]:
    points = [[a, z + by] for a, z in tree["rim"]["points"]]
    return {**tree, "rim": {**tree["rim"], "points": points}}


def test_a_rim_dragged_by_hand_shows_where_it_was_dragged(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    points = [[a, z + (12.0 if 85 <= a <= 95 else 0.0)] for a, z in fitted["hood"]["rim"]["points"]]
    rim = look(bench, fitted, alter={"rim": points})["rim"]
    assert len(rim["shows"]) == 1
    run = rim["shows"][0]
    assert 80 <= run["from"] <= 90 <= run["to"] <= 100
    assert run["when"].startswith(("24 mm", "2"))


def test_the_sky_lets_in_what_the_map_says(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    work = job(zoom(), camera())
    shape = shape_of(document_from(fitted["hood"], Hood, name="hood"))
    own = light_map(work.beam(work.resolved.settings[0]), shape, cells=61)
    given = look(bench, fitted, hints={"cells": 61})["sky"]
    assert given["let_in"] == pytest.approx(own.let_in, abs=1e-5)
    lit = np.array([math.nan if v is None else v for v in given["lit"]]).reshape(61, 61)
    assert np.allclose(lit, own.lit, atol=6e-4, equal_nan=True)
    # While a slider moves the rim is followed more coarsely: right to half a hundredth.
    quick = look(bench, fitted, hints={"cells": 41})["sky"]
    assert quick["let_in"] == pytest.approx(light_map(work.beam(work.resolved.settings[0]), shape, cells=41).let_in, abs=0.005)


def test_every_view_follows_the_sliders(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    first = look(bench, fitted)
    zoomed = look(bench, fitted, at={"zoom": 1.5})
    assert first["setting"]["label"] != zoomed["setting"]["label"]
    for part in ("section", "solid"):
        assert first[part] != zoomed[part]
    assert first["rim"]["here"] != zoomed["rim"]["here"]
    assert first["rim"]["limit"] == zoomed["rim"]["limit"]
    deeper = look(bench, fitted, alter={"moved": 6.0})
    for part in ("sensor", "rim", "section", "sky", "solid", "numbers"):
        assert deeper[part] != first[part], part
    stopped = look(bench, fitted, at={"f_number": 11.0})
    assert stopped["setting"]["f_number"] == pytest.approx(11.0)
    assert min(stopped["rim"]["here"]) > min(first["rim"]["here"])
    assert look(bench, fitted, at={"zoom": 99.0})["setting"]["focal_length"] == pytest.approx(70.0)
    assert look(bench, fitted, at={"focus": 1.0})["setting"]["focus_distance"] == pytest.approx(300.0)


def test_wishes_alone_are_shown_by_a_stand_in(bench: httpx.Client) -> None:
    for shape, wall in (("petal", "round"), ("plain", "round"), ("tunnel", "tunnel")):
        wanted = zoom_design(largest_length=60.0)
        wanted["hood"]["rim"] = {"shape": shape}
        found = look(bench, wanted)
        assert found["provisional"] is True
        assert found["numbers"]["verdict"] == "clear"
        assert found["solid"]["kind"] == wall
    assert found["rim"]["lips"]["top"] <= found["rim"]["limit_lips"]["top"]


def test_an_allowance_is_told_apart_from_showing(bench: httpx.Client) -> None:
    wanted = design(allowance=0.2)
    wanted["hood"] = bench.post("/api/fit", json={"design": wanted}).json()["hood"]
    found = look(bench, wanted)["numbers"]
    assert found["verdict"] == "within"
    assert look(bench, wanted, alter={"moved": 5.0})["numbers"]["verdict"] == "shows"


def test_documents_read_write_and_open_again_exactly_so(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    for part, kind in (("lens", Lens), ("hood", Hood)):
        text = bench.post("/api/write", json={"document": fitted[part]}).json()["text"]
        again = bench.post("/api/read", json={"text": text}).json()
        assert again["kind"] == part
        assert parse_document(text, kind, name="x") == document_from(fitted[part], kind, name="x")  # type: ignore[type-var]
        assert again["document"] == fitted[part]


def test_validation_names_every_field_and_what_is_estimated(bench: httpx.Client) -> None:
    wanted = design(lens=prime(pupil_depth=None))
    found = bench.post("/api/validate", json={"design": wanted}).json()
    assert found["problems"] == []
    assert any(entry["field"] == "state[1].pupil_depth" and entry["low"] == 0 for entry in found["estimates"])
    wanted["lens"]["state"][0]["f_number"] = "wide"
    wanted["lens"]["front"]["rim_diameter"] = -3
    wanted["camera"]["format"] = "none such"
    found = bench.post("/api/validate", json={"design": wanted}).json()["problems"]
    fields = {(entry["document"], entry["field"]) for entry in found}
    assert {("lens", "state[1].f_number"), ("lens", "front.rim_diameter")} <= fields
    assert any(document == "camera" for document, _field in fields)
    assert all(entry["sentence"].endswith(".") for entry in found)


def test_what_is_made_is_whole_and_clear(bench: httpx.Client, simple: dict[str, Any], tmp_path: Path) -> None:
    told = ended(bench, "make", simple, paper="letter")
    assert told["state"] == "done", told
    names = [entry["name"] for entry in told["files"]]
    assert {name.rsplit(".", 1)[-1] for name in names} == {"stl", "3mf", "svg", "dxf", "pdf"}
    for entry in told["files"]:
        content = bench.get(f"/api/jobs/{told['id']}/files/{entry['name']}")
        assert content.status_code == 200
        assert len(content.content) == entry["bytes"]
        (tmp_path / entry["name"]).write_bytes(content.content)
    solid = next(name for name in names if name.endswith(".stl") and "ring" not in name)
    mesh = read_stl(tmp_path / solid)
    assert inspect_mesh(mesh.vertices, mesh.faces).problems == ()
    work = job(prime(), camera())
    beams = [beam.widened(-0.1) for beam in work.beams(work.resolved.settings)]
    assert not keep_out(beams).touches(mesh.vertices[mesh.faces])[0].any()
    over = mesh.vertices[mesh.faces] + np.array([0.0, 0.0, 5.0])
    assert keep_out(beams).touches(over)[0].any()
    assert bench.get(f"/api/jobs/{told['id']}/files/..%2f..%2fsecret").status_code == 404
    assert bench.get(f"/api/jobs/{told['id']}/files/other.stl").status_code == 404
    assert bench.delete(f"/api/jobs/{told['id']}").status_code == 204
    assert bench.get(f"/api/jobs/{told['id']}").status_code == 404


def test_a_weighing_gives_each_hood_to_lay_side_by_side(bench: httpx.Client) -> None:
    told = ended(bench, "weigh", design(largest_length=40.0), fast=True)
    assert told["state"] == "done", told
    result = told["result"]
    assert set(result["hoods"]) == {entry["hood"] for entry in result["candidates"]} >= {"plain", "petal"}
    for entry in result["candidates"]:
        wanted = {**design(largest_length=40.0), "hood": result["hoods"][entry["hood"]]}
        numbers = look(bench, wanted)["numbers"]
        assert numbers["verdict"] == "clear"
        assert numbers["depth"] == pytest.approx(entry["depth"], abs=1e-3)
        assert numbers["across"] == pytest.approx(entry["across"], abs=1e-2)


def test_a_report_is_a_pdf_that_says_what_the_check_says(bench: httpx.Client, simple: dict[str, Any]) -> None:
    wanted = {**simple, "hood": {**simple["hood"], "name": "Hood <b>& sons"}}
    told = ended(bench, "report", wanted)
    assert told["state"] == "done", told
    content = bench.get(f"/api/jobs/{told['id']}/files/{told['files'][0]['name']}").content
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    text = " ".join("\n".join(page.extract_text() for page in pages).split())
    assert "Hood <b>& sons" in text
    assert "does not show" in text
    assert "Sorrel 24" in text
    assert "sun" in text
    deepest = max(z for _a, z in simple["hood"]["rim"]["points"])
    assert f"{deepest:.1f}" in text


def test_a_job_can_be_cancelled_and_says_what_went_wrong(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    begun = [bench.post("/api/jobs", json={"kind": "weigh", "design": fitted}).json()["id"] for _ in range(2)]
    for name in begun:
        assert bench.delete(f"/api/jobs/{name}").status_code == 204
    for name in begun:
        assert bench.get(f"/api/jobs/{name}").json()["state"] == "cancelled"
    narrow = {**fitted, "hood": {**zoom_design()["hood"], "wall": {"shape": "tube", "inner_diameter": 60.0}}}
    told = ended(bench, "make", narrow)
    assert told["state"] == "failed"
    assert told["files"] == []
    assert told["sentence"].startswith("wall: ")


def test_sliders_move_on_while_a_job_runs(bench: httpx.Client, fitted: dict[str, Any]) -> None:
    begun = bench.post("/api/jobs", json={"kind": "weigh", "design": fitted}).json()["id"]
    answered = 0
    while bench.get(f"/api/jobs/{begun}").json()["state"] in ("waiting", "running") and answered < 20:
        look(bench, fitted, alter={"moved": 0.1 * answered})
        answered += 1
    assert answered == 20
    bench.delete(f"/api/jobs/{begun}")


def test_a_mesh_is_taken_in_and_looked_at(bench: httpx.Client, fitted: dict[str, Any], tmp_path: Path) -> None:
    from shadewright.make.meshfiles import write_stl
    from shadewright.make.solid import build_hood

    document = document_from(fitted["hood"], Hood, name="hood")
    solid = build_hood(shape_of(document), document.build, seat_diameter=84.0, thread=None, name="hood")  # type: ignore[arg-type]
    write_stl(tmp_path / "hood.stl", solid)
    content = (tmp_path / "hood.stl").read_bytes()
    kept = bench.post("/api/meshes", content=content, headers={"content-type": "application/octet-stream"})
    assert kept.status_code == 200, kept.text
    wanted = {**fitted, "hood": {**zoom_design()["hood"], "rim": {"stl": "hood.stl"}}, "mesh": kept.json()["mesh"]}
    found = look(bench, wanted, hints={"columns": 9, "rows": 7, "cells": 9})
    assert found["solid"]["kind"] == "mesh"
    assert found["sensor"]["worst"] == pytest.approx(0.0, abs=1e-3)
    assert found["section"]["planes"][0]["cuts"]
    refused = bench.post("/api/look", json={"design": {**wanted, "mesh": "../../etc/passwd"}})
    assert refused.status_code == 422
    bad = bench.post("/api/meshes", content=b"solid nothing", headers={"content-type": "application/octet-stream"})
    assert bad.status_code == 422
    assert "/" not in bad.json()["sentence"]


def test_what_stands_ready_to_begin_from(bench: httpx.Client) -> None:
    kit = bench.get("/api/starters").json()
    for entry in kit["starters"]:
        found = bench.post("/api/validate", json={"design": {k: entry[k] for k in ("lens", "camera", "hood")}}).json()
        assert found["problems"] == [], entry["name"]
    assert {f["name"] for f in bench.get("/api/formats").json()["formats"]} >= {"135", "6x6"}
    assert bench.get("/api/about").json()["program"] == "shadewright"
    assert bench.get("/api/schema/lens").json()["title"] == "Lens"
    assert bench.get("/api/schema/none").status_code == 404
