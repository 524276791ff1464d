"""Lens descriptions in the JSON that the open library optiland writes: a list of surfaces with shapes and materials."""

from __future__ import annotations

import json
import math
from typing import Any

from shadewright.errors import DocumentError
from shadewright.model.base import shown
from shadewright.model.lens_rows import (
    MOST_ROWS,
    Description,
    Reading,
    Row,
    Variant,
    assembled,
    curvature_of,
    medium_of,
)

DEEPEST = 40
"""How deep lists and tables may be nested."""
SHAPES = ("Plane", "StandardGeometry", "EvenAsphere")
_NANOMETRES = {"nm": 1.0, "um": 1e3, "µm": 1e3, "mm": 1e6, "cm": 1e7, "m": 1e9}


def read_json(text: str, path: object, *, name: str) -> Reading:
    """The prescription of a lens in optiland's JSON, in mm. Raises DocumentError naming the surface.

    Read are planes, conics and even aspheres centred on one axis, materials by glass name, index, or index with Abbe
    number, round apertures, and the aperture as EPD, imageFNO or float_by_stop_size.
    """
    try:
        tree = json.loads(text)
    except (ValueError, RecursionError) as error:
        line = f"line {error.lineno}: " if isinstance(error, json.JSONDecodeError) else ""
        raise DocumentError(
            f"{path}: {line}is not whole JSON; save the lens again from the program that wrote it."
        ) from None
    group = tree.get("surface_group") if isinstance(tree, dict) else None
    surfaces = group.get("surfaces") if isinstance(group, dict) else None
    if not isinstance(surfaces, list):
        raise DocumentError(
            f"{path}: holds no surface_group.surfaces, so it is not a lens that is read; name another file."
        )
    if not 3 <= len(surfaces) <= MOST_ROWS:
        raise DocumentError(
            f"{path}: holds {len(surfaces)} surfaces, subject and image among them; from 3 to {MOST_ROWS} are read."
        )
    title = tree.get("name")
    description = Description(path, name=title if isinstance(title, str) and title.strip() else name, lined=False)
    places = [_place(_Surface(path, k, entry)) for k, entry in enumerate(surfaces)]
    _rows(description, surfaces, places)
    far = math.isinf(places[0])
    variant = Variant("nominal", subject=None if far else places[1] - places[0])
    _aperture(description, variant, tree.get("aperture"))
    description.variants.append(variant)
    description.wavelengths = _wavelengths(path, tree.get("wavelengths"))
    description.note("lengths are taken as mm, since the description does not say.")
    return assembled(description)


class _Surface:
    """One entry of the list of surfaces, and errors that name it; the subject is surface 0."""

    def __init__(self, path: object, place: int, entry: object) -> None:
        self.path, self.place = path, place
        if not isinstance(entry, dict):
            raise self.fault("is not a table of fields; save the lens again")
        self.entry: dict[str, Any] = entry

    def fault(self, what: str) -> DocumentError:
        return DocumentError(f"{self.path}: surface {self.place}: {what}.")

    def table(self, key: str) -> dict[str, Any]:
        """A field that is itself a table; empty where it is left out."""
        found = self.entry.get(key)
        if found is None:
            return {}
        if not isinstance(found, dict):
            raise self.fault(f"{key} = {shown(found)} must be a table; save the lens again")
        return found

    def number(self, value: object, what: str, *, endless: bool = False) -> float:
        """A finite number, or an infinite one where that is allowed."""
        plain = isinstance(value, int | float) and not isinstance(value, bool)
        try:
            found = float(value) if plain else math.nan  # type: ignore[arg-type]
        except OverflowError:
            found = math.nan
        if math.isnan(found) or not (endless or abs(found) < 1e30):
            raise self.fault(f"{what} = {shown(value)} must be a finite number; correct it")
        return found


def _place(surface: _Surface) -> float:
    """z of a surface's vertex; refused off the axis or tilted."""
    frame = surface.table("geometry").get("cs")
    if not isinstance(frame, dict):
        raise surface.fault("geometry.cs, its place, is missing; save the lens again")
    for key in ("x", "y", "rx", "ry", "rz"):
        if abs(surface.number(frame.get(key, 0.0), f"geometry.cs.{key}")) > 1e-12:
            raise surface.fault(f"is shifted or tilted ({key}), which is not read: all must be centred on one axis")
    if frame.get("reference_cs") is not None:
        raise surface.fault("is placed relative to another, which is not read; write plain positions")
    z = surface.number(frame.get("z"), "geometry.cs.z", endless=surface.place == 0)
    return z


def _rows(description: Description, surfaces: list[Any], places: list[float]) -> None:
    """The rows between subject and image."""
    for k, entry in enumerate(surfaces[1:-1], start=1):
        surface = _Surface(description.path, k, entry)
        row = _shape(surface)
        row.thickness = places[k + 1] - places[k]
        row.medium = _medium(surface, description)
        row.semi = _semi(surface, description)
        row.stop = surface.entry.get("is_stop") is True
        description.rows.append(row)
    image = _Surface(description.path, len(surfaces) - 1, surfaces[-1])
    if _shape(image).curvature != 0:
        description.note("the image surface is curved; a plane in its place is used.")


def _shape(surface: _Surface) -> Row:
    """Curvature, conic and aspheric terms of a surface."""
    if surface.table("interaction_model").get("is_reflective"):
        raise surface.fault("is a mirror, which is not read: only lenses that light passes straight through are")
    geometry = surface.table("geometry")
    kind = geometry.get("type")
    if kind not in SHAPES:
        raise surface.fault(
            f"shape {shown(kind)} is not read, only {', '.join(SHAPES)} are; replace it by one of those"
        )
    radius = surface.number(geometry.get("radius", math.inf), "radius", endless=True)
    row = Row(surface.place, curvature=0.0 if math.isinf(radius) else curvature_of(radius))
    row.conic = surface.number(geometry.get("conic", 0.0), "conic")
    if kind == "EvenAsphere":
        listed = geometry.get("coefficients", [])
        if not isinstance(listed, list) or len(listed) > 50:
            raise surface.fault(f"coefficients = {shown(listed)} must be a list of at most 50 numbers; correct it")
        row.aspheric = {2 * i: surface.number(value, "coefficient") for i, value in enumerate(listed, start=1)}
    return row


def _medium(surface: _Surface, description: Description) -> Any:
    """The medium behind a surface."""
    material = surface.table("material_post")
    kind = material.get("type")
    if kind == "Mirror":
        raise surface.fault("is a mirror, which is not read: only lenses that light passes straight through are")
    if isinstance(material.get("name"), str):
        found = medium_of(material["name"])
        if found is None:
            raise surface.fault(
                f"glass {shown(material['name'])} is not in the table; give its index and Abbe number instead"
            )
        if found[1]:
            description.note(found[1])
        return found[0]
    if "index" not in material:
        raise surface.fault(
            f"material {shown(kind)} is not read; give it as a named glass, or as index with Abbe number"
        )
    index = surface.number(material["index"], "index")
    abbe = material.get("abbe")
    if index == 1.0:
        return None
    return (index, None if abbe is None else surface.number(abbe, "abbe"))


def _semi(surface: _Surface, description: Description) -> float | None:
    """The clear semi-diameter, where a round aperture is given."""
    aperture = surface.entry.get("aperture")
    if aperture is None:
        return None
    if not isinstance(aperture, dict) or aperture.get("type") != "RadialAperture":
        description.note(
            f"the aperture of surface {surface.place} was left out: apertures are read as round and centred."
        )
        return None
    return surface.number(aperture.get("r_max"), "aperture.r_max")


def _aperture(description: Description, variant: Variant, aperture: object) -> None:
    """How far the stop is opened."""
    if not isinstance(aperture, dict):
        return
    whole_lens = _Surface(description.path, 0, {})
    value = whole_lens.number(aperture.get("value"), "aperture.value")
    kind = aperture.get("type")
    if kind == "EPD":
        variant.pupil = value
    elif kind == "imageFNO":
        variant.f_number = value
    elif kind == "float_by_stop_size":
        for row in description.rows:
            if row.stop:
                row.semi = value / 2.0
    else:
        description.note(f"the aperture is given as {shown(kind)}, so the stop's own aperture is used.")


def _wavelengths(path: object, group: object) -> list[float]:
    """The wavelengths in nm, the primary one first."""
    listed = group.get("wavelengths") if isinstance(group, dict) else None
    found: list[float] = []
    for entry in listed[:20] if isinstance(listed, list) else []:
        if not isinstance(entry, dict):
            continue
        value = _Surface(path, 0, {}).number(entry.get("value"), "wavelength")
        scaled = round(value * _NANOMETRES.get(str(entry.get("unit", "um")), 1e3), 6)
        found.insert(0 if entry.get("is_primary") is True else len(found), scaled)
    return list(dict.fromkeys(found))
