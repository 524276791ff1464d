"""Random hoods and finishes: the fast method against the reference; the same hoods in the renderer."""

from __future__ import annotations

import math

import numpy as np
import pytest

from renderer import inside_of, use_variant, wall_light_by_renderer
from shadewright.light.finish import ABg, Finish, Harvey
from shadewright.light.scene import Scene, Vane, bare_scene
from shadewright.light.wall_light import Method, Sky, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

pytestmark = pytest.mark.deep


def drawn_hood(rng: np.random.Generator) -> tuple[RoundHood | TunnelHood, float]:
    """A hood of any kind and the radius of the glass behind it, mm."""
    glass = rng.uniform(15, 40)
    if rng.random() < 0.25:
        lips = TunnelRim(*(float(v) for v in rng.uniform(0.3, 1.2, 4) * glass))
        return TunnelHood(TunnelWall(glass * rng.uniform(1.02, 1.5), glass * rng.uniform(1.02, 1.3)), lips), glass
    azimuth = np.arange(0.0, 360.0, 1.0)
    wave = rng.uniform(0.0, 0.35) * np.cos(np.radians(2 * azimuth)) + rng.uniform(0.0, 0.2) * np.cos(np.radians(4 * azimuth))
    rim = Rim.from_arrays(azimuth, glass * rng.uniform(0.6, 1.5) * (1 + wave))
    near = glass * rng.uniform(1.0, 1.4)
    far = near * rng.uniform(0.8, 1.4) if rng.random() < 0.6 else near
    return RoundHood(RoundWall((0.0, 2 * glass), (near, far)), rim), glass


def drawn_finish(rng: np.random.Generator) -> Finish:
    """A finish with or without a lobe and a mirror share."""
    lobe = [None, Harvey(rng.uniform(0.1, 5), rng.uniform(0.02, 0.3), rng.uniform(-3, -1.5)), ABg(0.01, rng.uniform(0.005, 0.1), 2.2)]
    return Finish(
        "drawn", rng.uniform(0.0, 0.9), lobe=lobe[rng.integers(3)], index=None if rng.random() < 0.5 else rng.uniform(1.3, 2.0),
        gloss=rng.uniform(0, 1), roughness=rng.uniform(0, 0.3),
    )  # fmt: skip


def drawn_scene(rng: np.random.Generator) -> Scene:
    """A scene with or without vanes, a frame and a glass that reflects."""
    hood, glass = drawn_hood(rng)
    vanes: tuple[Vane, ...] = ()
    if isinstance(hood, RoundHood) and rng.random() < 0.4:
        places = glass * rng.uniform(0.2, 1.0, 3)
        vanes = tuple(Vane(float(z), float(hood.wall.radius_at(z)) * rng.uniform(0.85, 0.97)) for z in places)
    return bare_scene(
        glass, hood, vanes=vanes, frame_depth=0.0 if rng.random() < 0.6 else rng.uniform(1, 5),
        glass_reflectance=0.0 if rng.random() < 0.6 else rng.uniform(0, 0.5),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_drawn_scenes_by_both_methods(seed: int) -> None:
    """Means over the sphere and over its two halves, direct light too, within 4.5 standard errors and the midpoint rule's
    2e-3.
    """
    rng = np.random.default_rng(7000 + seed)
    scene, finish = drawn_scene(rng), drawn_finish(rng)
    fast = wall_light(scene, finish, sky=Sky(60, 72), samples=8192, seed=seed)
    reference = wall_light(scene, finish, sky=Sky(60, 72), method=Method.REFERENCE, samples=2_000_000, seed=seed + 500)
    for half in (slice(0, 30 * 72), slice(30 * 72, None)):
        ours, theirs = fast.value[half].mean(), reference.value[half].mean()
        # The fast method's errors are alike in all directions at worst; the cells' are nearly independent.
        spread = math.hypot(
            float(np.mean(fast.standard_error[half])), math.sqrt(float(np.sum(reference.standard_error[half] ** 2))) / (30 * 72)
        )
        assert abs(ours - theirs) < 4.5 * spread + 2e-3 * theirs
        direct = reference.direct[half].mean()
        assert abs(fast.direct[half].mean() - direct) < 4.5 * math.sqrt(max(direct, 1e-9) / 4 / 2_000_000) + 3e-3 * direct


@pytest.mark.parametrize("seed", range(12))
def test_drawn_hoods_in_the_renderer(seed: int) -> None:
    """Three directions of a Lambertian hood each, within 4.5 standard errors."""
    use_variant()
    rng = np.random.default_rng(8000 + seed)
    hood, glass = drawn_hood(rng)
    reflectance = rng.uniform(0.1, 0.9)
    towards = rng.normal(size=(3, 3))
    towards[:, 2] = np.abs(towards[:, 2]) * 0.5
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    found = wall_light(bare_scene(glass, hood), Finish("wall", reflectance), directions=towards, samples=65_536)
    vertices, faces = inside_of(hood, glass)
    for k, d in enumerate(towards):
        value, error = wall_light_by_renderer(vertices, faces, glass, d, reflectance, rays=32_768, seed=10 * seed + k + 1)
        assert abs(found.value[k] - value) <= 4.5 * math.hypot(found.standard_error[k], error) + 5e-4 * value
