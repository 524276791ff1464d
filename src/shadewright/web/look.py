"""One look at a design at one setting: the parts asked for, from what is kept ready."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.check import TOUCH
from shadewright.clearance.loss import Occluder, apertures, coarse_worst, worst_of_beam
from shadewright.model.shape import HoodShape, MeshHood, RoundHood, TunnelHood
from shadewright.optics.beam import Beam, Job
from shadewright.optics.settings import Setting
from shadewright.optics.settings import at as setting_between
from shadewright.web import views
from shadewright.web.desk import NODES, Desk, Limits, Scene
from shadewright.web.wire import At, Look, Part

Array = NDArray[np.float64]

MOST_JUDGED = 60
"""Beams that a live verdict under an allowance is taken from."""


def look(desk: Desk, asked: Look) -> dict[str, Any]:
    """The parts of a look. Raises DocumentError, OpticsError, FitError, FileError."""
    scene = desk.scene(asked.design, asked.alter)
    setting = views.stopped(setting_at(scene.job, asked.at), asked.at.f_number)
    beams = [scene.job.beam(variant) for variant in scene.job.variants(setting)]
    beam, here = desk.telling(scene, beams)
    shape = scene.shape
    limits = None
    if isinstance(shape, RoundHood):
        limits = desk.limits(scene.job, scene.hood, shape.wall, scene.key, shape.rim.deepest)
    clear = _clear_here(scene, beam, here)
    answer: dict[str, Any] = {
        "provisional": scene.provisional,
        "setting": _setting(scene.job, setting),
        "frame": {"width": round(2 * scene.job.half_width, 4), "height": round(2 * scene.job.half_height, 4)},
    }
    want = set(asked.want)
    if want & {Part.SENSOR, Part.NUMBERS}:
        sensor = views.sensor(desk, scene, beam, asked.hints, clear=clear)
        if Part.SENSOR in want:
            answer["sensor"] = sensor
    lips = views.tunnel_lips(scene, desk) if want & {Part.RIM, Part.NUMBERS} else None
    if Part.RIM in want:
        answer["rim"] = lips if lips is not None else views.rim(scene, limits, here)
    if Part.SECTION in want:
        answer["section"] = views.section(desk, scene, beam, asked.hints)
    if Part.SKY in want:
        answer["sky"] = views.sky(desk, scene, beam, asked.hints)
    if Part.SOLID in want:
        answer["solid"] = views.solid(scene, beam)
    if Part.NUMBERS in want:
        let_in = answer["sky"]["let_in"] if "sky" in answer else None
        answer["numbers"] = _numbers(desk, scene, limits, lips, sensor["worst"], clear=clear, let_in=let_in)
    return answer


def setting_at(work: Job, at: At) -> Setting:
    """The setting at a place among the listed ones; the nearest listed one where they form no grid."""
    if work.resolved.lattice is None:
        listed = work.resolved.settings
        return listed[int(np.clip(round(at.zoom), 0, len(listed) - 1))]
    zooms, focuses = work.resolved.lattice
    zoom, focus = float(np.clip(at.zoom, 0, zooms - 1)), float(np.clip(at.focus, 0, focuses - 1))
    if zoom == int(zoom) and focus == int(focus):
        return work.resolved.settings[int(focus) * zooms + int(zoom)]
    return setting_between(work.resolved, zoom, focus)


def _setting(work: Job, setting: Setting) -> dict[str, Any]:
    listed = work.resolved.settings
    zooms, focuses = work.resolved.lattice or (len(listed), 1)
    widest = min(s.f_number for s in listed) if work.resolved.lattice is None else setting.f_number
    return {
        "label": setting.label, "focal_length": round(setting.focal_length, 3), "f_number": round(setting.f_number, 3),
        "focus_distance": _distance(setting.focus_distance), "zooms": zooms, "focuses": focuses,
        "focal_lengths": [round(s.focal_length, 3) for s in listed[:zooms]],
        "focus_distances": [_distance(s.focus_distance) for s in listed[::zooms]],
        "widest": round(widest, 3), "smallest": round(setting.smallest_f_number, 3),
        "reach": round(setting.reach, 3), "pupil_depth": round(setting.pupil_depth, 3),
    }  # fmt: skip


def _distance(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None


def _clear_here(scene: Scene, beam: Beam, here: Array | None) -> bool:
    """Whether nothing of the hood stands in this setting's beam."""
    shape = scene.shape
    if isinstance(shape, RoundHood):
        assert here is not None
        azimuth = np.arange(0.0, 360.0, 720.0 / NODES)
        return bool(np.min(here - shape.rim.z_at(azimuth)) >= -TOUCH)
    if isinstance(shape, MeshHood):
        return False
    return coarse_worst(beam, Occluder(shape))[0] <= 0.0


def _numbers(
    desk: Desk, scene: Scene, limits: Limits | None, lips: dict[str, Any] | None, worst_here: float, *, clear: bool,
    let_in: float | None,
) -> dict[str, Any]:  # fmt: skip
    """The verdict over all settings and the sizes."""
    shape, allowance = scene.shape, scene.hood.wishes.allowance
    spare, when = _spare(scene, limits, lips)
    if spare is None:
        verdict = "shows" if worst_here > 1e-6 else "unknown"
        spare_said = None
    else:
        verdict, spare_said = ("clear" if spare >= -TOUCH else "shows"), round(spare, 3)
    worst_listed = worst_here
    if verdict == "shows" and allowance > 0:
        worst_listed = max(worst_here, _worst_listed(desk, scene))
        if worst_listed <= allowance + 0.01:
            verdict = "within"
    return {
        "verdict": verdict, "sentence": _sentence(scene, verdict, spare, when, worst_listed),
        "here": "clear" if clear or worst_here <= 1e-6 else "shows", "worst_here": round(worst_here, 4),
        "spare": spare_said, "allowance": allowance, "let_in": let_in, **_sizes(shape, scene.hood.build.thickness),
    }  # fmt: skip


def _spare(scene: Scene, limits: Limits | None, lips: dict[str, Any] | None) -> tuple[float | None, str]:
    """How much deeper (mm) the whole rim could be before it shows, and when it would; None of a mesh."""
    if lips is not None:
        gaps = {name: lips["limit_lips"][name] - lips["lips"][name] for name in views.LIPS}
        tightest = min(gaps, key=lambda name: gaps[name])
        return gaps[tightest], lips["bound_by"][tightest]
    if limits is None or not isinstance(scene.shape, RoundHood):
        return None, ""
    gap = limits.limit - scene.shape.rim.z_at(np.arange(NODES) * 360.0 / NODES)
    k = int(np.argmin(gap))
    state = int(limits.limit_state[k])
    return float(gap[k]), limits.labels[state] if state >= 0 else ""


def _worst_listed(desk: Desk, scene: Scene) -> float:
    """The worst loss over the listed settings at their widest and smallest aperture, kept."""

    def work_out() -> float:
        rough = Occluder(scene.shape, step=2.0)
        beams = []
        for setting in scene.job.resolved.settings:
            ends = apertures(setting)
            for chosen in (ends[0], ends[-1]):
                cases = scene.job.variants(chosen)
                beams += [scene.job.beam(case) for case in (cases[0], cases[-1])]
        beams = beams[:MOST_JUDGED]
        found = np.array([coarse_worst(beam, rough)[0] for beam in beams])
        close = Occluder(scene.shape, step=1.0)
        return max(worst_of_beam(beams[k], close).stops for k in np.argsort(-found, kind="stable")[:2])

    return desk.extents.get((scene.shape_key, "worst"), work_out)


def _sizes(shape: HoodShape, thickness: float) -> dict[str, Any]:
    if isinstance(shape, MeshHood):
        low, high = shape.vertices.min(axis=0), shape.vertices.max(axis=0)
        across = float(max(high[0] - low[0], high[1] - low[1]))
        return {"depth": round(float(high[2]), 3), "shallowest": None, "across": round(across, 2), "inside_diameter": None}
    if isinstance(shape, TunnelHood):
        wide = 2 * max(shape.wall.half_width, shape.wall.half_height)
        inside = 2 * min(shape.wall.half_width, shape.wall.half_height)
    else:
        wide = 2 * float(np.max(shape.wall.radius_at(np.array([1e-9, shape.rim.deepest]))))
        inside = 2 * float(shape.wall.radius_at(1e-9))
    return {
        "depth": round(shape.rim.deepest, 3), "shallowest": round(shape.rim.shallowest, 3),
        "across": round(wide + 2 * thickness, 3), "inside_diameter": round(inside, 3),
    }  # fmt: skip


def _sentence(scene: Scene, verdict: str, spare: float | None, when: str, worst: float) -> str:
    """The verdict in one plain sentence."""
    at = f" at {when}" if when else ""
    if verdict == "unknown":
        return "Nothing shows at this setting; run the check to judge this mesh at all of them."
    if verdict == "clear":
        assert spare is not None
        if spare < 0.005:
            return f"Nothing shows at any setting; the rim just touches the limit{at}."
        return f"Nothing shows at any setting; the rim has {spare:.2f} mm to spare{at}."
    if verdict == "within":
        return (
            f"The hood takes up to {worst:.2f} stop at the listed settings, within the {scene.hood.wishes.allowance:g} stop "
            "you allow."
        )
    if spare is None:
        return f"The hood shows at this setting, by up to {worst:.2f} stop."
    return f"The hood shows: its rim is {-spare:.2f} mm too deep{at}."
