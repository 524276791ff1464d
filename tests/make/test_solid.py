"""Hoods as solids: closed forms, the rim, the passage, the fit on the barrel, and what cannot be made."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np
import pytest
from solid_cases import (
    RIMS,
    SEAT_DIAMETER,
    SEATS,
    THREAD,
    TUNNELS,
    WALLS,
    cylindrical,
    height_above_rim,
    plain_build,
    surface_points,
)

from shadewright.errors import MakeError
from shadewright.make.inspect import inspect_mesh
from shadewright.make.profile import GRID, HAIR
from shadewright.make.section import solid_of
from shadewright.make.solid import Solid, build_hood, fit_ring, is_closed
from shadewright.model.hood import FIT_PLAY, Build, Fit, SeatKind
from shadewright.model.shape import (
    HoodShape,
    MeshHood,
    Rim,
    RoundHood,
    RoundWall,
    TunnelHood,
    TunnelRim,
    TunnelWall,
)


def made(hood: HoodShape, build: Build | None = None, *, segments: int = 360) -> Solid:
    """The hood on the tests' seat."""
    return build_hood(hood, build or Build(), seat_diameter=SEAT_DIAMETER, thread=THREAD, segments=segments)


def manifold_of(solid: Solid) -> m3.Manifold:
    return solid_of(solid.vertices, solid.faces.astype(np.uint64))


# --- closed forms --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seat", SEATS)
def test_a_longer_tube_weighs_more_by_the_volume_of_the_added_tube(seat: SeatKind) -> None:
    radius, thickness, segments = 43.0, 2.0, 360
    short, long = (
        made(RoundHood(WALLS["tube"], Rim.plain(depth)), plain_build(seat=seat, thickness=thickness))
        for depth in (15.0, 40.0)
    )
    added = long.volume - short.volume
    # A regular polygon round a circle of radius r has the area n tan(pi/n) r^2.
    polygon = segments * math.tan(math.pi / segments)
    exact = polygon * ((radius + thickness) ** 2 - (radius + HAIR) ** 2) * 25.0
    assert added == pytest.approx(exact, rel=2e-5)
    assert added == pytest.approx(math.pi * ((radius + thickness) ** 2 - radius**2) * 25.0, rel=2e-3)


def test_a_longer_cone_weighs_more_by_the_volume_of_the_added_frustum() -> None:
    wall, thickness = RoundWall((0.0, 40.0), (42.0, 56.0)), 2.0
    short, long = (made(RoundHood(wall, Rim.plain(depth)), plain_build()) for depth in (10.0, 40.0))

    def frustum(a: float, b: float) -> float:
        return math.pi / 3.0 * 30.0 * (a * a + a * b + b * b)

    inside = (45.5, 56.0)
    expected = frustum(*(r + thickness for r in inside)) - frustum(*inside)
    assert long.volume - short.volume == pytest.approx(expected, rel=2.5e-3)


def test_a_longer_lip_weighs_more_by_the_volume_of_the_added_plate() -> None:
    wall, thickness = TunnelWall(46.0, 40.0), 2.0

    def lips(right: float, top: float) -> float:
        return made(TunnelHood(wall, TunnelRim(right, top, 20.0, 20.0)), plain_build(thickness=thickness)).volume

    base = lips(20.0, 20.0)
    assert lips(30.0, 20.0) - base == pytest.approx(10.0 * thickness * 80.0, rel=1e-3)
    assert lips(20.0, 30.0) - base == pytest.approx(10.0 * thickness * 92.0, rel=1e-3)
    # Where both are deep, so is the corner between them.
    corner = thickness**2
    assert lips(30.0, 30.0) - base == pytest.approx(10.0 * (thickness * 172.0 + corner), rel=1e-3)


@pytest.mark.parametrize("rounding", [0.3, 0.6, 0.9])
def test_rounding_takes_two_spandrels_off_the_rim(rounding: float) -> None:
    hood = RoundHood(WALLS["tube"], Rim.plain(25.0))
    sharp = made(hood, plain_build()).volume
    rounded = made(hood, plain_build(rim_rounding=rounding)).volume
    # Outside a quarter circle of radius r lies the area (1 - pi/4) r^2; turned round, at about the wall's radii.
    expected = (1.0 - math.pi / 4.0) * rounding**2 * 2.0 * math.pi * (43.0 + 45.0)
    assert rounded < sharp
    assert sharp - rounded == pytest.approx(expected, rel=0.12)


def test_rounding_is_held_below_half_the_wall() -> None:
    hood = RoundHood(WALLS["tube"], Rim.plain(25.0))
    limit = made(hood, plain_build(rim_rounding=0.9)).volume
    assert made(hood, plain_build(rim_rounding=5.0)).volume == pytest.approx(limit, rel=1e-9)


# --- rim and passage -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("wall", WALLS)
@pytest.mark.parametrize("rim", RIMS)
def test_a_round_hood_is_sound_under_its_rim_and_outside_its_wall(wall: str, rim: str, seat: SeatKind) -> None:
    hood = RoundHood(WALLS[wall], RIMS[rim])
    solid = made(hood, Build(seat=seat), segments=72)
    check_sound(solid, seat)
    points = surface_points(solid)
    assert -0.1 < height_above_rim(points, hood.rim) < 0.0
    radius, _, z = cylindrical(points)
    free = hood.wall.radius_at(z)
    if seat is SeatKind.THREAD:
        free = np.minimum(free, 77.0 / 2.0 - 0.75 - UNDER_THREAD)
    assert np.all(radius[z > 0.0] >= free[z > 0.0])


UNDER_THREAD = 1.5
"""Wall under a thread of 0.75 mm, root clearance and compensation included: no bore is narrower than this leaves."""


def check_sound(solid: Solid, seat: SeatKind) -> None:
    """One closed body, and nowhere thinner than its thinnest intended place."""
    # The clamp's thinnest place is beside the nut, the thread's its first turn above the bed.
    least = {SeatKind.SLIP_ON: 1.6, SeatKind.CLAMP: 1.1, SeatKind.THREAD: 1.0}[seat]
    found = inspect_mesh(solid.vertices, solid.faces)
    assert found.problems == ()
    assert found.bodies == 1
    assert found.thickness is not None
    assert least < found.thickness < Build().thickness
    assert found.volume == pytest.approx(solid.volume, rel=1e-12)


def test_the_rim_is_made_where_it_is_asked_for() -> None:
    rim = RIMS["petal"]
    solid = made(RoundHood(WALLS["tube"], rim), Build(index_mark=False))
    _, azimuth, z = cylindrical(surface_points(solid, each=9))
    near = z > rim.z_at(azimuth) - 0.02
    hit = np.bincount((azimuth[near] % 360.0).astype(int), minlength=360)
    assert np.all(hit > 0)  # the surface comes within 0.02 mm of the rim at every degree


@pytest.mark.parametrize("edge", [0.0, 0.6])
def test_a_vertical_flank_is_made_upright(edge: float) -> None:
    rim = RIMS["square-cut"]
    solid = made(RoundHood(WALLS["tube"], rim), plain_build(rim_rounding=edge))
    body = manifold_of(solid)
    # Half-way up the tall lobe at the top, which is 50 degrees wide, the section is that wide to 0.02 mm.
    corners = np.concatenate(body.slice(27.0).to_polygons())
    azimuth = np.degrees(np.arctan2(corners[:, 1], corners[:, 0]))
    lobe = azimuth[np.abs(azimuth - 90.0) < 30.0]
    shortfall = np.radians(50.0 - np.ptp(lobe)) * 44.0
    assert 0.0 < shortfall < 0.02


@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("name", TUNNELS)
def test_a_tunnel_is_sound_under_its_lips_and_outside_its_walls(name: str, seat: SeatKind) -> None:
    hood = TUNNELS[name]
    solid = made(hood, Build(seat=seat), segments=72)
    check_sound(solid, seat)
    points = surface_points(solid)
    x, y, z = np.abs(points[:, 0]), np.abs(points[:, 1]), points[:, 2]
    half = (hood.wall.half_width, hood.wall.half_height)
    outside = (x >= half[0]) | (y >= half[1]) | (z <= 0.0)
    if seat is SeatKind.THREAD:
        outside |= np.hypot(x, y) > 77.0 / 2.0 - 0.75 - UNDER_THREAD
    assert np.all(outside)
    depth = {
        "right": (points[:, 0] > half[0]) & (y < half[1]), "left": (points[:, 0] < -half[0]) & (y < half[1]),
        "top": (points[:, 1] > half[1]) & (x < half[0]), "bottom": (points[:, 1] < -half[1]) & (x < half[0]),
    }  # fmt: skip
    for side, on_lip in depth.items():
        lip = getattr(hood.rim, side)
        assert lip - 0.01 < z[on_lip].max() < lip


def test_rims_of_many_points_are_replaced_by_lower_ones() -> None:
    generator = np.random.default_rng(5)
    azimuth = np.sort(generator.choice(36_000, 9000, replace=False)) / 100.0
    rim = Rim.from_arrays(azimuth, 20.0 + 3.0 * np.sin(np.radians(3.0 * azimuth)) + 0.2 * generator.random(9000))
    solid = made(RoundHood(WALLS["tube"], rim), segments=120)
    assert -0.3 < height_above_rim(surface_points(solid), rim) < 0.0


# --- the seat ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fit", list(Fit))
@pytest.mark.parametrize("wall", WALLS)
def test_the_barrel_goes_in_up_to_the_seat_plane(wall: str, fit: Fit) -> None:
    build = Build(fit=fit)
    body = manifold_of(made(RoundHood(WALLS[wall], RIMS["plain"]), build, segments=120))
    grip = SEAT_DIAMETER + FIT_PLAY[fit] + build.printer.hole_compensation
    fine = 720
    for diameter, fits in ((grip - 0.002, True), (grip + 0.02, False)):
        barrel = m3.Manifold.cylinder(30.0, diameter / 2.0, -1.0, fine).translate((0.0, 0.0, -30.0))
        shared = (body ^ barrel).volume()
        assert (shared < 1e-6) is fits


def test_a_wall_narrower_than_the_seat_is_a_stop_and_a_wider_one_is_not() -> None:
    plain = RIMS["plain"]
    ledge = made(RoundHood(WALLS["narrow tube"], plain))
    barrel = m3.Manifold.cylinder(30.5, SEAT_DIAMETER / 2.0, -1.0, 720).translate((0.0, 0.0, -30.0))
    assert (manifold_of(ledge) ^ barrel).volume() > 50.0  # half a millimetre too far
    assert any("stops against" in note for note in ledge.notes)
    free = made(RoundHood(WALLS["wide tube"], plain))
    assert (manifold_of(free) ^ barrel).volume() < 1e-6
    assert any("rear edge" in note for note in free.notes)


def test_the_clamp_is_cut_through_below_and_whole_above() -> None:
    solid = made(RoundHood(WALLS["tube"], RIMS["plain"]), Build(seat=SeatKind.CLAMP))
    body = manifold_of(solid)
    slit = m3.Manifold.cube((1.9, 20.0, 8.9)).translate((-0.95, -55.0, -12.0))
    assert (body ^ slit).volume() < 1e-9
    slot = m3.Manifold.cylinder(0.9, 45.0, -1.0, 360).translate((0.0, 0.0, -2.95))
    below = slot.trim_by_plane((0.0, -1.0, 0.0), 0.0)
    above = slot.trim_by_plane((0.0, 1.0, 0.0), 30.0)
    assert (body ^ below).volume() < 1e-9
    assert (body ^ above).volume() > 10.0
    # The screw's hole passes both bosses, and nothing of the clamp reaches into the barrel or past the collar.
    pin = m3.Manifold.cylinder(30.0, 1.5, -1.0, 48, True).rotate((0.0, 90.0, 0.0))
    assert (body ^ pin.translate((0.0, -(42.2 + 1.0 + 5.8 / math.sqrt(3.0)), -7.5))).volume() < 1e-9


def test_the_index_mark_is_on_top_outside_and_small() -> None:
    hood = RoundHood(WALLS["tube"], RIMS["petal"])
    marked, bare = made(hood), made(hood, Build(index_mark=False))
    assert 3.0 < marked.volume - bare.volume < 15.0
    wall = m3.Manifold.cylinder(50.0, 45.01, -1.0, 360)
    extra = manifold_of(marked).trim_by_plane((0.0, 0.0, 1.0), 0.0) - wall
    low_x, low_y, low_z, high_x, high_y, high_z = extra.bounding_box()
    assert (low_x, high_x) == pytest.approx((-2.5, 2.5), abs=0.05)
    assert low_y > 44.9  # nothing but the mark stands out beyond the wall
    assert high_y == pytest.approx(45.8, abs=0.05)
    assert 0.0 < low_z < high_z < 7.0


def test_the_foot_on_the_bed_is_chamfered() -> None:
    def widest_at_bed(spread: float) -> float:
        build = Build.model_validate({"printer": {"first_layer_spread": spread}})
        radius, _, z = cylindrical(made(RoundHood(WALLS["tube like the seat"], RIMS["plain"]), build).vertices)
        return float(radius[z < z.min() + 1e-6].max())

    assert widest_at_bed(0.0) - widest_at_bed(0.3) == pytest.approx(0.3, abs=1e-3)


@pytest.mark.parametrize("seat", SEATS)
def test_the_fit_ring_has_the_hoods_seat(seat: SeatKind) -> None:
    build = Build(seat=seat)
    ring = fit_ring(build, seat_diameter=SEAT_DIAMETER, thread=THREAD)
    found = inspect_mesh(ring.vertices, ring.faces)
    assert found.problems == ()
    tall = found.high[2] - found.low[2]
    assert 4.0 <= tall <= 6.0
    hood_radius, _, hood_z = cylindrical(made(RoundHood(WALLS["tube"], RIMS["plain"]), build).vertices)
    ring_radius, _, ring_z = cylindrical(ring.vertices)
    if seat is SeatKind.THREAD:
        behind = hood_z < -0.1
        assert ring_radius[ring_z < -0.1].max() == pytest.approx(hood_radius[behind].max(), abs=1e-3)
    # A slit ends in the middle of a facet, two thousandths nearer the axis than the facet's corners.
    assert ring_radius.min() == pytest.approx(hood_radius[hood_z < -0.1].min(), abs=2e-3)


# --- the whole -----------------------------------------------------------------------------------------------


def test_the_least_wall_of_a_plain_tube_is_its_thickness() -> None:
    for thickness in (1.2, 2.0, 3.5):
        solid = made(RoundHood(WALLS["tube"], RIMS["plain"]), Build(thickness=thickness))
        found = inspect_mesh(solid.vertices, solid.faces)
        assert found.thickness == pytest.approx(thickness, abs=2 * HAIR)


def test_vertices_lie_on_the_grid_that_short_floats_hold() -> None:
    solid = made(RoundHood(WALLS["cone"], RIMS["petal"]), Build(seat=SeatKind.THREAD), segments=120)
    assert np.all(solid.vertices / GRID == np.round(solid.vertices / GRID))
    assert np.array_equal(solid.vertices.astype(np.float32).astype(float), solid.vertices)
    assert is_closed(solid.faces)


def test_the_same_hood_is_made_the_same_again() -> None:
    hood = RoundHood(WALLS["steps"], RIMS["petal"])
    first, second = made(hood, segments=90), made(hood, segments=90)
    assert np.array_equal(first.vertices, second.vertices)
    assert np.array_equal(first.faces, second.faces)


# --- what cannot be made -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hood", "wishes", "sentence"),
    [
        (RoundHood(WALLS["tube"], Rim.plain(-1.0)), {}, "lowest point is -1.00 mm"),
        (
            RoundHood(WALLS["tube"], Rim.plain(1.0)),
            {"seat": "thread"},
            "threaded seat needs at least 1.80 mm",
        ),
        (RoundHood(WALLS["narrow tube"], Rim.plain(1.0)), {}, "seat wider than the wall needs at least"),
        (TunnelHood(TunnelWall(50.0, 42.0), TunnelRim(9.0, 9.0, 9.0, -2.0)), {}, "lowest point is -2.00 mm"),
        (TunnelHood(TunnelWall(30.0, 24.0), TunnelRim(9.0, 9.0, 9.0, 1.0)), {}, "seat wider than the tunnel"),
        (
            TunnelHood(TunnelWall(50.0, 42.0), TunnelRim(9.0, 9.0, 9.0, 1.0)),
            {"seat": "thread"},
            "threaded seat",
        ),
        (
            RoundHood(WALLS["tube"], Rim.plain(20.0)),
            {"seat": "clamp", "seat_length": 8.0},
            "seat_length 8 mm",
        ),
        (
            RoundHood(WALLS["tube"], Rim.plain(20.0)),
            {"seat": "thread", "seat_length": 2.0},
            "at least 2.25 mm",
        ),
        (
            RoundHood(RoundWall((0.0,), (1.0,)), Rim.plain(20.0)),
            {},
            "inside radius at the seat plane is 1.00 mm",
        ),
        (RoundHood(WALLS["tube"], Rim.plain(float("nan"))), {}, "not a number"),
        (MeshHood(np.zeros((3, 3)), np.zeros((1, 3), dtype=np.int64)), {}, "given as a mesh already"),
    ],
)
def test_what_cannot_be_made_is_said_plainly(hood: HoodShape, wishes: dict[str, object], sentence: str) -> None:
    with pytest.raises(MakeError, match=sentence):
        made(hood, Build.model_validate(wishes))


@pytest.mark.parametrize("thread", [None, "M77", "77x0.75", "M400x1"])
def test_a_thread_that_is_none_is_refused(thread: str | None) -> None:
    with pytest.raises(MakeError, match="thread"):
        build_hood(
            RoundHood(WALLS["tube"], RIMS["plain"]),
            Build(seat=SeatKind.THREAD),
            seat_diameter=80.0,
            thread=thread,
        )


@pytest.mark.parametrize("diameter", [1.0, 2000.0, float("nan")])
def test_a_barrel_out_of_range_is_refused(diameter: float) -> None:
    with pytest.raises(MakeError, match="seat diameter"):
        build_hood(RoundHood(WALLS["tube"], RIMS["plain"]), Build(), seat_diameter=diameter, thread=None)


@pytest.mark.parametrize("segments", [0, 23, 5000])
def test_a_number_of_facets_out_of_range_is_refused(segments: int) -> None:
    with pytest.raises(MakeError, match="24 to 2880"):
        made(RoundHood(WALLS["tube"], RIMS["plain"]), segments=segments)


def test_a_small_barrel_takes_no_clamp() -> None:
    with pytest.raises(MakeError, match="slip-on"):
        build_hood(
            RoundHood(RoundWall((0.0,), (12.0,)), RIMS["plain"]), Build(seat=SeatKind.CLAMP), seat_diameter=18.0,
            thread=None,
        )  # fmt: skip


def test_a_low_rim_still_stands_on_a_seat_narrower_than_the_wall() -> None:
    azimuth = np.arange(0.0, 360.0, 2.0)
    rim = Rim.from_arrays(azimuth, 10.0 - 10.0 * np.cos(np.radians(2.0 * azimuth)))
    solid = made(RoundHood(WALLS["tube"], rim))
    found = inspect_mesh(solid.vertices, solid.faces)
    assert found.problems == ()
    assert height_above_rim(surface_points(solid), rim) < 0.0
