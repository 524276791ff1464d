"""Whether a hood goes on: seats behind a wider front ring, and lobes too wide to be had."""

from __future__ import annotations

import pytest

from lenses import camera, hood, prime, zoom
from shadewright.design.fit import fit
from shadewright.design.mounting import MOST_SPRUNG, mounting_notes
from shadewright.model.hood import FIT_PLAY, Build, Fit, RimShape, SeatKind
from shadewright.model.lens import Seat, SeatPlace


def noted(seat: SeatKind, grips: float, *, on: SeatPlace = SeatPlace.BARREL) -> list[str]:
    """The notes for a lens whose front ring is 80 mm across."""
    lens = zoom().model_copy(update={"seat": Seat(on=on, diameter=grips)})
    return mounting_notes(lens, hood().model_copy(update={"build": Build(seat=seat)}))


@pytest.mark.parametrize(
    ("seat", "grips", "warned"),
    [
        (SeatKind.SLIP_ON, 60.0, "two halves"), (SeatKind.SLIP_ON, 79.0, "split clamp"), (SeatKind.SLIP_ON, 80.0, ""),
        (SeatKind.SLIP_ON, 84.0, ""), (SeatKind.CLAMP, 60.0, "spring open by 19.8 mm"), (SeatKind.CLAMP, 79.0, ""),
        (SeatKind.CLAMP, 80.0 - FIT_PLAY[Fit.SLIDING] - MOST_SPRUNG - 0.01, "two halves"), (SeatKind.THREAD, 60.0, ""),
    ],
)  # fmt: skip
def test_a_seat_that_cannot_pass_the_front_ring_is_warned_of(seat: SeatKind, grips: float, warned: str) -> None:
    notes = noted(seat, grips)
    assert bool(notes) == bool(warned)
    assert all("cannot be put on" in note and warned in note for note in notes)


def test_the_hood_own_seat_counts_before_the_lens() -> None:
    build = Build(seat_diameter=70.0)
    assert "grips 70 mm" in mounting_notes(zoom(), hood().model_copy(update={"build": build}))[0]


def test_fit_warns_of_it() -> None:
    lens = prime().model_copy(update={"seat": Seat(on=SeatPlace.BARREL, diameter=20.0)})
    assert "cannot be put on" in fit(lens, camera(), hood(RimShape.PLAIN)).warnings[0]


@pytest.mark.parametrize(("width", "level"), [(190.0, True), (15.0, False)])
def test_lobes_too_wide_for_petals_are_noted(width: float, level: bool) -> None:
    found = fit(prime(28.0), camera(), hood(RimShape.PETAL, smallest_lobe_width=width, largest_length=60.0))
    rim = found.shape.rim
    assert (rim.deepest - rim.shallowest < 0.05) == level  # type: ignore[union-attr]
    assert any("leave no petals" in note for note in found.warnings) == level
