"""The commands about light: vanes for a hood, the best trade-offs of light against size, and named surroundings."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shadewright.errors import DocumentError, LightError
from shadewright.words import say, say_files

if TYPE_CHECKING:
    from shadewright.design.tradeoff import Front, Task
    from shadewright.design.vane_trade import VaneTrade
    from shadewright.model.hood import Hood, Margin
    from shadewright.model.shape import HoodShape
    from shadewright.model.surroundings import Surroundings
    from shadewright.optics.beam import Job

SurroundingsNames = Annotated[
    list[str] | None,
    typer.Option(
        "--surroundings", help="Name of surroundings (see `shadewright surroundings`) or their document; may be repeated.",
        show_default=False,
    ),
]  # fmt: skip
SurroundingsName = Annotated[
    str, typer.Option("--surroundings", help="Name of surroundings, or their document (TOML).")
]
FinishNames = Annotated[
    list[str] | None,
    typer.Option("--finish", help="Finish of the inside; may be repeated, the first is traded on.", show_default=False),
]


class Against(StrEnum):
    """What light is traded against."""

    VOLUME = "volume"
    LENGTH = "length"
    ACROSS = "across"
    MASS = "mass"
    STORED = "stored"


class Pains(StrEnum):
    """How closely sizes are looked at."""

    QUICK = "quick"
    USUAL = "usual"
    THOROUGH = "thorough"


def surroundings_of(names: list[str]) -> tuple[Surroundings, ...]:
    """Surroundings by name or from their documents. Raises DocumentError, FileError."""
    from shadewright.files import is_there
    from shadewright.model.base import shown
    from shadewright.model.documents import read_surroundings
    from shadewright.model.named_surroundings import NAMED

    found = []
    for name in names:
        if name in NAMED:
            found.append(NAMED[name])
        elif is_there(Path(name)) or name.lower().endswith(".toml"):
            found.append(read_surroundings(name))
        else:
            raise DocumentError(
                f"--surroundings = {shown(name)} is neither a file nor one of: {', '.join(NAMED)}; correct it."
            )
    return tuple(found)


def surroundings() -> None:
    """List the named surroundings that hoods can be weighed in; `shadewright new surroundings` begins one of your own."""
    from shadewright.model.named_surroundings import NAMED, USUAL

    for name, entry in NAMED.items():
        usual = " (weighed in unless others are asked for)" if name in USUAL else ""
        say(f"{name:<10} {entry.notes}{usual}")


def tradeoff(
    lens: Annotated[Path, typer.Argument(help="Lens document (TOML).", show_default=False)],
    camera: Annotated[Path, typer.Argument(help="Camera document (TOML).", show_default=False)],
    hood: Annotated[
        Path | None, typer.Argument(help="Hood document with wishes; left out: defaults.", show_default=False)
    ] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder for files; made if missing.")] = Path("results"),
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON (see docs/json.md) and nothing else.")] = False,
    across: Annotated[float | None, typer.Option("--across", help="Largest outside diameter, mm.", show_default=False)] = None,
    length: Annotated[float | None, typer.Option("--length", help="Largest length ahead of the seat, mm.", show_default=False)] = None,
    mass: Annotated[float | None, typer.Option("--mass", help="Largest mass as printed, g.", show_default=False)] = None,
    stored: Annotated[
        float | None, typer.Option("--stored", help="Most of the barrel covered when reversed, mm; leaves tunnels out.", show_default=False)
    ] = None,
    against: Annotated[Against, typer.Option("--against", help="The size that light is traded against.")] = Against.VOLUME,
    finish: FinishNames = None,
    around: SurroundingsName = "even",
    fast: Annotated[bool, typer.Option("--fast", help="Trade on direct light alone.")] = False,
    effort: Annotated[Pains, typer.Option("--effort", help="How closely sizes are looked at.")] = Pains.USUAL,
    workers: Annotated[
        int | None, typer.Option("--workers", help="Processes to work on; left out: one for each core.", show_default=False)
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", help="Address of a Dask scheduler to work on, as tcp://host:8786.", show_default=False)
    ] = None,
    journal: Annotated[
        Path | None, typer.Option("--journal", help="File that keeps what was worked out; left out: beside the results.", show_default=False)
    ] = None,
) -> None:  # fmt: skip
    """Search walls, rims and sizes for the best trade-offs between light let in and size, each a hood that can be built.

    Stop it at any time: what was worked out is kept in the journal, and the same command goes on from there.

    Example: shadewright tradeoff my-lens.toml my-camera.toml --across 110 --length 60 --out results
    """
    from shadewright import cli
    from shadewright.design.tradeoff import Effort, Limits, Size, Task, best_trades, journal_at
    from shadewright.design.tradeoff_search import runner
    from shadewright.design.weigh_stray import finish_of
    from shadewright.light.finishes import finish_named, finishes_for
    from shadewright.model.documents import read_camera, read_lens
    from shadewright.report import tradeoff_report

    scene = surroundings_of([around])[0]
    lens_read, camera_read, wishes = read_lens(lens), read_camera(camera), cli._wishes(hood)
    given = {"across": across, "length": length, "mass": mass, "stored": stored}
    limits = Limits(**{name: value for name, value in given.items() if value is not None})
    with cli._naming(lens, hood):
        coats = tuple(finish_named(name, finishes_for(wishes)) for name in finish or ()) or (finish_of(wishes),)
    task = Task(lens_read, camera_read, wishes, limits, Size(str(against)), scene, () if fast else coats)
    stem = cli._stem(wishes.name)
    path = journal or out / f"{stem}.tradeoff.jsonl"
    kept = journal_at(path, task)
    if kept.known and not as_json:
        say(f"going on from {path}, which holds {len(kept.known)} hoods")
    try:
        with cli._progress(as_json) as progress, cli._naming(lens, hood), runner(workers=workers, scheduler=scheduler) as on:
            front = best_trades(task, effort=Effort(str(effort)), on=on, journal=kept, progress=progress)
    except KeyboardInterrupt:
        typer.echo(f"{len(kept.known)} hoods are kept in {path}; the same command goes on from there.", err=True)
        raise
    report = tradeoff_report(front, task)
    files = [path, *_trade_files(front, task, out, stem, report)]
    if as_json:
        cli._print_json(report)
    else:
        _say_front(front, task)
        say_files(files)


def _trade_files(front: Front, task: Task, out: Path, stem: str, report: dict[str, Any]) -> list[Path]:
    from shadewright.design.tradeoff import describe, named
    from shadewright.files import write_whole
    from shadewright.model.writing import to_toml
    from shadewright.show.page import save
    from shadewright.show.tradeoff import front_figure

    files = [write_whole(out / f"{stem}.tradeoff.json", json.dumps(report, indent=1, allow_nan=False) + "\n")]
    files += save(front_figure(front, task), out / f"{stem}-tradeoff")
    for index, traded in enumerate(front.best, start=1):
        heading = f"Number {index} of a trade-off search: {describe(traded.design, traded.outcome)}."
        files.append(write_whole(out / f"{stem}-{index:02d}.toml", to_toml(named(index, task, traded), heading=heading)))
    return files


def _say_front(front: Front, task: Task) -> None:
    from shadewright.design.tradeoff import describe

    by = f", {task.finishes[0].name} inside" if task.finishes else ", direct light alone"
    say(f"best trade-offs for {task.lens.name}, light in {task.surroundings.name} surroundings{by}")
    say(f"{front.looked_at} hoods looked at, {len(front.tried)} within the limits, {len(front.best)} that no other beats")
    say("no.  light    direct   by the wall  length    across     mass     volume    hood")
    for index, traded in enumerate(front.best, start=1):
        o = traded.outcome
        wall = f"{o.walls[0]:6.2%}" if o.walls else "      "
        say(
            f"{index:>3}  {o.light:6.1%}   {o.direct:6.1%}   {wall}       {o.depth:5.1f} mm  {o.across:6.1f} mm  {o.mass:5.0f} g  "
            f"{o.volume:5.0f} cm3  {describe(traded.design, traded.outcome)}"
        )
    for sentence in front.dropped:
        say(f"  dropped: {sentence}")


def vanes(
    lens: Annotated[Path, typer.Argument(help="Lens document (TOML).", show_default=False)],
    camera: Annotated[Path, typer.Argument(help="Camera document (TOML).", show_default=False)],
    hood: Annotated[
        Path | None, typer.Argument(help="Hood document with wishes; left out: defaults.", show_default=False)
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for files; made if missing.", show_default=False)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON (see docs/json.md) and nothing else.")] = False,
    depth: Annotated[
        list[float] | None, typer.Option("--depth", help="Depth of the vanes, mm; may be repeated.", show_default=False)
    ] = None,
    around: SurroundingsName = "low-sun",
    finish: Annotated[str | None, typer.Option("--finish", help="Finish of the inside.", show_default=False)] = None,
) -> None:  # fmt: skip
    """Lay out rings inside a hood so that its glass sees no lit wall, and say what their depth buys.

    The table is for a plain hood as long as the one fitted, its opening kept and its wall set back by the vanes' depth. To
    have vanes in a fitted hood, ask for wishes.vane_depth; a wall of its own must leave room for them.

    Example: shadewright vanes my-lens.toml my-camera.toml my-hood.toml --depth 3 --depth 6 --out results
    """
    from shadewright import cli
    from shadewright.design.fit import fit
    from shadewright.design.vane_trade import DEPTHS, vane_trades
    from shadewright.design.weigh_stray import finish_of
    from shadewright.light.finishes import finish_named, finishes_for
    from shadewright.model.documents import read_camera, read_lens

    scene = surroundings_of([around])[0]
    lens_read, camera_read, wishes = read_lens(lens), read_camera(camera), cli._wishes(hood)
    depths = tuple(dict.fromkeys([0.0, *depth])) if depth else DEPTHS
    for value in depths:
        if not 0 <= value <= 50:
            raise LightError(f"--depth = {value:g} must be from 0 to 50; correct it.")
    with cli._progress(as_json) as progress, cli._naming(lens, hood):
        coat = finish_named(finish, finishes_for(wishes)) if finish is not None else finish_of(wishes)
        fitting = fit(lens_read, camera_read, wishes, progress=progress)
        rows = vane_trades(fitting, scene, coat, depths=depths)
    report = vane_report(rows, lens=lens_read.name, camera=camera_read.name, finish=coat.name)
    files: list[Path] = []
    if out is not None:
        from shadewright.files import write_whole
        from shadewright.show.page import save
        from shadewright.show.vanes import vane_figure

        stem = cli._stem(wishes.name)
        files.append(write_whole(out / f"{stem}.vanes.json", json.dumps(report, indent=1, allow_nan=False) + "\n"))
        files += save(vane_figure(rows, title=f"Vanes for {lens_read.name}"), out / f"{stem}-vanes")
    if as_json:
        cli._print_json(report)
        return
    say(f"vanes for a plain hood on {lens_read.name}, {coat.name} inside, {scene.name} surroundings")
    say("depth    vanes  across     direct   by the wall   without them  no lit wall in sight  to print")
    for row in rows:
        say(
            f"{row.depth:4.1f} mm  {row.count:>4}  {row.across:6.1f} mm  {row.light.direct:6.1%}   {row.light.wall or 0:8.3%}      "
            f"{row.bare:7.3%}       {'yes' if row.complete else 'no':<20}  {_printing(row)}"
        )
    for row in rows:
        if row.layout is not None:
            say(f"  {row.depth:g} mm deep, mm ahead of the seat: " + ", ".join(f"{v.z:.1f}" for v in row.layout.vanes))
    say("  NOTE `make` prints a hood's vanes with its wall, and draws them as rings to be cut for a hood of card.")
    say_files(files)


def _printing(row: VaneTrade) -> str:
    """Whether a row's vanes can be printed as they stand."""
    if row.layout is None:
        return "-"
    if row.printable:
        return "yes"
    return f"no, {row.layout.closest:.2f} mm apart; of card, or {row.least:.2f} mm apart at the least"


def vanes_showing(work: Job, hood: Hood, shape: HoodShape, margin: Margin) -> list[str]:
    """A sentence for each vane of a hood that shows, and one for ridges that show. Raises LightError."""
    if not hood.vane and hood.ridges is None:
        return []
    # The light engine loads only for hoods with vanes or ridges.
    from shadewright.design.vane_plan import vanes_in_beam

    return vanes_in_beam(work, hood, shape, margin)


def vane_report(rows: list[VaneTrade], *, lens: str, camera: str, finish: str) -> dict[str, Any]:
    """What `vanes --json` prints."""
    from shadewright.report import stray_dict

    return {
        "report": "vanes", "version": 1, "lens": lens, "camera": camera, "finish": finish,
        "depths": [
            {
                "depth": row.depth, "count": row.count, "across": round(row.across, 4), "complete": row.complete,
                "printable": row.printable,
                "light": stray_dict(row.light), "bare_wall": round(row.bare, 6),
                "vanes": [] if row.layout is None else [
                    {"z": round(v.z, 3), "inner_diameter": round(2 * v.inner_radius, 3), "outer_diameter": round(2 * w, 3)}
                    for v, w in zip(row.layout.vanes, row.layout.wall_radius, strict=True)
                ],
            }
            for row in rows
        ],
    }  # fmt: skip
