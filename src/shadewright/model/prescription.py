"""The prescription document: a lens as its table of surfaces, with the settings of a zoom or of focusing."""

from __future__ import annotations

import math
from collections import Counter
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from shadewright.model.base import LONGEST, FNumber, Length, Name, Offset, Part, Version, shown
from shadewright.model.glass import known_glass

MOST_SURFACES = 200
MOST_ASPHERIC = 8
"""Aspheric coefficients of one surface, of r^4 to r^18."""
LARGEST_RADIUS = 1e7
SMALLEST_RADIUS = 0.01
SHORTEST_WAVE, LONGEST_WAVE = 300.0, 2500.0
"""The range of wavelengths that a prescription may name, nm."""

Index = Annotated[float, Field(ge=1, le=4.5)]
Abbe = Annotated[float, Field(ge=10, le=150)]
SemiDiameter = Annotated[float, Field(gt=0, le=1000)]


class Surface(Part):
    """One surface of a lens, in order from the subject; the thickness of the last one leads to the image."""

    radius: Annotated[float, Field(ge=-LARGEST_RADIUS, le=LARGEST_RADIUS)] | None = None
    """Radius of curvature, mm; positive when the centre lies behind the surface, towards the image. 0 or left out: plane."""
    curvature: Annotated[float, Field(ge=-1 / SMALLEST_RADIUS, le=1 / SMALLEST_RADIUS)] | None = None
    """1/mm, instead of the radius."""
    conic: Annotated[float, Field(ge=-1e6, le=1e6)] = 0.0
    """k of the sag z = c r² / (1 + √(1 - (1 + k) c² r²)) + a4 r⁴ + a6 r⁶ + …; 0 a sphere, -1 a paraboloid."""
    aspheric: tuple[float, ...] = Field(default=(), max_length=MOST_ASPHERIC, strict=False)
    """The coefficients of r⁴, r⁶, r⁸, … in mm to the power that makes each term mm."""
    thickness: Offset | None = None
    """To the next surface along the axis, mm; of the last one to the image, or left out there: to the paraxial focus."""
    glass: str | None = None
    """The medium behind the surface: a named glass. Left out with `index` too: air."""
    index: Index | None = None
    """Refractive index of the medium behind the surface at the d line, 587.56 nm."""
    abbe: Abbe | None = None
    """Abbe number Vd that goes with the index; left out: the same index at all wavelengths."""
    semi_diameter: SemiDiameter | None = None
    """Clear semi-diameter, mm. Left out: estimated, and said so."""
    stop: bool = False
    """True for the aperture stop, exactly one surface."""

    @property
    def is_flat(self) -> bool:
        """Whether the surface is a plane."""
        return not self.radius and not self.curvature and not any(self.aspheric)

    @property
    def is_air(self) -> bool:
        """Whether air follows the surface."""
        return self.glass is None and (self.index is None or self.index == 1.0)

    @property
    def vertex_curvature(self) -> float:
        """Curvature at the axis, 1/mm; 0 for a plane."""
        if self.curvature is not None:
            return self.curvature
        return 1.0 / self.radius if self.radius else 0.0

    def sag(self, r: float) -> float:
        """Depth of the surface behind its vertex at a distance r from the axis, mm; nan beyond its edge."""
        c = self.vertex_curvature
        under = 1.0 - (1.0 + self.conic) * (c * r) ** 2
        if under < -1e-12:
            return math.nan
        powers = sum(a * r ** (4 + 2 * i) for i, a in enumerate(self.aspheric))
        return c * r * r / (1.0 + math.sqrt(max(under, 0.0))) + powers

    @field_validator("radius")
    @classmethod
    def _radius(cls, value: float | None) -> float | None:
        if value and abs(value) < SMALLEST_RADIUS:
            raise ValueError(f"is too small for a lens surface: give 0 for a plane, or at least {SMALLEST_RADIUS} mm")
        return value

    @field_validator("glass")
    @classmethod
    def _glass(cls, value: str | None) -> str | None:
        return None if value is None else known_glass(value)

    @model_validator(mode="after")
    def _consistent(self) -> Surface:
        if self.radius is not None and self.curvature is not None:
            raise ValueError("radius and curvature are both given: keep one of them")
        if self.glass is not None and (self.index is not None or self.abbe is not None):
            raise ValueError("glass and index are both given: keep the name of the glass, or index with abbe")
        if self.abbe is not None and self.index is None:
            raise ValueError("abbe is given without index: add the index at 587.56 nm, or take abbe out")
        self._edge()
        return self

    def _edge(self) -> None:
        """Refuse a surface that does not reach its clear edge, or that runs away before it."""
        semi = self.semi_diameter
        if semi is None or self.is_flat:
            return
        if math.isnan(self.sag(semi)):
            c = self.vertex_curvature
            reaches = 1.0 / math.sqrt((1.0 + self.conic) * c * c)
            raise ValueError(
                f"semi_diameter = {semi:g} is wider than the surface, which ends {reaches:.6g} mm from the axis: "
                "correct the radius, the conic or the semi-diameter"
            )
        deepest = max((abs(self.sag(semi * i / 16)) for i in range(1, 17)), default=0.0)
        if self.aspheric and not deepest <= 2.0 * semi:
            raise ValueError(
                f"aspheric makes the surface {deepest:.3g} mm deep within its semi_diameter of {semi:g} mm: "
                "check the powers of ten, and that the first coefficient is that of r^4"
            )


class PrescriptionSetting(Part):
    """One setting of a prescription: a zoom position, a focus distance, an aperture."""

    name: Name
    """What the setting is called, such as "wide"."""
    thickness: dict[str, Offset] = Field(default_factory=dict)
    """The spacings that this setting changes, mm, by surface number, the first surface being "1"."""
    stop_semi_diameter: SemiDiameter | None = None
    """Clear semi-diameter of the stop, mm; left out: that of the stop's own surface, or from `f_number`."""
    f_number: FNumber | None = None
    """The f-number that the stop is opened to, instead of its semi-diameter."""
    focus_distance: Annotated[float, Field(ge=5, le=1e7)] | Literal["infinity"] = "infinity"
    """Distance from the front vertex to the subject for which the spacings are set, mm."""

    @model_validator(mode="after")
    def _one_aperture(self) -> PrescriptionSetting:
        if self.stop_semi_diameter is not None and self.f_number is not None:
            raise ValueError("stop_semi_diameter and f_number are both given: keep one of them")
        return self


class PrescriptionVignetting(Part):
    """What the source says of the light at the corner; semi-diameters that are left out are estimated from it."""

    share: Annotated[float, Field(ge=0.02, le=1)]
    """Share of the axial beam's area that is left at `image_height`."""
    image_height: Length
    """Distance from the axis in the image, mm: half of the frame's diagonal for which the lens was made."""


class Prescription(Part):
    """A lens as its table of surfaces. Lengths in mm; light goes from the subject through surface 1, 2, …"""

    document: Literal["prescription"]
    version: Version
    name: Name
    notes: str = Field(default="", max_length=10_000)
    source: str = Field(default="", max_length=2_000)
    """Where the numbers are from: a patent and its example, a book and its page."""
    wavelengths: tuple[Annotated[float, Field(ge=SHORTEST_WAVE, le=LONGEST_WAVE)], ...] = Field(
        default=(), max_length=20, strict=False
    )
    """The wavelengths that the lens was made for, nm, the main one first; left out: visible light, 587.56 nm."""
    vignetting: PrescriptionVignetting | None = None
    """What is known of the light at the corner, where semi-diameters are left out."""
    surface: tuple[Surface, ...] = Field(min_length=1, max_length=MOST_SURFACES, strict=False)
    setting: tuple[PrescriptionSetting, ...] = Field(default=(), max_length=200, strict=False)
    """Settings, the first being the one shown; left out: one, as the surfaces stand."""

    @model_validator(mode="after")
    def _stop(self) -> Prescription:
        stops = [k for k, surface in enumerate(self.surface, start=1) if surface.stop]
        if not stops:
            raise ValueError("surface: none is the stop; write stop = true at the aperture stop")
        if len(stops) > 1:
            raise ValueError(f"surface: {_numbers(stops)} are each marked as the stop; keep stop = true at one of them")
        if self.surface[stops[0] - 1].semi_diameter is None:
            if not self.setting:
                raise ValueError(
                    f"surface[{stops[0]}]: nothing says how wide the stop is; give its semi_diameter, or a setting with "
                    "f_number"
                )
            for k, setting in enumerate(self.setting, start=1):
                if setting.f_number is None and setting.stop_semi_diameter is None:
                    raise ValueError(
                        f"setting[{k}]: nothing says how wide the stop is; give f_number or stop_semi_diameter here, or "
                        f"semi_diameter at surface {stops[0]}"
                    )
        return self

    @model_validator(mode="after")
    def _media(self) -> Prescription:
        if not self.surface[-1].is_air:
            raise ValueError(
                f"surface[{len(self.surface)}]: is the last and has glass behind it, but the image must lie in air; "
                "add the surface at which that glass ends"
            )
        if all(surface.is_air for surface in self.surface):
            raise ValueError("surface: none has glass behind it, so this is no lens; give index or glass")
        return self

    @model_validator(mode="after")
    def _settings(self) -> Prescription:
        twice = [name for name, count in Counter(setting.name for setting in self.setting).items() if count > 1]
        if twice:
            raise ValueError(f"setting: two are called {shown(twice[0])}; give each its own name")
        known = {str(number) for number in range(1, len(self.surface) + 1)}
        for k, setting in enumerate(self.setting, start=1):
            for key in setting.thickness:
                if key not in known:
                    raise ValueError(
                        f"setting[{k}].thickness: {shown(key)} is not the number of a surface; "
                        f'there are "1" to "{len(self.surface)}"'
                    )
            missing = set(self.setting[0].thickness) ^ set(setting.thickness)
            if missing:
                raise ValueError(
                    f"setting[{k}].thickness: does not list the same surfaces as setting[1] "
                    f"({_numbers(sorted(int(key) for key in missing))} in one of them only); every setting lists them all"
                )
        return self

    @model_validator(mode="after")
    def _spacings(self) -> Prescription:
        for k, surface in enumerate(self.surface[:-1], start=1):
            if surface.thickness is None and not (self.setting and str(k) in self.setting[0].thickness):
                raise ValueError(f"surface[{k}].thickness is missing; give the distance to surface {k + 1} in mm")
        for number in range(max(1, len(self.setting))):
            self._forwards(number)
        return self

    def _forwards(self, number: int) -> None:
        """Refuse spacings that lead back through a surface that bends light, as a mirror's would."""
        changed = self.setting[number].thickness if self.setting else {}
        bends, travelled, total = 1, 0.0, 0.0
        before: object = True
        for k, surface in enumerate(self.surface, start=1):
            medium = _medium(surface)
            if not (surface.is_flat and medium == before):
                if travelled < 0:
                    raise ValueError(_backwards(number, changed, (bends, k, len(self.surface)), travelled))
                bends, travelled = k, 0.0
            before = medium
            thickness = changed.get(str(k), surface.thickness) or 0.0
            travelled += thickness
            total += thickness
        if travelled < 0:
            raise ValueError(_backwards(number, changed, (bends, len(self.surface) + 1, len(self.surface)), travelled))
        if total > LONGEST:
            where = f"setting[{number + 1}]: " if changed else ""
            raise ValueError(f"{where}the lens is {total:.6g} mm long, at most {LONGEST:g} are allowed; check the unit")


def _medium(surface: Surface) -> object:
    """What identifies the medium behind a surface; True for air."""
    return surface.is_air or (surface.glass, surface.index, surface.abbe)


def _backwards(number: int, changed: dict[str, float], way: tuple[int, int, int], travelled: float) -> str:
    """What is wrong with the way (from, to, last surface), naming the setting where it is the setting's doing."""
    first, second, last = way
    where = f"setting[{number + 1}]: " if any(str(k) in changed for k in range(first, second)) else ""
    reached = "the image" if second > last else f"surface {second}"
    return (
        f"{where}from surface {first} to {reached} the thickness adds up to {travelled:.6g} mm; light must go on "
        "towards the image: mirrors are not traced, and a thickness is negative only beside a flat stop in one medium"
    )


def _numbers(values: list[int]) -> str:
    """A few surface numbers in words."""
    listed = [str(value) for value in values[:6]] + (["…"] if len(values) > 6 else [])
    return ", ".join(listed[:-1]) + " and " + listed[-1] if len(listed) > 1 else listed[0]
