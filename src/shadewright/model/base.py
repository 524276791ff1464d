"""What every document shares: strict frozen models and bounded number types (mm, degrees, stops)."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

LONGEST = 3000.0
"""No length in a document may exceed this many mm: beyond it a unit has been mistaken."""

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
Name = Annotated[str, Field(min_length=1, max_length=120)]


class Part(BaseModel):
    """A table of a document: frozen, unknown keys refused, numbers finite, no silent conversion."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, ser_json_inf_nan="null"
    )
