"""What every document shares: strict frozen models and bounded number types (mm, degrees, stops)."""

from __future__ import annotations

import json
import math
from itertools import islice
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

LONGEST = 3000.0
"""No length in a document may exceed this many mm: beyond it a unit has been mistaken."""
LONGEST_SHOWN = 60
"""Characters of a value that a message shows."""


def shown(value: object) -> str:
    """A value in one line, written as in a document and cut short where it is long; for messages."""
    text = _written(value)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and value.bit_length() > 64:
        return f"a whole number of about {round(value.bit_length() * math.log10(2))} digits"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        quoted = json.dumps(value[:LONGEST_SHOWN], ensure_ascii=False)
        return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in quoted)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_written(entry) for entry in islice(value, LONGEST_SHOWN))}]"
    if isinstance(value, dict):
        pairs = islice(value.items(), LONGEST_SHOWN)
        return f"{{ {', '.join(f'{key_shown(key)} = {_written(entry)}' for key, entry in pairs)} }}"
    return str(value)


def key_shown(key: str) -> str:
    """A field's name in one line: bare where it may be, else in quotes; for messages."""
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum() and len(key) <= LONGEST_SHOWN
    return key if bare else shown(key)


def _only_version(value: object) -> object:
    """Refuse what merely equals 1, such as true or 1.0: a version is written as it is."""
    if type(value) is not int or value != 1:
        raise ValueError("must be 1, the only version there is")
    return value


Version = Annotated[Literal[1], BeforeValidator(_only_version)]
"""The version of a kind of document."""
Length = Annotated[float, Field(gt=0, le=LONGEST)]
"""A positive length in mm."""
LengthOrZero = Annotated[float, Field(ge=0, le=LONGEST)]
"""A length in mm that may be zero."""
Offset = Annotated[float, Field(ge=-LONGEST, le=LONGEST)]
"""A signed distance in mm."""
FrameLength = Annotated[float, Field(ge=1, le=500)]
"""One side of a frame in mm."""
FNumber = Annotated[float, Field(ge=0.5, le=128)]
Stops = Annotated[float, Field(ge=0, le=4)]
Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=120,
        pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*[^\x00-\x1f\x7f-\x9f\u2028\u2029\s][^\x00-\x1f\x7f-\x9f\u2028\u2029]*$",
    ),
]
"""A name on one line: it is printed, drawn and written into comments."""


class Part(BaseModel):
    """A table of a document: frozen, unknown keys refused, numbers finite, no silent conversion."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, use_attribute_docstrings=True, ser_json_inf_nan="null"
    )
