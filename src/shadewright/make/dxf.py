"""A flat template as DXF (AutoCAD 2010 text form) in millimetres, one layer per kind of line."""

from __future__ import annotations

import io
import re
import textwrap
from pathlib import Path

import ezdxf
from ezdxf import units
from ezdxf.enums import TextEntityAlignment

from shadewright.files import write_whole
from shadewright.make.pieces import CAUTIONS, CHECK_TEXT, Align, FlatTemplate, LineKind, one_line

LAYERS: dict[LineKind, tuple[str, int, str]] = {
    LineKind.CUT: ("CUT", 7, "CONTINUOUS"),
    LineKind.FOLD: ("FOLD", 5, "FOLD_DASH"),
    LineKind.MARK: ("MARK", 3, "MARK_DASHDOT"),
}
"""Layer name, colour number and line type of each kind of line."""
TEXT_LAYER = "TEXT"
ALIGNMENTS = {
    Align.START: TextEntityAlignment.LEFT,
    Align.MIDDLE: TextEntityAlignment.CENTER,
    Align.END: TextEntityAlignment.RIGHT,
}
PATTERNS = {
    "FOLD_DASH": ("fold: dash, gap", [6.0, 4.0, -2.0]),
    "MARK_DASHDOT": ("mark: dash, gap, dot, gap", [10.0, 6.0, -1.5, 1.0, -1.5]),
}
"""Line types: what they are, then total length and dashes (gaps negative) in mm."""


def dxf_bytes(template: FlatTemplate, *, label: str) -> bytes:
    """The template as a DXF document, the same bytes for the same template."""
    document = ezdxf.new("R2010", setup=False, units=units.MM)
    document.header["$MEASUREMENT"] = 1
    for name, (description, pattern) in PATTERNS.items():
        document.linetypes.add(name, pattern, description=description)
    for name, colour, linetype in LAYERS.values():
        document.layers.add(name, color=colour, linetype=linetype)
    document.layers.add(TEXT_LAYER, color=8)
    space = document.modelspace()
    for kind, (layer, _, _) in LAYERS.items():
        for line in template.lines(kind):
            space.add_lwpolyline(line.points, close=line.closed, dxfattribs={"layer": layer})
    for text in template.text:
        entity = space.add_text(
            _signs(text.text), height=text.height, rotation=text.angle, dxfattribs={"layer": TEXT_LAYER}
        )
        entity.set_placement((text.x, text.y), align=ALIGNMENTS[text.align])
    _add_footer(space, template, label)
    stream = io.StringIO()
    document.write(stream)
    return document.encode(_without_moment(stream.getvalue()))


def write_dxf(path: Path, template: FlatTemplate, *, label: str) -> Path:
    """Write the template as DXF. Raises FileError."""
    return write_whole(path, dxf_bytes(template, label=label))


def _signs(text: str) -> str:
    """A text with the diameter and degree signs in DXF's own codes."""
    return one_line(text).replace("%%", "% %").replace("\u00d8", "%%c").replace("\u00b0", "%%d")


def _add_footer(space: ezdxf.layouts.Modelspace, template: FlatTemplate, label: str) -> None:
    """Check line, label, notes and cautions below the pieces."""
    mark = {"layer": LAYERS[LineKind.MARK][0], "linetype": "CONTINUOUS"}
    y = -10.0
    space.add_line((0.0, y), (100.0, y), dxfattribs=mark)
    for x in range(0, 101, 10):
        size = 2.0 if x % 100 == 0 else 1.0
        space.add_line((x, y - size), (x, y + size), dxfattribs=mark)
    per_row = int(max(template.width, 190.0) / 2.0)
    texts = (label, *template.notes, *CAUTIONS)
    rows = [CHECK_TEXT, *(row for text in texts for row in textwrap.wrap(one_line(text), per_row))]
    for k, row in enumerate(rows):
        entity = space.add_text(_signs(row), height=2.2, dxfattribs={"layer": TEXT_LAYER})
        entity.set_placement((0.0, y - 6.0 - 4.0 * k))


def _without_moment(text: str) -> str:
    """DXF text with the moment of writing and random identifiers made constant, so that files compare."""
    for name in ("TDCREATE", "TDUCREATE", "TDUPDATE", "TDUUPDATE"):
        text = re.sub(r"(\$" + name + r"\n *40\n)[^\n]*", r"\g<1>2451544.5", text)
    for name in ("VERSIONGUID", "FINGERPRINTGUID"):
        text = re.sub(r"(\$" + name + r"\n *2\n)[^\n]*", r"\g<1>{00000000-0000-0000-0000-000000000000}", text)
    return re.sub(r"( @ )\d{4}-\d\d-\d\dT[^\n]*", r"\g<1>2000-01-01T00:00:00+00:00", text)
