"""Proof of a finished hood from photographs that a camera of the tests' own took, ray by ray."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from pathlib import Path

import frame_files as files
import numpy as np
import pytest
from typer.testing import CliRunner

import lenses
import synthetic_camera as camera
from shadewright.cli import app
from shadewright.design.fit import fit
from shadewright.errors import MeasureError
from shadewright.measure.blocks import average, blocks_of
from shadewright.measure.curves import linear, srgb
from shadewright.measure.frames import About, Frame
from shadewright.measure.intrusion import find_intrusion
from shadewright.measure.pairs import Ratio, pair_ratio
from shadewright.measure.proof import Finding, prove_pairs
from shadewright.model.shape import Rim, RoundHood
from shadewright.model.shots import ShotSetting
from shadewright.model.writing import to_toml

SENSOR = camera.Sensor(columns=384, rows=256)
ENTRY = ShotSetting(focal_length=24.0, f_number=2.8, bare=("a.tif",), with_hood=("b.tif",))


@lru_cache(maxsize=1)
def fitted():  # type: ignore[no-untyped-def]
    return fit(lenses.prime(24.0), lenses.camera(), lenses.hood())


def moved(shape: RoundHood, dz: float) -> RoundHood:
    return RoundHood(shape.wall, shape.rim.moved(dz))


def shots_of(shape: RoundHood, **seat: object) -> tuple[np.ndarray, np.ndarray]:
    """Clean light without and with the hood."""
    setting = fitted().job.resolved.settings[0]
    glass = camera.Glass(setting.windows, setting.image_distance, setting.reach)
    barrel = camera.Barrel(float(shape.wall.radius_at(10.0)), shape.rim.z_at(np.arange(360.0)), **seat)  # type: ignore[arg-type]
    return camera.light(glass, SENSOR, barrel, samples=400)


def frame(light: np.ndarray, *, raw: bool = True) -> Frame:
    size = 65536 if raw else 256
    values = np.round((light if raw else files.bent(light)) * (size - 1)).astype(np.uint16 if raw else np.uint8)
    curve = linear(size) if raw else srgb(size)
    return Frame(Path("a"), values, np.zeros((1, 1), np.int64), ("grey",), curve, np.zeros(1), np.ones(1), About(), developed=not raw)


def photographed(bare: np.ndarray, shaded: np.ndarray, seed: int, *, dust: int = 0, raw: bool = True, sensor: camera.Sensor = SENSOR) -> Ratio:
    rng = np.random.default_rng(seed)
    taken = []
    for clean, gain in ((bare, 1.0), (shaded, 1.015)):
        dirty = camera.dusted(clean, camera.Sensor(dust=dust, columns=sensor.columns, rows=sensor.rows), rng)
        taken.append(blocks_of(frame(camera.exposed(dirty, sensor, rng, gain=gain), raw=raw)))
    return pair_ratio(*taken)


@pytest.mark.parametrize("dust", [0, 12])
def test_false_alarms_are_rare(dust: int) -> None:
    """No hood at all, uneven light, noise and moving dust: fewer than 1 in 100 pairs may be called shaded."""
    wall = SENSOR.wall()
    found = sum(find_intrusion(photographed(wall, wall, seed, dust=dust)).shows for seed in range(150))
    assert found <= 1


def tip_shade(sensor: camera.Sensor, stops: float) -> np.ndarray:
    """Light left where the top right corner alone is shaded: `stops` at its very tip, none from 0.06 half frames inwards."""
    y, x = np.mgrid[0 : sensor.rows, 0 : sensor.columns]
    inwards = 2.0 - 2.0 * (x + 0.5) / sensor.columns + 2.0 * (y + 0.5) / sensor.rows
    return np.exp2(-stops * np.clip(1.0 - inwards / 0.06, 0.0, 1.0))


@pytest.mark.parametrize("dust", [0, 12])
def test_a_twentieth_of_a_stop_in_one_corner_is_found(dust: int) -> None:
    large = camera.Sensor(columns=1536, rows=1024)
    wall = large.wall()
    shaded = wall * tip_shade(large, 0.05)
    found = [find_intrusion(photographed(wall, shaded, seed, dust=dust, sensor=large)) for seed in range(6)]
    assert sum(entry.shows and entry.worst.name == "top right corner" for entry in found) >= 5


def test_a_clear_hood_is_proved_clear() -> None:
    bare, shaded = shots_of(fitted().shape)
    proof = prove_pairs(fitted().job, fitted().shape, [(ENTRY, photographed(bare, shaded, 3))])
    assert proof.finding is Finding.CLEAR
    assert proof.passes
    assert proof.seating is not None
    assert not any(proof.seating.told)
    assert proof.pairs[0].intrusion.floor < 0.05


@pytest.mark.parametrize(("turn", "raw", "dust"), [(3.0, True, 12), (-6.0, False, 0)])
def test_rotation_and_seat_are_found(turn: float, raw: bool, dust: int) -> None:
    document = moved(fitted().shape, 1.0)
    bare, shaded = shots_of(moved(fitted().shape, 1.5), turn=turn, decentre=(0.3, -0.2))
    proof = prove_pairs(fitted().job, document, [(ENTRY, photographed(bare, shaded, 1, dust=dust, raw=raw))])
    seat = proof.seating
    assert proof.finding is Finding.SHOWS
    assert seat is not None
    assert all(seat.told)
    assert seat.turn == pytest.approx(turn, abs=0.5)
    assert seat.forward == pytest.approx(0.5, abs=0.1)
    assert (seat.right, seat.up) == pytest.approx((0.3, -0.2), abs=0.1)
    assert any("turned" in note for note in proof.notes)


def test_an_allowance_is_judged_with_its_uncertainty() -> None:
    bare, shaded = shots_of(moved(fitted().shape, 1.0))
    ratio = photographed(bare, shaded, 5)
    job, shape = fitted().job, fitted().shape
    assert prove_pairs(job, shape, [(ENTRY, ratio)], allowance=2.0).finding is Finding.WITHIN
    assert prove_pairs(job, shape, [(ENTRY, ratio)], allowance=0.02).finding is Finding.SHOWS
    assert prove_pairs(job, shape, [(ENTRY, ratio)]).finding is Finding.SHOWS


def test_noise_leaves_a_pair_unsettled() -> None:
    grainy = camera.Sensor(columns=96, rows=64, full_well=150.0)
    wall = grainy.wall()
    ratio = photographed(wall, wall, 1, sensor=grainy)
    proof = prove_pairs(fitted().job, fitted().shape, [(ENTRY, ratio)])
    assert proof.finding is Finding.UNSETTLED
    assert not proof.passes


def test_pictures_and_documents_that_disagree_are_refused() -> None:
    job, shape = fitted().job, fitted().shape
    square = camera.Sensor(columns=256, rows=256)
    ratio = photographed(square.wall(), square.wall(), 1, sensor=square)
    with pytest.raises(MeasureError, match="sides are as"):
        prove_pairs(job, shape, [(ENTRY, ratio)])
    good = photographed(SENSOR.wall(), SENSOR.wall(), 1)
    with pytest.raises(MeasureError, match="lies outside"):
        prove_pairs(job, shape, [(ENTRY.model_copy(update={"focal_length": 50.0}), good)])
    with pytest.raises(MeasureError, match="is wider"):
        prove_pairs(job, shape, [(ENTRY.model_copy(update={"f_number": 1.4}), good)])


def test_the_command_keeps_a_record_and_a_contact_sheet(tmp_path: Path) -> None:
    hood = fitted().hood.model_copy(update={"rim": fitted().hood.rim.model_copy(update={"points": tuple((a, z + 1.0) for a, z in fitted().hood.rim.points)})})
    for name, document in (("lens", lenses.prime(24.0)), ("camera", lenses.camera()), ("hood", hood)):
        (tmp_path / f"{name}.toml").write_text(to_toml(document))
    bare, shaded = shots_of(moved(fitted().shape, 1.0))
    rng = np.random.default_rng(1)
    for name, light in (("bare", bare), ("hood", shaded)):
        files.tiff(tmp_path / f"{name}.tif", camera.exposed(light, SENSOR, rng))
    (tmp_path / "shots.toml").write_text(
        'document = "shots"\nversion = 1\nname = "proof"\n[[setting]]\nfocal_length = 24.0\nf_number = 2.8\n'
        'bare = ["bare.tif"]\nwith_hood = ["hood.tif"]\n'
    )
    words = [str(tmp_path / f"{name}.toml") for name in ("lens", "camera", "hood", "shots")]
    result = CliRunner().invoke(app, ["measure", "proof", *words, "--out", str(tmp_path / "out")])
    assert result.exit_code == 1, result.output
    assert "SHOWS" in result.output
    record = json.loads((tmp_path / "out" / "test-hood.proof.json").read_text())
    assert record["finding"] == "shows"
    assert record["pairs"][0]["where"].endswith("corner")
    assert math.isfinite(record["seating"]["turn"]["error"])
    assert (tmp_path / "out" / "test-hood-proof.pdf").read_bytes().startswith(b"%PDF")
    as_json = CliRunner().invoke(app, ["measure", "proof", *words, "--json", "--out", str(tmp_path / "out")])
    assert json.loads(as_json.output) == record


def test_a_missing_hood_frame_is_named(tmp_path: Path) -> None:
    files.tiff(tmp_path / "a.tif", files.wall())
    with pytest.raises(Exception, match="no such file"):
        average([tmp_path / "a.tif", tmp_path / "missing.tif"])


def test_a_rim_turns_the_way_the_camera_sees_it() -> None:
    """Guards the test's own camera and the package against sharing a wrong sense: a lobe at the top moved to the left."""
    rim = np.where(np.abs(np.arange(360) - 90) < 30, 60.0, 1.0)
    setting = fitted().job.resolved.settings[0]
    glass = camera.Glass(setting.windows, setting.image_distance, setting.reach)
    bare, shaded = camera.light(glass, SENSOR, camera.Barrel(30.25, rim, turn=30.0), samples=200)
    left, right = (shaded[:60] / bare[:60])[:, :150].mean(), (shaded[:60] / bare[:60])[:, -150:].mean()
    assert left < right
    hood = RoundHood(fitted().shape.wall, Rim.from_arrays(np.arange(360.0), rim).turned(30.0))
    pair = prove_pairs(fitted().job, hood, [(ENTRY, photographed(bare, shaded, 1))]).pairs[0]
    off = np.exp2(-pair.intrusion.loss) - np.exp2(-pair.expected)
    assert float(np.nanmedian(np.abs(off[pair.expected > 0.05]))) < 0.03
