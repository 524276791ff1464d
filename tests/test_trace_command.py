"""The command that traces a prescription, used as a person would."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from shadewright.cli import app
from shadewright.errors import ShadewrightError
from shadewright.model.documents import read_lens
from shadewright.model.lens_files import read_prescription

ROOT = Path(__file__).parent.parent
DESIGNS = ROOT / "tests" / "prescriptions"
DEMO = ROOT / "src" / "shadewright" / "demo"
CAMERA = str(DEMO / "camera.toml")


def run(*words: str) -> str:
    done = CliRunner().invoke(app, list(words))
    if done.exception is not None:
        raise done.exception
    assert done.exit_code == 0
    return done.output


def test_first_order_without_a_camera() -> None:
    report = json.loads(run("trace", str(DESIGNS / "zoom-72-194.toml"), "--json"))
    # US 5,537,259, example 1: the focal lengths it prints, to what its rounded indices allow.
    printed = {"72 mm": 72.10, "135 mm": 135.00, "194 mm": 194.01}
    for entry in report["settings"]:
        assert entry["focal_length"] == pytest.approx(printed[entry["setting"]], rel=1e-3)
    assert "models" not in report


def test_everything_it_writes_is_used_by_the_other_commands(tmp_path: Path) -> None:
    out = tmp_path / "out"
    run("trace", str(DEMO / "prime-prescription.toml"), "--camera", CAMERA, "--out", str(out), "--vertex-reach", "3")
    written = {path.name for path in out.iterdir()}
    assert {"rowan-35-lens.toml", "rowan-35-prescription.toml", "rowan-35-windows.toml", "rowan-35.trace.json"} <= written
    assert {"rowan-35-lens.png", "rowan-35-wander.png"} <= written
    traced, windows = read_lens(out / "rowan-35-lens.toml"), read_lens(out / "rowan-35-windows.toml")
    assert traced.prescription == read_prescription(DEMO / "prime-prescription.toml")
    assert traced.placement[0].vertex_reach == 3.0
    depth = {}
    for name in ("lens", "windows"):
        report = json.loads(run("fit", str(out / f"rowan-35-{name}.toml"), CAMERA, "--json"))
        depth[name] = report["plain_depth"]
    # The reduction says itself how far its plain hood is off; the fit must agree on the scale of a millimetre.
    assert abs(depth["lens"] - depth["windows"]) < 3.0
    assert windows.state[0].focal_length == pytest.approx(35.2, abs=0.1)


def test_a_foreign_description_is_written_as_a_document(tmp_path: Path) -> None:
    from shadewright.model.lens_files_dat import write_dat

    source = tmp_path / "thing.dat"
    lens = read_prescription(DESIGNS / "double-gauss-50.toml")
    last = lens.surface[-1].model_copy(update={"thickness": 36.1})
    source.write_text(write_dat(lens.model_copy(update={"surface": (*lens.surface[:-1], last)})))
    run("trace", str(source), "--out", str(tmp_path / "out"))
    [own] = (tmp_path / "out").glob("*-prescription.toml")
    assert len(read_prescription(own).surface) == 11


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("nothing.toml",), "no such file"),
        ((str(DEMO / "zoom.toml"),), "prescription document is needed"),
        ((str(DESIGNS / "triplet-50.toml"), "--camera", CAMERA), "--rim-diameter"),
    ],
)
def test_what_is_missing_is_said(words: tuple[str, ...], says: str) -> None:
    with pytest.raises(ShadewrightError, match=says):
        run("trace", *words)


def test_a_lens_names_its_prescription(tmp_path: Path) -> None:
    (tmp_path / "lens.toml").write_text(
        'document = "lens"\nversion = 1\nname = "x"\nprescription = "../p.toml"\n[front]\nrim_diameter = 60.0\n'
        '[[placement]]\nsetting = "nominal"\n'
    )
    with pytest.raises(ShadewrightError, match="same folder"):
        read_lens(tmp_path / "lens.toml")
    text = (tmp_path / "lens.toml").read_text()
    (tmp_path / "lens.toml").write_text(text.replace("../p.toml", "p.toml"))
    with pytest.raises(ShadewrightError, match="names no file"):
        read_lens(tmp_path / "lens.toml")
    (tmp_path / "p.toml").write_text((DESIGNS / "wide-22.toml").read_text("utf-8"))
    assert read_lens(tmp_path / "lens.toml").placement[0].setting == "nominal"
    (tmp_path / "lens.toml").write_text(text.replace("../p.toml", "p.toml").replace("nominal", "wide"))
    with pytest.raises(ShadewrightError, match="no setting of the prescription"):
        read_lens(tmp_path / "lens.toml")
