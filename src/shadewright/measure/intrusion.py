"""Whether a hood shows in a pair of photographs: a search for shade along the frame's outline, at a known rate of false alarms."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.measure.blocks import BLOCKS_PER_CELL
from shadewright.measure.pairs import Ratio

Array = NDArray[np.float64]

CORNER_SIZES = (0.15, 0.3, 0.6)
"""Legs of the corner triangles looked into by cells, in half frames: (1 - |x|) + (1 - |y|) below this."""
TIP_SIZES = (0.02, 0.04, 0.08, 0.12)
"""The same for the tips of corners, looked into by blocks."""
FEWEST_BLOCKS = 6
SMALL_CORNER = 0.2
"""A pair in which no corner as small as this can be judged proves nothing, half frames."""
EDGE_SIZES = (0.04, 0.1, 0.25)
"""Widths of the strips along the middle half of each edge looked into, in half frames."""
ALARM = 4.0
"""Standard errors from which a place counts as shaded: 40 places at one-sided 3e-5 each is a false alarm in 800 pairs of
Gaussian noise, which leaves room for noise that is not."""
UNSHADED = 0.75
"""Within this ellipse about the middle, in half frames, slow changes of light are told from shade."""
DUST = 6.0
"""Standard errors from which a cell in the unshaded middle counts as touched by dust that moved between the two."""
FEWEST_DUSTY, FEWEST = 12, 3
"""Cells that a place must have to be judged, where dust moved and where none did."""
SEEN = 0.01
"""Loss from which a cell can count towards the shaded area, stops."""


@dataclass(frozen=True)
class Place:
    """One place looked into: its name, its mean loss and standard error in stops, and how many errors it stands out by."""

    name: str
    loss: float
    error: float
    score: float

    @property
    def shaded(self) -> bool:
        """Whether it stands out of the noise."""
        return self.score > ALARM


@dataclass(frozen=True, eq=False)
class Intrusion:
    """What a pair shows. loss: (rows, columns) stops after slow changes of light are taken out; error likewise.

    floor: the least loss that would have been found in the smallest corner that could be judged, stops. dust: cells of the
    unshaded middle that dust has touched.
    """

    loss: Array
    error: Array
    places: tuple[Place, ...]
    floor: float
    area: float
    """Share of the frame in which loss stands out of the noise."""
    dust: int
    slope: tuple[float, float]
    """Slow change of light to the right and up, stops per half frame, taken out."""

    @property
    def shows(self) -> bool:
        """Whether any place is shaded."""
        return any(place.shaded for place in self.places)

    @property
    def worst(self) -> Place:
        """The shaded place with the largest loss; where none is, the one that comes nearest to it."""
        shaded = [place for place in self.places if place.shaded]
        return max(shaded, key=lambda p: p.loss) if shaded else max(self.places, key=lambda p: p.score)


def find_intrusion(ratio: Ratio) -> Intrusion:
    """Look for shade along the outline of a pair's map."""
    x, y = np.meshgrid(ratio.across, ratio.up)
    raw, error = ratio.loss, ratio.loss_error
    sound = ratio.good & np.isfinite(raw) & (error > 0)
    background, slope, covariance = _background(x, y, raw, error, sound)
    loss = np.where(sound, raw - background, np.nan)
    stretch = _stretch(x, y, loss, error, sound)
    error = error * stretch
    inner = sound & (np.hypot(x, y) < UNSHADED)
    dust = int(np.sum(np.abs(loss[inner]) > DUST * error[inner])) + _fine_dust(ratio, slope, stretch)
    places = []
    for name, size, region in _regions(x, y):
        found = _place(name, region & sound, x, y, loss, error, covariance * stretch**2, dusty=dust / max(int(inner.sum()), 1))
        if found is not None:
            places.append((size, found))
    places += _tips(ratio, slope, covariance * stretch**2, stretch, dusty=dust > 0)
    corners: dict[float, list[float]] = {}
    for size, place in places:
        if place.name.endswith("corner"):
            corners.setdefault(size, []).append(place.error)
    whole = [size for size, errors in corners.items() if len(errors) == 4 and size <= SMALL_CORNER]
    floor = ALARM * max(corners[min(whole)]) if whole else math.inf
    out = sound & (np.nan_to_num(loss) > np.maximum(3.5 * error, SEEN))
    return Intrusion(
        loss, error, tuple(place for _, place in places), floor, float(_grouped(out).sum() / max(sound.sum(), 1)), dust,
        slope[1:],
    )


def _background(
    x: Array, y: Array, loss: Array, error: Array, sound: NDArray[np.bool_]
) -> tuple[Array, tuple[float, float, float], Array]:
    """A plane through the middle of the map, robust to dust: its values, its three numbers and their covariance (3, 3)."""
    inner = sound & (np.hypot(x, y) < UNSHADED)
    if inner.sum() < 12:
        return np.zeros_like(loss), (0.0, 0.0, 0.0), np.zeros((3, 3))
    design = np.stack([np.ones(inner.sum()), x[inner], y[inner]], axis=1)
    value, sigma = loss[inner], error[inner]
    weight = 1.0 / sigma**2
    for _ in range(4):
        normal = design.T @ (design * weight[:, None])
        fitted = np.linalg.solve(normal, design.T @ (weight * value))
        off = (value - design @ fitted) / sigma
        width = max(1.0, 1.4826 * float(np.median(np.abs(off))))
        weight = np.maximum(1.0 - (off / (5.0 * width)) ** 2, 0.0) ** 2 / sigma**2
    plane = fitted[0] + fitted[1] * x + fitted[2] * y
    return np.asarray(plane), (float(fitted[0]), float(fitted[1]), float(fitted[2])), np.asarray(np.linalg.inv(normal), float)


def _stretch(x: Array, y: Array, loss: Array, error: Array, sound: NDArray[np.bool_]) -> float:
    """How much wider than their stated errors the means of tiles scatter where nothing shades: noise that does not average out."""
    inner = sound & (np.maximum(np.abs(x), np.abs(y)) < 0.6)
    found = [1.0]
    for side in (2, 3, 5, 8):
        rows, columns = loss.shape[0] // side, loss.shape[1] // side
        cut = (slice(0, rows * side), slice(0, columns * side))
        tiles = [np.where(a[cut], 1.0, 0.0) if a.dtype == bool else np.nan_to_num(a[cut]) for a in (inner, loss, error)]
        inside, value, sigma = (t.reshape(rows, side, columns, side).swapaxes(1, 2).reshape(rows * columns, -1) for t in tiles)
        whole = inside.sum(axis=1) == side * side
        if whole.sum() < 16:
            break
        weight = 1.0 / sigma[whole] ** 2
        score = (weight * value[whole]).sum(axis=1) / np.sqrt(weight.sum(axis=1))
        found.append(1.4826 * float(np.median(np.abs(score))))
    return max(found)


def _regions(x: Array, y: Array) -> list[tuple[str, float, NDArray[np.bool_]]]:
    """(name, size, mask) of the places looked into."""
    from_corner = (1.0 - np.abs(x)) + (1.0 - np.abs(y))
    regions: list[tuple[str, float, NDArray[np.bool_]]] = []
    for up, level in ((1, "top"), (-1, "bottom")):
        for right, side in ((1, "right"), (-1, "left")):
            quarter = (x * right > 0) & (y * up > 0)
            for size in CORNER_SIZES:
                # A frame of few cells has no cell whose middle lies in the smallest triangle.
                least = 1.01 * float(from_corner[quarter].min()) + 2.0 / min(x.shape)
                leg = max(size, least)
                regions.append((f"{level} {side} corner", leg, quarter & (from_corner < leg)))
    for name, off, along in (("right edge", 1 - x, y), ("left edge", 1 + x, y), ("top edge", 1 - y, x), ("bottom edge", 1 + y, x)):
        for size in EDGE_SIZES:
            regions.append((name, size, (off < max(size, 1.01 * float(off.min()))) & (np.abs(along) < 0.5)))
    return regions


def _place(
    name: str, region: NDArray[np.bool_], x: Array, y: Array, loss: Array, error: Array, covariance: Array, *, dusty: float
) -> Place | None:
    """The loss of a region, or None where it has too few cells.

    Where dust moved, over a share `dusty` of the middle, it is the weighted median, which no speck of less than half the
    region can lift; specks on their edges, about three cells for one plainly seen, move it by their share of a cell's error.
    Elsewhere it is the mean, scored without the cell that speaks loudest for shade.
    """
    if region.sum() < (FEWEST_DUSTY if dusty else FEWEST):
        return None
    value, weight = loss[region], 1.0 / error[region] ** 2
    middle = np.array([1.0, float(np.average(x[region], weights=weight)), float(np.average(y[region], weights=weight))])
    drift = float(middle @ covariance @ middle)
    if dusty:
        order = np.argsort(value)
        total = np.cumsum(weight[order])
        centre = float(np.interp(0.5 * total[-1], total - 0.5 * weight[order], value[order]))
        moved = 1.25 * 3.0 * dusty * float(np.median(error[region]))
        spread = math.sqrt(0.5 * math.pi / float(total[-1]) + drift + moved**2)
        return Place(name, centre, spread, centre / spread)
    mean = float(np.average(value, weights=weight))
    kept = np.ones(len(value), bool)
    kept[int(np.argmax(value * np.sqrt(weight)))] = False
    rest = float(np.average(value[kept], weights=weight[kept]))
    score = rest / math.sqrt(1.0 / float(weight[kept].sum()) + drift)
    return Place(name, mean, math.sqrt(1.0 / float(weight.sum()) + drift), score)


def _tips(
    ratio: Ratio, slope: tuple[float, float, float], covariance: Array, stretch: float, *, dusty: bool
) -> list[tuple[float, Place]]:
    """The tips of the corners, by blocks; the loss is that of the outermost third.

    Where dust moved, only shade that grows outwards counts: a speck would have to lie in the very tip to look like it.
    """
    x, y = np.meshgrid(ratio.fine_across, ratio.fine_up)
    from_corner = (1.0 - np.abs(x)) + (1.0 - np.abs(y))
    found = []
    for up, level in ((1, "top"), (-1, "bottom")):
        for right, side in ((1, "right"), (-1, "left")):
            near = np.nonzero((x * right > 0) & (y * up > 0) & (from_corner < TIP_SIZES[-1]) & np.isfinite(ratio.fine_value))
            order = np.argsort(from_corner[near], kind="stable")
            at = (near[0][order], near[1][order])
            value = np.maximum(ratio.fine_value[at], 1e-3)
            loss = -np.log2(value) - (slope[0] + slope[1] * x[at] + slope[2] * y[at])
            error = stretch * ratio.fine_error[at] / (value * math.log(2.0))
            drift = np.array([1.0, float(right), float(up)])
            for size in TIP_SIZES[:-2] if dusty else TIP_SIZES:
                count = int(np.sum(from_corner[at] < size))
                if count >= FEWEST_BLOCKS:
                    place = _tip(f"{level} {side} corner", loss[:count], error[:count], float(drift @ covariance @ drift), dusty=dusty)
                    found.append((size, place))
    return found


def _fine_dust(ratio: Ratio, plane: tuple[float, float, float], stretch: float) -> int:
    """Blocks of the unshaded middle touched by dust, in cells: a speck may be too small to move its cell."""
    x, y = np.meshgrid(ratio.fine_across, ratio.fine_up)
    inner = (np.hypot(x, y) < UNSHADED) & np.isfinite(ratio.fine_value)
    value = np.maximum(ratio.fine_value[inner], 1e-3)
    off = -np.log2(value) - (plane[0] + plane[1] * x[inner] + plane[2] * y[inner])
    touched = int(np.sum(np.abs(off) > DUST * stretch * ratio.fine_error[inner] / (value * math.log(2.0))))
    return -(-touched // BLOCKS_PER_CELL**2)


def _tip(name: str, loss: Array, error: Array, drift: float, *, dusty: bool) -> Place:
    """One tip; blocks from the corner inwards."""
    weight = 1.0 / error**2
    third = len(loss) // 3
    parts = [slice(0, third), slice(third, 2 * third), slice(2 * third, None)]
    means = [float(np.average(loss[part], weights=weight[part])) for part in parts]
    errors = [math.sqrt(1.0 / float(weight[part].sum())) for part in parts]
    mean, spread = float(np.average(loss, weights=weight)), math.sqrt(1.0 / float(weight.sum()) + drift)
    score = mean / spread
    if dusty:
        grows = (means[0] - means[1]) / math.hypot(errors[0], errors[1]), (means[0] - means[2]) / math.hypot(errors[0], errors[2])
        score = min(score, ALARM * min(grows[0], grows[1] / 2.0))
    return Place(name, means[0], math.sqrt(errors[0] ** 2 + drift), score)


def _grouped(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The cells of a mask that belong to a group of at least four."""
    from scipy.ndimage import label

    groups, _ = label(mask)
    sizes = np.bincount(groups.ravel())
    return np.asarray(mask & (sizes[groups] >= 4))
