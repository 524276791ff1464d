"""A rim read from a paper strip on our printed sheet."""

from __future__ import annotations

from pathlib import Path

import frame_files
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from shadewright.cli import app
from shadewright.errors import MeasureError
from shadewright.measure.strip import read_strip
from shadewright.model.documents import read_hood
from strip_sheet import photographed


def lobes(azimuth: np.ndarray) -> np.ndarray:
    """A petal rim that is the same neither upside down nor mirrored."""
    return 26.0 - 11.0 * np.cos(np.radians(2 * azimuth)) + 3.0 * np.cos(np.radians(azimuth - 40.0))


@pytest.mark.parametrize(("tilt", "printed"), [(0.0, 1.0), (14.0, 0.97)])
def test_a_rim_is_read_back(tmp_path: Path, tilt: float, printed: float) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 92.0, tilt=tilt, printed=printed)
    found = read_strip(path, diameter=92.0, check_line=100.0 * printed)
    off = found.z - lobes(found.azimuth)
    assert np.max(np.abs(off)) < 0.3
    assert np.std(off) < 0.1
    assert np.all(found.error >= 0.3)  # no strip is laid better than that


def test_the_strip_edge_is_added(tmp_path: Path) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 60.0)
    assert np.mean(read_strip(path, diameter=60.0, edge=4.5).z - lobes(np.arange(360.0))) == pytest.approx(4.5, abs=0.2)


def test_a_wrong_print_scale_shows(tmp_path: Path) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 92.0, printed=0.95)
    assert np.max(np.abs(read_strip(path, diameter=92.0).z - lobes(np.arange(360.0)))) > 1.0


def test_a_missing_piece_of_line_is_refused(tmp_path: Path) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 92.0, gap=(60.0, 80.0))
    with pytest.raises(MeasureError, match="upper lane is missing"):
        read_strip(path, diameter=92.0)


def test_other_pictures_and_sizes_are_refused(tmp_path: Path) -> None:
    path = frame_files.jpeg(tmp_path / "wall.jpg", frame_files.wall())
    with pytest.raises(MeasureError, match="markers"):
        read_strip(path, diameter=92.0)
    with pytest.raises(MeasureError, match="diameter"):
        read_strip(path, diameter=900.0)
    with pytest.raises(MeasureError, match="check line"):
        read_strip(path, diameter=92.0, check_line=50.0)


def test_a_crumpled_sheet_is_refused(tmp_path: Path) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 92.0, tilt=0.0, turn=0.0)
    picture = Image.open(path)
    w, h = picture.size
    bent = picture.transform((w, h), Image.Transform.QUAD, (0, 0, 0, h, w, h, w, 0))
    bent.paste(picture.crop((0, 0, w // 2, h)).resize((w // 2, h - 60)), (0, 30))
    bent.save(path)
    with pytest.raises(MeasureError, match="flat"):
        read_strip(path, diameter=92.0)


def test_the_commands_write_a_hood_and_the_sheet(tmp_path: Path) -> None:
    path = photographed(tmp_path / "strip.jpg", lobes, 92.0)
    words = ["measure", "strip", str(path), "--diameter", "92", "--inner-diameter", "88", "--name", "Old hood", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.output
    hood = read_hood(tmp_path / "out" / "old-hood.toml")
    assert hood.wall is not None
    assert hood.wall.inner_diameter == 88.0
    assert dict(hood.rim.points)[90.0] == pytest.approx(lobes(np.array(90.0)), abs=0.3)
    assert (tmp_path / "out" / "old-hood-strip.png").exists()
    sheet = CliRunner().invoke(app, ["measure", "target", "--out", str(tmp_path)])
    assert sheet.exit_code == 0
    assert (tmp_path / "rim-strip-sheet.pdf").read_bytes().startswith(b"%PDF")
