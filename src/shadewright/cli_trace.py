"""The command that traces a lens from its prescription: first-order data, true beams, and how far simpler models are off."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shadewright.errors import FileError, OpticsError
from shadewright.words import say, say_files

if TYPE_CHECKING:
    from shadewright.design.reduction import Comparison, ReducedState
    from shadewright.model.prescription import Prescription
    from shadewright.optics.beam import Job

ROOM = 4.0
"""How much larger than its clear front glass a barrel's rim is taken, mm in radius (common practice, no source)."""
WALL_ROOM = 2.0
"""A hood's wall stands at least this far outside the rim in the comparison of models, mm."""


def trace(
    description: Annotated[
        Path, typer.Argument(help="Prescription document (TOML), or a .dat, .zmx, .seq or JSON lens description.", show_default=False)
    ],
    camera: Annotated[
        Path | None, typer.Option("--camera", help="Camera document: adds beams, pupil wander and simpler models.", show_default=False)
    ] = None,
    rim_diameter: Annotated[
        float | None, typer.Option("--rim-diameter", help="Outside diameter of the barrel's front rim, mm.", min=5, max=1000, show_default=False)
    ] = None,
    vertex_reach: Annotated[
        float | None,
        typer.Option("--vertex-reach", help="How far the front glass's vertex stands ahead of the seat, mm.", min=-1000, max=1000, show_default=False),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for files; made if missing.", show_default=False)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON (see docs/json.md) and nothing else.")] = False,
) -> None:
    """Trace a lens from its prescription, and say how far a measured model of it would be off.

    With --out it writes the prescription as a document of our own, a lens document that uses it, a lens document of windows
    fitted to it, and with --camera pictures of the lens, of its pupil's wander and of its vignetting.

    Example: shadewright trace my-prescription.toml --camera my-camera.toml --out results
    """
    from shadewright.cli import _print_json, _stem
    from shadewright.model.lens_files import read_with_notes
    from shadewright.optics.paraxial import paraxial
    from shadewright.optics.system import setting_names, system_of
    from shadewright.report_trace import beam_data, first_order, model_errors

    reading = read_with_notes(description)
    prescription = reading.prescription
    names = setting_names(prescription)
    try:
        systems = [system_of(prescription, name) for name in names]
        first = [paraxial(system) for system in systems]
        report = first_order(reading, names, first)
        work = reduced = comparison = None
        if camera is not None:
            work, reduced, comparison = _compared(prescription, names, camera, rim_diameter, vertex_reach)
            report["settings"] = [
                {**entry, **beam_data(work, state)} for entry, state in zip(_listed(report, work, names), reduced, strict=True)
            ]
            report["models"] = model_errors(comparison)
            report["estimates"] = [
                {"field": e.field, "low": e.low, "high": e.high, "unit": e.unit, "reason": e.reason} for e in work.estimates
            ]
    except OpticsError as error:
        raise OpticsError(f"{description}: {error}") from None
    files: list[Path] = []
    if out is not None:
        files = _write(out, _stem(prescription.name), description, prescription, names, work, reduced, rim_diameter, vertex_reach)
        files += _keep_report(out / f"{_stem(prescription.name)}.trace.json", report)
    if as_json:
        _print_json(report)
        return
    _say(report)
    say_files(files)


def _compared(
    prescription: Prescription, names: tuple[str, ...], camera: Path, rim_diameter: float | None, vertex_reach: float | None
) -> tuple[Job, list[ReducedState], Comparison]:
    from shadewright.design.reduction import compare
    from shadewright.model.documents import read_camera
    from shadewright.optics.beam import job

    work = job(_lens(prescription, names, rim_diameter, vertex_reach), read_camera(camera))
    comparison, reduced = compare(work, radius=work.lens.front.rim_diameter / 2 + WALL_ROOM)
    return work, reduced, comparison


def _lens(prescription: Prescription, names: tuple[str, ...], rim_diameter: float | None, vertex_reach: float | None) -> Any:
    """The lens document of a prescription whose barrel is as wide as given, or as its front glass needs."""
    from shadewright.model.lens import Front, Lens, Placement

    diameter = rim_diameter
    if diameter is None:
        semi = prescription.surface[0].semi_diameter
        if semi is None:
            raise OpticsError("surface[1] has no semi_diameter, so the barrel's width is not known; give --rim-diameter.")
        diameter = 2 * (semi + ROOM)
    return Lens(
        document="lens",
        version=1,
        name=prescription.name,
        front=Front(rim_diameter=round(diameter, 3)),
        prescription=prescription,
        placement=tuple(Placement(setting=name, vertex_reach=0.0 if vertex_reach is None else vertex_reach) for name in names),
    )


def _listed(report: dict[str, Any], work: Job, names: tuple[str, ...]) -> list[dict[str, Any]]:
    """The report's settings in the order of the job's."""
    by_name = dict(zip(names, report["settings"], strict=True))
    return [by_name[setting.traced.main.name] for setting in work.resolved.settings if setting.traced is not None]


def _say(report: dict[str, Any]) -> None:
    say(f"{report['prescription']}, {report['surfaces']} surfaces")
    for note in report["notes"]:
        say(f"  NOTE {note}")
    for entry in report["settings"]:
        say(
            f"  {entry['setting']}: focal length {entry['focal_length']:.2f} mm, f/{entry['f_number']:.2f}, back focus "
            f"{entry['back_focus']:.2f} mm; entrance pupil {entry['entrance_diameter']:.2f} mm wide, "
            f"{entry['entrance_pupil']:.2f} mm behind the front vertex"
        )
        if "half_field_degrees" not in entry:
            continue
        say(
            f"    real rays: half field {entry['half_field_degrees']:.1f} degrees, pupil {entry['pupil_depth_axis']:.2f} to "
            f"{entry['pupil_depth_edge']:.2f} mm behind the front glass's edge, {entry['vignetting_edge_stops']:.2f} stop cut off "
            "at the edge of the field"
        )
        if not entry["covers_frame"]:
            say("    NOTE its light ends before the corner of the frame")
        fitted = entry["reduced"]
        say(
            f"    as windows: pupil of radius {fitted['pupil_radius']:.2f} mm {fitted['pupil_depth']:.2f} mm deep on the axis ({fitted['wander'][0]:+.2f} tan²θ {fitted['wander'][1]:+.2f} tan⁴θ), rear window of radius {fitted['rear_radius']:.2f} mm "
            f"{fitted['rear_depth']:.2f} mm deep; the beams' edges are met to {fitted['misfit']:.2f} mm (worst {fitted['largest_misfit']:.2f})"
        )
    models = report.get("models")
    if models is None:
        say("  give --camera for beams, pupil wander and how far simpler models are off")
        return
    say(
        f"  on a tube of {2 * models['tube_radius']:.1f} mm inside the traced rim is {models['traced_rim']['plain']:.1f} to "
        f"{models['traced_rim']['deepest']:.1f} mm ahead of the seat; a rim worked out from"
    )
    names = {
        "pinhole": "the pupil's middle",
        "pupil alone": "the pupil alone",
        "windows": "pupil, front glass and rear window",
        "windows, pupil wandering": "the same with a pupil that wanders",
    }
    for error in models["errors"]:
        say(
            f"    {names[error['model']]} is up to {error['too_deep']:.2f} mm too deep and {error['too_shallow']:.2f} mm too "
            f"shallow; it would cost {error['loss_stops']:.2f} stop"
        )
    for estimate in report["estimates"]:
        say(f"  ESTIMATE {estimate['field']}: {estimate['low']:.1f} to {estimate['high']:.1f} {estimate['unit']}, {estimate['reason']}")


def _keep_report(path: Path, report: dict[str, Any]) -> list[Path]:
    from shadewright.files import write_whole

    return [write_whole(path, json.dumps(report, indent=1, allow_nan=False) + "\n")]


def _write(
    out: Path, stem: str, description: Path, prescription: Prescription, names: tuple[str, ...], work: Job | None,
    reduced: list[ReducedState] | None, rim_diameter: float | None, vertex_reach: float | None,
) -> list[Path]:  # fmt: skip
    """Documents and pictures; what was read is never replaced."""
    from shadewright.files import write_whole
    from shadewright.model.prescription_text import prescription_toml
    from shadewright.model.writing import to_toml

    own = out / f"{stem}-prescription.toml"
    files: list[Path] = []
    if own.resolve() != description.resolve():
        heading = f"Written by shadewright trace from {description.name}."
        files.append(write_whole(own, prescription_toml(prescription, heading=heading)))
    lens_path = out / f"{stem}-lens.toml"
    if lens_path.resolve() == description.resolve():
        raise FileError(f"{lens_path}: was read as the prescription and would be replaced; choose another --out.")
    known = prescription.surface[0].semi_diameter is not None or rim_diameter is not None
    if known:
        lens = work.lens if work is not None else _lens(prescription, names, rim_diameter, vertex_reach)
        bare = lens.model_copy(update={"prescription": None})
        text = to_toml(bare, heading="A lens known by its prescription. Measure vertex_reach and rim_diameter before you rely on it.")
        head, _, rest = text.partition("\nname = ")
        line, _, rest = rest.partition("\n")
        files.append(write_whole(lens_path, f'{head}\nname = {line}\nprescription = "{own.name}"\n{rest}'))
    if work is None or reduced is None:
        return files
    from shadewright.design.reduction import measured_lens
    from shadewright.show.gallery import lens_pictures

    heading = "Windows fitted to the traced beams: what measuring this lens would give."
    files.append(write_whole(out / f"{stem}-windows.toml", to_toml(measured_lens(work, reduced), heading=heading)))
    return files + lens_pictures(work, None, out / stem, name=prescription.name)
