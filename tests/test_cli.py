"""The command line as people use it: documents in, files and words out, exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from shadewright.cli import main

DEMO = Path(str(resources.files("shadewright").joinpath("demo")))
CAMERA = str(DEMO / "camera.toml")


def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Run the command in this process: exit code, standard output, standard error."""
    monkeypatch.setattr(sys, "argv", ["shadewright", *words])
    with pytest.raises(SystemExit) as stop:
        main()
    out, err = capsys.readouterr()
    return int(stop.value.code or 0), out, err


def test_main_job_end_to_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    lens, wishes = str(DEMO / "zoom.toml"), str(DEMO / "zoom-hood.toml")
    code, out, _ = run(monkeypatch, capsys, "fit", lens, CAMERA, wishes, "--out", str(tmp_path), "--json")
    report = json.loads(out)
    assert code == 0
    assert report["report"] == "fit"
    assert [point[0] for point in report["rim"]["points"]] == [float(a) for a in range(360)]
    assert max(z for _, z in report["rim"]["points"]) <= 75.0
    fitted = tmp_path / "tarn-petal.toml"
    assert {p.name for p in tmp_path.iterdir()} == {
        "tarn-petal.toml", "tarn-petal.fit.json", "tarn-petal-rim.svg", "tarn-petal-rim.png",
    }  # fmt: skip
    assert json.loads((tmp_path / "tarn-petal.fit.json").read_text()) == report

    code, out, _ = run(monkeypatch, capsys, "check", lens, CAMERA, str(fitted), "--json")
    verdict = json.loads(out)
    assert code == 0
    assert verdict["clear"]
    assert all(not entry["shows"] for entry in verdict["settings"])

    code, out, _ = run(monkeypatch, capsys, "make", lens, CAMERA, str(fitted), "--out", str(tmp_path), "--json")
    made = json.loads(out)
    assert code == 0
    assert all(Path(name).exists() for name in made["files"])

    code, out, _ = run(monkeypatch, capsys, "show", lens, CAMERA, str(fitted), "--out", str(tmp_path), "--json")
    assert code == 0
    words = {Path(name).name for name in json.loads(out)["files"]}
    for picture in ("section", "sensor", "opening", "rim", "sky", "solid"):
        assert {f"tarn-petal-{picture}.svg", f"tarn-petal-{picture}.png"} <= words


def test_the_same_hood_shows_on_a_wider_lens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hood = tmp_path / "drawer.toml"
    hood.write_text('document = "hood"\nversion = 1\nname = "drawer"\n[wall]\ninner_diameter = 88.0\n[rim]\ndepth = 60.0\n')
    code, out, _ = run(monkeypatch, capsys, "check", str(DEMO / "zoom.toml"), CAMERA, str(hood), "--out", str(tmp_path))
    assert code == 1
    assert "SHOWS" in out
    assert "too deep" in out
    assert (tmp_path / "drawer-sensor.png").exists()
    code, out, _ = run(monkeypatch, capsys, "check", str(DEMO / "long.toml"), CAMERA, str(hood))
    assert code == 0
    assert "clear" in out


def test_weigh_recommends_with_reasons(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(
        monkeypatch, capsys, "weigh", str(DEMO / "shift.toml"), CAMERA, str(DEMO / "shift-hood.toml"), "--json",
        "--out", str(tmp_path),
    )  # fmt: skip
    report = json.loads(out)
    assert code == 0
    assert {entry["hood"] for entry in report["candidates"]} == {"plain", "petal", "tunnel"}
    assert report["choice"] in {entry["hood"] for entry in report["candidates"]}
    assert len(report["reasons"]) >= 3
    assert (tmp_path / "quill-shade-compared.png").exists()
    code, out, _ = run(monkeypatch, capsys, "weigh", str(DEMO / "long.toml"), CAMERA, str(DEMO / "long-hood.toml"))
    assert code == 0
    assert "recommended: plain" in out
    assert "turns" in out


def test_new_writes_documents_that_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {}
    for kind in ("lens", "camera", "hood"):
        path = tmp_path / f"{kind}.toml"
        code, _, _ = run(monkeypatch, capsys, "new", kind, str(path))
        assert code == 0
        files[kind] = str(path)
    code, _, err = run(monkeypatch, capsys, "new", "lens", files["lens"])
    assert code == 2
    assert "exists already" in err
    fitted = tmp_path / "fitted"
    code, out, _ = run(monkeypatch, capsys, "fit", files["lens"], files["camera"], files["hood"], "--out", str(fitted))
    assert code == 0
    assert "ESTIMATE" in out
    made = str(next(fitted.glob("*.toml")))
    for command, given in (("weigh", files["hood"]), ("make", made), ("show", made)):
        words = ("--fast",) if command == "weigh" else ("--out", str(tmp_path / command))
        code, out, err = run(monkeypatch, capsys, command, files["lens"], files["camera"], given, *words)
        assert (code, err) == (0, "")
        assert "ESTIMATE state[1].pupil_depth" in out
    code, out, _ = run(monkeypatch, capsys, "new", "camera")
    assert code == 0
    assert 'document = "camera"' in out


def test_new_asks(tmp_path: Path) -> None:
    path = tmp_path / "asked.toml"
    answers = 'Hazel "50"\n70\n72.5\n50\n1.8\n2\n'
    subprocess.run(
        [sys.executable, "-m", "shadewright.cli", "new", "lens", str(path), "--ask"], input=answers, text=True, check=True,
        capture_output=True,
    )  # fmt: skip
    from shadewright.model.documents import read_lens

    lens = read_lens(path)
    assert lens.name == 'Hazel "50"'
    assert lens.seat.diameter == 72.5
    assert lens.state[0].f_number == 1.8
    bad = subprocess.run(
        [sys.executable, "-m", "shadewright.cli", "new", "lens", str(tmp_path / "bad.toml"), "--ask"], text=True,
        input='x\nwide\n72\n50\n1.8\n2\n', capture_output=True, check=False,
    )  # fmt: skip
    assert bad.returncode == 2
    assert "Traceback" not in bad.stderr
    assert not (tmp_path / "bad.toml").exists()


@pytest.mark.parametrize("command", ["fit", "check", "weigh", "make", "show", "new", "schema"])
def test_help_has_an_example(command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(monkeypatch, capsys, command, "--help")
    assert code == 0
    assert "Example: shadewright" in " ".join(out.split())


def test_schema_and_formats(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(monkeypatch, capsys, "schema", "hood")
    assert code == 0
    assert json.loads(out)["title"] == "Hood"
    code, out, _ = run(monkeypatch, capsys, "formats")
    assert code == 0
    assert "four-thirds" in out


@pytest.mark.parametrize("words", [["fit"], ["fit", "a", "b", "--depth", "3"], ["ponder"], ["new", "hat"]])
def test_wrong_usage_is_one_sentence(
    words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(monkeypatch, capsys, *words)
    assert code == 2
    assert out == ""
    assert err.startswith("shadewright: ")
    assert len(err.strip().splitlines()) == 1
