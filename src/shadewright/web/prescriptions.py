"""Lenses by their prescription: a file that is read, and what its surfaces are at each setting."""

from __future__ import annotations

import base64
import binascii
import math
import re
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from shadewright.errors import DocumentError, FileError, OpticsError
from shadewright.files import write_whole
from shadewright.model.hood import Hood
from shadewright.model.lens import Front, Lens, Placement, Seat, SeatPlace
from shadewright.model.lens_files import read_with_notes
from shadewright.model.prescription import Prescription
from shadewright.optics.paraxial import paraxial
from shadewright.optics.settings import Setting
from shadewright.optics.system import System, setting_names, system_of
from shadewright.web.answers import as_tree
from shadewright.web.desk import Desk
from shadewright.web.views import pairs
from shadewright.web.wire import LensFile, OfDesign

ROOM = 2.0
"""Front ring round the front glass until it is measured, mm."""
PLACES = 13
"""Places from the axis to the edge at which a surface is drawn."""


def prescription(_desk: Desk, asked: LensFile) -> dict[str, Any]:
    """The prescription in a file, and the lens document that it makes. Raises DocumentError, OpticsError."""
    try:
        content = base64.b64decode(asked.content, validate=True)
    except (binascii.Error, ValueError):
        raise DocumentError("content is not Base64; send the file's bytes so written.") from None
    name = re.sub(r"[^\w .-]", "_", asked.name.replace("\\", "/").rsplit("/", 1)[-1])[-80:].strip(" .") or "lens"
    with tempfile.TemporaryDirectory(prefix="shadewright-lens-") as folder:
        path = write_whole(Path(folder) / name, content)
        try:
            reading = read_with_notes(path)
        except (DocumentError, FileError) as error:
            raise DocumentError(str(error).replace(f"{folder}/", "").replace(folder, "")) from None
    lens, notes = lens_of(reading.prescription)
    return {"prescription": as_tree(reading.prescription), "lens": as_tree(lens), "notes": [*reading.notes, *notes]}


def lens_of(found: Prescription) -> tuple[Lens, list[str]]:
    """The lens document of a prescription at all its settings, and what had to be taken. Raises OpticsError."""
    names, semi = setting_names(found), found.surface[0].semi_diameter
    firsts = [paraxial(system_of(found, name)) for name in names]
    across = 2 * (semi if semi is not None else 1.3 * max(first.entrance_radius for first in firsts))
    ring = round(across + 2 * ROOM, 1)
    lens = Lens(
        document="lens", version=1, name=found.name, front=Front(rim_diameter=ring), seat=Seat(on=SeatPlace.FRONT),
        prescription=found, placement=tuple(Placement(setting=name) for name in names),
    )  # fmt: skip
    return lens, [f"The front ring is taken as {ring:g} mm across, the front glass and {ROOM:g} mm round it: measure it."]


def surfaces(desk: Desk, asked: OfDesign) -> dict[str, Any]:
    """What a traced lens is, setting by setting. Raises DocumentError, OpticsError."""
    design = asked.design
    if desk.lens(design.lens).prescription is None:
        raise OpticsError("lens.prescription is missing: this lens is known by its measures; ask for the views instead.")
    hood = Hood(document="hood", version=1, name="none")
    with suppress(DocumentError):  # a hood that is half typed does not keep the lens from being shown
        hood = desk.hood(design.hood)
    work = desk.job(design, hood)
    return {"settings": [_setting(setting) for setting in work.resolved.settings if setting.traced is not None]}


def _setting(setting: Setting) -> dict[str, Any]:
    assert setting.traced is not None
    system, first = setting.traced.main, setting.traced.first
    return {
        "name": system.name, "focal_length": _plain(setting.focal_length), "f_number": _plain(setting.f_number),
        "focus_distance": _plain(setting.focus_distance), "pupil": _plain(first.entrance_pupil),
        "pupil_diameter": _plain(2 * first.entrance_radius), "back_focus": _plain(first.image_distance),
        "total": _plain(first.total), "front_glass": _plain(2 * setting.traced.front_radius),
        "reach": _plain(setting.reach + setting.traced.plane), "estimated": [k + 1 for k in system.estimated],
        "surfaces": [_surface(system, k) for k in range(len(system))],
    }  # fmt: skip


def _surface(system: System, k: int) -> dict[str, Any]:
    """One surface to be drawn: points [z behind the first vertex, distance from the axis] from the axis to its edge."""
    edge = system.semi[k] if math.isfinite(system.semi[k]) else float(np.max(system.semi[np.isfinite(system.semi)], initial=1.0))
    r = np.linspace(0.0, edge, PLACES)
    return {
        "points": pairs(np.stack([system.vertices[k] + system.sag(k, r), r], axis=1)), "stop": k == system.stop,
        "glass": bool(system.index[k + 1] > 1.01), "index": round(float(system.index[k + 1]), 5),
    }  # fmt: skip


def _plain(value: float) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None
