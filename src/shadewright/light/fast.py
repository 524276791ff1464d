"""The fast method: points of the hood against every direction, instead of rays that happen to go there.

Light from the sky is sorted by its first bounce, exclusively and completely:

- Lambertian: a round wall is taken line by line (`lines`). Else each low-discrepancy point of a convex hood has a share of
  scatter that reaches the glass (`importances`, a closed form and a few walks), and is tested against all directions
  (`pairs`). In any other scene, backward rays leave their meeting places (`backward_sums`), which are tested likewise.
- lobe or mirror, then straight to the glass: the same points and tests, with a sample of the lobe for each point (`pairs`;
  `lobe_sums` in any other scene, with points all over its surfaces).
- lobe or mirror, then further bounces: walks from the sky side (`mirror_walks`).

Every part is done REPLICATES times with random shifts of its own; their scatter is the standard error.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from shadewright.light.card import Card, Device
from shadewright.light.importance import backward_sums, glass_sums, importances, lobe_sums, mirror_walks
from shadewright.light.lines import CELLS, line_sums, sight_table, step_table
from shadewright.light.pairs import (
    BOX,
    FLOOR,
    ROUND,
    ROWS,
    box_directions,
    coat_table,
    lit_sums,
    pair_sums,
    round_directions,
)
from shadewright.light.scatter import mirror_shares, offsets_of
from shadewright.light.scene import Coats, Part, Scene, Surfaces

Array = NDArray[np.float64]

REPLICATES = 16
GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
FLOOR_SHARE = 16
"""One point of the collar for so many of the wall."""
FLOOR_WALKS = 8
"""So many times the walks from each of them, since light leaves the collar for the glass by further bounces only."""
FEWEST_LINES = 8
SHORTEST = 1e-12
"""A line of the wall that is shorter than this has no inverse of its height, mm."""
GLASS_POINTS = 1024
WALKS = 16
"""Walks for each direction and replicate where the first bounce is by lobe or mirror."""
RIM_STEP = 2
"""The single-precision rim takes every so-manieth place of the scene's."""
COAT_CELLS = 2048
"""Cosines at which single precision has the mirror share; straight lines between them are right to 2e-6."""
DEEPEST = 1000
"""Most bounces that a backward ray is followed for in scenes of any kind; a faint one ends long before by its weight."""
FEW = 64
"""Backward rays whose meeting places are held at a time."""
SLICE = 256
"""Directions that one thread takes at a time in scenes of any kind."""


@dataclass(frozen=True, eq=False)
class Points:
    """Points of one kind of surface: places (m, 6) with normals, areas (m,) over the glass's, one part."""

    kind: int
    part: Part
    places: Array
    areas: Array


def lattice(count: int, rng: np.random.Generator) -> Array:
    """A randomly shifted lattice (count, 2) in the unit square: even steps against the golden ratio's."""
    i = np.arange(count)
    shift = rng.random(2)
    return np.stack([(i / count + shift[0]) % 1.0, (i * GOLDEN + shift[1]) % 1.0], axis=1)


def wall_points(scene: Scene, count: int, rng: np.random.Generator) -> list[Points]:
    """Points on the inside of a convex scene: wall and collar."""
    s = scene.surfaces
    if s.box[0] > 0:
        return _box_points(scene, count, rng)
    (band,) = s.bands[s.band_cut == 1]
    taper = (band[3] - band[1]) / (band[2] - band[0])
    u = lattice(count, rng)
    turn = 2.0 * math.pi * u[:, 0]
    top = rim_at(s, turn)
    z = u[:, 1] * top
    r = band[1] + taper * z
    slant = math.sqrt(1.0 + taper * taper)
    area = 2.0 * math.pi * top * r * slant / (count * scene.glass_area)
    x, y = np.cos(turn), np.sin(turn)
    places = np.stack([r * x, r * y, z, -x / slant, -y / slant, np.full(count, taper / slant)], axis=1)
    made = [Points(ROUND, Part.WALL, places, area)]
    if band[1] > scene.glass_radius * (1 + 1e-9):
        made.append(_floor_points(scene, max(16, count // FLOOR_SHARE), band[1], rng))
    return made


def _floor_points(scene: Scene, count: int, outer: float, rng: np.random.Generator) -> Points:
    """Points on the collar round the glass."""
    u = lattice(count, rng)
    turn = 2.0 * math.pi * u[:, 0]
    inner2, span2 = scene.glass_radius**2, outer**2 - scene.glass_radius**2
    r = np.sqrt(inner2 + u[:, 1] * span2)
    places = np.zeros((count, 6))
    places[:, 0], places[:, 1], places[:, 5] = r * np.cos(turn), r * np.sin(turn), 1.0
    return Points(FLOOR, Part.FRONT, places, np.full(count, math.pi * span2 / (count * scene.glass_area)))


def _box_points(scene: Scene, count: int, rng: np.random.Generator) -> list[Points]:
    """Points on a tunnel's four walls, in proportion to their areas, and on its collar."""
    _, w, h, *lips = scene.surfaces.box
    sides = [(-1, 0, w, h, lips[0]), (0, -1, h, w, lips[1]), (1, 0, w, h, lips[2]), (0, 1, h, w, lips[3])]
    areas = np.array([2 * half * lip for _, _, _, half, lip in sides])
    made = []
    for (nx, ny, off, half, lip), area in zip(sides, areas, strict=True):
        if area <= 0:
            continue
        n = max(8, round(count * area / areas.sum()))
        u = lattice(n, rng)
        along = (2 * u[:, 0] - 1) * half
        places = np.zeros((n, 6))
        places[:, 0], places[:, 1] = -nx * off + abs(ny) * along, -ny * off + abs(nx) * along
        places[:, 2], places[:, 3], places[:, 4] = u[:, 1] * lip, nx, ny
        made.append(Points(BOX, Part.WALL, places, np.full(n, area / (n * scene.glass_area))))
    n = max(16, count // FLOOR_SHARE)
    u = lattice(n, rng)
    places = np.zeros((n, 6))
    places[:, 0], places[:, 1], places[:, 5] = (2 * u[:, 0] - 1) * w, (2 * u[:, 1] - 1) * h, 1.0
    free = np.hypot(places[:, 0], places[:, 1]) > scene.glass_radius
    made.append(Points(BOX, Part.FRONT, places, np.where(free, 4 * w * h / (n * scene.glass_area), 0.0)))
    return made


def rim_at(s: Surfaces, turn: Array) -> Array:
    """Height of the rim at azimuths (n,) in radians, as `meet.rim_height` has it."""
    x, y = np.cos(turn), np.sin(turn)
    share = x / (np.abs(x) + np.abs(y))
    place = np.where(y >= 0, 1.0 - share, 3.0 + share) * (len(s.rim) - 1) / 4.0
    return np.asarray(np.interp(place, np.arange(len(s.rim)), s.rim))


@dataclass(frozen=True, eq=False)
class Sides:
    """Directions and rim as the single-precision kernels take them."""

    directions: NDArray[np.float32]
    base: NDArray[np.float32]
    slope: NDArray[np.float32]
    floor_radius: float
    taper: float

    @classmethod
    def of(cls, scene: Scene, directions: Array) -> Sides:
        """For a convex scene and directions (n, 3)."""
        s = scene.surfaces
        if s.box[0] > 0:
            none = np.zeros(2, np.float32)
            return cls(box_directions(directions, s.box), none, none, 0.0, 0.0)
        (band,) = s.bands[s.band_cut == 1]
        taper = float((band[3] - band[1]) / (band[2] - band[0]))
        base = s.rim[::RIM_STEP].astype(np.float32)
        slope = np.append(np.diff(base), 0.0).astype(np.float32)
        return cls(round_directions(directions, taper), base, slope, float(band[1]), taper)


def _single(points: Points, shares: Array, coats: Coats, floor_taper: float, rng: np.random.Generator) -> tuple[
    NDArray[np.float32], NDArray[np.float32]
]:  # fmt: skip
    """Rows (ROWS, m) and axes (m, 6) for `pairs.pair_sums`."""
    values, rings = coats.values[points.part], coats.rings[points.part]
    m = len(points.places)
    rows = np.zeros((ROWS, m))
    rows[:6] = points.places.T
    rows[6] = 2.0 * np.hypot(points.places[:, 0], points.places[:, 1]) * math.sqrt(1.0 + floor_taper**2)
    rows[7:10] = points.areas * values[0] * shares.T
    rows[12] = points.areas
    if values[1] > 0:
        offsets = np.empty((m, 3))
        # A third and fourth coordinate of the same lattice: irrational steps of their own.
        i = np.arange(m)
        shift = rng.random(2)
        offsets_of((i * math.sqrt(2.0) + shift[0]) % 1.0, (i * math.sqrt(3.0) + shift[1]) % 1.0, values, rings, offsets)
        rows[10:12] = offsets[:, :2].T
        rows[13] = points.areas * offsets[:, 2]
    return rows.astype(np.float32), _axes(points.places[:, 3:]).astype(np.float32)


def _axes(normals: Array) -> Array:
    """Two unit vectors across each normal (m, 3): (m, 6), the same as `scatter.frame_of`."""
    nx, ny, nz = normals.T
    sign = np.where(nz >= 0, 1.0, -1.0)
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return np.stack([1.0 + sign * nx * nx * a, sign * b, -sign * nx, b, sign + ny * ny * a, -ny], axis=1)


def _add_lines(
    scene: Scene, coats: Coats, sides: Sides, sight: NDArray[np.float32], count: int, seed: int, stream: int,
    rng: np.random.Generator, sums: Array,
) -> None:  # fmt: skip
    """Add the Lambertian light of a round wall to sums (3, n), by lines with about `count` walks in all."""
    s, values = scene.surfaces, coats.values[Part.WALL]
    taper, slant = sides.taper, math.sqrt(1.0 + sides.taper**2)
    lines = max(FEWEST_LINES, round(math.sqrt(2.0 * count)))
    heights = max(1, round(count / lines))
    i = np.arange(lines)
    turn = 2.0 * math.pi * (i + rng.random()) / lines
    x, y, top, first = np.cos(turn), np.sin(turn), rim_at(s, turn), (i * GOLDEN + rng.random()) % 1.0
    z = (np.arange(heights) + first[:, None]) * (top[:, None] / heights)
    r = sides.floor_radius + taper * z
    places = np.empty((lines, heights, 6))
    for row, of_line in enumerate((x, y)):
        places[:, :, row], places[:, :, 3 + row] = of_line[:, None] * r, -of_line[:, None] / slant
    places[:, :, 2], places[:, :, 5] = z, taper / slant
    shares = np.zeros((lines * heights, 3))
    importances(
        s, coats, places.reshape(-1, 6), np.full(lines * heights, int(Part.WALL)), _gathers(values), False, seed, stream,
        shares,
    )  # fmt: skip
    wide = values[0] * 2.0 * math.pi / lines
    areas = wide * slant / scene.glass_area * r * (top[:, None] / heights)
    rows = np.stack([x, y, top, np.where(top > 0, 1.0 / np.maximum(top, SHORTEST), 0.0), first]).astype(np.float32)
    line_sums(
        rows, step_table(areas[:, :, None] * shares.reshape(lines, heights, 3)), sight * np.float32(wide),
        CELLS / float(s.rim.max()), sides.directions, sides.base, sides.slope, sides.floor_radius, taper,
        _coat(values), sums,
    )  # fmt: skip


def _gathers(values: Array) -> int:
    """Walks from each place, by the Lambertian share."""
    return 1 + int(8 * values[0])


def _coat(values: Array) -> NDArray[np.float32]:
    """The mirror share as the single-precision kernels take it."""
    if values[2] <= 1:
        return np.zeros((2, 1), np.float32)
    return coat_table(mirror_shares(np.linspace(0.0, 1.0, COAT_CELLS + 1), values))


def _convex_replicate(
    scene: Scene, coats: Coats, sides: Sides, sight: NDArray[np.float32], directions: Array, count: int, seed: int,
    replicate: int,
) -> Array:  # fmt: skip
    """One replicate (3, n) in a convex scene."""
    rng = np.random.default_rng([seed, replicate])
    sums = np.zeros((3, len(directions)))
    every = wall_points(scene, count, rng)
    for number, points in enumerate(every):
        values = coats.values[points.part]
        parts = np.full(len(points.places), int(points.part))
        shares = np.zeros((len(points.places), 3))
        stream = 64 * replicate + number
        if points.kind == ROUND and values[0] > 0:
            _add_lines(scene, coats, sides, sight, count, seed, stream, rng, sums)
        elif values[0] > 0:
            gathers = _gathers(values) * (FLOOR_WALKS if points.part == Part.FRONT else 1)
            importances(scene.surfaces, coats, points.places, parts, gathers, True, seed, stream, shares)
        if points.kind == ROUND and not _glossy(values):
            continue
        rows, axes = _single(points, shares, coats, sides.taper, rng)
        pair_sums(
            points.kind, rows, axes, sides.directions, sides.base, sides.slope, sides.floor_radius, sides.taper,
            scene.glass_radius, _coat(values), sums,
        )  # fmt: skip
    if any(_glossy(values) for values in coats.values):
        places = np.concatenate([points.places for points in every])
        parts = np.concatenate([np.full(len(points.places), int(points.part)) for points in every])
        areas = np.concatenate([points.areas for points in every])
        # Mixed, so that any run of neighbours holds a fair share of every surface.
        order = rng.permutation(len(places))
        areas_kept = np.ascontiguousarray(areas[order])
        mirror_walks(
            scene.surfaces, coats, np.ascontiguousarray(places[order]), np.ascontiguousarray(parts[order]), areas_kept,
            directions, 0, len(directions), WALKS, True, seed, 64 * replicate + 32, sums,
        )  # fmt: skip
    return sums


def _glossy(values: Array) -> bool:
    """Whether a finish has a lobe or a mirror share."""
    return bool(values[1] > 0 or values[2] > 1)


def any_points(scene: Scene, count: int, rng: np.random.Generator) -> tuple[Array, NDArray[np.int64], Array]:
    """Points on all surfaces of any scene, in proportion to area: places (m, 6), parts (m,), areas (m,) over the glass's."""
    s = scene.surfaces
    places, parts, areas = [], [], []
    full = 2.0 * math.pi * np.hypot(s.bands[:, 2] - s.bands[:, 0], s.bands[:, 3] - s.bands[:, 1])
    full = full * 0.5 * (s.bands[:, 1] + s.bands[:, 3])
    edges = s.triangles[:, 3:].reshape(-1, 2, 3)
    normals = np.cross(edges[:, 0], edges[:, 1])
    sizes = np.linalg.norm(normals, axis=1)
    total = full.sum() + 0.5 * sizes.sum()
    for band, part, area in zip(s.bands, s.band_part, full, strict=True):
        n = max(4, round(count * area / total))
        u = lattice(n, rng)
        share = _even_radius(band, u[:, 1])
        r, z, turn = band[1] + share * (band[3] - band[1]), band[0] + share * (band[2] - band[0]), 2 * math.pi * u[:, 0]
        slant = math.hypot(band[2] - band[0], band[3] - band[1])
        nr, nz = (band[2] - band[0]) / slant, (band[3] - band[1]) / slant
        x, y = np.cos(turn), np.sin(turn)
        places.append(np.stack([r * x, r * y, z, -x * nr, -y * nr, np.full(n, nz)], axis=1))
        parts.append(np.full(n, part))
        areas.append(np.full(n, area / (n * scene.glass_area)))
        cut = s.band_cut[len(areas) - 1] == 1
        areas[-1][cut & (z > rim_at(s, turn))] = 0.0
    if len(sizes):
        n = max(4, round(count * 0.5 * sizes.sum() / total))
        ladder = np.cumsum(sizes) / sizes.sum()
        u = lattice(n, rng)
        chosen = np.minimum(np.searchsorted(ladder, u[:, 0]), len(sizes) - 1)
        p, q = np.sqrt(u[:, 1]), rng.random(n)
        at = s.triangles[chosen, :3] + edges[chosen, 0] * (p * (1 - q))[:, None] + edges[chosen, 1] * (p * q)[:, None]
        places.append(np.concatenate([at, normals[chosen] / sizes[chosen, None]], axis=1))
        parts.append(np.zeros(n, np.int64))
        areas.append(np.full(n, 0.5 * sizes.sum() / (n * scene.glass_area)))
    if s.box[0] > 0:
        for points in _box_points(scene, count, rng):
            places.append(points.places)
            parts.append(np.full(len(points.places), int(points.part)))
            areas.append(points.areas)
    return np.concatenate(places), np.concatenate(parts).astype(np.int64), np.concatenate(areas)


def _even_radius(band: Array, u: Array) -> Array:
    """Share along a conical or flat ring at which it has the share u (n,) of its area behind it."""
    r0, r1 = band[1], band[3]
    if abs(r1 - r0) < 1e-12 * max(r0, r1, 1e-300):
        return u
    return np.asarray((np.sqrt(r0 * r0 + u * (r1 * r1 - r0 * r0)) - r0) / (r1 - r0))


def _any_replicate(
    scene: Scene, coats: Coats, directions: Array, count: int, seed: int, replicate: int, span: tuple[int, int]
) -> Array:
    """One replicate (3, n) in any scene, for the directions of a span; the others stay 0."""
    s, (first, stop) = scene.surfaces, span
    sums = np.zeros((3, len(directions)))
    if np.any(coats.values[:, 0] > 0):
        columns = np.ascontiguousarray(directions.T)
        backward_sums(s, coats, count, FEW, seed, 64 * replicate, DEEPEST, columns, first, stop, sums)
        sums /= count
    if any(_glossy(values) for values in coats.values):
        rng = np.random.default_rng([seed, replicate])
        places, parts, areas = any_points(scene, count // 2, rng)
        order = rng.permutation(len(places))
        places, areas = np.ascontiguousarray(places[order]), np.ascontiguousarray(areas[order])
        parts = np.ascontiguousarray(parts[order])
        offsets = np.zeros((len(places), 3))
        u = lattice(len(places), rng)
        for part in np.unique(parts):
            of_part = parts == part
            drawn = np.empty((int(of_part.sum()), 3))
            offsets_of(u[of_part, 0], u[of_part, 1], coats.values[part], coats.rings[part], drawn)
            offsets[of_part] = drawn
        lobe_sums(s, coats, places, parts, areas, offsets, np.ascontiguousarray(directions.T), first, stop, sums)
        mirror_walks(
            s, coats, places, parts, areas, directions, first, stop, min(len(places), WALKS), False, seed,
            64 * replicate + 32, sums,
        )  # fmt: skip
    return sums


def fast_replicates(
    scene: Scene, coats: Coats, directions: Array, *, samples: int, seed: int, threads: int,
    tick: Callable[[float], None],
) -> Array:  # fmt: skip
    """Wall light in REPLICATES independent goes: (REPLICATES, 3, n) by number of bounces."""
    each = max(16, samples // REPLICATES)
    sides, sight = None, np.zeros((2, 1), np.float32)
    if scene.simple:
        sides = Sides.of(scene, directions)
        if not scene.surfaces.box[0] > 0:
            sight = sight_table(sides.floor_radius, sides.taper, float(scene.surfaces.rim.max()), scene.glass_radius)
    jobs: list[Callable[[], Array]] = []
    owners: list[int] = []
    for replicate in range(REPLICATES):
        if sides is not None:
            jobs.append(partial(_convex_replicate, scene, coats, sides, sight, directions, each, seed, replicate))
            owners.append(replicate)
            continue
        for first in range(0, len(directions), SLICE):
            span = (first, min(first + SLICE, len(directions)))
            jobs.append(partial(_any_replicate, scene, coats, directions, each, seed, replicate, span))
            owners.append(replicate)
    found = np.zeros((REPLICATES, 3, len(directions)))
    for done, (owner, sums) in enumerate(zip(owners, in_order(jobs, threads), strict=True)):
        found[owner] += sums
        tick((done + 1) / len(jobs))
    return found


def in_order(jobs: list[Callable[[], Array]], threads: int) -> Iterator[Array]:
    """Results of the jobs in their order, worked out by several threads; the kernels let go of the interpreter."""
    if threads <= 1:
        for job in jobs:
            yield job()
        return
    with ThreadPoolExecutor(threads) as pool:
        futures = [pool.submit(job) for job in jobs]
        try:
            for future in futures:
                yield future.result()
        finally:
            for future in futures:
                future.cancel()


def direct_light(
    scene: Scene, directions: Array, *, points: int = GLASS_POINTS, device: Device = Device.PROCESSOR
) -> Array:
    """Lit share of the glass times cos θ (n,) for each direction: what arrives without a bounce, from `points` of the glass.

    Raises LightError where a card is asked for and there is none.
    """
    u = lattice(points, np.random.default_rng(0))
    r, turn = scene.glass_radius * np.sqrt(u[:, 1]), 2.0 * math.pi * u[:, 0]
    places = np.stack([r * np.cos(turn), r * np.sin(turn), np.full(points, scene.surfaces.glass[1])], axis=1)
    sums = np.zeros(len(directions))
    box = scene.surfaces.box
    if box[0] > 0:
        # A tunnel narrower than the glass covers the rest of it.
        places = places[(np.abs(places[:, 0]) <= box[1]) & (np.abs(places[:, 1]) <= box[2])]
    if device is Device.CARD:
        return Card(scene, None).seen(places, directions) * np.maximum(directions[:, 2], 0.0) / points
    if not scene.simple:
        columns = np.ascontiguousarray(directions.T)
        for first in range(0, len(directions), SLICE):
            stop = min(first + SLICE, len(directions))
            glass_sums(scene.surfaces, np.ascontiguousarray(places), columns, first, stop, sums)
        return sums / points
    sides = Sides.of(scene, directions)
    rows = np.zeros((ROWS, len(places)), np.float32)
    rows[:3], rows[5] = places.T, 1.0
    kind = BOX if box[0] > 0 else FLOOR
    lit_sums(kind, rows, sides.directions, sides.base, sides.slope, sides.floor_radius, sides.taper, sums)
    return sums / points
