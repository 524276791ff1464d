"""Fields of view of published focal lengths and formats, read off the frame that a lens is given on a camera.

Every angle goes through the documents: a lens and a camera are joined, and the slopes of the frame's edges and corners
are turned into full angles. A published figure is held to half of its last digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from lenses import camera, prime
from shadewright.model.camera import Camera, Orientation
from shadewright.model.hood import Use
from shadewright.optics.beam import Beam, job

# Full angles across, up and diagonal in degrees for 36 x 24 mm. Source: T. Bryant's table of lens coverage, quoted in a
# photographers' mailing list on 20 August 1999, three decimals.
THREE_DECIMALS = {
    14: (104.250, 81.203, 114.182), 15: (100.389, 77.320, 110.527), 17: (93.273, 70.435, 103.678),
    20: (83.974, 61.928, 94.493), 21: (81.203, 59.490, 91.702), 24: (73.740, 53.130, 84.062),
    28: (65.470, 46.397, 75.381), 35: (54.432, 37.849, 63.440), 50: (39.598, 26.991, 46.793),
    55: (36.244, 24.616, 42.943), 75: (26.991, 18.181, 32.180), 90: (22.620, 15.189, 27.032),
    135: (15.189, 10.159, 18.208), 180: (11.421, 7.628, 13.706), 200: (10.286, 6.867, 12.347),
    300: (6.867, 4.581, 8.249), 400: (5.153, 3.437, 6.191), 1000: (2.062, 1.375, 2.479),
}  # fmt: skip

# The same to one decimal. Source: B. Claff, "Angle of View Values for Common Focal Lengths", photonstophotos.net, 2006.
ONE_DECIMAL = {
    10: (121.9, 100.4, 130.4), 11: (117.1, 95.0, 126.1), 12: (112.6, 90.0, 122.0), 14: (104.3, 81.2, 114.2),
    15: (100.4, 77.3, 110.5), 17: (93.3, 70.4, 103.7), 18: (90.0, 67.4, 100.5), 19: (86.9, 64.6, 97.4),
    20: (84.0, 61.9, 94.5), 24: (73.7, 53.1, 84.1), 28: (65.5, 46.4, 75.4), 30: (61.9, 43.6, 71.6),
    35: (54.4, 37.8, 63.4), 45: (43.6, 29.9, 51.4), 50: (39.6, 27.0, 46.8), 55: (36.2, 24.6, 42.9),
    60: (33.4, 22.6, 39.7), 70: (28.8, 19.5, 34.3), 75: (27.0, 18.2, 32.2), 80: (25.4, 17.1, 30.3),
    85: (23.9, 16.1, 28.6), 90: (22.6, 15.2, 27.0), 100: (20.4, 13.7, 24.4), 105: (19.5, 13.0, 23.3),
    120: (17.1, 11.4, 20.4), 125: (16.4, 11.0, 19.6), 135: (15.2, 10.2, 18.2), 150: (13.7, 9.1, 16.4),
}  # fmt: skip

# Full angle across in degrees for a motion-picture frame 24.9 mm wide. Source: the lens tables of
# conversionencyclopedia, six decimals.
MOTION_PICTURE = {18: 69.340636, 24: 54.836054, 35: 39.162399, 50: 27.964611, 85: 16.665787}


def beam_on(camera_: Camera, focal_length: float, *, use: Use | None = None) -> Beam:
    """The beam of a lens of one focal length on a camera."""
    work = job(prime(float(focal_length), 8.0), camera_, use=use)
    return work.beam(work.resolved.settings[0])


def full_angles(beam: Beam) -> tuple[float, float, float]:
    """Full angles in degrees across, up and over the diagonal, from the slopes of frame points."""
    w, h = beam.frame.half_width, beam.frame.half_height
    slopes = beam.frame.slopes(np.array([(w, 0.0), (0.0, h), (w, h)]))
    across, up, diagonal = (2 * math.degrees(math.atan(math.hypot(*slope))) for slope in slopes)
    return across, up, diagonal


def full_angles_of_pieces(beam: Beam) -> tuple[float, float, float]:
    """The same from the region of slope that the keep-out is made of."""
    corners = np.concatenate(beam.pieces)
    right, top = corners.max(axis=0)
    slopes = (right, top, float(np.hypot(*corners.T).max()))
    across, up, diagonal = (2 * math.degrees(math.atan(slope)) for slope in slopes)
    return across, up, diagonal


@pytest.mark.parametrize("focal_length", THREE_DECIMALS)
def test_small_picture_fields_to_three_decimals(focal_length: int) -> None:
    beam = beam_on(Camera(document="camera", version=1, name="Heron body", format="135"), focal_length)
    for found in (full_angles(beam), full_angles_of_pieces(beam)):
        assert found == pytest.approx(THREE_DECIMALS[focal_length], abs=0.00051)


@pytest.mark.parametrize("focal_length", ONE_DECIMAL)
def test_small_picture_fields_to_one_decimal(focal_length: int) -> None:
    beam = beam_on(camera(36.0, 24.0), focal_length)
    assert full_angles(beam) == pytest.approx(ONE_DECIMAL[focal_length], abs=0.051)


@pytest.mark.parametrize("focal_length", MOTION_PICTURE)
def test_motion_picture_fields(focal_length: int) -> None:
    beam = beam_on(camera(24.9, 18.7), focal_length)
    assert full_angles(beam)[0] == pytest.approx(MOTION_PICTURE[focal_length], abs=1e-6)


@pytest.mark.parametrize("focal_length", MOTION_PICTURE)
def test_motion_picture_fields_of_the_named_format(focal_length: int) -> None:
    """The named format is 24.89 mm wide (0.980 inch), so its field is smaller by at most 0.01 in 24.9."""
    named = Camera(document="camera", version=1, name="Heron body", format="super-35-4perf")
    across = full_angles(beam_on(named, focal_length))[0]
    assert MOTION_PICTURE[focal_length] * (1 - 0.01 / 24.9) - 1e-6 <= across < MOTION_PICTURE[focal_length]


def test_normal_lens_in_a_published_example() -> None:
    """50 mm on 36 x 24: 39.6, 27.0 and 46.8 degrees (ayton.id.au, photographic notes, "field of view").

    The rows of 100 mm and more in that table follow the small-angle rule 57.3 d / f and are not used.
    """
    assert full_angles(beam_on(camera(), 50)) == pytest.approx((39.6, 27.0, 46.8), abs=0.05)


# Focal length multipliers of four formats as lenstip.com rounds them, beside its formula for the diagonal field.
MULTIPLIERS = {"135": 1.0, "aps-h": 1.3, "aps-c": 1.5, "aps-c-small": 1.6, "four-thirds": 2.0}


@pytest.mark.parametrize("name", MULTIPLIERS)
@pytest.mark.parametrize("focal_length", [10, 24, 50, 135, 300])
def test_diagonal_field_by_multiplier(name: str, focal_length: int) -> None:
    """View field = 114.6 arctan(21.622 / (S f)), lenstip.com, "Field of view for DSLR cameras".

    S is printed to one decimal, 0.05 either way: that, and not the product, sets what the formula can tell.
    """
    multiplier = MULTIPLIERS[name]
    named = Camera(document="camera", version=1, name="Heron body", format=name)
    diagonal = full_angles(beam_on(named, focal_length))[2]

    def formula(s: float) -> float:
        return 114.6 * math.atan(21.622 / (s * focal_length))

    assert formula(multiplier + 0.05) < diagonal < formula(multiplier - 0.05)
    if multiplier in (1.0, 2.0):
        assert diagonal == pytest.approx(formula(multiplier), rel=1e-3)


def test_field_follows_the_image_distance_at_near_focus() -> None:
    """At half life size the image distance is 1.5 f and the field that of a lens 1.5 times as long.

    v = f (1 + m) is the thin-lens equation of any optics text (from memory). 100 mm at m = 0.5 has the field of 150 mm
    in the published list: 13.7, 9.1 and 16.4 degrees.
    """
    work = job(prime(100.0, 8.0, image_distance=150.0, focus_distance=300.0), camera())
    assert full_angles(work.beam(work.resolved.settings[0])) == pytest.approx(ONE_DECIMAL[150], abs=0.051)


@pytest.mark.parametrize("focal_length", [14, 24, 50, 200])
def test_portrait_frame_swaps_across_and_up(focal_length: int) -> None:
    upright = beam_on(camera(orientation=Orientation.PORTRAIT), focal_length)
    across, up, diagonal = full_angles_of_pieces(upright)
    assert (up, across, diagonal) == pytest.approx(THREE_DECIMALS[focal_length], abs=0.00051)


@pytest.mark.parametrize("focal_length", [14, 24, 50, 200])
def test_frame_that_turns_holds_both(focal_length: int) -> None:
    both = beam_on(camera(orientation=Orientation.BOTH), focal_length)
    across, up, diagonal = full_angles_of_pieces(both)
    longest, _shorter, corner = THREE_DECIMALS[focal_length]
    assert (across, up, diagonal) == pytest.approx((longest, longest, corner), abs=0.00051)


def test_crop_mode_has_the_field_of_its_own_size() -> None:
    """A 24 x 16 crop at 50 mm sees what 36 x 24 sees at 75 mm: 27.0, 18.2 and 32.2 degrees in the published list."""
    cropping = camera(crop=[{"name": "small", "frame": [24.0, 16.0]}])
    assert full_angles(beam_on(cropping, 50, use=Use(crop="small"))) == pytest.approx(ONE_DECIMAL[75], abs=0.051)
