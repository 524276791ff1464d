"""Measuring by the API: photographs go in within limits, and what comes out equals what the command line gives."""

from __future__ import annotations

import importlib.util
import json
import struct
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import httpx
import numpy as np
import pytest
from typer.testing import CliRunner

from api import opened
from measuring_shots import CAMERA, LENS, bench_folder, pair_of_hood, tube_frames
from shadewright.cli import app
from shadewright.model.camera import Camera
from shadewright.model.documents import document_from, read_lens
from shadewright.model.lens import Lens
from shadewright.model.writing import to_toml
from shadewright.web.measuring_frames import hold
from synthetic_camera import write_tiff


@pytest.fixture(scope="module")
def bench() -> Iterator[httpx.Client]:
    with opened() as found:
        yield found


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tube_frames(tmp_path_factory.mktemp("frames"))


def sent(bench: httpx.Client, path: Path) -> dict[str, Any]:
    """A photograph sent, and what the bench says it is."""
    answer = bench.post("/api/frames", params={"name": path.name}, content=path.read_bytes(), headers={"content-type": "application/octet-stream"})
    return {"status": answer.status_code, **answer.json()}


def ended(bench: httpx.Client, kind: str, body: dict[str, Any]) -> dict[str, Any]:
    """A measuring job followed to its end."""
    begun = bench.post(f"/api/measure/{kind}", json=body)
    assert begun.status_code == 202, begun.text
    until = time.monotonic() + 120
    while time.monotonic() < until:
        job: dict[str, Any] = bench.get(f"/api/jobs/{begun.json()['id']}").json()
        if job["state"] in ("done", "failed", "cancelled"):
            return job
        time.sleep(0.1)
    raise AssertionError("the job does not end")


def got(bench: httpx.Client, job: dict[str, Any], ending: str) -> bytes:
    """A file of a job, by how its name ends."""
    name = next(entry["name"] for entry in job["files"] if entry["name"].endswith(ending))
    return bench.get(f"/api/jobs/{job['id']}/files/{name}").content


def shots(*names: str) -> dict[str, Any]:
    """A shots document of a bare frame and a tube each for the further names."""
    lengths = (28.0, 46.0)
    return {
        "document": "shots", "version": 1, "name": "evening",
        "tube": [{"name": f"tube {k + 1}", "inner_diameter": 76.0, "length": lengths[k]} for k in range(len(names) - 1)],
        "setting": [{
            "focal_length": 24.0, "f_number": 2.8, "bare": [names[0]],
            "with_tube": [{"tube": f"tube {k + 1}", "frames": [name]} for k, name in enumerate(names[1:])],
        }],
    }  # fmt: skip


def test_a_pupil_is_what_the_command_line_finds(bench: httpx.Client, frames: Path, tmp_path: Path) -> None:
    names = ("bare.tif", "tube-1.tif", "tube-2.tif")
    kept = {name: sent(bench, frames / name) for name in names}
    assert kept["bare.tif"]["kind"] == "TIFF"
    assert (kept["bare.tif"]["width"], kept["bare.tif"]["height"]) == (384, 256)
    job = ended(bench, "pupil", {"lens": LENS, "camera": CAMERA, "shots": shots(*names), "frames": {n: kept[n]["frame"] for n in names}})
    assert job["state"] == "done", job["sentence"]
    lens, camera = tmp_path / "lens.toml", tmp_path / "camera.toml"
    lens.write_text(to_toml(document_from(LENS, Lens, name="lens")))
    camera.write_text(to_toml(document_from(CAMERA, Camera, name="camera")))
    taken = frames / "taken.toml"
    taken.write_bytes(got(bench, job, "-shots.toml"))
    printed = CliRunner().invoke(app, ["measure", "pupil", str(lens), str(camera), str(taken), "--json"])
    report = json.loads(printed.stdout)
    assert {key: job["result"][key] for key in report} == report
    assert printed.exit_code == (0 if report["settings"][0]["settled"] else 1)
    (tmp_path / "measured.toml").write_bytes(got(bench, job, "-measured.toml"))
    assert read_lens(tmp_path / "measured.toml") == document_from(job["result"]["lens_document"], Lens, name="lens")
    # What is drawn rests on the frames: all the light is left inside, none far out, and the fit goes along.
    profile = job["result"]["shadows"][0][1]["profile"]
    assert profile["measured"][0] > 0.9
    assert profile["measured"][-1] < 0.1
    assert np.max(np.abs(np.subtract(profile["measured"], profile["fitted"]))) < 0.05
    inner = job["result"]["shadows"][0][1]["map"]
    assert len(inner["left"]) == len(inner["missed"]) == inner["columns"] * inner["rows"]


def test_a_proof_is_what_the_command_line_finds(bench: httpx.Client, tmp_path: Path) -> None:
    design, bare, hood = pair_of_hood(tmp_path)
    taken = {
        "document": "shots", "version": 1, "name": "proof",
        "setting": [{"focal_length": 24.0, "f_number": 2.8, "bare": [bare.name], "with_hood": [hood.name]}],
    }
    body = {"design": design, "shots": taken, "frames": {p.name: sent(bench, p)["frame"] for p in (bare, hood)}}
    job = ended(bench, "proof", body)
    assert job["state"] == "done", job["sentence"]
    assert job["result"]["finding"] == "shows"
    assert job["result"]["pairs"][0]["where"]
    assert got(bench, job, "-proof.pdf")[:5] == b"%PDF-"
    for name, text in (("lens", to_toml(document_from(LENS, Lens, name="lens"))), ("camera", to_toml(document_from(CAMERA, Camera, name="camera")))):
        (tmp_path / f"{name}.toml").write_text(text)
    hood_file = next(entry["name"] for entry in job["files"] if entry["name"].endswith(".toml") and "shots" not in entry["name"])
    (tmp_path / "hood.toml").write_bytes(got(bench, job, hood_file))
    (tmp_path / "taken.toml").write_bytes(got(bench, job, "-shots.toml"))
    where = [str(tmp_path / f"{name}.toml") for name in ("lens", "camera", "hood", "taken")]
    record = json.loads(CliRunner().invoke(app, ["measure", "proof", *where, "--json"]).stdout)
    assert {key: job["result"][key] for key in record} == record
    assert json.loads(got(bench, job, ".proof.json")) == record


def test_readings_are_averaged_as_the_command_line_does(bench: httpx.Client, tmp_path: Path) -> None:
    taken = {"document": "shots", "version": 1, "name": "pins", "pin": [{"focal_length": 24.0, "depths": [25.4, 26.1, 25.9, 26.6, 25.8]}]}
    found = bench.post("/api/measure/readings", json={"shots": taken, "lens": LENS}).json()
    (tmp_path / "pins.toml").write_text('document = "shots"\nversion = 1\nname = "pins"\n[[pin]]\nfocal_length = 24.0\ndepths = [25.4, 26.1, 25.9, 26.6, 25.8]\n')
    lens = tmp_path / "lens.toml"
    lens.write_text(to_toml(document_from(LENS, Lens, name="lens")))
    out = tmp_path / "out"
    printed = CliRunner().invoke(app, ["measure", "parallax", str(tmp_path / "pins.toml"), "--lens", str(lens), "--out", str(out), "--json"])
    assert found["readings"] == json.loads(printed.stdout)["readings"]
    assert found["readings"][0]["depth"] == pytest.approx(np.mean([25.4, 26.1, 25.9, 26.6, 25.8]))
    assert found["text"] == next(out.glob("*-measured.toml")).read_text()
    nothing = bench.post("/api/measure/readings", json={"shots": {"document": "shots", "version": 1, "name": "pins"}})
    assert nothing.status_code == 422
    assert "nothing was measured" in nothing.json()["sentence"]


def test_tubes_are_those_of_the_command_line(bench: httpx.Client, tmp_path: Path) -> None:
    job = ended(bench, "tubes", {"lens": LENS, "camera": CAMERA, "inner_diameter": 76.0})
    assert job["state"] == "done", job["sentence"]
    lens, camera = tmp_path / "lens.toml", tmp_path / "camera.toml"
    lens.write_text(to_toml(document_from(LENS, Lens, name="lens")))
    camera.write_text(to_toml(document_from(CAMERA, Camera, name="camera")))
    printed = CliRunner().invoke(app, ["measure", "tubes", str(lens), str(camera), "--inner-diameter", "76", "--json"])
    assert job["result"] == json.loads(printed.stdout)
    assert got(bench, job, "-tube-2.pdf")[:5] == b"%PDF-"
    sheet = ended(bench, "sheet", {})
    assert got(bench, sheet, ".pdf")[:5] == b"%PDF-"


def strip_sheet() -> ModuleType:
    """The maker of photographed strips that the tests of measuring use."""
    path = Path(__file__).parents[1] / "measure" / "strip_sheet.py"
    spec = importlib.util.spec_from_file_location("strip_sheet", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_strip_is_read_as_the_command_line_does(bench: httpx.Client, frames: Path, tmp_path: Path) -> None:
    picture = strip_sheet().photographed(tmp_path / "strip.jpg", lambda azimuth: 20.0 + 8.0 * np.cos(np.radians(2.0 * azimuth)), 88.0)
    given = {"frame": sent(bench, picture)["frame"], "file": picture.name, "diameter": 88.0, "inner_diameter": 84.0, "name": "Old shade"}
    job = ended(bench, "strip", given)
    assert job["state"] == "done", job["sentence"]
    asked = ["measure", "strip", str(picture), "--diameter", "88", "--inner-diameter", "84", "--name", "Old shade", "--out", str(tmp_path), "--json"]
    record = json.loads(CliRunner().invoke(app, asked).stdout)
    assert {key: job["result"][key] for key in record} == record
    assert got(bench, job, ".toml") == (tmp_path / "old-shade.toml").read_bytes()
    assert job["result"]["hood_document"]["rim"]["points"][0][1] == pytest.approx(28.0, abs=0.7)
    wall = ended(bench, "strip", {**given, "frame": sent(bench, frames / "bare.tif")["frame"], "file": "bare.tif"})
    assert wall["state"] == "failed"
    assert wall["sentence"].startswith("bare.tif: ")


def png_claiming(columns: int, rows: int) -> bytes:
    """A PNG of a few bytes that claims to be huge."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("notes.jpg", b"not a picture at all, but words", "is not a photograph"),
        ("bomb.png", png_claiming(60_000, 60_000), "claims 60000 x 60000 pixels"),
        ("tiny.png", png_claiming(20, 20), "too few to measure from"),
        ("cut.tif", b"II*\0\x08\0\0\0", "is not a photograph"),
        ("empty.tif", b"", "is empty"),
        ("../../climb.dng", b"GIF89a" + bytes(400), "climb.dng: is not a photograph"),
    ],
)
def test_what_is_no_photograph_is_refused_in_words(bench: httpx.Client, name: str, content: bytes, says: str) -> None:
    answer = bench.post("/api/frames", params={"name": name}, content=content, headers={"content-type": "application/octet-stream"})
    assert answer.status_code == 422
    assert says in answer.json()["sentence"]
    assert "shadewright-bench" not in answer.json()["sentence"]


def test_who_may_send_a_photograph(bench: httpx.Client, frames: Path) -> None:
    body = (frames / "bare.tif").read_bytes()
    plain = {"content-type": "application/octet-stream"}
    other = bench.post("/api/frames?name=a.tif", content=body, headers={**plain, "origin": "http://elsewhere.example"})
    assert other.status_code == 403
    assert bench.post("/api/frames?name=a.tif", content=body, headers={"content-type": "image/tiff"}).status_code == 415
    assert bench.post("/api/frames", content=body, headers=plain).status_code == 422


def test_a_photograph_beyond_the_limit_is_refused(bench: httpx.Client, frames: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shadewright.web.measuring_frames.MOST_BYTES", 100_000)
    said = sent(bench, frames / "bare.tif")
    assert said["status"] == 413
    assert "larger than the 100,000 bytes" in said["sentence"]


def test_photographs_are_kept_for_their_owner_and_dropped(frames: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shadewright.web.measuring_frames.MOST_FRAMES", 2)
    with opened() as bench:
        kept = [sent(bench, frames / "bare.tif")["frame"] for _ in range(3)]
        folder = bench_folder(kept[2])
        assert folder.stat().st_mode & 0o077 == 0
        assert sorted(path.stem for path in folder.iterdir()) == sorted(kept[1:])
        assert bench.delete(f"/api/frames/{kept[2]}").status_code == 204
        assert bench.delete(f"/api/frames/{kept[2]}").status_code == 404
        assert bench.delete("/api/frames/..%2Fmeshes").status_code == 404
    assert not folder.exists()


@pytest.mark.parametrize("name", ["../bare.tif", "a/b.tif", ".hidden.tif", "a..b.tif", "", "x" * 121])
def test_no_name_leads_elsewhere(bench: httpx.Client, frames: Path, name: str) -> None:
    kept = sent(bench, frames / "bare.tif")["frame"]
    answer = bench.post("/api/measure/pupil", json={"lens": LENS, "camera": CAMERA, "shots": shots("bare.tif", "t.tif"), "frames": {name: kept}})
    assert answer.status_code == 422
    assert answer.json()["sentence"]


def test_frames_that_are_no_pair_are_refused_by_name(bench: httpx.Client, frames: Path, tmp_path: Path) -> None:
    bright = write_tiff(tmp_path / "bright.tif", np.full((256, 384), 1.0))
    small = write_tiff(tmp_path / "small.tif", np.full((128, 192), 0.5))
    bare = frames / "bare.tif"
    for wrong, says in ((bright, "bright.tif: 100% of it is clipped"), (small, "small.tif: is 192 x 128 pixels, but bare.tif is 384 x 256")):
        names = {path.name: sent(bench, path)["frame"] for path in (bare, wrong)}
        job = ended(bench, "pupil", {"lens": LENS, "camera": CAMERA, "shots": shots("bare.tif", wrong.name), "frames": names})
        assert job["state"] == "failed"
        assert job["sentence"].startswith(says)
    gone = ended(bench, "pupil", {"lens": LENS, "camera": CAMERA, "shots": shots("bare.tif", "t.tif"), "frames": {"bare.tif": "0" * 24}})
    assert "no longer there" in gone["sentence"]


def test_nothing_of_a_cancelled_job_stays(frames: Path) -> None:
    names = ("bare.tif", "tube-1.tif")
    with opened() as bench:
        kept = {name: sent(bench, frames / name)["frame"] for name in names}
        folder = bench_folder(kept["bare.tif"]).parent / "jobs"
        begun = bench.post("/api/measure/pupil", json={"lens": LENS, "camera": CAMERA, "shots": shots(*names), "frames": kept}).json()["id"]
        until = time.monotonic() + 30
        while bench.get(f"/api/jobs/{begun}").json()["sentence"] in ("waiting for its turn", "starting") and time.monotonic() < until:
            time.sleep(0.02)
        assert bench.delete(f"/api/jobs/{begun}").status_code == 204
        assert bench.get(f"/api/jobs/{begun}").json()["state"] == "cancelled"
        while (folder / begun).exists() and time.monotonic() < until:
            time.sleep(0.05)
        assert not (folder / begun).exists()


def test_a_bench_that_was_killed_leaves_no_photographs_for_long(frames: Path, tmp_path: Path) -> None:
    """A folder still held stays; one whose bench is gone goes when another bench begins."""
    mine, left = tmp_path / "shadewright-bench-mine", tmp_path / "shadewright-bench-left"
    other, plain = tmp_path / "shadewright-bench-next", tmp_path / "somebody-else"
    for folder in (mine, left, other, plain):
        (folder / "frames").mkdir(parents=True)
        (folder / "frames" / "a.tif").write_bytes((frames / "bare.tif").read_bytes())
    still, gone = hold(mine), hold(left)
    assert still is not None
    assert gone is not None
    gone.close()
    last = hold(other)
    assert last is not None
    assert (mine.exists(), left.exists(), other.exists(), plain.exists()) == (True, False, True, True)
    still.close()
    last.close()
