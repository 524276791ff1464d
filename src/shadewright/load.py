"""Loading a hood's geometry with the mesh it may name."""

from __future__ import annotations

from pathlib import Path

from shadewright.errors import FitError
from shadewright.model.geometry import shape_of
from shadewright.model.hood import Hood
from shadewright.model.shape import HoodShape


def load_shape(hood: Hood, folder: Path) -> HoodShape:
    """The geometry of a hood document, reading the STL beside it where it names one. Raises FitError, FileError."""
    if hood.rim.stl is None:
        return shape_of(hood)
    name = hood.rim.stl
    if Path(name).name != name or "\\" in name or not name.lower().endswith(".stl"):
        raise FitError(f'rim.stl = "{name}" must be the name of a .stl file beside the hood document, without a path.')
    from shadewright.make.meshfiles import read_stl

    return shape_of(hood, mesh=read_stl(folder / name))
