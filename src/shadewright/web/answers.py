"""Answers to questions about a design, the same as the command line gives."""

from __future__ import annotations

import re
from importlib import resources
from typing import Any

from shadewright.clearance.check import NO_MARGIN
from shadewright.clearance.check import check as run_check
from shadewright.cli import PETALS_ARE_A_WAVE
from shadewright.cli_light import vanes_showing
from shadewright.demonstration import KIT
from shadewright.design.fit import Fitting, Progress, silent
from shadewright.design.fit import fit as run_fit
from shadewright.design.weigh import Weighing, weighed_settings
from shadewright.errors import DocumentError, FitError, OpticsError, ShadewrightError
from shadewright.light.share import light_map
from shadewright.model.base import Part, shown
from shadewright.model.documents import KINDS, parse_document, problems_in
from shadewright.model.hood import Hood, Lips, RimPart, RimShape, WallPart, WallShape
from shadewright.model.lens import Lens
from shadewright.model.shape import RoundHood, TunnelHood
from shadewright.model.writing import to_toml
from shadewright.report import check_report, fit_report
from shadewright.web.desk import Desk
from shadewright.web.wire import Alter, Design, OfDesign, OneDocument, Text, Tree

CELLS = 61
"""Cells of the map that `fit` takes its let-in share from, as the command line does."""
_KIND = re.compile(r"""(?m)^\s*document\s*=\s*["']([a-z]{1,20})["']""")


def as_tree(document: Part) -> Tree:
    """A document's fields as JSON takes them, defaults left out."""
    tree = document.model_dump(mode="json", exclude_defaults=True)
    kind = next(name for name, model in KINDS.items() if isinstance(document, model))
    return dict(_plain({"document": kind, "version": 1, **tree}))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items() if entry is not None}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    return value


def fitted(desk: Desk, design: Design, *, progress: Progress = silent) -> tuple[dict[str, Any], Fitting]:
    """The fitted hood and its report, and the fitting itself. Raises ShadewrightError."""
    hood = desk.hood(design.hood)
    fitting = run_fit(desk.lens(design.lens), desk.camera(design.camera), hood, progress=progress)
    beams = [fitting.job.beam(setting) for setting in weighed_settings(fitting.job)]
    let_in = [(beam.label, light_map(beam, fitting.shape, cells=CELLS).let_in) for beam in beams]
    return {"hood": as_tree(fitting.hood), "report": fit_report(fitting, let_in), "provisional": False}, fitting


def fit(desk: Desk, asked: OfDesign) -> dict[str, Any]:
    """Work out the hood that the wishes ask for. Raises ShadewrightError."""
    return fitted(desk, asked.design)[0]


def check(desk: Desk, asked: OfDesign, *, progress: Progress = silent) -> dict[str, Any]:
    """Say whether a hood shows, as `check --json` does. Raises ShadewrightError."""
    scene = desk.scene(asked.design, Alter())
    hood = scene.hood
    if scene.provisional:
        raise FitError("rim: this hood has no rim yet; fit it first, or give its rim.")
    verdict = run_check(
        scene.job, scene.shape, accessories=hood.accessory, margin=hood.margin if asked.with_margin else NO_MARGIN,
        allowance=hood.wishes.allowance, progress=progress,
    )  # fmt: skip
    report = check_report(verdict, lens=scene.lens.name, camera=scene.camera.name, hood=hood.name)
    if hood.rim.petals is not None and hood.rim.petals.valley_width is None:
        report["warnings"] = [*report["warnings"], PETALS_ARE_A_WAVE]
    standing_in = vanes_showing(scene.job, hood, scene.shape, hood.margin if asked.with_margin else NO_MARGIN)
    if standing_in:
        report |= {"warnings": [*report["warnings"], *standing_in], "clear": False, "passes": False}
    report["estimates"] = [
        {"field": e.field, "low": e.low, "high": e.high, "unit": e.unit, "reason": e.reason} for e in scene.job.estimates
    ]
    return report


def validate(desk: Desk, asked: OfDesign) -> dict[str, Any]:
    """Everything wrong with a design, field by field, and what is estimated in it."""
    design = asked.design
    problems = []
    for name, tree in (("lens", design.lens), ("camera", design.camera), ("hood", design.hood)):
        if tree is not None:
            for field, sentence in problems_in(tree, KINDS[name], name=name):  # type: ignore[type-var]
                problems.append({"document": name, "field": field, "sentence": sentence})
    estimates: list[dict[str, Any]] = []
    if not problems:
        try:
            hood = desk.hood(design.hood)
            work = desk.job(design, hood)
            estimates = [
                {"field": e.field, "used": round(e.used, 4), "low": round(e.low, 4), "high": round(e.high, 4), "unit": e.unit,
                 "reason": e.reason}
                for e in work.estimates
            ]  # fmt: skip
            desk.scene(design, Alter())
        except ShadewrightError as error:
            text = str(error)
            field = text.split(":", 1)[0].split(" ", 1)[0] if ":" in text else ""
            document = "lens" if isinstance(error, OpticsError) and field != "use" else "hood"
            problems.append({"document": document, "field": field, "sentence": text})
    return {"problems": problems, "estimates": estimates}


def read(_desk: Desk, asked: Text) -> dict[str, Any]:
    """A document from its TOML text. Raises DocumentError."""
    found = _KIND.search(asked.text)
    kind = found.group(1) if found else ""
    if kind not in KINDS:
        raise DocumentError(
            f"the text does not say what it is: begin it with document = {', '.join(shown(k) for k in sorted(KINDS))}."
        )
    named = re.search(r"(?m)^[ \t]*prescription[ \t]*=[ \t]*[\"']", asked.text) if kind == "lens" else None
    if named is None:
        document: Any = parse_document(asked.text, KINDS[kind], name=f"the {kind}")  # type: ignore[type-var]
    else:
        document = _lens_naming(asked)
    return {"kind": kind, "document": as_tree(document), "problems": []}


def _lens_naming(asked: Text) -> Lens:
    """A lens from text that names its prescription by a file. Raises DocumentError."""
    from shadewright.model.documents import _parse, document_from

    tree = _parse(asked.text, "the lens")
    if "based_on" in tree:
        raise DocumentError("the lens: based_on works only in files; write the other document's fields out here.")
    if asked.prescription is None:
        raise DocumentError(f"the lens: prescription = {shown(tree['prescription'])} names another document; open both together.")
    return document_from({**tree, "prescription": asked.prescription}, Lens, name="the lens")


def write(_desk: Desk, asked: OneDocument) -> dict[str, Any]:
    """A document as TOML text. Raises DocumentError."""
    from shadewright.model.documents import document_from

    kind = asked.document.get("document")
    if not isinstance(kind, str) or kind not in KINDS:
        raise DocumentError(
            f"document.document = {shown(kind)} must be one of {', '.join(shown(k) for k in sorted(KINDS))}; correct it."
        )
    document = document_from(asked.document, KINDS[kind], name=kind)  # type: ignore[type-var]
    heading = "".join(c if c.isprintable() or c == "\n" else " " for c in asked.heading)
    return {"text": to_toml(document, heading=heading)}


def starters() -> dict[str, Any]:
    """The invented kit's documents, to begin from, and the commented texts that `new` writes."""
    from shadewright.model.documents import read_camera, read_hood, read_lens

    with resources.as_file(resources.files("shadewright").joinpath("demo")) as folder:
        camera = as_tree(read_camera(folder / "camera.toml"))
        kit = []
        for name in KIT:
            lens, hood = read_lens(folder / f"{name}.toml"), read_hood(folder / f"{name}-hood.toml")
            kit.append({"name": name, "title": lens.name, "lens": as_tree(lens), "camera": camera, "hood": as_tree(hood)})
    texts = {
        kind: resources.files("shadewright").joinpath(f"starters/{kind}.toml").read_text("utf-8")
        for kind in ("lens", "camera", "hood")
    }
    return {"starters": kit, "texts": texts}


def weighed_hoods(weighing: Weighing, wishes: Hood, made_for: str) -> dict[str, Tree]:
    """The completed hood document of each candidate of a weighing."""
    found = {}
    for entry in weighing.candidates:
        shape = entry.shape
        if isinstance(shape, TunnelHood):
            r = shape.rim
            wall = WallPart(
                shape=WallShape.TUNNEL, inner_width=2 * shape.wall.half_width, inner_height=2 * shape.wall.half_height
            )
            rim = RimPart(shape=RimShape.TUNNEL, lips=Lips(right=r.right, top=r.top, left=r.left, bottom=r.bottom))
        else:
            assert isinstance(shape, RoundHood)
            given = wishes.wall is not None and wishes.wall.shape is not WallShape.TUNNEL
            wall = wishes.wall if given else WallPart(inner_diameter=2 * shape.wall.radius[0])  # type: ignore[assignment]
            rim = RimPart(shape=RimShape(entry.name), points=tuple(zip(shape.rim.azimuth, shape.rim.z, strict=True)))
        hood = wishes.model_copy(update={"wall": wall, "rim": rim, "made_for": made_for, "name": f"{wishes.name}, {entry.name}"[:120]})
        found[entry.name] = as_tree(hood)
    return found
