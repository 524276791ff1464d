"""Vanes for a fitted hood, as far forward as the keep-out lets them stand."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.errors import FitError, LightError
from shadewright.light.vanes import (
    CLOSEST,
    EdgeLine,
    Vane,
    VaneLayout,
    clear_radius,
    lay_out_vanes,
    standing_in_beam,
)
from shadewright.model.hood import Margin, VanePart
from shadewright.model.shape import HoodShape, RoundHood
from shadewright.optics.beam import Job

ROOM = 0.1
"""Room between the edge of a vane and the keep-out, which holds the margin already, mm."""

def furthest_glass(job: Job) -> float:
    """How far ahead of the seat plane the front comes at any setting, mm."""
    return max(s.reach for s in job.resolved.settings) - job.stack


def widest_glass(job: Job) -> float:
    """Largest radius of the front glass at any setting, mm."""
    return max(s.front_radius for s in job.resolved.settings)


def plan_vanes(job: Job, keepout: KeepOut, shape: HoodShape, *, depth: float) -> VaneLayout:
    """Vanes of one depth on a round hood's wall, as far forward as the keep-out lets them. Raises FitError.

    They are laid out for the front glass where it stands furthest forward, which is safe for every other place.
    """
    if not isinstance(shape, RoundHood):
        raise FitError("wishes.vane_depth: vanes stand in round hoods only; set it to 0, or choose another wall.")
    start = max(furthest_glass(job), 0.0)
    wall, least = shape.wall, start + CLOSEST

    def room(z: float) -> float:
        return float(wall.radius_at(z)) - depth - ROOM - clear_radius(keepout, z)

    first, last = _roomy(room, least, shape.rim.shallowest)
    try:
        edges = EdgeLine(start, float(wall.radius_at(start + 1e-9)) - depth, last, float(wall.radius_at(last)) - depth)
        return lay_out_vanes(wall, edges, glass_radius=widest_glass(job), glass_z=start, front=last, last=first)
    except LightError as error:
        raise FitError(f"wishes.vane_depth = {depth:g}: {error}") from None


def _roomy(room: Callable[[float], float], least: float, most: float) -> tuple[float, float]:
    """The stretch of z within which there is room; room is concave in z, so that it is one stretch. Raises FitError."""
    if most <= least:
        raise FitError("wishes.vane_depth: the hood ends at the front itself, so that no vane fits; make it longer.")
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
    if room(best) < 0:
        raise FitError(
            f"wishes.vane_depth: vanes that deep would stand in the beam everywhere, by {-room(best):.1f} mm at the least; "
            "give a wider wall, or shallower vanes."
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


def vanes_in_beam(job: Job, parts: Sequence[VanePart], margin: Margin, *, steps: int = 8) -> list[str]:
    """A sentence for each vane of a document that shows at any setting, the foremost first."""
    # A vane is clear where a rim as wide as its opening would be.
    keepout = keep_out(job.beams(job.swept(steps)), margin=margin)
    return [
        f"SHOWS: the vane {vane.z:g} mm ahead of the seat, {2 * vane.inner_radius:g} mm open, stands in the beam, which is "
        f"{2 * clear_radius(keepout, vane.z):.2f} mm wide there; open it to that, or move it back."
        for vane in standing_in_beam(keepout, vanes_of(parts))
    ]


def vane_note(layout: VaneLayout) -> str:
    """What to know of a layout, in a sentence."""
    count = f"{len(layout.vanes)} vane" + ("s" if len(layout.vanes) > 1 else "")
    hidden = (
        f"no wall behind the foremost, {layout.vanes[0].z:.1f} mm ahead of the seat, is both lit and seen from the glass"
        if layout.complete
        else "some lit wall is still seen from the glass between them and the front"
    )
    return (
        f"{count} laid out: {hidden}. They are rings to be cut and set in; `make` leaves them out of the solid."
    )


__all__ = ["furthest_glass", "plan_vanes", "vane_note", "vane_parts", "vanes_in_beam", "vanes_of", "widest_glass"]
