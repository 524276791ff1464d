"""Vanes in fitted hoods: out of the beam, in the document, and worth what the table says."""

from __future__ import annotations

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
from shadewright.model.hood import Hood, RimShape, WallPart
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
