"""A traced lens reduced to windows: what is windows comes back, and the errors stated are those worked out again."""

from __future__ import annotations

import numpy as np
import pytest

from prescription_cases import job_of
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import Occluder, frame_samples, stops
from shadewright.design.reduction import compare, measured_lens, reduce_setting, windows_beam
from shadewright.errors import OpticsError
from shadewright.model.camera import Camera
from shadewright.model.lens import Front, Lens, Placement, Seat
from shadewright.model.prescription import Prescription
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.optics.beam import Job, job
from shadewright.optics.settings import resolve

CAMERA = Camera(document="camera", version=1, name="frame", format="135")


def windows_job() -> Job:
    """Three round openings in air ahead of a far wider lens: their beams are windows at 0, 14 and 30 mm, exactly."""
    prescription = Prescription.model_validate(
        {
            "document": "prescription", "version": 1, "name": "three openings",
            "surface": [
                {"semi_diameter": 12.0, "thickness": 14.0},
                {"stop": True, "semi_diameter": 7.0, "thickness": 16.0},
                {"semi_diameter": 8.0, "thickness": 3.0},
                {"radius": 130.0, "index": 1.5, "thickness": 8.0, "semi_diameter": 60.0},
                {"radius": -130.0, "semi_diameter": 60.0},
            ],
        }
    )  # fmt: skip
    lens = Lens(
        document="lens", version=1, name="openings", front=Front(rim_diameter=40.0), seat=Seat(diameter=40.0),
        prescription=prescription, placement=(Placement(setting="nominal", vertex_reach=2.0),),
    )  # fmt: skip
    return job(lens, CAMERA)


def test_what_is_windows_comes_back_as_windows() -> None:
    work = windows_job()
    reduced = reduce_setting(work, work.resolved.settings[0])
    assert reduced.pupil_depth == pytest.approx(14.0, abs=1e-3)
    assert reduced.pupil_radius == pytest.approx(7.0, abs=0.02)
    assert reduced.rear_depth == pytest.approx(30.0, abs=1.0)
    assert reduced.rear_radius == pytest.approx(8.0, abs=0.1)
    # What is left is the guard of the tables and their 128 tangents.
    assert reduced.worst < 0.03
    comparison, _states = compare(work, radius=24.0)
    assert comparison.error("windows").too_deep < 0.15
    assert comparison.error("windows").too_shallow < 0.15
    assert comparison.error("pinhole").too_deep > 1.0


@pytest.mark.parametrize("name", ["wide-22", "double-gauss-50"])
def test_the_errors_stated_are_those_worked_out_again(name: str) -> None:
    work = job_of(name)
    setting = work.resolved.settings[0]
    radius = float(setting.front_radius) + 6.0
    stated, _states = compare(work, radius=radius)
    truth, model = work.beam(setting), windows_beam(work, reduce_setting(work, setting))
    wall, azimuth = RoundWall((0.0,), (radius,)), np.linspace(0.0, 360.0, 180, endpoint=False)
    true_rim, rim = (keep_out([beam]).rim(wall, azimuth, cap=300.0).value for beam in (truth, model))
    error = stated.error("windows")
    assert error.too_deep == pytest.approx(max(0.0, float((rim - true_rim).max())), abs=1e-6)
    assert error.too_shallow == pytest.approx(max(0.0, float((true_rim - rim).max())), abs=1e-6)
    assert error.plain == pytest.approx(float(rim.min() - true_rim.min()), abs=1e-6)
    found = stops(Occluder(RoundHood(wall, Rim.from_arrays(azimuth, rim))).hidden(truth, frame_samples(truth, per_side=40, inner=9)))
    # The worst place is refined there, so that samples come close from below.
    assert np.nanmax(found) <= error.loss + 1e-4
    assert error.loss <= np.nanmax(found) + 0.05


def test_a_measured_lens_has_the_reduced_windows() -> None:
    work = job_of("double-gauss-50")
    reduced = reduce_setting(work, work.resolved.settings[0])
    lens = measured_lens(work, [reduced])
    (setting,) = resolve(lens, half_diagonal=19.0).settings
    assert setting.pupil_depth == pytest.approx(reduced.pupil_depth, abs=1e-3)
    assert setting.pupil_radius == pytest.approx(reduced.pupil_radius, rel=2e-3)
    assert setting.reach == pytest.approx(reduced.setting.reach, abs=1e-3)
    assert (reduced.rear_depth, reduced.rear_radius) in [pytest.approx(window[:2], abs=1e-3) for window in setting.windows]


def test_a_lens_known_by_windows_is_not_reduced() -> None:
    work = windows_job()
    lens = measured_lens(work, [reduce_setting(work, work.resolved.settings[0])])
    other = job(lens, CAMERA)
    with pytest.raises(OpticsError, match="prescription"):
        reduce_setting(other, other.resolved.settings[0])
