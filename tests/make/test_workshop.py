"""The workshop: every file it writes, the checks it makes, and what it leaves behind when one fails."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from lenses import camera, hood, prime, zoom
from shadewright.clearance.check import check
from shadewright.design.fit import fit
from shadewright.errors import FileError, MakeError
from shadewright.make import workshop
from shadewright.make.meshfiles import read_stl
from shadewright.make.workshop import make_files
from shadewright.model.hood import Build, RimShape, SeatKind, WallPart
from shadewright.model.shape import MeshHood, Rim, RoundHood

DAY = date(2026, 1, 2)
SHAPES = [RimShape.PETAL, RimShape.PLAIN, RimShape.SQUARE_CUT, RimShape.TUNNEL]


@pytest.mark.parametrize("shape", SHAPES)
def test_everything_is_written_and_sound(tmp_path: Path, shape: RimShape) -> None:
    fitting = fit(zoom(), camera(), hood(shape, largest_length=70.0))
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    names = {path.name for path in made.files}
    assert {"t-ring.stl", "t-ring.3mf", "t.stl", "t.3mf", "t-drawing.pdf"} <= names
    assert {"t-template.svg", "t-template.dxf", "t-template.pdf"} <= names
    assert {path.name for path in tmp_path.iterdir()} == names, "nothing else is left behind"
    for stem in ("t", "t-ring"):
        for kind in ("stl", "3mf"):
            mesh = trimesh.load_mesh(tmp_path / f"{stem}.{kind}")
            assert mesh.is_watertight, (stem, kind)
            assert mesh.is_winding_consistent
            assert mesh.volume > 0
            assert len(mesh.split()) == 1
    solid = next(entry for entry in made.report["solids"] if entry["name"] == fitting.hood.name)
    assert solid["watertight"]
    assert solid["bodies"] == 1


def test_the_finished_mesh_is_checked_like_any_hood_and_is_clear(tmp_path: Path) -> None:
    lens = prime(28.0)
    fitting = fit(lens, camera(), hood(RimShape.PETAL, largest_length=60.0))
    make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    verdict = check(fitting.job, read_stl(tmp_path / "t.stl"))
    assert verdict.worst.stops <= 0.002
    assert verdict.deeper >= -0.1


@pytest.mark.parametrize("seat", [SeatKind.CLAMP, SeatKind.THREAD])
def test_other_seats(tmp_path: Path, seat: SeatKind) -> None:
    lens = zoom()
    lens = lens.model_copy(update={"front": lens.front.model_copy(update={"filter_thread": "M77x0.75"})})
    wish = hood(RimShape.PLAIN, largest_length=40.0).model_copy(update={"build": Build(seat=seat, seat_length=12.0)})
    fitting = fit(lens, camera(), wish)
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    assert made.report["thread"] == ("M77x0.75" if seat is SeatKind.THREAD else None)


def test_only_the_ring(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood())
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", ring_only=True, made_on=DAY)
    assert {path.name for path in made.files} == {"t-ring.stl", "t-ring.3mf"}


def test_files_are_the_same_on_the_same_day(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood())
    for name in ("a", "b"):
        make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path / name, stem="t", made_on=DAY)
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes(), path.name


def test_a_hood_that_stands_in_the_beam_is_not_made(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood(RimShape.PLAIN))
    deep = RoundHood(fitting.shape.wall, Rim.plain(fitting.plain_depth + 4.0))  # type: ignore[union-attr]
    (tmp_path / "t.stl").write_text("an older file")
    with pytest.raises(MakeError, match="stands in the beam"):
        make_files(fitting.job, fitting.hood, deep, out=tmp_path, stem="t", made_on=DAY)
    assert [path.name for path in tmp_path.iterdir()] == ["t.stl"]
    assert (tmp_path / "t.stl").read_text() == "an older file"


def test_an_allowance_is_kept_by_the_solid_itself(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood(RimShape.PETAL, allowance=0.2, largest_length=60.0))
    make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    deeper = RoundHood(fitting.shape.wall, fitting.shape.rim.moved(3.0))  # type: ignore[union-attr]
    with pytest.raises(MakeError, match="more than the allowance"):
        make_files(fitting.job, fitting.hood, deeper, out=tmp_path, stem="u", made_on=DAY)


def test_what_cannot_be_made_is_explained(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood())
    threaded = fitting.hood.model_copy(update={"build": Build(seat=SeatKind.THREAD)})
    with pytest.raises(MakeError, match="needs a thread"):
        make_files(fitting.job, threaded, fitting.shape, out=tmp_path, stem="t")
    mesh = MeshHood(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    with pytest.raises(MakeError, match="mesh already"):
        make_files(fitting.job, fitting.hood, mesh, out=tmp_path, stem="t")
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    with pytest.raises(FileError, match="cannot be used as a folder"):
        make_files(fitting.job, fitting.hood, fitting.shape, out=blocked, stem="t")


def test_a_document_for_another_lens_is_warned_of_first(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood(RimShape.PLAIN, largest_length=30.0))
    same = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", ring_only=True, made_on=DAY)
    assert not any("fitted for" in note for note in same.sentences)
    other = fitting.hood.model_copy(update={"made_for": "Bracken 35 on Heron body"})
    made = make_files(fitting.job, other, fitting.shape, out=tmp_path, stem="t", ring_only=True, made_on=DAY)
    assert "fitted for Bracken 35 on Heron body, and it is made here for Sorrel 28 on Heron body" in made.sentences[0]


def test_a_hood_that_does_not_go_on_is_made_with_a_warning_first(tmp_path: Path) -> None:
    lens = prime(28.0)
    wish = hood(RimShape.PLAIN, largest_length=30.0).model_copy(update={"build": Build(seat_diameter=lens.front.rim_diameter - 9.0)})
    fitting = fit(lens, camera(), wish)
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    assert "cannot be put on" in made.sentences[0]


def test_the_drawing_says_how_far_a_hood_without_a_stop_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    real = workshop.write_drawing

    def listening(*args: Any, **more: Any) -> Path:
        said.extend(more["warnings"])
        return real(*args, **more)

    monkeypatch.setattr(workshop, "write_drawing", listening)
    wish = hood(RimShape.PLAIN, largest_length=30.0).model_copy(update={"wall": WallPart(inner_diameter=70.0)})
    fitting = fit(prime(28.0), camera(), wish)
    make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    assert any("mark the barrel 12 mm behind the seat plane" in text for text in said)
