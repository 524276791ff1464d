"""Exact solids and STEP files: closed forms, the mesh of the same hood, the rim, and the file as read back."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from scipy.spatial import cKDTree
from solid_cases import RIMS, SEAT_DIAMETER, THREAD, TUNNELS, WALLS, plain_build

from lenses import camera, hood, prime
from shadewright import cli
from shadewright.design.fit import fit
from shadewright.errors import MakeError
from shadewright.make.profile import HAIR
from shadewright.make.ribbon import TOLERANCE, rim_curves
from shadewright.make.rings import Ring
from shadewright.make.solid import build_hood
from shadewright.make.stepfile import (
    ExactSolid,
    exact_hood,
    read_step,
    rim_departure,
    step_bytes,
    step_problems,
    write_step,
)
from shadewright.make.workshop import make_files
from shadewright.model.hood import Build, Ridges, RimShape, SeatKind, WallPart, WallShape
from shadewright.model.shape import Rim, RoundHood, TunnelHood

CASES: dict[str, tuple[RoundHood | TunnelHood, SeatKind]] = {
    "tube, petal": (RoundHood(WALLS["tube"], RIMS["petal"]), SeatKind.SLIP_ON),
    "narrow tube, square-cut, clamp": (RoundHood(WALLS["narrow tube"], RIMS["square-cut"]), SeatKind.CLAMP),
    "cone, plain, thread": (RoundHood(WALLS["cone"], RIMS["plain"]), SeatKind.THREAD),
    "cone, petal, clamp": (RoundHood(WALLS["cone"], RIMS["petal"]), SeatKind.CLAMP),
    "steps, petal": (RoundHood(WALLS["steps"], RIMS["petal"]), SeatKind.SLIP_ON),
    "steps, square-cut, thread": (RoundHood(WALLS["steps"], RIMS["square-cut"]), SeatKind.THREAD),
    "wide tunnel, clamp": (TUNNELS["wide tunnel"], SeatKind.CLAMP),
    "flat tunnel, thread": (TUNNELS["flat tunnel"], SeatKind.THREAD),
    "small tunnel": (TUNNELS["small tunnel"], SeatKind.SLIP_ON),
}


def exact(shape: RoundHood | TunnelHood, build: Build, **more: tuple[Ring, ...]) -> ExactSolid:
    return exact_hood(shape, build, seat_diameter=SEAT_DIAMETER, thread=THREAD, **more)


@pytest.mark.parametrize("name", CASES)
def test_a_step_file_as_read_back_is_the_hood(name: str, tmp_path: Path) -> None:
    shape, seat = CASES[name]
    build = Build(seat=seat, seat_length=16.0, rim_rounding=0.0)
    solid = exact(shape, build)
    back = read_step(write_step(tmp_path / "t.step", solid, name="Test"))
    mesh = build_hood(shape, build, seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=720)
    assert step_problems(back, mesh, shape, build, thread=THREAD) == []
    if seat is not SeatKind.THREAD:
        assert back.volume == pytest.approx(mesh.volume, rel=3e-4)
        found = GProp_GProps()
        BRepGProp.VolumeProperties_s(back.body, found)
        centre, middle = found.CentreOfMass(), trimesh.Trimesh(mesh.vertices, mesh.faces).center_mass
        # Right-handed as mesh files are: x turned round.
        assert [-centre.X(), centre.Y(), centre.Z()] == pytest.approx(list(middle), abs=0.01)
    assert back.volume == pytest.approx(solid.volume, rel=1e-5)


def test_a_tubes_length_adds_its_volume_in_closed_form() -> None:
    short, long = (exact(RoundHood(WALLS["tube"], Rim.plain(depth)), plain_build()) for depth in (15.0, 25.0))
    ring = math.pi * (45.0**2 - (43.0 + HAIR) ** 2) * 10.0
    # Outlines are kept to some 1e-8 mm.
    assert long.volume - short.volume == pytest.approx(ring, rel=1e-8)


def test_a_plain_rims_rounded_edges_take_their_volume_in_closed_form() -> None:
    shape = RoundHood(WALLS["tube"], Rim.plain(25.0))
    sharp, rounded = exact(shape, plain_build()), exact(shape, plain_build(rim_rounding=0.6))
    assert rounded.notes == ()
    r, a, b = 0.6, 43.0 + HAIR, 45.0
    # What a quarter circle leaves of its square, and where its centre of area lies from the square's corner (Pappus).
    left, off = (1.0 - math.pi / 4.0) * r**2, r * (5.0 / 6.0 - math.pi / 4.0) / (1.0 - math.pi / 4.0)
    assert sharp.volume - rounded.volume == pytest.approx(2.0 * math.pi * left * ((a + off) + (b - off)), rel=1e-5)


def test_a_rings_volume_is_that_of_the_closed_form() -> None:
    shape = RoundHood(WALLS["tube"], Rim.plain(25.0))
    bare, ringed = exact(shape, plain_build()), exact(shape, plain_build(), rings=(Ring(20.0, 40.0, 0.5),))
    a, b = 40.0 + HAIR, 43.0 + HAIR
    shells = math.pi * 0.5 * (b**2 - a**2) + 2 * math.pi * ((b**3 - a**3) / 3 - a * (b**2 - a**2) / 2)
    assert ringed.volume - bare.volume == pytest.approx(shells, rel=1e-9)


def test_walls_are_true_cylinders_and_cones() -> None:
    def surfaces(shape: RoundHood | TunnelHood) -> dict[str, int]:
        text = step_bytes(exact(shape, plain_build()), name="t").decode("ascii")
        return {kind: text.count(f"{kind}_SURFACE") for kind in ("CYLINDRICAL", "CONICAL", "B_SPLINE")}

    tube, cone = surfaces(RoundHood(WALLS["tube"], RIMS["petal"])), surfaces(RoundHood(WALLS["cone"], Rim.plain(25.0)))
    assert tube["CYLINDRICAL"] >= 4
    assert tube["B_SPLINE"] > 3, "the rim"
    assert cone["CONICAL"] >= 2
    assert surfaces(TUNNELS["small tunnel"])["B_SPLINE"] == 0


@pytest.mark.parametrize("name", RIMS)
def test_the_rims_curves_lie_under_it_and_within_the_tolerance(name: str) -> None:
    rim, radius = RIMS[name], 43.0
    points = np.concatenate([curve.at(np.linspace(0.0, 1.0, 301)) for curve in rim_curves(rim, radius)])
    assert np.max(points[:, 1] - rim.z_at(points[:, 0])) <= 0.0
    azimuth = np.unique(np.concatenate([np.linspace(0.0, 360.0, 72_001), np.asarray(rim.azimuth)]))
    line = np.stack([np.radians(azimuth) * radius, rim.z_at(azimuth)], axis=1)
    # Steep flanks are followed by points at every hundredth of a millimetre.
    rise = np.abs(np.diff(line[:, 1]))
    extra = [
        np.linspace(line[k], line[k + 1], int(rise[k] / 0.01) + 2) for k in np.flatnonzero(rise > 0.01)
    ]
    line = np.concatenate([line, *extra])
    here = np.stack([np.radians(points[:, 0] % 360.0) * radius, points[:, 1]], axis=1)
    apart, _ = cKDTree(line).query(here)
    assert apart.max() <= TOLERANCE + 0.005, "half the distance of the points compared with is added"


def test_a_departing_rim_and_a_departing_volume_are_told() -> None:
    shape, build = RoundHood(WALLS["tube"], Rim.plain(25.0)), Build(rim_rounding=0.0)
    solid = exact(shape, build)
    mesh = build_hood(shape, build, seat_diameter=SEAT_DIAMETER, thread=None)
    assert step_problems(solid, mesh, shape, build, thread=None) == []
    higher, lower = (RoundHood(shape.wall, shape.rim.moved(dz)) for dz in (0.05, -0.05))
    assert rim_departure(solid, higher, 2.0)[0] > 0.03
    assert rim_departure(solid, lower, 2.0)[1] > 40
    thicker = build_hood(shape, build.model_copy(update={"thickness": 2.1}), seat_diameter=SEAT_DIAMETER, thread=None)
    problems = step_problems(solid, thicker, shape, build, thread=None)
    assert any("volume" in sentence for sentence in problems)
    assert any("extent" in sentence for sentence in problems)


def test_what_is_simplified_is_said() -> None:
    shape = RoundHood(WALLS["cone"], RIMS["petal"])
    notes = " ".join(exact(shape, Build(seat=SeatKind.THREAD, seat_length=8.0)).notes)
    assert "plain cylinder 76." in notes
    assert "pitch 0.75 mm" in notes
    assert "round them with 0.6 mm" in notes
    assert exact(shape, plain_build()).notes == ()


def test_the_same_hood_gives_the_same_bytes_without_date_or_place(capfd: pytest.CaptureFixture[str]) -> None:
    shape = RoundHood(WALLS["tube"], Rim.plain(25.0))
    first, second = (step_bytes(exact(shape, Build()), name="Moth's shade \u00e9") for _ in range(2))
    assert first == second
    text = first.decode("ascii")
    header = text[: text.index("DATA;")]
    assert "FILE_NAME('Moth''s shade ?','',(''),(''),'Open CASCADE','shadewright','');" in header
    assert "PRODUCT('Moth''s shade ?','Moth''s shade ?'" in text
    assert "20" not in header.replace("10303", "")
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert capfd.readouterr().out == "", "the standard output belongs to --json"


def test_what_is_no_step_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.step"
    path.write_text("solid nothing\n", "ascii")
    with pytest.raises(MakeError, match="no STEP file"):
        read_step(path)


def test_the_workshop_writes_it_when_asked(tmp_path: Path) -> None:
    fitting = fit(prime(28.0), camera(), hood(RimShape.PETAL, largest_length=40.0))
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", step=True)
    assert tmp_path / "t.step" in made.files
    entries = {entry["name"]: entry for entry in made.report["solids"]}
    printed, drawn = entries[fitting.hood.name], entries[f"{fitting.hood.name}, exact"]
    assert drawn["volume_cm3"] == pytest.approx(printed["volume_cm3"], rel=0.005)
    assert any(sentence.startswith("STEP: The rim's edges") for sentence in made.sentences)


def test_a_cone_with_lobes_and_ridges_is_written_too(tmp_path: Path) -> None:
    wall = WallPart(shape=WallShape.CONE, near_diameter=72.0, far_diameter=100.0, far_z=40.0)
    wishes = hood(RimShape.PETAL, largest_length=40.0).model_copy(
        update={"wall": wall, "ridges": Ridges(pitch=2.5, depth=1.0)}
    )
    fitting = fit(prime(28.0), camera(), wishes)
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", step=True)
    printed, drawn = made.report["solids"][-2:]
    assert printed["rings"] > 3
    assert drawn["volume_cm3"] == pytest.approx(printed["volume_cm3"], rel=0.005)


def test_without_the_library_one_sentence_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "shadewright.make.exact", None)
    fitting = fit(prime(28.0), camera(), hood(RimShape.PLAIN, largest_length=40.0))
    with pytest.raises(MakeError, match=r"pip install shadewright\[step\]"):
        make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path / "x", stem="t", step=True)
    assert not (tmp_path / "x").exists()
    demo = Path(cli.__file__).parent / "demo"
    lens, body = str(demo / "wide.toml"), str(demo / "camera.toml")
    wishes = tmp_path / "w.toml"
    wishes.write_text('document = "hood"\nversion = 1\nname = "Shade"\n[wishes]\nlargest_length = 30.0\n', "utf-8")
    monkeypatch.setattr(sys, "argv", ["shadewright", "make", lens, body, str(wishes), "--out", str(tmp_path / "x"), "--step"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


