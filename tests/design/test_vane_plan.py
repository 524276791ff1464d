"""Vanes in fitted hoods: out of the beam, in the document, and worth what the table says."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from lenses import camera, hood, prime, zoom
from shadewright.design.fit import fit
from shadewright.design.vane_plan import furthest_glass, plan_vanes, vanes_of
from shadewright.design.vane_trade import vane_trades
from shadewright.errors import FitError
from shadewright.light.finish import Finish
from shadewright.light.vanes import standing_in_beam
from shadewright.make.workshop import make_files
from shadewright.model.documents import parse_document
from shadewright.model.hood import Hood, Ridges, RimShape, WallPart
from shadewright.model.lens import Front, Lens, Seat, SeatPlace, State
from shadewright.model.named_surroundings import NAMED
from shadewright.model.writing import to_toml


def wide_wall(wanted: Hood, inner: float) -> Hood:
    """The wishes with a tube of a given inside diameter."""
    return wanted.model_copy(update={"wall": WallPart(inner_diameter=inner)})


def test_fit_lays_vanes_out_clear_of_the_beam() -> None:
    lens = prime(135.0)
    wishes = wide_wall(hood(RimShape.PETAL, vane_depth=5.0, largest_length=60.0), lens.front.rim_diameter + 24.0)
    fitting = fit(lens, camera(), wishes)
    vanes = vanes_of(fitting.hood.vane)
    assert len(vanes) > 3
    assert standing_in_beam(fitting.keepout, vanes) == []
    wall = fitting.shape.wall.radius_at(10.0)  # type: ignore[union-attr]
    assert all(wall - v.inner_radius == pytest.approx(5.0, abs=0.011) for v in vanes)
    assert vanes[0].z <= fitting.shape.rim.shallowest + 1e-6  # type: ignore[union-attr]
    assert any("vanes laid out" in warning for warning in fitting.warnings)
    assert parse_document(to_toml(fitting.hood), Hood).vane == fitting.hood.vane


def test_a_tube_of_no_stated_width_is_set_back_by_the_vanes() -> None:
    bare = fit(prime(), camera(), hood(RimShape.PLAIN))
    wanted = hood(RimShape.PLAIN)
    wanted = wanted.model_copy(update={"wishes": wanted.wishes.model_copy(update={"vane_depth": 2.5})})
    found = fit(prime(), camera(), wanted)
    assert found.hood.wall is not None
    assert bare.hood.wall is not None
    assert found.hood.wall.inner_diameter == pytest.approx((bare.hood.wall.inner_diameter or 0.0) + 5.0)
    assert any("2.5 mm further out" in warning for warning in found.warnings)
    assert found.hood.vane


def test_vanes_stay_ahead_of_a_front_that_moves() -> None:
    wishes = wide_wall(hood(RimShape.PLAIN, vane_depth=3.0, largest_length=60.0), 96.0)
    fitting = fit(zoom(), camera(), wishes)
    assert all(v.z > furthest_glass(fitting.job) for v in vanes_of(fitting.hood.vane))
    assert standing_in_beam(fitting.keepout, vanes_of(fitting.hood.vane)) == []


def close_front() -> tuple[Lens, Hood]:
    """A wide glass in a short tube 84 mm wide: sharp vanes 3 mm deep would stand less than 0.85 mm apart."""
    lens = prime(28.0, reach=2.0, pupil_depth=26.0)
    front = Front(rim_diameter=72.0, clear_diameter=58.0, clear_depth=3.0)
    lens = lens.model_copy(update={"front": front, "seat": Seat(on=SeatPlace.FRONT, diameter=72.0)})
    return lens, wide_wall(hood(RimShape.PETAL, vane_depth=3.0, largest_length=80.0), 84.0)


def test_what_fit_lays_out_can_be_made(tmp_path: Path) -> None:
    lens, wishes = close_front()
    fitting = fit(lens, camera(), wishes)
    places = [vane.z for vane in fitting.hood.vane]
    build = fitting.hood.build
    assert len(places) > 2
    # The whole of the rear face, at 45 degrees as deep as it is long, has room behind each edge.
    assert min(a - b for a, b in pairwise(places)) >= build.ring_edge + 3.0 - 1e-9
    assert any("closer than a print can have them" in note and "stays bare" in note for note in fitting.warnings)
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="x")
    assert max(solid.get("rings", 0) for solid in made.report["solids"]) == len(places)


def test_the_table_says_which_vanes_can_be_printed() -> None:
    lens, wishes = close_front()
    wishes = wishes.model_copy(update={"wishes": wishes.wishes.model_copy(update={"vane_depth": 0.0})})
    rows = vane_trades(fit(lens, camera(), wishes), NAMED["low-sun"], Finish("matt", 0.05), depths=(0.0, 2.0, 12.0), samples=64)
    assert [row.printable for row in rows] == [False, False, True]
    for row in rows[1:]:
        assert row.layout is not None
        gaps = [a.z - b.z for a, b in pairwise(row.layout.vanes)]
        assert (min(gaps) >= 0.85) == row.printable


@pytest.mark.parametrize("ridged", [False, True])
def test_a_front_that_comes_out_far_is_named_as_the_cause(ridged: bool) -> None:
    lens, wishes = close_front()
    moving = [
        State(focal_length=28.0, f_number=3.5, reach=4.0, pupil_depth=26.0),
        State(focal_length=75.0, f_number=4.5, reach=24.0, pupil_depth=52.0),
    ]
    lens = lens.model_copy(update={"state": tuple(moving), "seat": Seat(on=SeatPlace.BARREL, diameter=75.0)})
    if ridged:
        bare = wishes.wishes.model_copy(update={"vane_depth": 0.0})
        wishes = wishes.model_copy(update={"wishes": bare, "ridges": Ridges(pitch=2.5, depth=3.0)})
    with pytest.raises(FitError, match=r"comes out to 24\.0 mm ahead of the seat") as caught:
        fit(lens, camera(), wishes)
    assert "make it longer" not in str(caught.value)
    assert "everywhere" not in str(caught.value)


def test_vanes_that_would_stand_in_the_beam_are_refused() -> None:
    lens = prime(24.0)
    with pytest.raises(FitError, match="vane_depth"):
        fit(lens, camera(), hood(RimShape.PLAIN, vane_depth=20.0))
    fitting = fit(lens, camera(), hood(RimShape.TUNNEL))
    with pytest.raises(FitError, match="round hoods only"):
        plan_vanes(fitting.job, fitting.keepout, fitting.shape, fitting.hood, depth=3.0)


def test_the_table_of_vanes_keeps_the_direct_light_and_cuts_the_wall_light() -> None:
    lens = prime(135.0)
    fitting = fit(lens, camera(), hood(RimShape.PLAIN, largest_length=60.0))
    rows = vane_trades(fitting, NAMED["low-sun"], Finish("matt", 0.05), depths=(0.0, 4.0, 8.0), samples=512)
    assert rows[0].count == 0
    assert rows[1].count > rows[2].count > 1
    assert rows[0].across < rows[1].across < rows[2].across
    assert rows[1].light.direct == rows[0].light.direct
    assert rows[1].complete
    for row in rows[1:]:
        assert row.light.wall is not None
        assert row.light.wall < 0.2 * row.bare
        assert row.bare == pytest.approx(rows[0].bare, rel=0.3)


def test_make_names_the_place_and_opening_of_every_vane(tmp_path: Path) -> None:
    lens = prime(135.0)
    wishes = wide_wall(hood(RimShape.PLAIN, vane_depth=5.0, largest_length=40.0), lens.front.rim_diameter + 24.0)
    fitting = fit(lens, camera(), wishes)
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="x", ring_only=True)
    named = next(note for note in made.sentences if note.startswith("Vanes from the front rearwards"))
    assert named.count("\u00d8") == len(fitting.hood.vane) > 3
