"""Vignetting: published conditions, limits and two-circle areas, through the loss of windows and of plain hoods.

Conditions on a ring of radius a, with y the height of the marginal ray and y' that of the chief ray in its plane:
unvignetted where a >= |y| + |y'|, about half where a = |y'|, fully where a <= |y'| - |y|, and never at a pupil (J. E.
Greivenkamp, Field Guide to Geometrical Optics, SPIE 2004, pp. 31-32, "Vignetting"; the text was read, the formulas in
it are pictures and are from memory). Off the axis the pupil is the area common to two circles (W. J. Smith, Modern
Optical Engineering, 4th ed., ch. 9, figs. 9.3 and 9.4).

Areas of two circles: the usual formula (from memory: MathWorld, "Circle-Circle Intersection") in `overlap_share`.
"""

from __future__ import annotations

import math
from math import acos, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from numpy.typing import NDArray

from lenses import beam_of
from shadewright.clearance import occlusion
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import Occluder, window_vignetting
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall
from shadewright.optics.beam import Beam

Array = NDArray[np.float64]

PUPIL, DEPTH, RIM = 8.0, 20.0, 40.0
"""The worked case: a pupil of radius 8 mm, 20 mm behind the front, and a ring 40 mm ahead of the front."""
CHORD_ERROR = 1e-5
"""A share summed over 256 chords of the beam."""


def overlap_share(r: float, big: float, d: float) -> float:
    """Area common to circles of radius r and `big` at distance d, over that of the first."""
    if d + r <= big:
        return 1.0
    if d >= r + big:
        return 0.0
    first = r * r * acos((d * d + r * r - big * big) / (2 * d * r))
    second = big * big * acos((d * d + big * big - r * r) / (2 * d * big))
    root = sqrt((-d + r + big) * (d + r - big) * (d - r + big) * (d + r + big))
    return (first + second - root / 2) / (pi * r * r)


def rim_error(ring: float, radius: float = PUPIL) -> float:
    """What a share of a pupil of `radius` may be off past a round rim, which is drawn as chords half a degree long.

    The chords lie up to a (1 - cos 0.25 degrees) inside the circle, over at most the pupil's diameter.
    """
    return CHORD_ERROR + ring * (1 - cos(radians(0.25))) * 2 / (pi * radius)


def plain_tube(radius: float, depth: float) -> RoundHood:
    """A plain tube whose rim is the ring."""
    return RoundHood(RoundWall((0.0,), (radius,)), Rim.plain(depth))


def pupil_alone(radius: float = PUPIL, *, distance: float = math.inf) -> Beam:
    """A beam that its pupil alone limits: the front glass is wider than anything here."""
    return beam_of([(DEPTH, radius, 0, 0), (0.0, 500.0, 0, 0)], 0.9, 0.9, distance=distance)


def pupil_and_ring(ring: float, ahead: float = RIM) -> Beam:
    """The same with the ring as a third window of the lens."""
    return beam_of([(DEPTH, PUPIL, 0, 0), (0.0, 500.0, 0, 0), (-ahead, ring, 0, 0)], 0.9, 0.9)


def towards(degrees: float, azimuth: float = 0.0) -> Array:
    """The slope (1, 2) of a field angle in degrees towards an azimuth in degrees."""
    return tan(radians(degrees)) * np.array([[cos(radians(azimuth)), sin(radians(azimuth))]])


# Pupil radius 8, ring 60 mm ahead of the pupil, 30 degrees off the axis: y = 8, y' = 34.6410. Shares from the
# two-circle area: at "half" vignetting the ring's curve leaves 0.4755 and not a half.
WORKED = [
    (42.6411, 1.0), (38.0, 0.741311), (34.6410, 0.475464), (30.0, 0.138861), (26.6410, 0.0),
]  # fmt: skip


@pytest.mark.parametrize("azimuth", [0.0, 33.7, 90.0, 212.0])
@pytest.mark.parametrize(("ring", "share"), WORKED)
def test_worked_case_past_a_plain_hood(ring: float, share: float, azimuth: float) -> None:
    hidden = Occluder(plain_tube(ring, RIM)).hidden(pupil_alone(), towards(30.0, azimuth))[0]
    assert 1.0 - hidden == pytest.approx(share, abs=rim_error(ring))


@pytest.mark.parametrize("azimuth", [0.0, 33.7, 90.0, 212.0])
@pytest.mark.parametrize(("ring", "share"), WORKED[:-1])
def test_worked_case_by_a_window(ring: float, share: float, azimuth: float) -> None:
    loss = window_vignetting(pupil_and_ring(ring), towards(30.0, azimuth))[0]
    assert 2.0**-loss == pytest.approx(share, abs=CHORD_ERROR)


def test_fully_vignetted_by_a_window() -> None:
    loss = window_vignetting(pupil_and_ring(26.6410), towards(30.0))[0]
    assert loss == pytest.approx(20.0)  # what stands for "all of it"


def test_half_vignetted_is_not_half() -> None:
    """A ring through the chief ray leaves less than half, since it curves towards the axis; a straight edge leaves half.

    As the ring grows, the chief ray always on it, the share tends to the half of the text: the missing sliver is
    r³ / (3 a) of π r² (the arc's sagitta v² / (2 a), summed across the pupil).
    """
    shares = []
    for scale in (1.0, 2.0, 4.0, 8.0):
        ring = 60.0 * scale * tan(radians(30.0))
        tube = plain_tube(ring, 60.0 * scale - DEPTH)
        share = 1.0 - Occluder(tube).hidden(pupil_alone(), towards(30.0))[0]
        assert 0.5 - share == pytest.approx(PUPIL / (3 * pi * ring), rel=0.01, abs=rim_error(ring))
        shares.append(share)
    assert shares[0] == pytest.approx(0.475464, abs=rim_error(34.641))
    assert shares == sorted(shares)


@pytest.mark.parametrize("ring", [9.0, 15.0, 30.0, 42.0])
@pytest.mark.parametrize("ahead", [5.0, 40.0, 90.0])
def test_conditions_of_the_text(ring: float, ahead: float) -> None:
    """Nothing is lost up to a = y + y', all of it from a = y' - y on, something between."""
    occluder = Occluder(plain_tube(ring, ahead))
    per_slope = ahead + DEPTH
    begins, ends = (ring - PUPIL) / per_slope, (ring + PUPIL) / per_slope
    slopes = np.array([(begins - 1e-4, 0), (begins + 1e-3, 0), (ends - 1e-3, 0), (ends + 1e-4, 0)])
    hidden = occluder.hidden(pupil_alone(), slopes)
    assert hidden[0] < 1e-12
    assert 0.0 < hidden[1] < 0.05
    assert 0.95 < hidden[2] < 1.0
    assert hidden[3] > 1.0 - 1e-12


def test_nothing_is_vignetted_at_a_pupil() -> None:
    """Greivenkamp: vignetting cannot occur at the stop or at a pupil. A ring in the pupil's own plane takes nothing."""
    ring_at_pupil = beam_of([(DEPTH, PUPIL, 0, 0), (0.0, 500.0, 0, 0), (DEPTH, PUPIL, 0, 0)], 0.9, 0.9)
    slopes = np.array([(x, y) for x in (0.0, 0.3, 0.9) for y in (0.0, 0.5)])
    assert window_vignetting(ring_at_pupil, slopes) == pytest.approx(0.0, abs=1e-12)
    # A hood whose rim lies in the plane of a pupil ahead of the front takes nothing either while it is wider.
    ahead = beam_of([(-RIM, PUPIL, 0, 0), (0.0, 500.0, 0, 0)], 0.9, 0.9)
    assert Occluder(plain_tube(PUPIL + 0.01, RIM)).hidden(ahead, slopes[:1])[0] == 0.0


# Field angles at which vignetting by a tube of radius 30 begins, is half and is whole: tan θ = (a - r) / h, a / h and
# (a + r) / h, from the same conditions.
TUBE = 30.0
LIMITS = {40.0: (20.1363, 26.5651, 32.3474), 70.0: (13.7363, 18.4349, 22.8906)}


@pytest.mark.parametrize("ahead", LIMITS)
def test_limits_of_a_tube(ahead: float) -> None:
    """Bisected from the loss itself, to the last published digit."""
    occluder, beam = Occluder(plain_tube(TUBE, ahead)), pupil_alone()

    def first_angle(beyond: float) -> float:
        low, high = 0.0, 45.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            lost = occluder.hidden(beam, towards(middle))[0] > beyond
            low, high = (low, middle) if lost else (middle, high)
        return low

    # The share near a limit falls as the power 3/2: 1e-9 of the beam is 1e-5 of its width.
    assert first_angle(1e-9) == pytest.approx(LIMITS[ahead][0], abs=3e-4)
    assert first_angle(1 - 1e-9) == pytest.approx(LIMITS[ahead][2], abs=3e-4)


@pytest.mark.parametrize("ahead", LIMITS)
def test_deepest_rim_meets_the_angle_where_vignetting_begins(ahead: float) -> None:
    """A frame that ends where the tube begins to vignette allows just that tube."""
    half = tan(radians(LIMITS[ahead][0]))
    beam = beam_of([(DEPTH, PUPIL, 0, 0), (0.0, 500.0, 0, 0)], half, half / 50)
    rim = keep_out([beam]).rim(RoundWall((0.0,), (TUBE,)), np.array([0.0, 180.0]), cap=500.0)
    # Half a unit of the angle's last digit is 2e-4 mm of depth for each mm of the ring.
    assert rim.value == pytest.approx(ahead, abs=5e-4)


def test_pupil_found_from_two_tubes() -> None:
    """The half limits of two tubes, the lens stopped right down, give the pupil's depth back.

    y' = a at both, so z = (D2 tan θ2 - D1 tan θ1) / (tan θ1 - tan θ2): 20 mm, within 1e-3.
    """
    beam, tangents = pupil_alone(0.02), []
    for ahead, (_begins, half, _ends) in LIMITS.items():
        occluder = Occluder(plain_tube(TUBE, ahead))
        low, high = 0.0, 45.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            more = occluder.hidden(beam, towards(middle))[0] > 0.5
            low, high = (low, middle) if more else (middle, high)
        assert low == pytest.approx(half, abs=1e-3)
        tangents.append(tan(radians(low)))
    (d1, t1), (d2, t2) = zip(LIMITS, tangents, strict=True)
    assert (d2 * t2 - d1 * t1) / (t1 - t2) == pytest.approx(DEPTH, abs=1e-3)


# Radii of two circles and the distance of their centres, the area they share, and its share of the first. The closed
# form of the first row is 2 π / 3 - √3 / 2; the distance of the third, at which the area halves, is OEIS A133741 (from
# memory).
TWO_CIRCLES = [
    (1.0, 1.0, 1.0, 1.2283697, 0.3910022), (1.0, 1.0, 0.5, 2.1521092, 0.6850376),
    (1.0, 1.0, 0.8079455066, 1.5707963, 0.5), (1.0, 2.0, 2.0, 1.4030664, 0.4466099),
    (1.0, 2.0, 2.5, 0.5224193, 0.1662913), (10.0, 15.0, 15.0, 134.6012, 0.4284489),
]  # fmt: skip


@pytest.mark.parametrize("azimuth", [0.0, 57.0, 180.0])
@pytest.mark.parametrize(("r", "big", "d", "area", "share"), TWO_CIRCLES)
def test_two_circles(r: float, big: float, d: float, area: float, share: float, azimuth: float) -> None:
    """Windows of radii r and R, r lying so deep that its centre is seen d aside at 45 degrees."""
    beam = beam_of([(d, r, 0, 0), (0.0, big, 0, 0)], 1.5, 1.5)
    slopes = towards(45.0, azimuth)
    areas = np.empty(1)
    windows, planes = beam.limits(slopes)
    occlusion.opening_areas(windows, planes, np.array(beam.centre), slopes, math.inf, occlusion.CHORDS, areas)
    assert areas[0] == pytest.approx(area, rel=CHORD_ERROR)
    assert 2.0 ** -window_vignetting(beam, slopes)[0] == pytest.approx(share, abs=CHORD_ERROR)


@pytest.mark.parametrize(("r", "big", "d", "area", "share"), TWO_CIRCLES)
def test_two_circles_by_a_hood(r: float, big: float, d: float, area: float, share: float) -> None:
    """The same two circles as a pupil in the front rim plane and the rim of a plain hood."""
    scale = 10.0 / r
    beam = beam_of([(0.0, 10.0, 0, 0), (0.0, 500.0, 0, 0)], 1.5, 1.5)
    hood = plain_tube(big * scale, d * scale)
    assert 1.0 - Occluder(hood).hidden(beam, towards(45.0))[0] == pytest.approx(share, abs=rim_error(big * scale, 10.0))
    assert area / (pi * r * r) == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize("distance", [200.0, 600.0, 5000.0])
@pytest.mark.parametrize("ring", [38.0, 34.6410, 30.0])
def test_near_subject(ring: float, distance: float) -> None:
    """From a subject at a distance S of the pupil the bundle narrows to r (1 - h / S) at the ring; the chief ray stays.

    Similar triangles; the share is then the two-circle one.
    """
    beam = pupil_alone(distance=distance)
    narrowed = PUPIL * (1 - (RIM + DEPTH) / distance)
    wanted = overlap_share(narrowed, ring, (RIM + DEPTH) * tan(radians(30.0)))
    hidden = Occluder(plain_tube(ring, RIM)).hidden(beam, towards(30.0))[0]
    assert 1.0 - hidden == pytest.approx(wanted, abs=rim_error(ring, narrowed))


def test_worked_case_past_a_mesh() -> None:
    """A hood known only as triangles, judged on a raster of 256 cells: within a part in 500 of the beam."""
    angle = np.radians(np.arange(720) / 2)
    for ring, share in WORKED:
        circle = np.stack([ring * np.cos(angle), ring * np.sin(angle)], axis=1)
        vertices = np.concatenate(
            [np.column_stack([circle, np.full(720, 0.0)]), np.column_stack([circle, np.full(720, RIM)])]
        )
        first, following = np.arange(720), (np.arange(720) + 1) % 720
        faces = np.concatenate(
            [
                np.stack([first, following, following + 720], axis=1),
                np.stack([first, following + 720, first + 720], axis=1),
            ]
        )
        hidden = Occluder(MeshHood(vertices, faces)).hidden(pupil_alone(), towards(30.0))[0]
        assert 1.0 - hidden == pytest.approx(share, abs=2e-3)
