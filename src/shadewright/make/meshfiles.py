"""Mesh files: binary STL and 3MF written so that they read back as the same closed mesh, and both read again.

Mesh files are right-handed; seat coordinates (x right, y up, z forward as seen from behind the camera) are
not. In a file x therefore points to the left as seen from behind the camera, which is to the right for
somebody who looks at the lens from the front; y is up and z forward in both. Writers and readers turn x
round, and with it every triangle.

STL follows its customary layout: 80 bytes of header, a count, and 50 bytes for each triangle, 32-bit numbers
with the lowest byte first. 3MF follows the open 3MF Core Specification: a zip package of content types, a
relationship to the model, and the model in XML with unit, metadata, one mesh object and one build item.
"""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import FileError, MakeError
from shadewright.files import MESH_LIMIT, read_limited, write_whole
from shadewright.make.solid import Solid, is_closed, merged
from shadewright.model.shape import Array, MeshHood

MOST_TRIANGLES = 2_000_000
"""Most triangles read from a file."""
LARGEST = 3000.0
"""Largest coordinate read, mm; a hood beyond it is not in millimetres."""
SMALLEST_SPAN = 1.0
"""Smallest extent read, mm; a hood below it is not in millimetres."""

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_CONTENT = "http://schemas.openxmlformats.org/package/2006/content-types"
_MODEL_PLACE = "3D/3dmodel.model"
_UNITS = {
    "micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip
_UNPRINTABLE = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def turned_round(vertices: Array, faces: NDArray[np.int64]) -> tuple[Array, NDArray[np.int64]]:
    """A mesh from seat to file coordinates or the other way: x negated, triangles listed the other way round."""
    return vertices * (-1.0, 1.0, 1.0) + 0.0, faces[:, ::-1]


# --- STL ----------------------------------------------------------------------------------------------------


def stl_bytes(solid: Solid) -> bytes:
    """The solid as a binary STL file. Raises MakeError where it would not read back closed."""
    vertices, faces = turned_round(solid.vertices, solid.faces)
    corners = vertices.astype(np.float32)[faces]
    wide = corners.astype(float)
    normal = np.cross(wide[:, 1] - wide[:, 0], wide[:, 2] - wide[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    records = np.zeros(len(faces), dtype=_RECORD)
    records["normal"] = np.where(length > 0, normal / np.where(length > 0, length, 1.0), 0.0)
    records["corners"] = corners
    title = f"binary mesh, mm, seat plane z = 0, z forward, y up: {solid.name}"
    header = title.encode("ascii", "replace")[:80].ljust(80)
    content = header + np.uint32(len(faces)).astype("<u4").tobytes() + records.tobytes()
    _check_same(solid, _stl_mesh(content, solid.name), "STL")
    return content


def write_stl(path: Path, solid: Solid) -> Path:
    """Writes `solid` as binary STL. Raises MakeError or FileError; nothing half-written is left behind."""
    return write_whole(path, stl_bytes(solid))


def _check_same(solid: Solid, mesh: MeshHood, kind: str) -> None:
    """Raises MakeError unless `mesh`, as read back, is closed and has the solid's triangles."""
    if len(mesh.faces) != len(solid.faces) or not is_closed(mesh.faces):
        raise MakeError(
            f"{solid.name}: the {kind} file would not read back as one closed surface; "
            "make the solid again with another number of facets."
        )


def read_stl(path: Path) -> MeshHood:
    """The mesh of an STL file, binary or text, in seat coordinates, equal corners made one. Raises FileError."""
    return _stl_mesh(read_limited(path, MESH_LIMIT), str(path))


def _stl_mesh(content: bytes, name: str) -> MeshHood:
    if len(content) >= 84:
        count = int(np.frombuffer(content, "<u4", 1, 80)[0])
        if len(content) == 84 + 50 * count:
            _check_count(count, name)
            records = np.frombuffer(content, _RECORD, count, 84)
            return _mesh_of(records["corners"].astype(float).reshape(-1, 3), name)
    if content[:5].lower() == b"solid":
        return _mesh_of(_text_corners(content, name), name)
    if len(content) < 84:
        raise FileError(f"{name}: {len(content)} bytes are too few for an STL file; export the mesh again.")
    raise FileError(
        f"{name}: its header announces {count} triangles, which need {84 + 50 * count} bytes, but it has "
        f"{len(content)}; the file is cut short or not STL: export the mesh again."
    )


def _text_corners(content: bytes, name: str) -> Array:
    """Corners (3 n, 3) of a text STL. Raises FileError."""
    rows: list[list[bytes]] = []
    facets = 0
    for number, line in enumerate(content.lower().splitlines(), start=1):
        words = line.split()
        if not words:
            continue
        if words[0] == b"facet":
            facets += 1
        elif words[0] == b"vertex":
            if len(words) != 4:
                raise FileError(f"{name}: line {number} should hold a vertex of three numbers; export it again.")
            rows.append(words[1:])
    _check_count(facets, name)
    if len(rows) != 3 * facets:
        raise FileError(
            f"{name}: {facets} facets with {len(rows)} corners; every facet has three: the file is cut short "
            "or not STL, export the mesh again."
        )
    try:
        return np.array(rows, dtype=object).astype(float)
    except ValueError as error:
        raise FileError(f"{name}: a corner is not a number ({error}); export the mesh again.") from error


def _check_count(count: int, name: str) -> None:
    if count == 0:
        raise FileError(f"{name}: it holds no triangles; export the mesh again.")
    if count > MOST_TRIANGLES:
        raise FileError(
            f"{name}: {count} triangles are more than the {MOST_TRIANGLES} that are read; export a coarser mesh."
        )


def _mesh_of(corners: Array, name: str, faces: NDArray[np.int64] | None = None) -> MeshHood:
    """A mesh in seat coordinates from file coordinates, three rows a triangle unless `faces` number them."""
    if not np.all(np.isfinite(corners)):
        raise FileError(f"{name}: a coordinate is not a number or infinite; export the mesh again.")
    largest, span = float(np.abs(corners).max()), float(np.ptp(corners, axis=0).max())
    if largest > LARGEST or span < SMALLEST_SPAN:
        raise FileError(
            f"{name}: it is {span:g} mm across and reaches {largest:g} mm from the origin; a hood is "
            f"{SMALLEST_SPAN:g} to {LARGEST:g} mm: export it in millimetres, seat plane at z = 0."
        )
    if faces is None:
        faces = np.arange(len(corners), dtype=np.int64).reshape(-1, 3)
    vertices, faces = turned_round(corners, faces)
    vertices, faces = merged(vertices, faces)
    if len(faces) == 0:
        raise FileError(f"{name}: none of its triangles has an area; export the mesh again.")
    return MeshHood(vertices, faces)


# --- 3MF ----------------------------------------------------------------------------------------------------


def threemf_bytes(solid: Solid, *, title: str, description: str = "", created: date | None = None) -> bytes:
    """The solid as a 3MF package. The same solid and texts always give the same bytes.

    `created` is written as the creation date; left out, no date is written, since there is none that would be
    both true and the same tomorrow. Raises MakeError where the package would not read back as the same closed
    mesh.
    """
    entries = [
        (
            "[Content_Types].xml",
            f'<Types xmlns="{_CONTENT}">'
            '<Default Extension="rels" '
            'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default '
            'Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
            "</Types>",
        ),
        (
            "_rels/.rels",
            f'<Relationships xmlns="{_RELATIONS}">'
            f'<Relationship Id="rel0" Target="/{_MODEL_PLACE}" Type="{_MODEL_TYPE}"/></Relationships>',
        ),
        (_MODEL_PLACE, _model_xml(solid, title, description, created)),
    ]
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, text in entries:
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0
            package.writestr(entry, '<?xml version="1.0" encoding="UTF-8"?>\n' + text, compresslevel=6)
    content = stream.getvalue()
    _check_same(solid, _threemf_mesh(content, solid.name), "3MF")
    return content


def write_3mf(
    path: Path, solid: Solid, *, title: str, description: str = "", created: date | None = None
) -> Path:  # fmt: skip
    """Writes `solid` as 3MF. Raises MakeError or FileError; nothing half-written is left behind."""
    return write_whole(path, threemf_bytes(solid, title=title, description=description, created=created))


def _model_xml(solid: Solid, title: str, description: str, created: date | None) -> str:
    vertices, faces = turned_round(solid.vertices, solid.faces)
    texts = {
        "Title": title,
        "Description": description,
        "CreationDate": created.isoformat() if created else "",
    }
    metadata = "".join(
        f'<metadata name="{name}">{escape(_UNPRINTABLE.sub(" ", text))}</metadata>\n'
        for name, text in texts.items()
        if text
    )
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n' for x, y, z in vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in faces.tolist())
    # The core specification asks for the build in the positive octant: the item is moved there, the mesh is
    # not.
    shift = " ".join(repr(float(value)) for value in 0.0 - vertices.min(axis=0))
    return (
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE}">\n{metadata}<resources>\n'
        '<object id="1" type="model" '
        f'name="{escape(_UNPRINTABLE.sub(" ", solid.name), {chr(34): "&quot;"})}">\n'
        f"<mesh>\n<vertices>\n{points}</vertices>\n<triangles>\n{triangles}</triangles>\n</mesh>\n</object>\n"
        '</resources>\n<build>\n<item objectid="1" transform="1 0 0 0 1 0 0 0 1 '
        f'{shift}"/>\n</build>\n</model>\n'
    )


def read_3mf(path: Path) -> MeshHood:
    """The one mesh of a 3MF package in seat coordinates; the build item's place on the bed is not applied.

    Raises FileError.
    """
    return _threemf_mesh(read_limited(path, MESH_LIMIT), str(path))


def _threemf_mesh(content: bytes, name: str) -> MeshHood:
    model = _parsed(_package_part(content, name), name)
    unit = model.get("unit", "millimeter")
    if unit not in _UNITS:
        raise FileError(f'{name}: unit "{unit}" is not one of {", ".join(sorted(_UNITS))}; export it again.')
    items = model.findall(f"{{{_CORE}}}build/{{{_CORE}}}item")
    objects = {entry.get("id"): entry for entry in model.findall(f"{{{_CORE}}}resources/{{{_CORE}}}object")}
    if len(items) != 1 or items[0].get("objectid") not in objects:
        raise FileError(f"{name}: it builds {len(items)} objects; a hood is one object: export that one alone.")
    _check_upright(items[0].get("transform"), name)
    mesh = objects[items[0].get("objectid")].find(f"{{{_CORE}}}mesh")
    if mesh is None:
        raise FileError(f"{name}: its object is put together from others; export it as one plain mesh.")
    vertices = _attributes(mesh, "vertices/vertex", ("x", "y", "z"), name)
    faces = _attributes(mesh, "triangles/triangle", ("v1", "v2", "v3"), name)
    _check_count(len(faces), name)
    whole = faces.astype(np.int64)
    if len(vertices) == 0 or np.any(whole != faces) or whole.min() < 0 or whole.max() >= len(vertices):
        raise FileError(f"{name}: a triangle names a corner that does not exist; export the mesh again.")
    return _mesh_of(vertices * _UNITS[unit], name, whole)


def _package_part(content: bytes, name: str) -> bytes:
    """The XML of the package's model, found by its relationship. Raises FileError."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            relations = _parsed(_entry(package, "_rels/.rels", name), name)
            targets = [entry.get("Target", "") for entry in relations if entry.get("Type") == _MODEL_TYPE]
            if len(targets) != 1:
                raise FileError(f"{name}: the package names {len(targets)} models, not one; export it again.")
            return _entry(package, targets[0].lstrip("/"), name)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise FileError(f"{name}: is not a readable 3MF package ({error}); export it again.") from error


def _entry(package: zipfile.ZipFile, place: str, name: str) -> bytes:
    """One file of the package, within the limit. Raises FileError."""
    try:
        entry = package.getinfo(place)
    except KeyError as error:
        raise FileError(f"{name}: the package has no {place}; export it again as 3MF.") from error
    with package.open(entry) as stream:
        text = stream.read(MESH_LIMIT + 1)
    if len(text) > MESH_LIMIT:
        raise FileError(f"{name}: {place} unpacks to more than {MESH_LIMIT / 1e6:g} MB; export a coarser mesh.")
    return text


def _parsed(text: bytes, name: str) -> ElementTree.Element:
    """The root of an XML text without document type, which could hide expanding entities. Raises FileError."""
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text or text[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise FileError(f"{name}: its XML has a document type or is not UTF-8; 3MF allows neither: export it again.")
    try:
        return ElementTree.fromstring(text)
    except ElementTree.ParseError as error:
        raise FileError(f"{name}: its XML cannot be read ({error}); export it again.") from error


def _check_upright(transform: str | None, name: str) -> None:
    """Raises FileError where the build item turns or scales the object; a shift is let pass."""
    try:
        values = [float(word) for word in (transform or "1 0 0 0 1 0 0 0 1 0 0 0").split()]
    except ValueError as error:
        raise FileError(f"{name}: its transform is not made of numbers ({error}); export it again.") from error
    if len(values) != 12 or values[:9] != [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]:
        raise FileError(f"{name}: its object is turned or scaled when built; export it upright and in full size.")


def _attributes(mesh: ElementTree.Element, place: str, names: tuple[str, str, str], name: str) -> Array:
    """Three numeric attributes (n, 3) of every element at `place` below the mesh. Raises FileError."""
    outer, inner = place.split("/")
    elements = mesh.findall(f"{{{_CORE}}}{outer}/{{{_CORE}}}{inner}")
    a, b, c = names
    try:
        rows = [(float(e.attrib[a]), float(e.attrib[b]), float(e.attrib[c])) for e in elements]
    except (KeyError, ValueError) as error:
        raise FileError(f"{name}: a {inner} lacks a number ({error}); export the mesh again.") from error
    values = np.array(rows, dtype=float).reshape(-1, 3)
    if not np.all(np.isfinite(values)):
        raise FileError(f"{name}: a {inner} holds a value that is not a number or infinite; export it again.")
    return values
