"""The main job's driver: every kind of hood, allowances, turning fronts, estimates, and what cannot be."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from lenses import camera, hood, prime, reference, zoom
from shadewright.clearance.check import check
from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import worst_loss
from shadewright.design.fit import fit
from shadewright.errors import FitError, OpticsError
from shadewright.model.hood import Margin, RimShape, Symmetry, WallPart, WallShape
from shadewright.model.lens import Front, Lens, SeatPlace, State
from shadewright.model.shape import RoundHood, TunnelHood


def test_a_finish_that_cannot_be_weighed_is_told() -> None:
    wanted = hood(RimShape.PLAIN)
    named = wanted.model_copy(update={"build": wanted.build.model_copy(update={"finish": "velour"})})
    assert any("velour" in warning for warning in fit(prime(), camera(), named).warnings)


WALLS = {
    "tube": None,
    "cone": WallPart(shape=WallShape.CONE, near_diameter=86.0, far_diameter=100.0, far_z=50.0),
    "stepped": WallPart.model_validate(
        {"shape": "stepped", "steps": [{"z": 0, "diameter": 86}, {"z": 30, "diameter": 96}]}
    ),
}


@pytest.mark.parametrize("wall", WALLS)
@pytest.mark.parametrize("shape", [RimShape.PETAL, RimShape.DEEPEST, RimShape.PLAIN, RimShape.SQUARE_CUT])
def test_a_fitted_round_hood_is_clear_and_cannot_be_deeper(wall: str, shape: RimShape) -> None:
    wish = hood(shape, largest_length=400.0, fillet_radius=3.0, stands=False).model_copy(update={"wall": WALLS[wall]})
    fitting = fit(zoom(), camera(), wish)
    assert isinstance(fitting.shape, RoundHood)
    verdict = check(fitting.job, fitting.shape)
    assert not verdict.shows
    assert verdict.worst.stops == 0.0
    # Somewhere every one of these rims all but touches the keep-out.
    assert 0.0 <= verdict.deeper < 0.1
    assert all(entry.whole for entry in verdict.ranges)


def test_no_sampled_ray_of_any_state_hits_a_fitted_hood() -> None:
    fitting = fit(zoom(), camera(), hood(RimShape.DEEPEST, largest_length=90.0))
    assert isinstance(fitting.shape, RoundHood)
    radius = fitting.shape.wall.radius[0]
    rng = np.random.default_rng(7)
    for setting in fitting.job.swept(3):
        beam = fitting.job.beam(setting)
        rays = oracle.sample_rays(reference(beam), 20_000, rng)
        hit = oracle.ray_blocked(rays, radius, lambda a: fitting.shape.rim.z_at(np.degrees(a)), beam.reach, slack=1e-3)
        assert not np.any(hit), beam.label


def test_a_fitted_tunnel_is_clear_and_all_four_lips_touch() -> None:
    fitting = fit(zoom(), camera(), hood(RimShape.TUNNEL, largest_length=200.0))
    assert isinstance(fitting.shape, TunnelHood)
    verdict = check(fitting.job, fitting.shape)
    assert not verdict.shows
    assert 0.0 <= verdict.deeper < 0.01
    for lip in ("right", "top", "left", "bottom"):
        rim = fitting.shape.rim
        deeper = TunnelHood(fitting.shape.wall, type(rim)(**{**vars(rim), lip: getattr(rim, lip) + 0.2}))
        assert check(fitting.job, deeper).shows, lip


@pytest.mark.parametrize("shape", [RimShape.PETAL, RimShape.PLAIN, RimShape.TUNNEL])
@pytest.mark.parametrize("allowance", [0.05, 0.3])
def test_the_worst_loss_equals_the_allowance(shape: RimShape, allowance: float) -> None:
    fitting = fit(prime(28.0), camera(), hood(shape, allowance=allowance, largest_length=300.0))
    worst = max(worst_loss(fitting.job, fitting.settings, fitting.shape), key=lambda entry: entry.stops)
    assert worst.stops == pytest.approx(allowance, abs=0.01)
    clear = fit(prime(28.0), camera(), hood(shape, largest_length=300.0))
    if shape is RimShape.PETAL:
        assert sum(fitting.shape.rim.z) > sum(clear.shape.rim.z)  # type: ignore[union-attr]
    else:
        assert fitting.shape.rim.deepest > clear.shape.rim.deepest
    verdict = check(fitting.job, fitting.shape, allowance=allowance)
    assert verdict.shows
    assert verdict.passes
    assert not check(fitting.job, fitting.shape, allowance=allowance / 2).passes


def test_a_turning_front_gets_a_plain_rim_and_the_reason() -> None:
    fitting = fit(zoom(seat=SeatPlace.FRONT, turns=True), camera(), hood(RimShape.PETAL))
    assert isinstance(fitting.shape, RoundHood)
    assert fitting.shape.rim.deepest == fitting.shape.rim.shallowest
    assert fitting.hood.rim.shape is RimShape.PLAIN
    assert any("turns" in warning for warning in fitting.warnings)
    still = fit(zoom(seat=SeatPlace.BARREL, turns=True), camera(), hood(RimShape.PETAL))
    assert still.hood.rim.shape is RimShape.PETAL, "a hood on the fixed barrel does not turn with the front"


def test_binding_settings_are_named_all_round() -> None:
    fitting = fit(zoom(), camera(), hood(RimShape.PETAL, largest_length=90.0))
    assert "right edge" in fitting.binding(0)
    assert "top edge" in fitting.binding(90)
    assert "top right corner" in fitting.binding(int(np.argmin(fitting.deepest[:90])))
    capped = fit(zoom(), camera(), hood(RimShape.PETAL, largest_length=40.0))
    assert "largest length, 40 mm" in capped.binding(90)


def test_estimates_are_safe_and_say_what_they_cost() -> None:
    known = prime(24.0, pupil_depth=20.0)
    unknown = prime(24.0, pupil_depth=None)
    assert unknown.state[0].pupil_depth is None
    guessed = fit(unknown, camera(), hood(largest_length=200.0))
    real = fit(known, camera(), hood(largest_length=200.0))
    assert np.all(guessed.deepest <= real.deepest + 1e-6), "safe for the real lens, wherever its pupil is"
    (effect,) = guessed.effects
    assert effect.estimate.field.endswith("pupil_depth")
    assert effect.deeper_anywhere > 1.0
    assert real.effects == ()
    bare = Lens(
        document="lens",
        version=1,
        name="bare",
        front=Front(rim_diameter=70.0),
        state=(State(focal_length=35.0, f_number=2.0),),
    )
    fields = {e.estimate.field.split("].")[-1] for e in fit(bare, camera(), hood()).effects}
    assert fields == {"front.clear_diameter", "state.reach", "pupil_depth"}


def test_uncertain_pupil_depth_costs_depth() -> None:
    sure = fit(prime(24.0), camera(), hood(largest_length=200.0)).deepest
    unsure = fit(prime(24.0, pupil_depth_plus_minus=2.0), camera(), hood(largest_length=200.0)).deepest
    assert np.all(unsure <= sure + 1e-9)
    assert np.max(sure - unsure) == pytest.approx(2.0, abs=0.3)


def test_margins_make_a_hood_that_stays_clear_when_moved() -> None:
    margin = Margin(radial=0.4, axial=0.5, rotation=2.0)
    fitting = fit(prime(28.0), camera(), hood(margin=margin, largest_length=200.0))
    assert isinstance(fitting.shape, RoundHood)
    keepout = keep_out(fitting.job.beams(fitting.settings))
    azimuth = np.arange(0.0, 360.0, 0.5)
    for turn in (-2.0, 0.0, 2.0):
        for dz in (-0.5, 0.5):
            rim = fitting.shape.rim.turned(turn).moved(dz)
            # Moved sideways by 0.4 mm, the wall's points are nearer the axis on one side.
            for direction in np.arange(0.0, 360.0, 45.0):
                angle = np.radians(azimuth)
                radius = fitting.shape.wall.radius[0]
                x = radius * np.cos(angle) + 0.4 * math.cos(math.radians(direction))
                y = radius * np.sin(angle) + 0.4 * math.sin(math.radians(direction))
                origins = np.column_stack([x, y, np.zeros_like(x)])
                ahead = np.tile([0.0, 0.0, 1.0], (len(x), 1))
                entry = keepout.first_entry(origins, ahead, np.full(len(x), 300.0)).value
                assert np.all(rim.z_at(azimuth) <= entry + 1e-6)


def test_portrait_and_both_orientations() -> None:
    landscape = fit(prime(28.0), camera(), hood(RimShape.DEEPEST, largest_length=200.0)).deepest
    portrait = fit(prime(28.0), camera(orientation="portrait"), hood(RimShape.DEEPEST, largest_length=200.0)).deepest
    both = fit(prime(28.0), camera(orientation="both"), hood(RimShape.DEEPEST, largest_length=200.0)).deepest
    np.testing.assert_allclose(portrait, np.roll(landscape, 90), atol=1e-6)
    np.testing.assert_allclose(both, np.minimum(landscape, portrait), atol=1e-6)


def test_crops_masks_and_sensor_travel_change_the_frame() -> None:
    base = camera(masks=["16:9"], crop=[{"name": "video", "frame": [24.0, 16.0]}])
    full = fit(prime(28.0), base, hood(RimShape.PLAIN, largest_length=300.0)).plain_depth
    wish = hood(RimShape.PLAIN, largest_length=300.0)
    crop = fit(prime(28.0), base, wish.model_copy(update={"use": type(wish.use)(crop="video")})).plain_depth
    mask = fit(prime(28.0), base, wish.model_copy(update={"use": type(wish.use)(mask="16:9")})).plain_depth
    moving = fit(prime(28.0), camera(stabiliser_travel=1.0), wish).plain_depth
    assert moving < full < mask < crop


def test_fisheye_shift_and_image_circle() -> None:
    fisheye = prime(10.0, f_number=4.0, pupil_depth=11.0)
    wide = Lens.model_validate({**fisheye.model_dump(), "projection": {"kind": "equisolid"}})
    wide = wide.model_copy(update={"front": Front(rim_diameter=90.0, clear_diameter=60.0, clear_depth=1.0)})
    fitting = fit(wide, camera(17.3, 13.0), hood(RimShape.DEEPEST, largest_length=60.0))
    assert not check(fitting.job, fitting.shape).shows
    shift = prime(24.0, shift=[8.0, 8.0]).model_copy(update={"front": Front(rim_diameter=130.0, clear_diameter=120.0, clear_depth=0.0)})
    whole = fit(shift, camera(), hood(RimShape.DEEPEST, largest_length=80.0)).deepest
    clipped = fit(
        shift.model_copy(update={"image_circle": 60.0}), camera(), hood(RimShape.DEEPEST, largest_length=80.0)
    ).deepest
    assert np.all(clipped >= whole - 1e-6)
    assert np.any(clipped > whole + 1.0)
    unshifted = shift.model_copy(update={"state": prime(24.0).state})
    assert np.all(whole < fit(unshifted, camera(), hood(RimShape.DEEPEST, largest_length=80.0)).deepest)


def test_what_cannot_be_is_explained() -> None:
    narrow = WallPart(shape=WallShape.TUBE, inner_diameter=70.0)
    with pytest.raises(FitError, match="front rim is 80 mm across"):
        fit(zoom(), camera(), hood().model_copy(update={"wall": narrow}))
    fast = prime(50.0, 1.0, pupil_depth=120.0)
    tight = WallPart(shape=WallShape.TUBE, inner_diameter=fast.front.rim_diameter + 0.1)
    with pytest.raises(FitError, match="stands in the beam"):
        fit(
            fast, camera(), hood(margin=Margin(radial=20.0, axial=0.0, rotation=0.0)).model_copy(update={"wall": tight})
        )
    fisheye = Lens.model_validate({**prime(8.0).model_dump(), "projection": {"kind": "equidistant"}})
    with pytest.raises(OpticsError, match="180 degrees"):
        fit(fisheye, camera(), hood())


def test_symmetries_reach_the_made_rim() -> None:
    fitting = fit(prime(28.0), camera(), hood(symmetry=Symmetry.QUARTER_TURN, largest_length=200.0))
    assert isinstance(fitting.shape, RoundHood)
    z = np.asarray(fitting.shape.rim.z)
    np.testing.assert_allclose(z, np.roll(z, 180), atol=2e-4)
