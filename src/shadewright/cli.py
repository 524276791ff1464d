"""The command line: documents in, files and plain words out. Exit codes: 0 done or clear, 1 it shows, 2 bad input."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from enum import StrEnum
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shadewright.cli_bench import bench
from shadewright.cli_light import SurroundingsNames, surroundings, tradeoff, vanes, vanes_showing
from shadewright.cli_measure import measure
from shadewright.cli_trace import trace
from shadewright.errors import (
    DocumentError,
    FileError,
    FitError,
    LightError,
    MakeError,
    OpticsError,
    ShadewrightError,
    ShowsError,
)  # fmt: skip
from shadewright.words import say, say_check, say_estimates, say_files, say_fit, say_weigh

if TYPE_CHECKING:
    from shadewright.model.hood import Hood

app = typer.Typer(
    help="Lens hoods that cannot show in the frame: worked out, checked, weighed, made and shown.\n\n"
    "Exit codes: 0 done or clear, 1 the hood shows, 2 bad input.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
)


PETALS_ARE_A_WAVE = (
    "ESTIMATE rim.petals: the heights are joined by a smooth wave, and a hood with level lobes is deeper between them: give "
    "rim.petals.valley_width, or trace the rim as points, before you rely on it."
)
INTERRUPTED = 130
STOPPED = "stopped; files already named are whole."
LONGEST_STEM = 60
"""Letters of a hood's name that its files carry."""


def _version(wanted: bool) -> None:
    if wanted:
        from shadewright import __version__

        typer.echo(f"shadewright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Lens hoods that cannot show in the frame."""


class Kind(StrEnum):
    """Kinds of document."""

    LENS = "lens"
    CAMERA = "camera"
    HOOD = "hood"
    PRESCRIPTION = "prescription"
    SURROUNDINGS = "surroundings"
    SHOTS = "shots"


class Paper(StrEnum):
    """Paper for tiled templates."""

    A4 = "a4"
    LETTER = "letter"


LensFile = Annotated[Path, typer.Argument(help="Lens document (TOML).", show_default=False)]
CameraFile = Annotated[Path, typer.Argument(help="Camera document (TOML).", show_default=False)]
HoodFile = Annotated[
    Path | None, typer.Argument(help="Hood document with wishes; left out: defaults.", show_default=False)
]
GivenHood = Annotated[Path, typer.Argument(help="Hood document with a rim.", show_default=False)]
Out = Annotated[Path | None, typer.Option("--out", help="Folder for files; made if missing.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON (see docs/json.md) and nothing else.")]


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """A progress bar on the error stream of a terminal; silent elsewhere."""
    if quiet or not sys.stderr.isatty():
        yield lambda _step, _share: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=1.0)
        yield lambda step, share: bar.update(task, description=step, completed=share)


def _print_json(tree: dict[str, Any]) -> None:
    typer.echo(json.dumps(tree, indent=1, allow_nan=False))


def _wishes(path: Path | None) -> Hood:
    from shadewright.model.documents import read_hood
    from shadewright.model.hood import Hood

    if path is None:
        return Hood(document="hood", version=1, name="hood")
    return read_hood(path)


@app.command()
def fit(lens: LensFile, camera: CameraFile, hood: HoodFile = None, out: Out = None, as_json: Json = False) -> None:
    """Work out the hood that the wishes ask for, deep as it can be without showing.

    Example: shadewright fit my-lens.toml my-camera.toml my-hood.toml --out results
    """
    from shadewright.design.fit import fit as run
    from shadewright.design.weigh import weighed_settings
    from shadewright.files import write_whole
    from shadewright.light.share import light_map
    from shadewright.model.documents import read_camera, read_lens
    from shadewright.model.writing import to_toml
    from shadewright.report import fit_report

    wishes = _wishes(hood)
    with _progress(as_json) as progress, _naming(lens, hood):
        fitting = run(read_lens(lens), read_camera(camera), wishes, progress=progress)
        beams = [fitting.job.beam(setting) for setting in weighed_settings(fitting.job)]
        let_in = [(beam.label, light_map(beam, fitting.shape, cells=61).let_in) for beam in beams]
    report = fit_report(fitting, let_in)
    files: list[Path] = []
    if out is not None:
        stem = _stem(fitting.hood.name)
        if hood is not None and (out / f"{stem}.toml").resolve() == hood.resolve():
            raise FileError(
                f"{out / stem}.toml: holds the wishes, which the fitted hood would replace; choose another --out."
            )
        heading = f"Fitted by shadewright fit for {fitting.hood.made_for}.\n" + "\n".join(fitting.warnings)
        files.append(write_whole(out / f"{stem}.toml", to_toml(fitting.hood, heading=heading)))
        files.append(write_whole(out / f"{stem}.fit.json", json.dumps(report, indent=1, allow_nan=False) + "\n"))
        from shadewright.show.gallery import rim_picture

        files += rim_picture(fitting, out / f"{stem}-rim")
    if as_json:
        _print_json(report)
    else:
        say_fit(fitting, let_in, files)


def _stem(name: str) -> str:
    """A file name from a hood's name: letters and digits of ASCII, dashes for the rest, at most LONGEST_STEM."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())
    return "-".join(part for part in plain.split("-") if part)[:LONGEST_STEM].strip("-") or "hood"


@app.command()
def check(
    lens: LensFile, camera: CameraFile, hood: GivenHood, out: Out = None, as_json: Json = False,
    with_margin: Annotated[bool, typer.Option("--with-margin", help="Judge with the hood document's margin added.")] = False,
) -> None:  # fmt: skip
    """Say whether a hood shows: where, at which settings, by how many stops, and what would stay clear.

    The hood may be one of ours, or described by measured numbers, traced points or an STL.

    Example: shadewright check my-lens.toml my-camera.toml results/my-hood.toml
    """
    from shadewright.clearance.check import NO_MARGIN
    from shadewright.clearance.check import check as run
    from shadewright.load import load_shape
    from shadewright.model.documents import read_camera, read_hood, read_lens
    from shadewright.optics.beam import job
    from shadewright.report import check_report, estimates_of

    document = read_hood(hood)
    with _naming(lens, hood):
        shape = load_shape(document, hood.parent)
    with _naming(lens, hood):
        work = job(read_lens(lens), read_camera(camera), use=document.use, accessories=document.accessory)
    with _progress(as_json) as progress, _naming(lens, hood):
        verdict = run(
            work, shape, accessories=document.accessory, margin=document.margin if with_margin else NO_MARGIN,
            allowance=document.wishes.allowance, progress=progress,
        )  # fmt: skip
    report = check_report(verdict, lens=work.lens.name, camera=work.camera.name, hood=document.name)
    if document.rim.petals is not None and document.rim.petals.valley_width is None:
        verdict = replace(verdict, warnings=(*verdict.warnings, PETALS_ARE_A_WAVE))
    vanes_show = vanes_showing(work, document, shape, document.margin if with_margin else NO_MARGIN)
    verdict = replace(verdict, warnings=(*verdict.warnings, *vanes_show))
    report |= {
        "warnings": list(verdict.warnings), "clear": report["clear"] and not vanes_show,
        "passes": report["passes"] and not vanes_show,
    }  # fmt: skip
    report["estimates"] = estimates_of(work)
    files: list[Path] = []
    if out is not None:
        from shadewright.files import write_whole
        from shadewright.show.gallery import verdict_picture

        stem = _stem(document.name)
        files.append(write_whole(out / f"{stem}.check.json", json.dumps(report, indent=1, allow_nan=False) + "\n"))
        files += verdict_picture(work, shape, verdict, out / f"{stem}-sensor")
    if as_json:
        _print_json(report)
    else:
        say_check(verdict, document.name, f"{work.lens.name} on {work.camera.name}", files, report["estimates"])
    if not report["passes"]:
        raise typer.Exit(1)


@app.command()
def weigh(
    lens: LensFile, camera: CameraFile, hood: HoodFile = None, out: Out = None, as_json: Json = False,
    fast: Annotated[bool, typer.Option("--fast", help="Direct light alone: nothing by way of the wall.")] = False,
    surroundings: SurroundingsNames = None,
) -> None:  # fmt: skip
    """Compare plain, petal and tunnel hoods for the same wishes, and recommend one with reasons.

    Light that passes the hood and light that comes by way of its wall are told apart, in even light and in surroundings.

    Example: shadewright weigh my-lens.toml my-camera.toml my-hood.toml --surroundings low-sun
    """
    from shadewright.cli_light import surroundings_of
    from shadewright.design.weigh import weigh as run
    from shadewright.model.documents import read_camera, read_lens
    from shadewright.optics.beam import job
    from shadewright.report import estimates_of, weigh_report

    around = None if surroundings is None else surroundings_of(surroundings)
    lens_read, camera_read, wishes = read_lens(lens), read_camera(camera), _wishes(hood)
    with _progress(as_json) as progress, _naming(lens, hood):
        weighing = run(lens_read, camera_read, wishes, fast=fast, surroundings=around, progress=progress)
    report = weigh_report(weighing, lens=lens_read.name, camera=camera_read.name)
    report["estimates"] = estimates_of(job(lens_read, camera_read, use=wishes.use, accessories=wishes.accessory))
    files: list[Path] = []
    if out is not None:
        from shadewright.files import write_whole
        from shadewright.show.gallery import weighing_pictures

        stem = _stem(wishes.name)
        files.append(write_whole(out / f"{stem}.weigh.json", json.dumps(report, indent=1, allow_nan=False) + "\n"))
        files += weighing_pictures(lens_read, camera_read, wishes, weighing, out / stem)
    if as_json:
        _print_json(report)
    else:
        say_estimates(report["estimates"])
        say_weigh(weighing, files)


@app.command()
def make(
    lens: LensFile, camera: CameraFile, hood: GivenHood,
    out: Annotated[Path, typer.Option("--out", help="Folder for files; made if missing.")] = Path("results"),
    as_json: Json = False,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper that the template is tiled over.")] = Paper.A4,
    ring_only: Annotated[bool, typer.Option("--fit-ring", help="Make only the ring to try the seat with.")] = False,
    step: Annotated[bool, typer.Option("--step", help="Also an exact solid for CAD programs (STEP); needs the extra named step.")] = False,
) -> None:  # fmt: skip
    """Make a hood: a solid to print (STL, 3MF), a ring to try the seat, a template to cut, a drawing sheet.

    Every solid is checked before it is written and again as read back. A hood without a rim is fitted first.

    Example: shadewright make my-lens.toml my-camera.toml results/my-hood.toml --out results
    """
    from shadewright.design.fit import fit as run_fit
    from shadewright.load import load_shape
    from shadewright.make.workshop import make_files
    from shadewright.model.documents import read_camera, read_hood, read_lens
    from shadewright.optics.beam import job
    from shadewright.report import estimates_of

    lens_read, camera_read, document = read_lens(lens), read_camera(camera), read_hood(hood)
    warnings: tuple[str, ...] = ()
    with _progress(as_json) as progress, _naming(lens, hood):
        if not document.rim.given:
            fitting = run_fit(lens_read, camera_read, document, progress=progress)
            document, warnings = fitting.hood, fitting.warnings
        shape = load_shape(document, hood.parent)
        work = job(lens_read, camera_read, use=document.use, accessories=document.accessory)
        made = make_files(
            work, document, shape, out=out, stem=_stem(document.name), paper=str(paper), ring_only=ring_only, step=step,
            warnings=warnings, progress=progress,
        )  # fmt: skip
    estimates = estimates_of(work)
    if as_json:
        _print_json(made.report | {"estimates": estimates})
    else:
        say_estimates(estimates)
        for sentence in made.sentences:
            say(f"  {sentence}")
        say_files(list(made.files))


@app.command()
def show(
    lens: LensFile, camera: CameraFile, hood: GivenHood,
    out: Annotated[Path, typer.Option("--out", help="Folder for pictures; made if missing.")] = Path("results"),
    as_json: Json = False,
) -> None:  # fmt: skip
    """Draw why a hood is shaped as it is: section with rays, sensor's view, unrolled rim, sky map (SVG and PNG).

    Example: shadewright show my-lens.toml my-camera.toml results/my-hood.toml --out results
    """
    from shadewright.load import load_shape
    from shadewright.model.documents import read_camera, read_hood, read_lens
    from shadewright.optics.beam import job
    from shadewright.report import estimates_of
    from shadewright.show.gallery import all_pictures

    document = read_hood(hood)
    with _naming(lens, hood):
        shape = load_shape(document, hood.parent)
    with _naming(lens, hood):
        work = job(read_lens(lens), read_camera(camera), use=document.use, accessories=document.accessory)
    with _progress(as_json) as progress, _naming(lens, hood):
        files = all_pictures(work, document, shape, out / _stem(document.name), progress=progress)
    if as_json:
        _print_json({"report": "show", "version": 1, "estimates": estimates_of(work), "files": [str(path) for path in files]})
    else:
        say_estimates(estimates_of(work))
        say_files(files)


@app.command()
def new(
    kind: Annotated[Kind, typer.Argument(help="What to begin.")],
    path: Annotated[Path | None, typer.Argument(help="File to write; left out: printed.", show_default=False)] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask for the main values.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that exists.")] = False,
) -> None:
    """Begin a lens, camera, hood, prescription, surroundings or shots document, with comments that say what to measure.

    Example: shadewright new lens my-lens.toml --ask
    """
    from shadewright.files import write_whole

    text = resources.files("shadewright").joinpath(f"starters/{kind}.toml").read_text("utf-8")
    if ask:
        from shadewright.cli_new import asked

        text = asked(str(kind), text)
    if path is None:
        typer.echo(text, nl=False)
        return
    if path.exists() and not force:
        raise DocumentError(f"{path}: exists already; name another file, or add --force to write over it.")
    write_whole(path, text)
    say(f"  wrote {path}")


@app.command()
def schema(kind: Annotated[Kind, typer.Argument(help="Which document.")]) -> None:
    """Print the JSON schema of a kind of document, for editors.

    Example: shadewright schema lens > lens.schema.json
    """
    from shadewright.model.documents import schema as text

    typer.echo(text(str(kind)), nl=False)


@app.command()
def formats() -> None:
    """List the named frame formats with their sizes and sources."""
    from shadewright.model.formats import FORMATS

    for entry in FORMATS.values():
        say(f"{entry.name:<16} {entry.width:7.2f} x {entry.height:6.2f} mm   {entry.source}")


@app.command()
def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for everything.")] = Path("results/demo"),
) -> None:
    """Run the main job on an invented kit: fit, check, weigh, make and show five hoods."""
    from shadewright.demonstration import run

    with _progress(False) as progress:
        lines = run(out, progress=progress)
    for line in lines:
        say(line)


for command in (bench, trace, tradeoff, vanes, surroundings):
    app.command()(command)

app.add_typer(measure, name="measure")


def main() -> None:
    """Entry point: every error the user can mend becomes one sentence and exit code 2."""
    try:
        code = app(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except ShadewrightError as error:
        _complain(str(error))
        sys.exit(1 if isinstance(error, ShowsError) else 2)
    except SystemExit as done:
        if done.code == INTERRUPTED:
            _complain(STOPPED)
        raise
    except typer.Exit as done:
        sys.exit(done.exit_code)
    except typer.TyperException as error:
        _complain(_usage(error))
        sys.exit(2)
    except (KeyboardInterrupt, typer.Abort):
        _complain(STOPPED)
        sys.exit(INTERRUPTED)


def _complain(sentence: str) -> None:
    """One line on the error stream, whatever a file name or a value holds."""
    line = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in sentence)
    typer.echo(f"shadewright: {line}", err=True)


def _usage(error: typer.TyperException) -> str:
    """A usage error in this program's words: one sentence."""
    text = " ".join(str(getattr(error, "format_message", lambda: error)()).split())
    text = text.replace("Value error, ", "").rstrip(".?! ").replace(". ", ", ").replace("? ", ", ")
    return (
        f"{text[:1].lower()}{text[1:]}; see shadewright --help." if text else "name a command; see shadewright --help."
    )


@contextmanager
def _naming(lens: Path, hood: Path | None) -> Iterator[None]:
    """Errors of a job name the document that they are about."""
    try:
        yield
    except OpticsError as error:
        raise OpticsError(f"{lens}: {error}") from None
    except (FitError, LightError, MakeError) as error:
        if hood is None:
            raise
        raise type(error)(f"{hood}: {error}") from None


if __name__ == "__main__":
    main()
