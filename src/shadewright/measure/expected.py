"""What fitted values let one expect of a map: the light that a tube leaves over each cell, and over each block within."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.measure.fitting import Unknown
from shadewright.measure.forward import OpenEnd, shares_of
from shadewright.measure.shadow import Block
from shadewright.model.lens import Mapping, Projection
from shadewright.model.shots import ShotSetting
from shadewright.optics.projection import slope_of, slopes_of_points

Array = NDArray[np.float64]

_INNER = np.array([-0.5, 0.5]) / math.sqrt(3.0)
"""Places of a two-point Gauss rule, in cells from a cell's middle."""
_LIGHT_ONLY = ("gain", "slope_x", "slope_y", "veil", "tone")
"""Unknowns that do not change the geometry."""


@dataclass(frozen=True)
class View:
    """What is known of the lens before: reach of the front rim plane (mm), its mapping, and its glass (radius, depth, how well)."""

    reach: float
    mapping: Mapping
    front_radius: float
    front_depth: float
    front_known: bool


class Memory:
    """The last geometry worked out for each block: a change of the light alone costs nothing."""

    def __init__(self) -> None:
        self._last: dict[int, list[tuple[tuple[float, ...], Array]]] = {}

    def recall(self, block: int, key: tuple[float, ...], work: Callable[[], Array]) -> Array:
        """What `work` gives, or gave for the same key a few calls ago."""
        entries = self._last.setdefault(block, [])
        for known, result in entries:
            if known == key:
                return result
        result = work()
        entries.insert(0, (key, result))
        del entries[3:]
        return result


def expected_of(
    unknowns: Sequence[Unknown], x: Array, block: Block, i: int, view: View, setting: ShotSetting, memory: Memory | None = None
) -> Array:
    """The map (n,) that these values give: what a tube leaves, or what the lens's windows leave of the wide beam."""
    values = {u.name: float(v) for u, v in zip(unknowns, x, strict=True)}
    key = tuple(
        float(v) for u, v in zip(unknowns, x, strict=True) if u.block in (None, i) and u.name.split(" ")[0] not in _LIGHT_ONLY
    )
    share = (memory or Memory()).recall(i, key, lambda: _geometry(values, block, i, view, setting))
    return _lit(share, block.points, values, block, i)


def fine_expected(unknowns: Sequence[Unknown], x: Array, block: Block, i: int, view: View, setting: ShotSetting) -> Array:
    """What these values give of the blocks (n, m) within the cells of a tube's map."""
    assert block.fine is not None
    values = {u.name: float(v) for u, v in zip(unknowns, x, strict=True)}
    shape = block.fine.value.shape
    share = np.repeat(np.where(block.value > 0.5, 1.0, 0.0)[:, None], shape[1], axis=1)
    points = block.fine.points[block.active].reshape(-1, 2)
    share[block.active] = _shares_over(points, block.fine.size, values, i, view, setting).reshape(-1, shape[1])
    return _lit(share.ravel(), block.fine.points.reshape(-1, 2), values, block, i).reshape(shape)


def _lit(share: Array, points: Array, values: dict[str, float], block: Block, i: int) -> Array:
    """Light (n,) where this share of each beam is left: stray light, the tone curve, and how the wall's light changed."""
    expected = share
    if block.tube is not None:
        veil = values[f"veil {i}"]
        expected = expected * (1 - veil) + veil
    if "tone" in values:
        expected = np.maximum(expected, 1e-6) ** (1 + values["tone"])
    half = np.max(np.abs(block.points), axis=0)
    tilt = points / half @ np.array([values[f"slope_x {i}"], values[f"slope_y {i}"]])
    return np.asarray(expected * values[f"gain {i}"] * (1 + tilt))


def _geometry(values: dict[str, float], block: Block, i: int, view: View, setting: ShotSetting) -> Array:
    """The map (n,) without any change of the light."""
    if block.tube is None:
        return _own_shading(block, values, view, setting)
    expected = np.where(block.value > 0.5, 1.0, 0.0)
    expected[block.active] = _shares_over(block.points[block.active], block.cell, values, i, view, setting)
    return expected


def windows_from(values: dict[str, float], setting: ShotSetting) -> tuple[Array, tuple[float, float], float]:
    """Windows (k, 4), wander and the distance in focus (mm from the front rim plane) of fitted values."""
    rows = [
        (values["pupil_depth"], values["pupil_radius"], 0.0, 0.0),
        (values["front_depth"], values["front_radius"], 0.0, 0.0),
    ]
    if "rear_depth" in values:
        rows.append((values["rear_depth"], values["rear_radius"], 0.0, 0.0))
    subject = math.inf if setting.focus_distance == "infinity" else float(setting.focus_distance)
    return np.array(rows), (values.get("wander", 0.0), 0.0), subject


def open_end(values: dict[str, float], i: int, reach: float) -> OpenEnd:
    """The open end of tube i as fitted: it stands on the seat off the axis and leans about it."""
    lean = np.array([values[f"lean_x {i}"], values[f"lean_y {i}"], 1.0])
    axis = values[f"tube_length {i}"] * lean / np.linalg.norm(lean)
    centre = (values[f"decentre_x {i}"] + axis[0], values[f"decentre_y {i}"] + axis[1], axis[2] - reach)
    return OpenEnd((float(centre[0]), float(centre[1]), float(centre[2])), values[f"tube_radius {i}"], (float(lean[0]), float(lean[1])))


def _shares_over(
    points: Array, size: tuple[float, float], values: dict[str, float], i: int, view: View, setting: ShotSetting
) -> Array:
    """Mean of what the open end of tube i leaves over rectangles of a size about points (n, 2), by the two-point Gauss rule both ways."""
    windows, wander, subject = windows_from(values, setting)
    end, middle = open_end(values, i, view.reach), np.array([values["axis_x"], values["axis_y"]])
    inner = np.array([(u * size[0], v * size[1]) for u in _INNER for v in _INNER])
    at = (points - middle)[None, :, :] + inner[:, None, :]
    slopes = _slopes(at.reshape(-1, 2) / values["image_distance"], view.mapping)
    share, area = shares_of(windows, slopes, end, wander=wander, subject=subject)
    share, area = share.reshape(len(inner), -1), area.reshape(len(inner), -1)
    whole = area.sum(axis=0)
    return np.where(whole > 0, (np.where(area > 0, share, 0.0) * area).sum(axis=0) / np.maximum(whole, 1e-12), 0.0)


def _slopes(scaled: Array, mapping: Mapping) -> Array:
    """Slopes (n, 2) of frame points (n, 2) in image distances; a measured mapping by a fine table, right to 1e-8."""
    if mapping.kind is not Projection.MEASURED:
        return slopes_of_points(scaled, mapping.kind, mapping.coefficients)
    height = np.hypot(scaled[:, 0], scaled[:, 1])
    grid = np.linspace(0.0, float(height.max()), 2000)
    return scaled * (np.interp(height, grid, slope_of(grid, mapping.kind, mapping.coefficients)) / np.maximum(height, 1e-12))[:, None]


def _own_shading(block: Block, values: dict[str, float], view: View, setting: ShotSetting) -> Array:
    """The bare frame over the bare frame stopped down: how much smaller the wide beam gets off axis than the narrow one does."""
    windows, wander, subject = windows_from(values, setting)
    scaled = (block.points - np.array([values["axis_x"], values["axis_y"]])) / values["image_distance"]
    slopes = np.vstack([np.zeros((1, 2)), slopes_of_points(scaled, view.mapping.kind, view.mapping.coefficients)])
    narrow = windows.copy()
    narrow[0, 1] = values["small_radius"]
    wide_area = shares_of(windows, slopes, None, wander=wander, subject=subject)[1]
    narrow_area = shares_of(narrow, slopes, None, wander=wander, subject=subject)[1]
    ratio = wide_area / np.maximum(narrow_area, 1e-9)
    return np.asarray(ratio[1:] / ratio[0])
