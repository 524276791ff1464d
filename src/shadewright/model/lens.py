"""The lens document: what a technician measures on a lens, state by state."""

from __future__ import annotations

import re
from enum import StrEnum
from itertools import combinations
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from shadewright.model.base import FNumber, Length, LengthOrZero, Name, Offset, Part, Version, shown
from shadewright.model.prescription import Prescription

LONGEST_PUPIL = 3000.0
THREAD_PATTERN = re.compile(r"^M(\d{1,3}(?:\.\d{1,2})?)x(\d(?:\.\d{1,2})?)$")


class SeatPlace(StrEnum):
    """What the hood is located on."""

    BARREL = "barrel"  # the fixed barrel: the front moves inside the hood
    FRONT = "front"  # the moving front: the hood travels with it
    THREAD = "thread"  # the filter thread: accessories carry the hood forward


class Projection(StrEnum):
    """How image height r follows from the field angle θ."""

    RECTILINEAR = "rectilinear"  # r = f tan θ
    STEREOGRAPHIC = "stereographic"  # r = 2 f tan(θ/2)
    EQUIDISTANT = "equidistant"  # r = f θ
    EQUISOLID = "equisolid"  # r = 2 f sin(θ/2)
    ORTHOGRAPHIC = "orthographic"  # r = f sin θ
    MEASURED = "measured"  # r = f τ (1 + c1 τ² + c2 τ⁴ + …), τ = tan θ


def thread_size(text: str) -> tuple[float, float]:
    """Nominal diameter and pitch in mm of a metric thread such as "M77x0.75". Raises ValueError."""
    found = THREAD_PATTERN.match(text)
    if not found:
        raise ValueError('must be a metric thread such as "M77x0.75" (diameter x pitch in mm)')
    diameter, pitch = float(found.group(1)), float(found.group(2))
    if not 10 <= diameter <= 250:
        raise ValueError("must have a diameter from 10 to 250 mm")
    if not 0.25 <= pitch <= 2:
        raise ValueError("must have a pitch from 0.25 to 2 mm")
    return diameter, pitch


class Front(Part):
    """The front of the barrel."""

    rim_diameter: Length
    """Outside diameter of the front rim, mm."""
    clear_diameter: Length | None = None
    """Diameter of the glass that is seen from the front, mm. Left out: estimated from the rim."""
    clear_depth: Annotated[float, Field(ge=0, le=200)] | None = None
    """How far the edge of that glass lies behind the front rim plane, mm. Left out: estimated on the safe side."""
    filter_thread: str | None = None
    turns: bool = False
    """True where the front turns while focusing or zooming."""

    @field_validator("filter_thread")
    @classmethod
    def _thread(cls, value: str | None) -> str | None:
        if value is not None:
            thread_size(value)
        return value

    @model_validator(mode="after")
    def _inside(self) -> Front:
        if self.clear_diameter is not None and self.clear_diameter > self.rim_diameter:
            raise ValueError("clear_diameter cannot exceed rim_diameter: measure the glass, not the ring round it")
        return self


class Seat(Part):
    """Where a hood is located on the lens."""

    on: SeatPlace = Field(default=SeatPlace.BARREL, strict=False)
    diameter: Length | None = None
    """Outside diameter of the cylinder that a hood grips, mm."""


class Mapping(Part):
    """How the lens maps field angle to image height."""

    kind: Projection = Field(default=Projection.RECTILINEAR, strict=False)
    coefficients: tuple[float, ...] = Field(default=(), max_length=8, strict=False)
    """For kind "measured": c1, c2, … of r = f τ (1 + c1 τ² + c2 τ⁴ + …), τ the tangent of the field angle."""

    @model_validator(mode="after")
    def _coefficients(self) -> Mapping:
        if (self.kind is Projection.MEASURED) != bool(self.coefficients):
            raise ValueError('coefficients belong to kind = "measured" and to no other; give both or neither')
        return self


Wander = Annotated[float, Field(ge=-1000, le=1000)]
"""A coefficient of the pupil's movement with field angle, mm."""


class Window(Part):
    """A circular aperture imaged into object space."""

    depth: Offset
    """Distance behind the front rim plane, mm; negative when ahead of it."""
    radius: Length
    decentre: tuple[Offset, Offset] = Field(default=(0.0, 0.0), strict=False)
    """Position of the centre, mm right and up as the viewer sees the subject."""


class StateStabiliser(Part):
    """How far the lens's own stabiliser moves the image and the windows, mm in any direction."""

    image: LengthOrZero = 0.0
    pupil: LengthOrZero = 0.0


class State(Part):
    """One setting of the lens."""

    focal_length: Annotated[float, Field(ge=1, le=3000)]
    f_number: FNumber
    smallest_f_number: FNumber | None = None
    """The aperture stopped down furthest; left out: f/22, or the widest where that is smaller still."""
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    """Distance from the front rim to the subject, mm."""
    reach: Annotated[float, Field(ge=-1000, le=1000)] | None = None
    """How far the front rim stands ahead of the seat plane, mm; negative where it sits behind."""
    pupil_depth: Annotated[float, Field(ge=-1000, le=LONGEST_PUPIL)] | None = None
    """Depth of the entrance pupil behind the front rim plane, mm."""
    pupil_depth_plus_minus: Annotated[float, Field(ge=0, le=500)] = 0.0
    """Uncertainty of pupil_depth, mm: the rim is safe over the whole interval."""
    pupil_wander: tuple[Wander, Wander] = Field(default=(0.0, 0.0), strict=False)
    """How the pupil moves with the field angle θ: w1 tan²θ + w2 tan⁴θ is added to pupil_depth, mm; negative moves it forward."""
    image_distance: Length | None = None
    """What divides image height to give slope, mm; left out: the focal length, the safe value."""
    rear_window: Window | None = None
    windows: tuple[Window, ...] = Field(default=(), max_length=8, strict=False)
    """Further windows beyond pupil, front rim and rear."""
    pupil_decentre: tuple[Offset, Offset] = Field(default=(0.0, 0.0), strict=False)
    shift: tuple[Annotated[float, Field(ge=0, le=100)], Annotated[float, Field(ge=0, le=100)]] = Field(
        default=(0.0, 0.0), strict=False
    )
    """Travel of a shift movement to either side and up or down, mm at the frame."""
    stabiliser: StateStabiliser = StateStabiliser()

    @model_validator(mode="after")
    def _apertures(self) -> State:
        if self.smallest_f_number is not None and self.smallest_f_number < self.f_number:
            raise ValueError(
                "smallest_f_number is the aperture stopped down furthest, so it cannot be below f_number"
            )
        return self

    @model_validator(mode="after")
    def _centred(self) -> State:
        windows = (*self.windows, *((self.rear_window,) if self.rear_window is not None else ()))
        off = any(self.pupil_decentre) or any(any(window.decentre) for window in windows)
        if any(self.pupil_wander) and off:
            raise ValueError("pupil_wander belongs to a lens whose windows are centred; give it or decentre, not both")
        return self


class Placement(Part):
    """Where a lens that is known by its prescription stands on its seat at one of the prescription's settings."""

    setting: Name
    """The name of a setting of the prescription; "nominal" where it lists none."""
    vertex_reach: Annotated[float, Field(ge=-1000, le=1000)] | None = None
    """How far the vertex of the front glass stands ahead of the seat plane, mm; negative where it lies behind."""
    smallest_f_number: FNumber | None = None
    """The aperture stopped down furthest; left out: f/22, or the widest where that is smaller still."""
    shift: tuple[Annotated[float, Field(ge=0, le=100)], Annotated[float, Field(ge=0, le=100)]] = Field(
        default=(0.0, 0.0), strict=False
    )
    """Travel of a shift movement to either side and up or down, mm at the frame."""
    image_travel: LengthOrZero = 0.0
    """How far the lens's own stabiliser moves the image, mm in any direction."""


class Lens(Part):
    """A lens as its document describes it. Lengths in mm, angles in degrees.

    Either measured, state by state, or traced: a prescription and where it stands on the seat.
    """

    document: Literal["lens"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    front: Front
    seat: Seat = Seat()
    projection: Mapping = Mapping()
    image_circle: Length | None = None
    """Diameter of the image circle, mm: beyond it no light of the lens falls."""
    state: tuple[State, ...] = Field(default=(), max_length=200, strict=False)
    """The settings of a measured lens, at least one."""
    prescription: Prescription | None = None
    """The surfaces of a traced lens: the name of a prescription document beside this one, or the document itself."""
    placement: tuple[Placement, ...] = Field(default=(), max_length=200, strict=False)
    """The settings of a traced lens, at least one."""

    @model_validator(mode="after")
    def _measured_or_traced(self) -> Lens:
        if self.prescription is None:
            if self.placement:
                raise ValueError("placement belongs to a lens with a prescription; add prescription, or list state instead")
            if not self.state:
                raise ValueError(
                    "state is missing or empty (state = []); a measured lens has at least 1 [[state]] table with focal_length and "
                    "f_number"
                )
            return self
        if self.state:
            raise ValueError("state and prescription are both given: a traced lens lists [[placement]], a measured one [[state]]")
        if not self.placement:
            raise ValueError("placement is missing; add a [[placement]] table for each setting of the prescription")
        names = [setting.name for setting in self.prescription.setting] or ["nominal"]
        for place, entry in enumerate(self.placement, start=1):
            if entry.setting not in names:
                raise ValueError(
                    f"placement[{place}].setting = {shown(entry.setting)} is no setting of the prescription; "
                    f"use one of {', '.join(shown(name) for name in sorted(names))}"
                )
        if len({entry.setting for entry in self.placement}) < len(self.placement):
            raise ValueError("placement lists a setting twice; keep one of them")
        return self

    @model_validator(mode="after")
    def _distinct(self) -> Lens:
        for first, second in combinations(self.state, 2):
            if _same(first.focal_length, second.focal_length) and _same(
                first.focus_distance, second.focus_distance
            ):
                focus = second.focus_distance
                focused = f"{focus:g} mm" if isinstance(focus, float) else focus
                raise ValueError(
                    f"state lists {second.focal_length:g} mm focused at {focused} twice; keep one of them"
                )
        return self


def _same(first: float | str, second: float | str) -> bool:
    """Whether two settings are too close to be interpolated between, or equal."""
    if isinstance(first, str) or isinstance(second, str):
        return first == second
    return abs(first - second) <= 1e-6 * max(first, second)
