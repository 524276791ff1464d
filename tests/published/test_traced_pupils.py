"""The wander of entrance pupils with the field, and rim rays, against figures that other tracers confirm.

The places where chief rays cross the axis in object space, mm behind the first vertex, were traced for published designs
with a tracer of its own and each ray traced again in rayoptics 0.9.8, where it meets the stop's middle within 1e-12. That
pupils of wide lenses move forward with the field is D. Slater's remark on panoramic heads; retrofocus lenses may go
either way.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from prescription_cases import Other, read, state, state_of
from shadewright.optics.footprints import NORMALS, footprints
from shadewright.optics.system import D_LINE, system_of

INCH = 25.4
# Design, setting, height of the table in mm, field angle in degrees: where the chief ray crosses the axis, mm.
WANDER = [
    ("fisheye-10", 0, 13.5, {0: 11.5424, 10: 11.4993, 19: 11.3845, 30: 11.1371, 50: 10.3102, 70: 8.7499}),
    ("wide-17-100-degrees", 0, 13.38, {0: 1.4993 * INCH, 12.5: 1.4854 * INCH, 25: 1.4423 * INCH, 37.5: 1.3652 * INCH, 50: 1.2455 * INCH}),
    ("wide-22", 0, 17.0, {0: 12.0887, 10: 12.0555, 19: 11.9686, 30: 11.7905, 38: 11.6193}),
    ("double-gauss-50", 0, 19.0, {0: 19.9465, 5: 20.0131, 10: 20.2210, 15: 20.5960, 20: 21.1896}),
    ("telephoto-250", 0, 70.0, {0: 15.2865, 5: 15.2803, 10: 15.2620, 15: 15.2334}),
    ("zoom-72-194", 0, 21.6, {0: 91.9641, 3: 92.0208, 5: 92.1242, 8: 92.3912}),
    ("zoom-72-194", 1, 21.6, {0: 182.6800, 3: 183.6920, 5: 185.6015, 8: 190.9834}),
    ("zoom-72-194", 2, 28.0, {0: 233.2021, 3: 235.5894, 5: 240.2534, 8: 254.8755}),
]  # fmt: skip
CASES = [(name, k, height, angle, z) for name, k, height, rows in WANDER for angle, z in rows.items()]


@pytest.mark.parametrize(("name", "k", "height", "angle", "behind_vertex"), CASES)
def test_the_pupil_lies_where_others_find_it(name: str, k: int, height: float, angle: float, behind_vertex: float) -> None:
    """To 2e-4 of the focal length, the agreement stated with the figures."""
    of = state(name, k)
    table = footprints(of.main, height=height)
    slope = math.tan(math.radians(angle))
    assert slope <= table.slope[-1], "the table ends before the field angle"
    found = float(np.interp(slope, table.slope, table.pupil)) + of.plane
    assert found == pytest.approx(behind_vertex, abs=2e-4 * of.first.focal_length)


# Design, field in degrees; larger and smaller |y| in the plane 20 mm ahead of the front vertex of rays through the edge of
# the stop, and the same of the paraxial pupil's disc.
RIM_RAYS = [
    ("double-gauss-50", 22.0, (28.6128, 3.5182), (28.5420, 3.7369)),
    ("wide-22", 19.0, (15.1557, 6.8562), (15.1521, 6.9460)),
    ("wide-22", 38.0, (29.6539, 19.7745), (29.1735, 20.9675)),
    ("telephoto-250", 5.0, (25.3665, 19.3051), (26.0953, 19.9210)),
    ("fisheye-10", 60.0, (53.3770, 49.0228), (55.8988, 53.3672)),
]


@pytest.mark.parametrize(("name", "angle", "real", "disc"), RIM_RAYS)
def test_rim_rays_are_those_that_others_trace(
    name: str, angle: float, real: tuple[float, float], disc: tuple[float, float]
) -> None:
    """With no glass edge in the way but the stop's, the footprint's ends are the real rim rays; the paraxial disc is not them.

    It is too small for the wide lens by half a millimetre at the edge of its field, which a rim cut to it would show, and
    too large for the telephoto and the fisheye.
    """
    lens = system_of(read(name), wavelength=D_LINE)
    # Every edge but the stop's far out of the way, yet inside the surfaces.
    semi = np.where(lens.curvature != 0, np.minimum(1.6 * lens.semi, 0.97 / np.abs(np.where(lens.curvature == 0, 1, lens.curvature))), 1.6 * lens.semi)
    semi[lens.stop] = lens.stop_semi
    lens = lens.with_semi(semi, estimated=())
    tau = math.tan(math.radians(angle))
    table = footprints(lens, height=1.03 * Other(lens, clips=False).image_height(tau))
    h = table.planes(np.array([tau]))[0]
    forward = 20.0 + lens.front_plane
    # The published figures are distances from the axis; the telephoto's smaller one lies on its other side.
    larger, smaller = float(h[0]) + forward * tau, abs(-float(h[NORMALS // 2]) + forward * tau)
    # The table is wider than the beam by its guard, 0.006 mm, and by what lies between its slopes and tangents.
    assert larger == pytest.approx(real[0], abs=0.02)
    assert smaller == pytest.approx(real[1], abs=0.02)
    first = state(name).first
    middle = (20.0 + first.entrance_pupil) * tau
    assert (middle + first.entrance_radius, abs(middle - first.entrance_radius)) == pytest.approx(disc, abs=2e-3)
    if name == "wide-22" and angle == 38.0:
        assert larger - disc[0] > 0.45
    if name in ("telephoto-250", "fisheye-10"):
        assert larger < disc[0] - 0.5


def test_the_glass_of_the_wide_lens_limits_before_its_stop_does() -> None:
    """At 38 degrees the outermost ray through the stop meets the first vertex's plane 14.03 mm out, past the 11.858 mm glass.

    By that glass alone it would be 11.858 mm in the plane of the glass's edge; the next ones take a little more.
    """
    of = state_of(read("wide-22"), 17.0)
    tau = math.tan(math.radians(38.0))
    h = float(of.footprints(17.0).planes(np.array([tau]))[0, 0])
    assert of.front_radius == 11.858
    assert 11.858 - 2.0 < h <= 11.858 + 0.02
    assert 29.6539 - (20.0 + of.plane) * tau > h + 1.0
