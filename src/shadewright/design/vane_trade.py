"""What the depth of vanes buys on a hood of one length and opening: wall light against outer diameter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.design.fit import Fitting
from shadewright.design.vane_plan import ROOM, furthest_glass, print_spacing, widest_glass
from shadewright.design.weigh import weighed_settings
from shadewright.errors import FitError
from shadewright.light.finish import Finish
from shadewright.light.scene import scene_of
from shadewright.light.share import light_map
from shadewright.light.surroundings import StrayLight, stray_lights
from shadewright.light.vanes import CLOSEST, EdgeLine, Vane, VaneLayout, lay_out_vanes, straight_edges
from shadewright.light.wall_light import Sky, WallLight, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.model.surroundings import Surroundings
from shadewright.optics.beam import Beam

SAMPLES = 4096
"""Points of the hood for each wall light of a table."""
TABLE_SKY = Sky(24, 36)
"""Cells at which the wall light of a table is summed."""
DEPTHS = (0.0, 2.0, 4.0, 6.0, 8.0, 12.0)
"""Depths of vanes in a table, mm."""


@dataclass(frozen=True)
class VaneTrade:
    """One depth of vanes on a plain hood of one length and one clear opening. Lengths in mm.

    light: direct and wall light with the vanes. bare: wall light of the same wall without them, as a share likewise.
    least: spacing below which vanes cannot be printed.
    """

    depth: float
    layout: VaneLayout | None
    across: float
    light: StrayLight
    bare: float
    least: float

    @property
    def printable(self) -> bool:
        """True where there are vanes and all stand far enough apart to be printed."""
        return self.layout is not None and self.layout.closest >= self.least

    @property
    def count(self) -> int:
        """How many vanes there are."""
        return len(self.layout.vanes) if self.layout else 0

    @property
    def complete(self) -> bool:
        """True where no lit wall is seen from the glass."""
        return self.layout is not None and self.layout.complete


def vane_trades(
    fitting: Fitting, surroundings: Surroundings, finish: Finish, *, depths: Sequence[float] = DEPTHS,
    samples: int = SAMPLES,
) -> list[VaneTrade]:  # fmt: skip
    """What vanes of each depth do for a plain hood of the fitting's length: the opening stays, the wall steps back.

    The wall is a tube as much wider than the clear opening as the vanes are deep, so that the direct light is the same
    at every depth. The foremost vane stands in the rim. Raises FitError, LightError.
    """
    job = fitting.job
    if not isinstance(fitting.shape, RoundHood):
        raise FitError("vanes: they stand in round hoods only; fit a plain or petal hood first.")
    beam = job.beam(weighed_settings(job)[0])
    glass_z, length = max(furthest_glass(job), 0.0), fitting.shape.rim.shallowest
    opening = straight_edges(fitting.keepout, near=glass_z + CLOSEST, far=length, room=ROOM).near_radius
    opening = max(opening, job.lens.front.rim_diameter / 2 + ROOM)
    # Whatever the wall, the first edge that light meets is that of the opening.
    front = RoundHood(RoundWall((0.0,), (opening,)), Rim.plain(length))
    rows = []
    for depth in depths:
        hood = RoundHood(RoundWall((0.0,), (opening + depth,)), Rim.plain(length))
        bare = _weighed(beam, front, hood, (), surroundings, finish, samples)
        layout, ringed = None, bare
        if depth > 0:
            edges = EdgeLine(glass_z, opening, length, opening)
            layout = lay_out_vanes(hood.wall, edges, glass_radius=widest_glass(job), glass_z=glass_z, front=length)
            ringed = _weighed(beam, front, hood, layout.vanes, surroundings, finish, samples)
        across = 2 * (opening + depth + fitting.hood.build.thickness)
        rows.append(VaneTrade(depth, layout, across, ringed, bare.wall or 0.0, print_spacing(fitting.hood.build)))
    return rows


def _weighed(
    beam: Beam, front: RoundHood, hood: RoundHood, vanes: tuple[Vane, ...], surroundings: Surroundings, finish: Finish,
    samples: int,
) -> StrayLight:  # fmt: skip
    scene = scene_of(beam, hood, vanes=vanes)
    light = light_map(beam, front, cells=61)

    def wall(directions: NDArray[np.float64]) -> WallLight:
        return wall_light(scene, finish, directions=directions, samples=samples)

    return stray_lights(beam, front, [surroundings], light=light, wall=wall, sky=TABLE_SKY)[0]


__all__ = ["DEPTHS", "VaneTrade", "vane_trades"]
