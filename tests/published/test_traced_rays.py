"""Skew rays through published designs, against two open ray tracers that know nothing of this project.

Traced in optiland 0.6.3 (its search for aspheric surfaces tightened to 1e-15) and in rayoptics 0.9.8, which agree with
each other to 2e-13 mm; both were given the surfaces of tests/prescriptions and the indices at 587.5618 nm.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from shadewright.model.documents import read_document
from shadewright.model.prescription import Prescription
from shadewright.optics.system import system_of
from shadewright.optics.trace import trace

FOLDER = Path(__file__).parent.parent / "prescriptions"

# Design and setting; x and y (mm) in the plane of the front vertex and the angles (degrees) that the ray makes with the
# axis in x and y; x and y (mm) in the image plane and the direction cosines in x and y there.
RAYS = [
    ("double-gauss-50", None, (0.0, 10.0, 0.0, 0.0), (0.000000000000, -0.003244606384, 0.000000000000, -0.198604150596)),
    ("double-gauss-50", None, (3.0, -2.0, 0.1, 14.0), (0.081664122966, 12.496157986476, -0.057268990817, 0.165424647114)),
    ("double-gauss-50", None, (4.0, -9.0, 0.0, 20.0), (0.004475049824, 18.124936662445, -0.075398793950, 0.331216097126)),
    ("fisheye-10", None, (0.0, 1.0, 0.0, 0.0), (0.000000000000, -0.020160634508, 0.000000000000, -0.100807147916)),
    ("fisheye-10", None, (0.5, -16.5, 0.0, 60.0), (-0.004639115002, 10.525134618989, -0.041291377221, 0.341574193550)),
    ("fisheye-10", None, (0.6, -31.0, 0.5, 75.0), (0.026652778136, 13.131503784533, -0.048581121037, 0.436342180227)),
    ("aspheric-31", None, (0.0, 6.0, 0.0, 0.0), (0.000000000000, 0.015304666028, 0.000000000000, -0.195445012941)),
    ("aspheric-31", None, (2.0, -1.0, 3.0, 12.0), (1.605310628295, 6.496878995497, -0.047458721765, 0.098510432343)),
    ("aspheric-31", None, (1.0, -5.5, 0.0, 22.0), (0.002013093029, 12.239948168974, -0.030562276901, 0.261243872388)),
    ("aspheric-wide-14", None, (0.0, 1.5, 0.0, 0.0), (0.000000000000, -0.006033087040, 0.000000000000, -0.104132015661)),
    ("aspheric-wide-14", None, (1.0, -17.0, 4.0, 40.0), (0.968065017820, 11.748444447940, -0.111249582196, 0.252249494266)),
    ("aspheric-wide-14", None, (0.5, -24.5, 0.0, 54.0), (-0.002798993592, 18.194324577686, -0.022286769019, 0.351630720047)),
    ("zoom-72-194", "194 mm", (5.0, 30.0, 0.0, 0.0), (-0.000144696333, -0.000868177995, -0.025796505391, -0.154779032347)),
    ("zoom-72-194", "194 mm", (10.0, -20.0, 1.0, 3.0), (3.397552306939, 10.205376145586, -0.044189566424, 0.123877074212)),
    ("zoom-72-194", "194 mm", (-8.0, -25.0, 0.0, 6.0), (0.003254540479, 20.734413193420, 0.040355857470, 0.162025149041)),
    ("wide-17-100-degrees", None, (0.0, 2.0, 0.0, 0.0), (0.000000000000, 0.005371942336, 0.000000000000, -0.120031970981)),
    ("wide-17-100-degrees", None, (1.0, -25.0, 0.0, 35.0), (0.003195213542, 9.753677538907, -0.058772769514, 0.101963275467)),
    ("wide-17-100-degrees", None, (0.5, -42.0, 0.0, 48.0), (0.047946061852, 12.313915223034, -0.028528099445, 0.422971437498)),
]  # fmt: skip


@pytest.mark.parametrize(("name", "setting", "start", "end"), RAYS)
def test_a_ray_lands_where_other_tracers_have_it(
    name: str, setting: str | None, start: tuple[float, ...], end: tuple[float, ...]
) -> None:
    system = system_of(read_document(FOLDER / f"{name}.toml", Prescription), setting)
    slope = np.array([math.tan(math.radians(start[2])), math.tan(math.radians(start[3])), 1.0])
    origin = np.array([start[0], start[1], 0.0]) - 40.0 * slope
    # Clear edges are left out: this is about where rays go, not which of them.
    rays = trace(system, origin[None], (slope / np.linalg.norm(slope))[None], clips=False)
    assert rays.arrived[0]
    assert rays.points[0, :2] == pytest.approx(end[:2], abs=2e-11)
    assert rays.directions[0, :2] == pytest.approx(end[2:], abs=2e-12)
