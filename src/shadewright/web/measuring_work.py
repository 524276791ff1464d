"""Measuring as jobs in processes of their own: the functions of the commands `measure`, and the same documents from them."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from shadewright import cli, cli_measure, cli_measure_pupil
from shadewright.errors import FitError, ShadewrightError
from shadewright.files import DOCUMENT_LIMIT, read_limited, write_whole
from shadewright.model.camera import Camera
from shadewright.model.documents import document_from
from shadewright.model.lens import Lens
from shadewright.model.shots import Shots
from shadewright.model.writing import to_toml
from shadewright.web import answers
from shadewright.web.answer import Ended
from shadewright.web.desk import Desk
from shadewright.web.hand import settle_down
from shadewright.web.job_work import Told
from shadewright.web.measuring_frames import frames_beside, glance, lay_out
from shadewright.web.measuring_wire import Measuring, OfProof, OfPupil, OfReadings, OfSheet, OfStrip, OfTubes
from shadewright.web.wire import read_request

INPUTS, GIVEN = "inputs", "given"
"""Folders of a job's photographs and documents, dropped at its end."""
Done = tuple[dict[str, Any], list[Path]]


def run(pipe: Connection, asked: Measuring, folder: Path, meshes: Path) -> None:
    """Do a measuring job and tell how it ended."""
    settle_down(10)
    desk, told, inputs = Desk(meshes), Told(pipe), folder / INPUTS
    try:
        result, files = _WORK[asked.kind](desk, asked, folder, told)
        pipe.send(Ended(result, "done", tuple(path.name for path in files)))
    except ShadewrightError as error:
        pipe.send(Ended(None, plainly(str(error), inputs, folder)))
    finally:
        for name in (INPUTS, GIVEN):
            shutil.rmtree(folder / name, ignore_errors=True)
        pipe.close()


def plainly(sentence: str, *folders: Path) -> str:
    """A sentence that names no folder of this machine."""
    for folder in folders:
        sentence = sentence.replace(f"{folder}/", "").replace(str(folder), "the results")
    return sentence


def _pupil(desk: Desk, asked: OfPupil, folder: Path, told: Told) -> Done:
    from shadewright.measure.measured import fit_shots, measured_lens, rim_choice
    from shadewright.web import measuring_evidence as evidence

    lens, camera, shots = document_from(asked.lens, Lens, name="lens"), document_from(asked.camera, Camera, name="camera"), _shots(asked.shots)
    inputs = folder / INPUTS
    lay_out(frames_beside(desk.meshes), asked.frames, inputs=inputs)
    given = write_whole(folder / GIVEN / "lens.toml", to_toml(lens))
    fits = []
    wanted = [entry for entry in shots.setting if entry.with_tube] or list(shots.setting)
    for k, entry in enumerate(wanted):
        told(f"reading and fitting {entry.focal_length:g} mm, {k + 1} of {len(wanted)}", 0.05 + 0.75 * k / len(wanted))
        fits += fit_shots(shots.model_copy(update={"setting": (entry,)}), lens, camera, folder=inputs)
    if not fits:
        fits = fit_shots(shots, lens, camera, folder=inputs)
    told("what the doubt costs in depth", 0.8)
    radius = lens.front.rim_diameter / 2 + cli_measure_pupil.RIM_ROOM
    choice = rim_choice(lens, fits, camera, radius=radius, confidence=asked.confidence)
    told("writing the documents", 0.92)
    stem = cli._stem(lens.name)
    report = cli_measure_pupil._pupil_report(lens.name, camera.name, fits, choice, radius)
    files = cli_measure_pupil._write_pupil(folder, stem, given, fits, choice, radius, asked.confidence, report)
    files.append(write_whole(folder / f"{stem}-shots.toml", to_toml(shots)))
    found = {
        **report, "lens_document": answers.as_tree(measured_lens(lens, fits, confidence=asked.confidence)),
        "shadows": [evidence.shadows(fit) for fit in fits], "rims": evidence.rims(choice),
    }  # fmt: skip
    return found, files


def _shots(tree: dict[str, Any]) -> Shots:
    return document_from(tree, Shots, name="shots")


def _proof(desk: Desk, asked: OfProof, folder: Path, told: Told) -> Done:
    from shadewright.measure.proof import prove
    from shadewright.measure.record import proof_record
    from shadewright.show.proof import contact_sheet
    from shadewright.web import measuring_evidence as evidence

    hood, shots, inputs = desk.hood(asked.design.hood), _shots(asked.shots), folder / INPUTS
    if not hood.rim.given:
        raise FitError("rim: this hood has no rim yet; fit it first, or give its rim.")
    shape = desk.shape_given(hood, asked.design.mesh)
    lay_out(frames_beside(desk.meshes), asked.frames, inputs=inputs)
    stem, work = cli._stem(hood.name), desk.job(asked.design, hood)
    document = write_whole(folder / f"{stem}.toml", to_toml(hood))
    allowed = hood.wishes.allowance if asked.allowance is None else asked.allowance
    found = prove(work, shape, shots, inputs, allowance=allowed, progress=told.part(0.05, 0.75))
    told("writing the record", 0.85)
    record = proof_record(
        found, lens=work.lens.name, camera=work.camera.name, hood=hood.name, document=read_limited(document, DOCUMENT_LIMIT)
    )
    files = contact_sheet(found, folder / f"{stem}-proof", hood=hood.name)
    files.append(write_whole(folder / f"{stem}.proof.json", json.dumps(record, indent=1, allow_nan=False) + "\n"))
    files += [document, write_whole(folder / f"{stem}-shots.toml", to_toml(shots))]
    return {**record, "maps": [evidence.losses(pair) for pair in found.pairs]}, files


def _strip(desk: Desk, asked: OfStrip, folder: Path, told: Told) -> Done:
    from shadewright.measure.record import strip_record
    from shadewright.measure.strip import read_strip
    from shadewright.show.page import save
    from shadewright.show.proof import strip_figure

    inputs = folder / INPUTS
    lay_out(frames_beside(desk.meshes), {asked.file: asked.frame}, inputs=inputs)
    told("reading the strip", 0.1)
    found = read_strip(inputs / asked.file, diameter=asked.diameter, edge=asked.edge, check_line=asked.check_line)
    told("writing the document", 0.8)
    inner = asked.diameter if asked.inner_diameter is None else asked.inner_diameter
    hood = cli_measure._traced(found, asked.name, inner, asked.inner_diameter is None)
    record, stem = strip_record(found, picture=asked.file, diameter=asked.diameter, edge=asked.edge), cli._stem(asked.name)
    files = [
        write_whole(folder / f"{stem}.toml", to_toml(hood, heading=cli_measure._heading(found))),
        write_whole(folder / f"{stem}.strip.json", json.dumps(record, indent=1, allow_nan=False) + "\n"),
        *save(strip_figure(found, name=asked.name), folder / f"{stem}-strip"),
    ]
    return {**record, "hood_document": answers.as_tree(hood)}, files


def _tubes(_desk: Desk, asked: OfTubes, folder: Path, told: Told) -> Done:
    lens, camera = document_from(asked.lens, Lens, name="lens"), document_from(asked.camera, Camera, name="camera")
    told("weighing what tubes would tell", 0.1)
    found, report = proposed(lens, camera, asked)
    told("drawing the templates", 0.7)
    return report, cli_measure_pupil._write_tubes(folder, cli._stem(lens.name), found, asked.thickness, asked.seat_length)


def proposed(lens: Lens, camera: Camera, asked: OfTubes) -> tuple[Any, dict[str, Any]]:
    """The tubes to cut and the report that `measure tubes --json` prints. Raises MeasureError."""
    from shadewright.errors import MeasureError
    from shadewright.measure.information import propose

    state = None
    if asked.focal_length is not None:
        state = next((s for s in lens.state if abs(s.focal_length - asked.focal_length) < 0.02 * asked.focal_length), None)
        if state is None:
            raise MeasureError(f"lens: lists no state at {asked.focal_length:g} mm; name one that it lists.")
    found = propose(lens, camera, state=state, inner_diameter=asked.inner_diameter, count=asked.count)
    return found, {
        "report": "tubes", "version": 1, "lens": lens.name, "focal_length": found.setting.focal_length,
        "tubes": [{"inner_diameter": round(t.inner_diameter, 2), "length": t.length} for t in found.tubes],
        "expected_depth_error": round(found.depth_error, 3), "expected_depth_error_of_one": round(found.single_error, 3),
        "expected_radius_error": round(found.radius_error, 4),
    }  # fmt: skip


def _sheet(_desk: Desk, _asked: OfSheet, folder: Path, told: Told) -> Done:
    from shadewright.show.target_sheet import target_sheet

    told("drawing the sheet", 0.2)
    return {"report": "sheet", "version": 1}, [write_whole(folder / "rim-strip-sheet.pdf", target_sheet())]


_WORK: dict[str, Callable[[Desk, Any, Path, Told], Done]] = {
    "pupil": _pupil, "proof": _proof, "strip": _strip, "tubes": _tubes, "sheet": _sheet,
}  # fmt: skip


def readings(desk: Desk, body: bytes) -> dict[str, Any]:
    """Readings averaged, as `measure parallax --json` gives them, and the lens completed from them. Raises ShadewrightError."""
    from shadewright.measure.parallax import lens_with_readings, readings_of

    asked = read_request(body, OfReadings)
    shots = _shots(asked.shots)
    found = readings_of(shots, None if asked.camera is None else document_from(asked.camera, Camera, name="camera"))
    report: dict[str, Any] = {
        "report": "parallax", "version": 1, "readings": [cli_measure_pupil._reading_report(reading) for reading in found],
        "scatter": [[round(r, 4) for r in reading.residuals] for reading in found], "lens_document": None, "text": None,
    }  # fmt: skip
    if asked.lens is None:
        return report
    lens = lens_with_readings(document_from(asked.lens, Lens, name="lens"), found, confidence=asked.confidence)
    heading = f"Completed from readings; intervals hold with a chance of {asked.confidence:.0%}."
    return {**report, "lens_document": answers.as_tree(lens), "text": to_toml(lens, heading=heading)}


def frame(desk: Desk, body: bytes) -> dict[str, Any]:
    """What a photograph just sent is; one that cannot be is dropped. Raises MeasureError, FileError."""
    from shadewright.web.measuring_frames import drop_frame, frame_path

    told = json.loads(body)
    folder = frames_beside(desk.meshes)
    try:
        return {"frame": told["frame"], "name": told["name"], **glance(frame_path(folder, told["frame"]), told["name"])}
    except ShadewrightError:
        drop_frame(folder, told["frame"])
        raise
