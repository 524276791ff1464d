"""Writing files whole or not at all, and reading them within limits."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from pathlib import Path

from shadewright.errors import FileError

DOCUMENT_LIMIT = 1_000_000
"""Largest document read, in bytes."""
MESH_LIMIT = 200_000_000
"""Largest mesh file read, in bytes."""


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write `content` to `path` under a temporary name in the same folder, then rename it into place.

    An interruption at any moment leaves either the old file or the new one, never a part. A file that is written
    over keeps its permissions. Raises FileError.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        mode = _mode_for(path)
        # The temporary name does not hold the file's own, which may already be as long as names can be.
        handle, temporary = tempfile.mkstemp(prefix=".writing-", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(mode)
        Path(temporary).replace(path)
        temporary = None
    except (FileExistsError, NotADirectoryError) as error:
        raise FileError(
            f"{path}: cannot be written, since part of its path is a file and not a folder; choose another folder."
        ) from error
    except IsADirectoryError as error:
        raise FileError(f"{path}: is a folder, so no file can be written there; choose another name.") from error
    except OSError as error:
        raise FileError(f"{path}: cannot be written ({_reason(error)}); choose another folder or name.") from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
    return path


def _mode_for(path: Path) -> int:
    """The permissions that a written file gets: those of the file it replaces, else the usual ones.

    Raises FileError for what renaming must not replace, such as a device or a pipe, and IsADirectoryError.
    """
    try:
        found = path.stat().st_mode
    except FileNotFoundError:
        usual_mask = os.umask(0)
        os.umask(usual_mask)
        return 0o666 & ~usual_mask
    if stat.S_ISDIR(found):
        raise IsADirectoryError
    if not stat.S_ISREG(found):
        raise FileError(f"{path}: is not an ordinary file, so it is not written over; choose another name.")
    return stat.S_IMODE(found)


def is_there(path: Path) -> bool:
    """Whether anything, be it a broken link, has this path; False too for a path that no file can have."""
    try:
        path.lstat()
    except (OSError, ValueError):
        return False
    return True


def read_limited(path: Path, limit: int) -> bytes:
    """The bytes of `path`, refused beyond `limit` bytes before more than that is read. Raises FileError."""
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise FileError(f"{path}: is a folder, not a file; name the file itself.")
        if not stat.S_ISREG(found.st_mode):
            raise FileError(f"{path}: is not an ordinary file; name an ordinary file.")
        if found.st_size > limit:
            raise _too_large(path, found.st_size, limit)
        with path.open("rb") as stream:
            content = stream.read(limit + 1)
    except FileNotFoundError as error:
        raise FileError(f"{path}: no such file; check the name and the folder.") from error
    except NotADirectoryError as error:
        raise FileError(f"{path}: no such file, part of its path is not a folder; check the path.") from error
    except OSError as error:
        raise FileError(f"{path}: cannot be read ({_reason(error)}); check the name and its permissions.") from error
    except ValueError as error:
        raise FileError(f"{path}: cannot be the name of a file ({error}); correct the name.") from error
    if len(content) > limit:
        raise _too_large(path, len(content), limit)
    return content


def _too_large(path: Path, size: int, limit: int) -> FileError:
    return FileError(f"{path}: is {size:,} bytes long, more than the {limit:,} that are read; use a smaller file.")


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
