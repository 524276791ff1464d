"""STEP files (ISO 10303-21, AP214): a hood as an exact solid for a CAD program, checked as read back.

The file holds no date and no name of a machine, so that the same hood gives the same bytes.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from shadewright.errors import MakeError
from shadewright.files import MESH_LIMIT, read_limited, write_whole
from shadewright.make.kit import MeshKit
from shadewright.make.pieces import one_line
from shadewright.make.rings import Ring
from shadewright.make.seat import Screw, screw_envelope, screw_of
from shadewright.make.section import band
from shadewright.make.solid import Solid, assembled
from shadewright.model.hood import Build, SeatKind
from shadewright.model.shape import HoodShape, RoundHood, TunnelHood

VOLUME_SHARE = 0.005
"""An exact solid whose volume differs from the mesh's by more than this share is not written."""
BOX = 0.05
"""Nor one whose extent differs by more than this in any direction, mm: facets and file grid make up less."""
RIM_TOLERANCE = 0.02
"""Nor one whose rim departs by more than this from the hood's, mm."""
RIM_PLACES = 48
"""Places round the rim that are looked at as read back."""
MISSING = (
    "--step: STEP files need the Open CASCADE library; install it with `pip install shadewright[step]`, and on Debian the package "
    "libgl1, or leave the option out"
)
HEADER = """HEADER;
FILE_DESCRIPTION(('lens hood, exact solid, mm'),'2;1');
FILE_NAME('{name}','',(''),(''),'Open CASCADE','shadewright','');
FILE_SCHEMA(('AUTOMOTIVE_DESIGN {{ 1 0 10303 214 1 1 1 1 }}'));
ENDSEC;
"""


@dataclass(frozen=True)
class ExactSolid:
    """An exact solid: the library's `body`, right-handed, mm; volume in mm3, its faces, its extent, and plain sentences."""

    body: Any
    volume: float
    faces: int
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    notes: tuple[str, ...]
    sharp: bool = False
    """True where the rim's edges were left sharp although they should be rounded."""


def exact_hood(
    hood: HoodShape, build: Build, *, seat_diameter: float, thread: str | None, rings: Sequence[Ring] = ()
) -> ExactSolid:
    """The hood as one exact solid: what `build_hood` makes of facets, of true planes, cylinders, cones and splines.

    Curved rims follow the hood's to 0.01 mm and lie nowhere above it. Raises MakeError.
    """
    exact = library()
    kit = exact.ExactKit()
    body, _ = assembled(hood, build, kit, seat_diameter=seat_diameter, thread=thread, rings=rings)
    return replace(_measured(exact.simplified(body), tuple(kit.notes)), sharp=kit.sharp)


def library() -> Any:
    """The module of exact solids. Raises MakeError where its library is missing."""
    try:
        return import_module("shadewright.make.exact")
    except ImportError as error:
        raise MakeError(f"{MISSING} ({one_line(str(error))}).") from error


def _measured(body: Any, notes: tuple[str, ...]) -> ExactSolid:
    exact = library()
    if not exact.is_sound(body):
        raise MakeError("the exact solid is not one closed valid body; change the rim or wall a little, or use the STL.")
    low, high = exact.bounds_of(body)
    return ExactSolid(body, exact.volume_of(body), len(exact.faces_of(body)), low, high, notes)


def step_bytes(solid: ExactSolid, *, name: str) -> bytes:
    """The content of a STEP file. Raises MakeError."""
    library()
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    _silence()
    writer, stream = STEPControl_Writer(), io.BytesIO()
    writer.Transfer(solid.body, STEPControl_StepModelType.STEPControl_AsIs)
    if writer.WriteStream(stream) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise MakeError("the STEP file could not be written by its library; use the STL.")
    text = stream.getvalue().decode("ascii")
    known = one_line(name).encode("ascii", "replace").decode("ascii").replace("'", "''").replace("\\", "/")
    text = re.sub(r"HEADER;.*?ENDSEC;\n", lambda _: HEADER.format(name=known), text, count=1, flags=re.DOTALL)
    text = re.sub(r"PRODUCT\('[^']*',\s*'[^']*'", lambda _: f"PRODUCT('{known}','{known}'", text, count=1)
    return text.encode("ascii")


def write_step(path: Path, solid: ExactSolid, *, name: str) -> Path:
    """Write a STEP file. Raises MakeError, FileError."""
    return write_whole(path, step_bytes(solid, name=name))


def read_step(path: Path) -> ExactSolid:
    """The one solid of a STEP file. Raises FileError, and MakeError where there is not one closed valid solid."""
    exact = library()
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader

    _silence()
    reader = STEPControl_Reader()
    status = reader.ReadStream(path.name, io.BytesIO(read_limited(path, MESH_LIMIT)))
    if status != IFSelect_ReturnStatus.IFSelect_RetDone or reader.TransferRoots() == 0:
        raise MakeError(f"{path.name}: is no STEP file that can be read; make it again.")
    pieces = exact.solids_of(reader.OneShape())
    if len(pieces) != 1:
        raise MakeError(f"{path.name}: holds {len(pieces)} solids and not one; make it again.")
    return _measured(pieces[0], ())


def _silence() -> None:
    """The library says what it does on the standard output, which belongs to `--json`; only failures are left."""
    from OCP.Message import Message, Message_Gravity

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)


# --- checks -------------------------------------------------------------------------------------------------


def step_problems(found: ExactSolid, mesh: Solid, hood: HoodShape, build: Build, *, thread: str | None) -> list[str]:
    """A sentence for everything in which an exact solid, as read back, departs from the mesh and the rim.

    The mesh must have its rim's edges sharp where the solid has.
    """
    problems = []
    expected = mesh.volume + (thread_filled(screw_of(build, thread)) if build.seat is SeatKind.THREAD else 0.0)
    if abs(found.volume - expected) > VOLUME_SHARE * expected:
        problems.append(f"Its volume is {found.volume:.0f} mm3 and that of the mesh {expected:.0f} mm3.")
    turned = mesh.vertices * np.array([-1.0, 1.0, 1.0])
    apart = max(np.abs(np.array(found.low) - turned.min(axis=0)).max(), np.abs(np.array(found.high) - turned.max(axis=0)).max())
    if apart > BOX:
        problems.append(f"Its extent departs by {apart:.2f} mm from the mesh's.")
    if isinstance(hood, RoundHood | TunnelHood):
        departure, above = rim_departure(found, hood, build.thickness)
        if departure > RIM_TOLERANCE:
            problems.append(f"Its rim departs by {departure:.3f} mm from the hood's.")
        if above:
            problems.append(f"Its rim lies above the hood's at {above} places.")
    return problems


def thread_filled(screw: Screw) -> float:
    """Volume between a thread as the mesh has it and the plain cylinder of the exact solid, mm3."""
    kit = MeshKit(360)
    plain = kit.turned(screw_envelope(screw) ^ band(0.0, screw.profile.crest_radius, -screw.length - 1.0, 1.0))
    return float(plain.volume() - kit.teeth(screw).volume())


def rim_departure(found: ExactSolid, hood: RoundHood | TunnelHood, thickness: float) -> tuple[float, int]:
    """Largest distance (mm) of the solid's surface from points of the hood's rim in the middle of its wall, and how many of
    those points lie inside the solid, which then stands above the rim.
    """
    library()
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    worst, above = 0.0, 0
    for x, y, z in _rim_middle(hood, thickness):
        place = gp_Pnt(-x, y, z)
        worst = max(worst, float(BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(place).Vertex(), found.body).Value()))
        inside = BRepClass3d_SolidClassifier(found.body, place, 1e-5).State() == TopAbs_State.TopAbs_IN
        above += int(inside)
    return worst, above


def _rim_middle(hood: RoundHood | TunnelHood, thickness: float) -> list[tuple[float, float, float]]:
    """Points of the rim in the middle of the wall, seat coordinates, mm."""
    if isinstance(hood, TunnelHood):
        wide, high = hood.wall.half_width + thickness / 2, hood.wall.half_height + thickness / 2
        rim = hood.rim
        return [(wide, 0.0, rim.right), (0.0, high, rim.top), (-wide, 0.0, rim.left), (0.0, -high, rim.bottom)]
    # Between the rim's own points too, and at places that divide a turn unevenly.
    azimuth = np.arange(RIM_PLACES) * 360.0 / RIM_PLACES + 0.37
    z = hood.rim.z_at(azimuth)
    radius = hood.wall.radius_at(np.maximum(z, 1e-9)) + thickness / 2
    return [
        (float(r * math.cos(a)), float(r * math.sin(a)), float(h))
        for r, a, h in zip(radius, np.radians(azimuth), z, strict=True)
    ]
