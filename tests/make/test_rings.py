"""Vanes and ridges as real geometry: closed forms, closed meshes, clear of the beam, and refused where they are not."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import trimesh
from pydantic import ValidationError
from solid_cases import SEAT_DIAMETER, petal_rim, plain_build

from lenses import beam_of, camera, hood, prime
from shadewright.clearance.keepout import keep_out
from shadewright.design.fit import Fitting, fit
from shadewright.design.vane_plan import lens_front, ridge_vanes, ring_room, rings_in_light, vanes_in_beam
from shadewright.errors import FitError, MakeError, ShowsError
from shadewright.light.finish import Finish
from shadewright.light.scene import Vane, scene_of
from shadewright.light.vanes import clear_radius, standing_in_beam
from shadewright.light.wall_light import wall_light
from shadewright.make.draft import half_section
from shadewright.make.flat import PieceForm, flatten
from shadewright.make.inspect import inspect_mesh
from shadewright.make.profile import HAIR
from shadewright.make.rings import Ring, check_beside_lens, check_rings, ring_outline, rings_found, rings_of, slope_foot
from shadewright.make.solid import build_hood
from shadewright.make.workshop import make_files
from shadewright.model.documents import parse_document
from shadewright.model.hood import Build, Hood, Margin, Ridges, RimShape, VanePart, WallPart
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall
from shadewright.model.writing import to_toml

DAY = date(2026, 1, 2)
TUBE = RoundHood(RoundWall((0.0,), (43.0,)), Rim.plain(40.0))
CONE = RoundHood(RoundWall((0.0, 40.0), (43.0, 55.0)), Rim.plain(40.0))
NO_MARGIN = Margin(radial=0.0, axial=0.0, rotation=0.0)


def ring_volume(radius: float, inner: float, edge: float, flank: float) -> float:
    """Volume of a ring in a tube: shells of height edge + (r - inner) / tan(flank), summed from inner to radius."""
    run = 1.0 / math.tan(math.radians(flank))
    squares, cubes = radius**2 - inner**2, radius**3 - inner**3
    return 2.0 * math.pi * (edge * squares / 2.0 + run * (cubes / 3.0 - inner * squares / 2.0))


def volume(shape: RoundHood, rings: tuple[Ring, ...], *, segments: int = 720) -> float:
    return build_hood(
        shape, plain_build(), seat_diameter=SEAT_DIAMETER, thread=None, rings=rings, segments=segments
    ).volume


@pytest.mark.parametrize(("inner", "edge", "flank"), [(40.0, 0.45, 45.0), (35.0, 1.0, 30.0), (42.0, 0.3, 50.0)])
def test_a_ring_adds_its_volume_in_closed_form(inner: float, edge: float, flank: float) -> None:
    added = volume(TUBE, (Ring(30.0, inner, edge, flank),)) - volume(TUBE, ())
    # Both surfaces that bound it are a hair wider than asked; facets that touch circles from outside add a hundred-thousandth.
    assert added == pytest.approx(ring_volume(43.0 + HAIR, inner + HAIR, edge, flank), rel=2e-4, abs=0.5)


def test_in_a_cone_the_slope_ends_where_it_meets_the_wall() -> None:
    ring = Ring(20.0, 44.0, 0.5)
    foot = slope_foot(ring, CONE.wall)
    # 44 + (19.5 - z) = 43 + 0.3 z
    assert foot == pytest.approx(20.5 / 1.3, abs=1e-9)
    outline = np.array(ring_outline(ring, CONE.wall, into=0.0))
    assert np.allclose(outline[2], [43.0 + 0.3 * foot, foot])


def test_a_slope_may_end_on_a_step() -> None:
    steps = RoundWall((0.0, 10.0, 10.0, 40.0), (40.0, 40.0, 46.0, 46.0))
    shape = RoundHood(steps, Rim.plain(40.0))
    ring = Ring(12.0, 41.0, 0.5)
    assert slope_foot(ring, steps) == pytest.approx(10.0, abs=1e-6)
    solid = build_hood(shape, plain_build(), seat_diameter=SEAT_DIAMETER, thread=None, rings=(ring,))
    assert inspect_mesh(solid.vertices, solid.faces).problems == ()


@pytest.mark.parametrize("shape", [TUBE, CONE, RoundHood(TUBE.wall, petal_rim())], ids=["tube", "cone", "petal"])
def test_a_hood_with_rings_is_one_closed_mesh(shape: RoundHood) -> None:
    depth = np.arange(5.0, shape.rim.deepest - 1.0, 3.0)
    rings = tuple(Ring(float(z), float(shape.wall.radius_at(z)) - 2.0, 0.45) for z in depth)
    solid = build_hood(shape, Build(), seat_diameter=SEAT_DIAMETER, thread=None, rings=rings)
    mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert inspect_mesh(solid.vertices, solid.faces).problems == ()
    assert rings_found(solid.vertices, rings) == len(rings) > 5
    without = build_hood(shape, Build(), seat_diameter=SEAT_DIAMETER, thread=None, rings=rings[1:])
    assert rings_found(without.vertices, rings) == len(rings) - 1
    radius = np.hypot(solid.vertices[:, 0], solid.vertices[:, 1])
    inside = solid.vertices[:, 2] > 0.5
    assert radius[inside].min() >= min(ring.inner_radius for ring in rings), "no ring reaches further in than asked"


def test_rings_ahead_of_a_rim_are_cut_by_it() -> None:
    shape = RoundHood(TUBE.wall, petal_rim())
    ring = Ring(20.0, 40.0, 0.45)
    solid = build_hood(shape, plain_build(), seat_diameter=SEAT_DIAMETER, thread=None, rings=(ring,))
    azimuth = np.degrees(np.arctan2(solid.vertices[:, 1], solid.vertices[:, 0]))
    assert np.all(solid.vertices[:, 2] <= shape.rim.z_at(azimuth) + 1e-9)


@pytest.mark.parametrize(
    ("rings", "words"),
    [
        ((Ring(20.0, 42.95, 0.45),), "does not stand in from the wall"),
        ((Ring(39.8, 40.0, 0.45),), "would be cut away by the rim"),
        ((Ring(3.0, 40.0, 0.45),), "no room for its rear face"),
        ((Ring(20.0, 40.0, 0.45), Ring(19.4, 40.0, 0.45)), "leaves no groove"),
    ],
)
def test_rings_that_cannot_be_made_are_refused(rings: tuple[Ring, ...], words: str) -> None:
    with pytest.raises(MakeError, match=words):
        check_rings(rings, TUBE, rounding=0.6)


def test_a_slope_that_meets_the_lens_is_refused() -> None:
    # At the lens's radius of 42 mm the slope has come down to 20 - 0.5 - 2 = 17.5 mm.
    ring = Ring(20.0, 40.0, 0.5)
    check_beside_lens((ring,), reach=17.4, radius=42.0)
    with pytest.raises(MakeError, match=r"move it 0\.10 mm forward"):
        check_beside_lens((ring,), reach=17.6, radius=42.0)
    check_beside_lens((ring,), reach=30.0, radius=39.9)


# --- against the beam ---------------------------------------------------------------------------------------


def wide_hood(shape: RimShape = RimShape.PLAIN, **more: object) -> Hood:
    lens = prime(135.0)
    wall = WallPart(inner_diameter=lens.front.rim_diameter + 10.0)
    return hood(shape, largest_length=40.0).model_copy(update={"wall": wall, **more})


def test_the_thickness_of_an_edge_counts_against_the_beam() -> None:
    # A near object: the beam narrows forward, so that it is widest at an edge's rear end.
    beam = beam_of([(30.0, 25.0, 0.0, 0.0), (0.0, 25.0, 0.0, 0.0)], 0.01, 0.01, distance=100.0)
    keepout = keep_out([beam])
    front, rear = clear_radius(keepout, 20.0), clear_radius(keepout, 19.0)
    assert front < rear - 0.1
    vane = Vane(20.0, (front + rear) / 2.0)
    assert standing_in_beam(keepout, [vane]) == []
    assert standing_in_beam(keepout, [vane], edge=1.0) == [vane]


def test_a_vane_in_the_beam_is_told_by_check_and_not_made(tmp_path: Path) -> None:
    fitting = fit(prime(135.0), camera(), wide_hood())
    clear = clear_radius(fitting.keepout, 30.0)
    for inner, shows in ((clear + 0.05, False), (clear - 0.6, True)):
        document = fitting.hood.model_copy(update={"vane": (VanePart(z=30.0, inner_diameter=2 * inner),)})
        found = vanes_in_beam(fitting.job, document, fitting.shape, NO_MARGIN)
        assert [sentence[:6] for sentence in found] == (["SHOWS:"] if shows else [])
        out = tmp_path / str(shows)
        if shows:
            with pytest.raises(ShowsError, match="stands in the beam"):
                make_files(fitting.job, document, fitting.shape, out=out, stem="t", made_on=DAY)
            assert list(out.iterdir()) == []
        else:
            made = make_files(fitting.job, document, fitting.shape, out=out, stem="t", made_on=DAY)
            assert made.report["solids"][-1]["rings"] == 1


def test_ridges_in_the_beam_are_told_by_check() -> None:
    fitting = fit(prime(135.0), camera(), wide_hood())
    deep = Ridges(pitch=2.0, depth=9.0, front=fitting.shape.rim.deepest - 1.0, near=10.0)  # type: ignore[union-attr]
    document = fitting.hood.model_copy(update={"ridges": deep})
    (sentence,) = vanes_in_beam(fitting.job, document, fitting.shape, NO_MARGIN)
    assert sentence.startswith("SHOWS:")
    assert "ridges.front" in sentence


# --- ridges -------------------------------------------------------------------------------------------------


def ridged() -> Fitting:
    return fit(prime(135.0), camera(), wide_hood(RimShape.PETAL, ridges=Ridges(pitch=2.0, depth=1.2, flank=40.0)))


def test_fit_places_ridges_clear_of_the_beam_and_of_the_lens() -> None:
    fitting = ridged()
    part = fitting.hood.ridges
    assert part is not None
    assert part.near is not None
    rings = rings_of(fitting.hood, fitting.shape)
    assert len(rings) > 10
    assert np.allclose(-np.diff([ring.z for ring in rings]), 2.0)
    vanes = [Vane(ring.z, ring.inner_radius) for ring in rings]
    assert standing_in_beam(fitting.keepout, vanes, edge=0.45) == []
    reach, radius = lens_front(fitting.job, fitting.hood)
    check_beside_lens(rings, reach=reach, radius=radius)
    wall = fitting.shape.wall  # type: ignore[union-attr]
    assert part.near >= ring_room(fitting.job, fitting.hood, wall, depth=1.2, flank=40.0)
    assert parse_document(to_toml(fitting.hood), Hood).ridges == part
    assert any("ridges 1.2 mm deep" in warning for warning in fitting.warnings)


def test_a_ridged_hood_is_made_and_its_ridges_are_counted(tmp_path: Path) -> None:
    fitting = ridged()
    made = make_files(fitting.job, fitting.hood, fitting.shape, out=tmp_path, stem="t", made_on=DAY)
    rings = rings_of(fitting.hood, fitting.shape)
    assert made.report["solids"][-1]["rings"] == len(rings)
    assert trimesh.load_mesh(tmp_path / "t.stl").is_watertight
    assert any("no ridges" in sentence for sentence in made.sentences)


def test_ridges_that_find_no_room_are_refused() -> None:
    with pytest.raises(FitError, match=r"ridges\.depth"):
        fit(prime(24.0), camera(), hood(RimShape.PLAIN).model_copy(update={"ridges": Ridges(pitch=2.0, depth=15.0)}))
    with pytest.raises(FitError, match="round hoods only"):
        fit(prime(24.0), camera(), hood(RimShape.TUNNEL).model_copy(update={"ridges": Ridges(pitch=2.0, depth=1.0)}))


def test_ridges_lower_the_wall_light_at_grazing_incidence() -> None:
    # Light 20 to 30 degrees off the axis meets the wall at 60 to 70 degrees to its normal.
    beam = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 30.0, 0.0, 0.0)], 0.3, 0.2)
    shape = RoundHood(RoundWall((0.0,), (40.0,)), Rim.plain(60.0))
    document = Hood(document="hood", version=1, name="t", ridges=Ridges(pitch=2.0, depth=1.5))
    slant = np.radians([20.0, 25.0, 30.0])
    towards = np.stack([np.sin(slant), np.zeros(3), np.cos(slant)], axis=1)
    matt = Finish("matt", 0.05)
    plain = wall_light(scene_of(beam, shape), matt, directions=towards, samples=8192).value
    vanes = rings_in_light(document, shape, ahead=beam.reach)
    assert len(vanes) > 20
    cut = wall_light(scene_of(beam, shape, vanes=vanes), matt, directions=towards, samples=8192).value
    assert np.all(cut < 0.5 * plain)


@pytest.mark.parametrize("part", [Ridges(pitch=2.0, depth=1.5), Ridges(pitch=4.0, depth=2.0, flank=30.0)], ids=["45", "30"])
def test_light_meets_printed_ridges_as_it_meets_their_mesh(part: Ridges) -> None:
    beam = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 30.0, 0.0, 0.0)], 0.3, 0.2)
    shape = RoundHood(RoundWall((0.0,), (40.0,)), Rim.plain(60.0))
    document = Hood(document="hood", version=1, name="t", ridges=part)
    slant = np.radians([15.0, 25.0, 35.0, 45.0, 55.0, 65.0])
    towards = np.stack([np.sin(slant), np.zeros(6), np.cos(slant)], axis=1)
    matt = Finish("matt", 0.05)
    vanes = rings_in_light(document, shape, ahead=0.0)
    solid = build_hood(
        shape, plain_build(), seat_diameter=80.0, thread=None, rings=rings_of(document, shape), segments=96
    )
    as_rings = wall_light(scene_of(beam, shape, vanes=vanes), matt, directions=towards, samples=16384).value
    as_mesh = wall_light(
        scene_of(beam, MeshHood(solid.vertices, solid.faces)), matt, directions=towards, samples=16384
    ).value
    # 96 facets stand for the circles, and the mesh has its own samples.
    assert np.allclose(as_rings, as_mesh, rtol=0.02)
    thin = tuple(Vane(v.z, v.inner_radius) for v in vanes)
    sharp = wall_light(scene_of(beam, shape, vanes=thin), matt, directions=towards, samples=16384).value
    assert np.all(sharp < as_rings)


def test_light_leaves_out_ridges_behind_the_front() -> None:
    part = Ridges(pitch=2.0, depth=1.5)
    document = Hood(document="hood", version=1, name="t", ridges=part)
    every = ridge_vanes(part, TUBE, Build())
    assert min(v.z for v in every) < 10.0
    ahead = rings_in_light(document, TUBE, ahead=10.0)
    assert [v.z for v in ahead] == [v.z for v in every if v.z > 10.0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ridges": {"pitch": 0.8, "depth": 1.0}}, "leaves no groove"),
        ({"ridges": {"pitch": 2.0, "depth": 1.0}, "vane": [{"z": 10.0, "inner_diameter": 60.0}]}, "vanes or ridges, not both"),
        ({"ridges": {"pitch": 2.0, "depth": 1.0}, "rim": {"shape": "tunnel"}}, "round hoods only"),
        ({"ridges": {"pitch": 2.0, "depth": 1.0, "near": 30.0, "front": 20.0}}, "exchange them"),
        ({"ridges": {"pitch": 2.0, "depth": 1.0, "flank": 80.0}}, "less than or equal to 50"),
    ],
)
def test_documents_with_ridges_that_cannot_be(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        Hood.model_validate({"document": "hood", "version": 1, "name": "t"} | change)


# --- drawing and template -----------------------------------------------------------------------------------


def shoelace(loop: list[tuple[float, float]]) -> float:
    x, y = np.transpose(loop)
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2.0


def test_the_drawn_section_holds_the_rings() -> None:
    bare = Hood(document="hood", version=1, name="t", wall=WallPart(inner_diameter=86.0))
    vanes = (VanePart(z=30.0, inner_diameter=80.0), VanePart(z=20.0, inner_diameter=78.0))
    area = [
        abs(sum(shoelace(loop) for loop in half_section(TUBE, 90.0, document)))
        for document in (bare, bare.model_copy(update={"vane": vanes}))
    ]
    expected = sum(0.45 * depth + depth**2 / 2.0 for depth in (3.0, 4.0))
    assert area[1] - area[0] == pytest.approx(expected, rel=1e-4)


def test_vanes_of_card_are_rings_with_their_diameters_and_places() -> None:
    rings = (Ring(30.0, 40.0, 0.45), Ring(20.0, 39.0, 0.45))
    template = flatten(TUBE, sheet_thickness=0.5, back=5.0, tab=8.0, rings=rings)
    pieces = [piece for piece in template.pieces if piece.form is PieceForm.RING]
    assert len(pieces) == 2
    for piece, ring in zip(pieces, rings, strict=True):
        outer, inner = (np.asarray(line.points) for line in piece.cut)
        middle = outer.mean(axis=0)
        assert np.hypot(*(outer - middle).T) == pytest.approx(42.9, abs=1e-6)
        assert np.hypot(*(inner - middle).T) == pytest.approx(ring.inner_radius, abs=1e-6)
        assert any(f"Z = {ring.z:.2f}" in text.text for text in piece.text)
    assert any("set them in from the rearmost forward" in note for note in template.notes)


def test_vanes_of_card_ahead_of_a_rim_are_cut_to_its_lobes() -> None:
    template = flatten(
        RoundHood(TUBE.wall, petal_rim()), sheet_thickness=0.5, back=5.0, tab=8.0, rings=(Ring(25.0, 40.0, 0.45),)
    )
    pieces = [piece for piece in template.pieces if piece.form is PieceForm.RING]
    # The rim of the case stands above 25 mm round the top and the bottom only.
    assert sorted(round(piece.centre) for piece in pieces) == [90, 270]
