"""Results as plain dictionaries: what `--json` prints, stable and described in docs/json.md."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from shadewright.clearance.check import Verdict
from shadewright.clearance.loss import WorstLoss
from shadewright.design.fit import Fitting
from shadewright.design.weigh import Candidate, Weighing
from shadewright.light.share import gain_stops
from shadewright.model.shape import HoodShape, RoundHood, TunnelHood

if TYPE_CHECKING:
    from shadewright.design.tradeoff import Front, Task, Traded
    from shadewright.design.weigh_stray import FinishTrial
    from shadewright.light.surroundings import StrayLight
    from shadewright.optics.beam import Job

VERSION = 1


def _mm(value: float) -> float:
    return round(float(value), 4)


def _finite(value: float) -> float | None:
    return _mm(value) if math.isfinite(value) else None


def wall_dict(shape: HoodShape) -> dict[str, Any]:
    """The wall: a profile of [z, inside radius] in mm, or a tunnel's inside."""
    if isinstance(shape, RoundHood):
        return {
            "kind": "round",
            "profile": [[_mm(z), _mm(r)] for z, r in zip(shape.wall.z, shape.wall.radius, strict=True)],
        }
    if isinstance(shape, TunnelHood):
        wall = shape.wall
        return {"kind": "tunnel", "inner_width": _mm(2 * wall.half_width), "inner_height": _mm(2 * wall.half_height)}
    return {"kind": "mesh", "triangles": len(shape.faces)}


def rim_dict(shape: HoodShape) -> dict[str, Any]:
    """The rim: [azimuth in degrees, z in mm from the seat] in 1 degree steps, or a tunnel's lips."""
    if isinstance(shape, RoundHood):
        azimuth = np.arange(360.0)
        return {"points": [[float(a), _mm(z)] for a, z in zip(azimuth, shape.rim.z_at(azimuth), strict=True)]}
    if isinstance(shape, TunnelHood):
        rim = shape.rim
        return {"lips": {name: _mm(getattr(rim, name)) for name in ("right", "top", "left", "bottom")}}
    return {}


def binding_runs(fitting: Fitting) -> list[dict[str, Any]]:
    """Neighbouring azimuths bound by the same setting, frame point and windows, joined."""
    runs: list[dict[str, Any]] = []
    for index, azimuth in enumerate(fitting.azimuth):
        words = fitting.binding(index)
        if runs and runs[-1]["by"] == words:
            runs[-1]["to"] = float(azimuth)
        else:
            runs.append({"from": float(azimuth), "to": float(azimuth), "by": words})
    return runs


def worst_dict(worst: WorstLoss | None) -> dict[str, Any] | None:
    """A worst loss, or None where nothing is lost."""
    if worst is None or worst.stops == 0:
        return None
    return {
        "stops": round(worst.stops, 4), "setting": worst.label, "where": worst.where,
        "frame_point": [_mm(worst.point[0]), _mm(worst.point[1])],
    }  # fmt: skip


def fit_report(fitting: Fitting, let_in: Sequence[tuple[str, float]]) -> dict[str, Any]:
    """What `fit --json` prints."""
    return {
        "report": "fit",
        "version": VERSION,
        "lens": fitting.job.lens.name,
        "camera": fitting.job.camera.name,
        "hood": fitting.hood.name,
        "frame": {"width": _mm(2 * fitting.job.half_width), "height": _mm(2 * fitting.job.half_height)},
        "wall": wall_dict(fitting.shape),
        "rim": {"shape": str(fitting.hood.rim.shape), **rim_dict(fitting.shape)},
        "deepest": [[float(a), _mm(z)] for a, z in zip(fitting.azimuth, fitting.deepest, strict=True)],
        "binding": binding_runs(fitting),
        "plain_depth": _mm(fitting.plain_depth),
        "allowance": fitting.hood.wishes.allowance,
        "worst_loss": worst_dict(fitting.worst),
        "let_in": [{"setting": label, "share": round(share, 5)} for label, share in let_in],
        "settings": len(fitting.settings),
        "warnings": list(fitting.warnings),
        "estimates": [
            {
                "field": effect.estimate.field, "used": _mm(effect.estimate.used), "low": _mm(effect.estimate.low),
                "high": _mm(effect.estimate.high), "unit": effect.estimate.unit, "reason": effect.estimate.reason,
                "deeper_at_shallowest": _mm(effect.deeper_at_shallowest), "deeper_anywhere": _mm(effect.deeper_anywhere),
            }
            for effect in fitting.effects
        ],
    }  # fmt: skip


def check_report(verdict: Verdict, *, lens: str, camera: str, hood: str) -> dict[str, Any]:
    """What `check --json` prints."""
    return {
        "report": "check",
        "version": VERSION,
        "lens": lens,
        "camera": camera,
        "hood": hood,
        "clear": not verdict.shows,
        "passes": verdict.passes,
        "allowance": verdict.allowance,
        "worst_loss": worst_dict(verdict.worst),
        "settings": [
            {"setting": s.label, "shows": s.shows, "stops": round(s.worst.stops, 4), "where": s.worst.where or None}
            for s in verdict.settings
        ],
        "clear_ranges": [
            {"quantity": r.quantity, "unit": r.unit, "low": r.low and _finite(r.low), "high": r.high and _finite(r.high),
             "whole": r.whole}
            for r in verdict.ranges
        ],
        "deeper_by": _finite(verdict.deeper),
        "turn_by": verdict.turn,
        "tightest": verdict.tightest,
        "accessories": list(verdict.accessories),
        "warnings": list(verdict.warnings),
        "estimates": [],
    }  # fmt: skip


def stray_dict(light: StrayLight) -> dict[str, Any]:
    """Light from outside the frame in one surrounding."""
    return {
        "surroundings": light.surroundings, "setting": light.setting,
        "direct": round(light.direct, 5), "direct_error": round(light.direct_error, 5),
        "wall": None if light.wall is None else round(light.wall, 5),
        "wall_error": None if light.wall_error is None else round(light.wall_error, 5),
        "share": round(light.share, 5), "share_error": round(light.error, 5),
        "drop": _finite(light.stops), "drop_error": _mm(light.stops_error),
        "outside_over_frame": None if light.over_frame is None else float(f"{light.over_frame:.4g}"),
        "notes": list(light.notes),
    }  # fmt: skip


def finish_dict(trial: FinishTrial) -> dict[str, Any]:
    """One finish tried on a hood."""
    return {
        "finish": trial.finish, "reflectance_low": trial.low, "reflectance_high": trial.high,
        "wall": round(trial.wall, 5), "surroundings": [stray_dict(light) for light in trial.light],
    }  # fmt: skip


def _candidate(entry: Candidate) -> dict[str, Any]:
    return {
        "hood": entry.name,
        "let_in": round(entry.let_in, 5),
        "wall": round(entry.wall, 5) if entry.wall else None,
        "surroundings": [stray_dict(light) for light in entry.stray],
        "gain_over_none": _finite(gain_stops(entry.let_in, 1.0)),
        "settings": [
            {
                "setting": light.label, "let_in": round(light.hood, 5), "gain": _finite(light.gain),
                "bound_at_depth": round(light.bound_depth, 5), "bound_on_wall": round(light.bound_wall, 5),
                "efficiency_at_depth": round(light.efficiency_depth, 4),
                "efficiency_on_wall": round(light.efficiency_wall, 4),
            }
            for light in entry.light
        ],
        "depth": _mm(entry.depth),
        "shallowest": _mm(entry.shallowest),
        "across": _mm(entry.across),
        "reversed_length": _mm(entry.reversed_length),
        "reaches_filter": entry.reaches_filter,
        "stands": entry.stands,
        "lobe_stress": round(entry.lobe_stress, 2),
        "lobe_bend": round(entry.lobe_bend, 3),
    }  # fmt: skip


def estimates_of(work: Job) -> list[dict[str, Any]]:
    """What was estimated and not measured."""
    return [{"field": e.field, "low": e.low, "high": e.high, "unit": e.unit, "reason": e.reason} for e in work.estimates]


def weigh_report(weighing: Weighing, *, lens: str, camera: str) -> dict[str, Any]:
    """What `weigh --json` prints."""
    # The light engine loads only where there is light to report.
    from shadewright.light.surroundings import LIMITS

    return {
        "report": "weigh",
        "version": VERSION,
        "lens": lens,
        "camera": camera,
        "candidates": [_candidate(entry) for entry in weighing.candidates],
        "choice": weighing.choice,
        "reasons": list(weighing.reasons),
        "left_out": list(weighing.left_out),
        "finish": weighing.finish or None,
        "finishes": [finish_dict(trial) for trial in weighing.trials],
        "limits": list(LIMITS) if any(entry.stray for entry in weighing.candidates) else [],
    }


def traded_dict(index: int, traded: Traded, task: Task) -> dict[str, Any]:
    """One hood of a trade-off front."""
    from shadewright.design.tradeoff import describe

    outcome = traded.outcome
    return {
        "number": index, "design": describe(traded.design, traded.outcome), "wall": traded.design.as_json()["wall"],
        "rim": str(traded.design.rim), "sizes": list(traded.design.sizes), "largest_length": _mm(traded.design.length),
        "direct": round(outcome.direct, 5),
        "wall_light": [
            {"finish": finish.name, "wall": round(value, 5)}
            for finish, value in zip(task.finishes, outcome.walls, strict=True)
        ],
        "light": round(outcome.light, 5), "depth": _mm(outcome.depth), "shallowest": _mm(outcome.shallowest),
        "across": _mm(outcome.across), "mass": round(outcome.mass, 2), "stored": _mm(outcome.stored),
        "volume": round(outcome.volume, 2),
    }  # fmt: skip


def tradeoff_report(front: Front, task: Task) -> dict[str, Any]:
    """What `tradeoff --json` prints."""
    limits = {name: _finite(getattr(task.limits, name)) for name in ("across", "length", "mass", "stored")}
    return {
        "report": "tradeoff",
        "version": VERSION,
        "lens": task.lens.name,
        "camera": task.camera.name,
        "surroundings": task.surroundings.name,
        "against": str(front.size),
        "limits": limits,
        "finishes": [finish.name for finish in task.finishes],
        "looked_at": front.looked_at,
        "within_limits": len(front.tried),
        "best": [traded_dict(index, traded, task) for index, traded in enumerate(front.best, start=1)],
        "dropped": list(front.dropped),
    }
