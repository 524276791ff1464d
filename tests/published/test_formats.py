"""Named frame formats against published picture sizes.

Where sources differ, every published size is listed: the named format must be one of them, and how far the largest goes
beyond it is written down, since a hood for the smaller frame would show in the larger.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from lenses import prime
from shadewright.model.camera import Camera, Orientation
from shadewright.model.formats import FORMATS
from shadewright.optics.beam import job

INCH = 25.4

FILM = "120-film frame table of a general encyclopaedia (film: ISO 732)"
SENSORS = "open sensor-size tables: the list sensors.md of github.com/jujumo/memento and others that agree"
MEDIUM = "shuttermuse.com and The Online Photographer, sizes of medium-format sensors"
CINE = "motion-picture camera aperture tables"


@dataclass(frozen=True)
class Published:
    """A published size: width and height in mm as held in landscape, and figures given beside it where there are any.

    diagonal in mm, aspect and crop (the diagonal of 36 x 24 over this one) carry the accuracy of their last digit.
    """

    width: float
    height: float
    source: str
    within: float = 0.005
    diagonal: tuple[float, float] | None = None
    aspect: tuple[float, float] | None = None
    crop: tuple[float, float] | None = None


PUBLISHED: dict[str, Published] = {
    "135": Published(36, 24, "ISO 1007 (from memory; many tables agree)", diagonal=(43.267, 5e-4), aspect=(1.5, 0)),
    "645": Published(56, 41.5, FILM, diagonal=(69.701, 5e-4), aspect=(1.35, 5e-3), crop=(0.621, 5e-4)),
    "6x6": Published(56, 56, FILM, diagonal=(79.196, 5e-4), aspect=(1, 0), crop=(0.546, 5e-4)),
    "6x7": Published(70, 56, FILM, diagonal=(89.644, 5e-4), aspect=(1.25, 0), crop=(0.483, 5e-4)),
    "6x8": Published(77, 56, FILM, diagonal=(95.21, 5e-3), aspect=(1.37, 6e-3)),
    "6x9": Published(84, 56, FILM, diagonal=(100.955, 5e-3), aspect=(1.5, 0), crop=(0.429, 5e-4)),
    "6x12": Published(118, 56, FILM, aspect=(2.1, 0.05)),
    "6x17": Published(168, 56, FILM, aspect=(3, 0)),
    "4x5": Published(121, 97, "sheet-film tables: image 121 x 97 on a sheet of 127 x 102", diagonal=(155, 0.5),
                     aspect=(1.25, 5e-3)),
    "44x33": Published(43.8, 32.9, MEDIUM, diagonal=(54.78, 5e-3), aspect=(1.331, 5e-4), crop=(0.79, 5e-4)),
    "54x40": Published(53.4, 40.0, MEDIUM, diagonal=(66.7, 0.05), aspect=(1.33, 6e-3), crop=(0.645, 5e-3)),
    "aps-h": Published(27.9, 18.6, SENSORS, diagonal=(33.5, 0.05), aspect=(1.5, 5e-3), crop=(1.29, 5e-3)),
    "aps-c": Published(23.6, 15.7, SENSORS, diagonal=(28.3, 0.1), aspect=(1.5, 5e-3), crop=(1.53, 5e-3)),
    "aps-c-small": Published(22.3, 14.9, SENSORS, diagonal=(26.82, 5e-3), aspect=(1.497, 5e-4), crop=(1.61, 5e-3)),
    "four-thirds": Published(17.3, 13.0, "several tables of the standard; imaging circle 21.63 mm",
                             diagonal=(21.63, 0.011), aspect=(1.331, 5e-4), crop=(2.0, 5e-3)),
    "1-inch": Published(13.2, 8.8, SENSORS, diagonal=(15.864, 1e-3), aspect=(1.5, 0), crop=(2.727, 5e-4)),
    "2/3-inch": Published(8.8, 6.6, SENSORS, diagonal=(11.0, 0), aspect=(1.333, 5e-4), crop=(3.93, 5e-3)),
    "super-35-4perf": Published(0.980 * INCH, 0.735 * INCH, "Practical Cinematography, 2nd ed., ch. 20: 0.980 x 0.735 inch "
                                "(SMPTE ST 59, from memory)", within=0.01, diagonal=(31.11, 5e-3), aspect=(1.333, 1e-3),
                                crop=(1.39, 5e-3)),
    "super-35-3perf": Published(24.89, 14.0, CINE, diagonal=(28.56, 5e-3), aspect=(1.78, 5e-3)),
    "academy-35": Published(0.866 * INCH, 0.630 * INCH, "35 mm specification page: 0.866 x 0.630 inch (SMPTE ST 59, from "
                            "memory)", aspect=(1.375, 1e-3)),
    "super-16": Published(12.52, 7.41, CINE + " (SMPTE ST 201, from memory)", diagonal=(14.55, 5e-3), aspect=(1.69, 5e-3),
                          crop=(2.97, 5e-3)),
    "16mm": Published(10.26, 7.49, SENSORS + " (SMPTE ST 7, from memory)", diagonal=(12.70, 5e-3), aspect=(1.37, 5e-3),
                      crop=(3.41, 5e-3)),
    "super-8": Published(5.79, 4.01, SENSORS, diagonal=(7.04, 5e-3), aspect=(1.44, 5e-3)),
    "65-5perf": Published(52.48, 23.01, SENSORS + " (SMPTE ST 215, from memory)", diagonal=(57.30, 5e-3),
                          aspect=(2.28, 5e-3), crop=(0.755, 5e-4)),
    "70-15perf": Published(70.41, 52.63, SENSORS, diagonal=(87.91, 5e-3), aspect=(1.338, 5e-4), crop=(0.492, 5e-4)),
}  # fmt: skip

UNPUBLISHED = {"135-square": (24.0, 24.0)}
"""Common practice, no source: the half-width square on 135 film."""

# Other published sizes of the same name (same sources; "aps-c" also 23.6 x 15.8, the manual of a camera of 2007).
OTHERS: dict[str, list[tuple[float, float]]] = {
    "6x7": [(69, 56), (67, 56), (72, 56)],
    "6x12": [(112, 56)],
    "44x33": [(43.9, 32.9), (43.8, 32.8)],
    "54x40": [(53.7, 40.4)],
    "aps-c": [(23.5, 15.6), (23.7, 15.6), (23.6, 15.6), (23.6, 15.8)],
    "aps-c-small": [(22.2, 14.8)],
    "super-35-3perf": [(24.92, 13.87)],
    "65-5perf": [(52.63, 23.01), (52.15, 23.07)],
}


def body(name: str, **more: object) -> Camera:
    """A camera document that names a format."""
    return Camera.model_validate({"document": "camera", "version": 1, "name": "Heron body", "format": name, **more})


def test_every_format_is_accounted_for() -> None:
    assert set(FORMATS) == set(PUBLISHED) | set(UNPUBLISHED)
    for name, entry in FORMATS.items():
        assert entry.name == name
        assert entry.source.strip()
        assert entry.width >= entry.height  # held in landscape


@pytest.mark.parametrize("name", PUBLISHED)
def test_size(name: str) -> None:
    published = PUBLISHED[name]
    assert body(name).full_frame == pytest.approx((published.width, published.height), abs=published.within)


@pytest.mark.parametrize("name", UNPUBLISHED)
def test_size_without_a_source(name: str) -> None:
    assert body(name).full_frame == UNPUBLISHED[name]


@pytest.mark.parametrize("name", PUBLISHED)
def test_diagonal_aspect_and_crop(name: str) -> None:
    published = PUBLISHED[name]
    width, height = body(name).full_frame
    diagonal = math.hypot(width, height)
    for figure, found in (
        (published.diagonal, diagonal), (published.aspect, width / height), (published.crop, math.hypot(36, 24) / diagonal),
    ):  # fmt: skip
        if figure is not None:
            assert found == pytest.approx(figure[0], abs=figure[1] + 1e-9)


@pytest.mark.parametrize("name", FORMATS)
def test_size_reaches_the_frame_in_front_of_a_lens(name: str) -> None:
    """Half sizes at the image, either way up."""
    for orientation in (Orientation.LANDSCAPE, Orientation.PORTRAIT):
        work = job(prime(200.0, 8.0), body(name, orientation=orientation))
        (outline,) = work.frame(work.resolved.settings[0]).outlines()
        sides = (2 * outline[:, 0].max(), 2 * outline[:, 1].max())
        wanted = (FORMATS[name].width, FORMATS[name].height)
        assert sides == pytest.approx(wanted if orientation is Orientation.LANDSCAPE else wanted[::-1])


@pytest.mark.parametrize(("name", "inches"), [("1-inch", 1.0), ("2/3-inch", 2 / 3), ("four-thirds", 4 / 3)])
def test_inch_types(name: str, inches: float) -> None:
    """Optical format in inches is about the diagonal in mm over 16 (open sensor-size tables), here to 4 %."""
    assert math.hypot(*body(name).full_frame) / 16 == pytest.approx(inches, rel=0.04)


@pytest.mark.parametrize(("name", "inches"), [("super-35-4perf", (0.980, 0.735)), ("academy-35", (0.866, 0.630))])
def test_motion_picture_apertures_in_inches(name: str, inches: tuple[float, float]) -> None:
    """The apertures are laid down to a thousandth of an inch: in mm they must come out to within half of that."""
    for found, wanted in zip(body(name).full_frame, inches, strict=True):
        assert found / INCH == pytest.approx(wanted, abs=5e-4)


def test_wrong_sizes_that_go_round() -> None:
    """Some open lists give Four Thirds as 18 x 13.5 (the sensor's outside) or 17.3 x 14, and the 1-inch type as the
    12.8 x 9.6 of old video tubes: none of these is the picture.
    """
    assert body("four-thirds").full_frame not in {(18.0, 13.5), (17.3, 14.0)}
    assert body("1-inch").full_frame != (12.8, 9.6)


@pytest.mark.parametrize("name", OTHERS)
def test_named_size_against_other_published_ones(name: str) -> None:
    """No published size goes further beyond the named one than 2 mm in 70 (3 %) in either direction.

    A camera with a larger frame than the named one needs `frame` in its document.
    """
    width, height = body(name).full_frame
    for other_width, other_height in OTHERS[name]:
        assert other_width <= 1.03 * width
        assert other_height <= 1.03 * height
