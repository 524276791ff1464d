"""The result of tracing a lens as a plain dictionary: what `shadewright trace --json` prints, described in docs/json.md."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shadewright.design.reduction import Comparison, ReducedState
from shadewright.model.lens_rows import Reading
from shadewright.optics.beam import Job
from shadewright.optics.paraxial import Paraxial
from shadewright.report import VERSION
from shadewright.show.wander import vignetting


def first_order(reading: Reading, names: tuple[str, ...], first: list[Paraxial]) -> dict[str, Any]:
    """The report of a prescription's settings in first order."""
    return {
        "report": "trace",
        "version": VERSION,
        "prescription": reading.prescription.name,
        "surfaces": len(reading.prescription.surface),
        "notes": list(reading.notes),
        "settings": [
            {
                "setting": name,
                "focal_length": _mm(p.focal_length),
                "f_number": _mm(p.f_number),
                "back_focus": _mm(p.back_focus),
                "image_distance": _mm(p.image_distance),
                "entrance_pupil": _mm(p.entrance_pupil),
                "entrance_diameter": _mm(2 * p.entrance_radius),
                "exit_pupil": _mm(p.exit_pupil),
                "exit_diameter": _mm(2 * p.exit_radius),
                "principal_front": _mm(p.principal_front),
                "principal_rear": _mm(p.principal_rear),
                "length": _mm(p.total),
            }
            for name, p in zip(names, first, strict=True)
        ],
    }


def _mm(value: float) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None


def beam_data(work: Job, state: ReducedState) -> dict[str, Any]:
    """What real rays tell of a setting, and the windows fitted to them."""
    beam = work.beam(state.setting)
    table = beam.footprints
    assert table is not None
    known = np.isfinite(table.pupil)
    height, own, _simple = vignetting(work, state, beam)
    ideal = state.setting.focal_length * float(table.slope[-1])
    return {
        "half_field_degrees": _mm(math.degrees(math.atan(float(table.slope[-1])))),
        "image_height": _mm(float(height[-1])),
        "covers_frame": bool(table.complete),
        "distortion_percent": _mm(100 * (float(table.height[-1]) / ideal - 1)) if math.isinf(table.distance) else None,
        "pupil_depth_axis": _mm(float(table.pupil[0])),
        "pupil_depth_edge": _mm(float(table.pupil[known][-1])),
        "vignetting_edge_stops": _mm(float(own[np.isfinite(own)][-1])),
        "reduced": {
            "pupil_depth": _mm(state.pupil_depth),
            "pupil_radius": _mm(state.pupil_radius),
            "wander": [_mm(state.wander[0]), _mm(state.wander[1])],
            "rear_depth": _mm(state.rear_depth),
            "rear_radius": _mm(state.rear_radius),
            "misfit": _mm(state.rms),
            "largest_misfit": _mm(state.worst),
        },
    }


def model_errors(comparison: Comparison) -> dict[str, Any]:
    """How far simpler models are off, as plain values."""
    return {
        "tube_radius": _mm(comparison.radius),
        "traced_rim": {"deepest": _mm(float(comparison.rim.max())), "plain": _mm(float(comparison.rim.min()))},
        "errors": [
            {
                "model": entry.model,
                "too_deep": _mm(entry.too_deep),
                "too_shallow": _mm(entry.too_shallow),
                "loss_stops": _mm(entry.loss),
                "plain": _mm(entry.plain),
            }
            for entry in comparison.errors
        ],
    }
