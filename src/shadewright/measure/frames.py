"""Photographs as linear light: raw files, 16-bit TIFF, PNG and JPEG, with what the file says about the shot."""

from __future__ import annotations

import contextlib
import io
import math
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.files import read_limited
from shadewright.measure.curves import CURVE_DOUBT, Curve, linear, profile_curve, srgb

Array = NDArray[np.float64]

IMAGE_LIMIT = 400_000_000
"""Largest picture file read, in bytes."""
MOST_PIXELS = 110_000_000
"""Most pixels of a picture: beyond it no frame of a camera, but a file made to fill the memory."""
FEWEST_ACROSS = 64
"""Least width and height of a picture in pixels that anything can be measured from."""
CLIP_SHARE = 0.985
"""From this share of white on, a sample counts as clipped: sensors end a little below their stated white level."""


@dataclass(frozen=True)
class About:
    """What a file says of its shot; None where it says nothing. mm and seconds."""

    focal_length: float | None = None
    f_number: float | None = None
    focus_distance: float | None = None
    """From the sensor to the subject as the lens reports it, mm, which is coarse; infinity allowed."""
    exposure_time: float | None = None
    sensitivity: float | None = None

    @property
    def light_value(self) -> float | None:
        """Exposure in stops, time against sensitivity, leaving the aperture out."""
        if not self.exposure_time or not self.sensitivity:
            return None
        return math.log2(self.exposure_time * self.sensitivity)


@dataclass(frozen=True, eq=False)
class Frame:
    """One photograph, upright as the sensor holds it: numbers as in the file and what turns them into light.

    samples: (rows, columns) of a mosaic, or (rows, columns, colours). pattern: (n, m) the colour of each place of the
    repeating mosaic; (1, 1) for a picture of full colours. black, white: per colour, in the units of `curve`, 0 to 1.
    """

    path: Path
    samples: NDArray[Any]
    pattern: NDArray[np.int64]
    colours: tuple[str, ...]
    curve: Curve
    black: Array
    white: Array
    about: About
    developed: bool
    """True where a camera or program has bent the tones, so that light is known only as well as its curve."""

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns of pixels."""
        return int(self.samples.shape[0]), int(self.samples.shape[1])

    @property
    def doubt(self) -> float:
        """How far a loss in stops may be off for want of the true tone curve, as a share of it."""
        return CURVE_DOUBT if self.developed else 0.0

    def plane(self, colour: int) -> NDArray[np.float32]:
        """One colour as linear light, 0 black to 1 white, float32 (rows, columns) of that colour's own pixels.

        Of a mosaic every colour but the greens of a 2 x 2 one stands on an even lattice; where a colour has several places
        in the pattern they are averaged.
        """
        table = self.curve.table.astype(np.float32)
        scale = np.float32(1.0 / (self.white[colour] - self.black[colour]))
        if self.samples.ndim == 3:
            return np.asarray((table[self.samples[:, :, colour]] - np.float32(self.black[colour])) * scale, np.float32)
        down, across = self.pattern.shape
        places = np.argwhere(self.pattern == colour)
        rows, columns = self.samples.shape[0] // down, self.samples.shape[1] // across
        total = np.zeros((rows, columns), np.float32)
        for i, j in places:
            total += table[self.samples[i : rows * down : down, j : columns * across : across]]
        return np.asarray((total / np.float32(len(places)) - np.float32(self.black[colour])) * scale, np.float32)


def load_frame(path: Path | str) -> Frame:
    """The photograph in a file. Raises MeasureError, FileError.

    Raw files are decoded without any developing: black and white level per colour plane. TIFF of 16 bits is linear unless
    its profile says otherwise; JPEG, PNG and TIFF of 8 bits follow their profile, or sRGB.
    """
    path = Path(path)
    data = read_limited(path, IMAGE_LIMIT)
    if data[:3] == b"\xff\xd8\xff" or data[:8] == b"\x89PNG\r\n\x1a\n":
        return _checked(_by_pillow(path, data))
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") and path.suffix.lower() in (".tif", ".tiff"):
        return _checked(_by_tifffile(path, data))
    return _checked(_by_rawpy(path, data))


def _checked(frame: Frame) -> Frame:
    rows, columns = frame.size
    if min(rows, columns) < FEWEST_ACROSS:
        raise MeasureError(
            f"{frame.path}: is {columns} x {rows} pixels, too few to measure from; use the photograph as the camera wrote it."
        )
    return frame


def _too_many(path: Path, columns: int, rows: int) -> MeasureError:
    return MeasureError(
        f"{path}: claims {columns} x {rows} pixels, more than the {MOST_PIXELS // 1_000_000} million that are read; "
        "use a photograph as the camera wrote it."
    )


def _broken(path: Path, what: str) -> MeasureError:
    return MeasureError(f"{path}: {what}; use a raw file, a TIFF, a PNG or a JPEG as the camera wrote it.")


@contextlib.contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Whatever a decoder says of a damaged file becomes one sentence."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, EOFError, ArithmeticError, RuntimeError) as error:
        reason = " ".join(str(error).split())[:120]
        raise _broken(path, f"cannot be read as a picture ({reason or type(error).__name__})") from None
    except MemoryError:
        raise _broken(path, "needs more memory than there is") from None


def _by_pillow(path: Path, data: bytes) -> Frame:
    """JPEG and PNG; PNG of 16 bits by OpenCV, since Pillow halves its bits."""
    from PIL import Image

    with _reading(path):
        try:
            picture: Image.Image = Image.open(io.BytesIO(data), formats=("JPEG", "PNG"))
        except Image.DecompressionBombError:
            width, height = _png_or_jpeg_size(data)
            raise _too_many(path, width, height) from None
        columns, rows = picture.size
        if columns * rows > MOST_PIXELS:
            raise _too_many(path, columns, rows)
        about = _about_exif(dict(picture.getexif().get_ifd(0x8769)))
        profile = picture.info.get("icc_profile")
        if data[:4] == b"\x89PNG" and data[24] == 16:
            samples = _png16(data)
        else:
            if picture.mode not in ("L", "RGB"):
                if picture.mode not in ("RGBA", "LA", "P", "1"):
                    raise _broken(path, f"holds {picture.mode} colours, not grey or red, green and blue")
                picture = picture.convert("L" if picture.mode in ("LA", "1") else "RGB")
            samples = np.asarray(picture)
    return _developed(path, samples, profile, about, sure_if_deep=False)


def _png_or_jpeg_size(data: bytes) -> tuple[int, int]:
    """Width and height that a picture too large for the reader claims; zeros for a JPEG, which cannot be that large."""
    if data[:4] == b"\x89PNG":
        return int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    return 0, 0


def _png16(data: bytes) -> NDArray[Any]:
    import cv2

    found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if found is None:
        raise ValueError("the PNG is damaged")
    return np.ascontiguousarray(found[:, :, 2::-1]) if found.ndim == 3 and found.shape[2] >= 3 else _grey(np.asarray(found))


def _grey(samples: NDArray[Any]) -> NDArray[Any]:
    return samples[:, :, 0] if samples.ndim == 3 else samples


def _by_tifffile(path: Path, data: bytes) -> Frame:
    import tifffile

    with _reading(path):
        try:
            with tifffile.TiffFile(io.BytesIO(data)) as opened:
                sheet: Any = opened.pages[0]
                rows, columns = int(sheet.imagelength), int(sheet.imagewidth)
                if columns * rows > MOST_PIXELS:
                    raise _too_many(path, columns, rows)
                if sheet.photometric not in (0, 1, 2) or sheet.samplesperpixel > 4 or sheet.imagedepth != 1:
                    raise _broken(path, "is a TIFF of another kind than grey or red, green and blue")
                samples = sheet.asarray()
                tag = sheet.tags.get(34665)
                profile_tag = sheet.tags.get(34675)
                planar, inverted = sheet.planarconfig == 2 and sheet.samplesperpixel > 1, sheet.photometric == 0
        except tifffile.TiffFileError as error:
            raise _broken(path, f"cannot be read as a TIFF ({' '.join(str(error).split())[:100]})") from None
    if planar:
        samples = np.moveaxis(samples, 0, -1)
    if samples.ndim == 3 and samples.shape[2] >= 3:
        samples = samples[:, :, :3]
    elif samples.ndim == 3:
        samples = samples[:, :, 0]
    samples = _whole_numbers(path, samples)
    if inverted:
        samples = np.iinfo(samples.dtype).max - samples
    named = _exif_by_number(tag.value) if tag is not None and isinstance(tag.value, dict) else {}
    profile = bytes(profile_tag.value) if profile_tag is not None else None
    return _developed(path, np.ascontiguousarray(samples), profile, _about_exif(named), sure_if_deep=True)


def _whole_numbers(path: Path, samples: NDArray[Any]) -> NDArray[Any]:
    """Samples as 8 or 16 bits; floating ones, 0 to 1, are taken to 16."""
    if samples.dtype in (np.uint8, np.uint16):
        return samples.astype(samples.dtype.newbyteorder("="), copy=False)
    if samples.dtype.kind == "f":
        if not np.all(np.isfinite(samples)) or float(samples.max(initial=0.0)) > 1.001:
            raise _broken(path, "holds floating numbers that are not all from 0 to 1")
        return (np.clip(samples, 0.0, 1.0) * 65535.0 + 0.5).astype(np.uint16)
    raise _broken(path, f"holds samples of type {samples.dtype}, not 8 or 16 bits")


def _developed(path: Path, samples: NDArray[Any], profile: bytes | None, about: About, *, sure_if_deep: bool) -> Frame:
    """A frame from samples of 8 or 16 bits under a profile; deep TIFF without one is linear."""
    size = 256 if samples.dtype == np.uint8 else 65536
    curve = profile_curve(profile, size)
    if curve is None:
        curve = linear(size) if sure_if_deep and size > 256 else srgb(size)
    count = samples.shape[2] if samples.ndim == 3 else 1
    return Frame(
        path, samples, np.zeros((1, 1), np.int64), ("red", "green", "blue") if count == 3 else ("grey",), curve,
        np.zeros(count), np.ones(count), about, developed=not (curve.is_linear and size > 256),
    )  # fmt: skip


def _by_rawpy(path: Path, data: bytes) -> Frame:
    import rawpy

    with _reading(path):
        try:
            with rawpy.imread(io.BytesIO(data)) as raw:
                columns, rows = raw.sizes.raw_width, raw.sizes.raw_height
                if columns * rows > MOST_PIXELS:
                    raise _too_many(path, columns, rows)
                return _raw_frame(path, raw, data)
        except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawIOError):
            raise _broken(path, "is not a picture that can be read") from None
        except rawpy.LibRawError as error:
            raise _broken(path, f"cannot be decoded ({_decoder_words(error)})") from None


def _decoder_words(error: BaseException) -> str:
    first = error.args[0] if error.args else type(error).__name__
    return first.decode("ascii", "replace") if isinstance(first, bytes) else str(first)


def _raw_frame(path: Path, raw: Any, data: bytes) -> Frame:
    samples = np.array(raw.raw_image_visible)
    names = raw.color_desc.decode("ascii", "replace")
    count = samples.shape[2] if samples.ndim == 3 else int(raw.raw_colors_visible[:12, :12].max()) + 1
    if samples.ndim == 3:
        samples, count = np.ascontiguousarray(samples[:, :, :3]), 3
        pattern = np.zeros((1, 1), np.int64)
    else:
        pattern = _period(np.asarray(raw.raw_colors_visible[:24, :24], np.int64))
    black = np.array(raw.black_level_per_channel[:count], float)
    stated = raw.camera_white_level_per_channel or [raw.white_level] * count
    white = np.array([w if w and w <= raw.white_level else raw.white_level for w in stated[:count]], float)
    if np.any(white - black < 64):
        raise _broken(path, "states a white level that does not exceed its black level")
    words = {"R": "red", "G": "green", "B": "blue"}
    colours = tuple(words.get(names[k] if k < len(names) else "?", f"colour {k + 1}") for k in range(count))
    return Frame(
        path, samples, pattern, colours, linear(65536), black / 65535.0, white / 65535.0, _about_raw(raw, data),
        developed=False,
    )  # fmt: skip


def _period(colours: NDArray[np.int64]) -> NDArray[np.int64]:
    """The smallest square that repeats to make the mosaic."""
    for size in (1, 2, 3, 4, 6, 8, 12):
        tile = colours[:size, :size]
        repeats = -(-colours.shape[0] // size)
        if np.array_equal(np.tile(tile, (repeats, repeats))[: colours.shape[0], : colours.shape[1]], colours):
            return tile.copy()
    raise ValueError("its colours stand in no repeating pattern")


def _about_raw(raw: Any, data: bytes) -> About:
    other = raw.other
    found = About(
        focal_length=_positive(other.focal_length), f_number=_positive(other.aperture),
        exposure_time=_positive(other.shutter_speed), sensitivity=_positive(other.iso_speed),
    )  # fmt: skip
    if data[:4] in (b"II*\0", b"MM\0*"):
        return About(found.focal_length, found.f_number, _tiff_distance(data), found.exposure_time, found.sensitivity)
    return found


def _tiff_distance(data: bytes) -> float | None:
    """The focus distance in a raw file that is laid out as a TIFF, mm."""
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as opened:
            tag = opened.pages[0].tags.get(34665)  # type: ignore[union-attr]
            value = tag.value if tag is not None else None
    except (tifffile.TiffFileError, OSError, ValueError, KeyError, IndexError, RuntimeError, TypeError):
        return None
    return _about_exif(_exif_by_number(value)).focus_distance if isinstance(value, dict) else None


_EXIF_NUMBERS = {
    "FocalLength": 37386, "FNumber": 33437, "ExposureTime": 33434, "ISOSpeedRatings": 34855,
    "PhotographicSensitivity": 34855, "SubjectDistance": 37382,
}  # fmt: skip


def _exif_by_number(named: dict[Any, Any]) -> dict[int, Any]:
    """Exif fields by their tag numbers, whichever way the reader names them."""
    return {_EXIF_NUMBERS.get(key, -1) if isinstance(key, str) else int(key): value for key, value in named.items()}


def _about_exif(fields: dict[int, Any]) -> About:
    """Exif 2.32, tables 6 to 8: focal length in mm, subject distance in m with 0xFFFFFFFF for infinity."""
    distance = fields.get(37382)
    far = _ratio_top(distance) == 0xFFFFFFFF
    metres = _positive(distance)
    return About(
        focal_length=_positive(fields.get(37386)), f_number=_positive(fields.get(33437)),
        focus_distance=math.inf if far else metres * 1000.0 if metres is not None else None,
        exposure_time=_positive(fields.get(33434)), sensitivity=_positive(_first(fields.get(34855))),
    )  # fmt: skip


def _first(value: Any) -> Any:
    return value[0] if isinstance(value, tuple | list) and len(value) == 1 else value


def _ratio_top(value: Any) -> int | None:
    if isinstance(value, tuple) and len(value) == 2:
        return int(value[0])
    top = getattr(value, "numerator", None)
    return int(top) if isinstance(top, int) else None


def _positive(value: Any) -> float | None:
    """A number from Exif, plain or a pair of whole numbers; None unless finite and more than zero."""
    if isinstance(value, tuple) and len(value) == 2:
        value = value[0] / value[1] if value[1] else None
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number > 0 else None
