"""The pictures of the main job, drawn from a job and a hood and written side by side as SVG and PNG."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shadewright.clearance.check import NO_MARGIN, STEPS, Verdict, clearance_of
from shadewright.clearance.keepout import Entries, KeepOut, keep_out
from shadewright.clearance.loss import sensor_view
from shadewright.design.fit import Fitting
from shadewright.design.weigh import Weighing, sky_maps
from shadewright.light.share import light_map
from shadewright.model.camera import Camera
from shadewright.model.hood import Hood
from shadewright.model.lens import Lens
from shadewright.model.shape import HoodShape, MeshHood, Rim, RoundHood, TunnelHood
from shadewright.optics.beam import Beam, Job
from shadewright.optics.beam import job as join
from shadewright.optics.settings import Setting
from shadewright.show.compare import compare_figure
from shadewright.show.opening import opening_figure
from shadewright.show.page import save
from shadewright.show.rim import rim_figure
from shadewright.show.section import section_figure
from shadewright.show.sensor import sensor_figure
from shadewright.show.sky import sky_figure
from shadewright.show.solid_view import solid_figure

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]

SKY_CELLS, MESH_CELLS = 161, 41
"""Cells across a sky map drawn of a hood, and of one known only as a mesh."""
MOST_VIEWS = 3
"""Settings shown of a checked hood."""
TOO_DEEP = 8.0
"""How much deeper the hood of the picture "before" is, mm: what a rim a little too deep would cost."""


def rim_picture(fitting: Fitting, path: Path) -> list[Path]:
    """The unrolled rim of a fitting; nothing for a tunnel, whose lips are straight."""
    if not isinstance(fitting.shape, RoundHood):
        return []
    figure = _rim_figure(fitting.azimuth, fitting.entries, fitting.keepout, fitting.shape, fitting.hood)
    return save(figure, path)


def _rim_figure(azimuth: Array, entries: Entries, keepout: KeepOut, shape: RoundHood, hood: Hood) -> Figure:
    """The unrolled rim against the deepest one, its binding settings joined by their words."""
    beams = keepout.beams
    source = [int(s) for s in entries.state]
    used = sorted({s for s in source if s >= 0})
    labels: list[str] = []
    place: dict[int, int] = {}
    for s in used:
        label = beams[s].label
        if label not in labels:
            labels.append(label)
        place[s] = labels.index(label)
    binding = np.array([place.get(s, -1) for s in source])
    return rim_figure(
        azimuth, entries.value, shape.rim.z_at(azimuth), binding, labels or ["none"], plain=float(entries.value.min()),
        limits=(0.0, hood.wishes.largest_length), title=f'The rim of "{hood.name}", unrolled' + _allowed(hood),
    )  # fmt: skip


def _allowed(hood: Hood) -> str:
    """What a title adds where the rim is meant to stand above the deepest clear one."""
    allowance = hood.wishes.allowance
    return f"\n(an allowance of {allowance:g} stop lets it stand above the clear limit)" if allowance > 0 else ""


def telling_beams(job: Job, shape: HoodShape) -> list[Beam]:
    """The beams of the telling settings; of a setting with an uncertain pupil the one that comes nearest to the hood."""
    beams = []
    for setting in telling_settings(job):
        cases = job.variants(setting)
        if len(cases) > 1 and not isinstance(shape, MeshHood):
            known = [replace(case, pupil_depth_plus_minus=0.0) for case in cases]
            room = [clearance_of(job, [case], shape, NO_MARGIN)[0] for case in known]
            cases = [cases[int(np.argmin(room))]]
        beams.append(job.beam(cases[0]))
    return beams


def telling_settings(job: Job) -> list[Setting]:
    """The shortest and longest focal length at the farthest focus."""
    listed = job.resolved.settings
    farthest = max(s.focus_distance for s in listed)
    chosen = [s for s in listed if s.focus_distance == farthest]
    return [chosen[0]] if len(chosen) == 1 else [chosen[0], chosen[-1]]


def _deeper(shape: HoodShape) -> HoodShape:
    """The same hood, deeper by TOO_DEEP."""
    if isinstance(shape, MeshHood):
        return MeshHood(shape.vertices + np.array([0.0, 0.0, TOO_DEEP]), shape.faces)
    if isinstance(shape, TunnelHood):
        return TunnelHood(shape.wall, shape.rim.moved(TOO_DEEP))
    return RoundHood(shape.wall, shape.rim.moved(TOO_DEEP))


def sensor_picture(job: Job, shape: HoodShape, path: Path, *, allowance: float) -> list[Path]:
    """The sensor's view of a hood at the shortest and longest focal length, beside that of one a little too deep."""
    beams = telling_beams(job, shape)
    figure = sensor_figure(
        [sensor_view(beam, _deeper(shape)) for beam in beams],
        [sensor_view(beam, shape) for beam in beams],
        allowance=allowance,
        names=(f"{TOO_DEEP:g} mm deeper", "This hood"),
    )
    return save(figure, path)


def verdict_picture(job: Job, shape: HoodShape, verdict: Verdict, path: Path) -> list[Path]:
    """The sensor's view of a checked hood where it loses most, or at the listed settings where it loses nothing.

    Of a setting with an uncertain pupil the worst case is shown, as it is judged.
    """
    settings = list(job.resolved.settings)
    if verdict.shows:
        every = job.swept(STEPS)
        order = np.argsort([-entry.worst.stops for entry in verdict.settings], kind="stable")
        settings = [every[k] for k in order[:MOST_VIEWS]]
    views = []
    for setting in settings[:MOST_VIEWS]:
        cases = [sensor_view(job.beam(variant), shape) for variant in job.variants(setting)]
        views.append(max(cases, key=lambda view: float(np.nan_to_num(view.worst))))
    return save(sensor_figure([], views, allowance=verdict.allowance, names=("", "This hood")), path)


def weighing_pictures(lens: Lens, camera: Camera, wishes: Hood, weighing: Weighing, path: Path) -> list[Path]:
    """The comparison of the candidates, and their maps of lit share over the sky."""
    rows = [
        (
            entry.name,
            {
                "Light let in": (100 * entry.let_in, "%"),
                "Depth ahead of the seat": (entry.depth, "mm"),
                "Across": (entry.across, "mm"),
                # A tunnel does not turn round on to the barrel.
                **(
                    {}
                    if entry.name == "tunnel"
                    else {"Of the barrel covered when reversed": (entry.reversed_length, "mm")}
                ),
            },
        )
        for entry in weighing.candidates
    ]
    files = [] if len(rows) < 2 else save(compare_figure(rows), path.with_name(path.name + "-compared"))
    work = join(lens, camera, use=wishes.use, accessories=wishes.accessory)
    shapes: list[HoodShape | None] = [None, *(entry.shape for entry in weighing.candidates)]
    names = ["no hood", *(entry.name for entry in weighing.candidates)]
    maps = dict(zip(names, sky_maps(work, shapes), strict=True))
    beam = work.beam(telling_settings(work)[0])
    title = f"From where light reaches the front glass\nat {beam.label}"
    files += save(sky_figure(maps, frames=[beam.frame], title=title), path.with_name(path.name + "-sky-compared"))
    if weighing.finish:
        files += _wall_light_picture(beam, weighing, path.with_name(path.name + "-wall-light"))
    return files


def _wall_light_picture(beam: Beam, weighing: Weighing, path: Path) -> list[Path]:
    """Direct and wall light of the candidates by the direction of their source."""
    # The light engine loads only when its light is drawn.
    from shadewright.light.scene import scene_of
    from shadewright.light.wall_light import wall_light
    from shadewright.show.wall_light import MOST_HOODS, mesh_directions, wall_light_figure

    finish, towards = weighing.coat, mesh_directions()
    assert finish is not None
    lights = {
        entry.name: wall_light(scene_of(beam, entry.shape), finish, directions=towards, samples=4096)
        for entry in weighing.candidates[:MOST_HOODS]
    }
    title = f"Light on the front glass by the place of its source\n{finish.name} inside, at {beam.label}"
    return save(wall_light_figure(lights, frame=beam.frame, title=title), path)


def all_pictures(
    job: Job, document: Hood, shape: HoodShape, path: Path, *, progress: Progress = lambda _step, _share: None
) -> list[Path]:
    """Section, opening, sensor's view, unrolled rim and sky of a hood, named by `path` and a word each."""
    beams = telling_beams(job, shape)
    files: list[Path] = []

    def named(word: str) -> Path:
        return path.with_name(f"{path.name}-{word}")

    # The workshop's libraries load only when a whole hood is drawn.
    from shadewright.make.rings import rings_of

    progress("section", 0.1)
    figure = section_figure(
        shape, beams, azimuth=90.0, rim_radius=job.lens.front.rim_diameter / 2, thickness=document.build.thickness,
        rings=rings_of(document, shape), title=f"{document.name}: the extreme rays and the rim",
    )  # fmt: skip
    files += save(figure, named("section"))
    if beams[0].setting.traced is not None:
        files += lens_pictures(job, shape, path, name=job.lens.name, thickness=document.build.thickness)
    progress("sensor's view", 0.3)
    files += sensor_picture(job, shape, named("sensor"), allowance=document.wishes.allowance)
    if not isinstance(shape, MeshHood):
        progress("opening", 0.5)
        files += save(opening_figure(shape, beams[0]), named("opening"))
    if isinstance(shape, RoundHood):
        progress("rim", 0.6)
        files += _rim_of(job, document, shape, named("rim"))
    progress("sky", 0.8)
    cells = MESH_CELLS if isinstance(shape, MeshHood) else SKY_CELLS
    maps = {"no hood": light_map(beams[0], None, cells=cells), document.name: light_map(beams[0], shape, cells=cells)}
    if isinstance(shape, RoundHood) and shape.rim.deepest - shape.rim.shallowest > 1e-3:
        plain = RoundHood(shape.wall, Rim.plain(shape.rim.shallowest))
        maps = {"no hood": maps["no hood"], "plain": light_map(beams[0], plain, cells=cells), document.name: maps[document.name]}
    title = f"From where light reaches the front glass\nat {beams[0].label}"
    files += save(sky_figure(maps, frames=[beams[0].frame], title=title), named("sky"))
    if not isinstance(shape, MeshHood):
        progress("solid", 0.9)
        files += _solid_of(job, document, shape, named("solid"))
    progress("done", 1.0)
    return files


def lens_pictures(
    job: Job, shape: HoodShape | None, path: Path, *, name: str, thickness: float = 2.0
) -> list[Path]:
    """A traced lens cut open at its telling settings, with the hood on it, and its pupil's wander and vignetting."""
    from shadewright.design.reduction import reduce_setting
    from shadewright.show.lens_section import lens_section_figure
    from shadewright.show.wander import MOST, wander_figure

    files: list[Path] = []
    settings = telling_settings(job)
    for word, setting in zip(("lens", "lens-longest"), settings, strict=False):
        figure = lens_section_figure(
            job, setting, hood=shape, thickness=thickness, title=f"{name}, {job.beam(setting).label}"
        )
        files += save(figure, path.with_name(f"{path.name}-{word}"))
    reduced = [reduce_setting(job, setting, wandering=True) for setting in job.resolved.settings[:MOST]]
    figure = wander_figure(job, reduced, title=f"{name}: pupil and vignetting")
    return files + save(figure, path.with_name(f"{path.name}-wander"))


def _solid_of(job: Job, document: Hood, shape: RoundHood | TunnelHood, path: Path) -> list[Path]:
    """The solid as it would be made. Raises MakeError where it cannot be."""
    # The workshop's libraries load only when a solid is drawn.
    from shadewright.make.rings import rings_of
    from shadewright.make.solid import build_hood
    from shadewright.make.workshop import seat_of

    seat_diameter, thread, _notes = seat_of(job, document)
    solid = build_hood(
        shape, document.build, seat_diameter=seat_diameter, thread=thread, rings=rings_of(document, shape), name=document.name
    )
    return save(solid_figure(solid.vertices, solid.faces, title=document.name), path)


def _rim_of(job: Job, document: Hood, shape: RoundHood, path: Path) -> list[Path]:
    """The unrolled rim of any hood against the deepest one that the lens allows."""
    keepout = keep_out(job.beams(job.swept(8)), margin=document.margin)
    azimuth = np.arange(360.0)
    cap = max(document.wishes.largest_length, shape.rim.deepest)
    entries = keepout.rim(shape.wall, azimuth, cap=cap)
    return save(_rim_figure(azimuth, entries, keepout, shape, document), path)
