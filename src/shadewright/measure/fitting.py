"""Least squares with prior knowledge, robust to dust: values that belong to one block of data or to all, and their covariance."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError

Array = NDArray[np.float64]
Model = Callable[[int, Array], Array]
"""The residuals (n,) of block i for parameter values (p,), in standard errors."""

CUT = 5.0
"""A cell this many standard errors off, after scaling, is dust or a fault of the wall and left out."""
SOFT = 3.0
"""Beyond this many standard errors a residual counts only linearly while the fit is sought (after P. J. Huber)."""

ENOUGH = 0.03
"""The search ends where a step lowers the squared misfit by less: a sixth of a standard error of any value."""
STEPS = 20
"""Most steps of a search."""


@dataclass(frozen=True)
class Unknown:
    """One value sought: where to start, what was known before (mean and standard error), its bounds, and a step to differ by."""

    name: str
    start: float
    mean: float
    spread: float
    """Infinite where nothing was known."""
    low: float
    high: float
    step: float
    block: int | None = None
    """The one block of data that it belongs to; None for all."""


@dataclass(frozen=True, eq=False)
class Solution:
    """Values (p,), covariance (p, p), residuals and kept cells of each block, and how well they fit."""

    unknowns: tuple[Unknown, ...]
    values: Array
    covariance: Array
    residuals: tuple[Array, ...]
    kept: tuple[NDArray[np.bool_], ...]
    misfit: float
    """Mean squared residual of the kept cells, 1 where the errors are told right."""
    free: int
    cost: float
    """Squared misfit of the kept cells and of what was known before."""

    def value(self, name: str) -> float:
        """The fitted value of a name. Raises KeyError."""
        return float(self.values[self._at(name)])

    def error(self, name: str) -> float:
        """Its standard error. Raises KeyError."""
        k = self._at(name)
        return math.sqrt(max(0.0, float(self.covariance[k, k])))

    def has(self, name: str) -> bool:
        """Whether a value of this name was sought."""
        return any(unknown.name == name for unknown in self.unknowns)

    def told(self, name: str) -> float:
        """How much of what is known of a value comes from the data, 0 to 1: one less the ratio of variances after and before."""
        unknown = self.unknowns[self._at(name)]
        return 1.0 if math.isinf(unknown.spread) else 1.0 - min(1.0, (self.error(name) / unknown.spread) ** 2)

    def correlation(self, first: str, second: str) -> float:
        """Correlation of two values."""
        i, j = self._at(first), self._at(second)
        return float(self.covariance[i, j] / math.sqrt(self.covariance[i, i] * self.covariance[j, j]))

    def _at(self, name: str) -> int:
        for k, unknown in enumerate(self.unknowns):
            if unknown.name == name:
                return k
        raise KeyError(name)


def solve(
    unknowns: Sequence[Unknown], model: Model, blocks: int, *, clusters: Sequence[NDArray[np.int64]] | None = None,
    kept: Sequence[NDArray[np.bool_]] | None = None, enough: float = ENOUGH, steps: int = STEPS, rounds: int = 2,
) -> Solution:  # fmt: skip
    """The values that make the residuals of all blocks and of what was known before smallest.

    Cells beyond CUT are left out after a first, robust round. clusters: (n,) per block a number for each cell; where the
    model does not fit, cells of one number are taken to err together, and the covariance allows for it. kept: cells that an
    earlier fit found sound, with whose values this one starts. enough, steps: when the search ends;
    rounds: how often cells are chosen anew and the search goes on.
    """
    unknowns = tuple(unknowns)
    x = np.array([unknown.start for unknown in unknowns])
    if kept is None:
        keep = [np.ones(len(model(i, x)), bool) for i in range(blocks)]
        x = _search(unknowns, model, keep, x, soft=True, enough=10 * enough, steps=steps)
    else:
        keep = list(kept)
        x = _search(unknowns, model, keep, x, soft=False, enough=enough, steps=steps)
    for _ in range(rounds):
        fresh = sound_cells([model(i, x) for i in range(blocks)])
        unchanged = all(np.array_equal(a, b) for a, b in zip(fresh, keep, strict=True))
        keep = fresh
        if unchanged and kept is not None:
            break
        x = _search(unknowns, model, keep, x, soft=False, enough=enough, steps=steps)
        if unchanged:
            break
    return _finished(unknowns, model, keep, x, clusters)


def sound_cells(residuals: Sequence[Array]) -> list[NDArray[np.bool_]]:
    """Which cells of each block lie within CUT of the rest."""
    scale = max(1.0, 1.4826 * float(np.median(np.abs(np.concatenate(residuals)))))
    return [np.abs(r) <= CUT * scale for r in residuals]


def _priors(unknowns: Sequence[Unknown]) -> tuple[Array, Array]:
    spread = np.array([unknown.spread for unknown in unknowns])
    return np.array([unknown.mean for unknown in unknowns]), np.where(np.isfinite(spread), 1.0 / np.maximum(spread, 1e-12), 0.0)


def jacobian(unknowns: Sequence[Unknown], model: Model, i: int, x: Array, *, at: Array | None = None) -> Array:
    """Derivatives (n, p) of the residuals of block i, by forward differences."""
    base = model(i, x) if at is None else at
    out = np.zeros((len(base), len(unknowns)))
    for k, unknown in enumerate(unknowns):
        if unknown.block is not None and unknown.block != i:
            continue
        there = x.copy()
        there[k] += unknown.step if x[k] + unknown.step <= unknown.high else -unknown.step
        out[:, k] = (model(i, there) - base) / (there[k] - x[k])
    return np.where(np.isfinite(out), out, 0.0)


def _cost(unknowns: Sequence[Unknown], model: Model, keep: Sequence[NDArray[np.bool_]], x: Array, soft: bool) -> float:
    mean, weight = _priors(unknowns)
    total = float(np.sum(((x - mean) * weight) ** 2))
    for i, kept in enumerate(keep):
        r = np.abs(model(i, x)[kept])
        total += float(np.sum(np.where((r <= SOFT) | (not soft), r * r, 2 * SOFT * r - SOFT * SOFT)))
    return total


def _search(
    unknowns: Sequence[Unknown], model: Model, keep: Sequence[NDArray[np.bool_]], x: Array, *, soft: bool, enough: float = ENOUGH,
    steps: int = STEPS,
) -> Array:  # fmt: skip
    """Levenberg and Marquardt's descent within bounds, residuals weighted down beyond SOFT where soft."""
    mean, weight = _priors(unknowns)
    low, high = np.array([u.low for u in unknowns]), np.array([u.high for u in unknowns])
    cost, damping = _cost(unknowns, model, keep, x, soft), 1e-3
    for _ in range(steps):
        normal, gradient = np.diag(weight**2), weight**2 * (x - mean)
        for i, kept in enumerate(keep):
            r = model(i, x)
            jac = jacobian(unknowns, model, i, x, at=r)[kept]
            r = r[kept]
            w = np.where(np.abs(r) > SOFT, SOFT / np.maximum(np.abs(r), SOFT), 1.0) if soft else np.ones_like(r)
            normal = normal + jac.T @ (w[:, None] * jac)
            gradient = gradient + jac.T @ (w * r)
        diagonal = np.maximum(np.diag(normal), 1e-12)
        moved = False
        for _ in range(12):
            step = np.linalg.solve(normal + damping * np.diag(diagonal), -gradient)
            trial = np.clip(x + step, low, high)
            found = _cost(unknowns, model, keep, trial, soft)
            if found < cost:
                gained, cost, x, moved = cost - found, found, trial, True
                damping = max(damping / 10, 1e-9)
                break
            damping *= 6
        if not moved or gained < enough:
            break
    return x


def _finished(
    unknowns: tuple[Unknown, ...], model: Model, keep: Sequence[NDArray[np.bool_]], x: Array,
    clusters: Sequence[NDArray[np.int64]] | None,
) -> Solution:  # fmt: skip
    mean, weight = _priors(unknowns)
    residuals = [model(i, x) for i in range(len(keep))]
    kept = np.concatenate([r[k] for r, k in zip(residuals, keep, strict=True)])
    free = max(1, len(kept) - sum(math.isinf(u.spread) for u in unknowns))
    misfit = float(np.sum(kept**2)) / free
    cost = float(np.sum(kept**2) + np.sum(((x - mean) * weight) ** 2))
    normal = np.zeros((len(unknowns),) * 2)
    meat = np.zeros_like(normal)
    for i, kept_here in enumerate(keep):
        jac = jacobian(unknowns, model, i, x, at=residuals[i])[kept_here]
        normal += jac.T @ jac
        if clusters is not None:
            score, labels = jac * residuals[i][kept_here][:, None], clusters[i][kept_here]
            for label in np.unique(labels):
                total = score[labels == label].sum(axis=0)
                meat += np.outer(total, total)
    prior = np.diag(weight**2)
    covariance = _inverse(normal / max(1.0, misfit) + prior)
    if clusters is not None and misfit > 1.5:
        bread = _inverse(normal / misfit + prior)
        sandwich = bread @ (meat / misfit**2 + prior) @ bread
        grown = np.sqrt(np.maximum(1.0, np.diag(sandwich) / np.diag(covariance)))
        covariance = covariance * np.outer(grown, grown)
    return Solution(unknowns, x, covariance, tuple(residuals), tuple(keep), misfit, free, cost)


def _inverse(matrix: Array) -> Array:
    """The inverse of a positive matrix whose rows differ widely in size; what nothing tells comes out huge, not wrong."""
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-18))
    return np.asarray(np.linalg.inv(matrix * np.outer(scale, scale) + 1e-12 * np.eye(len(matrix))) * np.outer(scale, scale))


def two_sided(confidence: float) -> float:
    """Standard errors within which a normal value lies with this chance. Raises MeasureError outside 0.5 to 0.9999."""
    from scipy.stats import norm

    if not 0.5 <= confidence <= 0.9999:
        raise MeasureError(f"confidence = {confidence:g} must be from 0.5 to 0.9999; 0.95 is usual.")
    return float(norm.ppf(0.5 + confidence / 2))
