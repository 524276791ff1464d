"""Closed rooms: the multiplier of an integrating sphere, and the balance of every kind of scene and finish.

The port of an integrating sphere sees its own light again with the share ρ f / (1 - ρ (1 - f)), f the port's share of the
sphere: the multiplier M = ρ / (1 - ρ (1 - f)) times f (D. G. Goebel, "Generalized integrating-sphere theory", Appl. Opt.
6 (1967) 125; from memory). It is exact here: light from a flat port falls evenly on the sphere, as from its cap.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from shadewright.light.finish import ABg, Finish, Harvey
from shadewright.light.scene import Finishes, Scene, Vane, bare_scene
from shadewright.light.wall_light import Balance, Method, Sky, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

RAYS = 64_000


def balance(scene: Scene, finish: Finish | Finishes, *, rays: int = RAYS, seed: int = 4) -> Balance:
    """The balance of one run."""
    found = wall_light(scene, finish, sky=Sky(2, 2), method=Method.REFERENCE, samples=rays, seed=seed).balance
    assert found is not None
    return found


def sphere(radius: float, port: float, bands: int) -> Scene:
    """A sphere of conical bands whose port is the glass; a small lid closes its far end."""
    first = math.asin(port / radius)
    angle = np.linspace(first, math.pi - 0.01, bands + 1)
    z = -radius * np.cos(angle) + radius * math.cos(first)
    # Bands that keep the sphere's area: corners a little outside it.
    r = radius * np.sin(angle)
    wall = RoundWall(tuple(z.tolist()), tuple(r.tolist()))
    return bare_scene(port, RoundHood(wall, Rim.plain(float(z[-1]))), cap=float(z[-1]))


@pytest.mark.parametrize(("reflectance", "port"), [(0.9, 12.0), (0.5, 20.0), (0.98, 15.0)])
def test_integrating_sphere(reflectance: float, port: float) -> None:
    """Bands of 1.4 degrees leave 1e-4 of the sphere's shape."""
    radius, rays = 40.0, 32_000
    found = balance(sphere(radius, port, 128), Finish("white", reflectance), rays=rays)
    f = 0.5 * (1 - math.sqrt(1 - (port / radius) ** 2))
    wanted = reflectance * f / (1 - reflectance * (1 - f))
    assert abs(found.returned[0] - wanted) < 4 * math.sqrt(wanted * (1 - wanted) / rays) + 2e-4
    assert found.escaped[0] == 0.0


FINISHES = {
    "lambertian": Finish("l", 0.7),
    "coated": Finish("c", 0.3, index=1.5),
    "lobe": Finish("b", 0.1, lobe=Harvey(3.0, 0.05, -2.5)),
    "all": Finish("a", 0.3, lobe=ABg(0.02, 0.01, 2.0), index=1.5, gloss=0.9, roughness=0.1),
}
PETAL = Rim.from_arrays(np.arange(0.0, 360.0, 1.0), 30.0 - 8.0 * np.cos(np.radians(2 * np.arange(0.0, 360.0, 1.0))))
SCENES = {
    "petal": bare_scene(32.0, RoundHood(RoundWall((0.0,), (42.0,)), PETAL)),
    "vanes": bare_scene(32.0, RoundHood(RoundWall((0.0,), (42.0,)), PETAL), vanes=(Vane(12.0, 37.0), Vane(20.0, 37.0))),
    "frame": bare_scene(32.0, RoundHood(RoundWall((0.0,), (42.0,)), PETAL), frame_depth=4.0, glass_reflectance=0.2),
    "tunnel": bare_scene(32.0, TunnelHood(TunnelWall(46.0, 38.0), TunnelRim(40.0, 30.0, 35.0, 25.0))),
}


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize("finish", FINISHES)
def test_what_is_launched_is_taken_returned_or_escapes(scene: str, finish: str) -> None:
    """Tallies of what surfaces take use the tabulated reflectance, so their sum is 1 only if samples keep to it.

    The reflectance is straight between 129 tabulated angles: 3e-4 of what falls on the walls is allowed for that.
    """
    found = balance(SCENES[scene], FINISHES[finish])
    assert abs(found.total[0] - 1.0) < 4.5 * found.total[1] + 3e-4
    parts = (found.absorbed[0], found.returned[0], found.escaped[0])
    assert all(part > 0 for part in parts)
    assert sum(parts) == pytest.approx(found.total[0], abs=1e-12)


def test_nothing_leaks_from_a_closed_room() -> None:
    """A capped tube of reflectance 0.95 with vanes: what is taken and what returns make up all, and no ray gets out."""
    wall = RoundWall((0.0,), (40.0,))
    scene = bare_scene(40.0, RoundHood(wall, Rim.plain(60.0)), vanes=(Vane(20.0, 30.0), Vane(40.0, 25.0)), cap=60.0)
    found = balance(scene, Finish("white", 0.95))
    assert found.escaped[0] == 0.0
    assert abs(found.total[0] - 1.0) < 4.5 * found.total[1] + 1e-9
