"""The commands that measure from photographs: proof of a finished hood, a rim from a paper strip, the sheet it is laid on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shadewright.cli_measure_pupil import parallax, pupil, tubes
from shadewright.errors import FileError
from shadewright.words import say, say_files

if TYPE_CHECKING:
    from shadewright.measure.proof import PairProof, Proof
    from shadewright.measure.strip import StripRim
    from shadewright.model.hood import Hood

measure = typer.Typer(
    help="Measure from photographs: a finished hood proved, a rim traced from paper, a lens's pupil found.\n\n"
    "Exit codes: 0 done, or the hood proved clear or within its allowance; 1 it shows, or the photographs cannot tell; 2 bad input.",
    no_args_is_help=True,
    rich_markup_mode="rich",
)

for command in (pupil, tubes, parallax):
    measure.command()(command)

Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON and nothing else.")]
Out = Annotated[Path | None, typer.Option("--out", help="Folder for files; made if missing.", show_default=False)]


@measure.command()
def proof(
    lens: Annotated[Path, typer.Argument(help="Lens document (TOML).", show_default=False)],
    camera: Annotated[Path, typer.Argument(help="Camera document (TOML).", show_default=False)],
    hood: Annotated[Path, typer.Argument(help="Hood document with a rim.", show_default=False)],
    shots: Annotated[Path, typer.Argument(help="Shots document: frames bare and with_hood at each setting.", show_default=False)],
    allowance: Annotated[
        float | None, typer.Option("--allowance", help="Loss allowed, stops; left out: the hood document's.", min=0, max=4, show_default=False)
    ] = None,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Prove a finished hood from pairs of photographs of an even wall, without it and with it.

    Says for each setting whether the hood shows, where and by how much, what loss would have been found, and how the hood sits.
    A record is kept beside the hood document, or with --out in that folder together with a contact sheet (PDF and PNG).

    Example: shadewright measure proof my-lens.toml my-camera.toml results/my-hood.toml my-shots.toml --out results
    """
    from shadewright import cli
    from shadewright.files import DOCUMENT_LIMIT, read_limited, write_whole
    from shadewright.load import load_shape
    from shadewright.measure.proof import prove
    from shadewright.measure.record import proof_record
    from shadewright.model.documents import read_camera, read_document, read_hood, read_lens
    from shadewright.model.shots import Shots
    from shadewright.optics.beam import job

    document, taken = read_hood(hood), read_document(shots, Shots)
    with cli._naming(lens, hood):
        shape = load_shape(document, hood.parent)
    with cli._progress(as_json) as progress, cli._naming(lens, hood):
        work = job(read_lens(lens), read_camera(camera), use=document.use, accessories=document.accessory)
        allowed = document.wishes.allowance if allowance is None else allowance
        found = prove(work, shape, taken, shots.parent, allowance=allowed, progress=progress)
    record = proof_record(
        found, lens=work.lens.name, camera=work.camera.name, hood=document.name, document=read_limited(hood, DOCUMENT_LIMIT)
    )
    stem = cli._stem(document.name)
    folder = hood.parent if out is None else out
    files = [write_whole(folder / f"{stem}.proof.json", json.dumps(record, indent=1, allow_nan=False) + "\n")]
    if out is not None:
        from shadewright.show.proof import contact_sheet

        files += contact_sheet(found, out / f"{stem}-proof", hood=document.name)
    if as_json:
        cli._print_json(record)
    else:
        _say_proof(found, document.name, files)
    if not found.passes:
        raise typer.Exit(1)


def _say_proof(found: Proof, hood: str, files: list[Path]) -> None:
    say(f"{hood}: {str(found.finding).upper()} by {len(found.pairs)} pair{'s' if len(found.pairs) > 1 else ''} of photographs")
    for pair in found.pairs:
        say(f"  {pair.setting.label}: {_pair_words(pair)}")
    seat = found.seating
    if seat is not None:
        values = zip(("turned", "forward", "right", "up"), (seat.turn, seat.forward, seat.right, seat.up), seat.errors, seat.told, strict=True)
        told = [f"{name} {v:+.2f} +- {e:.2f} {'degrees' if name == 'turned' else 'mm'}" for name, v, e, known in values if known]
        if told:
            say("  the hood sits, against its document: " + ", ".join(told))
        else:
            low, high = seat.turn_range
            say(f"  nothing shows that would tell how the hood sits; turns from {low:+.0f} to {high:+.0f} degrees would look alike")
    for note in found.notes:
        say(f"  NOTE {note}")
    say_files(files)


def _pair_words(pair: PairProof) -> str:
    floor = pair.intrusion.floor
    would = "no loss would have been found for certain" if floor == float("inf") else f"a loss from {floor:.3f} stop would have been found"
    if not pair.intrusion.shows:
        return f"{pair.finding}, {would}"
    low, high = pair.stretch
    return (
        f"{pair.finding}, {pair.worst.name}, {low:.3f} to {high:.3f} stop; {pair.intrusion.area:.1%} of the frame is touched; "
        f"{would}"
    )


@measure.command()
def strip(
    picture: Annotated[Path, typer.Argument(help="Scan or photograph of the sheet with the strip's halves on it.", show_default=False)],
    diameter: Annotated[float, typer.Option("--diameter", help="Diameter of the hood where the strip was wrapped, mm.", show_default=False)],
    inner_diameter: Annotated[
        float | None,
        typer.Option("--inner-diameter", help="Inside diameter of the hood at its rim, mm; left out: --diameter less 4 mm.", show_default=False),
    ] = None,
    edge: Annotated[float, typer.Option("--edge", help="How far the strip's straight edge lay ahead of the seat plane, mm.", min=-500, max=500)] = 0.0,
    check_line: Annotated[float, typer.Option("--check-line", help="What the sheet's line of 100 mm measures as printed, mm.")] = 100.0,
    name: Annotated[str, typer.Option("--name", help="Name for the hood document.")] = "Traced hood",
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Read the rim of an existing hood from a strip of paper wrapped round it, its rim drawn on it, laid on our sheet.

    With --out it writes a hood document with the rim, ready for `check`, and a picture of what was read.

    Example: shadewright measure strip strip.jpg --diameter 92 --inner-diameter 88 --out results
    """
    from shadewright import cli
    from shadewright.files import write_whole
    from shadewright.measure.record import strip_record
    from shadewright.measure.strip import read_strip
    from shadewright.model.writing import to_toml

    found = read_strip(picture, diameter=diameter, edge=edge, check_line=check_line)
    record = strip_record(found, picture=picture.name, diameter=diameter, edge=edge)
    files: list[Path] = []
    if out is not None:
        from shadewright.show.page import save
        from shadewright.show.proof import strip_figure

        stem = cli._stem(name)
        text = to_toml(_traced(found, name, diameter if inner_diameter is None else inner_diameter, inner_diameter is None), heading=_heading(found))
        files.append(write_whole(out / f"{stem}.toml", text))
        files.append(write_whole(out / f"{stem}.strip.json", json.dumps(record, indent=1, allow_nan=False) + "\n"))
        files += save(strip_figure(found, name=name), out / f"{stem}-strip")
    if as_json:
        cli._print_json(record)
        return
    say(f"{name}: rim {found.z.min():.1f} to {found.z.max():.1f} mm ahead of the seat, known to about {2 * float(found.error.max()):.1f} mm")
    if not files:
        say("  nothing was written: add --out FOLDER to keep the hood document")
    say_files(files)


WALL = 2.0
"""Thickness of a wall whose inside was not measured, mm (common practice, no source)."""


def _traced(found: StripRim, name: str, diameter: float, outside: bool) -> Hood:
    from pydantic import ValidationError

    from shadewright.model.hood import Hood, RimPart, RimShape, WallPart

    points = tuple((float(a), round(float(z), 3)) for a, z in zip(found.azimuth, found.z, strict=True))
    inner = diameter - 2 * WALL if outside else diameter
    try:
        wall, rim = WallPart(inner_diameter=inner), RimPart(shape=RimShape.PETAL, points=points)
        return Hood(document="hood", version=1, name=name, wall=wall, rim=rim)
    except ValidationError:
        raise FileError(
            f"--name and --inner-diameter = {inner:g} make no hood document; give a name on one line and an inside diameter in mm."
        ) from None


def _heading(found: StripRim) -> str:
    return (
        "Read from a paper strip by shadewright measure strip.\n"
        f"Standard error of the rim: {float(found.error.mean()):.2f} mm on average, {float(found.error.max()):.2f} mm at most."
    )


@measure.command()
def target(
    out: Annotated[Path, typer.Option("--out", help="Folder for the sheet; made if missing.")] = Path("results"),
) -> None:
    """Write the sheet that a rim's strip is laid on, to print at 100 % (A4).

    Example: shadewright measure target --out results
    """
    from shadewright.files import write_whole
    from shadewright.show.target_sheet import target_sheet

    say_files([write_whole(out / "rim-strip-sheet.pdf", target_sheet())])
