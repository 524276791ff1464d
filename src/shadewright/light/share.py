"""Direct light from outside the frame: lit-share maps, the let-in share, bounds and gains.

The let-in share is the integral of L cos θ over directions ahead of the lens and outside the frame, over the integral
of cos θ there. With direction cosines (ux, uy) the element cos θ dω is dux duy, so both are plain areas of the unit
disc: the map is a square grid over that disc. L is the lit share of the front glass (a disc).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.loss import Occluder
from shadewright.light import disc
from shadewright.model.shape import HoodShape
from shadewright.optics.beam import Beam

Array = NDArray[np.float64]

GRID = 161
"""Cells across the unit disc of direction cosines."""
CHORDS = 96
"""Chords across the front glass for each direction."""


@dataclass(frozen=True, eq=False)
class LightMap:
    """Lit share over the forward sky.

    cosines: (n, n, 2) direction cosines (ux right, uy up) of each cell's middle. lit: (n, n) share of the front glass
    that a distant source there reaches, NaN beyond the horizon. outside: (n, n) how much of each cell lies outside the
    frame and within the horizon, 0 to 1.
    """

    cosines: Array
    lit: Array
    outside: Array
    label: str

    @property
    def let_in(self) -> float:
        """The let-in share: 1 with no hood, 0 for a perfect one, and 0 where the frame leaves nothing outside it."""
        outside = float(np.sum(self.outside))
        return float(np.nansum(self.lit * self.outside)) / outside if outside > 0 else 0.0


def _grid(cells: int) -> tuple[Array, Array]:
    """Cell middles (cells, cells, 2) over the unit square, and how much of each lies within the horizon."""
    edge = np.linspace(-1, 1, cells + 1)
    middle = 0.5 * (edge[:-1] + edge[1:])
    cosines = np.stack(np.meshgrid(middle, middle), axis=-1)
    return cosines, _share(cosines, 2.0 / cells, lambda u: np.hypot(u[..., 0], u[..., 1]) < 1.0)


def _share(cosines: Array, size: float, test: Callable[[Array], NDArray[np.bool_]]) -> Array:
    """Share of each cell that passes a test: by 8 x 8 points in cells whose corners disagree, else by any corner."""
    cells = len(cosines)
    edge = np.linspace(-1, 1, cells + 1)
    corner = test(np.stack(np.meshgrid(edge, edge), axis=-1)).astype(int)
    count = corner[:-1, :-1] + corner[1:, :-1] + corner[:-1, 1:] + corner[1:, 1:]
    share = (count == 4).astype(float)
    mixed = (count > 0) & (count < 4)
    offsets = ((np.arange(8) + 0.5) / 8 - 0.5) * size
    inner = np.stack(np.meshgrid(offsets, offsets), axis=-1).reshape(-1, 2)
    share[mixed] = np.mean(test(cosines[mixed][:, None, :] + inner), axis=1)
    return share


def in_frame(beam: Beam, cosines: Array) -> NDArray[np.bool_]:
    """Whether directions ahead, as direction cosines (..., 2), lie within the frame's pieces of slope."""
    up = 1.0 - np.sum(cosines**2, axis=-1)
    ahead = up > 0
    slopes = cosines / np.sqrt(np.where(ahead, up, 1.0))[..., None]
    inside = np.zeros(cosines.shape[:-1], bool)
    for piece in beam.pieces:
        within = np.ones_like(inside)
        for a, b in zip(piece, np.roll(piece, -1, 0), strict=True):
            within &= (b[0] - a[0]) * (slopes[..., 1] - a[1]) - (b[1] - a[1]) * (slopes[..., 0] - a[0]) >= 0
        inside |= within
    return inside & ahead


def light_map(beam: Beam, shape: HoodShape | None, *, cells: int = GRID) -> LightMap:
    """The lit share of the front glass over the sky at one setting; without a hood it is 1 everywhere."""
    cosines, horizon = _grid(cells)
    outside = (
        horizon
        * _share(cosines, 2.0 / cells, lambda u: (np.hypot(u[..., 0], u[..., 1]) < 1.0) & ~in_frame(beam, u))
        / np.maximum(horizon, 1e-12)
    )
    outside = np.minimum(outside, horizon)
    up = 1.0 - np.sum(cosines**2, axis=-1)
    seen = horizon > 0
    # A cell that straddles the horizon is judged just above it.
    slopes = cosines / np.sqrt(np.maximum(up, 1e-4))[..., None]
    lit = np.full(seen.shape, np.nan)
    if shape is None:
        lit[seen] = 1.0
    else:
        hidden = Occluder(shape).hidden_glass(beam.front_radius, beam.reach, slopes[seen], chords=CHORDS)
        lit[seen] = 1.0 - np.nan_to_num(hidden, nan=1.0)
    return LightMap(cosines, lit, outside, beam.label)


def mask_let_in(beam: Beam, opening: Array, z: float, *, cells: int = GRID) -> float:
    """Let-in share of a flat mask at z (mm from the seat plane) whose hole is the polygon `opening` (n, 2), mm.

    Nothing but the mask stops light, so it is the least that any hood no deeper can let in where the keep-out is convex.
    """
    cosines, horizon = _grid(cells)
    outside = np.minimum(
        horizon,
        _share(cosines, 2.0 / cells, lambda u: (np.hypot(u[..., 0], u[..., 1]) < 1.0) & ~in_frame(beam, u)),
    )
    ahead = z - beam.reach
    if ahead <= 0:
        return 1.0
    wanted = outside > 0
    up = 1.0 - np.sum(cosines**2, axis=-1)
    slopes = (cosines / np.sqrt(np.maximum(up, 1e-4))[..., None])[wanted]
    lit = disc.in_polygon(np.ascontiguousarray(opening), -slopes * ahead, beam.front_radius)
    return float(np.sum(lit * outside[wanted]) / np.sum(outside))


def gain_stops(let_in: float, reference: float) -> float:
    """Gain in stops of a hood over another: log2 of the ratio of their let-in shares; infinity where nothing gets in."""
    if let_in <= 0:
        return math.inf
    return math.log2(reference / let_in)
