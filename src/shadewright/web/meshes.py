"""Uploaded meshes: a few STL files in a folder of the bench's own, each named by its content, so that a link finds it again."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from shadewright.errors import FileError
from shadewright.files import write_whole

MOST_BYTES = 50_000_000
"""Largest mesh taken by upload, bytes."""
MOST_MESHES = 12
"""Meshes kept: the oldest goes when another comes."""
_NAME = re.compile(r"[0-9a-f]{24}")


def mesh_path(folder: Path, name: str) -> Path:
    """The file of an uploaded mesh. Raises FileError for a name that was never given."""
    path = folder / f"{name}.stl"
    if not _NAME.fullmatch(name) or not path.is_file():
        raise FileError("mesh: no such upload, or it has been dropped for newer ones; choose the STL file again.")
    return path


def is_held(folder: Path, name: str) -> bool:
    """Whether the mesh of a name is here."""
    return _NAME.fullmatch(name) is not None and (folder / f"{name}.stl").is_file()


def keep_mesh(folder: Path, content: bytes) -> tuple[str, int]:
    """Keep an STL; returns its name and its number of triangles. Raises FileError for what is no STL.

    The name is the beginning of the content's SHA-256: the same file has the same name at every bench.
    """
    from shadewright.make.meshfiles import read_stl

    name = hashlib.sha256(content).hexdigest()[:24]
    path = write_whole(folder / f"{name}.stl", content)
    try:
        mesh = read_stl(path)
    except FileError as error:
        path.unlink(missing_ok=True)
        raise FileError(str(error).replace(str(path), "the mesh")) from None
    older = sorted(folder.glob("*.stl"), key=lambda entry: entry.stat().st_mtime_ns)
    for entry in older[:-MOST_MESHES]:
        entry.unlink(missing_ok=True)
    return name, len(mesh.faces)
