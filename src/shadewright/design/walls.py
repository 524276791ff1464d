"""A default wall round a lens, and whether the lens fits inside a wall."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from shadewright.errors import FitError
from shadewright.model.base import LONGEST
from shadewright.model.hood import Accessory, RimShape, WallPart, WallShape
from shadewright.model.lens import SeatPlace
from shadewright.model.shape import TunnelWall, Wall
from shadewright.optics.beam import Job

ROOM = 1.0
"""Least room between the lens's front rim and the inside of a hood, mm all round (common practice, no source)."""
STOP = 1.0
"""Height of the step between wall and seat that stops a hood on its barrel, mm (common practice, no source)."""


def inside_needed(job: Job) -> float:
    """Least inside diameter in mm that lets the lens's front move in a hood with room to spare."""
    return math.ceil(2 * (job.lens.front.rim_diameter + 2 * ROOM)) / 2


def default_wall(job: Job, shape: RimShape) -> WallPart:
    """A tube a little narrower than what the seat grips, so that its step stops against the barrel, and wide enough for
    the front; for a tunnel, a rectangle of the frame's proportions round it. Raises FitError.
    """
    seat = job.lens.seat.diameter or 0.0
    inside = max(inside_needed(job), seat - 2 * STOP)
    if inside > LONGEST / 4:
        raise FitError(
            f"front.rim_diameter = {job.lens.front.rim_diameter:g} mm needs a hood {inside:g} mm inside, more than the "
            f"{LONGEST / 4:g} mm that is fitted by itself; check the unit, or give the hood a wall."
        )
    if shape is RimShape.TUNNEL:
        ratio = job.half_width / job.half_height
        width, height = (inside * max(ratio, 1.0), inside * max(1.0 / ratio, 1.0))
        return WallPart(shape=WallShape.TUNNEL, inner_width=round(width, 1), inner_height=round(height, 1))
    return WallPart(shape=WallShape.TUBE, inner_diameter=inside)


def require_room(job: Job, wall: Wall, accessories: Sequence[Accessory] = ()) -> None:
    """Refuse a wall that the lens's front, or a filter on it, would strike. Raises FitError."""
    rim = job.lens.front.rim_diameter / 2
    if job.lens.seat.on is SeatPlace.THREAD:
        return
    furthest = max(0.0, max(s.reach for s in job.resolved.settings))
    if isinstance(wall, TunnelWall):
        inside = min(wall.half_width, wall.half_height)
    else:
        inside = float(np.min(wall.radius_at(np.linspace(1e-9, max(furthest, 1e-6), 50))))
    if inside < rim:
        raise FitError(
            f"wall: the front rim is {2 * rim:g} mm across and the hood only {2 * inside:g} mm inside where the front "
            f"moves; give an inside of at least {inside_needed(job):g} mm."
        )
    for accessory in accessories:
        if accessory.outer_diameter > 2 * inside:
            raise FitError(
                f'accessory "{accessory.name}" is {accessory.outer_diameter:g} mm across and the hood only {2 * inside:g} mm '
                "inside; give a wider wall."
            )
