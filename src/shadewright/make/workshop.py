"""From a fitted hood to the files that a workshop needs, each checked before it is written and again as read back."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from shadewright.clearance.keepout import keep_out
from shadewright.clearance.loss import worst_loss
from shadewright.design.mounting import mounting_notes
from shadewright.design.vane_plan import lens_front
from shadewright.errors import FileError, MakeError, ShowsError
from shadewright.make.drawing import write_drawing
from shadewright.make.dxf import write_dxf
from shadewright.make.flat import flatten
from shadewright.make.inspect import Inspection, inspect_mesh
from shadewright.make.meshfiles import read_3mf, read_stl, write_3mf, write_stl
from shadewright.make.paper import Paper, write_paper
from shadewright.make.rings import Ring, check_beside_lens, rings_found, rings_of
from shadewright.make.seat import LOCATES
from shadewright.make.solid import Solid, build_hood, fit_ring
from shadewright.make.stepfile import exact_hood, library, read_step, step_problems, write_step
from shadewright.make.svg import write_svg
from shadewright.model.hood import FIT_PLAY, Hood, SeatKind
from shadewright.model.shape import HoodShape, MeshHood
from shadewright.optics.beam import Beam, Job

Progress = Callable[[str, float], None]

TESTED_TO = 0.1
"""A solid is tested against the keep-out with every window this much smaller, mm: what rounding and facets may touch."""
LOSS_TESTED_TO = 0.02
"""With an allowance, the solid's own worst loss may exceed it by this, stops: the raster of a mesh is no finer."""
TAB = 10.0
"""Width of a template's glue tabs, mm."""


@dataclass(frozen=True)
class Made:
    """What was made: files in the order written, a report for `--json`, and sentences for people."""

    files: tuple[Path, ...]
    report: dict[str, Any]
    sentences: tuple[str, ...]


@dataclass
class _Bench:
    """Collects files in a temporary folder until all have passed."""

    folder: Path
    files: list[Path] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    solids: list[dict[str, Any]] = field(default_factory=list)


def make_files(
    job: Job,
    document: Hood,
    shape: HoodShape,
    *,
    out: Path,
    stem: str,
    paper: str = "a4",
    ring_only: bool = False,
    step: bool = False,
    warnings: Sequence[str] = (),
    made_on: date | None = None,
    progress: Progress = lambda _step, _share: None,
) -> Made:
    """Make the solid (STL, 3MF), the fit ring, the flat template (SVG, DXF, PDF) and the drawing sheet of a hood.

    `step` asks for an exact solid too (STEP), which needs an optional library.

    Everything is written to a temporary folder beside the results, checked as read back, and moved into place together.
    Raises MakeError where the hood cannot be made as asked or a check fails, FileError where `out` cannot be written.
    """
    seat_diameter, thread, assumed = seat_of(job, document)
    notes = [*_made_for_another(job, document), *mounting_notes(job.lens, document), *assumed]
    if step:
        library()  # missing, it is missed before anything is made
    rings = rings_of(document, shape)
    reach, radius = lens_front(job, document)
    check_beside_lens(rings, reach=reach, radius=radius)
    if document.vane:
        places = "; ".join(f"z {vane.z:g}, \u00d8 {vane.inner_diameter:g}" for vane in document.vane)
        notes.append(f"Vanes from the front rearwards, place and opening of each edge in mm: {places}.")
    try:
        out.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=f".{stem}-", dir=out))
    except OSError as error:
        raise FileError(f"{out}: cannot be used as a folder ({error.strerror}); choose another --out.") from error
    bench, day = _Bench(folder, sentences=list(notes)), made_on or date.today()
    try:
        progress("fit ring", 0.05)
        ring = fit_ring(document.build, seat_diameter=seat_diameter, thread=thread, name=f"{document.name}, fit ring")
        _write_solid(bench, ring, f"{stem}-ring", document, least_wall=0.0, made_on=day)
        if not ring_only:
            solid = _make_hood(bench, job, document, shape, rings, seat_diameter, thread, stem, progress, day)
            if step:
                progress("exact solid", 0.55)
                _make_step(bench, document, shape, rings, solid, seat_diameter, thread, stem)
            progress("template", 0.7)
            _make_template(bench, document, shape, rings, stem, paper, None if thread else seat_diameter)
            progress("drawing", 0.9)
            said = list(dict.fromkeys([*notes, *warnings, *(n for n in solid.notes if n.startswith(LOCATES))]))
            _make_drawing(bench, job, document, shape, seat_diameter, thread, stem, said, day)
        files = [Path(shutil.move(path, out / path.name)) for path in bench.files]
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    progress("done", 1.0)
    report = {
        "report": "make", "version": 1, "hood": document.name, "made_for": document.made_for or job.lens.name,
        "seat_diameter": seat_diameter, "thread": thread, "solids": bench.solids,
        "files": [str(path) for path in files], "notes": bench.sentences,
    }  # fmt: skip
    return Made(tuple(files), report, tuple(bench.sentences))


def _made_for_another(job: Job, document: Hood) -> list[str]:
    """A warning where the document was fitted for another lens or camera than it is made for now."""
    here = f"{job.lens.name} on {job.camera.name}"
    if not document.made_for or document.made_for == here:
        return []
    return [
        f"This hood's document was fitted for {document.made_for}, and it is made here for {here}: it may show or not go on; "
        "run `shadewright check`, or fit it anew for this lens and camera."
    ]


def seat_of(job: Job, document: Hood) -> tuple[float, str | None, list[str]]:
    """Seat diameter in mm, thread, and what had to be assumed. Raises MakeError."""
    build = document.build
    if build.seat is SeatKind.THREAD:
        thread = build.thread or job.lens.front.filter_thread
        if thread is None:
            raise MakeError(
                'build.seat = "thread" needs a thread: give build.thread in the hood, or front.filter_thread in the lens.'
            )
        return job.lens.front.rim_diameter, thread, []
    if build.seat_diameter is not None:
        return build.seat_diameter, None, []
    if job.lens.seat.diameter is not None:
        return job.lens.seat.diameter, None, []
    rim = job.lens.front.rim_diameter
    return (
        rim,
        None,
        [
            f"ESTIMATE seat diameter: not measured, the front rim's {rim:g} mm is used; measure what the hood grips and try "
            "the ring first."
        ],
    )


def _make_hood(
    bench: _Bench, job: Job, document: Hood, shape: HoodShape, rings: Sequence[Ring], seat_diameter: float,
    thread: str | None, stem: str, progress: Progress, made_on: date,
) -> Solid:  # fmt: skip
    if isinstance(shape, MeshHood):
        raise MakeError(
            "rim.stl: this hood is a mesh already; print that file, or give its wall and rim to make it anew."
        )
    progress("solid", 0.15)
    solid = build_hood(
        shape, document.build, seat_diameter=seat_diameter, thread=thread, rings=rings, name=document.name
    )
    bench.sentences += [note for note in solid.notes if note not in bench.sentences]
    _require_out_of_beam(job, document, solid.vertices[solid.faces])
    progress("files", 0.45)
    # An edge of a ring is as thin as it is asked for, and no thinner.
    least_wall = min([0.8, document.build.thickness * 0.5, *(0.9 * ring.edge for ring in rings)])
    back = _write_solid(bench, solid, stem, document, least_wall=least_wall, made_on=made_on)
    _require_rings(bench, back, rings)
    _require_out_of_beam(job, document, back.vertices[back.faces])
    bench.sentences.append(f"The solid was tested against the keep-out as read back: no overlap, to {TESTED_TO:g} mm.")
    return solid


def _require_rings(bench: _Bench, mesh: MeshHood, rings: Sequence[Ring]) -> None:
    """Every ring is found again in the mesh as read back, and counted in the report. Raises MakeError."""
    count = rings_found(mesh.vertices, rings)
    if count != len(rings):
        raise MakeError(f"only {count} of {len(rings)} rings are found in the solid; move or drop those that the rim cuts away.")
    bench.solids[-1]["rings"] = count


def _make_step(
    bench: _Bench, document: Hood, shape: HoodShape, rings: Sequence[Ring], mesh: Solid, seat_diameter: float,
    thread: str | None, stem: str,
) -> None:  # fmt: skip
    """Write the exact solid, read it back and hold it against the mesh. Raises MakeError."""
    build = document.build
    solid = exact_hood(shape, build, seat_diameter=seat_diameter, thread=thread, rings=rings)
    path = write_step(bench.folder / f"{stem}.step", solid, name=document.name)
    back = read_step(path)
    if solid.sharp:
        build = build.model_copy(update={"rim_rounding": 0.0})
        mesh = build_hood(shape, build, seat_diameter=seat_diameter, thread=thread, rings=rings)
    problems = step_problems(back, mesh, shape, build, thread=thread)
    if problems:
        raise MakeError(f"{path.name}: failed its inspection, so nothing was written: {' '.join(problems)}")
    bench.files.append(path)
    bench.sentences += [f"STEP: {note}" for note in solid.notes]
    bench.solids.append(
        {
            "name": f"{document.name}, exact", "faces": back.faces, "volume_cm3": round(back.volume / 1000, 3), "watertight": True,
            "bodies": 1, "size": [round(h - l, 3) for l, h in zip(back.low, back.high, strict=True)],
        }
    )  # fmt: skip


def _write_solid(
    bench: _Bench, solid: Solid, stem: str, document: Hood, *, least_wall: float, made_on: date
) -> MeshHood:
    """Inspect, write as STL and 3MF, read both back and inspect them; returns the STL as read."""
    _require_sound(solid.name, inspect_mesh(solid.vertices, solid.faces, least_wall=least_wall))
    stl, mf = bench.folder / f"{stem}.stl", bench.folder / f"{stem}.3mf"
    write_stl(stl, solid)
    write_3mf(
        mf,
        solid,
        title=solid.name,
        description=f"for {document.made_for}" if document.made_for else "",
        created=made_on,
    )
    read = read_stl(stl)
    found = inspect_mesh(read.vertices, read.faces, least_wall=least_wall)
    _require_sound(stl.name, found)
    again = read_3mf(mf)
    _require_sound(mf.name, inspect_mesh(again.vertices, again.faces, least_wall=least_wall))
    bench.files += [stl, mf]
    bench.solids.append(
        {
            "name": solid.name, "triangles": len(read.faces), "volume_cm3": round(found.volume / 1000, 3),
            "bodies": found.bodies, "watertight": found.closed,
            "thinnest": None if found.thickness is None else round(found.thickness, 3),
            "size": [round(h - l, 3) for l, h in zip(found.low, found.high, strict=True)],
        }
    )  # fmt: skip
    return read


def _require_sound(name: str, found: Inspection) -> None:
    if found.problems:
        raise MakeError(f"{name}: failed its inspection, so nothing was written: {' '.join(found.problems)}")


def _tested_beams(job: Job) -> list[Beam]:
    return job.beams(job.swept(2))


def _require_out_of_beam(job: Job, document: Hood, triangles: Any) -> None:
    """The solid's own mesh against the keep-out, or against the allowance. Raises ShowsError."""
    triangles = np.asarray(triangles, dtype=float)
    another = _made_for_another(job, document)
    allowance = document.wishes.allowance
    if allowance > 0:
        mesh = MeshHood(triangles.reshape(-1, 3), np.arange(len(triangles) * 3).reshape(-1, 3))
        listed = job.resolved.settings
        ends = [listed[0], listed[-1]] if len(listed) > 1 else [listed[0]]
        worst = max(worst_loss(job, ends, mesh, stopped_down=False), key=lambda entry: entry.stops)
        if worst.stops > allowance + LOSS_TESTED_TO:
            raise ShowsError(
                f"the solid loses {worst.stops:.2f} stop at {worst.label}, more than the allowance of {allowance:g}; make "
                "the wall or seat wider." + "".join(f" {s}" for s in another)
            )
        return
    beams = _tested_beams(job)
    shrunk = [beam.widened(-TESTED_TO) for beam in beams]
    touched, where = keep_out(shrunk).touches(triangles, smallest=TESTED_TO / 5)
    hit = np.nonzero(touched)[0]
    if hit.size:
        x, y, z = where[hit[0]]
        raise ShowsError(
            f"the solid stands in the beam at {beams[int(hit[0])].label}, about x {x:.1f}, y {y:.1f}, z {z:.1f} mm; run "
            "`shadewright check` on this hood, and give it a wider wall or seat." + "".join(f" {s}" for s in another)
        )


def _make_template(
    bench: _Bench, document: Hood, shape: HoodShape, rings: Sequence[Ring], stem: str, paper: str,
    seat: float | None,
) -> None:  # fmt: skip
    build = document.build
    try:
        # A sheet carries no thread: its tube ends at the seat plane, where a threaded ring takes it.
        threaded = build.seat is SeatKind.THREAD
        vanes = rings if document.vane else ()
        back = 0.0 if threaded else build.seat_length
        template = flatten(shape, sheet_thickness=build.thickness, back=back, tab=TAB, rings=vanes, seat=seat)
        if document.ridges is not None:
            bench.sentences.append("The flat template has no ridges: they are for printing; a hood of card takes vanes instead.")
        if threaded:
            bench.sentences.append("The flat template ends at the seat plane: glue it to a ring that carries the thread.")
    except MakeError as error:
        bench.sentences.append(f"No flat template: {error}")
        return
    label = document.name
    bench.files.append(write_svg(bench.folder / f"{stem}-template.svg", template, label=label))
    bench.files.append(write_dxf(bench.folder / f"{stem}-template.dxf", template, label=label))
    bench.files.append(write_paper(bench.folder / f"{stem}-template.pdf", template, paper=Paper(paper), label=label))


def _make_drawing(
    bench: _Bench, job: Job, document: Hood, shape: HoodShape, seat_diameter: float, thread: str | None, stem: str,
    warnings: Sequence[str], made_on: date,
) -> None:  # fmt: skip
    assert not isinstance(shape, MeshHood)
    known = {"thread": thread} if thread is not None else {"seat_diameter": seat_diameter}
    document = document.model_copy(update={"build": document.build.model_copy(update=known)})
    every = list(warnings) + [
        f"ESTIMATE {e.field}: {e.low:.1f} to {e.high:.1f} {e.unit}, {e.reason}." for e in job.estimates
    ]
    bench.files.append(
        write_drawing(
            bench.folder / f"{stem}-drawing.pdf",
            shape,
            document,
            seat_text=_seat_text(document, seat_diameter, thread),
            made_for=document.made_for or f"{job.lens.name} on {job.camera.name}",
            warnings=every,
            date=made_on.isoformat(),
        )  # fmt: skip
    )


def _seat_text(document: Hood, seat_diameter: float, thread: str | None) -> str:
    build = document.build
    if build.seat is SeatKind.THREAD:
        return f"external thread {thread} - 6g (ISO 965), {build.seat_length:g} mm long"
    if build.seat is SeatKind.CLAMP:
        return f"split clamp on {seat_diameter:g} mm, {build.seat_length:g} mm long, M3 screw and nut"
    return f"slip-on on {seat_diameter:g} mm, {build.fit} fit ({FIT_PLAY[build.fit]:g} mm play), {build.seat_length:g} mm long"
