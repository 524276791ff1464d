"""The surroundings document: what shines on the front glass from outside the frame, and from where.

Brightness is relative: luminances in any one unit, illuminances in that unit times steradians (cd/m2 and lux, say).
Azimuth is measured from the way the lens points, positive to the right; elevation from the horizon upwards.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shadewright.model.base import Name, Part, Version

BRIGHTEST = 1e12
"""No brightness may exceed this: beyond it a unit has been mistaken."""

Brightness = Annotated[float, Field(ge=0, le=BRIGHTEST)]
"""A luminance or an illuminance, zero allowed."""
Elevation = Annotated[float, Field(ge=-90, le=90)]
"""Degrees above the horizon."""
Azimuth = Annotated[float, Field(ge=-180, le=180)]
"""Degrees to the right of the way the lens points."""


class SkyKind(StrEnum):
    """How the brightness of the sky is spread."""

    EVEN = "even"  # the same everywhere
    OVERCAST = "overcast"  # three times as bright at the zenith as at the horizon
    CLEAR = "clear"  # brightest round the sun


class SkyPart(Part):
    """The sky above the horizon."""

    kind: SkyKind = Field(default=SkyKind.OVERCAST, strict=False)
    zenith: Brightness = 1.0
    """Luminance straight overhead."""


class SunPart(Part):
    """The sun."""

    elevation: Annotated[float, Field(ge=0, le=90)]
    azimuth: Azimuth
    illuminance: Brightness
    """On a plane that faces it."""


class GroundPart(Part):
    """The ground below the horizon, lit evenly by sky and sun."""

    reflectance: Annotated[float, Field(ge=0, le=1)]
    """Share of the light that it sends back: grass about 0.2, fresh snow about 0.8."""


class PanePart(Part):
    """A bright patch: a window, a lit wall, a light table. Degrees."""

    name: Name = "window"
    left: Azimuth
    """Azimuth of its left edge."""
    right: Azimuth
    bottom: Elevation
    """Elevation of its lower edge."""
    top: Elevation
    luminance: Brightness

    @model_validator(mode="after")
    def _has_area(self) -> PanePart:
        if self.right <= self.left:
            raise ValueError("right must be more than left, both in degrees from -180 to 180")
        if self.top <= self.bottom:
            raise ValueError("top must be more than bottom, both in degrees from -90 to 90")
        return self


class SourcePart(Part):
    """A small lamp, placed by elevation and azimuth or by its angle off the lens's axis and a clock angle. Degrees."""

    name: Name = "lamp"
    elevation: Elevation | None = None
    azimuth: Azimuth | None = None
    off_axis: Annotated[float, Field(ge=0, le=180)] | None = None
    """Angle between the lamp and the lens's axis."""
    clock: Annotated[float, Field(ge=0, le=360)] | None = None
    """Way in which it stands off the axis: 0 above, 90 right, 180 below, as seen from behind the camera."""
    size: Annotated[float, Field(ge=0, le=20)] = 0.0
    """Its diameter as seen from the lens; 0 for a point."""
    illuminance: Brightness
    """On a plane that faces it, at the lens."""

    @model_validator(mode="after")
    def _placed_once(self) -> SourcePart:
        world = [self.elevation is not None, self.azimuth is not None]
        axis = [self.off_axis is not None, self.clock is not None]
        if not ((all(world) and not any(axis)) or (all(axis) and not any(world))):
            raise ValueError("a source needs elevation and azimuth, or else off_axis and clock; give one of the pairs")
        return self


class Surroundings(Part):
    """What shines from outside the frame, as its document describes it."""

    document: Literal["surroundings"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    lens_elevation: Elevation = 0.0
    """How far the lens points above the horizon."""
    around: Brightness = 0.0
    """Luminance of everything that nothing below describes: the walls of a room, a dark hall."""
    frame_luminance: Brightness | None = None
    """Mean luminance within the frame; left out: as the surroundings are there."""
    sky: SkyPart | None = None
    sun: SunPart | None = None
    ground: GroundPart | None = None
    pane: tuple[PanePart, ...] = Field(default=(), max_length=50, strict=False)
    """Bright patches; a later one lies over an earlier."""
    source: tuple[SourcePart, ...] = Field(default=(), max_length=500, strict=False)

    @model_validator(mode="after")
    def _shines(self) -> Surroundings:
        amounts = [self.around, self.sky.zenith if self.sky else 0.0, self.sun.illuminance if self.sun else 0.0]
        amounts += [pane.luminance for pane in self.pane] + [source.illuminance for source in self.source]
        if not any(amount > 0 for amount in amounts):
            raise ValueError("nothing shines here; give around, [sky], [sun], [[pane]] or [[source]] a brightness above 0")
        if self.sky is not None and self.sky.kind is SkyKind.CLEAR and self.sun is None:
            raise ValueError('a sky of kind "clear" is brightest round the sun; add [sun]')
        return self


__all__ = [
    "GroundPart", "PanePart", "SkyKind", "SkyPart", "SourcePart", "SunPart", "Surroundings",
]  # fmt: skip
