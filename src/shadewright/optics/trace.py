"""Rays through a system of surfaces, with a code and a place for every ray that does not arrive."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.optics import ray_block, trace_kernel
from shadewright.optics.system import System

Array = NDArray[np.float64]
SHARE = 16_384
"""Rays a thread takes at a time."""


class Ending(IntEnum):
    """How a ray ended."""

    ARRIVED = 0
    MISSED = ray_block.MISSED  # it does not meet the surface
    REFLECTED = ray_block.REFLECTED  # total reflection
    CLIPPED = ray_block.CLIPPED  # outside the clear semi-diameter


@dataclass(frozen=True, eq=False)
class Rays:
    """Rays after a trace. Light travels along +z; z = 0 is the first vertex.

    state: (5, n) x and y in the image plane, then the direction cosines there. codes: (n,) 0 for a ray that arrived, else
    four times the surface at which it ended, from 0, plus how (see `Ending`). image: z of the image plane, mm. path:
    (surfaces + 1, n, 3) where each surface and the image plane were met, z from the first vertex, or (surfaces + 1, 0, 3)
    where not asked for. Numbers of rays that ended are meaningless after the surface named.
    """

    state: Array
    codes: NDArray[np.int64]
    image: float
    path: Array

    @property
    def points(self) -> Array:
        """Where the rays (n, 3) meet the image plane, mm."""
        return np.stack([self.state[0], self.state[1], np.full(len(self.codes), self.image)], axis=1)

    @property
    def directions(self) -> Array:
        """Direction cosines (n, 3) there."""
        return self.state[2:].T.copy()

    @property
    def ending(self) -> NDArray[np.int64]:
        """How each ray (n,) ended, values of `Ending`."""
        return self.codes % 4

    @property
    def surface(self) -> NDArray[np.int64]:
        """The surface, from 0, at which each ray (n,) ended; -1 where it arrived."""
        return np.where(self.codes == 0, -1, self.codes // 4)

    @property
    def arrived(self) -> NDArray[np.bool_]:
        """Which rays (n,) reached the image plane."""
        return np.asarray(self.codes == 0)


class Tables:
    """A system as the kernel takes it, the image plane appended as a last flat surface."""

    def __init__(self, system: System) -> None:
        n = len(system)
        self.curvature = np.append(system.curvature, 0.0)
        self.conic = np.append(1.0 + system.conic, 1.0)
        self.poly = np.vstack([system.aspheric, np.zeros((1, system.aspheric.shape[1]))])
        used = self.poly != 0
        self.degree = np.where(used.any(axis=1), used.shape[1] - np.argmax(used[:, ::-1], axis=1), 0)
        self.thickness = np.ascontiguousarray(system.thickness)
        self.mu = np.append(system.index[:-1] / system.index[1:], 1.0)
        self.limit = np.append(system.semi**2, np.inf)
        assert len(self.mu) == n + 1

    @property
    def arrays(self) -> tuple[Any, ...]:
        """What every kernel takes first."""
        return self.curvature, self.conic, self.poly, self.degree, self.thickness, self.mu, self.limit

    def run(self, x: Array, y: Array, along: Array, codes: NDArray[np.int64], path: Array, most: Array,
            which: NDArray[np.int64], *, clips: bool) -> None:  # fmt: skip
        """Trace rays that start in the plane of the first vertex; see `trace_kernel.trace_kernel`."""
        trace_kernel.trace_kernel(
            *self.arrays, x, y, along[0], along[1], along[2], codes, clips, path, most, which
        )


def trace(system: System, origins: Array, directions: Array, *, path: bool = False, clips: bool = True,
          threads: int = 1) -> Rays:  # fmt: skip
    """Trace rays from origins (n, 3) along directions (n, 3), any length, z component above 0.

    Origins may lie anywhere; each ray is first moved to the plane of the first vertex. clips: whether rays end at clear
    semi-diameters. The result is the same for any number of threads.
    """
    n, tables = len(origins), Tables(system)
    state, codes = np.empty((5, n)), np.empty(n, np.int64)
    origins, directions = np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float)
    kept = np.empty((len(system) + 1, n if path else 0, 3))
    nothing, none = np.empty(0), np.empty(0, np.int64)

    def part(first: int) -> None:
        cut = slice(first, first + SHARE)
        trace_kernel.start_kernel(origins[cut], directions[cut], *state[:, cut])
        own = np.empty((len(system) + 1, min(SHARE, n - first) if path else 0, 3))
        tables.run(state[0, cut], state[1, cut], state[2:, cut], codes[cut], own, nothing, none, clips=clips)
        if path:
            kept[:, cut] = own

    starts = range(0, n, SHARE)
    if threads > 1 and len(starts) > 1:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(part, starts))
    else:
        for first in starts:
            part(first)
    if path:
        kept[:, :, 2] += system.vertices[:, None]
    return Rays(state, codes, float(system.vertices[-1]), kept)


class Excess:
    """How near rays come to being cut, for many calls on one system."""

    def __init__(self, system: System) -> None:
        self.tables = Tables(system)
        self.nothing = np.empty((len(system) + 1, 0, 3))

    def __call__(self, x: Array, y: Array, slopes: Array) -> tuple[Array, NDArray[np.int64]]:
        """The largest r over semi-diameter (n,) and the surface where that is (n,), from 0.

        x, y: (n,) in the plane of the first vertex; slopes: (n, 2) dx/dz and dy/dz of the travelling light. Infinity
        where a ray misses a surface or is totally reflected there. At most 1: the ray passes.
        """
        n = len(x)
        along = np.empty((3, n))
        along[2] = 1.0 / np.sqrt(1.0 + slopes[:, 0] ** 2 + slopes[:, 1] ** 2)
        along[0] = slopes[:, 0] * along[2]
        along[1] = slopes[:, 1] * along[2]
        most, which = np.empty(n), np.empty(n, np.int64)
        self.tables.run(
            np.array(x, float), np.array(y, float), along, np.empty(n, np.int64), self.nothing, most, which, clips=False
        )
        return np.sqrt(np.maximum(most, 0.0)), which
