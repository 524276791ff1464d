"""Uploaded meshes: a few STL files in a folder of the bench's own, each under a name that the bench chose."""

from __future__ import annotations

import re
import secrets
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


def keep_mesh(folder: Path, content: bytes) -> tuple[str, int]:
    """Keep an STL; returns its new name and its number of triangles. Raises FileError for what is no STL."""
    from shadewright.make.meshfiles import read_stl

    name = secrets.token_hex(12)
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
