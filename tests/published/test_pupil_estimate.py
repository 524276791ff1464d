"""The estimate used where nobody measured the entrance pupil, against rays traced through published designs.

A paraxial pupil is not the whole truth: off the axis the real pupil wanders and swells, so that real rays pass outside
the paraxial disc. The estimate must hold them all the same. Prescriptions are facts from the lens files of the renderer
pbrt (github.com/mmp/pbrt-v4-scenes), which name W. J. Smith, Modern Lens Design (MLD), and the patent they follow; other
pupil depths are those that three ray tracers agree on for published designs.

The designs count z backwards from the front vertex; here z runs forward and the vertex is at 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from lenses import NO_PLAY, camera
from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.model.camera import Camera
from shadewright.model.lens import Front, Lens, Mapping, Projection, State
from shadewright.optics.beam import Job, job
from shadewright.optics.settings import PUPIL_RATIO, PUPIL_RATIO_WIDE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Design:
    """A published design down to its stop: rows of (radius, 0 for a plane; distance to the next; index behind it; clear
    diameter), the last one the stop, whose clear diameter is `stop` at the stated f-number.
    """

    source: str
    focal_length: float
    pupil_depth: float
    pupil_diameter: float
    stop: float
    rows: tuple[tuple[float, float, float, float], ...]
    projection: Projection = Projection.RECTILINEAR

    @property
    def front_radius(self) -> float:
        """Radius of the first glass, mm."""
        return self.rows[0][3] / 2

    @property
    def sag(self) -> float:
        """How far the edge of the first glass lies behind its vertex, mm."""
        radius = self.rows[0][0]
        return radius - math.sqrt(radius**2 - self.front_radius**2)


DESIGNS = {
    "double-gauss": Design(
        "dgauss.50mm.dat: f/2, 22 degrees, US 2,673,491, MLD p. 312", 50.35817, 19.94648, 24.8051, 17.1,
        (
            (29.475, 3.76, 1.67, 25.2), (84.83, 0.12, 1.0, 25.2), (19.275, 4.025, 1.67, 23.0),
            (40.77, 3.275, 1.699, 23.0), (12.75, 5.705, 1.0, 18.0), (0.0, 4.5, 1.0, 17.1),
        ),
    ),
    "wide": Design(
        "wide.22mm.dat: 38 degrees, MLD p. 360", 22.02350, 12.08874, 8.2060, 8.756,
        (
            (35.98738, 1.21638, 1.54, 23.716), (11.69718, 9.9957, 1.0, 17.996), (13.08714, 5.12622, 1.772, 12.364),
            (-22.63294, 1.76924, 1.617, 9.812), (71.05802, 0.8184, 1.0, 9.152), (0.0, 2.27766, 1.0, 8.756),
        ),
    ),
    "telephoto": Design(
        "telephoto.250mm.dat: 254 mm f/5.6, MLD p. 175", 249.56661, 15.28651, 46.0163, 40.5,
        (
            (54.6275, 12.52, 1.529, 47.5), (-86.365, 3.755, 1.599, 44.5), (271.7625, 2.8175, 1.0, 41.5),
            (0.0, 67.4125, 1.0, 40.5),
        ),
    ),
    "fisheye": Design(
        "fisheye.10mm.dat: f/4, 155.9 degrees, MLD p. 164", 9.99142, 11.54237, 2.5316, 6.08,
        (
            (30.2249, 0.8335, 1.62, 30.34), (11.3931, 7.4136, 1.0, 20.68), (75.2019, 1.0654, 1.639, 17.8),
            (8.3349, 11.1549, 1.0, 13.42), (9.5882, 2.0054, 1.654, 9.02), (43.8677, 5.3895, 1.0, 8.14),
            (0.0, 1.4163, 1.0, 6.08),
        ),
        Projection.EQUIDISTANT,
    ),
}  # fmt: skip

DIAGONAL = math.atan2(2, 3)
"""Azimuth of the frame's corner, radians."""
CORNERS = {"double-gauss": 22.0, "wide": 38.0, "telephoto": 5.0, "fisheye": 60.0}
"""Half field in degrees that the frame's corner is laid at."""

# Heights in mm, 20 mm ahead of the front vertex, of the outer and inner rim rays that pass the edge of the stop, and
# of the same rays by the paraxial pupil, positive on the field's own side. Source: traced through the designs above and checked in a second tracer.
RIM_RAYS = [
    ("double-gauss", 22.0, (28.6128, 3.5182), (28.5420, 3.7369)),
    ("wide", 19.0, (15.1557, 6.8562), (15.1521, 6.9460)),
    ("wide", 38.0, (29.6539, 19.7745), (29.1735, 20.9675)),
    ("telephoto", 5.0, (25.3665, -19.3051), (26.0953, -19.9210)),
    ("fisheye", 60.0, (53.3770, 49.0228), (55.8988, 53.3672)),
]


def at_stop(design: Design, points: Array, degrees: float, *, apertures: bool) -> Array:
    """Where rays of one field angle, towards +x, from points (n, 2) in the plane of the front vertex cross the stop,
    (n, 2) mm; NaN where a ray misses a surface, is totally reflected or, with `apertures`, misses a glass.

    Refraction in vectors: d' = k d + (k c - sqrt(1 - k² (1 - c²))) n, c = -n · d, k = n1 / n2 (any optics text).
    """
    angle = math.radians(degrees)
    # Along the light, z backwards as the design counts it: from the subject on the +x side towards the lens.
    way = np.tile(np.array([-math.sin(angle), 0.0, math.cos(angle)]), (len(points), 1))
    # From well ahead of the front, so that no glass has been entered yet.
    at = np.column_stack([points, np.zeros(len(points))]) - 200.0 * way
    index, vertex = 1.0, 0.0
    with np.errstate(invalid="ignore"):
        for radius, gap, behind, clear in design.rows:
            if radius == 0:
                at = at + ((vertex - at[:, 2]) / way[:, 2])[:, None] * way
                return np.asarray(at[:, :2])
            centre = np.array([0.0, 0.0, vertex + radius])
            from_centre = at - centre
            half = np.sum(from_centre * way, axis=1)
            under = half**2 - np.sum(from_centre**2, axis=1) + radius**2
            at = at + (-half - math.copysign(1.0, radius) * np.sqrt(under))[:, None] * way
            if apertures:
                at[np.hypot(at[:, 0], at[:, 1]) > clear / 2] = np.nan
            normal = (at - centre) / radius * math.copysign(1.0, radius)
            normal *= -np.sign(np.sum(normal * way, axis=1))[:, None]
            cosine = -np.sum(normal * way, axis=1)
            ratio = index / behind
            bent = np.sqrt(1 - ratio**2 * (1 - cosine**2))
            way = ratio * way + (ratio * cosine - bent)[:, None] * normal
            index, vertex = behind, vertex + gap
    raise AssertionError("a design ends with its stop")


def bundle(design: Design, degrees: float) -> Array:
    """Points (n, 2) in the plane of the front vertex of rays of one field, towards +x, that reach and pass the stop."""
    reach = design.front_radius + design.sag * math.tan(math.radians(degrees)) + 1.0
    axis = np.linspace(-reach, reach, 241)
    points = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    crossing = at_stop(design, points, degrees, apertures=True)
    through = np.hypot(crossing[:, 0], crossing[:, 1]) <= design.stop / 2
    return np.asarray(points[through])


def outermost(points: Array) -> Array:
    """Of points (n, 2), the one furthest from the axis in each degree of azimuth."""
    azimuth = np.floor(np.degrees(np.arctan2(points[:, 1], points[:, 0]))).astype(int)
    order = np.lexsort((np.hypot(points[:, 0], points[:, 1]), azimuth))
    last = np.append(np.diff(azimuth[order]) != 0, True)
    return np.asarray(points[order[last]])


def camera_for(focal_length: float, corner: float, projection: Projection) -> Camera:
    """A camera of 3:2 whose frame has its corner at a half field in degrees."""
    angle = math.radians(corner)
    height = focal_length * (angle if projection is Projection.EQUIDISTANT else math.tan(angle))
    return camera(2 * height * math.cos(DIAGONAL), 2 * height * math.sin(DIAGONAL))


def job_for(
    design: Design, corner: float, *, behind_vertex: float = 0.0, measured_glass: bool = True, known_pupil: bool = False,
    glass_in_plane: bool = False,
) -> Job:  # fmt: skip
    """The design as a lens document whose front rim plane lies `behind_vertex` mm behind the front vertex.

    With the plane at the glass's edge that edge lies in it, and `glass_in_plane` says so of any plane; else the depth of
    the glass behind the plane is left out, to be estimated.
    """
    state: dict[str, object] = {
        "focal_length": design.focal_length, "f_number": design.focal_length / design.pupil_diameter, "reach": 0.0,
    }  # fmt: skip
    if known_pupil:
        state["pupil_depth"] = design.pupil_depth - behind_vertex
    lens = Lens(
        document="lens", version=1, name="published design",
        front=Front(
            rim_diameter=2 * design.front_radius + 8.0,
            clear_diameter=2 * design.front_radius if measured_glass else None,
            clear_depth=0.0 if measured_glass and (glass_in_plane or behind_vertex > 0) else None,
        ),
        projection=Mapping(kind=design.projection), state=(State.model_validate(state),),
    )  # fmt: skip
    return job(lens, camera_for(design.focal_length, corner, design.projection))


def keep_out_of(work: Job) -> KeepOut:
    """The keep-out over everything that is uncertain, without any play."""
    return keep_out(work.beams(work.resolved.settings), margin=NO_PLAY)


def slack(design: Design, keepout: KeepOut, degrees: float, *, behind_vertex: float) -> float:
    """Least distance in mm that the keep-out's section reaches beyond traced rays of one field.

    The field points into the frame's corner; sections at 5, 20 and 60 mm ahead of the front vertex.
    """
    points = bundle(design, degrees)
    assert len(points) > 50
    slope = math.tan(math.radians(degrees))
    turn = np.array([(math.cos(DIAGONAL), math.sin(DIAGONAL)), (-math.sin(DIAGONAL), math.cos(DIAGONAL))])
    least = math.inf
    for z in (5.0, 20.0, 60.0):
        at = outermost((points + np.array([z * slope, 0.0])) @ turn)
        azimuth = np.degrees(np.arctan2(at[:, 1], at[:, 0]))
        section = keepout.section(z + behind_vertex, azimuth, outermost=1000.0).value
        least = min(least, float(np.min(section - np.hypot(at[:, 0], at[:, 1]))))
    return least


FIELDS = [0.0, 0.25, 0.5, 0.75, 0.9, 1.0]
"""Field angles looked at, as shares of the corner's."""


@pytest.mark.parametrize(("name", "degrees", "real", "paraxial"), RIM_RAYS)
def test_tracer_finds_the_published_rim_rays(
    name: str, degrees: float, real: tuple[float, float], paraxial: tuple[float, float]
) -> None:
    """The tracer of this file finds the same heights 20 mm ahead, to half of their last digit."""
    design = DESIGNS[name]
    ahead = 20 * math.tan(math.radians(degrees))
    for height in real:
        x = height - ahead
        either = at_stop(design, np.array([(x - 6e-5, 0.0), (x + 6e-5, 0.0)]), degrees, apertures=False)
        radii = np.abs(either[:, 0])
        assert radii.min() <= design.stop / 2 <= radii.max()
    assert paraxial[0] > paraxial[1]


@pytest.mark.parametrize(("name", "degrees", "real", "paraxial"), RIM_RAYS)
def test_measured_pupil_gives_the_paraxial_rim_ray(
    name: str, degrees: float, real: tuple[float, float], paraxial: tuple[float, float]
) -> None:
    """With the pupil known exactly the keep-out ends at the paraxial ray: the frame's corner at the field, a front far
    larger than the design's.
    """
    design = DESIGNS[name]
    state = State(
        focal_length=design.focal_length, f_number=design.focal_length / design.pupil_diameter, reach=0.0,
        pupil_depth=design.pupil_depth,
    )  # fmt: skip
    lens = Lens(
        document="lens", version=1, name=name, front=Front(rim_diameter=900.0, clear_diameter=890.0),
        projection=Mapping(kind=design.projection), state=(state,),
    )  # fmt: skip
    keepout = keep_out_of(job(lens, camera_for(design.focal_length, degrees, design.projection)))
    section = keepout.section(20.0, np.array([math.degrees(DIAGONAL)]), outermost=500.0).value[0]
    # A curved frame may be exceeded by 4e-4 of its slope, which is what the fisheye's row needs.
    spare = 4e-4 * paraxial[0] if design.projection is not Projection.RECTILINEAR else 0.0
    assert paraxial[0] - 1e-4 <= section <= paraxial[0] + 1e-4 + spare
    if real[0] > paraxial[0]:
        # So a rim cut to the paraxial pupil would stand in the real beam: this is what the estimate is wide for.
        assert section < real[0]


@pytest.mark.parametrize("glass", ["left out", "measured"])
@pytest.mark.parametrize(("name", "degrees", "real", "paraxial"), RIM_RAYS)
def test_estimate_holds_the_published_rim_ray(
    name: str, degrees: float, real: tuple[float, float], paraxial: tuple[float, float], glass: str
) -> None:
    """20 mm ahead of the vertex, along the corner, the estimated keep-out reaches the real outer ray, or at least as far
    as the front glass lets rays of that field pass.
    """
    design = DESIGNS[name]
    work = job_for(design, degrees, measured_glass=glass == "measured")
    assert any(entry.field.endswith("pupil_depth") for entry in work.estimates)
    assert any(entry.field == "front.clear_diameter" for entry in work.estimates) is (glass == "left out")
    keepout = keep_out_of(work)
    section = keepout.section(20.0, np.array([math.degrees(DIAGONAL)]), outermost=500.0).value[0]
    front = work.resolved.settings[0].front_radius
    let_through = front + 20 * math.tan(math.radians(degrees))
    assert section >= min(real[0], let_through) - 6e-5
    assert section >= min(paraxial[0], let_through) - 6e-5


def test_front_of_the_wide_design_limits_its_outer_ray() -> None:
    """38 degrees: the stop would let a ray through at 29.65 mm, the front glass of 11.858 mm ends at 27.48."""
    design = DESIGNS["wide"]
    assert design.front_radius + 20 * math.tan(math.radians(38)) == pytest.approx(27.484, abs=5e-4)
    keepout = keep_out_of(job_for(design, 38.0, glass_in_plane=True))
    section = keepout.section(20.0, np.array([math.degrees(DIAGONAL)]), outermost=500.0).value[0]
    assert section == pytest.approx(27.484, abs=5e-4)


@pytest.mark.parametrize("share", FIELDS)
@pytest.mark.parametrize("glass", ["left out", "measured"])
@pytest.mark.parametrize("name", DESIGNS)
def test_estimate_holds_every_traced_ray(name: str, glass: str, share: float) -> None:
    """Rays over the whole front, skew ones too, that pass every glass and the stop: with the glass's own edge taken as the
    front rim plane and its diameter measured, and with that plane at the vertex and only the outside of the barrel known,
    8 mm more than the glass.
    """
    design = DESIGNS[name]
    behind = design.sag if glass == "measured" else 0.0
    keepout = keep_out_of(job_for(design, CORNERS[name], behind_vertex=behind, measured_glass=glass == "measured"))
    assert slack(design, keepout, share * CORNERS[name], behind_vertex=behind) >= -1e-6


@pytest.mark.parametrize(
    "corner",
    [
        65.0,
        70.0,
        77.0,
    ],
)
def test_estimate_holds_the_fisheye_to_the_edge_of_its_field(corner: float) -> None:
    """The same fisheye with the frame's corner further out, to nearly the 77.95 degrees it was made for."""
    design = DESIGNS["fisheye"]
    keepout = keep_out_of(job_for(design, corner, behind_vertex=design.sag))
    assert min(slack(design, keepout, share * corner, behind_vertex=design.sag) for share in FIELDS) >= -1e-6


@pytest.mark.parametrize(
    "name",
    [
        "double-gauss",  # 1.13 mm of real beam outside
        "wide",  # 0.44 mm
        "telephoto",
        "fisheye",  # 2.65 mm
    ],
)
def test_estimate_holds_every_traced_ray_with_the_glass_behind_the_rim_plane(name: str) -> None:
    """The front rim plane at the vertex and the glass measured: its edge lies further back by the front surface's sag
    alone, 2.0 to 5.4 mm, and in a barrel by more.
    """
    design = DESIGNS[name]
    keepout = keep_out_of(job_for(design, CORNERS[name]))
    assert min(slack(design, keepout, share * CORNERS[name], behind_vertex=0.0) for share in FIELDS) >= -1e-6


# ---- the range of pupil depths ------------------------------------------------------------------------


@dataclass(frozen=True)
class Published:
    """Focal length and pupil depth behind the front vertex of a published design, in its own unit; half field in
    degrees. front: radius of the first glass where known.
    """

    focal_length: float
    pupil_depth: float
    half_field: float
    projection: Projection = Projection.RECTILINEAR
    front: float | None = None


# From design files of open packages (optiland 0.6, rayoptics 0.9), whose own figures agree with two further tracers.
# Laikin: M. Laikin, Lens Design, 4th ed., CRC 2007. Photographic and similar designs:
PHOTOGRAPHIC = {
    "triplet": Published(49.99978, 11.51216, 20.0),
    "double Gauss f/2": Published(100.00375, 57.91200, 14.0),
    "five elements f/5, Laikin p. 63": Published(10.00653, 2.39691, 10.0),
    "four elements f/4.5, Laikin p. 63": Published(3.99778, 0.65876, 20.5),
    "with a field corrector, Laikin p. 66": Published(127.05805, 25.92651, 9.65),
    "Petzval, Laikin p. 75": Published(50.58453, 16.62941, 7.0),
    "telephoto, Laikin p. 91": Published(127.01660, 7.78381, 10.0),
    "reversed telephoto": Published(2.00524, 1.34897, 30.0),
    "wide 100 degrees, Laikin p. 108": Published(0.65629, 1.49927, 50.0),
    "US 8,879,901": Published(35.97568, 34.09341, 10.82),
    "triplet f/4": Published(50.0010, 11.6792, 20.0),
    "US 583,336, the first double Gauss": Published(49.3890, 12.2885, 24.0),
    "US 8,427,765": Published(30.8009, 11.6370, math.degrees(math.atan(13.6 / 30.8009))),
    "US 5,331,467, 1000 mm": Published(999.6388, 127.5518, math.degrees(math.atan(21 / 999.6388))),
    "US 7,277,232 example 4, wide end": Published(18.5000, 18.5727, math.degrees(math.atan(14.2 / 18.5))),
    "JP 2019-008031 example 1, wide end": Published(14.4202, 19.8407, 57.68),
    "US 7,535,658, stop first": Published(5.5551, 0.0, math.degrees(math.atan(3.5 / 5.5551))),
    # Zoom 70-200 f/2.8, first glass 76 mm across; the pupil on the axis, and where it has wandered to 8 degrees off it.
    "US 5,537,259 example 1, 72 mm": Published(72.11829, 91.96415, 16.7, front=38.0),
    "the same, 8 degrees": Published(72.11829, 92.3912, 16.7, front=38.0),
    "US 5,537,259 example 1, 135 mm": Published(134.94764, 182.67996, 9.1, front=38.0),
    "the same, 135 mm, 8 degrees": Published(134.94764, 190.9834, 9.1, front=38.0),
    "US 5,537,259 example 1, 194 mm": Published(193.90972, 233.20206, 6.4, front=38.0),
    "the same, 194 mm, 8 degrees": Published(193.90972, 254.8755, 6.4, front=38.0),
    # The four designs of this file, on the axis and at the widest field traced.
    "double-gauss": Published(50.35817, 19.94648, 22.0, front=12.6),
    "double-gauss, 20 degrees": Published(50.35817, 21.1896, 22.0, front=12.6),
    "wide": Published(22.02350, 12.08874, 38.0, front=11.858),
    "wide, 38 degrees": Published(22.02350, 11.6193, 38.0, front=11.858),
    "telephoto": Published(249.56661, 15.28651, 5.0, front=23.75),
    "telephoto, 15 degrees": Published(249.56661, 15.2334, 5.0, front=23.75),
    "fisheye": Published(9.99142, 11.54237, 60.0, Projection.EQUIDISTANT, 15.17),
    "fisheye, 77 degrees": Published(9.99142, 7.9335, 77.0, Projection.EQUIDISTANT, 15.17),
}
# Not for cameras, listed so that it is said.
OTHER_DESIGNS = {
    "projection 160 degrees, Laikin p. 112": Published(0.94431, 3.62150, 80.0, Projection.EQUIDISTANT),
    "the same at 80 degrees": Published(0.94431, 1.0854, 80.0, Projection.EQUIDISTANT),
    "telescope objective, Laikin p. 48": Published(47.98451, 0.51823, 10.0),
    "triplet telescope objective, stop in front": Published(100.00126, 0.0, 1.0),
    "cemented achromat": Published(20.006, 0.0, 5.0),
    "singlet, stop at its rear": Published(101.50183, 6.31881, 5.0),
}


def interval_of(
    design: Published, *, frame: Camera | None = None, image_circle: float | None = None
) -> tuple[float, float]:
    """The range of pupil depths, in the design's unit, that a document without one is given. All lengths are scaled so
    that no focal length is below 10 mm; an unknown front is taken far wider than the field needs.
    """
    scale = max(1.0, 10.0 / design.focal_length)
    front = scale * (design.front or 4.0 * (design.pupil_depth + design.focal_length) * 6.0)
    lens = Lens(
        document="lens", version=1, name="published design",
        front=Front(rim_diameter=min(3000.0, 2 * front + 8), clear_diameter=min(2992.0, 2 * front)),
        projection=Mapping(kind=design.projection), image_circle=image_circle,
        state=(State(focal_length=design.focal_length * scale, f_number=8.0, reach=0.0),),
    )  # fmt: skip
    body = frame or camera_for(design.focal_length * scale, design.half_field, design.projection)
    (estimate,) = [entry for entry in job(lens, body).estimates if entry.field.endswith("pupil_depth")]
    return estimate.low / scale, estimate.high / scale


@pytest.mark.parametrize("name", [*PHOTOGRAPHIC, *OTHER_DESIGNS])
def test_range_covers_published_pupils(name: str) -> None:
    """Every photographic design lies in the range, and so do the others.

    Left out: US 5,831,776, a design for a near subject. Nearest to the end of the range are the wandering pupil of the
    135 mm zoom position (1.42 focal lengths of 1.6) and the 160 degree projection lens (3.84 of 4).
    """
    design = (PHOTOGRAPHIC | OTHER_DESIGNS)[name]
    low, high = interval_of(design)
    assert low <= design.pupil_depth <= high


def test_ratios_are_what_the_designs_need() -> None:
    """The two ratios stand above the largest of their class, and not more than a fifth above it."""
    for ratio, wide in ((PUPIL_RATIO, False), (PUPIL_RATIO_WIDE, True)):
        ratios = [
            d.pupil_depth / d.focal_length
            for d in (PHOTOGRAPHIC | OTHER_DESIGNS).values()
            if (d.half_field >= 45) is wide
        ]
        assert max(ratios) <= ratio <= 1.2 * max(ratios)


def test_zoom_of_published_design_at_every_position() -> None:
    """The three positions as one document: each is given a range that holds its own pupil."""
    rows = [PHOTOGRAPHIC[f"US 5,537,259 example 1, {f} mm"] for f in (72, 135, 194)]
    states = tuple(State(focal_length=row.focal_length, f_number=2.8, reach=0.0) for row in rows)
    lens = Lens(
        document="lens",
        version=1,
        name="published zoom",
        front=Front(rim_diameter=84.0, clear_diameter=76.0),
        state=states,
    )
    settings = job(lens, camera()).resolved.settings
    for row, setting in zip(rows, settings, strict=True):
        assert setting.focal_length == row.focal_length
        assert abs(row.pupil_depth - setting.pupil_depth) <= setting.pupil_depth_plus_minus


def test_range_with_an_image_circle_smaller_than_the_frame() -> None:
    """US 7,277,232 covers 28.4 mm. On a 36 x 24 frame, its circle stated, no more of it is used than before.

    The first glass is taken 32 mm across: the chief ray of its own edge of field stands 14.3 mm off the axis there.
    """
    design = Published(18.5, 18.5727, 37.5, front=16.0)
    assert interval_of(design)[1] >= design.pupil_depth
    low, high = interval_of(design, frame=camera(36.0, 24.0), image_circle=28.4)
    assert low <= design.pupil_depth <= high


def test_range_of_a_wide_design_under_a_fisheye_mapping() -> None:
    """50 degrees of half field is wide under any projection: 2.28 focal lengths, Laikin p. 108."""
    rectilinear = PHOTOGRAPHIC["wide 100 degrees, Laikin p. 108"]
    design = Published(rectilinear.focal_length, rectilinear.pupil_depth, 50.0, Projection.EQUIDISTANT)
    low, high = interval_of(design)
    assert low <= design.pupil_depth <= high


def test_range_of_a_wide_design_behind_a_smaller_frame() -> None:
    """The same design, made for 50 degrees, on a camera whose corner is at 40: its pupil does not move."""
    design = PHOTOGRAPHIC["wide 100 degrees, Laikin p. 108"]
    low, high = interval_of(design, frame=camera_for(10.0, 40.0, Projection.RECTILINEAR))
    assert low <= design.pupil_depth <= high
