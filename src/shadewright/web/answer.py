"""What passes between the server and its processes; nothing here loads the optics, so that the page is served at once."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from shadewright.errors import ShadewrightError
from shadewright.web.measuring_wire import Measuring
from shadewright.web.wire import NewJob

REFUSED = 422
DONE = 200
WHAT = (
    ("-measured.toml", "Lens document, measured (TOML)"), ("-shots.toml", "Shots document (TOML)"),
    (".pupil.json", "Values and errors (JSON)"), (".proof.json", "Record of the proof (JSON)"), (".strip.json", "Rim as read (JSON)"),
    ("-proof.pdf", "Contact sheet (PDF)"), ("-proof.png", "Contact sheet (PNG)"), ("rim-strip-sheet.pdf", "Sheet for a strip, A4 (PDF)"),
    ("-ring.stl", "Ring to try the seat with (STL)"), ("-ring.3mf", "Ring to try the seat with (3MF)"),
    (".stl", "Solid for printing (STL)"), (".3mf", "Solid for printing (3MF)"), (".step", "Exact solid for CAD programs (STEP)"),
    ("-template.svg", "Flat template (SVG)"), ("-template.dxf", "Flat template (DXF)"),
    ("-template.pdf", "Flat template, tiled to print (PDF)"), ("-drawing.pdf", "Drawing sheet (PDF)"),
    ("-report.pdf", "Report (PDF)"), (".toml", "Hood document (TOML)"), (".json", "Result (JSON)"), (".svg", "Picture (SVG)"),
    (".png", "Picture (PNG)"), (".pdf", "Sheet (PDF)"),
)  # fmt: skip
"""What files are, by how their names end."""


@dataclass(frozen=True)
class Answer:
    """An answer as it goes out: a status of HTTP and JSON."""

    status: int
    body: bytes


def compact(tree: Any) -> bytes:
    """JSON without spaces; a number that cannot be given, such as a share of nothing, is null."""
    try:
        text = json.dumps(tree, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    except ValueError:
        text = json.dumps(_finite(tree), allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    return text.encode("utf-8", "replace")


def _finite(tree: Any) -> Any:
    if isinstance(tree, dict):
        return {key: _finite(value) for key, value in tree.items()}
    if isinstance(tree, list | tuple):
        return [_finite(value) for value in tree]
    return None if isinstance(tree, float) and not math.isfinite(tree) else tree


def refusal(error: ShadewrightError, status: int = REFUSED) -> Answer:
    """An error as an answer: its one sentence, which names no folder."""
    return Answer(status, compact({"sentence": str(error)}))


@dataclass(frozen=True)
class Step:
    """How far a job has come."""

    sentence: str
    share: float


@dataclass(frozen=True)
class Ended:
    """How a job ended: its result, or the sentence that says why there is none."""

    result: dict[str, Any] | None
    sentence: str
    files: tuple[str, ...] = ()


def what_is(name: str) -> str:
    """What a file is, in words."""
    return next((words for ending, words in WHAT if name.endswith(ending)), "File")


def be_hand(questions: Connection, meshes: Path, niceness: int) -> None:
    """Answer questions until the other end closes."""
    from shadewright.web.hand import work

    work(questions, meshes, niceness)


def be_job(pipe: Connection, asked: NewJob | Measuring, folder: Path, meshes: Path) -> None:
    """Do a job and tell how it ended."""
    if not isinstance(asked, NewJob):
        from shadewright.web.measuring_work import run as measure

        measure(pipe, asked, folder, meshes)
        return
    from shadewright.web.job_work import run

    run(pipe, asked, folder, meshes)
