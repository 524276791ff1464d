"""How a traced lens departs from fixed circular windows: its pupil's wander and its vignetting over the field."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shadewright.clearance.loss import stops, window_vignetting
from shadewright.design.reduction import ReducedState, windows_beam
from shadewright.errors import MakeError
from shadewright.optics.beam import Beam, Job
from shadewright.show import page

Array = NDArray[np.float64]

HEIGHTS = 61
MOST = len(page.STROKES)
MOST_STOPS = 8.0
"""Deepest loss that the picture reaches to."""


def wander_figure(job: Job, reduced: Sequence[ReducedState], *, title: str) -> Figure:
    """Two panels over the field of each setting: where the pupil lies, and how much of the axial beam is left.

    Thin lines: the reduced lens, with its wandering pupil and its three windows. Raises MakeError for more settings than
    can be told apart.
    """
    if not 1 <= len(reduced) <= MOST:
        raise MakeError(f"pupil wander: {len(reduced)} settings cannot be told apart; give 1 to {MOST}.")
    with page.style():
        figure = page.blank(92.0, title=title)
        left, right = figure.subplots(1, 2)
        corner, deepest, widest = math.hypot(job.half_width, job.half_height), 0.0, 0.0
        for stroke, state in zip(page.STROKES, reduced, strict=False):
            beam = job.beam(state.setting)
            table = beam.footprints
            assert table is not None
            angle = np.degrees(np.arctan(table.slope))
            line = {"color": stroke.colour, "linestyle": stroke.dash}
            left.plot(angle, table.pupil, linewidth=1.6, label=beam.label, gid="pupil", **line)
            left.plot(angle, _fitted_depth(state, table.slope), linewidth=0.7, color=stroke.colour, gid="reduced")
            height, own, simple = vignetting(job, state, beam)
            right.plot(height, own, linewidth=1.6, gid="vignetting", **line)
            right.plot(height, simple, linewidth=0.7, color=stroke.colour, gid="reduced")
            told = own[(height <= corner) & np.isfinite(own)]
            deepest, widest = max(deepest, float(np.max(told, initial=0.0))), min(widest, float(np.min(told, initial=0.0)))
        left.set(xlabel="Field angle (degrees)", ylabel="Pupil behind the front glass's edge (mm)", title="Where the entrance pupil lies")
        right.set(xlabel="Distance from the middle of the image (mm)", ylabel="Area of the beam (stops below the axis)", title="What the lens itself cuts off")
        # By the traced beams of the frame: windows that go black sooner would squash them flat.
        right.set_ylim(min(1.15 * deepest + 0.2, MOST_STOPS), widest - 0.1)
        figure.legend(loc="outside lower center", ncols=2, title="heavy: traced; thin: three round windows, the pupil's depth following the field angle")
    return figure


def _fitted_depth(state: ReducedState, slope: Array) -> Array:
    return np.asarray(state.pupil_depth + state.wander[0] * slope**2 + state.wander[1] * slope**4)


def vignetting(job: Job, state: ReducedState, beam: Beam) -> tuple[Array, Array, Array]:
    """Image heights (n,) in mm and the loss (n,) in stops there, traced and by the reduced windows; NaN where none passes."""
    table = beam.footprints
    assert table is not None
    height = np.linspace(0.0, float(table.height[-1]), HEIGHTS)
    slopes = beam.frame.slopes(np.stack([height, np.zeros_like(height)], axis=1))
    slopes[:, 0] = np.minimum(slopes[:, 0], table.slope[-1])
    own = stops(1.0 - np.interp(slopes[:, 0], table.slope, table.area) / table.area[0])
    return height, own, window_vignetting(windows_beam(job, state), slopes)
