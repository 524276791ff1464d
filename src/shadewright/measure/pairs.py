"""A pair of photographs, without and with a tube or hood, as a map of the light that is left, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.blocks import BLOCKS_PER_CELL, Blocks, average, same_kind, same_settings
from shadewright.measure.frames import About

Array = NDArray[np.float64]

MIDDLE = 0.3
"""The light of both is compared within this share of the frame's half sizes about its middle, where nothing shades."""
MOST_CLIPPED = 0.01
DARKEST = 0.01
"""Light in the middle of a frame, of white, below which noise and the black level's error spoil a ratio."""
DARKEST_DEVELOPED = 0.03
MOST_CHANGE = 0.3
"""Change of light between the two beyond which they are refused, stops."""
NOTED_CHANGE = 0.03
UNEVEN = 1.5
"""Difference in stops between opposite places of the bare wall from which its unevenness is told."""


@dataclass(frozen=True, eq=False)
class Ratio:
    """Light left by a tube or hood over the frame, rows from the bottom upwards, columns from the left.

    across (columns,), up (rows,): middles of cells in shares of the half frame, -1 to 1. value: (rows, columns) mean of the
    light with it over the light without, 1 in the middle of the frame. error: its standard error, the common scale's left
    out. good: False where either is clipped or dark.
    """

    across: Array
    up: Array
    value: Array
    error: Array
    good: NDArray[np.bool_]
    fine_value: Array
    """(rows, columns) times BLOCKS_PER_CELL: the same for each block, as it stands; NaN where not good."""
    fine_error: Array
    fine_across: Array
    """Middles of the blocks' columns, as `across`."""
    fine_up: Array
    bare: Array
    """(rows, columns) light of the bare frame, of white."""
    scale: float
    """What the second was brighter by in the middle of the frame; `value` is divided by it."""
    scale_error: float
    inflation: float
    """How much larger the variance of cells is than their pixels' noise suggests."""
    doubt: float
    """How far a loss in stops may be off for want of the true tone curve, as a share of it."""
    about: About
    paths: tuple[Path, Path]
    pixels: tuple[int, int]
    """Rows and columns of pixels."""
    notes: tuple[str, ...]

    def points(self, half_width: float, half_height: float) -> Array:
        """Frame points (rows, columns, 2) of the cells' middles, mm, for a frame of these half sizes."""
        return np.stack(np.meshgrid(self.across * half_width, self.up * half_height), axis=-1)

    @property
    def loss(self) -> Array:
        """Loss (rows, columns) in stops, negative where noise lifts the light above the bare frame's; NaN where not good."""
        return np.where(self.good, -np.log2(np.maximum(self.value, 1e-6)), np.nan)

    @property
    def loss_error(self) -> Array:
        """Standard error (rows, columns) of the loss, stops, the doubt about the tone curve left out."""
        return np.where(self.good, self.error / (np.maximum(self.value, 1e-6) * math.log(2.0)), np.nan)


def ratio_of_files(bare: Sequence[Path | str], shaded: Sequence[Path | str]) -> Ratio:
    """The map of a pair, each side the mean of one or more files. Raises MeasureError, FileError."""
    return pair_ratio(average(bare), average(shaded))


def pair_ratio(bare: Blocks, shaded: Blocks) -> Ratio:
    """The map of light left in `shaded` over that in `bare`. Raises MeasureError where they are no pair."""
    same_kind(bare, shaded)
    same_settings(bare, shaded)
    if np.array_equal(bare.light, shaded.light):
        raise MeasureError(
            f"{shaded.path}: is the same picture as {bare.path.name}, to the last number; name the photograph with the tube or hood on."
        )
    for blocks in (bare, shaded):
        _usable(blocks)
    notes = list(_unmoved(bare, shaded))
    ratio, variance, scale, scale_error = _colour_mean(bare, shaded)
    good = bare.good & shaded.good
    value, error, kept, inflation = _cells(ratio, variance, good)
    across, up = (middles.reshape(-1, BLOCKS_PER_CELL).mean(axis=1) for middles in (bare.across, bare.up))
    _right_way_round(bare, shaded, value, kept)
    notes += _light_notes(bare, shaded, scale) + _wall_notes(bare)
    return Ratio(
        across, up, value, error, kept, np.where(good, ratio, np.nan),
        np.sqrt(variance * inflation), bare.across, bare.up,
        _cell_means(bare.light.mean(axis=0)), scale, scale_error, inflation, bare.doubt, bare.about,
        (bare.path, shaded.path), bare.size, tuple(notes),
    )  # fmt: skip


def _middles(count: int) -> Array:
    return (np.arange(count) + 0.5) * 2.0 / count - 1.0


def _usable(blocks: Blocks) -> None:
    if blocks.clipped > MOST_CLIPPED:
        raise MeasureError(
            f"{blocks.path}: {blocks.clipped:.0%} of it is clipped to white, more than {MOST_CLIPPED:.0%}; "
            "expose one or two stops less, the wall a little above middle grey."
        )
    level, darkest = blocks.levels[0], DARKEST_DEVELOPED if blocks.doubt else DARKEST
    if level < darkest:
        raise MeasureError(
            f"{blocks.path}: is too dark in the middle, {max(level, 0.0):.1%} of white where {darkest:.0%} is the least; "
            "expose more, the wall a little above middle grey, with no cap on the lens."
        )


def _middle_mask(rows: int, columns: int) -> NDArray[np.bool_]:
    x, y = np.meshgrid(_middles(columns), _middles(rows))
    return np.asarray(np.hypot(x, y) < max(MIDDLE, 1.5 / min(rows, columns)))


def _colour_mean(bare: Blocks, shaded: Blocks) -> tuple[Array, Array, float, float]:
    """Ratio and its variance (rows, columns) over all colours, each scaled to 1 in the middle; that scale and its error."""
    middle = _middle_mask(*bare.light.shape[1:])
    total = np.zeros(bare.light.shape[1:])
    spread = np.zeros_like(total)
    weights, scales = 0.0, []
    for k in range(len(bare.colours)):
        below = np.maximum(bare.light[k], 1e-4)
        ratio = shaded.light[k] / below
        variance = (shaded.noise[k] + ratio**2 * bare.noise[k]) / below**2
        scale = float(np.median(ratio[middle]))
        if scale <= 0 or not math.isfinite(scale):
            raise MeasureError(f"{shaded.path}: shows no light in the middle of the frame; take the cap off and shoot again.")
        weight = scale**2 / max(float(np.median(variance)), 1e-12)
        total += weight * ratio / scale
        spread += weight**2 * variance / scale**2
        weights += weight
        scales.append((weight, scale))
    mean = sum(w * s for w, s in scales) / weights
    count = int(middle.sum())
    value, variance = total / weights, spread / weights**2
    error = 1.4826 * float(np.median(np.abs(value[middle] - np.median(value[middle])))) * 1.25 / math.sqrt(count)
    return value, np.maximum(variance, 1e-12), mean, error


def _tiles(values: Array) -> Array:
    """(cells down, cells across, blocks in a cell) of an array of blocks."""
    n = BLOCKS_PER_CELL
    rows, columns = values.shape[0] // n, values.shape[1] // n
    return values[: rows * n, : columns * n].reshape(rows, n, columns, n).swapaxes(1, 2).reshape(rows, columns, n * n)


def _cell_means(values: Array) -> Array:
    return _tiles(values).mean(axis=-1)


def _cells(ratio: Array, variance: Array, good: NDArray[np.bool_]) -> tuple[Array, Array, NDArray[np.bool_], float]:
    """Value, standard error and soundness of each cell, and the inflation of variance over the pixels' own.

    Within a cell a plane is fitted to its blocks, blocks that dust has touched weighted down (J. W. Tukey's biweight).
    """
    n = BLOCKS_PER_CELL
    place = (np.arange(n) - (n - 1) / 2) / n
    v, u = (a.ravel() for a in np.meshgrid(place, place, indexing="ij"))
    design = np.stack([np.ones(n * n), u, v], axis=1)
    y, s2, sound = _tiles(ratio), _tiles(variance), _tiles(good.astype(float)) > 0.5
    # One variance for all blocks of a cell: with their own, dark ones would count for more in a half-shadow, and what noise
    # darkens for more than what it lightens.
    s2 = np.broadcast_to((np.where(sound, s2, 0.0).sum(axis=-1) / np.maximum(sound.sum(axis=-1), 1))[..., None], y.shape)
    s2 = np.maximum(s2, 1e-12)
    enough = sound.sum(axis=-1) >= n * n // 2
    start = np.where(sound, y, np.nan)
    start[~enough] = 1.0
    fitted = np.broadcast_to(np.nanmedian(start, axis=-1)[..., None], y.shape)
    cut = 8.0
    weight = sound.astype(float)
    for _ in range(4):
        off = np.abs(y - fitted)
        usual = np.median(np.where(sound, off, 0.0), axis=-1)[..., None] * 1.4826
        share = np.minimum(off / (cut * np.sqrt(s2 + usual**2)), 1.0)
        weight = np.where(sound, (1.0 - share**2) ** 2, 0.0) + 1e-9
        normal = np.einsum("...k,ki,kj->...ij", weight / s2, design, design)
        right = np.einsum("...k,ki->...i", weight / s2 * y, design)
        found = np.linalg.solve(normal + 1e-12 * np.trace(normal, axis1=-2, axis2=-1)[..., None, None] * np.eye(3), right[..., None])
        fitted = np.einsum("ki,...i->...k", design, found[..., 0])
        cut = 5.0
    free = np.maximum(weight.sum(axis=-1) - 3.0, 1.0)
    scatter = np.sum(weight * (y - fitted) ** 2 / s2, axis=-1) / free
    formal = np.linalg.inv(normal)[..., 0, 0]
    value = found[..., 0, 0]
    clear = enough & (np.abs(value - 1.0) < 0.05)
    for _ in range(2):
        # Where a shadow begins, light bends without noise.
        clear[1:-1, 1:-1] &= clear[:-2, 1:-1] & clear[2:, 1:-1] & clear[1:-1, :-2] & clear[1:-1, 2:]
    told = clear if clear.sum() >= 20 else enough
    inflation = max(1.0, float(np.median(scatter[told])) if told.any() else 1.0, _neighbour_inflation(value, formal, clear))
    error = np.sqrt(formal * np.maximum(inflation, np.where(scatter > 3.0 * inflation, scatter, 0.0)))
    kept = enough & np.isfinite(value) & np.isfinite(error) & (weight.sum(axis=-1) >= n * n / 2)
    return value, error, kept, inflation


def _neighbour_inflation(value: Array, formal: Array, clear: NDArray[np.bool_]) -> float:
    """Variance of cells over what their pixels suggest, from second differences where nothing shades (after T. Gasser et al.).

    The least that is likely: one standard error below the estimate, so that few cells do not make noise of chance.
    """
    found = []
    for a in (0, 1):
        v, f, c = np.moveaxis(value, a, 0), np.moveaxis(formal, a, 0), np.moveaxis(clear, a, 0)
        inner = c[:-2] & c[1:-1] & c[2:]
        found.append(((v[:-2] - 2.0 * v[1:-1] + v[2:]) ** 2 / (f[:-2] + 4.0 * f[1:-1] + f[2:]))[inner])
    square = np.concatenate(found)
    if len(square) < 40:
        return 1.0
    inflation = float(np.median(square)) / 0.4549
    for _ in range(6):
        # The mean of squares up to nine times the variance, which is 0.9944 of it for normal noise: dust counts little.
        inflation = max(float(np.mean(np.minimum(square, 9.0 * inflation))) / 0.9944, 1e-6)
    return inflation * (1.0 - math.sqrt(2.0 * 3.0 / len(square)))


def _right_way_round(bare: Blocks, shaded: Blocks, value: Array, kept: NDArray[np.bool_]) -> None:
    brighter, darker = float(np.mean(kept & (value > 1.15))), float(np.mean(kept & (value < 0.87)))
    if brighter > 0.01 and brighter > 2.0 * darker:
        raise MeasureError(
            f"{shaded.path}: is brighter towards the edges than {bare.path}, so the two seem to be swapped; "
            "name the bare photograph first."
        )


def _light_notes(bare: Blocks, shaded: Blocks, scale: float) -> list[str]:
    change = math.log2(scale)
    if abs(change) > MOST_CHANGE:
        told = bare.about.light_value is not None and shaded.about.light_value is not None
        cause = "the light drifted" if told else "the exposures differ or the light drifted"
        raise MeasureError(
            f"{shaded.path}: is {abs(change):.2f} stop {'brighter' if change > 0 else 'darker'} in the middle than {bare.path}: "
            f"{cause}; shoot both in manual exposure, soon after each other, by steady light."
        )
    if abs(change) > NOTED_CHANGE:
        return [f"The light changed by {change:+.2f} stop between {bare.path.name} and {shaded.path.name}; it was allowed for."]
    return []


def _wall_notes(bare: Blocks) -> list[str]:
    """A sentence where the wall is brighter on one side than on the other: vignetting is the same on both."""
    light = np.maximum(_cell_means(bare.light.mean(axis=0)), 1e-4)
    worst = float(np.quantile(np.abs(np.log2(light / light[::-1, ::-1])), 0.98))
    if worst <= UNEVEN:
        return []
    return [
        f"{bare.path.name}: the wall is uneven, {worst:.1f} stops between opposite places of the frame; light it more evenly, so that "
        "the dark side is not lost in noise."
    ]


def _unmoved(bare: Blocks, shaded: Blocks) -> list[str]:
    """Raises MeasureError where fine marks of the wall stand elsewhere in the second frame: the camera moved."""
    first, second = _fine_marks(bare), _fine_marks(shaded)
    spectrum = np.fft.rfft2(first) * np.conj(np.fft.rfft2(second))
    found = np.fft.irfft2(spectrum / np.maximum(np.abs(spectrum), 1e-12 * np.abs(spectrum).max() + 1e-300), s=first.shape)
    spread = 1.4826 * float(np.median(np.abs(found - np.median(found))))
    rows, columns = first.shape
    at = np.unravel_index(int(np.argmax(found)), found.shape)
    down = (int(at[0]) + rows // 2) % rows - rows // 2
    along = (int(at[1]) + columns // 2) % columns - columns // 2
    if spread > 0 and float(found[at]) > 9.0 * spread and max(abs(down), abs(along)) >= 2:
        pixels = math.hypot(down * bare.size[0] / rows, along * bare.size[1] / columns)
        raise MeasureError(
            f"{shaded.path}: its wall stands about {pixels:.0f} pixels away from where it is in {bare.path}: the camera moved; "
            "use a tripod, and put the tube or hood on without turning the lens."
        )
    return []


def _fine_marks(blocks: Blocks) -> Array:
    """Small differences of light from the surroundings, of no more than three times their usual size: a speck
    of dust here and another there must not look like a wall that moved.
    """
    from scipy.ndimage import uniform_filter

    light = np.log(np.maximum(blocks.light.mean(axis=0), 1e-4))
    fine = light - uniform_filter(light, 5, mode="nearest")
    usual = 1.4826 * float(np.median(np.abs(fine))) + 1e-12
    return np.clip(fine / usual, -3.0, 3.0)
