"""Wall light: what reaches the front glass after one or more bounces off the hood, for every source direction.

The value for a direction is the flux on the glass after at least one bounce off a hood surface, over the flux that the
open glass would take from the same source at normal incidence. Directions cover the whole sphere, since over the
valleys of a petal rim light also arrives from behind the front plane. Rays are traced backwards, from the glass to the
sky: by reciprocity one run serves every direction.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import LightError, LightStopped
from shadewright.light.card import Device
from shadewright.light.fast import REPLICATES, direct_light, fast_replicates
from shadewright.light.finish import Finish
from shadewright.light.reference import BATCHES, Batches, can_stage, trace_all
from shadewright.light.scene import Finishes, Scene, coats_of
from shadewright.light.trace import ABSORBED, ESCAPED, LAUNCHED, RETURNED, SEGMENTS

Array = NDArray[np.float64]

Progress = Callable[[float], bool]
"""Called with the share done, 0 to 1; an answer of False stops the run (`LightStopped` is raised)."""


class Method(StrEnum):
    """How wall light is worked out."""

    REFERENCE = "reference"  # plain backward tracing; values are means over the cells of a `Sky`
    STAGED = "staged"  # the same in single precision, many rays at a time, for Lambertian tubes and cones
    FAST = "fast"  # points of the wall against every direction; values are at the directions themselves


@dataclass(frozen=True)
class Sky:
    """Cells of equal solid angle over the whole sphere: `rows` bands of equal height in uz from -1 to 1, `columns` round.

    Cell (i, j) has number i * columns + j; row 0 lies straight behind, the last row straight ahead.
    """

    rows: int = 42
    columns: int = 72

    def __post_init__(self) -> None:
        _check_whole("sky.rows", self.rows, 1, 2000)
        _check_whole("sky.columns", self.columns, 1, 2000)

    @property
    def directions(self) -> Array:
        """Unit vectors (rows * columns, 3) to the cells' middles, from the lens towards the source."""
        uz = -1.0 + (np.arange(self.rows) + 0.5) * 2.0 / self.rows
        psi = (np.arange(self.columns) + 0.5) * 2.0 * math.pi / self.columns
        across = np.sqrt(1.0 - uz * uz)
        x, y = across[:, None] * np.cos(psi), across[:, None] * np.sin(psi)
        return np.stack([x, y, np.broadcast_to(uz[:, None], x.shape)], axis=-1).reshape(-1, 3)

    @property
    def solid_angle(self) -> float:
        """Of one cell, steradians."""
        return 4.0 * math.pi / (self.rows * self.columns)


@dataclass(frozen=True)
class Balance:
    """Where the light sent backwards from the glass went, as shares of what was launched, each (value, standard error).

    absorbed: by hood surfaces; returned: taken by the glass again; escaped: to the sky, direct light included.
    """

    absorbed: tuple[float, float]
    returned: tuple[float, float]
    escaped: tuple[float, float]
    total: tuple[float, float]
    """Their sum: 1 within the statistics."""
    segments: float
    """Mean number of straight segments of a ray."""


@dataclass(frozen=True, eq=False)
class WallLight:
    """Wall light by direction.

    directions: (n, 3) unit vectors towards the source. value and standard_error: (n,). by_bounces: (3, n) the parts that
    took one, two, and three or more bounces off hood surfaces. direct: (n,) what the same source sends to the glass
    without a bounce, on the same scale (lit share times cos θ).
    """

    directions: Array
    value: Array
    standard_error: Array
    by_bounces: Array
    direct: Array
    balance: Balance | None
    method: Method
    seed: int
    samples: int
    sky: Sky | None = None

    @property
    def mean(self) -> float:
        """Mean value over the sphere; needs the cells of a `Sky`, which are of equal solid angle."""
        return float(np.mean(self.value))


def wall_light(
    scene: Scene, finish: Finish | Finishes, *, directions: Array | None = None, sky: Sky | None = None,
    method: Method = Method.FAST, samples: int | None = None, seed: int = 1, threads: int = 1,
    progress: Progress | None = None, keep: Path | None = None, device: Device = Device.PROCESSOR,
) -> WallLight:  # fmt: skip
    """Wall light of a scene for `directions` (n, 3), or for the cells of `sky` (default: `Sky()`).

    The fast method gives values at the directions, or at the cells' middles; samples: points of the hood (default
    32,768). The reference, staged or not, gives means over the cells; samples: rays (default 1,000,000); keep: a file in which its run
    is kept, and from which it goes on. The result is the same to the last bit for one seed and any number of threads.
    device: what traces the rays of the reference method.
    Raises LightError for bad input, LightStopped when `progress` answers False, FileError for a kept run that is not
    this one's.
    """
    _check_whole("seed", seed, 0, 2**63 - 1)
    _check_whole("threads", threads, 1, 1024)
    if directions is not None and (method is not Method.FAST or sky is not None):
        raise LightError(
            "directions: the reference method counts rays in the cells of a sky; give sky, or use the fast method."
        )
    if keep is not None and method is Method.FAST:
        raise LightError("keep: only a run of the reference method is kept; leave it out, or use that method.")
    cells = (sky or Sky()) if directions is None else None
    towards = _unit(directions) if directions is not None else (sky or Sky()).directions
    coats = coats_of(finish)
    if method is Method.STAGED and not can_stage(scene, coats):
        raise LightError(
            "method: only plain tubes and cones of Lambertian finishes are traced in stages; use the reference method."
        )
    if device is Device.CARD and method is not Method.REFERENCE:
        raise LightError("device: a card runs the reference method alone; use that method, or leave device out.")
    if method is not Method.FAST:
        assert cells is not None
        samples = 1_000_000 if samples is None else samples
        _check_whole("samples", samples, BATCHES, 2**32 - 1)
        found = trace_all(
            scene, coats, rows=cells.rows, columns=cells.columns, samples=samples, seed=seed, threads=threads,
            progress=progress, keep=keep, staged=method is Method.STAGED, device=device,
        )  # fmt: skip
        return _from_batches(cells, found, method, samples, seed)
    samples = 32_768 if samples is None else samples
    _check_whole("samples", samples, REPLICATES, 2**28)

    def tick(share: float) -> None:
        if progress is not None and not progress(share) and share < 1.0:
            raise LightStopped("stopped before the end; nothing was kept.")

    goes = fast_replicates(scene, coats, towards, samples=samples, seed=seed, threads=threads, tick=tick)
    whole = goes.sum(axis=1)
    error = whole.std(axis=0, ddof=1) / math.sqrt(REPLICATES)
    return WallLight(
        towards, whole.mean(axis=0), error, goes.mean(axis=0), direct_light(scene, towards), None, method, seed, samples,
        cells,
    )  # fmt: skip


def _from_batches(sky: Sky, found: Batches, method: Method, samples: int, seed: int) -> WallLight:
    """Means and standard errors over the batches. A share p of the rays in a cell of solid angle w is π p / w."""
    launched = found.tally[:, LAUNCHED]
    shares = found.cells / launched[:, None, None] * (math.pi / sky.solid_angle)
    whole = shares[:, 1:].sum(axis=1)
    scale = 1.0 / math.sqrt(len(launched))
    parts = found.tally[:, [ABSORBED, RETURNED, ESCAPED]] / launched[:, None]
    middle, spread = parts.mean(axis=0), parts.std(axis=0, ddof=1) * scale
    balance = Balance(
        absorbed=(float(middle[0]), float(spread[0])), returned=(float(middle[1]), float(spread[1])),
        escaped=(float(middle[2]), float(spread[2])), total=(
            float(middle.sum()), float(parts.sum(axis=1).std(ddof=1) * scale)
        ), segments=float(np.mean(found.tally[:, SEGMENTS] / launched)),
    )  # fmt: skip
    return WallLight(
        sky.directions, whole.mean(axis=0), whole.std(axis=0, ddof=1) * scale, shares[:, 1:].mean(axis=0),
        shares[:, 0].mean(axis=0), balance, method, seed, samples, sky,
    )  # fmt: skip


def _unit(directions: Array) -> Array:
    """Directions (n, 3) as unit vectors. Raises LightError."""
    given = np.asarray(directions, dtype=float)
    if given.ndim != 2 or given.shape[1] != 3 or not 0 < len(given) <= 2_000_000:
        raise LightError(f"directions: have the shape {given.shape}; give 1 to 2,000,000 rows of x, y, z.")
    length = np.linalg.norm(given, axis=1)
    if not np.all(np.isfinite(length)) or np.any(length <= 0):
        raise LightError("directions: one of them is no direction (zero or not a number); correct it.")
    return np.ascontiguousarray(given / length[:, None])


def _check_whole(field: str, value: int, low: int, high: int) -> None:
    if value != int(value) or not low <= value <= high:
        raise LightError(f"{field}: is {value}, but must be a whole number from {low:,} to {high:,}; correct it.")
