"""Figures of wall light, vanes and trade-offs: what is drawn is what was worked out, and every word can be read."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from show_cases import CONE, ZOOM, beams, deepest, lines, require_legible, tunnel, words

from lenses import camera, hood, prime
from shadewright.design.fit import fit
from shadewright.design.tradeoff import Front, Limits, Size, Task, Traded
from shadewright.design.tradeoff_points import Design, Outcome
from shadewright.design.vane_trade import VaneTrade, vane_trades
from shadewright.errors import MakeError
from shadewright.light.finish import Finish
from shadewright.light.scene import scene_of
from shadewright.light.wall_light import WallLight, wall_light
from shadewright.model.hood import RimShape, WallShape
from shadewright.model.named_surroundings import NAMED
from shadewright.show.tradeoff import front_figure
from shadewright.show.vanes import vane_figure
from shadewright.show.wall_light import LEAST, mesh_directions, wall_light_figure

MATT = Finish("matt", 0.05)
BEAM = beams(ZOOM)[0]


@pytest.fixture(scope="module")
def light() -> WallLight:
    """Wall light of a hood over the figure's mesh."""
    return wall_light(scene_of(BEAM, deepest(ZOOM, CONE)), MATT, directions=mesh_directions(), samples=256)


# --- wall light -------------------------------------------------------------------------------------------------


def test_the_mesh_covers_both_hemispheres() -> None:
    towards = mesh_directions()
    np.testing.assert_allclose(np.linalg.norm(towards, axis=1), 1.0)
    assert towards[0] == pytest.approx([0, 0, 1])
    assert towards[-1] == pytest.approx([0, 0, -1], abs=1e-12)


def test_what_is_drawn_is_what_was_worked_out(light: WallLight) -> None:
    figure = wall_light_figure({"Cone": light}, frame=BEAM.frame)
    panels = [mesh for axes in figure.axes for mesh in axes.collections if mesh.get_gid() == "light"]
    assert len(panels) == 3
    ahead = light.value.reshape(61, 73)
    np.testing.assert_allclose(np.asarray(panels[0].get_array()).reshape(31, 73), light.direct.reshape(61, 73)[:31])
    np.testing.assert_allclose(np.asarray(panels[1].get_array()).reshape(31, 73), np.maximum(ahead[:31], LEAST))
    # The middle of the last is straight behind, its edge level with the glass.
    np.testing.assert_allclose(np.asarray(panels[2].get_array()).reshape(31, 73), np.maximum(ahead[30:][::-1], LEAST))
    assert len(lines(figure, "frame")) == 4
    assert "from behind" in words(figure)


def test_words_of_several_hoods_are_legible(light: WallLight) -> None:
    box = wall_light(scene_of(BEAM, tunnel()), MATT, directions=mesh_directions(), samples=256)
    require_legible(wall_light_figure({"Cone": light, "Tunnel": box}, frame=BEAM.frame))


def test_too_many_hoods_or_other_directions_are_refused(light: WallLight) -> None:
    with pytest.raises(MakeError, match="1 to 4"):
        wall_light_figure({}, frame=BEAM.frame)
    other = wall_light(scene_of(BEAM, deepest(ZOOM, CONE)), MATT, directions=mesh_directions()[:50], samples=256)
    with pytest.raises(MakeError, match="mesh"):
        wall_light_figure({"Cone": other}, frame=BEAM.frame)


# --- vanes ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rows() -> list[VaneTrade]:
    """Three depths of vanes."""
    fitting = fit(prime(135.0), camera(), hood(RimShape.PLAIN, largest_length=60.0))
    return vane_trades(fitting, NAMED["low-sun"], MATT, depths=(0.0, 4.0, 8.0), samples=256)


def test_vanes_are_drawn_where_they_stand(rows: list[VaneTrade]) -> None:
    figure = vane_figure(rows, title="Vanes for the test")
    (bare,) = lines(figure, "bare")
    np.testing.assert_allclose(bare, [(row.across, 100 * row.bare) for row in rows])
    (drawn,) = [c for axes in figure.axes for c in axes.collections if c.get_gid() == "vane"]
    layout = rows[2].layout
    assert layout is not None
    places = [segment[0][0] for segment in drawn.get_segments()]
    assert places == pytest.approx([vane.z for vane in layout.vanes])
    assert "8 mm, " in words(figure)
    require_legible(figure)


def test_the_lines_of_the_construction_meet_at_the_wall(rows: list[VaneTrade]) -> None:
    figure = vane_figure(rows)
    (light,), (sight,) = lines(figure, "light"), lines(figure, "sight")
    assert light[-1] == pytest.approx(sight[-1])
    layout = rows[2].layout
    assert layout is not None
    # The line of sight passes over the edge of the next vane.
    at = np.interp(layout.vanes[2].z, sight[:, 0], sight[:, 1])
    assert at == pytest.approx(layout.vanes[2].inner_radius, abs=1e-6)


def test_a_table_without_vanes_is_refused(rows: list[VaneTrade]) -> None:
    with pytest.raises(MakeError, match="one of them over 0 mm"):
        vane_figure(rows[:1])


# --- trade-offs ---------------------------------------------------------------------------------------------------


def invented_front(count: int) -> Front:
    """A front of hoods of every kind."""
    kinds = [
        (WallShape.TUBE, RimShape.PLAIN, (80.0,)), (WallShape.CONE, RimShape.PLAIN, (80.0, 95.5)),
        (WallShape.STEPPED, RimShape.PETAL, (80.0, 96.5)), (WallShape.TUNNEL, RimShape.TUNNEL, (120.5, 80.0)),
    ]  # fmt: skip
    best, tried = [], []
    for k in range(count):
        wall, rim, sizes = kinds[k % len(kinds)]
        design = Design(wall, rim, sizes, 30.0 + k)
        share = 0.8 * math.exp(-k / count)
        outcome = Outcome(
            direct=share, walls=(0.02,), depth=30.0 + k, shallowest=20.0, across=90.0, mass=30.0, stored=42.0,
            volume=200.0 + 40.0 * k,
        )  # fmt: skip
        best.append(Traded(design, outcome, hood()))
        tried += [(outcome.volume, outcome.light, design), (outcome.volume * 1.3, outcome.light * 1.05, design)]
    return Front(Size.VOLUME, tuple(best), tuple(tried), 2 * count, ())


TASK = Task(prime(35.0), camera(), hood(), Limits(), Size.VOLUME, NAMED["even"], (MATT,))


@pytest.mark.parametrize("count", [1, 4, 13, 40])
def test_the_front_is_drawn_and_listed(count: int) -> None:
    front = invented_front(count)
    figure = front_figure(front, TASK)
    (line,) = lines(figure, "front")
    np.testing.assert_allclose(line[:, 0], [traded.outcome.volume for traded in front.best])
    np.testing.assert_allclose(line[:, 1], [100 * traded.outcome.light for traded in front.best])
    marked = np.concatenate(lines(figure, "best"))
    assert len(marked) == count
    assert len(np.concatenate(lines(figure, "tried"))) == 2 * count
    text = words(figure)
    assert "plain tube 80 mm inside, 30.0 mm long" in text
    assert "matt inside" in text
    require_legible(figure)


def test_a_search_that_found_nothing_is_not_drawn() -> None:
    with pytest.raises(MakeError, match="no hood to draw"):
        front_figure(replace(invented_front(1), best=()), TASK)
