"""Flat templates: rolled up again they lie on the wall, with the lengths and areas that geometry demands."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from template_cases import CASES, CONE, STEPPED, TUBE, TUNNEL, Case, petal, rolled, shoelace, to_polyline

from shadewright.errors import MakeError
from shadewright.make.flat import FlatTemplate, LineKind, Piece, PieceForm, flatten
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall


def template_of(case: Case, *, tab: float | None = None) -> FlatTemplate:
    return flatten(
        case.hood, sheet_thickness=case.sheet, back=case.back, tab=case.tab if tab is None else tab
    )


def outline(piece: Piece) -> np.ndarray:
    return np.asarray(piece.cut[0].points)


def band_of(case: Case, piece: Piece) -> tuple[float, float]:
    """(radius at z = 0, slope) of the band a piece belongs to, from the wall and the piece's number."""
    assert isinstance(case.hood, RoundHood)
    wall = case.hood.wall
    if len(wall.z) == 1:
        return wall.radius[0], 0.0
    slope = (wall.radius[1] - wall.radius[0]) / (wall.z[1] - wall.z[0])
    if slope != 0:
        return wall.radius[0], slope if piece.form is PieceForm.SECTOR else 0.0
    number = int(piece.name.split()[1].split("-")[0])
    return wall.radius[::2][number - 1], 0.0


def rollable(template: FlatTemplate) -> list[Piece]:
    return [piece for piece in template.pieces if piece.form is not PieceForm.RING]


@pytest.mark.parametrize("name", sorted(CASES))
def test_every_outline_point_rolls_up_onto_the_wall_at_the_rim_or_at_a_straight_edge(name: str) -> None:
    case = CASES[name]
    assert isinstance(case.hood, RoundHood)
    levels = {-case.back, 0.0} | set(case.hood.wall.z)
    levels |= {z + case.sheet for z in case.hood.wall.z} | {z - case.sheet for z in case.hood.wall.z}
    at_rim = 0
    for piece in rollable(template_of(case, tab=0.0)):
        band = band_of(case, piece)
        azimuth, z, radius = rolled(piece, outline(piece), wall=band, sheet=case.sheet)
        assert np.allclose(radius, band[0] + band[1] * z, atol=1e-6)
        from_rim = np.abs(z - case.hood.rim.z_at(azimuth))
        from_level = np.min([np.abs(z - level) for level in levels], axis=0)
        assert np.minimum(from_rim, from_level).max() < 0.03
        assert (z - case.hood.rim.z_at(azimuth)).max() < 0.03, "nothing may stand ahead of the rim"
        at_rim += int(np.count_nonzero(from_rim < 0.03))
    assert at_rim >= 2


@pytest.mark.parametrize("name", [n for n in sorted(CASES) if not n.startswith("stepped")])
def test_the_outline_follows_the_true_rim_within_two_hundredths(name: str) -> None:
    case = CASES[name]
    assert isinstance(case.hood, RoundHood)
    piece = rollable(template_of(case, tab=0.0))[-1]
    at_zero, slope = band_of(case, piece)
    right = np.linspace(-180.0, 180.0, 4001)
    z = case.hood.rim.z_at(90.0 - right)
    if slope == 0:
        true = np.stack([np.radians(right) * (at_zero + case.sheet / 2), z], axis=1)
    else:
        a = math.atan(slope)
        r = at_zero + slope * z + case.sheet / 2 * math.cos(a)
        rho, beta = np.abs(r / math.sin(a)), np.radians(right) * abs(math.sin(a))
        true = np.stack([rho * np.sin(beta), math.copysign(1.0, a) * rho * np.cos(beta)], axis=1)
    closed = np.concatenate([outline(piece), outline(piece)[:1]])
    assert to_polyline(true + np.asarray(piece.origin), closed).max() < 0.02


@pytest.mark.parametrize("name", ["tube-petal", "cone-petal", "narrowing-petal", "cone-skew"])
def test_lengths_along_the_rim_are_kept(name: str) -> None:
    """The rim is as long on the sheet as in space on the neutral surface (the map is an isometry)."""
    case = CASES[name]
    assert isinstance(case.hood, RoundHood)
    piece = rollable(template_of(case, tab=0.0))[-1]
    at_zero, slope = band_of(case, piece)
    _, z, _ = rolled(piece, outline(piece), wall=(at_zero, slope), sheet=case.sheet)
    near = z < (-case.back if slope == 0 else 0.0) + 0.05
    on_sheet = np.hypot(*np.diff(outline(piece)[~near], axis=0).T).sum()
    turn = np.linspace(-90.0, 270.0, 200_001)
    a = math.atan(slope)
    depth = case.hood.rim.z_at(turn)
    r = at_zero + slope * depth + case.sheet / 2 * math.cos(a)
    t = np.radians(turn)
    space = np.stack([r * np.cos(t), r * np.sin(t), depth - case.sheet / 2 * math.sin(a)], axis=1)
    assert on_sheet == pytest.approx(np.linalg.norm(np.diff(space, axis=0), axis=1).sum(), rel=2e-5)


@pytest.mark.parametrize("sheet", [0.1, 0.5, 2.0])
def test_a_tube_is_a_strip_of_length_pi_times_inside_diameter_plus_thickness(sheet: float) -> None:
    template = flatten(RoundHood(TUBE, Rim.plain(40.0)), sheet_thickness=sheet, back=12.0, tab=0.0)
    (piece,) = template.pieces
    length = math.pi * (86.0 + sheet)
    assert template.width == pytest.approx(length, abs=1e-9)
    assert shoelace(outline(piece)) == pytest.approx(length * 52.0, rel=1e-9)
    assert any(f"{length:.2f} mm" in note for note in template.notes)


def test_the_area_of_a_plain_cone_is_that_of_its_frustum() -> None:
    sheet = 0.8
    template = flatten(RoundHood(CONE, Rim.plain(50.0)), sheet_thickness=sheet, back=0.0, tab=0.0)
    (piece,) = template.pieces
    slant = math.hypot(50.0, 17.0)
    more = sheet / 2 * 50.0 / slant
    frustum = math.pi * (41.0 + 58.0 + 2 * more) * slant  # pi (r1 + r2) s, on the neutral surface
    assert shoelace(outline(piece)) == pytest.approx(frustum, rel=2e-4)


def test_a_cone_with_a_seat_gets_a_collar_strip_with_teeth_that_stay_below_the_rim() -> None:
    case = CASES["cone-petal"]
    template = template_of(case)
    collar, cone = template.pieces
    assert (collar.form, cone.form) == (PieceForm.STRIP, PieceForm.SECTOR)
    _, bottom, _, top = collar.box
    assert top - bottom == pytest.approx(12.0 + 10.0, abs=1e-9)
    strip = outline(collar) - np.asarray(collar.origin)
    tips = strip[strip[:, 1] > 1e-6]
    assert len(tips) >= 2 * 15
    assert isinstance(case.hood, RoundHood)
    tip_z = tips[:, 1].max() * math.cos(math.atan(17.0 / 50.0))
    assert tip_z < case.hood.rim.shallowest
    assert len(collar.fold) == 1
    fold = np.asarray(collar.fold[0].points) - np.asarray(collar.origin)
    assert np.allclose(fold[:, 1], 0.0)
    assert np.ptp(fold[:, 0]) == pytest.approx(math.pi * 82.5, abs=1e-6)


def test_no_tooth_stands_where_it_would_show_above_a_low_rim() -> None:
    rim = petal(lowest=4.0)
    collar = flatten(RoundHood(CONE, rim), sheet_thickness=0.5, back=12.0, tab=10.0).pieces[0]
    azimuth, z, _ = rolled(collar, outline(collar), wall=(41.0, 0.0), sheet=0.5)
    tips = z > 1e-6
    assert 20 < np.count_nonzero(tips) < 40
    lying = z[tips] * math.cos(math.atan(17.0 / 50.0))  # bent onto the cone
    assert np.all(lying < rim.z_at(azimuth[tips]) - 0.5)
    assert len(collar.fold) == 5  # four lobes, the bottom one cut open by the seam


def test_the_sheet_shows_the_outside_with_left_on_the_left() -> None:
    """Looking down on the top of the hood from outside, forward up, the camera's right is on the right."""
    rim = Rim.from_arrays(
        np.arange(360.0), 30.0 + 10.0 * np.cos(np.radians(np.arange(360.0)))
    )  # deepest on the right
    for wall in (TUBE, CONE, RoundWall((0.0, 50.0), (58.0, 41.0))):
        piece = rollable(flatten(RoundHood(wall, rim), sheet_thickness=0.5, back=5.0, tab=0.0))[-1]
        points = outline(piece)
        centre = (points[:, 0].min() + points[:, 0].max()) / 2
        index = piece.mark[[len(line.points) for line in piece.mark].index(3) - 1]
        assert index.points[0][0] == pytest.approx(piece.origin[0], abs=1e-6)
        right_half, left_half = points[points[:, 0] > centre], points[points[:, 0] < centre]
        reach = [np.hypot(*(half - np.asarray(piece.origin)).T) for half in (right_half, left_half)]
        if wall.radius[-1] == 41.0:
            assert reach[0].min() < reach[1].min() - 5.0
        elif wall is not TUBE:
            assert reach[0].max() > reach[1].max() + 5.0
        else:
            assert right_half[:, 1].max() > left_half[:, 1].max() + 5.0


@pytest.mark.parametrize(
    "name", ["tube-petal", "tube-skew", "square-cut", "cone-petal", "narrowing-petal", "steep-cone"]
)
def test_the_seam_tab_stays_on_the_wall_that_it_is_glued_to(name: str) -> None:
    case = CASES[name]
    assert isinstance(case.hood, RoundHood)
    piece = rollable(template_of(case))[-1]
    band = band_of(case, piece)
    near = -case.back if band[1] == 0 else 0.0
    azimuth, z, _ = rolled(piece, outline(piece), wall=band, sheet=case.sheet)
    tab = (90.0 - azimuth) > 180.0 + 1e-6
    assert np.count_nonzero(tab) == 2
    assert np.all(z[tab] < case.hood.rim.z_at(azimuth[tab]) - 0.1)
    assert np.all(z[tab] > near + 0.1)


def test_a_stepped_wall_is_strips_and_rings() -> None:
    template = template_of(CASES["stepped"])
    strips = [p for p in template.pieces if p.form is PieceForm.STRIP]
    rings = [p for p in template.pieces if p.form is PieceForm.RING]
    assert len(strips) == 3
    assert len(rings) == 2
    for ring, (inner, outer) in zip(rings, ((43.5, 49.0), (49.5, 56.0)), strict=True):
        assert all(line.closed for line in ring.cut)
        area = shoelace(outline(ring)) - shoelace(np.asarray(ring.cut[1].points))
        assert area == pytest.approx(math.pi * (outer**2 - inner**2), rel=1e-3)
        for line, radius in zip(ring.cut, (outer, inner), strict=True):
            points = np.asarray(line.points) - np.asarray(ring.origin)
            assert np.allclose(np.hypot(*points.T), radius, atol=1e-9)
            sagitta = radius - np.hypot(*((points + np.roll(points, -1, axis=0)) / 2).T)
            assert sagitta.max() < 0.02


@pytest.mark.parametrize(("name", "level"), [("stepped-lobes", 40.0), ("stepped-down-lobes", 15.0)])
def test_where_the_rim_falls_behind_a_step_the_next_strip_comes_in_lobes(name: str, level: float) -> None:
    case = CASES[name]
    assert isinstance(case.hood, RoundHood)
    template = template_of(case, tab=0.0)
    number = 3 if name == "stepped-lobes" else 2
    lobes = [p for p in template.pieces if p.name.startswith(f"piece {number}-")]
    assert len(lobes) == 2
    turn = np.arange(0.0, 360.0, 0.01)
    wanted = np.count_nonzero(case.hood.rim.z_at(turn) > level) * 0.01
    spanned = 0.0
    for lobe in lobes:
        azimuth, z, _ = rolled(lobe, outline(lobe), wall=band_of(case, lobe), sheet=case.sheet)
        spanned += float(np.ptp(azimuth))
        assert z.max() == pytest.approx(float(case.hood.rim.z_at(lobe.centre)), abs=0.03)
    assert spanned == pytest.approx(wanted, abs=0.1)
    assert {round(lobe.centre) for lobe in lobes} == {90, 270}


def test_a_tunnel_folds_up_to_its_inside_size() -> None:
    assert isinstance(TUNNEL.hood, TunnelHood)
    template = template_of(TUNNEL)
    (piece,) = template.pieces
    folds = sorted(line.points[0][0] - piece.origin[0] for line in piece.fold)
    panels = np.diff([0.0, *folds])
    # Folded by 90 degrees at half the thickness, the sheet's middle is a rectangle that closes on itself.
    corner, heading, place = [], 0.0, np.zeros(2)
    for width in panels:
        place = place + width * np.array([math.cos(heading), math.sin(heading)])
        corner.append(place)
        heading -= math.pi / 2
    assert np.allclose(corner[-1], 0.0, atol=1e-9)
    inside = np.abs(np.diff(corner[:3], axis=0)).sum(axis=1) - TUNNEL.sheet
    assert np.allclose(sorted(inside), [80.0, 120.0])
    # Lips: left, top, right, bottom from left to right.
    points = outline(piece) - np.asarray(piece.origin)
    for k, lip in enumerate((36.0, 52.0, 38.0, 50.0)):
        begin, end = [0.0, *folds][k], folds[k]
        for x in (begin, end):
            assert np.hypot(*(points - (x, lip)).T).min() < 1e-9
    plain = flatten(
        TunnelHood(TunnelWall(60.0, 40.0), TunnelRim(40.0, 40.0, 40.0, 40.0)),
        sheet_thickness=0.8,
        back=10.0,
        tab=0.0,
    )
    assert shoelace(outline(plain.pieces[0])) == pytest.approx(2 * (120.8 + 80.8) * 50.0)


@pytest.mark.parametrize("name", sorted(CASES))
def test_pieces_do_not_overlap_and_marks_and_texts_lie_on_the_sheet(name: str) -> None:
    template = template_of(CASES[name])
    boxes = [piece.box for piece in template.pieces]
    assert min(box[0] for box in boxes) >= -1e-9
    assert min(box[1] for box in boxes) >= -1e-9
    for k, a in enumerate(boxes):
        for b in boxes[k + 1 :]:
            assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]
    for line in (*template.fold, *template.mark):
        for x, y in line.points:
            assert -1e-6 <= x <= template.width + 1e-6
            assert -1e-6 <= y <= template.height + 1e-6
    words = " ".join(text.text for text in template.text)
    assert "THIS SIDE FACES OUT" in words
    assert all(name in words for name in ("TOP", "LEFT", "RIGHT", "BOTTOM"))
    for text in template.text:
        assert 0 <= text.x <= template.width
        assert 0 <= text.y <= template.height
        text.text.encode("latin-1")


@pytest.mark.parametrize("name", sorted(CASES))
def test_every_outline_is_closed_and_does_not_cross_itself(name: str) -> None:
    for piece in template_of(CASES[name]).pieces:
        for line in piece.cut:
            assert line.closed
            assert not _crosses_itself(np.asarray(line.points)), piece.name


def _crosses_itself(points: np.ndarray) -> bool:
    """True where two edges of a closed polygon that are no neighbours meet (every pair is tried)."""
    a, b = points, np.roll(points, -1, axis=0)
    n = len(points)

    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (
            r[..., 0] - p[..., 0]
        )

    for k in range(n):
        others = np.arange(k + 2, n - (1 if k == 0 else 0))
        c, d = a[others], b[others]
        straddles = side(a[k], b[k], c) * side(a[k], b[k], d) < 0
        if np.any(straddles & (side(c, d, a[k]) * side(c, d, b[k]) < 0)):
            return True
    return False


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    near=st.floats(20.0, 80.0),
    far=st.floats(20.0, 80.0),
    sheet=st.floats(0.1, 2.0),
    back=st.floats(0.0, 20.0),
    heights=st.lists(st.floats(4.0, 60.0), min_size=8, max_size=40),
)
def test_any_cone_or_tube_rolls_up_onto_its_rim(
    near: float, far: float, sheet: float, back: float, heights: list[float]
) -> None:
    far = near if abs(far - near) < 1.0 else far
    rim = Rim.from_arrays(np.arange(len(heights)) * 360.0 / len(heights), np.asarray(heights))
    hood = RoundHood(RoundWall((0.0, 60.0), (near, far)), rim)
    template = flatten(hood, sheet_thickness=sheet, back=back, tab=0.0)
    case = Case(hood, sheet=sheet, back=back)
    for piece in rollable(template):
        slope = (far - near) / 60.0 if piece.form is PieceForm.SECTOR else 0.0
        azimuth, z, _ = rolled(piece, outline(piece), wall=(near, slope), sheet=case.sheet)
        on_edge = np.minimum(np.abs(z + back), np.abs(z))
        assert np.minimum(on_edge, np.abs(z - rim.z_at(azimuth))).max() < 0.03


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sheet_thickness": 0.0}, "sheet_thickness = 0"),
        ({"sheet_thickness": 9.0}, "too stiff"),
        ({"sheet_thickness": math.nan}, "sheet_thickness = nan"),
        ({"back": -1.0}, "back = -1"),
        ({"tab": 1.0}, "too narrow"),
        ({"tab": -3.0}, "tab = -3"),
        ({"hood": RoundHood(TUBE, petal(lowest=-11.0))}, "rim at azimuth"),
        ({"hood": RoundHood(RoundWall((0.0, 30.0), (40.0, 10.0)), Rim.plain(50.0))}, "closes"),
        ({"hood": RoundHood(RoundWall((0.0, 0.5), (41.0, 80.0)), Rim.plain(0.5))}, "unrolls"),
        ({"hood": RoundHood(STEPPED, petal(lowest=45.0)), "sheet_thickness": 5.5}, "leaves a ring"),
        ({"hood": TunnelHood(TunnelWall(60.0, 40.0), TunnelRim(30.0, 30.0, -11.0, 30.0))}, "left lip"),
        ({"hood": TunnelHood(TunnelWall(60.0, 10.0), TunnelRim(9, 9, 9, 9)), "sheet_thickness": 3.0}, "too"),
        ({"hood": MeshHood(np.zeros((3, 3)), np.array([[0, 1, 2]]))}, "mesh"),
    ],
)  # fmt: skip
def test_what_cannot_be_laid_flat_is_refused_in_words(changes: dict[str, object], words: str) -> None:
    wishes: dict[str, object] = {
        "hood": RoundHood(TUBE, petal()), "sheet_thickness": 0.5, "back": 12.0, "tab": 10.0, **changes,
    }  # fmt: skip
    hood = wishes.pop("hood")
    with pytest.raises(MakeError, match=words) as caught:
        flatten(hood, **wishes)  # type: ignore[arg-type]
    assert str(caught.value).endswith(".")


def test_no_tab_and_no_back_leave_nothing_of_them() -> None:
    template = flatten(RoundHood(CONE, petal()), sheet_thickness=0.5, back=0.0, tab=0.0)
    assert len(template.pieces) == 1
    assert template.fold == ()
    assert not any(text.text == "glue" for text in template.text)


def test_layers_are_what_the_pieces_hold() -> None:
    template = template_of(CASES["stepped"])
    for kind in LineKind:
        assert len(template.lines(kind)) == sum(len(getattr(piece, kind.value)) for piece in template.pieces)
    with pytest.raises(dataclasses.FrozenInstanceError):
        template.width = 1.0  # type: ignore[misc]


def words(inside: float, seat: float | None, *, sheet: float = 0.5) -> str:
    """What a template says of the length behind the seat plane."""
    wall = RoundHood(RoundWall((0.0,), (inside / 2,)), Rim.plain(40.0))
    found = flatten(wall, sheet_thickness=sheet, back=12.0, tab=10.0, seat=seat)
    return next(note for note in found.notes if "seat plane" in note)


@pytest.mark.parametrize(
    ("inside", "seat", "says", "not_says"),
    [
        (74.0, 75.0, ("collar", "75.2 mm inside diameter", "tabs", f"{math.pi * 75.7:.1f}"), ("line the inside", "spacer")),
        (60.0, 75.0, ("collar", "60.0 mm inside and 76.2 mm outside", "0.5 mm ahead of that line"), ("tabs", "line the inside")),
        (92.0, 72.0, ("spacer 72.2 mm inside and 92.0 mm outside", "Mark the barrel 12 mm"), ("line the inside", "collar")),
        (76.0, 75.0, ("line the inside, 0.5 mm all round", "Mark the barrel"), ("spacer", "collar")),
        (76.0, None, ("line the inside until it holds",), ("spacer", "collar")),
    ],
)
def test_the_sheet_says_what_joins_wall_and_barrel(
    inside: float, seat: float | None, says: tuple[str, ...], not_says: tuple[str, ...]
) -> None:
    text = words(inside, seat)
    assert all(part in text for part in says), text
    assert not any(part in text for part in not_says), text
