"""A lens's surfaces as numbers, at one setting and wavelength: what the tracer and the paraxial formulas work on."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.glass import index_of
from shadewright.model.prescription import Prescription, PrescriptionSetting, Surface

Array = NDArray[np.float64]

D_LINE = 587.5618
"""The helium line at which indices are tabulated, nm."""
TERMS = 8
"""Aspheric coefficients kept, of r^4 to r^18."""


@dataclass(frozen=True, eq=False)
class System:
    """Surfaces in order from the subject, the image plane not among them. Lengths in mm, light along +z.

    curvature, conic, semi (infinity where not known): (n,); aspheric: (n, TERMS) coefficients of r^4, r^6, ...;
    thickness: (n,) from each surface to the next, the last to the image plane; index: (n + 1,) of the media, the first
    before the first surface. stop: which surface the stop is. focus_distance: from the first vertex to the subject the
    spacings are set for, infinity allowed. estimated: surfaces whose semi-diameter was not given. name: of the setting.
    """

    curvature: Array
    conic: Array
    aspheric: Array
    thickness: Array
    index: Array
    semi: Array
    stop: int
    focus_distance: float
    wavelength: float
    name: str
    estimated: tuple[int, ...] = ()
    key: tuple[object, ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        parts = (self.curvature, self.conic, self.aspheric, self.thickness, self.index, self.semi)
        for part in parts:
            part.setflags(write=False)
        content = (*(part.tobytes() for part in parts), self.stop, self.focus_distance)
        object.__setattr__(self, "key", content)

    def __len__(self) -> int:
        return len(self.curvature)

    @property
    def vertices(self) -> Array:
        """z of each vertex and, last, of the image plane (n + 1,), from the first vertex."""
        return np.concatenate([[0.0], np.cumsum(self.thickness)])

    @property
    def stop_semi(self) -> float:
        """Semi-diameter of the stop, mm."""
        return float(self.semi[self.stop])

    def sag(self, surface: int, radius: float | Array) -> Array:
        """Sag z(r) of a surface, mm, towards the image."""
        r2 = np.asarray(radius, dtype=float) ** 2
        c = self.curvature[surface]
        under = np.maximum(1.0 - (1.0 + self.conic[surface]) * c * c * r2, 0.0)
        return np.asarray(c * r2 / (1.0 + np.sqrt(under)) + r2 * r2 * np.polyval(self.aspheric[surface][::-1], r2))

    @property
    def front_plane(self) -> float:
        """z of the edge of the first surface's clear aperture, mm: the plane in which the front glass limits light."""
        semi = self.semi[0]
        return float(self.sag(0, semi)) if math.isfinite(semi) else 0.0

    def with_stop(self, semi: float) -> System:
        """The same lens with its stop at another semi-diameter."""
        changed = self.semi.copy()
        changed[self.stop] = semi
        return replace(self, semi=changed)

    def with_semi(self, semi: Array, *, estimated: tuple[int, ...]) -> System:
        """The same lens with other clear semi-diameters."""
        return replace(self, semi=np.array(semi, dtype=float), estimated=estimated)

    def with_thickness(self, thickness: Array, *, focus_distance: float, name: str) -> System:
        """The same lens with other spacings."""
        return replace(self, thickness=np.array(thickness, float), focus_distance=focus_distance, name=name)


def setting_names(prescription: Prescription) -> tuple[str, ...]:
    """The names of the settings a prescription lists; one nominal setting where it lists none."""
    return tuple(setting.name for setting in prescription.setting) or ("nominal",)


def _setting(prescription: Prescription, name: str | None) -> PrescriptionSetting | None:
    names = setting_names(prescription)
    if name is None:
        return prescription.setting[0] if prescription.setting else None
    if name not in names:
        raise OpticsError(
            f"prescription {prescription.name!r} has no setting {name!r}; name one of {', '.join(sorted(names))}."
        )
    return prescription.setting[names.index(name)] if prescription.setting else None


def system_of(prescription: Prescription, name: str | None = None, *, wavelength: float = D_LINE) -> System:
    """The surfaces at a named setting (the first one by default) and a wavelength in nm. Raises OpticsError."""
    from shadewright.optics.paraxial import paraxial, stop_for

    setting = _setting(prescription, name)
    surfaces = prescription.surface
    thickness = np.array([0.0 if s.thickness is None else s.thickness for s in surfaces])
    changed = setting.thickness if setting is not None else {}
    for key, value in changed.items():
        thickness[int(key) - 1] = value
    aspheric = np.zeros((len(surfaces), TERMS))
    for row, surface in enumerate(surfaces):
        aspheric[row, : len(surface.aspheric)] = surface.aspheric
    semi = np.array([math.inf if s.semi_diameter is None else s.semi_diameter for s in surfaces])
    stop = next(row for row, surface in enumerate(surfaces) if surface.stop)
    if setting is not None and setting.stop_semi_diameter is not None:
        semi[stop] = setting.stop_semi_diameter
    far = setting is None or setting.focus_distance == "infinity"
    system = System(
        curvature=np.array([s.vertex_curvature for s in surfaces]),
        conic=np.array([s.conic for s in surfaces]),
        aspheric=aspheric,
        thickness=thickness,
        index=np.array([1.0, *(_index(s, wavelength) for s in surfaces)]),
        semi=semi,
        stop=stop,
        focus_distance=math.inf if far or setting is None else float(setting.focus_distance),
        wavelength=wavelength,
        name=setting_names(prescription)[0] if setting is None else setting.name,
        estimated=tuple(row for row, s in enumerate(surfaces) if s.semi_diameter is None and row != stop),
    )
    if surfaces[-1].thickness is None and str(len(surfaces)) not in changed:
        thickness = system.thickness.copy()
        thickness[-1] = paraxial(system).image_distance
        system = replace(system, thickness=thickness)
    if setting is not None and setting.f_number is not None and setting.stop_semi_diameter is None:
        system = system.with_stop(stop_for(system, setting.f_number))
    if not math.isfinite(system.stop_semi):
        raise OpticsError(
            f"prescription {prescription.name!r}: nothing says how wide the stop is; give its semi_diameter, or "
            "f_number or stop_semi_diameter in the setting."
        )
    return system


def _index(surface: Surface, wavelength: float) -> float:
    if surface.glass is None and surface.index is None:
        return 1.0
    return index_of(surface.glass if surface.glass is not None else (surface.index, surface.abbe), wavelength)
