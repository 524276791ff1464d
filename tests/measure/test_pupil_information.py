"""The tubes proposed for a lens: that they throw useful shadows, and that more of them tell more."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import traced_frames
from lenses import camera, prime, zoom
from shadewright.errors import MeasureError
from shadewright.make.flat import flatten
from shadewright.measure.information import propose, second_length
from synthetic_camera import Barrel, Sensor, traced_light
from traced_frames import Traced


def test_two_tubes_tell_more_than_one_and_three_more_than_two() -> None:
    two, three = propose(zoom(), camera()), propose(zoom(), camera(), count=3)
    assert two.depth_error < 0.8 * two.single_error
    assert three.depth_error < two.depth_error
    assert len({tube.length for tube in three.tubes}) == 3


def test_tubes_cut_worse_tell_less() -> None:
    good, poor = propose(zoom(), camera(), play=0.05), propose(zoom(), camera(), play=0.5)
    assert poor.depth_error > 1.5 * good.depth_error


def test_the_tubes_can_be_laid_flat() -> None:
    found = propose(zoom(), camera())
    for tube, hood in zip(found.tubes, found.hoods(), strict=True):
        assert hood.wall.radius[0] == pytest.approx(tube.inner_diameter / 2)
        assert flatten(hood, sheet_thickness=0.5, back=10.0, tab=8.0).height > tube.length


def test_a_second_length_differs_from_the_first() -> None:
    found = propose(zoom(), camera())
    other = second_length(found.setting, zoom(), camera(), found.tubes[0], depth=30.0)
    assert other is not None
    assert abs(other - found.tubes[0].length) >= 3.0


def test_where_no_tube_is_useful_it_is_said() -> None:
    with pytest.raises(MeasureError, match="narrower inner_diameter"):
        propose(prime(300.0, 4.0), camera(), inner_diameter=400.0)
    with pytest.raises(MeasureError, match="1 to 4"):
        propose(zoom(), camera(), count=9)


@pytest.mark.parametrize("made", [traced_frames.prime, traced_frames.zoom])
def test_tubes_proposed_for_a_lens_of_unknown_pupil_are_accepted_by_the_fit(made: Callable[[], Traced]) -> None:
    """Both pupils lie deeper than the likeliest guess, and a tube right for the guess alone darkens more than half the frame."""
    traced = made()
    sensor = Sensor(columns=96, rows=64)
    for tube in propose(traced.unknown_lens(), camera()).tubes:
        bare, shaded = traced_light(traced.glass, sensor, Barrel.tube(tube.inner_diameter, tube.length))
        assert np.median(shaded / bare) > 0.5
        assert np.min(shaded / bare) < 0.5
