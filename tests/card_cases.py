"""Scenes for the card's kernels: every kind of surface, lobe and mirror."""

from __future__ import annotations

import numpy as np

from shadewright.light.finish import ABg, Finish
from shadewright.light.scene import Finishes, Vane, bare_scene
from shadewright.light.wall_light import Sky
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

AZIMUTH = np.arange(0.0, 360.0, 1.0)
TUBE = RoundHood(RoundWall((0.0,), (42.0,)), Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH))))
CORNERS = np.array([[40, -40], [40, 40], [-40, 40], [-40, -40]], dtype=float)
NEXT = np.array([1, 2, 3, 0])
MESH = MeshHood(
    np.concatenate([np.c_[CORNERS, np.zeros(4)], np.c_[CORNERS, np.full(4, 30.0)]]),
    np.concatenate([np.stack([np.arange(4), NEXT, 4 + np.arange(4)], 1), np.stack([NEXT, 4 + NEXT, 4 + np.arange(4)], 1)]),
)
CASES = {
    "cone": bare_scene(32.0, RoundHood(RoundWall((0.0, 40.0), (36.0, 50.0)), TUBE.rim)),
    "vanes": bare_scene(32.0, TUBE, vanes=(Vane(12.0, 38.0), Vane(20.0, 38.0)), frame_depth=2.0, glass_reflectance=0.3),
    "narrow tunnel": bare_scene(32.0, TunnelHood(TunnelWall(40.0, 26.0), TunnelRim(40.0, 30.0, 35.0, 25.0))),
    "mesh": bare_scene(32.0, MESH),
}
FINISH = Finishes(Finish("a", 0.3, lobe=ABg(0.02, 0.01, 2.0), index=1.5), Finish("f", 0.1), Finish("v", 0.05))
SKY = Sky(6, 8)
RAYS = 640
POINTS = 48
