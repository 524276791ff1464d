"""The commands that measure a lens: its pupil from the shadows of tubes, the tubes to cut for it, and readings without frames."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shadewright.errors import FileError, MeasureError
from shadewright.words import say, say_files

if TYPE_CHECKING:
    from shadewright.measure.information import Proposal
    from shadewright.measure.measured import RimChoice
    from shadewright.measure.parallax import DepthReading
    from shadewright.measure.pupil import PupilFit

Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON and nothing else.")]
Out = Annotated[Path | None, typer.Option("--out", help="Folder for files; made if missing.", show_default=False)]
LensFile = Annotated[Path, typer.Argument(help="Lens document (TOML): front, seat and states, the pupil still unknown.", show_default=False)]
CameraFile = Annotated[Path, typer.Argument(help="Camera document (TOML).", show_default=False)]
Confidence = Annotated[float, typer.Option("--confidence", help="Chance that the truth lies within what is stated.", min=0.5, max=0.9999)]
RIM_ROOM = 2.0
"""The rim is compared on a tube this much wider in radius than the front rim, mm."""


def pupil(
    lens: LensFile,
    camera: CameraFile,
    shots: Annotated[Path, typer.Argument(help="Shots document: frames bare and with tubes, at each setting.", show_default=False)],
    confidence: Confidence = 0.95,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Find a lens's entrance pupil from photographs of an even wall, bare and with plain tubes on the lens.

    Says the pupil's depth and width at each setting with their uncertainty, what cannot be told and what to shoot for it. With
    --out it writes the lens document with its intervals, pictures of the fit, and what the uncertainty costs in depth of rim.

    Exit codes: 0 measured; 1 the frames cannot settle a depth; 2 bad input.

    Example: shadewright measure pupil my-lens.toml my-camera.toml my-shots.toml --out results
    """
    from shadewright import cli
    from shadewright.measure.measured import fit_shots, rim_choice
    from shadewright.model.documents import read_camera, read_lens, read_shots

    given, body, taken = read_lens(lens), read_camera(camera), read_shots(shots)
    _keep_apart(lens, out, cli._stem(given.name))
    with cli._progress(as_json) as progress, _about(shots):
        progress("frames", 0.1)
        fits = fit_shots(taken, given, body, folder=shots.parent)
        progress("rims", 0.8)
        radius = given.front.rim_diameter / 2 + RIM_ROOM
        choice = rim_choice(given, fits, body, radius=radius, confidence=confidence)
    report = _pupil_report(given.name, body.name, fits, choice, radius)
    files: list[Path] = []
    if out is not None:
        files = _write_pupil(out, cli._stem(given.name), lens, fits, choice, radius, confidence, report)
    if as_json:
        cli._print_json(report)
    else:
        _say_pupil(report, files)
    if not all(fit.settled for fit in fits):
        raise typer.Exit(1)


def _about(path: Path) -> Any:
    """Faults of a measurement name the document that they are about, unless they name a file already."""
    from contextlib import contextmanager

    @contextmanager
    def naming() -> Any:
        try:
            yield
        except MeasureError as error:
            text = str(error)
            raise (error if text.startswith(str(path.parent) + "/") else MeasureError(f"{path}: {text}")) from None

    return naming()


def _keep_apart(lens: Path, out: Path | None, stem: str) -> None:
    if out is not None and (out / f"{stem}-measured.toml").resolve() == lens.resolve():
        raise FileError(f"{lens}: would be written over; choose another --out.")


def _pupil_report(lens: str, camera: str, fits: list[PupilFit], choice: RimChoice, radius: float) -> dict[str, Any]:
    settings = []
    for fit in fits:
        solution = fit.solution
        names = ("pupil_depth", "pupil_radius", "image_distance", "wander", "front_radius", "rear_depth", "rear_radius", "tone")
        settings.append({
            "focal_length": fit.setting.focal_length, "f_number": fit.setting.f_number,
            "focus_distance": fit.setting.focus_distance, "reach": fit.view.reach, "settled": fit.settled,
            "values": {n: {"value": round(solution.value(n), 4), "error": round(solution.error(n), 4)} for n in names if solution.has(n)},
            "depth_against_image_distance": round(solution.correlation("pupil_depth", "image_distance"), 3),
            "tubes": [_tube_report(fit, i) for i, block in enumerate(fit.blocks) if block.tube is not None],
            "misfit": round(solution.misfit, 3), "cells": sum(int(k.sum()) for k in solution.kept),
            "left_out": sum(int((~k).sum()) for k in solution.kept), "notes": list(fit.notes),
        })  # fmt: skip
    rim = {
        "tube_radius": radius, "confidence": choice.confidence, "cost": round(choice.cost, 3),
        "nominal_plain": round(float(choice.nominal.min()), 3), "safe_plain": round(float(choice.safe.min()), 3),
        "document_plain": round(float(choice.documented.min()), 3),
    }  # fmt: skip
    return {"report": "pupil", "version": 1, "lens": lens, "camera": camera, "settings": settings, "rim": rim}


def _tube_report(fit: PupilFit, i: int) -> dict[str, Any]:
    import math

    solution, tube = fit.solution, fit.blocks[i].tube
    assert tube is not None
    return {
        "tube": tube.name,
        "decentre": [round(solution.value(f"decentre_{k} {i}"), 3) for k in "xy"],
        "lean_degrees": [round(math.degrees(math.atan(solution.value(f"lean_{k} {i}"))), 3) for k in "xy"],
        "light_changed_by": round(solution.value(f"gain {i}") - 1, 5),
    }


def _write_pupil(
    out: Path, stem: str, lens: Path, fits: list[PupilFit], choice: RimChoice, radius: float, confidence: float, report: dict[str, Any]
) -> list[Path]:
    from shadewright.files import write_whole
    from shadewright.measure.measured import measured_lens
    from shadewright.model.documents import read_lens
    from shadewright.model.writing import to_toml
    from shadewright.show.measured import fit_figure, rim_choice_figure
    from shadewright.show.page import save

    heading = f"Measured from photographs by shadewright measure pupil; intervals hold with a chance of {confidence:.0%}."
    text = to_toml(measured_lens(read_lens(lens), fits, confidence=confidence), heading=heading)
    files = [write_whole(out / f"{stem}-measured.toml", text)]
    files.append(write_whole(out / f"{stem}.pupil.json", json.dumps(report, indent=1, allow_nan=False) + "\n"))
    for number, fit in enumerate(fits, start=1):
        files += save(fit_figure(fit), out / f"{stem}-pupil-{number}")
    return files + save(rim_choice_figure(choice, radius=radius), out / f"{stem}-rim-doubt")


def _say_pupil(report: dict[str, Any], files: list[Path]) -> None:
    say(f"{report['lens']} on {report['camera']}")
    for entry in report["settings"]:
        values = entry["values"]
        far = entry["focus_distance"]
        say(f"  {entry['focal_length']:g} mm at f/{entry['f_number']:g}, focused at {far if far == 'infinity' else f'{far:g} mm'}:")
        say(f"    pupil {_pm(values['pupil_depth'])} mm behind the front rim, radius {_pm(values['pupil_radius'])} mm")
        say(f"    image distance {_pm(values['image_distance'])} mm; deeper by {_pm(values['wander'])} mm x the square of the field slope")
        if "rear_depth" in values:
            say(f"    a rear window of radius {_pm(values['rear_radius'])} mm, {_pm(values['rear_depth'])} mm deep")
        for note in entry["notes"]:
            say(f"    NOTE {note}")
    rim = report["rim"]
    say(
        f"  on a tube of {2 * rim['tube_radius']:g} mm inside, a plain rim may stand {rim['nominal_plain']:.2f} mm ahead of the seat by the best "
        f"guess, {rim['safe_plain']:.2f} mm to be safe at {rim['confidence']:.0%}, {rim['document_plain']:.2f} mm by the lens document; the "
        f"uncertainty costs up to {rim['cost']:.2f} mm"
    )
    if not files:
        say("  nothing was written: add --out FOLDER to keep the lens document")
    say_files(files)


def _pm(entry: dict[str, float]) -> str:
    return f"{entry['value']:.2f} +- {entry['error']:.2f}"


def tubes(
    lens: LensFile,
    camera: CameraFile,
    count: Annotated[int, typer.Option("--count", help="How many tubes, 1 to 4.", min=1, max=4)] = 2,
    focal_length: Annotated[
        float | None, typer.Option("--focal-length", help="The state to choose for, mm; left out: the first.", show_default=False)
    ] = None,
    inner_diameter: Annotated[
        float | None, typer.Option("--inner-diameter", help="Inside diameter, mm; left out: the lens's seat.", min=5, max=1000, show_default=False)
    ] = None,
    thickness: Annotated[float, typer.Option("--thickness", help="Thickness of the card, mm.", min=0.1, max=5)] = 0.5,
    seat_length: Annotated[float, typer.Option("--seat-length", help="How far a tube reaches back over the barrel, mm.", min=0, max=100)] = 10.0,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Propose the plain tubes to cut for a lens: those whose shadows tell most about its pupil.

    With --out it writes a template of each at full size (PDF, SVG), and a shots document to fill in.

    Example: shadewright measure tubes my-lens.toml my-camera.toml --out results
    """
    from shadewright import cli
    from shadewright.measure.information import propose
    from shadewright.model.documents import read_camera, read_lens

    given = read_lens(lens)
    state = None
    if focal_length is not None:
        near = [s for s in given.state if abs(s.focal_length - focal_length) < 0.02 * focal_length]
        if not near:
            known = ", ".join(f"{s.focal_length:g}" for s in given.state) or "none"
            raise MeasureError(f"{lens}: lists no state at {focal_length:g} mm (it has: {known}); name one of these.")
        state = near[0]
    with _about(lens):
        found = propose(given, read_camera(camera), state=state, inner_diameter=inner_diameter, count=count)
    report = {
        "report": "tubes", "version": 1, "lens": given.name, "focal_length": found.setting.focal_length,
        "tubes": [{"inner_diameter": round(t.inner_diameter, 2), "length": t.length} for t in found.tubes],
        "expected_depth_error": round(found.depth_error, 3), "expected_depth_error_of_one": round(found.single_error, 3),
        "expected_radius_error": round(found.radius_error, 4),
    }  # fmt: skip
    files = [] if out is None else _write_tubes(out, cli._stem(given.name), found, thickness, seat_length)
    if as_json:
        cli._print_json(report)
        return
    say(f"{given.name} at {found.setting.focal_length:g} mm, f/{found.setting.f_number:g}: cut")
    for tube in found.tubes:
        say(f"  a tube {tube.inner_diameter:.1f} mm wide inside, its end {tube.length:g} mm ahead of the seat plane")
    say(
        f"  expected: depth to {found.depth_error:.2f} mm, radius to {found.radius_error:.3f} mm (one standard error, tubes cut to 0.1 mm); "
        f"one tube alone {found.single_error:.2f} mm"
    )
    say("  line the tubes matt black; measure what you cut, and write that, not what was asked for, into the shots document")
    say_files(files)


def _write_tubes(out: Path, stem: str, found: Proposal, thickness: float, seat_length: float) -> list[Path]:
    from shadewright.files import write_whole
    from shadewright.make.flat import flatten
    from shadewright.make.paper import Paper, write_paper
    from shadewright.make.svg import write_svg
    from shadewright.make.workshop import TAB
    from shadewright.model.shots import Shots, TubeShots
    from shadewright.model.writing import to_toml

    out.mkdir(parents=True, exist_ok=True)
    files = []
    for number, (tube, hood) in enumerate(zip(found.tubes, found.hoods(), strict=True), start=1):
        template = flatten(hood, sheet_thickness=thickness, back=seat_length, tab=TAB)
        label = f"Tube {tube.name}"
        files.append(write_svg(out / f"{stem}-tube-{number}.svg", template, label=label))
        files.append(write_paper(out / f"{stem}-tube-{number}.pdf", template, paper=Paper("a4"), label=label))
    setting = found.setting.model_copy(update={
        "bare": ("bare-1.dng",),
        "with_tube": tuple(TubeShots(tube=t.name, frames=(f"tube-{n}-1.dng",)) for n, t in enumerate(found.tubes, start=1)),
    })  # fmt: skip
    shots = Shots(document="shots", version=1, name=f"{stem} pupil", tube=found.tubes, setting=(setting,))
    heading = "Correct tube sizes to what you measure, and the file names to your frames. Manual exposure, tripod, even wall."
    path = out / f"{stem}-shots.toml"
    if path.exists():
        return files
    return [*files, write_whole(path, to_toml(shots, heading=heading))]


def parallax(
    shots: Annotated[Path, typer.Argument(help="Shots document with readings by pin, rail or ruler.", show_default=False)],
    camera: Annotated[Path | None, typer.Option("--camera", help="Camera document: needed for a ruler.", show_default=False)] = None,
    lens: Annotated[Path | None, typer.Option("--lens", help="Lens document to complete.", show_default=False)] = None,
    confidence: Confidence = 0.95,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Average readings of the pupil's depth: by a pin, by a rail, or from a ruler seen at several distances.

    Example: shadewright measure parallax my-readings.toml --camera my-camera.toml --lens my-lens.toml --out results
    """
    from shadewright import cli
    from shadewright.files import write_whole
    from shadewright.measure.parallax import lens_with_readings, readings_of
    from shadewright.model.documents import read_camera, read_lens, read_shots
    from shadewright.model.writing import to_toml
    from shadewright.show.measured import readings_figure
    from shadewright.show.page import save

    taken = read_shots(shots)
    with _about(shots):
        readings = readings_of(taken, None if camera is None else read_camera(camera))
        completed = None if lens is None else lens_with_readings(read_lens(lens), readings, confidence=confidence)
    files: list[Path] = []
    if out is not None:
        stem = cli._stem(taken.name)
        files = save(readings_figure(readings), out / f"{stem}-readings")
        if completed is not None and lens is not None:
            _keep_apart(lens, out, cli._stem(completed.name))
            text = to_toml(completed, heading=f"Completed from readings; intervals hold with a chance of {confidence:.0%}.")
            files.append(write_whole(out / f"{cli._stem(completed.name)}-measured.toml", text))
    report = {"report": "parallax", "version": 1, "readings": [_reading_report(reading) for reading in readings]}
    if as_json:
        cli._print_json(report)
        return
    for reading in readings:
        say(f"{reading.focal_length:g} mm by {reading.way}: pupil {reading.depth:.2f} +- {reading.error:.2f} mm behind the front rim ({reading.count} readings)")
        if reading.image_distance is not None:
            say(f"  image distance at the frame's edge {reading.image_distance:.3f} +- {reading.image_distance_error:.3f} mm")
        for note in reading.notes:
            say(f"  NOTE {note}")
    say_files(files)


def _reading_report(reading: DepthReading) -> dict[str, Any]:
    import math

    return {
        "way": str(reading.way), "focal_length": reading.focal_length,
        "focus_distance": "infinity" if math.isinf(reading.focus_distance) else reading.focus_distance,
        "depth": round(reading.depth, 4), "error": round(reading.error, 4), "count": reading.count,
        "image_distance": reading.image_distance and round(reading.image_distance, 4),
        "image_distance_error": reading.image_distance_error and round(reading.image_distance_error, 4), "notes": list(reading.notes),
    }  # fmt: skip
