"""The split clamp: a slit through the seat ring, two bosses for screw and nut, a slot that lets it close."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shadewright.errors import MakeError
from shadewright.make.kit import Kit
from shadewright.make.seat import Grip, web_thickness
from shadewright.make.section import FAR, band

SLIT = 2.0
"""Width of the slit, mm; closing it takes 2/pi of that off the inside diameter."""
SLOT = 1.0
"""Height of the slot between the part that closes and the collar that does not, mm."""
RELIEF = 100.0
"""The slot reaches this many degrees to either side of the slit."""
SLIT_AZIMUTH = 270.0
"""The slit is at the bottom, opposite the index mark."""
BOSS = 6.0
"""Thickness of each boss along the screw, mm."""
BOSS_REACH = 9.0
"""How far the bosses stand out from the ring, mm."""
LEAST_BOSS = 8.0
"""Least height of the bosses, mm: the nut and a wall round it."""
SCREW_HOLE = 3.4
"""Diameter of the hole for an M3 screw, mm (ISO 273, medium series, from memory)."""
NUT_FLATS = 5.8
"""Width of the nut pocket: an M3 nut is 5.5 mm across flats (ISO 4032, from memory), with play."""
NUT_DEPTH = 2.8
"""Depth of the nut pocket: an M3 nut is 2.4 mm thick (ISO 4032, from memory)."""
LEAST_RADIUS = 10.0
"""A smaller ring is too stiff and too curved for the bosses, mm."""


def check_clamp(grip: Grip, thickness: float) -> None:
    """Raises MakeError where the ring is too short or too small to be split."""
    needed = web_thickness(thickness) + SLOT + LEAST_BOSS
    if grip.length < needed:
        raise MakeError(
            f"seat_length {grip.length:g} mm: a clamp with walls of {thickness:g} mm needs at least "
            f"{needed:g} mm of length for its slot and screw; make it longer."
        )
    if grip.inner < LEAST_RADIUS:
        raise MakeError(
            f"seat diameter {2 * grip.inner:.1f} mm: a clamp needs at least {2 * LEAST_RADIUS:g} mm; "
            'use seat = "slip-on" for a smaller barrel.'
        )


def split_clamp(body: Any, grip: Grip, thickness: float, *, kit: Kit) -> Any:
    """`body`, a hood on a plain ring, with the ring split at the bottom. Raises MakeError as `check_clamp`."""
    check_clamp(grip, thickness)
    ceiling = -web_thickness(thickness)
    floor = ceiling - SLOT
    # The slot runs right through the ring; outside the ring, the collar goes too, or it would hold the ring
    # open.
    slot = kit.sector(band(grip.inner - 2.0, FAR, floor, ceiling), centre=SLIT_AZIMUTH, half_angle=RELIEF)
    collar = kit.sector(
        band(grip.outer + 0.02, FAR, -grip.length - 1.0, floor + 0.01), centre=SLIT_AZIMUTH, half_angle=RELIEF
    )
    bosses = kit.cut(_bosses(grip, floor, kit), [kit.turned(band(0.0, grip.inner + 0.2, -FAR, FAR))])
    return kit.cut(kit.joined([kit.cut(body, [slot, collar]), bosses]), _openings(grip, floor, kit))


def _bosses(grip: Grip, top: float, kit: Kit) -> Any:
    """One block across the slit, its edges on the bed chamfered."""
    half = SLIT / 2.0 + BOSS
    far, near = -(grip.outer + BOSS_REACH), -(grip.inner - 2.0)
    rings = [(grip.spread, -grip.length), (0.0, grip.spread - grip.length), (0.0, top)]
    if grip.spread == 0.0:
        rings = rings[1:]
    outline = [
        [
            (edge - half, far + edge, z),
            (half - edge, far + edge, z),
            (half - edge, near, z),
            (edge - half, near, z),
        ]
        for edge, z in rings
    ]
    return kit.loft(np.array(outline))


def _openings(grip: Grip, top: float, kit: Kit) -> list[Any]:
    """The slit, the screw's hole and the nut's pocket, as bodies to be cut away."""
    reach = grip.outer + BOSS_REACH + 1.0
    slit = kit.box(
        (-SLIT / 2.0, SLIT / 2.0), (-reach, -0.5 * grip.inner), (-grip.length - 1.0, top + SLOT / 2.0)
    )
    corner = NUT_FLATS / math.sqrt(3.0)
    y = -(grip.outer + 1.0 + corner)
    z = (top - grip.length) / 2.0
    long = SLIT + 2.0 * BOSS
    hole = kit.rod((-long, long), y, z, SCREW_HOLE / 2.0)
    # A corner of the hexagon points up, so that the pocket closes over itself on slopes and needs no support.
    start = SLIT / 2.0 + BOSS - NUT_DEPTH
    nut = kit.rod((start, start + 10.0), y, z, corner, sides=6)
    return [slit, hole, nut]


def clamp_note(overhang: float) -> str:
    """What it takes to close the clamp; `overhang` (mm) is how far the wall stands out over the ring."""
    support = (
        f"what stands over it reaches out {overhang:.1f} mm and needs support."
        if overhang > SLOT
        else "it prints as a bridge: cut it free, or print it with support."
    )
    return (
        f"Clamp: an M3 x 16 screw and an M3 nut close the {SLIT:g} mm slit at the bottom. "
        f"Above the split part is a slot {SLOT:g} mm high; {support}"
    )
