"""What the measuring questions take: documents as their fields, and uploaded photographs under the names that the documents use."""

from __future__ import annotations

import re
from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from shadewright.web.wire import Design, Finite, Tree, Wire

MOST_NAMED = 200
_FRAME = re.compile(r"[0-9a-f]{24}")
_FILE = re.compile(r"[^\W_][\w .()+-]{0,119}")


def _frame(value: str) -> str:
    """Raises ValueError for what the bench never gave as a name."""
    if not _FRAME.fullmatch(value):
        raise ValueError("must be a name that /api/frames gave; send the photograph first")
    return value


def _file(value: str) -> str:
    """A file's name that leads nowhere else. Raises ValueError."""
    if not _FILE.fullmatch(value) or ".." in value:
        raise ValueError('must be a plain file name of letters, digits, ".", "-", "_" and spaces, such as "bare-1.tif"')
    return value


FrameId = Annotated[str, Field(max_length=64, json_schema_extra={"pattern": "^[0-9a-f]{24}$"}), AfterValidator(_frame)]
FileName = Annotated[
    str, Field(min_length=1, max_length=120, json_schema_extra={"pattern": r"^[A-Za-z0-9][A-Za-z0-9_ ()+-]*(\.[A-Za-z0-9]+)?$"}), AfterValidator(_file)
]
Photographs = Annotated[dict[FileName, FrameId], Field(min_length=1, max_length=MOST_NAMED)]
"""Which upload stands for each file that a shots document names."""
Chance = Annotated[Finite, Field(ge=0.5, le=0.9999)]


class OfPupil(Wire):
    """Photographs of an even wall, bare and with tubes on the lens: `measure pupil`."""

    kind: ClassVar[str] = "pupil"
    lens: Tree
    camera: Tree
    shots: Tree
    """The fields of a shots document with tubes and settings."""
    frames: Photographs
    confidence: Chance = 0.95


class OfProof(Wire):
    """Pairs of photographs without a finished hood and with it: `measure proof`."""

    kind: ClassVar[str] = "proof"
    design: Design
    shots: Tree
    """The fields of a shots document with bare and with_hood frames."""
    frames: Photographs
    allowance: Annotated[Finite, Field(ge=0, le=4)] | None = None
    """Loss allowed, stops; left out: the hood document's."""


class OfStrip(Wire):
    """A photograph of a paper strip on the printed sheet: `measure strip`."""

    kind: ClassVar[str] = "strip"
    frame: FrameId
    file: FileName
    diameter: Annotated[Finite, Field(gt=0, le=1000)]
    """Of the hood where the strip was wrapped, mm."""
    inner_diameter: Annotated[Finite, Field(gt=0, le=1000)] | None = None
    """Inside, at the rim, mm; left out: the diameter less 4 mm."""
    edge: Annotated[Finite, Field(ge=-500, le=500)] = 0.0
    """How far the strip's straight edge lay ahead of the seat plane, mm."""
    check_line: Annotated[Finite, Field(gt=0, le=1000)] = 100.0
    """What the sheet's line of 100 mm measures as printed, mm."""
    name: Annotated[str, Field(min_length=1, max_length=120)] = "Traced hood"


class OfTubes(Wire):
    """Which tubes to cut for a lens: `measure tubes`."""

    kind: ClassVar[str] = "tubes"
    lens: Tree
    camera: Tree
    count: Annotated[int, Field(ge=1, le=4)] = 2
    focal_length: Annotated[Finite, Field(ge=1, le=3000)] | None = None
    """The state to choose for, mm; left out: the first."""
    inner_diameter: Annotated[Finite, Field(ge=5, le=1000)] | None = None
    """Left out: the lens's seat, mm."""
    thickness: Annotated[Finite, Field(ge=0.1, le=5)] = 0.5
    """Of the card, mm."""
    seat_length: Annotated[Finite, Field(ge=0, le=100)] = 10.0
    """How far a tube reaches back over the barrel, mm."""


class OfSheet(Wire):
    """The sheet that a strip is laid on: `measure target`."""

    kind: ClassVar[str] = "sheet"


class OfReadings(Wire):
    """Readings by a pin, a rail or a ruler: `measure parallax`."""

    shots: Tree
    """The fields of a shots document with pin, rail or ruler readings."""
    camera: Tree | None = None
    """Needed for a ruler."""
    lens: Tree | None = None
    """To be completed."""
    confidence: Chance = 0.95


Measuring = OfPupil | OfProof | OfStrip | OfTubes | OfSheet
"""What is measured as a job."""
