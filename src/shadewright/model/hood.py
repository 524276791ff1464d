"""The hood document: wishes before `fit`, a finished description after it, or a hood measured by hand."""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from shadewright.model.base import Length, LengthOrZero, Name, Offset, Part, Stops, Version
from shadewright.model.lens import thread_size


class WallShape(StrEnum):
    """The inner surface of the hood."""

    TUBE = "tube"
    CONE = "cone"
    STEPPED = "stepped"
    TUNNEL = "tunnel"


class RimShape(StrEnum):
    """The curve in which the wall ends."""

    PETAL = "petal"  # the most shade that can be made
    DEEPEST = "deepest"  # the edge of the keep-out itself
    PLAIN = "plain"  # the same depth all round
    SQUARE_CUT = "square-cut"  # lobes with straight tops and straight sides
    TUNNEL = "tunnel"  # four lips of a rectangular tunnel


class Symmetry(StrEnum):
    """Which reflections a petal rim must share."""

    FRAME = "frame"  # left-right and up-down
    LEFT_RIGHT = "left-right"
    HALF_TURN = "half-turn"  # fits either way up
    QUARTER_TURN = "quarter-turn"  # four equal lobes
    NONE = "none"


class SeatKind(StrEnum):
    """How the hood holds on to the lens."""

    SLIP_ON = "slip-on"
    CLAMP = "clamp"
    THREAD = "thread"


class Fit(StrEnum):
    """How tightly a slip-on seat holds: diametral play in mm is in `FIT_PLAY`."""

    LOOSE = "loose"
    SLIDING = "sliding"
    SNUG = "snug"


FIT_PLAY: dict[Fit, float] = {Fit.LOOSE: 0.4, Fit.SLIDING: 0.2, Fit.SNUG: 0.05}
"""Inside diameter of a slip-on seat less the diameter it grips, mm (common practice, no source)."""


class Step(Part):
    """From `z` on (mm ahead of the seat plane) the inside diameter is `diameter` mm."""

    z: Offset
    diameter: Length


class WallPart(Part):
    """The inner surface: give what belongs to its shape. All lengths in mm."""

    shape: WallShape = Field(default=WallShape.TUBE, strict=False)
    inner_diameter: Length | None = None
    """Tube: inside diameter."""
    near_diameter: Length | None = None
    """Cone: inside diameter at the seat plane (z = 0)."""
    far_diameter: Length | None = None
    """Cone: inside diameter at `far_z`."""
    far_z: Length | None = None
    steps: tuple[Step, ...] = Field(default=(), max_length=50, strict=False)
    """Stepped: inside diameter from each z forward, in order."""
    inner_width: Length | None = None
    """Tunnel: inside width."""
    inner_height: Length | None = None

    @model_validator(mode="after")
    def _complete(self) -> WallPart:
        belongs = {
            WallShape.TUBE: ("inner_diameter",),
            WallShape.CONE: ("near_diameter", "far_diameter", "far_z"),
            WallShape.STEPPED: ("steps",),
            WallShape.TUNNEL: ("inner_width", "inner_height"),
        }
        needed = belongs[self.shape]
        for name in needed:
            if not getattr(self, name):
                raise ValueError(f'a wall of shape "{self.shape}" needs {" and ".join(needed)}')
        for shape, names in belongs.items():
            for name in names:
                if shape is not self.shape and getattr(self, name):
                    raise ValueError(f'{name} belongs to shape "{shape}", not to "{self.shape}"; take one out')
        positions = [step.z for step in self.steps]
        if any(b <= a for a, b in pairwise(positions)):
            raise ValueError("steps must be listed from the seat forward, each z larger than the one before")
        return self


class Lips(Part):
    """Depth of the four lips of a tunnel, mm ahead of the seat plane."""

    right: Offset
    top: Offset
    left: Offset
    bottom: Offset


class MeasuredPetals(Part):
    """Rim heights read with a ruler, mm ahead of the seat plane, at the four sides and four corners."""

    right: Offset
    top: Offset
    left: Offset
    bottom: Offset
    corners: Offset
    """The lowest height between two lobes, taken alike at all four corners."""
    valley_width: Annotated[float, Field(ge=4, le=90)] | None = None
    """Width of each valley between two lobes at its top, degrees; outside it the lobes are level. Left out: the heights are
    joined by a smooth wave, which is lower than a hood with level lobes."""
    corner_azimuth: Annotated[float, Field(gt=5, lt=85)] = 35.0
    """Azimuth of the top right corner's lowest point, degrees from the right side upwards."""


class RimPart(Part):
    """The rim: asked for by its shape alone, or given by exactly one of the other fields."""

    shape: RimShape = Field(default=RimShape.PETAL, strict=False)
    points: tuple[tuple[float, float], ...] = Field(default=(), max_length=20_000, strict=False)
    """[azimuth in degrees, z in mm ahead of the seat plane], azimuth ascending within 0 to 360."""
    depth: Offset | None = None
    """A plain rim's z, mm ahead of the seat plane."""
    lips: Lips | None = None
    petals: MeasuredPetals | None = None
    stl: str | None = Field(default=None, max_length=255)
    """File name, beside this document, of the hood's mesh: seat plane at z = 0, z forward, y up and, since mesh files
    are right-handed, x to the left as seen from behind the camera; mm."""

    @field_validator("points", mode="before")
    @classmethod
    def _pairs(cls, value: object) -> object:
        if isinstance(value, list | tuple):
            return tuple(tuple(pair) if isinstance(pair, list | tuple) else pair for pair in value)
        return value

    @field_validator("points")
    @classmethod
    def _ordered(cls, value: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        if not value:
            return value
        if len(value) < 8:
            raise ValueError("must list at least 8 points round the rim")
        angles = [pair[0] for pair in value]
        if angles[0] < 0 or angles[-1] > 360:
            raise ValueError("must have azimuths ascending from 0 to at most 360 degrees")
        for before, after in pairwise(angles):
            if after <= before:
                raise ValueError(f"must have azimuths ascending, but {before:g} is followed by {after:g} degrees")
        if angles[-1] - angles[0] >= 360:
            raise ValueError("must not list both 0 and 360 degrees: they are the same place")
        for before, after in pairwise([*angles, angles[0] + 360]):
            if after - before > 60:
                raise ValueError(
                    "must not leave a gap of more than 60 degrees between neighbouring points, "
                    f"but none stands between {before:g} and {after:g}"
                )
        if any(abs(pair[1]) > 3000 for pair in value):
            raise ValueError("must keep z within 3000 mm of the seat plane")
        return value

    @model_validator(mode="after")
    def _one_way(self) -> RimPart:
        given = [name for name in ("points", "depth", "lips", "petals", "stl") if getattr(self, name) not in (None, ())]
        if len(given) > 1:
            raise ValueError(f"the rim is given twice, by {' and '.join(given)}; keep one of them")
        return self

    @property
    def given(self) -> bool:
        """True where the rim is known: fitted, measured, traced or a mesh."""
        return bool(self.points) or any(v is not None for v in (self.depth, self.lips, self.petals, self.stl))


class Wishes(Part):
    """What the rim should respect. Lengths in mm."""

    allowance: Stops = 0.0
    """Worst loss allowed anywhere in the frame, stops; 0 means clear."""
    largest_length: Length = 150.0
    """No part of the rim further ahead of the seat plane than this."""
    fillet_radius: Annotated[float, Field(ge=0, le=50)] = 4.0
    """Smallest radius between lobes and at their tips, measured on the unrolled wall."""
    smallest_lobe_width: Annotated[float, Field(ge=0, le=200)] = 15.0
    symmetry: Symmetry = Field(default=Symmetry.FRAME, strict=False)
    stands: bool = True
    """The finished hood stands on its rim on a table."""
    vane_depth: Annotated[float, Field(ge=0, le=50)] = 0.0
    """How far rings inside a round hood stand off its wall; `fit` then lays them out. 0 for none."""


class Margin(Part):
    """How far the keep-out is grown."""

    radial: Annotated[float, Field(ge=0, le=20)] = 0.3
    """Sideways play and error of the windows, mm."""
    axial: Annotated[float, Field(ge=0, le=20)] = 0.3
    """Play of the seat along the axis, mm."""
    rotation: Annotated[float, Field(ge=0, le=45)] = 1.0
    """Rotational play of the mount to either side, degrees."""


class Use(Part):
    """Which part of the camera's frame the hood is for."""

    crop: str | None = None
    mask: str | None = None


class Accessory(Part):
    """A filter or step ring between lens and hood, listed from the lens forward. Lengths in mm."""

    name: Name
    thickness: Annotated[float, Field(gt=0, le=200)]
    """How far it stands ahead of what it is screwed to."""
    clear_diameter: Length
    """Inside diameter of its front edge."""
    outer_diameter: Length

    @model_validator(mode="after")
    def _inside(self) -> Accessory:
        if self.clear_diameter >= self.outer_diameter:
            raise ValueError("clear_diameter must be less than outer_diameter: the ring itself has a width")
        return self


class Printer(Part):
    """What the printer does to a part, mm, measured on a test piece."""

    hole_compensation: Annotated[float, Field(ge=-1, le=2)] = 0.2
    """Added to inside diameters of the seat, since printed holes come out small."""
    thread_compensation: Annotated[float, Field(ge=-1, le=2)] = 0.1
    """Taken off every external thread surface, measured on the diameter."""
    first_layer_spread: Annotated[float, Field(ge=0, le=1)] = 0.2
    """How far the first layer squeezes out; a chamfer of this size is cut at the edge on the bed."""


class OwnFinish(Part):
    """A finish that the maker has measured, or has a measurement of."""

    name: Name
    reflectance: Annotated[float, Field(gt=0, le=0.98)]
    """Share of light, falling straight on, that it sends back into all directions: what a sphere photometer calls total or
    specular-included reflectance, in visible light."""
    mirror: Annotated[float, Field(ge=0, le=0.3)] = 0.0
    """Share of light straight on that is mirrored: total less specular-excluded reflectance."""
    index: Annotated[float, Field(ge=1.2, le=3)] = 1.5
    """Refractive index of its skin, by which the mirrored share grows towards grazing."""
    low: Annotated[float, Field(ge=0, le=1)] | None = None
    high: Annotated[float, Field(ge=0, le=1)] | None = None
    """Range of the reflectance to be expected from piece to piece; left out: as measured."""
    source: Annotated[str, Field(min_length=3, max_length=400)]
    """Who measured it and how."""

    @model_validator(mode="after")
    def _possible(self) -> OwnFinish:
        skin = ((self.index - 1) / (self.index + 1)) ** 2
        if self.mirror > skin + 1e-9:
            raise ValueError(
                f"mirror = {self.mirror:g} is more than a skin of index {self.index:g} mirrors straight on, {skin:.4f}; "
                "correct mirror or index."
            )
        if self.mirror > self.reflectance:
            raise ValueError(f"mirror = {self.mirror:g} is part of reflectance = {self.reflectance:g} and cannot be more; correct it.")
        low = self.reflectance if self.low is None else self.low
        high = self.reflectance if self.high is None else self.high
        if not low <= self.reflectance <= high:
            raise ValueError(f"reflectance = {self.reflectance:g} must lie from low = {low:g} to high = {high:g}; correct them.")
        return self


class VanePart(Part):
    """A ring inside a round hood, its edge sharp: it hides the wall behind it. Lengths in mm."""

    z: Offset
    """Where its edge stands, ahead of the seat plane."""
    inner_diameter: Length


class Ridges(Part):
    """A ridged wall: rings of one depth, evenly spaced, standing inwards from a round wall. Lengths in mm."""

    pitch: Annotated[float, Field(ge=0.6, le=50)]
    """From one ridge to the next."""
    depth: Annotated[float, Field(ge=0.2, le=20)]
    """How far each stands in from the wall."""
    flank: Annotated[float, Field(ge=20, le=50)] = 45.0
    """Angle of the rear flank to the axis, degrees: the overhang of a print that stands on its seat. The front flank is flat."""
    near: Offset | None = None
    """No ridge further back than this, ahead of the seat plane; left out: as far back as its flank has room."""
    front: Offset | None = None
    """Where the foremost ridge stands, ahead of the seat plane; `fit` writes it. Left out: the deepest place of the rim."""

    @model_validator(mode="after")
    def _in_order(self) -> Ridges:
        if self.near is not None and self.front is not None and self.near > self.front:
            raise ValueError("ridges.near must not lie ahead of ridges.front; exchange them")
        return self


LEAST_GROOVE = 0.4
"""Least opening between the edges of two ridges, mm (common practice, no source)."""


class Build(Part):
    """How the hood is made. Lengths in mm."""

    thickness: Annotated[float, Field(ge=0.4, le=10)] = 2.0
    seat: SeatKind = Field(default=SeatKind.SLIP_ON, strict=False)
    fit: Fit = Field(default=Fit.SLIDING, strict=False)
    seat_diameter: Length | None = None
    """Diameter that the seat grips; left out: the lens's."""
    seat_length: Annotated[float, Field(ge=2, le=100)] = 12.0
    """How far the seat reaches back over the barrel, or the length of the thread."""
    thread: str | None = None
    """For a threaded seat, such as "M77x0.75"; left out: the lens's filter thread."""
    finish: Name | None = None
    """Finish of the inside, by its name in the table of finishes or among the document's own; left out: the finish that
    weighing assumes."""
    rim_rounding: Annotated[float, Field(ge=0, le=5)] = 0.6
    """Radius of the rounded edges of the rim."""
    ring_edge: Annotated[float, Field(ge=0.2, le=2)] = 0.45
    """Thickness of a vane's or ridge's edge, along the axis: one line of a 0.4 mm nozzle (common practice, no source)."""
    index_mark: bool = True
    """A mark on the outside that shows which lobe is up."""
    printer: Printer = Printer()

    @field_validator("thread")
    @classmethod
    def _thread(cls, value: str | None) -> str | None:
        if value is not None:
            thread_size(value)
        return value


class Hood(Part):
    """A hood as its document describes it. Lengths in mm, angles in degrees."""

    document: Literal["hood"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    made_for: str = Field(default="", max_length=400)
    """The lens and camera that the rim was fitted to; written by `fit`."""
    wall: WallPart | None = None
    """Left out: a tube round the seat and the front, with room for play."""
    rim: RimPart = RimPart()
    wishes: Wishes = Wishes()
    margin: Margin = Margin()
    use: Use = Use()
    accessory: tuple[Accessory, ...] = Field(default=(), max_length=10, strict=False)
    build: Build = Build()
    vane: tuple[VanePart, ...] = Field(default=(), max_length=200, strict=False)
    """Rings inside the hood, from the front rearwards; written by `fit` where `wishes.vane_depth` asks for them."""
    finish: tuple[OwnFinish, ...] = Field(default=(), max_length=20, strict=False)
    """Finishes besides those of the table, for `build.finish` to name and `weigh` to compare."""
    ridges: Ridges | None = None
    """A ridged wall; `fit` then says how far forward ridges stand clear."""

    @model_validator(mode="after")
    def _matching(self) -> Hood:
        names = [part.name for part in self.finish]
        if len(set(names)) < len(names):
            raise ValueError("finish: two of the document's finishes have the same name; rename one.")
        tunnel_wall = self.wall is not None and self.wall.shape is WallShape.TUNNEL
        if self.rim.lips is not None and not tunnel_wall:
            raise ValueError('rim.lips belong to a wall of shape "tunnel"; give the wall that shape, or take them out')
        if tunnel_wall and (self.rim.points or self.rim.petals or self.rim.depth is not None):
            raise ValueError('a wall of shape "tunnel" takes rim.lips, not points, petals or depth')
        if self.rim.shape is RimShape.TUNNEL and self.wall is not None and not tunnel_wall:
            raise ValueError('rim.shape = "tunnel" needs a wall of shape "tunnel", or no wall at all')
        if (self.vane or self.wishes.vane_depth > 0) and (tunnel_wall or self.rim.shape is RimShape.TUNNEL):
            raise ValueError("vanes stand in round hoods only; take them out of a tunnel")
        if self.ridges is not None and (tunnel_wall or self.rim.shape is RimShape.TUNNEL):
            raise ValueError("ridges stand in round hoods only; take them out of a tunnel")
        if self.ridges is not None and (self.vane or self.wishes.vane_depth > 0):
            raise ValueError("a hood has vanes or ridges, not both; take one of them out")
        if self.ridges is not None and self.ridges.pitch < self.build.ring_edge + LEAST_GROOVE:
            raise ValueError(
                f"ridges.pitch = {self.ridges.pitch:g} leaves no groove between edges build.ring_edge = {self.build.ring_edge:g} "
                f"thick; give at least {self.build.ring_edge + LEAST_GROOVE:g}"
            )
        if any(b.z >= a.z for a, b in pairwise(self.vane)):
            raise ValueError("vanes must be listed from the front rearwards, each z smaller than the one before")
        return self


__all__ = [
    "FIT_PLAY", "LEAST_GROOVE", "Accessory", "Build", "Fit", "Hood", "LengthOrZero", "Lips", "Margin", "MeasuredPetals", "Printer",
    "Ridges", "RimPart", "RimShape", "SeatKind", "Step", "Symmetry", "Use", "VanePart", "WallPart", "WallShape", "Wishes",
]  # fmt: skip
