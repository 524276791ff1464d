"""Uploaded photographs: kept for a while in a folder of the bench's own, under names that the bench chose."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import IO, Any

from shadewright.errors import BenchError, FileError

MOST_BYTES = 400_000_000
"""Largest photograph taken, bytes: as the command line reads them."""
MOST_FRAMES = 120
MOST_KEPT = 4_000_000_000
"""Photographs kept, and their bytes together: the longest unused go when others come."""
LEAST_ROOM = 500_000_000
"""Bytes that stay free on the disk."""
LONGEST = 180.0
"""Seconds in which a photograph must have come."""
HELD = ".held"
ENDINGS = re.compile(r"[a-z0-9]{1,5}")
_NAME = re.compile(r"[0-9a-f]{24}")


def frames_beside(meshes: Path) -> Path:
    """The folder of photographs in the bench's own, beside that of the meshes; made for its owner alone."""
    folder = meshes.parent / "frames"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def hold(folder: Path) -> IO[bytes] | None:
    """Mark a bench's folder as in use for as long as the file given back is open.

    Folders beside it whose bench was ended without clearing up, with the photographs in them, are dropped. None where the
    system has no such locks.
    """
    try:
        import fcntl
    except ImportError:
        return None
    for left in folder.parent.glob(f"{folder.name.rsplit('-', 1)[0]}-*/{HELD}"):
        with contextlib.suppress(OSError), left.open("rb") as found:
            fcntl.flock(found, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if left.parent.stat().st_uid == os.getuid():
                shutil.rmtree(left.parent, ignore_errors=True)
    coming = folder / f"{HELD}.part"
    mark = coming.open("xb")
    fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    # It has its name only once it is locked, so that no other bench finds it free.
    coming.replace(folder / HELD)
    return mark


def frame_path(folder: Path, name: str) -> Path:
    """The file of a photograph. Raises FileError for a name that was never given."""
    found = next(folder.glob(f"{name}.*"), None) if _NAME.fullmatch(name) else None
    if found is None:
        raise FileError("frames: a photograph is no longer there, since others came after it; choose its file again.")
    with contextlib.suppress(OSError):
        os.utime(found)
    return found


def drop_frame(folder: Path, name: str) -> None:
    """Drop a photograph. Raises FileError for a name that was never given."""
    frame_path(folder, name).unlink(missing_ok=True)


def ending_of(file: str) -> str:
    """How a file's name ends, in small letters, as far as that can tell a kind of picture; "bin" for anything else."""
    tail = file.rsplit(".", 1)[-1].lower() if "." in file else ""
    return tail if ENDINGS.fullmatch(tail) else "bin"


def lay_out(folder: Path, frames: dict[str, str], *, inputs: Path) -> None:
    """Lay photographs into `inputs` under the names that a document uses. Raises FileError."""
    inputs.mkdir(parents=True, exist_ok=True)
    for file, name in frames.items():
        found, to = frame_path(folder, name), inputs / file
        if ending_of(file) != found.suffix[1:]:
            raise FileError(f"frames: {file} was sent as a .{found.suffix[1:]} file; name it so, or send it again.")
        try:
            os.link(found, to)
        except FileExistsError:
            raise FileError(f"frames: {file} differs from another name in its letters' case only; give it a name of its own.") from None
        except OSError:
            shutil.copyfile(found, to)


async def receive_frame(folder: Path, file: str, parts: AsyncIterator[bytes]) -> str:
    """Keep a photograph as it comes, and return its new name.

    Raises FileError where it is too large or empty, BenchError where the disk is full.
    """
    name = secrets.token_hex(12)
    path, coming = folder / f"{name}.{ending_of(file)}", folder / f".{name}.part"
    size, until = 0, time.monotonic() + LONGEST
    _make_room(folder, 0)
    try:
        with coming.open("xb") as stream:
            async for part in parts:
                size += len(part)
                if time.monotonic() > until:
                    raise FileError(f"the photograph did not come within {LONGEST:g} s; send it again.")
                if size <= MOST_BYTES:
                    stream.write(part)
                elif size > 2 * MOST_BYTES:
                    break  # heard out for long enough
        if size > MOST_BYTES:
            raise FileError(f"the photograph is larger than the {MOST_BYTES:,} bytes that are taken; use the file as the camera wrote it.")
        if size == 0:
            raise FileError("the photograph is empty; send the file itself.")
        _make_room(folder, size)
        coming.replace(path)
    except OSError as error:
        raise BenchError(f"the photograph cannot be kept ({(error.strerror or 'no room').lower()}); make room on the disk.") from None
    finally:
        coming.unlink(missing_ok=True)
    return name


def _make_room(folder: Path, size: int) -> None:
    """Drop what was longest unused, and see that the disk has room. Raises BenchError."""
    kept = [entry for entry in folder.iterdir() if not entry.name.startswith(".")]
    total = size
    for place, entry in enumerate(sorted(kept, key=lambda entry: entry.stat().st_mtime_ns, reverse=True)):
        total += entry.stat().st_size
        if place >= MOST_FRAMES - 1 or total > MOST_KEPT:
            entry.unlink(missing_ok=True)
    if shutil.disk_usage(folder).free < LEAST_ROOM:
        raise BenchError("the disk of this machine is nearly full, so that no photograph can be kept; make room on it.")


def glance(path: Path, file: str) -> dict[str, Any]:
    """What a photograph is, from its head alone, without decoding it. Raises MeasureError for what is none.

    file: its name on the user's side, which is what a refusal names.
    """
    from shadewright.errors import MeasureError
    from shadewright.measure.frames import FEWEST_ACROSS, MOST_PIXELS

    kind, columns, rows, shot = _head(path, file)
    if columns * rows > MOST_PIXELS:
        raise MeasureError(
            f"{file}: claims {columns} x {rows} pixels, more than the {MOST_PIXELS // 1_000_000} million that are read; use a photograph as "
            "the camera wrote it."
        )
    if min(columns, rows) < FEWEST_ACROSS:
        raise MeasureError(f"{file}: is {columns} x {rows} pixels, too few to measure from; use the photograph as the camera wrote it.")
    return {"kind": kind, "width": columns, "height": rows, "bytes": path.stat().st_size, **shot}


def _head(path: Path, file: str) -> tuple[str, int, int, dict[str, Any]]:
    """Kind, width, height and what the file says of the shot."""
    import warnings

    from shadewright.errors import MeasureError

    none = MeasureError(f"{file}: is not a photograph that can be read; use a raw file, a TIFF, a PNG or a JPEG as the camera wrote it.")
    with path.open("rb") as stream:
        start = stream.read(32)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if start[:8] == b"\x89PNG\r\n\x1a\n" and start[12:16] == b"IHDR":
                return "PNG", int.from_bytes(start[16:20], "big"), int.from_bytes(start[20:24], "big"), {}
            if start[:3] == b"\xff\xd8\xff":
                return _jpeg_head(path)
            if start[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") and path.suffix in (".tif", ".tiff"):
                return _tiff_head(path)
            return _raw_head(path)
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, EOFError, ArithmeticError, RuntimeError, MemoryError):
        raise none from None


def _jpeg_head(path: Path) -> tuple[str, int, int, dict[str, Any]]:
    from PIL import Image

    with Image.open(path, formats=("JPEG",)) as picture:
        fields = picture.getexif().get_ifd(0x8769)
        return "JPEG", *picture.size, _shot(fields.get(37386), fields.get(33437))


def _tiff_head(path: Path) -> tuple[str, int, int, dict[str, Any]]:
    import tifffile

    with tifffile.TiffFile(path) as opened:
        sheet: Any = opened.pages[0]
        return "TIFF", int(sheet.imagewidth), int(sheet.imagelength), {}


def _raw_head(path: Path) -> tuple[str, int, int, dict[str, Any]]:
    import rawpy

    try:
        with rawpy.imread(str(path)) as raw:
            sizes = raw.sizes
            return "raw", int(sizes.width or sizes.raw_width), int(sizes.height or sizes.raw_height), _shot(raw.other.focal_length, raw.other.aperture)
    except rawpy.LibRawError as error:
        raise ValueError("not a raw file") from error


def _shot(focal: Any, aperture: Any) -> dict[str, Any]:
    """Focal length (mm) and f-number as a file gives them, where they can be."""
    found = {}
    for name, value in (("focal_length", focal), ("f_number", aperture)):
        with contextlib.suppress(TypeError, ValueError, ZeroDivisionError, OverflowError):
            number = float(value)
            if 0 < number < 5000:
                found[name] = round(number, 3)
    return found
