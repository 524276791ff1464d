"""Vanes and ridges as real geometry: rings that stand inwards from a round wall, an edge in front, a slope behind.

A ring's front face is flat. Behind its edge, which is as thick as can be printed, its rear face slopes back to the wall,
so that a print standing on its seat carries it without support. Seen from the glass the slope faces the axis: light
from the front falls on it only where it comes in steeper than the slope, 45 degrees to the axis for a vane.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shadewright.design.vane_plan import VANE_FLANK, ridge_vanes
from shadewright.errors import MakeError
from shadewright.light.scene import Vane
from shadewright.make.profile import AHEAD, HAIR, Part
from shadewright.make.section import FAR, area, band
from shadewright.model.hood import LEAST_GROOVE, Hood
from shadewright.model.shape import Array, HoodShape, RoundHood, RoundWall

LEAST_DEPTH = 0.1
"""A ring that stands in from the wall by less than this, in mm, is no ring."""
EDGE_FOUND = 0.01
"""A vertex this near to a ring's front edge shows that the ring is there, mm: facets lie outside their circle."""


@dataclass(frozen=True)
class Ring:
    """A vane or ridge: its edge at `z` (mm ahead of the seat plane) and `inner_radius` (mm), the edge's thickness along
    the axis (mm), the angle of its rear face to the axis (degrees).
    """

    z: float
    inner_radius: float
    edge: float
    flank: float = VANE_FLANK


def rings_of(document: Hood, shape: HoodShape) -> tuple[Ring, ...]:
    """The vanes and ridges of a document, the foremost first. Raises MakeError, LightError."""
    edge = document.build.ring_edge
    if (document.vane or document.ridges is not None) and not isinstance(shape, RoundHood):
        raise MakeError("vanes and ridges stand in round hoods with a wall of their own; take them out of this hood.")
    rings = [Ring(vane.z, vane.inner_diameter / 2.0, edge) for vane in document.vane]
    if document.ridges is not None and isinstance(shape, RoundHood):
        flank = document.ridges.flank
        rings += [Ring(v.z, v.inner_radius, edge, flank) for v in ridge_vanes(document.ridges, shape, document.build)]
    return tuple(rings)


def slope_foot(ring: Ring, wall: RoundWall, *, into: float = 0.0) -> float:
    """Where a ring's rear face ends, z in mm: at the wall's inside, or `into` mm deeper in the wall."""
    return Vane(ring.z, ring.inner_radius, ring.edge, ring.flank).foot(wall, into=into)


def ring_outline(ring: Ring, wall: RoundWall, *, into: float) -> list[tuple[float, float]]:
    """The ring's half-section as points (radius, z), reaching `into` mm into the wall."""
    foot = slope_foot(ring, wall, into=into)
    levels = [foot, *(z for z in sorted(set(wall.z)) if foot < z < ring.z), ring.z]
    back = []
    for z in levels:
        sides = (z,) if z == ring.z else (z, z + AHEAD)
        back += [(radius, z) for radius in dict.fromkeys(round(float(wall.radius_at(v)) + into, 7) for v in sides)]
    return [(ring.inner_radius, ring.z), (ring.inner_radius, ring.z - ring.edge), *back]


def rings_by_part(
    rings: Sequence[Ring], hood: RoundHood, parts: Sequence[Part], *, thickness: float, rounding: float
) -> list[list[Any]]:
    """The half-sections of rings, listed with the part of the wall in which each has its edge. Raises MakeError."""
    check_rings(rings, hood, rounding=rounding)
    found: list[list[Any]] = [[] for _ in parts]
    for ring in rings:
        number = max((k for k, part in enumerate(parts) if part.inside[0][0] <= ring.z), default=0)
        # A hair wider than asked, as all made surfaces stay on the safe side.
        safe = Ring(ring.z, ring.inner_radius + HAIR, ring.edge, ring.flank)
        outline = area(ring_outline(safe, hood.wall, into=0.5 * thickness))
        found[number].append(outline ^ band(0.0, FAR, 0.0, FAR))
    return found


def check_rings(rings: Sequence[Ring], hood: RoundHood, *, rounding: float = 0.0) -> None:
    """Raises MakeError for a ring that does not stand in the wall, lies above the rim or has no room for its slope."""
    foremost = hood.rim.deepest - rounding
    for ring in rings:
        radius = float(hood.wall.radius_at(ring.z))
        named = f"the ring {ring.z:g} mm ahead of the seat, {2 * ring.inner_radius:g} mm open,"
        if ring.inner_radius > radius - LEAST_DEPTH:
            raise MakeError(
                f"{named} does not stand in from the wall, which is {2 * radius:.2f} mm wide there; give it a smaller opening."
            )
        if ring.z > foremost - HAIR:
            raise MakeError(
                f"{named} would be cut away by the rim, whose rounded edge begins at {foremost:.2f} mm; move it back."
            )
        if (foot := slope_foot(ring, hood.wall)) < -1e-6:
            raise MakeError(
                f"{named} has no room for its rear face, which slopes at {ring.flank:g} degrees and would reach "
                f"{-foot:.2f} mm behind the seat plane; move it forward or make it shallower."
            )
    places = sorted(ring.z for ring in rings)
    edge = max((ring.edge for ring in rings), default=0.0)
    for before, after in pairwise(places):
        if after - before < edge + LEAST_GROOVE - 1e-9:
            raise MakeError(
                f"the rings {before:g} and {after:g} mm ahead of the seat stand {after - before:.2f} mm apart, which leaves no "
                f"groove between edges {edge:g} mm thick; keep them {edge + LEAST_GROOVE:g} mm apart."
            )


def check_beside_lens(rings: Sequence[Ring], *, reach: float, radius: float) -> None:
    """Raises MakeError for a ring whose rear face meets the lens, `radius` mm wide up to `reach` mm ahead of the seat."""
    for ring in rings:
        low = ring.z - ring.edge - max(0.0, radius - ring.inner_radius) / math.tan(math.radians(ring.flank))
        if ring.inner_radius < radius and low < reach:
            raise MakeError(
                f"the ring {ring.z:g} mm ahead of the seat, {2 * ring.inner_radius:g} mm open, would meet the front of the lens, "
                f"{2 * radius:g} mm wide up to {reach:g} mm, with its sloping rear face; move it {reach - low:.2f} mm forward."
            )


def rings_notes(rings: Sequence[Ring], hood: HoodShape) -> list[str]:
    """What a maker must know of rings in the solid."""
    if not rings or not isinstance(hood, RoundHood):
        return []
    count = f"{len(rings)} rings stand" if len(rings) > 1 else "One ring stands"
    flanks = sorted({ring.flank for ring in rings})
    notes = [
        f"{count} in from the wall: edge {rings[0].edge:g} mm thick, front face flat, rear face sloping at "
        f"{' and '.join(f'{flank:g}' for flank in flanks)} degrees to the axis. Printed rim up they overhang by as much: "
        "test whether the printer carries that, and paint the edges black."
    ]
    cut = sum(ring.z > hood.rim.shallowest for ring in rings)
    if cut:
        notes.append(f"{cut} of them stand ahead of the rim's lowest place and are cut by the rim as the wall is.")
    return notes


def rings_found(vertices: Array, rings: Sequence[Ring]) -> int:
    """How many of the rings a mesh of vertices (n, 3) holds: those with vertices all along their front edge."""
    radius, z = np.hypot(vertices[:, 0], vertices[:, 1]), vertices[:, 2]
    return sum(
        int(np.sum((np.abs(radius - ring.inner_radius) < EDGE_FOUND) & (np.abs(z - ring.z) < EDGE_FOUND)) >= 3)
        for ring in rings
    )
