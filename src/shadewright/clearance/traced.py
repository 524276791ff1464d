"""The keep-out of traced beams: the tables of their footprints, packed for the kernels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance import traced_kernel
from shadewright.optics.beam import Beam
from shadewright.optics.footprints import GUARD, NORMALS, Footprints, normals
from shadewright.optics.frame import Frame

Array = NDArray[np.float64]

ALONG = 48
"""Frame samples along each side of the outline."""
ACROSS = 13
"""Samples each way over the inside of the frame, for beams that the lens itself cuts off before the corner."""
AROUND = 180
"""Samples round each ring where the lens itself lets the last light through."""
LAW = 2049
"""Even image heights at which the slope of the chief ray is tabulated."""


_ORDER = np.array([int(f"{m:08b}"[::-1], 2) for m in range(NORMALS)])
"""Tangents so ordered that the first few stand all round: a line that misses a beam is then dismissed by them."""


@dataclass(frozen=True, eq=False)
class TracedPack:
    """Traced beams as `traced_kernel` takes them; `beams` are their places among all beams of the keep-out."""

    beams: NDArray[np.int64]
    samples: Array
    sample_at: NDArray[np.int64]
    sample_frame: NDArray[np.int64]
    frames: Array
    frame_at: NDArray[np.int64]
    light: Array
    slopes: Array
    support: Array
    table_at: NDArray[np.int64]
    rims: NDArray[np.int64]
    laws: Array
    law_steps: Array
    reach: Array
    near: Array
    far: Array
    growth: Array

    @property
    def arrays(self) -> tuple[Array | NDArray[np.int64], ...]:
        """What both kernels take, in their order."""
        psi = normals()[_ORDER]
        return (
            self.samples, self.sample_at, self.sample_frame, self.frames, self.frame_at, self.light, self.slopes,
            self.support, self.table_at, self.laws, self.law_steps, np.cos(psi), np.sin(psi), self.reach, self.near, self.far, self.growth,
        )  # fmt: skip

    def lines(
        self, origins: Array, directions: Array, starts: Array, stops: Array, entry: Array
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
        """Lower `entry` (n,) to where lines first meet a traced beam.

        Returns for each line the beam that binds or -1, the bits of the lens surface that limits it there, and the slope.
        """
        n = len(origins)
        state, tangent = np.full(n, -1, np.int64), np.full(n, -1, np.int64)
        slope = np.zeros((n, 2))
        traced_kernel.traced_lines_kernel(
            np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float),
            np.ascontiguousarray(starts, dtype=float), np.ascontiguousarray(stops, dtype=float), *self.arrays, entry,
            state, tangent, slope,
        )  # fmt: skip
        surfaces = self.rims.reshape(-1)[np.maximum(tangent, 0)]
        mask = np.where(tangent >= 0, np.left_shift(np.int64(1), np.minimum(surfaces, 62)), 0)
        return np.where(state >= 0, self.beams[np.maximum(state, 0)], -1), mask, slope

    def touches(self, triangles: Array, *, smallest: float, touched: NDArray[np.bool_], where: Array) -> None:
        """Mark which traced beams a mesh (m, 3, 3) touches, in the arrays over all beams of the keep-out."""
        mine, place = touched[self.beams], where[self.beams]
        traced_kernel.traced_mesh_kernel(triangles, *self.arrays, smallest, mine, place)
        touched[self.beams], where[self.beams] = mine, place


def pack(beams: Sequence[Beam], places: Sequence[int]) -> TracedPack | None:
    """Pack the traced ones among beams, whose places in the keep-out are given; None where there are none."""
    chosen = [(beam, place) for beam, place in zip(beams, places, strict=True) if beam.footprints is not None]
    if not chosen:
        return None
    tables = [beam.footprints for beam, _ in chosen if beam.footprints is not None]
    samples: list[Array] = []
    sample_frame: list[NDArray[np.int64]] = []
    frames: list[tuple[float, float, float]] = []
    frame_at = [0]
    for beam, _place in chosen:
        points, owner, sizes = _samples(beam.frame, len(frames))
        assert beam.footprints is not None
        if not beam.footprints.complete:
            points, owner = _with_edge_of_light(beam.frame, beam.footprints, points, owner)
        samples.append(np.hstack([points, beam.frame.slopes(points)]))
        sample_frame.append(owner)
        frames += sizes
        frame_at.append(len(frames))
    laws, steps = zip(*(_law(beam.frame) for beam, _ in chosen), strict=True)
    # One row alone, of a beam that never leaves the axis, is given twice so that there is always a step.
    doubled = [table if len(table.slope) > 1 else _doubled(table) for table in tables]
    finite = [math.isfinite(table.distance) for table in tables]
    return TracedPack(
        beams=np.array([place for _, place in chosen], np.int64),
        samples=np.concatenate(samples),
        sample_at=_bounds(samples),
        sample_frame=np.concatenate(sample_frame),
        frames=np.array(frames),
        frame_at=np.array(frame_at, np.int64),
        light=np.array([_last_light(beam.frame, table) for (beam, _), table in zip(chosen, tables, strict=True)]),
        slopes=np.concatenate([table.slope for table in doubled]),
        support=np.ascontiguousarray(np.concatenate([table.support[:, _ORDER] for table in doubled])),
        table_at=_bounds([table.slope for table in doubled]),
        rims=np.ascontiguousarray(np.concatenate([table.rim[:, _ORDER] for table in doubled])),
        laws=np.array(laws),
        law_steps=np.array(steps),
        reach=np.array([beam.reach for beam, _ in chosen]),
        near=np.array([1.0 / t.distance if f else 0.0 for t, f in zip(tables, finite, strict=True)]),
        far=np.array([(t.distance + t.depth) / t.distance if f else 1.0 for t, f in zip(tables, finite, strict=True)]),
        growth=np.array([table.growth + GUARD for table in tables]),
    )


def _last_light(frame: Frame, table: Footprints) -> float:
    """Image height in mm to which the lens lets light, a hair inside; infinity where that is beyond the frame."""
    if table.complete:
        return math.inf
    return (1 - 1e-7) * float(frame.points(np.array([[table.slope[-1], 0.0]]))[0, 0])


def _with_edge_of_light(
    frame: Frame, table: Footprints, points: Array, owner: NDArray[np.int64]
) -> tuple[Array, NDArray[np.int64]]:
    """More samples along the last slopes that the lens lets through, where they lie within the frame's first outline."""
    rows = [place for place in (1, 2, 4, 8, 16, 32) if place < len(table.slope)]
    angle = np.linspace(0.0, 2 * math.pi, AROUND, endpoint=False)
    height = frame.points(np.stack([table.slope[[-place for place in rows]], np.zeros(len(rows))], axis=1))[:, 0]
    # A hair inside, so that rounding does not put them beyond the table.
    ring = ((1 - 1e-7) * height[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)[None]).reshape(-1, 2)
    half = np.max(np.abs(frame.outlines()[0]), axis=0)
    inside = ring[np.all(np.abs(ring) <= half, axis=1)]
    first = owner[:1] if len(owner) else np.zeros(1, np.int64)
    return np.concatenate([points, inside]), np.concatenate([owner, np.repeat(first, len(inside))])


def _bounds(parts: Sequence[Array]) -> NDArray[np.int64]:
    return np.cumsum([0] + [len(part) for part in parts]).astype(np.int64)


def _doubled(table: Footprints) -> Footprints:
    return replace(
        table, slope=np.array([0.0, 1e-9]), support=np.repeat(table.support, 2, axis=0), rim=np.repeat(table.rim, 2, axis=0)
    )


def _law(frame: Frame) -> tuple[Array, float]:
    """Slopes at LAW even image heights from 0 to beyond the frame's corner, and their step in mm."""
    corner = max(float(np.max(np.hypot(*outline.T))) for outline in frame.outlines()) * 1.01
    heights = np.linspace(0.0, corner, LAW)
    slopes = frame.slopes(np.stack([heights, np.zeros(LAW)], axis=1))[:, 0]
    return slopes, float(heights[1])


def _samples(frame: Frame, first: int) -> tuple[Array, NDArray[np.int64], list[tuple[float, float, float]]]:
    """Frame points (n, 2) in mm, the row of the frame's sizes for each, and the sizes."""
    points, owner, sizes = [], [], []
    circle = math.inf if frame.image_circle is None else frame.image_circle
    for number, outline in enumerate(frame.outlines()):
        half = np.max(np.abs(outline), axis=0)
        sizes.append((float(half[0]), float(half[1]), circle))
        share = np.linspace(-1.0, 1.0, ALONG + 1)
        side = np.concatenate(
            [np.stack([half[0] * share, np.full_like(share, sign * half[1])], axis=1) for sign in (-1, 1)]
            + [np.stack([np.full_like(share, sign * half[0]), half[1] * share], axis=1) for sign in (-1, 1)]
        )
        inner = np.stack(
            np.meshgrid(half[0] * np.linspace(-0.95, 0.95, ACROSS), half[1] * np.linspace(-0.95, 0.95, ACROSS)), axis=-1
        ).reshape(-1, 2)
        every = np.concatenate([side, inner])
        radius = np.hypot(every[:, 0], every[:, 1])
        every = every * np.minimum(1.0, circle / np.maximum(radius, 1e-12))[:, None]
        points.append(every)
        owner.append(np.full(len(every), first + number, np.int64))
    return np.concatenate(points), np.concatenate(owner), sizes
