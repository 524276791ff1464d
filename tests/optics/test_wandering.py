"""A pupil that wanders with the field angle: tables of footprints against the exact windows, and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import Occluder, window_vignetting
from shadewright.errors import DocumentError
from shadewright.model.camera import Camera
from shadewright.model.documents import document_from
from shadewright.model.lens import Lens
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.optics.beam import Beam, job
from shadewright.optics.footprints import NORMALS
from shadewright.optics.wandering import discs, window_footprints

CAMERA = Camera(document="camera", version=1, name="frame", format="135")
NEARLY_NONE = (1e-12, 0.0)
"""A wander too small to matter, which still takes the tables."""


def lens(wander: tuple[float, float], *, focus: float | str = "infinity", rear: float = 60.0, radius: float = 14.0) -> Lens:
    return Lens.model_validate(
        {
            "document": "lens", "version": 1, "name": "wanderer",
            "front": {"rim_diameter": 60.0, "clear_diameter": 50.0, "clear_depth": 0.0},
            "state": [
                {
                    "focal_length": 28.0, "f_number": 2.0, "reach": 1.0, "pupil_depth": 22.0, "pupil_wander": wander,
                    "focus_distance": focus, "rear_window": {"depth": rear, "radius": radius},
                }
            ],
        }
    )  # fmt: skip


def beam(wander: tuple[float, float], **values: object) -> Beam:
    work = job(lens(wander, **values), CAMERA)  # type: ignore[arg-type]
    return work.beam(work.resolved.settings[0])


@pytest.mark.parametrize("focus", ["infinity", 300.0])
@pytest.mark.parametrize("radius", [14.0, 25.0])
def test_tables_agree_with_the_exact_windows(focus: float | str, radius: float) -> None:
    """The exact first entry (no table, no search) is never before the table's by more than a hundredth of a mm."""
    exact, tabled = beam((0.0, 0.0), focus=focus, radius=radius), beam(NEARLY_NONE, focus=focus, radius=radius)
    assert exact.footprints is None
    assert tabled.footprints is not None
    azimuth = np.arange(0.0, 360.0, 1.0)
    for wall in (RoundWall((0.0,), (36.0,)), RoundWall((0.0, 20.0), (33.0, 38.0))):
        known = keep_out([exact]).rim(wall, azimuth, cap=150.0).value
        found = keep_out([tabled]).rim(wall, azimuth, cap=150.0).value
        assert np.max(found - known) < 0.01
        assert np.max(known - found) < 0.12
        hood = RoundHood(wall, Rim.plain(float(known.min()) + 4.0))
        slopes = exact.frame.slopes(np.array([[0.0, 0.0], [9.0, 5.0], [14.0, 0.0], [0.0, 11.0], [12.0, 8.0]]))
        hidden = [Occluder(hood).hidden(entry, slopes) for entry in (exact, tabled)]
        np.testing.assert_allclose(hidden[0], hidden[1], atol=2e-3)
        own = [window_vignetting(entry, slopes) for entry in (exact, tabled)]
        np.testing.assert_allclose(own[0], own[1], atol=3e-3)


def test_one_slope_is_that_of_a_pupil_at_its_depth() -> None:
    """At a field angle the pupil lies where the wander puts it: its disc is centred on (depth + w1 t2 + w2 t4) t."""
    w1, w2 = -8.0, 3.0
    found = beam((w1, w2), radius=100.0)
    assert found.footprints is not None
    for tau in (0.1, 0.3, 0.5):
        support = found.footprints.planes(np.array([tau]))[0]
        middle, half = (support[0] - support[NORMALS // 2]) / 2, (support[0] + support[NORMALS // 2]) / 2
        assert half == pytest.approx(7.0, abs=0.01)
        assert middle == pytest.approx((22.0 + w1 * tau**2 + w2 * tau**4) * tau, abs=0.01)


def test_a_pupil_that_moves_forward_lets_a_rim_stand_deeper() -> None:
    """Closed form: on the level the rim of one window stands (R - a) / W - e ahead; e is the depth at the frame's edge."""
    wall = RoundWall((0.0,), (36.0,))
    rims = {}
    for wander in (NEARLY_NONE, (-6.0, 0.0)):
        found = beam(wander, radius=200.0)
        rims[wander] = float(keep_out([found]).rim(wall, np.array([0.0]), cap=200.0).value[0])
    w = 18.0 / 28.0
    for wander, rim in rims.items():
        depth = 22.0 + wander[0] * w**2
        assert rim == pytest.approx((36.0 - 7.0) / w - depth + 1.0, abs=0.05)


def test_the_table_ends_where_the_light_ends() -> None:
    windows = np.array([(30.0, 5.0, 0.0, 0.0), (0.0, 10.0, 0.0, 0.0)])
    table = window_footprints(windows, (0.0, 0.0), steepest=1.0, object_distance=math.inf)
    # Two discs 30 tau apart with radii 5 and 10 part at tau = 15 / 30.
    assert not table.complete
    assert table.slope[-1] == pytest.approx(0.5, abs=1e-9)
    assert np.all(table.planes(np.array([0.51])) < -1e5)


def test_near_discs_lie_on_the_rays_to_the_subject() -> None:
    """A disc of the pupil's depth, seen from the subject through the front plane, by similar triangles."""
    centres, radii = discs(
        np.array([(20.0, 6.0, 0.0, 0.0)]), (0.0, 0.0), np.array([0.4]), 320.0, reference=20.0
    )
    # Subject at height 0.4 * 320 = 128, 300 ahead of the front plane and 320 ahead of the pupil.
    assert centres[0, 0] == pytest.approx(128.0 * 20.0 / 320.0)
    assert radii[0, 0] == pytest.approx(6.0 * 300.0 / 320.0)


def test_wander_and_decentre_exclude_each_other() -> None:
    tree = lens((0.0, 0.0)).model_dump(mode="python", exclude_defaults=True)
    tree["state"] = [{**tree["state"][0], "pupil_wander": (1.0, 0.0), "pupil_decentre": (0.5, 0.0)}]
    with pytest.raises(DocumentError, match="pupil_wander belongs to a lens whose windows are centred"):
        document_from(tree, Lens, name="lens.toml")

