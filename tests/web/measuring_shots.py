"""Photographs for the tests of measuring on the bench: made by the synthetic camera of the tests, small and quick."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from synthetic_camera import Barrel, Glass, Sensor, enlarged, exposed, light, write_tiff

LENS: dict[str, Any] = {
    "document": "lens", "version": 1, "name": "Tansy 24",
    "front": {"rim_diameter": 68.0, "clear_diameter": 60.0, "clear_depth": 0.0},
    "state": [{"focal_length": 24.0, "f_number": 2.8, "reach": 2.0, "pupil_depth": 26.0, "pupil_depth_plus_minus": 2.0}],
}  # fmt: skip
CAMERA: dict[str, Any] = {"document": "camera", "version": 1, "name": "Heron", "format": "135"}
GLASS = Glass(((26.0, 24.0 / 5.6, 0.0, 0.0), (0.0, 30.0, 0.0, 0.0)), 24.0 * 1.012, reach=2.0)
SENSOR = Sensor(columns=96, rows=64, dust=0, full_well=20_000.0)
TUBE, LENGTHS = 76.0, (28.0, 46.0)


def tube_frames(folder: Path) -> Path:
    """bare.tif, tube-1.tif and tube-2.tif in a folder: a wall, and two tubes before it that sit a little askew."""
    rng = np.random.default_rng(11)
    for number, length in enumerate(LENGTHS, start=1):
        barrel = Barrel.tube(TUBE, length, decentre=(0.5, -0.3), lean=(0.4, 0.2))
        bare, shaded = light(GLASS, SENSOR, barrel, samples=800, seed=number)
        if number == 1:
            write_tiff(folder / "bare.tif", exposed(enlarged(bare), SENSOR, rng))
        write_tiff(folder / f"tube-{number}.tif", exposed(enlarged(shaded), SENSOR, rng))
    return folder


def pair_of_hood(folder: Path) -> tuple[dict[str, Any], Path, Path]:
    """A plain hood a few millimetres too deep as a design, and photographs without it and with it."""
    rng = np.random.default_rng(12)
    bare, shaded = light(GLASS, SENSOR, Barrel.tube(TUBE, 26.0), samples=800, seed=5)
    hood = {
        "document": "hood", "version": 1, "name": "Plain print", "wall": {"inner_diameter": TUBE}, "rim": {"shape": "plain", "depth": 26.0},
    }
    return (
        {"lens": LENS, "camera": CAMERA, "hood": hood},
        write_tiff(folder / "bare-24.tif", exposed(enlarged(bare), SENSOR, rng)),
        write_tiff(folder / "hood-24.tif", exposed(enlarged(shaded), SENSOR, rng)),
    )  # fmt: skip


def bench_folder(frame: str) -> Path:
    """The folder in which a bench of this machine keeps a photograph."""
    found = list(Path(tempfile.gettempdir()).glob(f"shadewright-bench-*/frames/{frame}.*"))
    assert len(found) == 1
    return found[0].parent
