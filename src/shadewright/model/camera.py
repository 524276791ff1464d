"""The camera document: the frame a hood must stay out of."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from shadewright.model.base import FrameLength, LengthOrZero, Name, Part, Version, shown
from shadewright.model.formats import FORMATS

RATIO_PATTERN = re.compile(r"^(\d{1,3}(?:\.\d{1,3})?):(\d{1,3}(?:\.\d{1,3})?)$")


class Orientation(StrEnum):
    """How the frame lies relative to the mark on the lens that the hood is aligned to."""

    LANDSCAPE = "landscape"  # the long side lies across
    PORTRAIT = "portrait"  # the long side stands upright
    BOTH = "both"  # the frame turns behind the lens, the hood does not


def ratio_value(text: str) -> float:
    """Width over height of an aspect ratio such as "16:9". Raises ValueError."""
    found = RATIO_PATTERN.match(text)
    if not found or float(found.group(1)) == 0 or float(found.group(2)) == 0:
        raise ValueError('must be an aspect ratio such as "16:9"')
    ratio = float(found.group(1)) / float(found.group(2))
    if not 0.1 <= ratio <= 10:
        raise ValueError("must be an aspect ratio between 1:10 and 10:1")
    return ratio


class Crop(Part):
    """A part of the frame that the camera can record alone, centred."""

    name: Name
    frame: tuple[FrameLength, FrameLength] = Field(strict=False)


class Camera(Part):
    """A camera as its document describes it. Lengths in mm."""

    document: Literal["camera"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    format: str | None = None
    frame: tuple[FrameLength, FrameLength] | None = Field(default=None, strict=False)
    crop: tuple[Crop, ...] = Field(default=(), max_length=20, strict=False)
    masks: tuple[str, ...] = Field(default=(), max_length=20, strict=False)
    """Aspect ratios that pictures may be delivered in, such as "16:9"."""
    stabiliser_travel: Annotated[LengthOrZero, Field(le=20)] = 0.0
    """How far the sensor may move to any side, mm."""
    orientation: Orientation = Field(default=Orientation.LANDSCAPE, strict=False)

    @field_validator("format")
    @classmethod
    def _known(cls, value: str | None) -> str | None:
        if value is not None and value not in FORMATS:
            raise ValueError("must be one of " + ", ".join(sorted(FORMATS)) + "; or give frame = [width, height]")
        return value

    @field_validator("masks")
    @classmethod
    def _ratios(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for text in value:
            try:
                ratio_value(text)
            except ValueError as error:
                raise ValueError(f"holds {shown(text)}, which {error}") from None
        return value

    @model_validator(mode="after")
    def _one_frame(self) -> Camera:
        if (self.format is None) == (self.frame is None):
            raise ValueError('give either format, such as "135", or frame = [width, height] in mm, and not both')
        width, height = self.full_frame
        names = [crop.name for crop in self.crop]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"crop lists {shown(name)} twice; give each crop a name of its own")
        for crop in self.crop:
            if crop.frame[0] > width + 1e-9 or crop.frame[1] > height + 1e-9:
                raise ValueError(
                    f"crop {shown(crop.name)} is larger than the frame of {width:g} x {height:g} mm; "
                    "give its own size in mm"
                )
        return self

    @property
    def full_frame(self) -> tuple[float, float]:
        """Width and height of the whole frame in mm."""
        if self.frame is not None:
            return self.frame
        assert self.format is not None
        entry = FORMATS[self.format]
        return entry.width, entry.height

    def used_frame(self, *, crop: str | None = None, mask: str | None = None) -> tuple[float, float]:
        """Width and height in mm of the part of the frame in use: a crop mode, masked to a delivery ratio.

        Raises ValueError where the camera has no such crop or mask.
        """
        width, height = self.full_frame
        if crop is not None:
            names = {entry.name: entry.frame for entry in self.crop}
            if crop not in names:
                known = ", ".join(sorted(names)) or "none"
                raise ValueError(f"crop {shown(crop)} is not in camera {shown(self.name)} (it has: {known})")
            width, height = names[crop]
        if mask is not None:
            if mask not in self.masks:
                known = ", ".join(self.masks) or "none"
                raise ValueError(f"mask {shown(mask)} is not in camera {shown(self.name)} (it has: {known})")
            ratio = ratio_value(mask)
            width, height = min(width, height * ratio), min(height, width / ratio)
        return width, height
