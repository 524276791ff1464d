"""From the deepest rim to one that can be made: petal, plain, square-cut.

The petal rim is the one of largest area on the unrolled wall that stays below the deepest rim and whose curvature, in
valleys and at tips, never exceeds one over the fillet radius. Slopes only flatten a curve of given second derivative,
so bounding the second derivative is on the safe side, and the best rim is the solution of a linear programme.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import FitError
from shadewright.model.hood import Symmetry
from shadewright.model.shape import Rim

Array = NDArray[np.float64]

NODES = 720
"""Nodes round the rim, half a degree apart."""
DEEPEST_NODES = 1440
"""Nodes round a rim that follows the keep-out itself, a quarter degree apart."""
STANDING_SHARE = 0.25
"""A hood stands where its support reaches this share of its radius to every side of the axis (common practice)."""


@dataclass(frozen=True)
class PetalLimits:
    """What a petal rim respects, mm; `radius` is where the wall is unrolled."""

    radius: float
    fillet_radius: float
    smallest_lobe_width: float
    largest_length: float
    symmetry: Symmetry
    stands: bool


def nodes() -> Array:
    """Azimuths (NODES,) in degrees of the rim's nodes."""
    return np.asarray(np.arange(NODES) * (360.0 / NODES), dtype=np.float64)


def safe_nodes(fine: Array, *, count: int = NODES) -> Array:
    """Ceiling (count,) for nodes joined by straight lines, from the deepest rim on a grid `m` times finer.

    fine: (m count,) with fine[0] at azimuth 0. Where the deepest rim bends upwards a straight line between two of its
    points would rise above it: each node is lowered by what the lines to its neighbours exceed the rim.
    """
    m = len(fine) // count
    ceiling = fine[::m].copy()
    share = np.arange(m) / m
    for _ in range(4):
        following = np.roll(ceiling, -1)
        chord = ceiling[:, None] * (1 - share) + following[:, None] * share
        over = np.max(np.maximum(chord - fine.reshape(count, m), 0.0), axis=1)
        if np.max(over) < 1e-9:
            break
        ceiling = ceiling - np.maximum(over, np.roll(over, 1))
    return np.asarray(ceiling)


def images(symmetry: Symmetry) -> list[NDArray[np.int64]]:
    """Index maps (NODES,) of the reflections and turns that a rim must share."""
    i = np.arange(NODES)
    half, quarter = NODES // 2, NODES // 4
    turn = (i + half) % NODES
    left_right, up_down = (half - i) % NODES, (-i) % NODES
    return {
        Symmetry.NONE: [i],
        Symmetry.LEFT_RIGHT: [i, left_right],
        Symmetry.HALF_TURN: [i, turn],
        Symmetry.FRAME: [i, left_right, up_down, turn],
        Symmetry.QUARTER_TURN: [m[(i + q * quarter) % NODES] for q in range(4) for m in (i, up_down)],
    }[symmetry]


def symmetric(z: Array, symmetry: Symmetry) -> Array:
    """The largest curve below z that has the symmetry."""
    return np.min([z[image] for image in images(symmetry)], axis=0)


def without_narrow_lobes(z: Array, width: float, *, radius: float) -> Array:
    """The largest curve below z that is nowhere narrower than `width` mm at any height: lobes are cut to where they are."""
    span = math.degrees(width / radius) if radius > 0 else 0.0
    count = min(NODES - 1, math.ceil(span / (360.0 / NODES)))
    if count < 1:
        return z
    eroded = _running(z, count, np.minimum)
    return _running(eroded[::-1], count, np.maximum)[::-1]


def _running(z: Array, count: int, best: np.ufunc) -> Array:
    """The best over each node and the `count` nodes after it, round the circle."""
    result, reach = z.copy(), 0
    while reach < count:
        step = min(max(reach, 1), count - reach)
        result = best(result, np.roll(result, -step))
        reach += step
    return np.asarray(result)


def petal(ceiling: Array, limits: PetalLimits) -> Rim:
    """The petal rim of largest area under a ceiling (NODES,) in mm. Raises FitError."""
    top = np.minimum(ceiling, limits.largest_length)
    top = symmetric(top, limits.symmetry)
    top = without_narrow_lobes(top, limits.smallest_lobe_width, radius=limits.radius)
    if limits.stands:
        top = np.minimum(top, standing_height(top))
    z = _rounded(top, limits) if limits.fillet_radius > 0 else top
    if limits.stands:
        # Rounding may have narrowed the tips: level them once more, which bends nothing upwards.
        z = _level_tips(z)
    return Rim.from_arrays(nodes(), np.round(z - 5e-5, 4))


def _level_tips(z: Array) -> Array:
    height = standing_height(z)
    return np.minimum(z, height)


def _rounded(top: Array, limits: PetalLimits) -> Array:
    """Maximise the area under `top` with bounded second derivative, by linear programming on one symmetric share."""
    from scipy.optimize import linprog
    from scipy.sparse import coo_matrix, vstack

    maps = images(limits.symmetry)
    orbit = np.min(np.array(maps), axis=0)
    variables, index = np.unique(orbit, return_inverse=True)
    # Every node belongs to the variable of its orbit; orbits of a group are the same from each member.
    count = len(variables)
    step = 2 * math.pi * limits.radius / NODES
    bend = step * step / limits.fillet_radius
    rows = np.arange(count)
    here = variables
    left, right = index[(here - 1) % NODES], index[(here + 1) % NODES]
    second = coo_matrix(
        (
            np.concatenate([np.ones(count), np.ones(count), -2 * np.ones(count)]),
            (np.tile(rows, 3), np.concatenate([left, right, index[here]])),
        ),
        shape=(count, count),
    )
    ceiling = np.full(count, np.inf)
    np.minimum.at(ceiling, index, top)
    floor = float(ceiling.min()) - 4 * limits.fillet_radius - 1.0
    weight = np.bincount(index, minlength=count).astype(float)
    solved = linprog(
        -weight,
        A_ub=vstack([second, -second]).tocsr(),
        b_ub=np.full(2 * count, bend),
        bounds=list(zip(np.full(count, floor), ceiling, strict=True)),
        method="highs",
    )
    if not solved.success:
        raise FitError(
            f"wishes.fillet_radius = {limits.fillet_radius:g} mm cannot be met on a wall of {2 * limits.radius:g} mm "
            "diameter; ask for a smaller radius or a plain rim."
        )
    return np.asarray(np.minimum(solved.x[index], top))


def standing_height(z: Array) -> float:
    """The greatest height at which a rim (NODES,), levelled there, stands on a table.

    What reaches the height must support the axis: in every direction some of it lies at least STANDING_SHARE of the
    radius beyond the axis.
    """
    angle = np.radians(nodes())
    levels = np.unique(np.floor(z * 1000.0) / 1000.0)
    directions = np.radians(np.arange(0, 360, 5))
    reach = np.cos(directions[:, None] - angle[None, :])

    def stands(level: float) -> bool:
        up = z >= level - 1e-9
        return bool(np.all(np.max(np.where(up[None, :], reach, -1.0), axis=1) >= STANDING_SHARE))

    low, high = 0, len(levels) - 1
    if stands(levels[high]):
        return float(levels[high])
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if stands(levels[middle]) else (low, middle)
    return float(levels[low])


def plain(fine: Array, *, largest_length: float) -> Rim:
    """The plain rim: the least of the deepest rim (any grid), mm, no longer than allowed."""
    return Rim.plain(math.floor(min(float(np.min(fine)), largest_length) * 1e4) / 1e4)


def square_cut(fine: Array, *, largest_length: float, symmetry: Symmetry, width: float, radius: float) -> Rim:
    """Four lobes with level tops and sides parallel to the axis, each of the height and width that add the most area.

    fine: (m NODES,) the deepest rim. A saw can cut it: five levels at most. Raises FitError.
    """
    m = len(fine) // NODES
    cells = fine.reshape(NODES, m)
    # Each half-degree cell may carry wall as high as the least of the rim over it, both its ends included.
    ceiling = np.minimum(np.min(cells, axis=1), np.roll(fine[::m], -1))
    ceiling = np.minimum(ceiling, largest_length)
    maps = images(symmetry)
    if symmetry is not Symmetry.NONE:
        ceiling = np.min([ceiling[_cell_image(image)] for image in maps], axis=0)
    base = float(np.min(ceiling))
    heights = np.full(NODES, base)
    for middle in (0, NODES // 4, NODES // 2, 3 * NODES // 4):
        first, last, height = _best_block(ceiling, middle, base)
        if height > base and (last - first) * 2 * math.pi * radius / NODES >= width:
            heights[np.arange(first, last) % NODES] = height
    return _steps(heights)


def _cell_image(image: NDArray[np.int64]) -> NDArray[np.int64]:
    """The same reflection or turn for cells between nodes."""
    following = image[(np.arange(NODES) + 1) % NODES]
    return np.where((following - image) % NODES == 1, image, following)


def _best_block(ceiling: Array, middle: int, base: float) -> tuple[int, int, float]:
    """First and last cell (last excluded) about `middle`, within 80 degrees either side, and the height of most area."""
    limit = NODES * 80 // 360
    best = (middle, middle, base, 0.0)
    around = np.array([ceiling[(middle + i) % NODES] for i in range(-limit, limit)])
    for level in np.unique(np.round(around - 5e-5, 3)):
        up = around >= level
        if not (up[limit] and up[limit - 1]):
            continue
        first = limit - 1
        while first > 0 and up[first - 1]:
            first -= 1
        last = limit + 1
        while last < 2 * limit and up[last]:
            last += 1
        area = (level - base) * (last - first)
        if area > best[3]:
            best = (middle - limit + first, middle - limit + last, float(level), area)
    return best[0], best[1], best[2]


def _steps(heights: Array) -> Rim:
    """A rim from cell heights (NODES,): two points close together at each step, the lower one on the outer side."""
    azimuth, z = [], []
    width, gap = 360.0 / NODES, 0.01
    for i in range(NODES):
        before, here, after = heights[i - 1], heights[i], heights[(i + 1) % NODES]
        start, stop = i * width, (i + 1) * width
        azimuth.append(start + (gap if here > before else 0.0))
        z.append(here)
        if after > here:
            azimuth.append(stop)
            z.append(here)
        elif after < here:
            azimuth.append(stop - gap)
            z.append(here)
    order = np.argsort(azimuth, kind="stable")
    angle, height = np.asarray(azimuth)[order], np.round(np.asarray(z)[order] - 5e-5, 4)
    kept = np.concatenate([[True], np.diff(angle) > 1e-9]) & (angle < 360.0 - 1e-9)
    return Rim.from_arrays(angle[kept], height[kept])
