"""The same hoods as meshes in Mitsuba 3, a general-purpose physically based renderer: wall light and the sensor's view.

W. Jakob et al., "Mitsuba 3 renderer" (2022). Its numbers come from its own meshes, rays, sampling and single precision.
"""

from __future__ import annotations

import math

import mitsuba
import numpy as np
import pytest
from scipy import stats

from lenses import beam_of
from renderer import inside_of, let_out_by_renderer, mesh_of, use_variant, wall_light_by_renderer
from shadewright.clearance.loss import Occluder
from shadewright.light.finish import Finish
from shadewright.light.scene import Vane, bare_scene
from shadewright.light.wall_light import Method, Sky, wall_light
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

GLASS = 32.0
AZIMUTH = np.arange(0.0, 360.0, 0.5)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
HOODS = {
    "tube": RoundHood(RoundWall((0.0,), (42.0,)), PETAL),
    "cone": RoundHood(RoundWall((0.0, 40.0), (36.0, 48.0)), PETAL),
    "narrowing": RoundHood(RoundWall((0.0, 40.0), (44.0, 38.0)), PETAL),
    "tunnel": TunnelHood(TunnelWall(46.0, 38.0), TunnelRim(40.0, 30.0, 35.0, 25.0)),
}
# Angle off the axis and azimuth, degrees; the fourth comes from behind the front plane over a valley.
ANGLES = [(20.0, 0.0), (50.0, 30.0), (72.0, 90.0), (95.0, 5.0)]


def direction(theta: float, psi: float) -> np.ndarray:
    """Unit vector towards a source."""
    t, p = math.radians(theta), math.radians(psi)
    return np.array([math.sin(t) * math.cos(p), math.sin(t) * math.sin(p), math.cos(t)])


def compare(ours: list[tuple[float, float]], theirs: list[tuple[float, float]]) -> None:
    """No value strays by more than 4 standard errors (of 16 batches each), nor all together beyond what chance has."""
    z = []
    for (a, da), (b, db) in zip(ours, theirs, strict=True):
        if math.hypot(da, db) > 0:
            z.append((a - b) / math.hypot(da, db))
        else:
            assert a == b == 0.0
    assert np.abs(z).max() < 4.0
    # Errors known from 16 batches make squares of Student's t, whose mean is 15/13.
    assert stats.chi2.sf(float(np.sum(np.square(z))) * 13 / 15, len(z)) > 1e-3


@pytest.mark.parametrize("name", HOODS)
def test_wall_light(name: str) -> None:
    use_variant()
    hood = HOODS[name]
    towards = np.array([direction(*pair) for pair in ANGLES])
    found = wall_light(bare_scene(GLASS, hood), Finish("wall", 0.3), directions=towards, samples=32_768)
    vertices, faces = inside_of(hood, GLASS)
    theirs = [wall_light_by_renderer(vertices, faces, GLASS, d, 0.3, rays=32_768, seed=i + 1) for i, d in enumerate(towards)]
    compare(list(zip(found.value, found.standard_error, strict=True)), theirs)


def test_wall_light_with_vanes_and_as_a_mesh() -> None:
    use_variant()
    vanes = ((12.0, 38.0), (20.0, 38.0))
    towards = np.array([direction(*pair) for pair in ANGLES[:3]])
    vertices, faces = inside_of(HOODS["tube"], GLASS, vanes=vanes)
    theirs = [wall_light_by_renderer(vertices, faces, GLASS, d, 0.5, rays=32_768, seed=i + 1) for i, d in enumerate(towards)]
    scene = bare_scene(GLASS, HOODS["tube"], vanes=tuple(Vane(z, r) for z, r in vanes))
    found = wall_light(scene, Finish("wall", 0.5), directions=towards, samples=65_536)
    compare(list(zip(found.value, found.standard_error, strict=True)), theirs)
    measured = bare_scene(GLASS, MeshHood(vertices, faces), collar_radius=GLASS)
    meshed = wall_light(measured, Finish("wall", 0.5), directions=towards, samples=32_768)
    compare(list(zip(meshed.value, meshed.standard_error, strict=True)), theirs)


@pytest.mark.parametrize("name", ["tube", "tunnel"])
def test_a_shiny_skin_under_an_even_sky(name: str) -> None:
    """A mirror share by Fresnel's equations at index 1.5 over black, any number of bounces: what leaves the hood."""
    use_variant()
    shiny = {
        "type": "plastic", "int_ior": 1.5, "ext_ior": 1.0, "diffuse_reflectance": {"type": "rgb", "value": 0.0},
        "specular_reflectance": {"type": "rgb", "value": 1.0},
    }  # fmt: skip
    vertices, faces = inside_of(HOODS[name], GLASS)
    theirs = let_out_by_renderer(vertices, faces, GLASS, shiny, rays=16_384)
    finish = Finish("shiny", 0.0, index=1.5)
    scene = bare_scene(GLASS, HOODS[name])
    found = wall_light(scene, finish, sky=Sky(2, 2), method=Method.REFERENCE, samples=256_000)
    assert found.balance is not None
    compare([found.balance.escaped], [theirs])
    # The fast method's mean over the sky and what comes directly are the same share: 4 times their mean.
    fast = wall_light(scene, finish, sky=Sky(120, 72), samples=16_384)
    spread = 4 * float(np.mean(fast.standard_error)) + 1e-3 * theirs[0]
    assert abs(4 * float(np.mean(fast.value + fast.direct)) - theirs[0]) < 4 * math.hypot(spread, theirs[1])


@pytest.mark.parametrize("name", ["tube", "cone", "tunnel"])
def test_sensors_view_through_a_finite_aperture(name: str) -> None:
    """Rays of frame points through the beam's windows, tested against the mesh: hidden share within 4 deviations.

    The renderer answers for 40,000 rays from each frame point; the exact chords are good to 1e-4.
    """
    use_variant()
    hood = HOODS[name]
    vertices, faces = inside_of(hood, 41.0 if name == "tube" else 35.0)
    scene = mitsuba.load_dict({"type": "scene", "hood": mesh_of(vertices, faces, 0.5)})
    beam = beam_of([(40.0, 14.0, 0.0, 0.0), (0.0, GLASS, 0.0, 0.0)], 1.4, 1.1)
    rng = np.random.default_rng(8)
    slopes = np.array([(1.25, 0.0), (1.3, 0.5), (1.0, 0.9), (0.1, 1.05), (0.6, 0.2), (-1.2, -0.7)])
    hidden = Occluder(hood).hidden(beam, slopes)
    seen = 0
    for slope, wanted in zip(slopes, hidden, strict=True):
        r, turn = 14.0 * np.sqrt(rng.random(40_000)), rng.random(40_000) * 2 * math.pi
        front = np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1) + 40.0 * slope
        front = front[np.hypot(front[:, 0], front[:, 1]) < GLASS][:2000]
        if len(front) == 0:
            assert math.isnan(wanted)
            continue
        ahead = np.array([*slope, 1.0]) / math.hypot(*slope, 1.0)
        blocked = 0
        for x, y in front:
            blocked += bool(scene.ray_test(mitsuba.Ray3f([x, y, 1e-3], [float(v) for v in ahead])))
        spread = math.sqrt(max(wanted * (1 - wanted), 1e-4) / len(front))
        assert abs(blocked / len(front) - wanted) < 4 * spread + 1e-4
        seen += 0.02 < wanted < 0.98
    assert seen >= 1
