"""Photographs as linear light, and pairs of them as maps with honest errors."""

from __future__ import annotations

import math
import struct
import zlib
from pathlib import Path

import frame_files as files
import numpy as np
import pytest
from PIL import Image, ImageCms

from shadewright.errors import FileError, MeasureError
from shadewright.measure.blocks import average, blocks_of
from shadewright.measure.curves import profile_curve, srgb
from shadewright.measure.frames import load_frame
from shadewright.measure.pairs import pair_ratio, ratio_of_files


def corner_shade(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 1.0 - 0.8 * np.clip((x + y - 1.2) / 0.6, 0.0, 1.0)


def test_srgb_curve_meets_its_standard() -> None:
    table = srgb(256).table
    assert table[128] == pytest.approx(((128 / 255 + 0.055) / 1.055) ** 2.4)
    assert table[188] == pytest.approx(0.5, abs=0.005)  # common practice: 18 % grey card at 118, half light at 188
    assert table[118] == pytest.approx(0.18, abs=0.005)


def test_profiles_are_followed() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = profile_curve(profile, 256)
    assert found is not None
    assert np.max(np.abs(found.table - srgb(256).table)) < 2e-4
    gamma = b"\0" * 128 + struct.pack(">I", 1) + b"gTRC" + struct.pack(">II", 144, 14) + b"curv\0\0\0\0" + struct.pack(">IH", 1, 461)
    found = profile_curve(gamma, 256)
    assert found is not None
    assert found.table[100] == pytest.approx((100 / 255) ** (461 / 256))
    assert profile_curve(b"short", 256) is None
    assert profile_curve(gamma[:140], 256) is None


@pytest.mark.parametrize("form", ["jpg", "png", "tif", "png16"])
def test_light_is_read_back(tmp_path: Path, form: str) -> None:
    light = files.wall(seed=None)
    path = tmp_path / f"a.{form[:3]}"
    if form == "tif":
        files.tiff(path, light)
    elif form == "jpg":
        files.jpeg(path, light)
    elif form == "png":
        Image.fromarray(np.round(files.bent(light) * 255).astype(np.uint8)).save(path)
    else:
        Image.fromarray(np.round(files.bent(light) * 65535).astype(np.uint16)).save(path)
    frame = load_frame(path)
    assert frame.size == (256, 384)
    # Half a step of the numbers times the curve's steepest slope, 2.3; JPEG adds its own rounding.
    assert np.max(np.abs(frame.plane(0) - light)) < {"jpg": 0.012, "png": 0.0046, "tif": 0.8e-5, "png16": 1.8e-5}[form]
    assert frame.doubt == (0.0 if form == "tif" else 0.15)


def test_raw_planes_have_their_own_black_and_white(tmp_path: Path) -> None:
    frame = load_frame(files.dng(tmp_path / "a.dng", (0.2, 0.4, 0.45, 0.1)))
    assert frame.size == (128, 192)
    assert frame.doubt == 0.0
    found = sorted((frame.colours[k], round(float(frame.plane(k).mean()), 3)) for k in range(len(frame.colours)))
    assert found == [("blue", 0.1), ("green", 0.4), ("green", 0.45), ("red", 0.2)]
    blocks = blocks_of(frame)
    assert sorted(np.round(blocks.light.mean(axis=(1, 2)), 3)) == [0.1, 0.2, 0.4, 0.45]


def test_shot_data_is_read(tmp_path: Path) -> None:
    about = load_frame(files.jpeg(tmp_path / "a.jpg", files.wall(), focal=35.0, f_number=2.8, time=0.01, iso=200, metres=1.5)).about
    assert (about.focal_length, about.f_number, about.focus_distance) == (35.0, 2.8, 1500.0)
    assert about.light_value == pytest.approx(1.0)
    nothing = load_frame(files.tiff(tmp_path / "a.tif", files.wall())).about
    assert (nothing.focal_length, nothing.light_value) == (None, None)


def test_rows_rise_from_the_bottom(tmp_path: Path) -> None:
    bare = files.tiff(tmp_path / "a.tif", files.wall(seed=1))
    shaded = files.tiff(tmp_path / "b.tif", files.wall(seed=2, shade=corner_shade))
    ratio = ratio_of_files([bare], [shaded])
    assert ratio.value[-1, -1] < 0.5  # top right
    assert ratio.value[0, 0] == pytest.approx(1.0, abs=0.02)
    assert ratio.up[0] < 0 < ratio.up[-1]


@pytest.mark.parametrize("form", ["tif", "jpg"])
def test_errors_are_honest(tmp_path: Path, form: str) -> None:
    write = files.tiff if form == "tif" else files.jpeg
    scores = []
    for seed in range(4):
        bare = write(tmp_path / f"a.{form}", files.wall(480, 720, seed=2 * seed + 1))
        shaded = write(tmp_path / f"b.{form}", files.wall(480, 720, seed=2 * seed + 2, shade=corner_shade))
        ratio = ratio_of_files([bare], [shaded])
        truth = corner_shade(*np.meshgrid(ratio.across, ratio.up))
        smooth = np.abs((np.add.outer(ratio.up, ratio.across) - 1.2) % 0.6) > 0.1  # the kinks of the shade lie within cells
        scores.append(((ratio.value - truth) / ratio.error)[ratio.good & smooth])
    score = np.concatenate(scores)
    assert 0.85 < np.std(score) < 1.2
    assert abs(np.median(score)) < 0.25


def test_dust_in_one_frame_moves_a_cell_little(tmp_path: Path) -> None:
    shaded = files.wall(480, 720, seed=2)
    shaded[100:105, 200:205] *= 0.5
    ratio = ratio_of_files([files.tiff(tmp_path / "a.tif", files.wall(480, 720, seed=1))], [files.tiff(tmp_path / "b.tif", shaded)])
    assert np.nanmin(ratio.value) > 0.985


def test_many_frames_are_averaged(tmp_path: Path) -> None:
    paths = [files.tiff(tmp_path / f"{k}.tif", files.wall(seed=k + 1)) for k in range(4)]
    one, four = average(paths[:1]), average(paths)
    assert four.frames == 4
    truth = blocks_of(load_frame(files.tiff(tmp_path / "t.tif", files.wall(seed=None)))).light
    assert np.std(four.light - truth) == pytest.approx(np.std(one.light - truth) / 2, rel=0.15)
    assert np.mean(four.noise) == pytest.approx(np.mean(one.noise) / 4, rel=0.1)


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def bomb() -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.jpg", b"", "not a picture"), ("a.jpg", b"hello", "not a picture"), ("a.jpg", b"\xff\xd8\xff\xe0 cut", "cannot be read"),
        ("a.png", bomb(), "60000 x 60000"), ("a.tif", b"II*\0\xff\xff\xff\xff", "cannot be read"), ("a.dng", b"II*\0" + b"\0" * 400, "not a picture"),
    ],
)  # fmt: skip
def test_what_is_no_picture_is_refused(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(MeasureError, match=words) as caught:
        load_frame(path)
    assert str(path) in str(caught.value)


def test_missing_and_small_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        load_frame(tmp_path / "none.jpg")
    with pytest.raises(MeasureError, match="too few"):
        load_frame(files.jpeg(tmp_path / "a.jpg", files.wall(40, 60)))
    with pytest.raises(MeasureError, match="at least one"):
        average([])


def pair(tmp_path: Path, bare: np.ndarray, shaded: np.ndarray) -> None:
    pair_ratio(average([files.tiff(tmp_path / "a.tif", bare)]), average([files.tiff(tmp_path / "b.tif", shaded)]))


def test_what_is_no_pair_is_refused(tmp_path: Path) -> None:
    wall = files.wall(seed=1)
    with pytest.raises(MeasureError, match="pixels, but"):
        pair(tmp_path, wall, files.wall(200, 300))
    with pytest.raises(MeasureError, match="clipped"):
        pair(tmp_path, files.wall(level=1.4), wall)
    with pytest.raises(MeasureError, match="too dark"):
        pair(tmp_path, wall, files.wall(level=0.004))
    with pytest.raises(MeasureError, match="darker in the middle"):
        pair(tmp_path, wall, files.wall(level=0.3))
    with pytest.raises(MeasureError, match="swapped"):
        pair(tmp_path, files.wall(seed=2, shade=corner_shade), wall)
    with pytest.raises(MeasureError, match="same picture"):
        pair(tmp_path, wall, wall)


def test_settings_that_differ_are_refused(tmp_path: Path) -> None:
    first = files.jpeg(tmp_path / "a.jpg", files.wall(seed=1), focal=35.0, f_number=2.8, time=0.01, iso=200)
    for change, words in (({"f_number": 4.0}, "aperture"), ({"focal": 50.0}, "zoom"), ({"time": 0.02}, "exposed")):
        fields = {"focal": 35.0, "f_number": 2.8, "time": 0.01, "iso": 200, **change}
        second = files.jpeg(tmp_path / "b.jpg", files.wall(seed=2), **fields)
        with pytest.raises(MeasureError, match=words):
            ratio_of_files([first], [second])
    with pytest.raises(MeasureError, match="another kind"):
        ratio_of_files([first], [files.tiff(tmp_path / "b.tif", files.wall())])


def test_drifting_light_is_refused_in_a_series(tmp_path: Path) -> None:
    paths = [files.tiff(tmp_path / f"{k}.tif", files.wall(level=0.5 - 0.06 * k)) for k in range(3)]
    with pytest.raises(MeasureError, match="light changed"):
        average(paths)


def test_a_moved_camera_is_noticed(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    texture = 1.0 + 0.02 * np.kron(rng.normal(size=(90, 130)), np.ones((6, 6)))
    first = files.wall(480, 720, seed=1) * texture[:480, :720]
    second = files.wall(480, 720, seed=2) * texture[24:504, 30:750]
    with pytest.raises(MeasureError, match="camera moved"):
        pair(tmp_path, first, second)
    pair(tmp_path, first, files.wall(480, 720, seed=2) * texture[:480, :720])


def test_small_change_of_light_is_told_and_allowed_for(tmp_path: Path) -> None:
    bare = files.tiff(tmp_path / "a.tif", files.wall(seed=1))
    ratio = ratio_of_files([bare], [files.tiff(tmp_path / "b.tif", files.wall(seed=2, level=0.47))])
    assert math.log2(ratio.scale) == pytest.approx(math.log2(0.47 / 0.5), abs=0.005)
    assert any("light changed" in note for note in ratio.notes)
    assert float(np.median(ratio.value)) == pytest.approx(1.0, abs=0.002)
