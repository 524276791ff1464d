"""Photographs written for tests: raw mosaics as DNG, TIFF, PNG and JPEG of an even wall."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational


def bent(light: np.ndarray) -> np.ndarray:
    """The sRGB encoding of linear light (IEC 61966-2-1)."""
    v = np.clip(light, 0.0, 1.0)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def wall(rows: int = 256, columns: int = 384, *, level: float = 0.5, seed: int | None = 1, shade: Any = None) -> np.ndarray:
    """Light of a wall, a little uneven, with shot noise unless seed is None; shade(x, y) multiplies it."""
    x, y = np.meshgrid((np.arange(columns) + 0.5) * 2 / columns - 1, 1 - (np.arange(rows) + 0.5) * 2 / rows)
    light = level * (1.0 - 0.2 * (x * x + y * y)) * (1.0 + 0.1 * x)
    if shade is not None:
        light = light * shade(x, y)
    if seed is None:
        return light
    rng = np.random.default_rng(seed)
    return np.clip(rng.poisson(light * 40_000) / 40_000 + rng.normal(0, 1e-4, light.shape), 0, 1)


def exif(**fields: float) -> Image.Exif:
    """Exif fields by name: focal, f_number, time, iso, metres."""
    numbers = {"focal": 37386, "f_number": 33437, "time": 33434, "metres": 37382}
    found = Image.Exif()
    inner = found.get_ifd(0x8769)
    for name, value in fields.items():
        if name == "iso":
            inner[34855] = int(value)
        else:
            inner[numbers[name]] = IFDRational(round(value * 1000), 1000)
    return found


def jpeg(path: Path, light: np.ndarray, **fields: float) -> Path:
    """An sRGB JPEG with Exif."""
    Image.fromarray(np.repeat(np.round(bent(light) * 255).astype(np.uint8)[:, :, None], 3, 2)).save(path, quality=95, exif=exif(**fields))
    return path


def tiff(path: Path, light: np.ndarray) -> Path:
    """A linear 16-bit TIFF."""
    import tifffile

    tifffile.imwrite(path, np.round(np.clip(light, 0, 1) * 65535).astype(np.uint16))
    return path


def dng(path: Path, planes: tuple[float, float, float, float], *, rows: int = 128, columns: int = 192, black: int = 512, white: int = 15000) -> Path:
    """A raw mosaic (red, green over green, blue) of four even levels of light, as a DNG of our own making (DNG 1.4)."""
    import tifffile

    mosaic = np.empty((rows, columns))
    for k, (i, j) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        mosaic[i::2, j::2] = black + planes[k] * (white - black)
    matrix = [v for row in np.eye(3) for x in row for v in (round(x * 10000), 10000)]
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True), (50708, "s", 0, "Heron body", True), (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True), (50714, "I", 1, black, True), (50717, "I", 1, white, True), (50721, "2i", 9, matrix, True),
    ]  # fmt: skip
    tifffile.imwrite(path, mosaic.round().astype(np.uint16), photometric=32803, extratags=tags, metadata=None, subfiletype=0)
    return path
