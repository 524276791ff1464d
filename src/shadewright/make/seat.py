"""Seats: the ring that grips a barrel, plain or split, and the thread that screws into the filter thread.

The seat lies behind the seat plane, z <= 0. The `Foot` of a round wall is what joins wall and seat: a collar
behind the plane where the wall is wider than the seat, a roof ahead of it where the wall is narrower. Neither
narrows the passage ahead of the seat plane below the wall's own radius or, for a thread, below the bore.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from shadewright.errors import MakeError
from shadewright.make.profile import AHEAD
from shadewright.make.section import FAR, area, band, united
from shadewright.make.thread import MadeProfile, made_profile
from shadewright.model.hood import FIT_PLAY, Build
from shadewright.model.lens import thread_size
from shadewright.model.shape import RoundWall

LEAST_WALL = 1.2
"""Least thickness of seats and webs, mm: three lines of a 0.4 mm nozzle (common practice, no source)."""
WEB = 1.6
"""Thickness of collars, roofs and flanges where the wall itself is thinner, mm (common practice, no
source)."""
LEDGE = 1.5
"""Width of the flat ledge that stops against the barrel's front edge, mm."""
LOCATES = ("Push the hood on", "Nothing stops the hood")
"""How notes begin that say where the hood comes to rest on the barrel."""
LEAST_STOP = 0.5
"""A step narrower than this, in mm, is not relied on as a stop."""
LEAD_IN = 0.8
"""Chamfer that guides a ring over the barrel, mm."""
BEVEL = 0.45
"""How far a thread's lead-in goes below its root, mm: enough that the first turn is no feather."""
FACE = 1.5
"""Width of the face ahead of a thread that meets the lens's front ring, mm."""
OPEN_COLLAR = 4.0
"""A collar that reaches out further than this, in mm, is hollowed from the front to save material."""


@dataclass(frozen=True)
class Grip:
    """A ring round the barrel: inside and outside radius, length behind the seat plane, bed chamfer; mm."""

    inner: float
    outer: float
    length: float
    spread: float
    split: bool = False


@dataclass(frozen=True)
class Screw:
    """An external thread: made profile, radii of bore and face, length, depth of lead-in under the root; mm."""

    profile: MadeProfile
    bore: float
    face: float
    length: float
    bevel: float


@dataclass(frozen=True)
class Foot:
    """What joins a round wall to its seat, as half-sections.

    `body` is added to the wall and then cleared by the wall's own passage; `inside` is added after that;
    `cuts` are removed last. `top` is the z up to which the outside of the foot reaches on the wall, mm.
    """

    body: tuple[Any, ...]
    inside: tuple[Any, ...]
    cuts: tuple[Any, ...]
    top: float
    notes: tuple[str, ...]


def web_thickness(thickness: float) -> float:
    """Thickness of the web between wall and seat for a wall of `thickness`, mm."""
    return max(thickness, WEB)


def grip_of(build: Build, seat_diameter: float, *, split: bool) -> Grip:
    """The ring for a barrel of `seat_diameter` mm, with `build`'s play and compensation. Raises MakeError."""
    if not 5.0 <= seat_diameter <= 1000.0:
        raise MakeError(f"seat diameter {seat_diameter:g} mm: a seat grips a barrel of 5 to 1000 mm; correct it.")
    inner = (seat_diameter + FIT_PLAY[build.fit] + build.printer.hole_compensation) / 2.0
    outer = inner + max(build.thickness, LEAST_WALL)
    return Grip(inner, outer, build.seat_length, build.printer.first_layer_spread, split)


def screw_of(build: Build, thread: str | None) -> Screw:
    """The thread named `thread`, such as "M77x0.75", with the compensation of `build`. Raises MakeError."""
    if thread is None:
        raise MakeError('seat "thread": no thread is named; give build.thread or the lens\'s filter_thread.')
    try:
        diameter, pitch = thread_size(thread)
    except ValueError as error:
        raise MakeError(f'thread "{thread}": {error}; correct it.') from error
    if build.seat_length < 3.0 * pitch:
        raise MakeError(
            f"seat_length {build.seat_length:g} mm: a thread of pitch {pitch:g} mm needs at least "
            f"{3 * pitch:g} mm of length; make it longer."
        )
    profile = made_profile(diameter, pitch, compensation=build.printer.thread_compensation)
    return Screw(
        profile=profile,
        bore=profile.root_radius - LEAST_WALL - 0.05,
        face=diameter / 2.0 + FACE,
        length=build.seat_length,
        bevel=min(max(BEVEL, build.printer.first_layer_spread), 0.9),
    )


# --- the seat itself, z <= 0 --------------------------------------------------------------------------------


def ring_section(grip: Grip) -> Any:
    """The ring as a solid disc section, its outer edge on the bed chamfered; the bore is cut by `grip_bore`."""
    edge = min(grip.spread, 0.4 * (grip.outer - grip.inner))
    return area(
        [
            (0.0, -grip.length), (grip.outer - edge, -grip.length), (grip.outer, -grip.length + edge),
            (grip.outer, 0.0), (0.0, 0.0),
        ]
    )  # fmt: skip


def grip_bore(grip: Grip) -> Any:
    """What the barrel takes: the bore with its lead-in, from below the bed to the seat plane."""
    room = 0.45 * (grip.outer - grip.inner)
    lead = min(max(LEAD_IN, grip.spread), room, 0.4 * grip.length)
    return area(
        [
            (0.0, -FAR), (grip.inner + lead, -FAR), (grip.inner + lead, -grip.length),
            (grip.inner, -grip.length + lead), (grip.inner, 0.0), (0.0, 0.0),
        ]
    )  # fmt: skip


def screw_bore(screw: Screw) -> Any:
    """The clear bore of a threaded seat, from below the bed to the seat plane.

    Its edge on the bed is left square: the lead-in outside has taken half the width that the print stands on.
    """
    return band(0.0, screw.bore, -FAR, 0.0)


def screw_core(screw: Screw) -> Any:
    """Half-section of the tube under the thread, smaller than the root and reaching a little into the flange."""
    radius = screw.profile.root_radius - 0.3
    edge = screw.bevel - 0.3
    return area(
        [
            (screw.bore, -screw.length), (radius - edge, -screw.length), (radius, -screw.length + edge),
            (radius, 0.3), (screw.bore + 0.3, 0.3), (screw.bore, 0.0),
        ]
    )  # fmt: skip


def screw_envelope(screw: Screw) -> Any:
    """Half-section that trims the threaded rod: a 45 degree lead-in, the thread, and its run-out to a relief."""
    root = screw.profile.root_radius
    high, inner = screw.profile.crest_radius + 1.0, root - 1.0
    bed, tip, relief = -screw.length, root - screw.bevel, -1.2 * screw.profile.pitch
    return area(
        [
            (inner, bed), (tip, bed), (high, bed + high - tip), (high, relief - high + root),
            (root - 0.05, relief), (root - 0.05, 0.2), (inner, 0.2),
        ]
    )  # fmt: skip


# --- joining a round wall -----------------------------------------------------------------------------------


def cone_below(radius: float) -> Any:
    """The space ahead of the seat plane inside r + z = `radius`, kept empty so that a roof prints on a slope."""
    return area([(0.0, 0.0), (radius, 0.0), (0.0, radius)])


def roof(near: float, outer: float, web: float) -> Any:
    """A roof from the seat's `outer` radius, `web` high there, rising inwards at 45 degrees to radius `near`."""
    return area([(near, 0.0), (outer, 0.0), (outer, web), (near, web + outer - near)])


def too_low(seat: str, lowest: float, needed: float) -> MakeError:
    """The error for a rim that comes down into the web of its seat."""
    return MakeError(
        f"rim: its lowest point is {lowest:.2f} mm ahead of the seat plane, but a {seat} needs at least "
        f"{needed:.2f} mm there; move the seat plane back, widen the wall or ask for a larger allowance."
    )


def stop_note(step: float, length: float) -> str:
    """How the seated hood is stopped (`LOCATES` begins each such note); `step` is the ring's inside radius less the wall's, mm."""
    if step >= LEAST_STOP:
        return (
            f"Push the hood on until its inner step, {step:.1f} mm wide, stops against the barrel's front "
            "edge; that is the seat plane."
        )
    return (
        "Nothing stops the hood on the barrel, since its wall is about as wide as the seat or wider: mark the barrel "
        f"{length:g} mm behind the seat plane and push the rear edge of the seat to the mark. Pushed on less far, the rim comes too "
        "far forward and may show."
    )


def grip_foot(grip: Grip, wall: RoundWall, thickness: float, *, room: float, lowest: float) -> Foot:
    """Joins a round wall to a ring; `lowest` is the rim's least z, `room` that less its rounding, mm.

    Raises MakeError where the rim comes too low.
    """
    web = web_thickness(thickness)
    radius = float(wall.radius_at(AHEAD))
    step = grip.inner - radius
    notes = [stop_note(step, grip.length)]
    if lowest < 0.0:
        raise too_low("ring seat", lowest, 0.0)
    if step <= 0.0:
        return Foot((ring_section(grip), *_collar(grip, radius, thickness)), (), (grip_bore(grip),), 0.0, tuple(notes))
    if radius + thickness - grip.inner >= min(1.0, 0.75 * thickness):
        return Foot((ring_section(grip),), (), (grip_bore(grip),), 0.0, tuple(notes))
    if room < LEAST_WALL:
        raise too_low("seat wider than the wall", lowest, LEAST_WALL + lowest - room)

    # The wall is narrower than the seat: a flat ledge, then a slope of 45 degrees up to the wall.
    ledge = max(grip.inner - LEDGE, radius)
    line = grip.outer + web
    if line - radius <= room:
        cuts = (grip_bore(grip), cone_below(ledge))
        top = max(web, line - radius - thickness)
        return Foot((ring_section(grip), roof(radius, grip.outer, web)), (), cuts, top, tuple(notes))
    if step > LEDGE:
        notes.append(_flat_note("inside", step))
    body = (ring_section(grip), band(radius, grip.outer, 0.0, web))
    return Foot(body, (), (grip_bore(grip),), web, tuple(notes))


def _flat_note(side: str, width: float) -> str:
    """The note for a flat underside that the rim leaves no room to slope."""
    return (
        f"The rim leaves no room for a slope between seat and wall: the flat underside there, {width:.1f} mm "
        f"wide {side} the seat, needs support when printed seat down."
    )


def _collar(grip: Grip, radius: float, thickness: float) -> tuple[Any, ...]:
    """The collar behind the seat plane under a wall wider than the seat, its underside at 45 degrees."""
    web = web_thickness(thickness)
    out = radius + thickness
    if out <= grip.outer:
        return ()
    if web >= grip.length:
        edge, floor = grip.spread, -grip.length
        return (area([(0.0, 0.0), (out, 0.0), (out, floor + edge), (out - edge, floor), (0.0, floor)]),)
    depth = web + out - grip.outer
    above_bed = band(0.0, FAR, -grip.length, FAR)
    solid = area([(0.0, 0.0), (out, 0.0), (out, -web), (grip.outer, -depth), (0.0, -depth)]) ^ above_bed
    if radius - grip.outer > OPEN_COLLAR and not grip.split:
        rise = web * math.sqrt(2.0)
        wedge = [(grip.outer, 0.0), (grip.outer, rise - depth), (radius, rise - depth + radius - grip.outer)]
        solid = solid - (area([*wedge, (radius, 0.0)]) ^ band(0.0, FAR, web - grip.length, FAR))
    return (solid,)


def screw_foot(screw: Screw, wall: RoundWall, thickness: float, *, room: float, lowest: float) -> Foot:
    """Joins a round wall to a thread. Raises MakeError where the rim comes too low."""
    web = web_thickness(thickness)
    radius = float(wall.radius_at(AHEAD))
    out = radius + thickness
    if room < LEAST_WALL:
        raise too_low("threaded seat", lowest, LEAST_WALL + lowest - room)
    bore, core = screw_bore(screw), screw_core(screw)
    flange = max(out, screw.face)
    if radius < screw.bore:
        line = flange + web
        if line - radius <= room:
            body = (core, roof(radius, flange, web))
            return Foot(body, (), (bore, cone_below(screw.bore)), max(web, line - out), ())
        flat_inside = (_flat_note("inside", screw.bore - radius),)
        return Foot((core, band(radius, flange, 0.0, web)), (), (bore,), web, flat_inside)

    # The wall is wider than the bore: a funnel, its outside rising at 45 degrees from the face to the wall.
    if out > screw.face:
        foot = _slope_meets(wall, thickness - screw.face, room)
        above = min(1.5 * thickness, screw.face - screw.bore)
        head = _slope_meets(wall, above - screw.face, room)
        if foot is not None and head is not None:
            head = max(head, web)
            edge = float(wall.radius_at(foot)) + thickness
            funnel = area([(screw.bore, 0.0), (screw.face, 0.0), (edge, foot), (float(wall.radius_at(head)), head)])
            outside = area([(screw.face, 0.0), (edge, foot), (FAR, foot), (FAR, 0.0)])
            note = (
                f"Ahead of the thread the inside widens from {2.0 * screw.bore:.1f} mm, at 45 degrees or "
                f"more to the axis, and meets the wall {head:.1f} mm ahead of the seat plane."
            )
            return Foot((), (core, funnel), (bore, outside), max(foot, 0.0), (note,))
    inner = min(screw.bore + web, radius)
    inside = area([(screw.bore, 0.0), (flange, 0.0), (flange, web), (inner, web), (screw.bore, 0.25 * web)])
    notes = (_flat_note("outside", out - screw.face),) if out - screw.face > web else ()
    return Foot((), (core, inside), (bore,), web, notes)


def _slope_meets(wall: RoundWall, offset: float, room: float) -> float | None:
    """The least z >= 0 with z >= R(z) + offset, or None where that is not below `room` (mm)."""
    z = np.linspace(0.0, max(room, 0.0), 2001)
    short = wall.radius_at(np.maximum(z, AHEAD)) + offset - z
    first = int(np.argmax(short <= 0.0))
    if short[first] > 0.0:
        return None
    if first == 0:
        return 0.0
    before, after = float(short[first - 1]), float(short[first])
    return float(z[first] + after / (before - after) * (z[first] - z[first - 1]))


def seat_section(seat: Grip | Screw) -> Any:
    """Half-section of a seat alone, without its bore cut; a threaded one has a flange to hold it by."""
    if isinstance(seat, Grip):
        return ring_section(seat)
    flange = area([(seat.bore - 1.0, 0.0), (seat.face, 0.0), (seat.face, WEB), (seat.bore - 1.0, WEB)])
    return united([screw_core(seat), flange])


def bore_of(seat: Grip | Screw) -> Any:
    """Half-section of the bore of a seat, z <= 0."""
    return grip_bore(seat) if isinstance(seat, Grip) else screw_bore(seat)
