"""What the API takes: JSON read with limits, and the requests as models. Lengths in mm, angles in degrees."""

from __future__ import annotations

import json
import re
from enum import StrEnum
from typing import Annotated, Any, NoReturn, TypeVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from shadewright.errors import DocumentError
from shadewright.model.base import key_shown, shown

MOST_BYTES = 2_000_000
"""Largest JSON body, in bytes."""
DEEPEST = 16
MOST_VALUES = 300_000
_TEXT = re.compile(rb'"(?:[^"\\]|\\.)*+"', re.DOTALL)
_NO_BRACKET = bytes(code for code in range(256) if chr(code) not in "[]{}")
Request = TypeVar("Request", bound="Wire")


class Wire(BaseModel):
    """A request: unknown keys refused, numbers finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, use_attribute_docstrings=True)


Finite = Annotated[float, Field(strict=True)]
Tree = dict[str, Any]


class Design(Wire):
    """A lens, a camera and a hood, each as its document's fields; the hood may be wishes alone."""

    lens: Tree
    camera: Tree
    hood: Tree | None = None
    """Left out: the default wishes."""
    mesh: Annotated[str, Field(max_length=64)] | None = None
    """The name that an uploaded STL was given, where `hood.rim.stl` stands for it."""


class At(Wire):
    """A setting of the lens."""

    zoom: Annotated[Finite, Field(ge=-1000, le=1000)] = 0.0
    """Place among the listed focal lengths, counted from 0; held within the lens's range."""
    focus: Annotated[Finite, Field(ge=-1000, le=1000)] = 0.0
    """Place among the listed focus distances, from the farthest."""
    f_number: Annotated[Finite, Field(gt=0, le=1000)] | None = None
    """Left out: the widest; held within the lens's range."""


class Alter(Wire):
    """What a hand does to the rim before it is looked at."""

    moved: Annotated[Finite, Field(ge=-1000, le=1000)] = 0.0
    """The whole rim moved forward, mm."""
    rim: Annotated[list[tuple[Finite, Finite]], Field(min_length=8, max_length=4000)] | None = None
    """[azimuth, z] instead of the hood's own rim."""


class Part(StrEnum):
    """The parts of an answer."""

    SENSOR = "sensor"
    RIM = "rim"
    SECTION = "section"
    SKY = "sky"
    SOLID = "solid"
    NUMBERS = "numbers"


class Hints(Wire):
    """How fine the parts are worth being."""

    columns: Annotated[int, Field(ge=5, le=161)] = 61
    rows: Annotated[int, Field(ge=5, le=161)] = 41
    cells: Annotated[int, Field(ge=5, le=121)] = 61
    plane: Annotated[Finite, Field(ge=-360, le=360)] = 90.0
    """Azimuth of the first plane of the section, degrees."""


class Look(Wire):
    """A look at a design at one setting."""

    design: Design
    at: At = At()
    alter: Alter = Alter()
    want: Annotated[list[Part], Field(min_length=1, max_length=12)] = [Part.SENSOR, Part.RIM, Part.NUMBERS]
    hints: Hints = Hints()


class OfDesign(Wire):
    """A question about a design."""

    design: Design
    with_margin: bool = False
    """For a check: judge with the hood document's margin added."""


class JobKind(StrEnum):
    """What can be worked on in the background."""

    FIT = "fit"
    CHECK = "check"
    WEIGH = "weigh"
    MAKE = "make"
    SHOW = "show"
    REPORT = "report"


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


class JobOptions(Wire):
    """What a job may be told beside its design."""

    paper: Paper = Paper.A4
    fit_ring: bool = False
    """For make: only the ring to try the seat with."""
    fast: bool = False
    """For weigh: direct light alone."""
    step: bool = False
    """For make: also an exact solid for CAD programs, where its library is installed."""


class NewJob(Wire):
    """A job to begin."""

    kind: JobKind
    design: Design
    options: JobOptions = JobOptions()


class Text(Wire):
    """The text of a document."""

    text: Annotated[str, Field(max_length=1_000_000)]
    prescription: Tree | None = None
    """The prescription document that a lens's text names by its file."""


class LensFile(Wire):
    """A file that describes a lens by its surfaces."""

    name: Annotated[str, Field(min_length=1, max_length=255)]
    """Its name; the ending helps to tell what it is."""
    content: Annotated[str, Field(max_length=1_900_000)]
    """Its bytes in Base64."""


class OneDocument(Wire):
    """A document's fields."""

    document: Tree
    heading: Annotated[str, Field(max_length=2000)] = ""
    """Written above it as a remark."""


def read_json(body: bytes) -> Any:
    """A JSON body within limits. Raises DocumentError."""
    if body.count(b",") > MOST_VALUES or _depth(body) > DEEPEST:
        raise DocumentError("the request is nested too deeply or holds too many values; send less.")
    try:
        tree = json.loads(body.decode("utf-8"), parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise DocumentError(f"the request is not UTF-8 text (byte {error.start + 1}); send JSON as UTF-8.") from None
    except json.JSONDecodeError as error:
        raise DocumentError(f"the request is not JSON at character {error.pos + 1}; send JSON.") from None
    except (RecursionError, ValueError):
        raise DocumentError("the request is nested too deeply or holds a number that none may be; send less.") from None
    return tree


def _depth(body: bytes) -> int:
    """How deep lists and tables are nested, whatever the texts hold."""
    brackets = np.frombuffer(_TEXT.sub(b"", body).translate(None, _NO_BRACKET), np.uint8)
    return int(np.max(np.cumsum(np.where((brackets == ord("[")) | (brackets == ord("{")), 1, -1)), initial=0))


def _no_constant(name: str) -> NoReturn:
    raise ValueError(name)


def read_request(body: bytes, kind: type[Request]) -> Request:
    """A request of a kind from a JSON body. Raises DocumentError with one sentence."""
    tree = read_json(body)
    try:
        return kind.model_validate(tree)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(key_shown(str(part)) for part in first["loc"]) or "the request"
        if first["type"] == "missing":
            raise DocumentError(f"{where} is missing; add it.") from None
        if first["type"] == "extra_forbidden":
            raise DocumentError(f"{where} is not a field of this request; take it out.") from None
        says = first["msg"][:1].lower() + first["msg"][1:]
        raise DocumentError(f"{where} = {shown(first.get('input'))}: {says}; correct it.") from None
