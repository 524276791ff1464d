"""What a job does in its own process: the same work as the command line's, told step by step to the other end of a pipe."""

from __future__ import annotations

from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from shadewright.cli import _stem
from shadewright.design.weigh import weigh
from shadewright.errors import MakeError, ShadewrightError
from shadewright.make.workshop import make_files
from shadewright.model.hood import Hood
from shadewright.report import weigh_report
from shadewright.web import answers
from shadewright.web.answer import Ended, Step
from shadewright.web.desk import Desk
from shadewright.web.hand import settle_down
from shadewright.web.wire import Design, JobKind, NewJob, OfDesign


@dataclass
class Told:
    """Sends steps over a pipe."""

    pipe: Connection
    low: float = 0.0
    high: float = 1.0
    last: float = field(default=-1.0)

    def __call__(self, word: str, share: float) -> None:
        """Progress as every slow function takes it."""
        share = self.low + (self.high - self.low) * min(max(share, 0.0), 1.0)
        self.pipe.send(Step(word, round(share, 3)))

    def part(self, low: float, high: float) -> Told:
        """The same over a part of the way."""
        return Told(self.pipe, low, high)


def run(pipe: Connection, asked: NewJob, folder: Path, meshes: Path) -> None:
    """Do a job and tell how it ended."""
    settle_down(10)
    desk, told = Desk(meshes), Told(pipe)
    try:
        result, files = _WORK[asked.kind](desk, asked, folder, told)
        pipe.send(Ended(result, "done", tuple(path.name for path in files)))
    except ShadewrightError as error:
        pipe.send(Ended(None, str(error).replace(f"{folder}/", "").replace(str(folder), "the results")))
    finally:
        pipe.close()


def _fit(desk: Desk, asked: NewJob, _folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    return answers.fitted(desk, asked.design, progress=told)[0], []


def _check(desk: Desk, asked: NewJob, _folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    return answers.check(desk, OfDesign(design=asked.design), progress=told), []


def _weigh(desk: Desk, asked: NewJob, _folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    lens, camera, hood = desk.lens(asked.design.lens), desk.camera(asked.design.camera), desk.hood(asked.design.hood)
    weighing = weigh(lens, camera, hood, fast=asked.options.fast, progress=told)
    report = weigh_report(weighing, lens=lens.name, camera=camera.name)
    return {**report, "hoods": answers.weighed_hoods(weighing, hood, f"{lens.name} on {camera.name}")}, []


def with_rim(desk: Desk, design: Design, told: Told) -> tuple[Design, Hood, tuple[str, ...]]:
    """The design with its rim, fitted where it had none, and what there is to know of it."""
    hood = desk.hood(design.hood)
    if hood.rim.given:
        return design, hood, ()
    _report, fitting = answers.fitted(desk, design, progress=told)
    return design.model_copy(update={"hood": answers.as_tree(fitting.hood)}), fitting.hood, fitting.warnings


def _make(desk: Desk, asked: NewJob, folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    design, hood, warnings = with_rim(desk, asked.design, told.part(0.0, 0.3))
    shape = desk.shape_given(hood, design.mesh)
    try:
        made = make_files(
            desk.job(design, hood), hood, shape, out=folder, stem=_stem(hood.name), paper=str(asked.options.paper),
            ring_only=asked.options.fit_ring, step=asked.options.step, warnings=warnings, progress=told.part(0.3, 1.0),
        )  # fmt: skip
    except MakeError as error:
        raise MakeError(str(error).replace("--step: ", "")) from None
    report = {**made.report, "files": [path.name for path in made.files], "hood_document": answers.as_tree(hood)}
    return report, list(made.files)


def _show(desk: Desk, asked: NewJob, folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    from shadewright.show.gallery import all_pictures

    design, hood, _warnings = with_rim(desk, asked.design, told.part(0.0, 0.3))
    shape = desk.shape_given(hood, design.mesh)
    files = all_pictures(desk.job(design, hood), hood, shape, folder / _stem(hood.name), progress=told.part(0.3, 1.0))
    return {"report": "show", "version": 1, "files": [path.name for path in files]}, files


def _report(desk: Desk, asked: NewJob, folder: Path, told: Told) -> tuple[dict[str, Any], list[Path]]:
    from shadewright.make.paper import Paper
    from shadewright.show.handout import write_handout

    design, hood, warnings = with_rim(desk, asked.design, told.part(0.0, 0.3))
    shape = desk.shape_given(hood, design.mesh)
    path = write_handout(
        desk.job(design, hood), hood, shape, folder / f"{_stem(hood.name)}-report.pdf", paper=Paper(str(asked.options.paper)),
        warnings=warnings, progress=told.part(0.3, 1.0),
    )  # fmt: skip
    return {"report": "report", "version": 1, "files": [path.name]}, [path]


_WORK = {
    JobKind.FIT: _fit, JobKind.CHECK: _check, JobKind.WEIGH: _weigh, JobKind.MAKE: _make, JobKind.SHOW: _show,
    JobKind.REPORT: _report,
}  # fmt: skip
