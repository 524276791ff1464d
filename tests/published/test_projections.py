"""The named projections against published mapping functions, series and local scales, alone and through a frame.

Mapping functions: the "Fisheye types" table of the optowiki, and the "General lens model" page of the PanoTools wiki:
rectilinear r = f tan θ, stereographic r = 2 f tan(θ/2), equidistant r = f θ, equisolid r = 2 f sin(θ/2), orthographic
r = f sin θ. Table values follow from these and are held to 1e-7.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from lenses import camera, prime
from shadewright.errors import OpticsError
from shadewright.light.share import light_map
from shadewright.model.lens import Mapping, Projection
from shadewright.optics.beam import Beam, job
from shadewright.optics.projection import image_height, points_of_slopes, slope_of, slopes_of_points

Array = NDArray[np.float64]

R, S, E, Q, O = (
    Projection.RECTILINEAR, Projection.STEREOGRAPHIC, Projection.EQUIDISTANT, Projection.EQUISOLID,
    Projection.ORTHOGRAPHIC,
)  # fmt: skip
NAMED = (R, S, E, Q, O)

TABLE = {
    30: {R: 0.5773503, S: 0.5358984, E: 0.5235988, Q: 0.5176381, O: 0.5},
    45: {R: 1.0, S: 0.8284271, E: 0.7853982, Q: 0.7653669, O: 0.7071068},
    60: {R: 1.7320508, S: 1.1547005, E: 1.0471976, Q: 1.0, O: 0.8660254},
}
"""r / f at field angles in degrees."""
HORIZON = {S: 2.0, E: 1.5707963, Q: 1.4142136, O: 1.0}
"""r / f at 90 degrees."""
BEHIND = {S: 2.8562960, E: 1.9198622, Q: 1.6383041}
"""r / f at 110 degrees."""
SERIES = {R: 1 / 3, S: 1 / 12, E: 0.0, Q: -1 / 24, O: -1 / 6}
"""c of r / f = θ + c θ³ + … (PanoTools wiki, "General lens model")."""


def beam_of(kind: Projection, focal_length: float, width: float, height: float) -> Beam:
    """The beam of a lens of a projection on a frame, through its documents."""
    lens = prime(focal_length, 8.0).model_copy(update={"projection": Mapping(kind=kind)})
    work = job(lens, camera(width, height))
    return work.beam(work.resolved.settings[0])


@pytest.mark.parametrize("angle", TABLE)
@pytest.mark.parametrize("kind", NAMED)
def test_mapping_table(kind: Projection, angle: int) -> None:
    slope = np.array([math.tan(math.radians(angle))])
    assert image_height(slope, kind)[0] == pytest.approx(TABLE[angle][kind], abs=1e-7)
    back = math.degrees(math.atan(slope_of(np.array([TABLE[angle][kind]]), kind)[0]))
    assert back == pytest.approx(angle, abs=2e-5)


@pytest.mark.parametrize("angle", TABLE)
@pytest.mark.parametrize("kind", NAMED)
def test_mapping_table_through_a_lens_and_a_frame(kind: Projection, angle: int) -> None:
    """A frame whose edge lies at the tabulated height of a 20 mm lens sees just that far to the side."""
    focal_length = 20.0
    half = TABLE[angle][kind] * focal_length
    # A square frame would have its corner beyond what the orthographic projection can hold: keep it low.
    beam = beam_of(kind, focal_length, 2 * half, 4.0)
    edge = beam.frame.slopes(np.array([(half, 0.0)]))[0]
    assert math.degrees(math.atan(edge[0])) == pytest.approx(angle, abs=2e-5)
    assert edge[1] == pytest.approx(0.0, abs=1e-12)
    # What the keep-out is made of holds that edge, and exceeds it by no more than the stated share.
    reach = max(float(piece[:, 0].max()) for piece in beam.pieces)
    corner = float(beam.frame.slopes(np.array([(half, 2.0)]))[0, 0])
    assert max(edge[0], corner) - 1e-9 <= reach <= max(edge[0], corner) * (1 + 4e-4)


@pytest.mark.parametrize("kind", HORIZON)
def test_height_of_the_horizon(kind: Projection) -> None:
    assert image_height(np.array([math.inf]), kind)[0] == pytest.approx(HORIZON[kind], abs=1e-7)


@pytest.mark.parametrize("kind", HORIZON)
def test_frames_that_see_the_horizon_are_refused(kind: Projection) -> None:
    with pytest.raises(OpticsError, match="89 degrees"):
        beam_of(kind, 10.0, 20.0 * HORIZON[kind], 4.0)
    with pytest.raises(OpticsError, match="89 degrees"):
        slope_of(np.array([HORIZON[kind]]), kind)


@pytest.mark.parametrize("kind", BEHIND)
def test_heights_behind_the_lens_are_refused(kind: Projection) -> None:
    """These projections go on behind the lens; no hood can serve there."""
    with pytest.raises(OpticsError, match="89 degrees"):
        slope_of(np.array([BEHIND[kind]]), kind)


@pytest.mark.parametrize("kind", NAMED)
def test_series_near_the_axis(kind: Projection) -> None:
    """The cubic term of r / f; the next term is below 0.14 θ⁵ for every one of them."""
    for angle in (0.02, 0.05, 0.1):
        cubic = (image_height(np.array([math.tan(angle)]), kind)[0] - angle) / angle**3
        assert cubic == pytest.approx(SERIES[kind], abs=0.14 * angle**2 + 1e-10)


def local_scales(kind: Projection, angle: float) -> tuple[float, float]:
    """Meridional dr/dθ and sagittal r/sin θ at a field angle in radians, per focal length, from heights alone."""
    step = 1e-5
    near = image_height(np.tan(np.array([angle - step, angle, angle + step])), kind)
    return float(near[2] - near[0]) / (2 * step), float(near[1]) / math.sin(angle)


LOCAL: list[tuple[Projection, Callable[[float, float], float]]] = [
    (S, lambda meridional, sagittal: meridional / sagittal),
    (Q, lambda meridional, sagittal: meridional * sagittal),
    (E, lambda meridional, _sagittal: meridional),
]


@pytest.mark.parametrize("degrees", [5, 20, 45, 70, 85])
@pytest.mark.parametrize(("kind", "unit"), LOCAL)
def test_local_scale(kind: Projection, unit: Callable[[float, float], float], degrees: int) -> None:
    """Optowiki, "Fisheye types": the stereographic image is conformal, the equisolid one keeps areas; the equidistant
    one keeps distances from the axis.
    """
    assert unit(*local_scales(kind, math.radians(degrees))) == pytest.approx(1.0, abs=1e-8)


def directions(slopes: Array) -> Array:
    """Unit vectors (n, 3) of slopes (n, 2)."""
    ahead = np.concatenate([slopes, np.ones((len(slopes), 1))], axis=1)
    return np.asarray(ahead / np.linalg.norm(ahead, axis=1)[:, None])


@pytest.mark.parametrize("point", [(4.0, 1.0), (9.0, 7.0), (-12.0, 3.0), (2.0, -8.0)])
def test_stereographic_frame_is_conformal(point: tuple[float, float]) -> None:
    """A small step across and a small step up on the frame stay square to each other and equal in the sky."""
    frame = beam_of(S, 12.0, 30.0, 20.0).frame
    step = 1e-4
    around = np.array(point) + step * np.array([(1, 0), (-1, 0), (0, 1), (0, -1)], dtype=float)
    sky = directions(frame.slopes(around))
    across, up = (sky[0] - sky[1]) / (2 * step), (sky[2] - sky[3]) / (2 * step)
    assert np.linalg.norm(across) == pytest.approx(np.linalg.norm(up), rel=1e-7)
    assert across @ up / (up @ up) == pytest.approx(0.0, abs=1e-7)


def solid_angle(slopes: Array) -> float:
    """Solid angle in sr inside a closed outline of slopes about the axis (n, 2).

    Triangles from the axis by A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125.
    """
    sky = directions(slopes)
    a, b, c = np.array([0.0, 0.0, 1.0]), sky, np.roll(sky, -1, axis=0)
    triple = np.cross(b, c) @ a
    total = 2 * np.arctan2(triple, 1 + b @ a + np.sum(b * c, axis=1) + c @ a)
    return float(np.sum(total))


def outline(width: float, height: float, per_side: int) -> Array:
    """Points (n, 2) round a frame in mm, counter-clockwise, corners included."""
    w, h = width / 2, height / 2
    corners = np.array([(w, h), (-w, h), (-w, -h), (w, -h)])
    share = np.arange(per_side)[:, None] / per_side
    return np.concatenate([a + (b - a) * share for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])


@pytest.mark.parametrize(
    ("focal_length", "width", "height"), [(16.0, 36.0, 24.0), (8.0, 17.3, 13.0), (15.0, 24.0, 24.0)]
)
def test_equisolid_frame_covers_its_own_area_of_sky(focal_length: float, width: float, height: float) -> None:
    """Equal area: the sky in the frame is its area over f² in steradians."""
    frame = beam_of(Q, focal_length, width, height).frame
    sky = solid_angle(frame.slopes(outline(width, height, 800)))
    assert sky == pytest.approx(width * height / focal_length**2, rel=1e-6)


def test_orthographic_frame_covers_its_own_area_of_the_unit_disc() -> None:
    """r = f sin θ: an orthographic image is the sky's own projection on the front plane, weighted by cos θ.

    The sky map's share within the frame, weighted the same way, must be the frame's area over f²; 41 cells across the
    disc, 8 x 8 points in each, leave at most a part in 200 of it.
    """
    width, height, focal_length = 20.0, 14.0, 14.0
    sky = light_map(beam_of(O, focal_length, width, height), None, cells=41)
    cell = (2.0 / len(sky.outside)) ** 2
    within = math.pi - float(sky.outside.sum()) * cell
    assert within == pytest.approx(width * height / focal_length**2, rel=1 / 200)


def test_rectilinear_frame_keeps_straight_lines_straight() -> None:
    """Slopes across any straight row of a rectilinear frame lie on a straight line; on a fisheye's they do not."""
    row = np.stack([np.linspace(-17.0, 17.0, 9), np.linspace(4.0, 10.0, 9)], axis=1)
    for kind, straight in ((R, True), (S, False), (E, False), (Q, False)):
        slopes = beam_of(kind, 20.0, 36.0, 24.0).frame.slopes(row)
        first, last = slopes[0], slopes[-1]
        along = (last - first) / np.linalg.norm(last - first)
        off = np.abs((slopes - first) @ np.array([-along[1], along[0]])).max()
        assert bool(off < 1e-12) is straight
        assert straight or off > 1e-3


@pytest.mark.parametrize("kind", NAMED)
def test_there_and_back_again(kind: Projection) -> None:
    points = outline(1.2, 0.8, 25)
    back = points_of_slopes(slopes_of_points(points, kind), kind)
    assert back == pytest.approx(points, abs=1e-12)


def test_fields_of_a_fisheye_by_projection() -> None:
    """The same 16 mm on 36 x 24: full diagonal field from the published mapping functions, largest for the projection
    that squeezes its edges most.
    """
    half = math.hypot(18.0, 12.0) / 16.0
    wanted = {
        R: math.atan(half), S: 2 * math.atan(half / 2), E: half, Q: 2 * math.asin(half / 2),
    }  # fmt: skip
    found = {}
    for kind, angle in wanted.items():
        corner = beam_of(kind, 16.0, 36.0, 24.0).frame.slopes(np.array([(18.0, 12.0)]))[0]
        found[kind] = math.atan(math.hypot(*corner))
        assert found[kind] == pytest.approx(angle, abs=1e-12)
    assert found[R] < found[S] < found[E] < found[Q]
    with pytest.raises(OpticsError, match="89 degrees"):
        beam_of(O, 16.0, 36.0, 24.0)
