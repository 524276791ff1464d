"""Vanes and ridges for a fitted hood, as far forward as the keep-out lets them stand."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.errors import FitError, LightError
from shadewright.light.vanes import (
    CLOSEST,
    EdgeLine,
    Vane,
    VaneLayout,
    clear_radius,
    lay_out_vanes,
    ridges,
    standing_in_beam,
)
from shadewright.model.hood import LEAST_GROOVE, Build, Hood, Margin, Ridges, VanePart
from shadewright.model.shape import HoodShape, RoundHood, RoundWall
from shadewright.optics.beam import Job

ROOM = 0.1
"""Room between the edge of a vane and the keep-out, which holds the margin already, mm."""
VANE_FLANK = 45.0
"""Angle of a vane's rear face to the axis, degrees: the overhang of a print (common practice, no source)."""
UNDER_RIM = 0.01
"""A ring stands this much further back than the rounded edge of the rim, mm."""
LENS_ROOM = 0.5
"""Room between a ring's rear face and the lens, mm (common practice, no source)."""


def furthest_glass(job: Job) -> float:
    """How far ahead of the seat plane the front comes at any setting, mm."""
    return max(s.reach for s in job.resolved.settings) - job.stack


def widest_glass(job: Job) -> float:
    """Largest radius of the front glass at any setting, mm."""
    return max(s.front_radius for s in job.resolved.settings)


def plan_vanes(job: Job, keepout: KeepOut, shape: HoodShape, document: Hood, *, depth: float) -> VaneLayout:
    """Vanes of one depth on a round hood's wall, as far forward as the keep-out lets them. Raises FitError.

    They are laid out for the front glass where it stands furthest forward, which is safe for every other place. Where the
    construction wants them closer than a print can have them, they stand as far apart as their sloping rear faces need.
    """
    if not isinstance(shape, RoundHood):
        raise FitError("wishes.vane_depth: vanes stand in round hoods only; set it to 0, or choose another wall.")
    start, wall = max(furthest_glass(job), 0.0), shape.wall
    least = max(start + CLOSEST, ring_room(job, document, wall, depth=depth, flank=VANE_FLANK))

    def room(z: float) -> float:
        clear = max(clear_radius(keepout, z), clear_radius(keepout, z - document.build.ring_edge))
        return float(wall.radius_at(z)) - depth - ROOM - clear

    lens = _LensAhead(lens_front(job, document)[0], document.build.ring_edge + depth / math.tan(math.radians(VANE_FLANK)))
    most = shape.rim.shallowest - rim_edge(document)
    first, last = _roomy(room, least, most, lens=lens, field="wishes.vane_depth", rings="vanes")
    try:
        edges = EdgeLine(start, float(wall.radius_at(start + 1e-9)) - depth, last, float(wall.radius_at(last)) - depth)
        glass = widest_glass(job)
        layout = lay_out_vanes(
            wall, edges, glass_radius=glass, glass_z=start, front=last, last=first, spread=print_spacing(document.build)
        )
        if layout.crowded is None:
            return layout
        # Rings so close would be all edge: less light comes by way of fewer, each with its whole slope.
        spread = print_spacing(document.build, depth=depth)
        return lay_out_vanes(wall, edges, glass_radius=glass, glass_z=start, front=last, last=first, spread=spread)
    except LightError as error:
        raise FitError(f"wishes.vane_depth = {depth:g}: {error}") from None


def plan_ridges(job: Job, keepout: KeepOut, shape: HoodShape, document: Hood, part: Ridges) -> Ridges:
    """The ridges of a fitted hood with `near` and `front` filled in, as far forward as the keep-out lets them.

    What the document gives of the two is kept where it is narrower. Raises FitError.
    """
    if not isinstance(shape, RoundHood):
        raise FitError("ridges: they stand in round hoods only; take them out, or choose another wall.")
    wall = shape.wall
    least = ring_room(job, document, wall, depth=part.depth, flank=part.flank)
    least = least if part.near is None else max(part.near, least)

    def room(z: float) -> float:
        clear = max(clear_radius(keepout, z), clear_radius(keepout, z - document.build.ring_edge))
        return float(wall.radius_at(z)) - part.depth - ROOM - clear

    lens = _LensAhead(lens_front(job, document)[0], document.build.ring_edge + part.depth / math.tan(math.radians(part.flank)))
    most = shape.rim.deepest - rim_edge(document)
    first, last = _roomy(room, least, most, lens=lens, field="ridges.depth", rings="ridges")
    if part.front is not None:
        last = min(last, part.front)
    if last < first:
        raise FitError(f"ridges.front = {part.front:g}: lies behind the first place with room, {first:.1f} mm; move it forward.")
    return part.model_copy(update={"near": math.ceil(100 * first) / 100, "front": math.floor(100 * last) / 100})


def print_spacing(build: Build, *, depth: float = 0.0) -> float:
    """Least spacing of printed vanes, mm: edge and groove, or with a `depth` edge and the whole of the sloping rear face.

    A hundredth more than `make` asks for, since the places in a document are rounded.
    """
    return build.ring_edge + max(LEAST_GROOVE, depth / math.tan(math.radians(VANE_FLANK))) + 0.01


def ring_room(job: Job, document: Hood, wall: RoundWall, *, depth: float, flank: float) -> float:
    """How far ahead of the seat plane a ring of `depth` must stand, mm, for its rear face at `flank` degrees to end in the
    wall and to stay clear of the lens and of what is screwed to it.
    """
    run = 1.0 / math.tan(math.radians(flank))
    edge = document.build.ring_edge
    reach, radius = lens_front(job, document)
    beside = max(0.0, radius + LENS_ROOM - (float(wall.radius_at(1e-9)) - depth))
    return math.ceil(100.0 * max(edge + run * depth, reach + LENS_ROOM + edge + run * beside)) / 100.0


def rim_edge(document: Hood) -> float:
    """How far behind the rim the foremost ring stands, mm: what the rounding of the rim's edge would cut away."""
    return document.build.rim_rounding + UNDER_RIM


def lens_front(job: Job, document: Hood) -> tuple[float, float]:
    """How far ahead of the seat plane the lens comes with what is screwed to it, and its outside radius there, mm."""
    widest = max([job.lens.front.rim_diameter, *(part.outer_diameter for part in document.accessory)])
    return max(s.reach for s in job.resolved.settings), widest / 2.0


def ridge_vanes(part: Ridges, shape: RoundHood, build: Build) -> tuple[Vane, ...]:
    """The ridges of a document, the foremost first. Raises LightError."""
    fall = part.depth / math.tan(math.radians(part.flank))
    near = part.near if part.near is not None else math.ceil(100.0 * (build.ring_edge + fall)) / 100.0
    front = part.front if part.front is not None else shape.rim.deepest - UNDER_RIM - build.rim_rounding
    return ridges(shape.wall, pitch=part.pitch, height=part.depth, near=near, front=front)


def rings_in_light(document: Hood, shape: HoodShape, *, ahead: float) -> tuple[Vane, ...]:
    """Vanes and ridges of a document as light meets them when printed, with their thick edges and sloping rear faces.

    Those further forward than `ahead` (mm) alone are taken. Raises LightError.
    """
    edge = document.build.ring_edge
    found = [replace(vane, edge=edge, flank=VANE_FLANK) for vane in vanes_of(document.vane)]
    if document.ridges is not None and isinstance(shape, RoundHood):
        every = ridge_vanes(document.ridges, shape, document.build)
        found += [replace(vane, edge=edge, flank=document.ridges.flank) for vane in every]
    return tuple(vane for vane in found if vane.z > ahead)


@dataclass(frozen=True)
class _LensAhead:
    """How far ahead of the seat plane the lens comes (`reach`), and where rings could begin without it (`bare`), mm."""

    reach: float
    bare: float


def _roomy(
    room: Callable[[float], float], least: float, most: float, *, lens: _LensAhead, field: str, rings: str
) -> tuple[float, float]:
    """The stretch of z within which there is room; room is concave in z, so that it is one stretch. Raises FitError."""
    if lens.bare < most <= least and lens.reach > 0:
        raise FitError(
            f"{field}: the front of the lens comes out to {lens.reach:.1f} mm ahead of the seat, no {rings} stand behind its "
            f"furthest place, and the rim ends their room at {most:.1f} mm; a greater largest length helps only where the beam "
            f"allows a deeper rim, so leave the {rings} out, or set the hood on the moving front."
        )
    if most <= least:
        raise FitError(f"{field}: the hood leaves no length for {rings}; make it longer.")
    if room(least) >= 0 and room(most) >= 0:
        return least, most
    low, high = least, most
    for _ in range(16):
        a, b = low + (high - low) / 3, high - (high - low) / 3
        if room(a) < room(b):
            low = a
        else:
            high = b
    best = 0.5 * (low + high)
    best = max((least, best, most), key=room)
    behind = [z for z in np.linspace(min(lens.bare, least), least, 40) if room(float(z)) >= 0]
    if room(best) < 0 and behind and lens.reach > 0:
        raise FitError(
            f"{field}: the front of the lens comes out to {lens.reach:.1f} mm ahead of the seat, and no {rings} stand behind its "
            f"furthest place; the beam leaves room for {rings} that deep only up to {behind[-1]:.1f} mm from the seat, and ahead "
            f"of the front they would stand in it by {-room(best):.1f} mm at the least. Give shallower {rings} or a wider wall; a longer hood "
            "helps little."
        )
    if room(best) < 0:
        raise FitError(
            f"{field}: {rings} that deep would stand in the beam everywhere, by {-room(best):.1f} mm at the least; "
            f"give a wider wall, or shallower {rings}."
        )
    return _edge(room, best, least), _edge(room, best, most)


def _edge(room: Callable[[float], float], inside: float, end: float) -> float:
    """The furthest place from `inside` towards `end` with room."""
    if room(end) >= 0:
        return end
    good, bad = inside, end
    for _ in range(16):
        middle = 0.5 * (good + bad)
        good, bad = (middle, bad) if room(middle) >= 0 else (good, middle)
    return good


def vane_parts(layout: VaneLayout) -> tuple[VanePart, ...]:
    """Vanes as a document holds them, to 0.01 mm, the opening rounded up and so out of the beam."""
    return tuple(
        VanePart(z=round(v.z, 2), inner_diameter=round(2 * v.inner_radius + 0.005, 2)) for v in layout.vanes
    )


def vanes_of(parts: Sequence[VanePart]) -> tuple[Vane, ...]:
    """The vanes of a document."""
    return tuple(Vane(part.z, part.inner_diameter / 2) for part in parts)


def vanes_in_beam(job: Job, document: Hood, shape: HoodShape, margin: Margin, *, steps: int = 8) -> list[str]:
    """A sentence for each vane of a document that shows at any setting, the foremost first, and one for its ridges.

    The whole thickness of their edges counts. Raises LightError.
    """
    # A ring is clear where a rim as wide as its opening would be.
    keepout, edge = keep_out(job.beams(job.swept(steps)), margin=margin), document.build.ring_edge
    found = [
        f"SHOWS: the vane {vane.z:g} mm ahead of the seat, {2 * vane.inner_radius:g} mm open, stands in the beam, which is "
        f"{2 * max(clear_radius(keepout, vane.z), clear_radius(keepout, vane.z - edge)):.2f} mm wide there; open it to that, or "
        "move it back."
        for vane in standing_in_beam(keepout, vanes_of(document.vane), edge=edge)
    ]
    if document.ridges is not None and isinstance(shape, RoundHood):
        every = ridge_vanes(document.ridges, shape, document.build)
        hit = standing_in_beam(keepout, every, edge=edge)
        if hit:
            count = "one ridge stands" if len(hit) == 1 else f"{len(hit)} of {len(every)} ridges stand"
            found.append(
                f"SHOWS: {count} in the beam, between {hit[-1].z:.1f} and {hit[0].z:.1f} mm ahead of the seat; give ridges.front "
                "a smaller value, shallower ridges, or a wider wall."
            )
    return found


def vane_note(layout: VaneLayout) -> str:
    """What to know of a layout, in a sentence."""
    count = f"{len(layout.vanes)} vane" + ("s" if len(layout.vanes) > 1 else "")
    hidden = (
        f"no wall behind the foremost, {layout.vanes[0].z:.1f} mm ahead of the seat, is both lit and seen from the glass"
        if layout.complete
        else "some lit wall is still seen from the glass between them and the front"
    )
    if layout.crowded is not None:
        hidden += (
            f". The glass is so wide, or the hood so short, that sharp vanes would have to stand {layout.crowded:.2f} mm apart, "
            f"closer than a print can have them: they stand at least {layout.closest:.2f} mm apart"
            if len(layout.vanes) > 1
            else ". There is room for no second one that a print can have"
        )
        hidden += f", and the wall behind the last, {layout.vanes[-1].z:.1f} mm ahead of the seat, stays bare"
    return (
        f"{count} laid out: {hidden}. `make` prints them with the wall, and draws them as rings for a hood of card."
    )


def ridge_note(part: Ridges) -> str:
    """What to know of planned ridges, in a sentence."""
    count = math.floor((part.front - part.near) / part.pitch + 1e-9) + 1 if None not in (part.front, part.near) else 0  # type: ignore[operator]
    return (
        f"{count} ridge{'s' if count != 1 else ''} {part.depth:g} mm deep, {part.pitch:g} mm apart, from {part.front:.1f} mm ahead of "
        "the seat rearwards: they stand clear of the beam."
    )


__all__ = [
    "VANE_FLANK", "furthest_glass", "lens_front", "plan_ridges", "plan_vanes", "print_spacing", "ridge_note",
    "ridge_vanes", "rim_edge", "ring_room", "rings_in_light", "vane_note", "vane_parts", "vanes_in_beam", "vanes_of", "widest_glass",
]  # fmt: skip
