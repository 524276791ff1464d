"""What the benchmarks share: timing the best of several runs, and an invented zoom of a hundred states."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from shadewright.model.camera import Camera
from shadewright.model.hood import Margin
from shadewright.model.lens import Lens
from shadewright.optics.beam import Beam, Job, job

NO_PLAY = Margin(radial=0.0, axial=0.0, rotation=0.0)


def best_of(call: Callable[[], Any], times: int = 7) -> float:
    """The shortest of several runs, in seconds."""
    found = math.inf
    for _ in range(times):
        started = time.perf_counter()
        call()
        found = min(found, time.perf_counter() - started)
    return found


def zoom_job() -> Job:
    """A zoom with three windows, on a 36 x 24 mm frame."""
    rows = [(24.0, 14.0, 31.0, 60.0, 31.0), (40.0, 4.0, 38.0, 70.0, 32.0), (70.0, 0.0, 55.0, 110.0, 40.0)]
    states = [
        {"focal_length": f, "f_number": 2.8, "reach": h, "pupil_depth": d, "rear_window": {"depth": e, "radius": r}}
        for f, h, d, e, r in rows
    ]
    lens = Lens.model_validate(
        {
            "document": "lens", "version": 1, "name": "bench", "state": states,
            "front": {"rim_diameter": 80.0, "clear_diameter": 70.0}, "seat": {"diameter": 84.0},
        }
    )  # fmt: skip
    return job(lens, Camera(document="camera", version=1, name="bench", format="135"))


def beams(count: int) -> list[Beam]:
    """`count` states of the zoom, three windows each."""
    work = zoom_job()
    from shadewright.optics.settings import sweep

    settings = sweep(work.resolved, np.linspace(0, 2, count), np.array([0.0]))
    return [work.beam(setting) for setting in settings]


def heading(title: str) -> None:
    """Say what is measured, and where."""
    print(f"\n{title}  [{os.cpu_count()} cores, one process]")
