"""The live views as plain values: sensor, rim, section, sky and solid of a design at one setting. z ahead of the seat, mm."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.check import TOUCH
from shadewright.clearance.loss import Occluder, SensorView, stops, window_vignetting, worst_of_beam
from shadewright.clearance.occlusion import CHORDS
from shadewright.errors import ShadewrightError
from shadewright.light.share import LightMap, light_map
from shadewright.make.rings import ring_outline, rings_of
from shadewright.model.hood import Margin
from shadewright.model.shape import HoodShape, MeshHood, RoundHood, TunnelHood
from shadewright.optics.beam import Beam
from shadewright.optics.settings import Setting
from shadewright.show.rays import edge_rays, mesh_cut, wall_cut
from shadewright.show.section import corner_azimuth
from shadewright.show.sensor import first_exceeding
from shadewright.web.desk import NO_MARGIN, NODES, Desk, Limits, Scene
from shadewright.web.wire import Hints

Array = NDArray[np.float64]

EVERY = 4
"""Of the NODES places round a rim, every so many is sent: 2 degrees apart."""
COARSE = 4
"""The sensor's view is looked at in every so many columns and rows first, and between them only where something is lost."""
QUICK_COLUMNS = 50
"""Up to so many columns the rim is followed in whole degrees, which changes a loss by less than 0.002 stop."""
QUICK_CHORDS = 96
"""Chords across a beam then; right to 0.0001 stop."""
QUICK_CELLS = 45
"""Likewise of the sky, in steps of two degrees."""
MESH_COLUMNS, MESH_CELLS = 25, 25
"""Finest views of a hood known only as a mesh."""
MOST_FACES = 30_000
"""Triangles of a mesh that are sent to be drawn."""
LIPS = ("right", "top", "left", "bottom")


def numbers(values: Array, digits: int) -> list[float | None]:
    """Values rounded, flat; what is not a finite number becomes None."""
    flat = np.round(np.asarray(values, dtype=float).ravel(), digits) + 0.0
    if np.all(np.isfinite(flat)):
        return flat.tolist()
    return [value if math.isfinite(value) else None for value in flat.tolist()]


def pairs(values: Array, digits: int = 3) -> list[list[float]]:
    """Points (n, 2) rounded."""
    return (np.round(np.asarray(values, dtype=float), digits) + 0.0).tolist()


def sensor(desk: Desk, scene: Scene, beam: Beam, hints: Hints, *, clear: bool) -> dict[str, Any]:
    """The loss over the frame. clear: nothing of the hood stands in this beam, so that nothing is lost."""
    columns, rows = hints.columns, hints.rows
    if isinstance(scene.shape, MeshHood):
        columns, rows = min(columns, MESH_COLUMNS), min(rows, MESH_COLUMNS)
    points = beam.frame.grid(columns, rows)
    half = np.nanmax(np.abs(points.reshape(-1, 2)), axis=0)
    inside = np.all(np.isfinite(points), axis=-1)
    own = desk.maps.get(("own", scene.key, beam.label, beam.centre, columns, rows), lambda: _own(beam, points, inside))
    worst = 0.0
    if clear:
        loss = np.where(inside, np.where(np.isfinite(own), 0.0, np.nan), np.nan)
    else:
        quick = columns <= QUICK_COLUMNS
        occluder = Occluder(scene.shape, step=1.0 if quick else 0.5)
        loss = _looked_at(beam, occluder, points, inside, chords=QUICK_CHORDS if quick else CHORDS)
        worst = worst_of_beam(beam, occluder).stops
    view = SensorView(beam.label, points, loss, own)
    allowance = scene.hood.wishes.allowance
    first = None if clear else first_exceeding(view, allowance)
    return {
        "columns": columns, "rows": rows, "width": round(2 * float(half[0]), 4), "height": round(2 * float(half[1]), 4),
        "loss": numbers(loss, 4), "own": numbers(own, 3), "worst": round(worst, 4),
        "first": None if first is None else [round(first[0], 3), round(first[1], 3)], "allowance": allowance,
    }  # fmt: skip


def _places(count: int) -> NDArray[np.int64]:
    """Every COARSE-th index, the last included."""
    return np.unique(np.append(np.arange(0, count, COARSE), count - 1))


def _own(beam: Beam, points: Array, inside: NDArray[np.bool_]) -> Array:
    """The lens's own loss (rows, columns): worked out at every second or fourth place and joined by straight lines between."""
    rows, columns = inside.shape
    every = 4 if columns <= QUICK_COLUMNS else 2
    down, across = np.unique(np.append(np.arange(0, rows, every), rows - 1)), np.unique(np.append(np.arange(0, columns, every), columns - 1))
    if inside.all():
        slopes = beam.frame.slopes(points[np.ix_(down, across)].reshape(-1, 2))
        known = window_vignetting(beam, slopes).reshape(len(down), len(across))
        if np.all(np.isfinite(known)):
            return _between(rows, down) @ known @ _between(columns, across).T
    own = np.full(inside.shape, np.nan)
    own[inside] = window_vignetting(beam, beam.frame.slopes(points[inside]))
    return own


def _between(count: int, places: NDArray[np.int64]) -> Array:
    """Weights (count, places) that join values at some places by straight lines."""
    return np.stack([np.interp(np.arange(count), places, row) for row in np.eye(len(places))], axis=1)


def _looked_at(beam: Beam, occluder: Occluder, points: Array, inside: NDArray[np.bool_], *, chords: int) -> Array:
    """The hood's loss (rows, columns): 0 between coarse places without any, worked out everywhere else."""
    rows, columns = inside.shape
    loss = np.full(inside.shape, np.nan)
    wanted = np.zeros(inside.shape, bool)
    down, across = _places(rows), _places(columns)
    wanted[np.ix_(down, across)] = True
    # The outline is looked at closely: a loss begins there.
    wanted[[0, -1], ::2], wanted[::2, [0, -1]] = True, True
    wanted &= inside
    loss[wanted] = stops(occluder.hidden(beam, beam.frame.slopes(points[wanted]), chords=chords))
    some = wanted & ~(loss <= 1e-9)
    near = _grown(some, COARSE) & inside & ~wanted
    loss[inside & ~near & ~wanted] = 0.0
    if near.any():
        loss[near] = stops(occluder.hidden(beam, beam.frame.slopes(points[near]), chords=chords))
    return loss


def _grown(mask: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    """A mask grown by so many places to every side."""
    grown = np.asarray(mask)
    for axis in (0, 1):
        padded = np.pad(grown, [(by, by) if a == axis else (0, 0) for a in (0, 1)])
        grown = np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * by + 1, axis=axis).any(axis=-1))
    return grown


def rim(scene: Scene, limits: Limits | None, here: Array | None) -> dict[str, Any] | None:
    """The unrolled rim: as made, as deep as it may be, what binds it, and where it shows."""
    if not isinstance(scene.shape, RoundHood) or limits is None:
        return None
    azimuth = np.arange(NODES) * 360.0 / NODES
    made = scene.shape.rim.z_at(azimuth)
    names: list[str] = []
    binding = []
    for state in limits.state[::EVERY]:
        label = "" if state < 0 else limits.labels[state]
        if label and label not in names:
            names.append(label)
        binding.append(names.index(label) if label else -1)
    return {
        "azimuth": azimuth[::EVERY].tolist(), "made": numbers(made[::EVERY], 3), "deepest": numbers(limits.deepest[::EVERY], 3),
        "limit": numbers(limits.limit[::EVERY], 3), "here": None if here is None else numbers(here[:: EVERY // 2], 3),
        "binding": binding, "labels": names, "plain": round(float(np.min(limits.deepest)), 3),
        "cap": scene.hood.wishes.largest_length, "shows": _runs(azimuth, made - limits.limit, limits),
    }  # fmt: skip


def _runs(azimuth: Array, over: Array, limits: Limits) -> list[dict[str, Any]]:
    """Stretches of the rim that show: from, to, by how much at worst, and when."""
    showing = over > TOUCH
    if not showing.any():
        return []
    starts = np.flatnonzero(showing & ~np.roll(showing, 1))
    if len(starts) == 0:
        starts = np.array([0])
    runs = []
    for start in starts:
        length = 1
        while length < NODES and showing[(start + length) % NODES]:
            length += 1
        places = (start + np.arange(length)) % NODES
        worst = int(places[int(np.argmax(over[places]))])
        state = int(limits.limit_state[worst])
        when = limits.labels[state] if state >= 0 else ""
        runs.append(
            {"from": float(azimuth[start]), "to": float(azimuth[places[-1]]), "by": round(float(over[worst]), 3), "when": when}
        )
    return runs


def tunnel_lips(scene: Scene, desk: Desk) -> dict[str, Any] | None:
    """A tunnel's four lips against the deepest and against what shows."""
    shape = scene.shape
    if not isinstance(shape, TunnelHood):
        return None
    cap = scene.hood.wishes.largest_length
    def work_out(margin: Margin, reach: float) -> tuple[dict[str, float], list[str]]:
        keepout = desk.keepout(scene.job, scene.key, margin)
        lips, found = keepout.tunnel(shape.wall, cap=reach)
        labels = [keepout.beams[int(e.state[0])].label if e.state[0] >= 0 else "" for e in found]
        return {name: float(getattr(lips, name)) for name in LIPS}, labels

    key = (scene.key, shape.wall, scene.hood.margin, cap)
    deepest, bound = desk.limits_kept.get(("lips", key), lambda: work_out(scene.hood.margin, cap))
    reach = 50.0 * math.ceil((max(shape.rim.deepest, cap) + 20.0) / 50.0)
    limit, when = desk.limits_kept.get(("lip limits", key, reach), lambda: work_out(NO_MARGIN, reach))
    made = {name: float(getattr(shape.rim, name)) for name in LIPS}
    shows = [
        {"lip": name, "by": round(made[name] - limit[name], 3), "when": when[k]}
        for k, name in enumerate(LIPS)
        if made[name] - limit[name] > TOUCH
    ]
    return {
        "lips": _rounded(made), "deepest_lips": _rounded(deepest), "limit_lips": _rounded(limit),
        "bound_by": dict(zip(LIPS, bound, strict=True)), "cap": cap, "shows": shows,
    }  # fmt: skip


def _rounded(values: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 3) for name, value in values.items()}


def section(desk: Desk, scene: Scene, beam: Beam, hints: Hints) -> dict[str, Any]:
    """Two planes through the axis: the hood, the lens's windows and the extreme rays."""
    planes = [hints.plane, corner_azimuth(beam)]
    extent = _extent(desk, scene, planes)
    return {"planes": [_plane(scene, beam, plane, extent) for plane in planes], "extent": [round(v, 2) for v in extent]}


def _extent(desk: Desk, scene: Scene, planes: list[float]) -> tuple[float, float, float]:
    """Least z, greatest z and greatest distance from the axis, over the listed settings, in whole tens where they grow."""
    shape = scene.shape
    if isinstance(shape, MeshHood):
        deep, away = float(np.max(shape.vertices[:, 2])), float(np.max(np.hypot(*shape.vertices[:, :2].T)))
    else:
        ways = [plane + turn for plane in planes for turn in (0.0, 180.0)]
        cuts = [wall_cut(shape, way) for way in ways]
        deep, away = shape.rim.deepest, max(float(np.max(cut[:, 1])) for cut in cuts) + scene.hood.build.thickness
    deep = 10.0 * math.ceil(deep / 10.0)

    def work_out() -> tuple[float, float, float]:
        beams = [scene.job.beam(setting) for setting in scene.job.resolved.settings[:24]]
        back = min(min(beam.reach - max(beam.centre[0], 0.0) for beam in beams), 0.0)
        ahead = max(deep, max(beam.reach for beam in beams))
        length = ahead - back
        back, ahead = back - 0.12 * length, ahead + 0.18 * length
        reached = max(abs(float(edge_rays(b, plane).outer.u_at(ahead))) for b in beams for plane in planes)
        return back, ahead, max(away, min(1.05 * reached, 1.6 * away), scene.lens.front.rim_diameter / 2) * 1.05

    return desk.extents.get((scene.key, deep, round(away, 1), tuple(round(p, 1) for p in planes)), work_out)


def _plane(scene: Scene, beam: Beam, plane: float, extent: tuple[float, float, float]) -> dict[str, Any]:
    shape, thickness = scene.shape, scene.hood.build.thickness
    found: dict[str, Any] = {"azimuth": round(plane, 2), "name": plane_name(plane, beam), "walls": [], "rings": [], "rays": [], "gaps": []}
    if isinstance(shape, MeshHood):
        found["cuts"] = [pairs(piece, 2) for piece in mesh_cut(shape, plane)]
    for side, turn in ((1.0, 0.0), (-1.0, 180.0)):
        rays = edge_rays(beam, plane + turn)
        pupil = beam.reach - beam.centre[0]
        z = np.array([min(pupil, beam.reach), extent[1]])
        for kind, ray in (("outer", rays.outer), ("inner", rays.inner), ("chief", rays.chief)):
            if kind == "chief" or rays.passes:
                points = np.stack([z, side * ray.u_at(z)], axis=1)
                found["rays"].append({"kind": kind, "side": int(side), "points": pairs(points)})
        if isinstance(shape, MeshHood):
            continue
        inside = wall_cut(shape, plane + turn)
        ring = np.concatenate([inside, inside[::-1] + np.array([0.0, thickness])]) * np.array([1.0, side])
        found["walls"].append(pairs(ring))
        found["rings"] += [pairs(outline * np.array([1.0, side])) for outline in _rings(scene, plane + turn)]
        end = inside[-1]
        gap = float(end[1] - rays.outer.u_at(float(end[0])))
        found["gaps"].append({"z": round(float(end[0]), 3), "u": round(side * float(end[1]), 3), "gap": round(gap, 3)})
    return {**found, **_front(scene, beam, plane)}


def _rings(scene: Scene, azimuth: float) -> list[Array]:
    """The vanes and ridges that stand at an azimuth, cut: outlines of [z, distance from the axis]."""
    shape, hood = scene.shape, scene.hood
    if not isinstance(shape, RoundHood) or not (hood.vane or hood.ridges):
        return []
    try:
        standing = rings_of(hood, shape)
        end = float(shape.rim.z_at(azimuth))
        return [np.array(ring_outline(r, shape.wall, into=0.0))[:, ::-1] for r in standing if r.z <= end + 1e-6]
    except ShadewrightError:
        return []  # a ring that cannot stand there is named by making and by the check


def _front(scene: Scene, beam: Beam, plane: float) -> dict[str, Any]:
    """The lens's openings as they stand in for it in drawings, and its front rim."""
    along = np.array([math.cos(math.radians(plane)), math.sin(math.radians(plane))])
    windows, opening = [], beam.front_radius
    for index, (depth, radius, x, y) in enumerate(beam.setting.windows):
        if index > 1 and depth == 0:
            opening = max(opening, radius)
            continue
        middle = float(np.array([x, y]) @ along)
        kind = "pupil" if index == 0 else "front" if index == 1 else "other"
        windows.append(
            {"kind": kind, "z": round(beam.reach - depth, 3), "low": round(middle - radius, 3), "high": round(middle + radius, 3)}
        )
    outer = max(scene.lens.front.rim_diameter / 2, opening + 0.5)
    return {"windows": windows, "rim": {"z": round(beam.reach, 3), "inner": round(opening, 3), "outer": round(outer, 3)}}


def plane_name(azimuth: float, beam: Beam) -> str:
    """A plane through the axis in words."""
    turned = azimuth % 180.0
    if min(turned, 180.0 - turned) < 1e-6:
        return "Cut level, from left to right"
    if abs(turned - 90.0) < 1e-6:
        return "Cut upright, from bottom to top"
    if abs(turned - corner_azimuth(beam)) < 0.5:
        return f"Cut through two corners ({turned:.0f}° from level)"
    return f"Cut {turned:.0f}° from level"


def sky(desk: Desk, scene: Scene, beam: Beam, hints: Hints) -> dict[str, Any]:
    """The lit share of the front glass over the sky, and the share let in."""
    found = lit_map(desk, scene, beam, hints.cells)
    outlines = [_directions(beam, outline) for outline in beam.frame.outlines()]
    return {
        "cells": len(found.lit), "lit": numbers(found.lit, 3), "let_in": round(found.let_in, 5),
        "frame": pairs(outlines[0], 4), "frames": [pairs(outline, 4) for outline in outlines],
    }  # fmt: skip


def lit_map(desk: Desk, scene: Scene, beam: Beam, cells: int) -> LightMap:
    """The map of lit share, kept: it changes with the hood, the frame and how far the front has moved."""
    if isinstance(scene.shape, MeshHood):
        cells = min(cells, MESH_CELLS)
    seen = (beam.reach, beam.frame, cells, beam.front_radius)
    if cells > QUICK_CELLS or isinstance(scene.shape, MeshHood):
        return desk.maps.get((scene.shape_key, "sky", *seen), lambda: light_map(beam, scene.shape, cells=cells))
    bare = desk.maps.get(("no hood", *seen), lambda: light_map(beam, None, cells=cells))
    return desk.maps.get((scene.shape_key, "sky", *seen), lambda: _quick_map(bare, beam, Occluder(scene.shape, step=2.0)))


def _quick_map(bare: LightMap, beam: Beam, occluder: Occluder) -> LightMap:
    """The map with the rim followed in steps of two degrees, while a slider moves; right to a few thousandths."""
    seen = np.isfinite(bare.lit)
    up = 1.0 - np.sum(bare.cosines[seen] ** 2, axis=-1)
    slopes = bare.cosines[seen] / np.sqrt(np.maximum(up, 1e-4))[:, None]
    lit = np.full(bare.lit.shape, np.nan)
    lit[seen] = 1.0 - np.nan_to_num(occluder.hidden_glass(beam.front_radius, beam.reach, slopes, chords=48), nan=1.0)
    return replace(bare, lit=lit)


def _outline_slopes(beam: Beam, outline: Array) -> Array:
    """A frame's outline as slopes, closed, its sides followed in pieces since most projections curve them."""
    share = np.arange(12)[:, None] / 12
    points = np.concatenate([a + (b - a) * share for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)])
    return beam.frame.slopes(np.concatenate([points, points[:1]]))


def _directions(beam: Beam, outline: Array) -> Array:
    slopes = _outline_slopes(beam, outline)
    return np.asarray(slopes / np.sqrt(1.0 + np.sum(slopes**2, axis=1))[:, None])


def solid(scene: Scene, beam: Beam) -> dict[str, Any]:
    """The hood and the lens's front as few numbers, for a drawing in space."""
    shape, build = scene.shape, scene.hood.build
    grip = build.seat_diameter or scene.lens.seat.diameter or scene.lens.front.rim_diameter
    found: dict[str, Any] = {
        "thickness": build.thickness,
        "front": {
            "z": round(beam.reach, 3), "radius": round(beam.front_radius, 3), "rim_radius": scene.lens.front.rim_diameter / 2,
        },
        "pupil": {"z": round(beam.reach - beam.centre[0], 3), "radius": round(beam.setting.pupil_radius, 3)},
        "seat": {"radius": grip / 2, "length": build.seat_length},
        "frame_slopes": pairs(_outline_slopes(beam, beam.frame.outlines()[0]), 5),
    }  # fmt: skip
    return {**_body(shape), **found}


def _body(shape: HoodShape) -> dict[str, Any]:
    if isinstance(shape, TunnelHood):
        lips = {name: round(float(getattr(shape.rim, name)), 3) for name in LIPS}
        return {"kind": "tunnel", "half_width": shape.wall.half_width, "half_height": shape.wall.half_height, "lips": lips}
    if isinstance(shape, MeshHood):
        few = len(shape.faces) <= MOST_FACES
        return {
            "kind": "mesh", "triangles": len(shape.faces),
            "vertices": numbers(shape.vertices, 2) if few else None, "faces": shape.faces.ravel().tolist() if few else None,
        }  # fmt: skip
    azimuth = np.arange(0.0, 360.0, 2.0)
    z = shape.rim.z_at(azimuth)
    ends = [0.0, *(v for v in shape.wall.z if 0.0 < v < shape.rim.deepest), shape.rim.deepest]
    profile: list[tuple[float, float]] = []
    for level in ends:
        for radius in dict.fromkeys([float(shape.wall.radius_at(level)), float(shape.wall.radius_at(level + 1e-9))]):
            if not profile or abs(profile[-1][1] - radius) > 1e-6 or profile[-1][0] != level:
                profile.append((level, radius))
    return {
        "kind": "round", "profile": pairs(np.array(profile)), "rim": pairs(np.stack([azimuth, z], axis=1)),
    }  # fmt: skip


def stopped(setting: Setting, f_number: float | None) -> Setting:
    """A setting at an f-number, held within the lens's range."""
    if f_number is None or f_number <= setting.f_number:
        return setting
    return setting.stopped_down(min(f_number, setting.smallest_f_number))
