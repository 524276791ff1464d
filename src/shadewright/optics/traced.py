"""A setting of a lens known by its prescription: its systems at several wavelengths and the beams traced through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.model.prescription import Prescription
from shadewright.optics.footprints import Footprints, footprints, front_of
from shadewright.optics.paraxial import Paraxial, paraxial
from shadewright.optics.semi import axial_heights, estimated_semi
from shadewright.optics.system import D_LINE, System, system_of

Array = NDArray[np.float64]

F_LINE, C_LINE = 486.1327, 656.2725
"""The hydrogen lines at the ends of what the eye sees well, nm: beams are the union over these and the d line."""


@dataclass(frozen=True, eq=False)
class TracedState:
    """The systems of one setting, the main wavelength first, and what follows from them in first order, in mm.

    plane: z of the front glass's edge behind the first vertex; pupil_depth behind that plane; front_radius: clear
    semi-diameter of the front glass.
    """

    systems: tuple[System, ...]
    first: Paraxial
    plane: float
    pupil_depth: float
    front_radius: float
    distance: float

    @property
    def main(self) -> System:
        """The system at the main wavelength."""
        return self.systems[0]

    def with_stop(self, semi: float) -> TracedState:
        """The same setting with the stop at another semi-diameter."""
        return traced_state([system.with_stop(semi) for system in self.systems])

    def with_spacings(self, thickness: Array, stop: float, focus_distance: float, name: str) -> TracedState:
        """Another setting of the same lens, focused at a distance (mm) from the front vertex."""
        systems = [
            system.with_thickness(thickness, focus_distance=focus_distance, name=name).with_stop(stop)
            for system in self.systems
        ]
        return traced_state(systems)

    def narrowest(self) -> TracedState:
        """The same setting with every estimated semi-diameter as small as the beam of the axis allows."""
        low = axial_heights(self.main)
        semi = self.main.semi.copy()
        chosen = list(self.main.estimated)
        semi[chosen] = np.minimum(semi[chosen], low[chosen] * (1 + 1e-6))
        return traced_state([system.with_semi(semi, estimated=system.estimated) for system in self.systems])

    def footprints(self, height: float) -> Footprints:
        """The footprints out to an image height, mm: the union over the wavelengths. Raises OpticsError."""
        return footprints(self.main, height=height, others=self.systems[1:])


def traced_state(systems: list[System]) -> TracedState:
    """A setting from its systems. Raises OpticsError."""
    first = paraxial(systems[0])
    front = front_of(systems[0])
    return TracedState(
        systems=tuple(systems),
        first=first,
        plane=front.plane,
        pupil_depth=front.depth,
        front_radius=float(systems[0].semi[0]),
        distance=front.distance,
    )


def read_states(prescription: Prescription, names: Sequence[str], *, height: float) -> list[TracedState]:
    """Named settings of a prescription at its wavelengths, missing semi-diameters estimated over all its settings.

    height: half the diagonal of the frame in mm, out to which the estimates let light pass. Raises OpticsError.
    """
    lines = prescription.wavelengths or (D_LINE, F_LINE, C_LINE)
    semi = estimated_semi(prescription, lines[0], height=height)
    return [_read(prescription, name, lines, semi) for name in names]


def _read(prescription: Prescription, name: str, lines: Sequence[float], semi: Array | None) -> TracedState:
    systems: list[System] = []
    for line in lines:
        system = system_of(prescription, name, wavelength=line)
        if semi is not None:
            own = system.semi.copy()
            own[list(system.estimated)] = semi[list(system.estimated)]
            system = system.with_semi(own, estimated=system.estimated)
        if systems:
            system = replace(system, thickness=systems[0].thickness.copy(), semi=systems[0].semi.copy())
        if all(system.key != other.key for other in systems):
            systems.append(system)
    return traced_state(systems)
