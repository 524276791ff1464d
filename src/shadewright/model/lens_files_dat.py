"""The lens table of open renderers' realistic cameras (.dat): radius, thickness, index and aperture diameter a row."""

from __future__ import annotations

import re

from shadewright.errors import DocumentError
from shadewright.model.base import shown
from shadewright.model.glass import GlassOrIndex, index_of
from shadewright.model.lens_rows import (
    FLAT_RADIUS,
    MOST_ROWS,
    Description,
    Reading,
    Row,
    assembled,
    curvature_of,
    fault,
    number,
    one_stop,
)
from shadewright.model.prescription import Prescription, Surface

COLUMNS = ("radius", "thickness", "index", "aperture diameter")


def read_dat(text: str, path: object, *, name: str) -> Reading:
    """The prescription of a lens table in mm. Raises DocumentError naming the line.

    Each row is a surface from the subject to the film: radius (0: the aperture stop), distance to the next surface,
    index behind it, diameter. Remarks stand behind #. The format: M. Pharr, W. Jakob, G. Humphreys, Physically Based
    Rendering, 3rd edition, section 6.4, after Kolb, Mitchell and Hanrahan 1995.
    """
    description = Description(path, name=name)
    remarks: list[str] = []
    for count, line in enumerate(text.splitlines(), start=1):
        body, _, remark = line.partition("#")
        if remark.strip():
            remarks.append(remark.strip())
        words = body.replace(",", " ").split()
        if not words:
            continue
        if len(words) != len(COLUMNS):
            raise fault(
                path,
                count,
                f"holds {len(words)} value{'s' if len(words) > 1 else ''} where {', '.join(COLUMNS)} are expected; correct it",
            )
        description.rows.append(_row(words, path, count))
        if len(description.rows) > MOST_ROWS:
            raise fault(path, count, f"is surface {MOST_ROWS + 1}, more than the {MOST_ROWS} that are read")
    if not description.rows:
        raise DocumentError(f"{path}: holds no rows of {', '.join(COLUMNS)}; name a lens table.")
    _headed(description, remarks)
    one_stop(
        description,
        lambda row: row.curvature == 0 and row.medium is None and not row.aspheric and _after_air(description, row),
        "exactly one row in air must have radius 0",
    )
    for row in description.rows:
        if row.curvature == 0 and not row.stop:
            description.note(f"the radius of 0 at line {row.line} is taken as a plane of glass.")
    if description.rows[-1].thickness == 0:
        description.rows[-1].thickness = None
        description.note("the distance of 0 to the image is taken as left out: the image lies at the paraxial focus.")
    description.note("the indices are taken as the same at all wavelengths.")
    return assembled(description)


def _row(words: list[str], path: object, line: int) -> Row:
    radius, thickness, index, diameter = (
        number(word, path, line, what) for word, what in zip(words, COLUMNS, strict=True)
    )
    if index not in (0.0, 1.0) and not 1.0 < index <= 4.5:
        raise fault(path, line, f"index = {index:g} must be from 1 to 4.5, or 0 at the stop; correct it")
    if diameter <= 0:
        raise fault(path, line, f"aperture diameter = {diameter:g} must be more than 0; correct it")
    medium = None if index in (0.0, 1.0) else (index, None)
    return Row(line, curvature=curvature_of(radius), thickness=thickness, medium=medium, semi=diameter / 2.0)


def _after_air(description: Description, row: Row) -> bool:
    """Whether air lies ahead of a row."""
    k = next(k for k, other in enumerate(description.rows) if other is row)
    return k == 0 or description.rows[k - 1].medium is None


def _headed(description: Description, remarks: list[str]) -> None:
    """The name and the source from the remarks, without the heading of the columns."""
    useful = [remark for remark in remarks if not re.search(r"(?i)radius|aperture\s*$", remark)]
    if useful:
        description.name = useful[0]
        description.source = "; ".join(useful[1:])


def write_dat(prescription: Prescription, setting: str | None = None) -> str:
    """The lens table of a prescription at a setting (the first by default), as text. Raises DocumentError.

    Refused are aspheric surfaces and surfaces without a semi-diameter: the table has no place for the one, and no
    blank for the other. Indices are those at the d line.
    """
    chosen = _chosen(prescription, setting)
    changed = prescription.setting[chosen].thickness if prescription.setting else {}
    what = f"prescription {shown(prescription.name)}"
    lines = [f"# {prescription.name}", "# radius\tthickness\tindex\taperture diameter"]
    if prescription.source:
        lines.insert(1, f"# {' '.join(prescription.source.split())}")
    for k, surface in enumerate(prescription.surface, start=1):
        if (surface.conic != 0 and not surface.is_flat) or any(surface.aspheric):
            raise DocumentError(
                f"{what}: surface {k} is aspheric, which a .dat lens table cannot hold; write TOML instead."
            )
        semi = surface.semi_diameter
        if surface.stop and prescription.setting:
            semi = prescription.setting[chosen].stop_semi_diameter or semi
        if semi is None:
            raise DocumentError(f"{what}: surface {k} has no semi_diameter, which a .dat lens table needs; add it.")
        thickness = changed.get(str(k), surface.thickness)
        if thickness is None:
            raise DocumentError(f"{what}: surface {k} has no thickness to the image; add it, .dat lens tables need it.")
        lines.append("\t".join(_number(value) for value in (_radius(surface), thickness, _index(surface), 2 * semi)))
    return "\n".join(lines) + "\n"


def _chosen(prescription: Prescription, setting: str | None) -> int:
    names = [entry.name for entry in prescription.setting]
    if setting is None:
        return 0
    if setting not in names:
        raise DocumentError(
            f"prescription {shown(prescription.name)} has no setting {shown(setting)}; "
            f"it has {', '.join(names) if names else 'none'}."
        )
    return names.index(setting)


def _radius(surface: Surface) -> float:
    """The radius as the table holds it: 0 is the stop, so a plane of glass gets a very long one."""
    curvature = surface.vertex_curvature
    if curvature == 0:
        return 0.0 if surface.stop else FLAT_RADIUS
    return surface.radius if surface.radius else 1.0 / curvature


def _index(surface: Surface) -> float:
    medium: GlassOrIndex = surface.glass if surface.glass is not None else (surface.index, surface.abbe)
    return index_of(medium)


def _number(value: float) -> str:
    return f"{value:.12g}"
