"""Whether a hood can be put on its lens at all."""

from __future__ import annotations

from shadewright.model.hood import FIT_PLAY, Hood, SeatKind
from shadewright.model.lens import Lens, SeatPlace

MOST_SPRUNG = 2.0
"""A split clamp springs open by this much of its diameter at most, mm (common practice, no source)."""


def mounting_notes(lens: Lens, document: Hood) -> list[str]:
    """A warning where a seat has to pass over a front ring that is wider than itself."""
    build, rim = document.build, lens.front.rim_diameter
    gripped = build.seat_diameter or lens.seat.diameter
    if gripped is None or build.seat is SeatKind.THREAD or lens.seat.on is SeatPlace.THREAD:
        return []
    over = rim - gripped - FIT_PLAY[build.fit]
    if over <= (MOST_SPRUNG if build.seat is SeatKind.CLAMP else 0.0):
        return []
    wider = f"the front ring of the lens is {rim:g} mm across and the hood grips {gripped:g} mm behind it"
    if build.seat is SeatKind.CLAMP:
        return [
            f"This clamp cannot be put on: {wider}, so that it would have to spring open by {over:.1f} mm; make it in two "
            'halves, or use the filter thread (build.seat = "thread").'
        ]
    clamp = 'a split clamp (build.seat = "clamp")' if over <= MOST_SPRUNG else "a clamp of two halves"
    return [
        f"This hood cannot be put on: {wider}, and a rigid slip-on sleeve does not pass over a wider ring; use {clamp} or "
        'the filter thread (build.seat = "thread"), or correct front.rim_diameter or seat.diameter.'
    ]


__all__ = ["mounting_notes"]
