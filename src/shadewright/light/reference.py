"""The reference method: plain backward tracing in independent batches, which can be stopped, kept and gone on with."""

from __future__ import annotations

import hashlib
import io
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import FileError, LightStopped
from shadewright.files import is_there, read_limited, write_whole
from shadewright.light.card import Card, Device
from shadewright.light.fast import Sides, in_order
from shadewright.light.scene import Coats, Part, Scene
from shadewright.light.staged import staged_batch
from shadewright.light.trace import CLASSES, LAUNCHED, trace_batch

Array = NDArray[np.float64]

BATCHES = 32
PIECE = 200_000
"""Rays of a batch that one thread traces at a time."""
CARD_PIECE = 4_000_000
"""Rays of a batch that a card traces at a time."""
SCHEMA = 1
STATE_LIMIT = 400_000_000
"""Largest kept run that is read, bytes."""
KEEP_EVERY = 10.0
"""Seconds between two writings of a run that is kept."""


@dataclass(frozen=True, eq=False)
class Batches:
    """Tallies of independent batches: cells (BATCHES, CLASSES, rows * columns) and tally (BATCHES, 5), as `trace` has
    them, and how many of the `pieces` have been done.
    """

    cells: Array
    tally: Array
    pieces: int


def trace_all(
    scene: Scene, coats: Coats, *, rows: int, columns: int, samples: int, seed: int, threads: int,
    progress: Callable[[float], bool] | None, keep: Path | None, staged: bool = False,
    device: Device = Device.PROCESSOR,
) -> Batches:  # fmt: skip
    """Trace `samples` rays in BATCHES batches. The pieces are added in a fixed order, so threads change nothing.

    staged: by `staged.staged_batch`, for a scene and finish that `can_stage`. device: a card traces the same rays one
    piece after the other. keep: a file in which the run is kept; one that is there is gone on with. Raises LightStopped
    when progress answers False, LightError where there is no card, FileError for a kept run that does not match.
    """
    each = max(1, samples // BATCHES)
    card = Card(scene, coats) if device is Device.CARD else None
    size = PIECE if card is None else CARD_PIECE
    pieces = [(batch, first, min(size, each - first)) for first in range(0, each, size) for batch in range(BATCHES)]
    mark = _mark(scene, coats, [rows, columns, each, seed, BATCHES, size, int(staged)])
    state = Batches(np.zeros((BATCHES, CLASSES, rows * columns)), np.zeros((BATCHES, 5)), 0)
    if keep is not None and is_there(keep):
        state = _read(keep, mark, state)
    jobs: list[Callable[[], Array]] = [
        partial(_piece, scene, coats, card, piece, seed, rows, columns, staged) for piece in pieces[state.pieces :]
    ]
    done, kept_at = state.pieces, time.monotonic()
    for found in in_order(jobs, threads if card is None else 1):
        batch = pieces[done][0]
        state.cells[batch] += found[:-5].reshape(CLASSES, -1)
        state.tally[batch] += found[-5:]
        done += 1
        stop = progress is not None and not progress(done / len(pieces))
        if keep is not None and (stop or done == len(pieces) or time.monotonic() - kept_at > KEEP_EVERY):
            _write(keep, mark, Batches(state.cells, state.tally, done))
            kept_at = time.monotonic()
        if stop and done < len(pieces):
            where = f"what is done is kept in {keep}" if keep is not None else "nothing was kept"
            raise LightStopped(f"stopped after {done} of {len(pieces)} pieces; {where}.")
    return Batches(state.cells, state.tally, done)


def can_stage(scene: Scene, coats: Coats) -> bool:
    """Whether a scene is a plain tube or cone of Lambertian finishes, as `staged` takes it."""
    plain = bool(np.all(coats.values[:, 1] == 0) and np.all(coats.values[:, 2] <= 1))
    return scene.simple and plain and scene.surfaces.box[0] == 0


def _piece(
    scene: Scene, coats: Coats, card: Card | None, piece: tuple[int, int, int], seed: int, rows: int, columns: int,
    staged: bool,
) -> Array:  # fmt: skip
    """One piece of a batch: its cells and tally in one row."""
    batch, first, count = piece
    cells, tally = np.zeros((CLASSES, rows * columns)), np.zeros(5)
    if card is not None:
        cells, tally = card.trace(first, count, seed, batch, rows, columns)
    elif staged:
        sides = Sides.of(scene, np.array([[0.0, 0.0, 1.0]]))
        staged_batch(
            sides.base, sides.slope, sides.floor_radius, sides.taper, scene.glass_radius, float(coats.values[Part.WALL, 0]),
            float(coats.values[Part.FRONT, 0]), first, count, seed, batch, rows, columns, cells, tally,
        )  # fmt: skip
    else:
        trace_batch(scene.surfaces, coats, first, count, seed, batch, rows, columns, cells, tally)
    return np.concatenate([cells.ravel(), tally])


def _mark(scene: Scene, coats: Coats, numbers: list[int]) -> str:
    """A fingerprint of everything the tallies depend on."""
    digest = hashlib.sha256()
    for array in (*scene.surfaces, *coats, np.array(numbers)):
        digest.update(str(array.shape).encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def _write(path: Path, mark: str, state: Batches) -> None:
    held = io.BytesIO()
    np.savez_compressed(
        held, schema=np.array(SCHEMA), mark=np.array(mark), cells=state.cells, tally=state.tally,
        pieces=np.array(state.pieces),
    )  # fmt: skip
    write_whole(path, held.getvalue())


def _read(path: Path, mark: str, like: Batches) -> Batches:
    """A kept run, checked. Raises FileError."""
    content = read_limited(path, STATE_LIMIT)
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as kept:
            schema, found = int(kept["schema"]), str(kept["mark"])
            cells, tally, pieces = kept["cells"], kept["tally"], int(kept["pieces"])
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile) as error:
        raise FileError(f"{path}: is not a kept run of wall light; give another name or delete it.") from error
    if schema != SCHEMA:
        raise FileError(f"{path}: is of schema {schema}, but {SCHEMA} is read; give another name or delete it.")
    if found != mark:
        raise FileError(
            f"{path}: was kept for another scene, finish, seed or number of samples; give another name or delete it."
        )
    if cells.shape != like.cells.shape or tally.shape != like.tally.shape or pieces < 0:
        raise FileError(f"{path}: holds tables of the wrong shape; delete it.")
    launched = tally[:, LAUNCHED].sum()
    if not (np.all(np.isfinite(cells)) and np.all(np.isfinite(tally)) and launched >= 0):
        raise FileError(f"{path}: holds values that are not numbers; delete it.")
    return Batches(cells.astype(float), tally.astype(float), pieces)
