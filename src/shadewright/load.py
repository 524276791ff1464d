"""Loading a hood's geometry with the mesh it may name."""

from __future__ import annotations

from pathlib import Path

from shadewright.errors import FileError, FitError
from shadewright.files import is_there
from shadewright.model.base import shown
from shadewright.model.geometry import shape_of
from shadewright.model.hood import Hood
from shadewright.model.shape import HoodShape


def load_shape(hood: Hood, folder: Path) -> HoodShape:
    """The geometry of a hood document, reading the STL beside it where it names one.

    Raises FitError, FileError.
    """
    name = hood.rim.stl
    if name is None:
        return shape_of(hood)
    plain = Path(name).name == name and "\\" not in name and name.isprintable()
    if not plain or not name.lower().endswith(".stl"):
        raise FitError(
            f"rim.stl = {shown(name)} must be the name of a .stl file beside the hood document; "
            "give it without a path."
        )
    path = folder / name
    if not is_there(path):
        raise FileError(f"{path}: no such file, though rim.stl names it; put it beside the hood document.")
    if _outside(path, folder):
        raise FileError(f"{path}: is a link to a file outside its folder; copy that file here instead.")
    from shadewright.make.meshfiles import read_stl

    return shape_of(hood, mesh=read_stl(path))


def _outside(path: Path, folder: Path) -> bool:
    """Whether the file that the path leads to lies in another folder."""
    try:
        return path.is_symlink() and path.resolve().parent != folder.resolve()
    except (RuntimeError, OSError):
        return True
