"""The commands about light, on the demo's documents."""

from __future__ import annotations

import json
import re
import sys
from importlib import resources
from pathlib import Path

import pytest

from shadewright.cli import main
from shadewright.model.documents import read_hood
from shadewright.model.named_surroundings import NAMED

DEMO = Path(str(resources.files("shadewright").joinpath("demo")))
CAMERA = str(DEMO / "camera.toml")
WIDE = (str(DEMO / "wide.toml"), CAMERA)
PLAIN = 'document = "hood"\nversion = 1\nname = "Slim shade"\n[wishes]\nlargest_length = 30.0\n'


def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: str) -> tuple[int, str, str]:
    """Exit code, output and error stream of the command line run in this process."""
    monkeypatch.setattr(sys, "argv", ["shadewright", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    captured = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, captured.out, captured.err


@pytest.fixture
def wishes(tmp_path: Path) -> str:
    """A hood document without an allowance."""
    path = tmp_path / "wishes.toml"
    path.write_text(PLAIN, "utf-8")
    return str(path)


def test_named_surroundings_are_listed(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    code, out, _ = run(capsys, monkeypatch, "surroundings")
    assert code == 0
    assert [line.split()[0] for line in out.splitlines()] == list(NAMED)


def test_weigh_in_named_surroundings_and_in_a_document(
    wishes: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "quay.toml"
    code, _, _ = run(capsys, monkeypatch, "new", "surroundings", str(path))
    assert code == 0
    code, out, _ = run(
        capsys, monkeypatch, "weigh", *WIDE, wishes, "--surroundings", "stage", "--surroundings", str(path), "--json",
        "--out", str(tmp_path),
    )  # fmt: skip
    assert code == 0
    report = json.loads(out)
    for entry in report["candidates"]:
        assert [light["surroundings"] for light in entry["surroundings"]] == ["even", "stage", "My surroundings"]
        for light in entry["surroundings"]:
            assert light["share"] == pytest.approx(light["direct"] + light["wall"], abs=2e-5)
            assert light["drop"] > 0
    assert len(report["limits"]) == 3
    assert report["finishes"][0]["finish"] == "black velvet"
    assert (tmp_path / "slim-shade-wall-light.png").exists()


def test_weigh_says_what_it_counts_and_what_not(
    wishes: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _ = run(capsys, monkeypatch, "weigh", *WIDE, wishes, "--surroundings", "stage")
    assert code == 0
    for words in ("drop in veiling glare", "flocked paper", "within the frame and scatters", "front lamp: stands behind"):
        assert words in out
    code, fast, _ = run(capsys, monkeypatch, "weigh", *WIDE, wishes, "--fast", "--json")
    report = json.loads(fast)
    assert code == 0
    assert report["finish"] is None
    assert report["finishes"] == []
    assert all(entry["wall"] is None and entry["surroundings"] == [] for entry in report["candidates"])


def test_vanes_are_tabled_and_drawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ("vanes", str(DEMO / "long.toml"), CAMERA, str(DEMO / "long-hood.toml"), "--depth", "10")
    code, out, _ = run(capsys, monkeypatch, *words, "--json", "--out", str(tmp_path))
    assert code == 0
    rows = json.loads(out)["depths"]
    assert [row["depth"] for row in rows] == [0.0, 10.0]
    assert rows[1]["complete"]
    assert rows[1]["light"]["wall"] < 0.1 * rows[1]["bare_wall"]
    assert all(vane["outer_diameter"] - vane["inner_diameter"] == pytest.approx(20.0) for vane in rows[1]["vanes"])
    assert list(tmp_path.glob("*-vanes.png"))


def test_a_fitted_hood_with_vanes_is_checked_with_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "wishes.toml"
    wall = "[wall]\ninner_diameter = 106.0\n[rim]\nshape = \"plain\"\n"
    path.write_text(PLAIN.replace("[wishes]", wall + "[wishes]\nvane_depth = 6.0").replace("30.0", "70.0"), "utf-8")
    lens = (str(DEMO / "long.toml"), CAMERA)
    code, out, _ = run(capsys, monkeypatch, "fit", *lens, str(path), "--out", str(tmp_path / "out"))
    assert code == 0
    assert "vanes laid out" in out
    fitted = tmp_path / "out" / "slim-shade.toml"
    assert len(read_hood(fitted).vane) > 3
    code, out, _ = run(capsys, monkeypatch, "check", *lens, str(fitted), "--with-margin")
    assert code == 0
    text = fitted.read_text("utf-8")
    narrowed = re.sub(r"(z = [0-9.]+,\s+inner_diameter = )[0-9.]+", r"\g<1>60.0", text, count=1)
    assert narrowed != text
    fitted.write_text(narrowed, "utf-8")
    code, out, _ = run(capsys, monkeypatch, "check", *lens, str(fitted), "--json")
    assert code == 1
    report = json.loads(out)
    assert not report["clear"]
    assert any("the vane" in sentence for sentence in report["warnings"])


def test_a_search_writes_its_front_and_goes_on_from_its_journal(
    wishes: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = (
        "tradeoff", *WIDE, wishes, "--across", "90", "--stored", "40", "--effort", "quick", "--workers", "1",
        "--finish", "flocked paper", "--finish", "gloss black plastic", "--out", str(tmp_path),
    )  # fmt: skip
    code, out, _ = run(capsys, monkeypatch, *words)
    assert code == 0
    assert "no other beats" in out
    report = json.loads((tmp_path / "slim-shade.tradeoff.json").read_text("utf-8"))
    assert len(report["best"]) >= 2
    for entry in report["best"]:
        assert entry["across"] <= 90.0
        assert entry["stored"] <= 40.0
        assert entry["wall"] != "tunnel"
        dark, shiny = entry["wall_light"]
        assert dark["wall"] < shiny["wall"]
        document = read_hood(tmp_path / f"slim-shade-{entry['number']:02d}.toml")
        assert document.build.finish == "flocked paper"
        assert document.rim.given
    assert (tmp_path / "slim-shade-tradeoff.svg").exists()
    code, again, _ = run(capsys, monkeypatch, *words)
    assert code == 0
    assert again.startswith("going on from")
    assert json.loads((tmp_path / "slim-shade.tradeoff.json").read_text("utf-8")) == report
    code, _, err = run(capsys, monkeypatch, *words, "--mass", "55")
    assert code == 2
    assert "another search" in err


def test_a_stopped_search_says_what_is_kept(
    wishes: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from shadewright.design import tradeoff

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(tradeoff, "best_trades", stopped)
    code, out, err = run(capsys, monkeypatch, "tradeoff", *WIDE, wishes, "--workers", "1", "--out", str(tmp_path))
    assert code == 130
    assert out == ""
    assert "the same command goes on from there" in err
