"""What a measurement rests on, as numbers that the page draws: profiles and maps of shadows, maps of loss, rims."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from shadewright.show.measured import _middle

if TYPE_CHECKING:
    from shadewright.measure.measured import RimChoice
    from shadewright.measure.proof import PairProof
    from shadewright.measure.pupil import PupilFit

Array = NDArray[np.float64]

BINS = 24
FEWEST = 3
"""Cells in a bin from which it is drawn."""


def listed(values: Array, digits: int) -> list[float | None]:
    """Numbers rounded, None where there is none."""
    return [round(float(v), digits) if np.isfinite(v) else None for v in np.ravel(values)]


def shadows(fit: PupilFit) -> list[dict[str, Any]]:
    """Of every tube: its shadow's profile, and maps of the light left as photographed, as fitted and of what is missed."""
    found = []
    for i, block in enumerate(fit.blocks):
        if block.tube is None:
            continue
        value, missed, kept = fit.fitted(i), fit.solution.residuals[i], fit.solution.kept[i]
        found.append({
            "tube": block.tube.name, "inner_diameter": block.tube.inner_diameter, "length": block.tube.length,
            "profile": _profile(np.hypot(*(block.points - _middle(fit, i)).T), block.value, value, missed, kept),
            "map": _map(block.points, block.cell, {"left": (block.value, 4), "fitted": (value, 4), "missed": (missed, 2)}, kept),
        })  # fmt: skip
    return found


def _profile(away: Array, measured: Array, fitted: Array, missed: Array, kept: NDArray[np.bool_]) -> dict[str, Any]:
    """Light left against the distance (mm) from the shadow's middle: quartiles of the cells in rings, the fit, and what it misses."""
    half = (fitted > 0.005) & (fitted < 0.995)
    near = away[half] if half.sum() >= FEWEST else away
    low, high = float(near.min()), float(near.max())
    low, high = max(0.0, low - 0.25 * (high - low)), high + 0.15 * (high - low)
    edges = np.linspace(low, high, BINS + 1)
    rings = [kept & (away >= a) & (away < b) for a, b in pairwise(edges)]
    rows: dict[str, list[float]] = {name: [] for name in ("at", "measured", "low", "high", "fitted", "missed", "missed_spread")}
    for ring in rings:
        if ring.sum() < FEWEST:
            continue
        quarter, middle, three = np.quantile(measured[ring], (0.25, 0.5, 0.75))
        for name, number, digits in (
            ("at", np.mean(away[ring]), 3), ("measured", middle, 4), ("low", quarter, 4), ("high", three, 4),
            ("fitted", np.median(fitted[ring]), 4), ("missed", np.mean(missed[ring]), 3), ("missed_spread", np.std(missed[ring]), 3),
        ):  # fmt: skip
            rows[name].append(round(float(number), digits))
    return {**rows, "from": round(low, 3), "to": round(high, 3)}


def _map(points: Array, cell: tuple[float, float], values: dict[str, tuple[Array, int]], kept: NDArray[np.bool_]) -> dict[str, Any]:
    """Cells as tables row by row from the bottom; `use` is 1 where a cell was fitted, 2 where it was left out, 0 where none is."""
    x, y = points[:, 0], points[:, 1]
    columns = np.round((x - x.min()) / cell[0]).astype(int)
    rows = np.round((y - y.min()) / cell[1]).astype(int)
    shape = (int(rows.max()) + 1, int(columns.max()) + 1)
    use = np.zeros(shape, int)
    use[rows, columns] = np.where(kept, 1, 2)
    tables = {}
    for name, (numbers, digits) in values.items():
        table = np.full(shape, np.nan)
        table[rows, columns] = numbers
        tables[name] = listed(table, digits)
    return {
        "columns": shape[1], "rows": shape[0], "width": round(shape[1] * cell[0], 4), "height": round(shape[0] * cell[1], 4),
        "use": use.ravel().tolist(), **tables,
    }  # fmt: skip


def rims(choice: RimChoice) -> dict[str, Any]:
    """The rims of a measured lens: best guess, safe all round, and that of its document, mm ahead of the seat."""
    return {
        "azimuth": listed(choice.azimuth, 2), "nominal": listed(choice.nominal, 3), "safe": listed(choice.safe, 3),
        "documented": listed(choice.documented, 3),
    }  # fmt: skip


def losses(pair: PairProof) -> dict[str, Any]:
    """A pair's maps row by row from the bottom: loss as photographed, as the documents and the seating found expect, what is left."""
    rows, columns = pair.points.shape[:2]
    step = pair.points[-1, -1] - pair.points[0, 0]
    width, height = (float(step[k]) * n / max(n - 1, 1) for k, n in ((0, columns), (1, rows)))
    loss = pair.intrusion.loss
    return {
        "columns": columns, "rows": rows, "width": round(width, 4), "height": round(height, 4), "loss": listed(loss, 4),
        "expected": listed(pair.expected, 4), "fitted": listed(pair.fitted, 4), "missed": listed(loss - pair.fitted, 4),
    }  # fmt: skip
