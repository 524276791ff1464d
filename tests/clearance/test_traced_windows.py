"""Traced lenses whose beams are known in closed form: a stop in front is one window, whatever stands behind it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from lenses import beam_of
from shadewright.clearance.keepout import keep_out, pupil_only_rim
from shadewright.clearance.loss import Occluder
from shadewright.errors import OpticsError
from shadewright.model.camera import Camera
from shadewright.model.lens import Front, Lens, Placement, Seat
from shadewright.model.prescription import Prescription
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.optics.beam import Beam, job
from shadewright.optics.footprints import footprints
from shadewright.optics.system import system_of

Array = NDArray[np.float64]
STOP = 6.0
"""Semi-diameter of the stop that stands in front, mm."""
WALL = RoundWall((0.0,), (30.0,))
AZIMUTH = np.arange(0.0, 360.0, 5.0)


def front_stop(*, focus: float | str = "infinity", plate: bool = False) -> Prescription:
    """A stop, then a lens 12 mm behind it, far wider than any beam; and a plane plate between them if asked for."""
    plates = [{"index": 1.5, "thickness": 4.0, "semi_diameter": 60.0}, {"thickness": 4.0, "semi_diameter": 60.0}]
    return Prescription.model_validate(
        {
            "document": "prescription", "version": 1, "name": "front stop",
            "surface": [
                {"stop": True, "semi_diameter": STOP, "thickness": 4.0 if plate else 12.0},
                *(plates if plate else []),
                {"radius": 120.0, "index": 1.5, "thickness": 8.0, "semi_diameter": 60.0},
                {"radius": -120.0, "semi_diameter": 60.0},
            ],
            "setting": [{"name": "only", "focus_distance": focus}],
        }
    )  # fmt: skip


def traced(prescription: Prescription, *, reach: float = 3.0) -> Beam:
    lens = Lens(
        document="lens", version=1, name="front stop", front=Front(rim_diameter=40.0), seat=Seat(diameter=40.0),
        prescription=prescription, placement=(Placement(setting="only", vertex_reach=reach),),
    )  # fmt: skip
    work = job(lens, Camera(document="camera", version=1, name="frame", format="135"))
    return work.beam(work.resolved.settings[0])


def window(of: Beam, *, radius: float = STOP) -> Beam:
    """One window in the front plane, with the frame's slopes as the traced lens has them at its corner's slope law."""
    beam = beam_of([(0.0, radius, 0.0, 0.0)], 0.3, 0.2, reach=of.reach, distance=of.object_distance)
    return Beam(
        beam.windows, of.pieces, of.reach, of.object_distance, "a window", of.frame, beam.setting
    )


@pytest.mark.parametrize("focus", ["infinity", 400.0])
@pytest.mark.parametrize("plate", [False, True])
def test_a_stop_in_front_is_one_window(focus: float | str, plate: bool) -> None:
    """The footprint is the stop itself at every slope; a plane plate behind it changes nothing."""
    of = traced(front_stop(focus=focus, plate=plate))
    assert of.footprints is not None
    # Boundary points stand between tangents' places, which costs less than 1e-4 of it; the keep-out adds its guard.
    np.testing.assert_allclose(of.footprints.support, STOP, atol=1e-4 * STOP)
    np.testing.assert_allclose(of.footprints.area, math.pi * STOP**2, rtol=2e-4)
    np.testing.assert_allclose(of.footprints.pupil, 0.0, atol=1e-9)
    ours = keep_out([of]).rim(WALL, AZIMUTH, cap=300.0).value
    exact = keep_out([window(of)]).rim(WALL, AZIMUTH, cap=300.0).value
    assert np.max(ours - exact) < 1e-3
    assert np.max(exact - ours) < 0.15


def test_its_rim_is_that_of_the_closed_form() -> None:
    of = traced(front_stop())
    corner = of.frame.slopes(np.array([[18.0, 0.0], [0.0, 12.0]]))
    found = keep_out([of]).rim(WALL, np.array([0.0, 90.0]), cap=300.0).value - of.reach
    form = pupil_only_rim(
        30.0, np.array([0.0, 90.0]), half_width=np.array([corner[0, 0]]), half_height=np.array([corner[1, 1]]),
        pupil=np.array([STOP]), depth=np.array([0.0]),
    )[0]  # fmt: skip
    # Distortion bends the frame's sides, outwards or inwards, by less than the stop is wide: at their middles nothing of it shows.
    np.testing.assert_allclose(found, form, atol=0.2)
    assert np.all(found <= form + 1e-3)


@pytest.mark.parametrize("focus", ["infinity", 400.0])
def test_its_loss_is_that_of_the_window(focus: float | str) -> None:
    of = traced(front_stop(focus=focus))
    exact, wall = window(of), RoundWall((0.0,), (14.0,))
    rim = keep_out([exact]).rim(wall, np.arange(0.0, 360.0, 1.0), cap=500.0).value
    hood = Occluder(RoundHood(wall, Rim.from_arrays(np.arange(0.0, 360.0, 1.0), rim + 25.0)))
    slopes = of.frame.slopes(np.array([[17.9, 11.9], [17.9, 0.0], [0.0, 11.9], [-15.0, 10.0], [9.0, -11.5], [0.0, 0.0]]))
    ours, theirs = hood.hidden(of, slopes), hood.hidden(exact, slopes)
    assert theirs.max() > 0.05
    np.testing.assert_allclose(ours, theirs, atol=2.5e-3)


def test_plates_alone_are_no_lens() -> None:
    plates = Prescription.model_validate(
        {
            "document": "prescription", "version": 1, "name": "plates",
            "surface": [
                {"stop": True, "semi_diameter": 5.0, "thickness": 4.0},
                {"index": 1.5, "thickness": 5.0, "semi_diameter": 9.0},
                {"thickness": 30.0, "semi_diameter": 9.0},
            ],
        }
    )  # fmt: skip
    with pytest.raises(OpticsError, match="no power"):
        footprints(system_of(plates), height=10.0)
