"""Traced lenses: ray-surface intersections against batoid on the same surfaces and rays in one run, threads, and a zoom's rim."""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = "1"

import math
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from common import best_of, heading

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
import other_tracer
from prescription_cases import camera_for, lens_of, read, state
from shadewright.clearance.keepout import keep_out
from shadewright.model.prescription import Prescription
from shadewright.model.shape import RoundWall
from shadewright.optics import trace_kernel
from shadewright.optics.beam import job
from shadewright.optics.system import System
from shadewright.optics.trace import Tables, trace

RAYS = 400_000


def aspherised(lens: System) -> System:
    """Every surface given four small aspheric terms."""
    poly = np.zeros_like(lens.aspheric)
    for k in range(len(lens)):
        poly[k, :4] = 1e-4 / np.array([1.0, 1e2, 1e4, 1e6]) * (1e-2 if k != lens.stop else 0.0)
    return replace(lens, aspheric=poly)


def rays(lens: System) -> tuple[np.ndarray, np.ndarray]:
    """Rays that stay well inside the lens."""
    rng = np.random.default_rng(1)
    r, a = 0.3 * lens.semi[0] * np.sqrt(rng.random(RAYS)), rng.uniform(0, 2 * np.pi, RAYS)
    along = np.column_stack([rng.uniform(-0.05, 0.05, (RAYS, 2)), np.ones(RAYS)])
    return np.column_stack([r * np.cos(a), r * np.sin(a), np.zeros(RAYS)]) - 5.0 * along, along


def timed(call: Callable[..., object], *values: object) -> float:
    """Seconds of one call."""
    started = time.perf_counter()
    call(*values)
    return time.perf_counter() - started


def in_place(lens: System, origins: np.ndarray, along: np.ndarray) -> float:
    """Seconds to trace rays that stand ready in the plane of the first vertex, in the arrays they stand in."""
    tables, n = Tables(lens), len(origins)
    nothing, none = np.empty(0), np.empty(0, np.int64)
    best = math.inf
    for _ in range(7):
        state, codes = np.empty((5, n)), np.empty(n, np.int64)
        trace_kernel.start_kernel(origins, along, *state)
        path = np.empty((len(lens) + 1, 0, 3))
        call = partial(tables.run, state[0], state[1], state[2:], codes, path, nothing, none, clips=False)
        best = min(best, timed(call))
    return best


def speed(title: str, lens: System, goal: float) -> None:
    origins, along = rays(lens)
    theirs = other_tracer.optic(lens, clips=False)
    ours = best_of(lambda: trace(lens, origins, along, clips=False), 5)
    two = best_of(lambda: trace(lens, origins, along, clips=False, threads=2), 5)
    made = other_tracer.rays(origins, along)
    other = best_of(lambda: theirs.trace(made.copy()), 3)
    bare = in_place(lens, origins, along)
    alone = min(timed(theirs.trace, made.copy()) for _ in range(3))
    count = RAYS * (len(lens) + 1)
    print(f"  {title}, {len(lens)} surfaces: {count / ours / 1e6:.0f} million a second and core, batoid {count / other / 1e6:.1f}")
    print(f"    ratio {other / ours:.1f} for whole calls; two threads {ours / two:.2f} times one")
    print(f"    ratio {alone / bare:.1f} for rays made ready beforehand, traced in place by both (goal {goal:g})")


def twelve_surfaces() -> Prescription:
    """An invented zoom of twelve surfaces at three settings."""
    lens = read("double-gauss-50")
    last = lens.surface[-1].model_copy(update={"thickness": None})
    extra = lens.surface[0].model_copy(update={"radius": 0.0, "thickness": 1.0, "index": None, "glass": None, "abbe": None})
    surfaces = (extra, *lens.surface[:-1], last)
    names = [("near", 1.0), ("middle", 2.5), ("far", 4.0)]
    number = len(surfaces) - 1
    gap = float(surfaces[number - 1].thickness or 0.0)
    base = Prescription.model_validate({**lens.model_dump(), "surface": [s.model_dump() for s in surfaces], "setting": []})
    settings = [{"name": name, "thickness": {str(number): gap + more}} for name, more in names]
    return Prescription.model_validate({**base.model_dump(), "setting": settings})


def rim(title: str, prescription: Prescription, height: float, goal: str) -> None:
    wall, azimuth = RoundWall((0.0,), (48.0,)), np.arange(0.0, 360.0, 1.0)

    def once() -> float:
        started = time.perf_counter()
        work = job(lens_of(prescription), camera_for(height))
        settings = work.swept(4)
        keep_out(work.beams(settings)).rim(wall, azimuth, cap=200.0)
        print(f"  {title}: {len(settings)} settings, {time.perf_counter() - started:.2f} s {goal}")
        return time.perf_counter() - started

    once()


def main() -> None:
    """Print the claims and what was measured."""
    heading("Ray-surface intersections, no clear edges")
    lens = state("double-gauss-50").main
    speed("spheres", lens, 15.0)
    speed("even aspheres of four terms", aspherised(lens), 4.0)
    heading("From surfaces to a rim of 360 azimuths over nine zoom settings, tables made anew")
    state("wide-22").footprints(10.0)
    rim("twelve surfaces", twelve_surfaces(), 18.0, "(goal 2 s)")
    rim("34 surfaces", read("zoom-72-194"), 21.6, "")


if __name__ == "__main__":
    main()
