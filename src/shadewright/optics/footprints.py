"""What a traced lens accepts: the footprint of the beam of every field slope in the plane of the front glass's edge.

A lens of revolution needs one table over the field: at each slope tau the footprint, seen with the slope pointing right,
is convex or nearly so and is kept by its support function h(psi): the distance from the axis of the tangent whose normal
points to psi. A point q lies in the footprint when <n(psi), q> <= h(psi) for every psi of the table.

The boundary is searched for along lines in the plane from a point that passes, its corners (where one rim of the
lens takes over from another) by bisection in direction; between slopes of the table h is interpolated linearly. Slopes
are added until the middle of every step is right to HALFWAY. The keep-out adds GUARD, so that it holds the true beam; the
loss does not, so that it is not biased.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.optics import trace_kernel
from shadewright.optics.paraxial import paraxial
from shadewright.optics.system import System
from shadewright.optics.trace import Excess, trace

Array = NDArray[np.float64]

NORMALS = 256
"""Tangents that describe a footprint; what their polygon adds is below 1e-4 of its radius."""
ARC = 193
"""Boundary points on one half of a footprint; the other half is its mirror image."""
HALVINGS = 4
"""Halvings of a boundary search before false position takes over."""
CLOSE = 1e-5
"""Bracket that ends a boundary search, mm."""
CORNER_BISECTIONS = 10
HALFWAY = 2e-3
"""Largest error of interpolation between two slopes of the table, mm."""
GUARD = 5e-3
"""What the keep-out adds to the table so that it holds the true beam, mm: where one rim takes over from another within a step,
its middle tells only half of the largest error."""
GRID = 41
"""Points at which a line is looked at for what passes."""
CLOSER = 5
"""Times a narrow passage is closed in on, sixteenfold each."""
APART = 1e-4
"""Chief rays nearer to each other in the image than this (mm) tell nothing more about the field."""
TURNED = 1e-2
"""The image has turned back where its height falls by more than this from one slope to the next, mm."""
NOTHING = -1e6
"""Stands for a footprint that no light passes, mm."""
FIRST_STEPS = 24
MOST_LEVELS = 6
STEEPEST = math.radians(88.0)
"""Fields beyond 88 degrees from the axis are not traced."""


@dataclass(frozen=True, eq=False)
class Footprints:
    """The table. Slopes are tangents, lengths mm, q measured in the front plane with the field slope along +x.

    slope: (j,) ascending from 0; support: (j, NORMALS) h at psi = 2 pi m / NORMALS; rim: (j, NORMALS) the surface that
    limits there; centre: (j,) x of a point inside. height: (j,) image height of the chief ray. pupil: (j,) depth behind
    the front plane at which the chief ray crosses the axis. area: (j,) mm2. hollow: how far inside its convex hull the
    boundary comes anywhere, mm. complete: False where no light passes beyond the last slope.
    distance: from the front plane to the subject; depth: of the paraxial entrance pupil behind the front plane.
    """

    slope: Array
    support: Array
    rim: NDArray[np.int64]
    centre: Array
    height: Array
    pupil: Array
    area: Array
    hollow: float
    complete: bool
    distance: float
    depth: float
    growth: float = 0.0
    """A margin in mm by which the beam is grown sideways everywhere, beside the support."""

    def planes(self, slope: Array) -> Array:
        """h (n, NORMALS) at slopes (n,) by interpolation; far below 0 (nothing passes) beyond the last slope."""
        slope = np.asarray(slope, dtype=float)
        if len(self.slope) == 1:
            found: Array = np.repeat(self.support, len(slope), axis=0)
        else:
            j = np.clip(np.searchsorted(self.slope, slope, side="right") - 1, 0, len(self.slope) - 2)
            share = ((slope - self.slope[j]) / (self.slope[j + 1] - self.slope[j]))[:, None]
            found = (1.0 - share) * self.support[j] + share * self.support[j + 1]
        found += self.growth
        # An outline drawn round the frame may reach a little beyond a table that ends at its corner.
        found[slope > self.slope[-1] * (1 + (1e-3 if self.complete else 1e-9))] = NOTHING
        return np.array(found, dtype=np.float64)

    @property
    def chief_rays(self) -> tuple[tuple[float, float], ...]:
        """(image height, slope) from the axis outwards, both rising; slopes crowded together are thinned out."""
        kept: list[tuple[float, float]] = []
        for height, slope in zip(self.height.tolist(), self.slope.tolist(), strict=True):
            if not kept or (height > kept[-1][0] + APART and slope > kept[-1][1]):
                kept.append((height, slope))
        return tuple(kept)

    def altered(self, *, scale: float = 1.0, growth: float = 0.0) -> Footprints:
        """Footprints scaled about their centres, then grown by `growth` mm."""
        if scale == 1.0 and growth == 0.0:
            return self
        middle = self.centre[:, None] * np.cos(normals())[None, :]
        return replace(self, support=middle + scale * (self.support - middle), growth=self.growth + growth)


def normals() -> Array:
    """Angles psi (NORMALS,) of the tangents' normals, radians."""
    return np.linspace(0.0, 2.0 * math.pi, NORMALS, endpoint=False)


@dataclass(frozen=True)
class _Front:
    """The front plane of a system and how rays start from it."""

    system: System
    plane: float
    distance: float
    depth: float
    judge: Excess

    def rays(self, tau: Array, q: Array) -> tuple[Array, Array, Array]:
        """Start x, y in the first vertex's plane and light slopes (n, 2) of rays through q (n, 2) at slopes (n,)."""
        if math.isinf(self.distance):
            slopes = np.stack([-tau, np.zeros_like(tau)], axis=1)
        else:
            subject = tau * (self.distance + self.depth)
            slopes = np.stack([q[:, 0] - subject, q[:, 1]], axis=1) / self.distance
        start = q - self.plane * slopes
        return start[:, 0], start[:, 1], slopes

    def excess(self, tau: Array, q: Array) -> tuple[Array, NDArray[np.int64]]:
        return self.judge(*self.rays(tau, q))


def front_of(system: System) -> _Front:
    """The front plane of a system, the distance to its subject and the depth of its pupil, mm. Raises OpticsError."""
    plane = system.front_plane
    first = paraxial(system)
    distance = system.focus_distance + plane
    depth = first.entrance_pupil - plane
    if distance <= 0 or distance + depth <= 0:
        raise OpticsError("prescription: the subject would lie inside the lens or behind its entrance pupil; give a larger focus_distance.")
    return _Front(system, plane, distance, depth, Excess(system))


def footprints(system: System, *, height: float, others: Sequence[System] = ()) -> Footprints:
    """The table of a system out to an image height in mm, or as far as light passes. Raises OpticsError.

    others: the same lens at further wavelengths; the footprints are then the hulls of those of all. Systems of equal
    surfaces share one table.
    """
    return _cached(_Keyed(system), tuple(_Keyed(other) for other in others), float(height))


class _Keyed:
    """A system that equals another with the same numbers."""

    def __init__(self, system: System) -> None:
        self.system = system

    def __hash__(self) -> int:
        return hash(self.system.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and self.system.key == other.system.key


@lru_cache(maxsize=512)
def _cached(keyed: _Keyed, others: tuple[_Keyed, ...], height: float) -> Footprints:
    system = keyed.system
    front = front_of(system)
    fronts = [replace(front, system=other.system, judge=Excess(other.system)) for other in others]
    slopes, centres, complete = _march(front, height)
    rows = _joined(front, fronts, slopes, centres)
    for _ in range(MOST_LEVELS):
        if len(slopes) < 2:
            break
        middle = 0.5 * (slopes[:-1] + slopes[1:])
        centre = 0.5 * (centres[:-1] + centres[1:])
        between = _joined(front, fronts, middle, _inside(front, middle, centre, rows))
        error = np.max(np.abs(between.support - 0.5 * (rows.support[:-1] + rows.support[1:])), axis=1)
        wanted = error > HALFWAY
        if not wanted.any():
            break
        slopes, rows = _merged(slopes, rows, middle, between, wanted)
        centres = rows.centre
    heights, pupil = _chief(front, slopes, rows.centre)
    return Footprints(
        slope=slopes, support=rows.support, rim=rows.rim, centre=rows.centre, height=heights, pupil=pupil,
        area=rows.area, hollow=float(rows.hollow.max()), complete=complete, distance=front.distance, depth=front.depth,
    )  # fmt: skip


def _joined(front: _Front, others: Sequence[_Front], slopes: Array, centres: Array) -> _Rows:
    """Rows of the main wavelength, widened to hold those of the others."""
    rows = _rows(front, slopes, centres)
    for other in others:
        _join(rows, other, slopes)
    return rows


def _join(rows: _Rows, front: _Front, slopes: Array) -> None:
    """Widen the rows to hold the footprints at another wavelength, whose subject's slopes are the same."""
    passing = front.excess(slopes, np.stack([rows.centre, np.zeros_like(slopes)], axis=1))[0] <= 1.0
    if not passing.any():
        return
    more = _rows(front, slopes[passing], rows.centre[passing])
    wider = more.support > rows.support[passing]
    rows.support[passing] = np.where(wider, more.support, rows.support[passing])
    rows.rim[passing] = np.where(wider, more.rim, rows.rim[passing])


@dataclass(frozen=True, eq=False)
class _Rows:
    support: Array
    rim: NDArray[np.int64]
    centre: Array
    area: Array
    hollow: Array


def _merged(slopes: Array, rows: _Rows, middle: Array, between: _Rows, wanted: NDArray[np.bool_]) -> tuple[Array, _Rows]:
    every = np.concatenate([slopes, middle[wanted]])
    order = np.argsort(every)
    joined = [
        np.concatenate([getattr(rows, name), getattr(between, name)[wanted]])[order]
        for name in ("support", "rim", "centre", "area", "hollow")
    ]
    return every[order], _Rows(*joined)


def _span(front: _Front, tau: Array) -> Array:
    """How far (n,) from the axis a footprint can reach in the front plane, mm."""
    semi = front.system.semi
    known = semi[np.isfinite(semi)]
    first = semi[0] if math.isfinite(semi[0]) else 4.0 * float(known.max())
    return np.asarray(1.05 * first + abs(front.plane) * np.asarray(tau) * 1.5 + 1.0)


def _find_inside(front: _Front, tau: float, guess: float, size: float) -> tuple[float, float] | None:
    """x of a point that passes at one slope and half the width of what passes about it, or None.

    What passes is its own mirror image, so that its middle lies on the slope's axis. Where a grid there meets too little, the
    place where rays come least near to being cut is closed in on.
    """
    least, best, step = math.inf, guess, size
    for spread in (1.0, 1.6, 4.0, 16.0):
        across = guess + spread * size * np.linspace(-1.0, 1.0, GRID)
        most = _excess_along(front, tau, across)
        passing = across[most <= 1.0]
        if len(passing) >= 3:
            return float(passing.mean()), max(float(passing[-1] - passing[0]), spread * size / 20.0) / 2.0
        if float(most.min()) < least:
            least, best, step = float(most.min()), float(across[int(np.argmin(most))]), spread * size
    for _ in range(CLOSER):
        step *= 2.5 / (GRID - 1)
        across = best + step * np.linspace(-1.0, 1.0, GRID)
        most = _excess_along(front, tau, across)
        best = float(across[int(np.argmin(most))])
        passing = across[most <= 1.0]
        if len(passing) >= 3:
            return float(passing.mean()), max(float(passing[-1] - passing[0]), step / 20.0) / 2.0
    return None


def _excess_along(front: _Front, tau: float, across: Array) -> Array:
    """How near rays through points (n,) of the slope's axis come to being cut."""
    return front.excess(np.full(len(across), tau), np.stack([across, np.zeros_like(across)], axis=1))[0]


def _march(front: _Front, height: float) -> tuple[Array, Array, bool]:
    """Slopes from the axis outwards with a point inside each footprint; whether the image height asked for is reached."""
    first = paraxial(front.system)
    angle = math.atan(height / abs(first.focal_length))
    step = min(angle, 1.2) / FIRST_STEPS
    size = first.entrance_radius if math.isfinite(first.entrance_radius) else float(_span(front, np.zeros(1))[0])
    start = _find_inside(front, 0.0, 0.0, size)
    if start is None:
        raise OpticsError(
            f"prescription: at setting {front.system.name!r} not even the ray along the axis passes; check semi_diameter and "
            "thickness."
        )
    slopes, centres, widths = [0.0], [0.0], [start[1]]
    theta, complete, dark = step, False, False
    while not complete and not dark and theta < STEEPEST:
        first_new = len(slopes)
        for ahead in np.arange(theta, min(max(angle, theta) + step, STEEPEST), step):
            tau, theta = math.tan(ahead), float(ahead) + step
            inside = _find_inside(front, tau, _forward(slopes, centres, tau, front.depth), max(widths[-1], 1e-3))
            if inside is None:
                _to_the_last_light(front, slopes, centres, widths, tau)
                # From there the place to look is known better: the light may go on after all.
                inside = _find_inside(front, tau, _forward(slopes, centres, tau, front.depth), max(widths[-1], 1e-3))
            if inside is None:
                dark = True
                break
            slopes.append(tau)
            centres.append(inside[0])
            widths.append(inside[1])
        complete, dark = _cut_to_height(front, slopes, centres, first_new, height, dark)
    return np.array(slopes), np.array(centres), complete


def _cut_to_height(
    front: _Front, slopes: list[float], centres: list[float], first: int, height: float, dark: bool
) -> tuple[bool, bool]:
    """Drop slopes beyond the one whose chief ray reaches an image height, or from where the image turns back.

    Returns whether the height is reached, and whether the slopes end before it.
    """
    start = max(first - 1, 0)
    found = _chief(front, np.array(slopes[start:]), np.array(centres[start:]))[0]
    for place in range(len(found)):
        if place > 0 and found[place] < found[place - 1] - TURNED and start + place > 3:
            del slopes[start + place :], centres[start + place :]
            return False, True
        if found[place] >= height:
            del slopes[start + place + 1 :], centres[start + place + 1 :]
            return True, False
    return False, dark


def _forward(slopes: list[float], centres: list[float], tau: float, depth: float) -> float:
    """Where the footprint's middle is expected at the next slope."""
    if len(slopes) < 3:
        return depth * tau
    # From a slope far enough back that the two middles' own uncertainty does not count.
    back = next((k for k in range(len(slopes) - 2, -1, -1) if slopes[k] < 0.99 * slopes[-1]), 0)
    rise = (centres[-1] - centres[back]) / (slopes[-1] - slopes[back])
    return centres[-1] + rise * (tau - slopes[-1])


def _to_the_last_light(front: _Front, slopes: list[float], centres: list[float], widths: list[float], tau: float) -> None:
    """Append slopes ever nearer to the one at which the beam vanishes."""
    # Twice over: the second time from nearer by, where the place to look is known better.
    for _ in range(2):
        low, high = slopes[-1], tau
        for _ in range(10):
            middle = 0.5 * (low + high)
            inside = _find_inside(front, middle, _forward(slopes, centres, middle, front.depth), max(widths[-1], 1e-3))
            if inside is None:
                high = middle
                continue
            low = middle
            slopes.append(middle)
            centres.append(inside[0])
            widths.append(inside[1])


def _inside(front: _Front, tau: Array, guess: Array, rows: _Rows) -> Array:
    """The guesses (n,), each replaced by a point that passes where it does not itself."""
    passing = front.excess(tau, np.stack([guess, np.zeros_like(guess)], axis=1))[0] <= 1.0
    found = guess.copy()
    for k in np.nonzero(~passing)[0]:
        width = 0.5 * (rows.support[k, 0] + rows.support[k, NORMALS // 2])
        inside = _find_inside(front, float(tau[k]), float(guess[k]), max(float(width), 1e-3))
        found[k] = guess[k] if inside is None else inside[0]
    return found


def _boundary(
    front: _Front, tau: Array, centre: Array, angle: Array, *, near: tuple[Array, Array] | None = None
) -> tuple[Array, NDArray[np.int64]]:
    """Distance (n,) from the centres to the boundary in directions (n,), and the surface that limits there.

    near: bounds (n,), (n,) between which the boundary must lie.
    """
    low = np.zeros(len(tau)) if near is None else near[0].copy()
    high = _span(front, tau) + np.abs(centre) if near is None else near[1].copy()
    surface = np.zeros(len(tau), np.int64)
    trace_kernel.boundary_kernel(
        *front.judge.tables.arrays, front.plane, front.distance, front.depth, np.ascontiguousarray(tau),
        np.ascontiguousarray(centre), np.cos(angle), np.sin(angle), low, high, surface,
        HALVINGS if near is None else 0, CLOSE,
    )  # fmt: skip
    return low, surface


def _rows(front: _Front, slopes: Array, centres: Array) -> _Rows:
    """Support functions, limiting rims, areas and hollows at slopes with points inside."""
    n = len(slopes)
    arc = np.linspace(0.0, math.pi, ARC)
    tau, centre, angle = np.repeat(slopes, ARC), np.repeat(centres, ARC), np.tile(arc, n)
    reach, surface = _boundary(front, tau, centre, angle)
    reach, surface = reach.reshape(n, ARC), surface.reshape(n, ARC)
    row, place = np.nonzero(surface[:, 1:] != surface[:, :-1])
    corner_angle, corner_reach, corner_surface = _corners(front, slopes, centres, arc, (reach, surface), row, place)
    psi = normals()
    support, rim = np.empty((n, NORMALS)), np.empty((n, NORMALS), np.int64)
    area, hollow = np.empty(n), np.empty(n)
    trace_kernel.support_kernel(
        np.ascontiguousarray(centres), arc, reach, surface, row, corner_angle, corner_reach, corner_surface, np.cos(psi),
        np.sin(psi), support, rim, area, hollow,
    )  # fmt: skip
    return _Rows(support, rim, centres.copy(), area, hollow)


def _corners(
    front: _Front, slopes: Array, centres: Array, arc: Array, known: tuple[Array, NDArray[np.int64]],
    row: NDArray[np.int64], place: NDArray[np.int64],
) -> tuple[Array, Array, NDArray[np.int64]]:  # fmt: skip
    """Directions, distances and surfaces of the corners between boundary points that different rims limit."""
    if len(row) == 0:
        return np.empty(0), np.empty(0), np.empty(0, np.int64)
    tau, centre = slopes[row], centres[row]
    low, high = arc[place].copy(), arc[place + 1].copy()
    lengths, surface = known
    first, ends = surface[row, place], np.stack([lengths[row, place], lengths[row, place + 1]])
    # In a step of direction a boundary changes its distance by no more than the step's share of it many times over.
    near = ends.min(axis=0) * 0.8 - 0.01, ends.max(axis=0) * 1.2 + 0.01
    reach, limit = np.empty(len(row)), first
    for _ in range(CORNER_BISECTIONS):
        half = 0.5 * (low + high)
        reach, limit = _boundary(front, tau, centre, half, near=near)
        same = limit == first
        low, high = np.where(same, half, low), np.where(same, high, half)
    return 0.5 * (low + high), reach, limit


def _chief(front: _Front, tau: Array, guess: Array) -> tuple[Array, Array]:
    """Image heights (n,) of the chief rays, through the middle of the stop, and where behind the front plane they cross
    the axis (n,), mm.

    Where no chief ray arrives, the ray through the middle of the footprint stands in for it.
    """
    depth = np.full(len(tau), front.depth)
    x = np.array(guess, dtype=float)
    before = x + 1e-4 * np.maximum(1.0, np.abs(x))
    stop, image, fine = _at_stop(front, tau, before)
    middle_image = _at_stop(front, tau, x)[1]
    settled = np.zeros(len(tau), bool)
    for _ in range(20):
        now, image, fine = _at_stop(front, tau, x)
        settled = fine & (np.abs(now) < 1e-10)
        rise = (now - stop) / np.where(x == before, 1.0, x - before)
        step = np.where(settled | (rise == 0) | ~np.isfinite(rise), 0.0, now / np.where(rise == 0, 1.0, rise))
        limit = 0.5 * np.maximum(1.0, np.abs(x))
        before, stop = np.where(step == 0, before, x), np.where(step == 0, stop, now)
        x = x - np.clip(step, -limit, limit)
        if settled.all():
            break
    settled |= fine & (np.abs(now) < 1e-6)
    away = tau > 1e-9
    if math.isinf(front.distance):
        crossing = x[away] / tau[away]
    else:
        subject = tau[away] * (front.distance + front.depth)
        crossing = x[away] * front.distance / (subject - x[away])
    depth[away] = np.where(settled[away], crossing, np.nan)
    return np.abs(np.where(settled, image, middle_image)), depth


def _at_stop(front: _Front, tau: Array, x: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Height at the stop and at the image of rays in the meridional plane, and whether they arrive at all."""
    start, _, slopes = front.rays(tau, np.stack([x, np.zeros_like(x)], axis=1))
    origins = np.stack([start, np.zeros_like(start), np.zeros_like(start)], axis=1)
    along = np.stack([slopes[:, 0], slopes[:, 1], np.ones_like(start)], axis=1)
    rays = trace(front.system, origins, along, path=True, clips=False)
    return rays.path[front.system.stop, :, 0], rays.points[:, 0], rays.arrived
