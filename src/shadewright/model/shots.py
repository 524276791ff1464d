"""The shots document: which frames show an even wall with what on the lens, and what was read off a ruler."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator, model_validator

from shadewright.model.base import FNumber, Length, Name, Offset, Part, Version, shown

TUBE_PLAY = 0.1
"""How well a tube's inside diameter and length are known when the document does not say, mm (common practice, no source)."""
FOCAL_PLAY = 3.0
"""How far a focal length may be from its marking, per cent (common practice, no source)."""


def _file_name(value: str) -> str:
    """A file beside the document or in a folder below it. Raises ValueError."""
    path = PurePosixPath(value)
    if not value.isprintable() or "\\" in value or path.is_absolute() or ".." in path.parts or path.as_posix() != value:
        raise ValueError('must name a file beside this document or in a folder below it, such as "frames/bare-1.tif"')
    return value


FrameFile = Annotated[str, Field(min_length=1, max_length=255), AfterValidator(_file_name)]
"""The name of a frame's file, beside the document or below it."""
Frames = Annotated[tuple[FrameFile, ...], Field(max_length=500, strict=False)]
"""Frames of the same thing, averaged."""


class Tube(Part):
    """A plain tube that goes on the lens's seat. Lengths in mm."""

    name: Name
    inner_diameter: Length
    length: Length
    """How far its open end stands ahead of the seat plane."""
    inner_diameter_plus_minus: Annotated[float, Field(ge=0, le=10)] = TUBE_PLAY
    length_plus_minus: Annotated[float, Field(ge=0, le=10)] = TUBE_PLAY


class TubeShots(Part):
    """Frames with one tube on the lens."""

    tube: Name
    """The tube's name."""
    frames: Annotated[Frames, Field(min_length=1)]
    bare: Frames = ()
    """Frames without it, taken right before or after; left out: the setting's."""


class ShotSetting(Part):
    """One setting of the lens, the camera on a tripod in front of an evenly lit wall."""

    focal_length: Annotated[float, Field(ge=1, le=3000)]
    focal_length_plus_minus: Annotated[float, Field(ge=0, le=25)] = FOCAL_PLAY
    """How far the focal length may be from its marking, per cent."""
    f_number: FNumber
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    """Distance from the front rim to the subject that is in focus, mm."""
    reach: Annotated[float, Field(ge=-1000, le=1000)] | None = None
    """How far the front rim stands ahead of the seat plane, mm; left out: the lens document's."""
    bare: Frames = ()
    """Frames with nothing on the lens."""
    stopped_down: Frames = ()
    """Frames with nothing on the lens, at a small aperture: they tell the lens's own windows from the wall's light."""
    stopped_down_f_number: FNumber | None = None
    with_tube: tuple[TubeShots, ...] = Field(default=(), max_length=20, strict=False)
    with_hood: Frames = ()
    """Frames with the finished hood on, for its proof."""

    @model_validator(mode="after")
    def _complete(self) -> ShotSetting:
        if (self.stopped_down == ()) != (self.stopped_down_f_number is None):
            raise ValueError("stopped_down and stopped_down_f_number belong together; give both or neither")
        if self.stopped_down_f_number is not None and self.stopped_down_f_number < 2 * self.f_number:
            raise ValueError("stopped_down_f_number must be at least twice f_number; stop down by two stops or more")
        if self.with_hood and not self.bare:
            raise ValueError("with_hood needs bare frames to be compared with; add bare")
        for entry in self.with_tube:
            if not entry.bare and not self.bare:
                raise ValueError(f"with_tube for {shown(entry.tube)} has no bare frames to be compared with; add bare")
        return self


class PinReadings(Part):
    """Depths of the pupil read by parallax: along the axis from the front rim back to a pin that moves with it."""

    focal_length: Annotated[float, Field(ge=1, le=3000)]
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    depths: Annotated[tuple[Offset, ...], Field(min_length=1, max_length=200, strict=False)]
    """Each reading, mm behind the front rim plane."""
    scale_plus_minus: Annotated[float, Field(ge=0, le=20)] = 0.5
    """How well the ruler's zero is set against the front rim, mm: it does not average out."""


class RailReadings(Part):
    """Positions of the camera on a rail at which a near and a far upright no longer part when the camera is swung."""

    focal_length: Annotated[float, Field(ge=1, le=3000)]
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    front_over_axis: Offset
    """The rail's reading with the front rim plane over the axis of the swing, mm."""
    readings: Annotated[tuple[Offset, ...], Field(min_length=1, max_length=200, strict=False)]
    """The rail's reading at each setting-up in which nothing parts, mm, rising as the camera moves forward."""
    scale_plus_minus: Annotated[float, Field(ge=0, le=20)] = 0.5
    """How well front_over_axis is known, mm: it does not average out."""


class RulerView(Part):
    """How much of a ruler across the view is seen at one distance. Lengths in mm."""

    distance: Length
    """From the front rim plane to the ruler, along the axis."""
    width: Length
    """What the ruler shows from one edge of the frame to the other."""


class RulerReadings(Part):
    """A ruler across the middle of the view at several distances: the field widens from the pupil on."""

    focal_length: Annotated[float, Field(ge=1, le=3000)]
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    view: Annotated[tuple[RulerView, ...], Field(min_length=2, max_length=200, strict=False)]
    width_plus_minus: Annotated[float, Field(gt=0, le=50)] = 1.0
    """How well a width is read off, mm."""
    distance_plus_minus: Annotated[float, Field(ge=0, le=50)] = 0.5
    """How well a distance is measured, mm."""
    across: Literal["width", "height"] = "width"
    """Which side of the frame the ruler lies along."""


class Shots(Part):
    """Frames and readings taken of one lens on one camera. Lengths in mm, angles in degrees."""

    document: Literal["shots"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    tube: tuple[Tube, ...] = Field(default=(), max_length=20, strict=False)
    setting: tuple[ShotSetting, ...] = Field(default=(), max_length=200, strict=False)
    pin: tuple[PinReadings, ...] = Field(default=(), max_length=200, strict=False)
    rail: tuple[RailReadings, ...] = Field(default=(), max_length=200, strict=False)
    ruler: tuple[RulerReadings, ...] = Field(default=(), max_length=200, strict=False)

    @field_validator("tube")
    @classmethod
    def _named_once(cls, value: tuple[Tube, ...]) -> tuple[Tube, ...]:
        names = [tube.name for tube in value]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"lists {shown(name)} twice; give each tube a name of its own")
        return value

    @model_validator(mode="after")
    def _known_tubes(self) -> Shots:
        known = {tube.name for tube in self.tube}
        for place, setting in enumerate(self.setting, start=1):
            for entry in setting.with_tube:
                if entry.tube not in known:
                    raise ValueError(
                        f"setting[{place}].with_tube names {shown(entry.tube)}, which is no tube of this document; "
                        "list it under [[tube]] with its inner_diameter and length"
                    )
        if not (self.setting or self.pin or self.rail or self.ruler):
            raise ValueError("nothing was measured; add [[setting]] with frames, or [[pin]], [[rail]] or [[ruler]] readings")
        return self

    def tube_named(self, name: str) -> Tube:
        """The tube of that name, which the document is known to list."""
        return next(tube for tube in self.tube if tube.name == name)
