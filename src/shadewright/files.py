"""Writing files whole or not at all, and reading them within limits."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from shadewright.errors import FileError

DOCUMENT_LIMIT = 1_000_000
"""Largest document read, in bytes."""
MESH_LIMIT = 200_000_000
"""Largest mesh file read, in bytes."""


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write `content` to `path` under a temporary name in the same folder, then rename it into place.

    An interruption at any moment leaves either the old file or the new one, never a part. Raises FileError.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        current_mask = os.umask(0)
        os.umask(current_mask)
        Path(temporary).chmod(0o666 & ~current_mask)
        Path(temporary).replace(path)
        temporary = None
    except OSError as error:
        raise FileError(f"{path}: cannot be written ({error.strerror}); choose another --out folder.") from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
    return path


def read_limited(path: Path, limit: int) -> bytes:
    """The bytes of `path`, refused beyond `limit` bytes before anything is read. Raises FileError."""
    try:
        if path.is_dir():
            raise FileError(f"{path}: is a folder, not a file; name the file itself.")
        if path.exists() and not path.is_file():
            raise FileError(f"{path}: is not an ordinary file; name an ordinary file.")
        size = path.stat().st_size
        if size > limit:
            raise FileError(
                f"{path}: is {size / 1e6:.1f} MB, more than the {limit / 1e6:g} MB that is read; use a smaller file."
            )
        return path.read_bytes()
    except FileNotFoundError as error:
        raise FileError(f"{path}: no such file; check the name and the folder.") from error
    except OSError as error:
        raise FileError(f"{path}: cannot be read ({error.strerror}).") from error
