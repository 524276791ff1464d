"""Scaling: wall light over threads, and a search for trade-offs over the workers of a Dask cluster on this machine.

Wall seconds, the best of a few goes, and their ratio to one thread's or worker's in this run. That every count gives the
same result to the last bit is checked, not assumed.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from common import heading

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
from lenses import camera, hood, prime
from shadewright.design.tradeoff import Effort, Front, Limits, Size, Task, best_trades
from shadewright.design.tradeoff_search import runner
from shadewright.light.finish import Finish, Harvey
from shadewright.light.scene import Vane, bare_scene
from shadewright.light.wall_light import Method, WallLight, wall_light
from shadewright.model.hood import RimShape
from shadewright.model.named_surroundings import NAMED
from shadewright.model.shape import Rim, RoundHood, RoundWall

AZIMUTH = np.arange(0.0, 360.0, 0.5)
HOOD = RoundHood(RoundWall((0.0,), (42.0,)), Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH))))
OPEN = bare_scene(32.0, HOOD)
VANED = bare_scene(32.0, HOOD, vanes=(Vane(8.0, 38.0), Vane(16.0, 38.0)))
PLAIN = Finish("plain", 0.05)
GLOSSY = Finish("glossy", 0.03, lobe=Harvey(3.0, 0.05, -2.5), index=1.5)
JOBS: dict[str, Callable[[int], WallLight]] = {
    "fast map, plain": lambda n: wall_light(OPEN, PLAIN, samples=1 << 19, threads=n),
    "fast map, glossy": lambda n: wall_light(OPEN, GLOSSY, samples=1 << 17, threads=n),
    "fast map, vanes": lambda n: wall_light(VANED, PLAIN, samples=1 << 15, threads=n),
    "reference, vanes, glossy": lambda n: wall_light(VANED, GLOSSY, method=Method.REFERENCE, samples=6_400_000, threads=n),
    "staged, plain": lambda n: wall_light(OPEN, PLAIN, method=Method.STAGED, samples=64_000_000, threads=n),
}
GOES = 3


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def counts(most: int) -> list[int]:
    """1, 2, 4 and so on up to the number of cores."""
    found = [1]
    while found[-1] * 2 <= most:
        found.append(found[-1] * 2)
    return found if found[-1] == most else [*found, most]


def over_threads(wanted: Sequence[str]) -> None:
    """Every job whose name holds one of the words, or every job, with one thread and more."""
    heading("Threads: wall seconds, and how many times as fast as one thread")
    for name, job in JOBS.items():
        if wanted and not any(word in name for word in wanted):
            continue
        job(1)
        first: WallLight | None = None
        told, alone = [], math.inf
        for count in counts(cores()):
            best = math.inf
            for _ in range(GOES):
                started = time.perf_counter()
                found = job(count)
                best = min(best, time.perf_counter() - started)
                first = first or found
                assert np.array_equal(found.value, first.value), f"{name}: {count} threads change the result"
                assert np.array_equal(found.standard_error, first.standard_error)
            alone = best if count == 1 else alone
            told.append(f"{count}: {best:.3f} s, {alone / best:.2f}")
        print(f"  {name}: {'; '.join(told)}", flush=True)


def search(on: Any, effort: Effort) -> Front:
    """A search of some hundred hoods, or of four hundred."""
    limits = Limits(across=110.0, length=45.0)
    task = Task(
        prime(35.0), camera(), hood(RimShape.PETAL), limits, Size.VOLUME, NAMED["even"], (Finish("matt", 0.05),)
    )  # fmt: skip
    return best_trades(task, effort=effort, on=on)


def over_workers() -> None:
    """The search on clusters of one worker and more, each with one thread, after a short one that wakes it."""
    import distributed

    heading("Dask workers: wall seconds of a search, and how many times as fast as one worker")
    # Compiles what set-up may not have compiled; the workers take it from the disk.
    search(None, Effort.QUICK)
    alone, answer = math.inf, None
    for count in counts(cores()):
        with distributed.LocalCluster(
            n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1", silence_logs=50
        ) as cluster, runner(scheduler=cluster.scheduler_address) as on:
            search(on, Effort.QUICK)
            started = time.perf_counter()
            found = search(on, Effort.USUAL)
            taken = time.perf_counter() - started
        said = [(traded.design, traded.outcome) for traded in found.best], found.tried
        answer = answer or said
        assert said == answer, f"{count} workers change the answer"
        alone = taken if count == 1 else alone
        print(f"  {count} workers: {taken:.2f} s, {alone / taken:.2f}", flush=True)
    started = time.perf_counter()
    found = search(None, Effort.USUAL)
    assert ([(traded.design, traded.outcome) for traded in found.best], found.tried) == answer
    print(f"  in one process without Dask: {time.perf_counter() - started:.2f} s")


def main() -> None:
    """Print what was measured; with "threads" or "workers" that alone, with further words the jobs whose names hold them."""
    words = sys.argv[1:]
    if "workers" not in words:
        over_threads([word for word in words if word != "threads"])
    if "threads" not in words:
        over_workers()


if __name__ == "__main__":
    main()
