"""The working process: it answers one question after another, and keeps what it worked out for the next."""

from __future__ import annotations

import os
import signal
import warnings
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from shadewright.errors import ShadewrightError
from shadewright.web import answers
from shadewright.web.answer import DONE, Answer, compact, refusal
from shadewright.web.desk import Desk
from shadewright.web.look import look
from shadewright.web.meshes import keep_mesh
from shadewright.web.wire import LensFile, Look, OfDesign, OneDocument, Text, read_request


def _look(desk: Desk, body: bytes) -> Any:
    return look(desk, read_request(body, Look))


def _fit(desk: Desk, body: bytes) -> Any:
    return answers.fit(desk, read_request(body, OfDesign))


def _check(desk: Desk, body: bytes) -> Any:
    return answers.check(desk, read_request(body, OfDesign))


def _validate(desk: Desk, body: bytes) -> Any:
    return answers.validate(desk, read_request(body, OfDesign))


def _read(desk: Desk, body: bytes) -> Any:
    return answers.read(desk, read_request(body, Text))


def _write(desk: Desk, body: bytes) -> Any:
    return answers.write(desk, read_request(body, OneDocument))


def _mesh(desk: Desk, body: bytes) -> Any:
    name, triangles = keep_mesh(desk.meshes, body)
    return {"mesh": name, "triangles": triangles}


def _starters(_desk: Desk, _body: bytes) -> Any:
    return answers.starters()


def _prescription(desk: Desk, body: bytes) -> Any:
    from shadewright.web.prescriptions import prescription

    return prescription(desk, read_request(body, LensFile))


def _surfaces(desk: Desk, body: bytes) -> Any:
    from shadewright.web.prescriptions import surfaces

    return surfaces(desk, read_request(body, OfDesign))


def _finishes(_desk: Desk, _body: bytes) -> Any:
    from shadewright.web.finishes import finishes

    return finishes()


def _frame(desk: Desk, body: bytes) -> Any:
    from shadewright.web.measuring_work import frame

    return frame(desk, body)


def _readings(desk: Desk, body: bytes) -> Any:
    from shadewright.web.measuring_work import readings

    return readings(desk, body)


def _warm(desk: Desk, _body: bytes) -> Any:
    """One look at a design of the kit, so that no slider waits for a kernel to load."""
    kit = answers.starters()["starters"][0]
    design = {name: kit[name] for name in ("lens", "camera", "hood")}
    asked = {"design": design, "alter": {"moved": 3.0}, "want": ["sensor", "rim", "section", "sky", "solid", "numbers"]}
    look(desk, Look.model_validate(asked))
    return {}


QUESTIONS: dict[str, Callable[[Desk, bytes], Any]] = {
    "look": _look, "fit": _fit, "check": _check, "validate": _validate, "read": _read, "write": _write, "mesh": _mesh,
    "starters": _starters, "warm": _warm, "frame": _frame, "readings": _readings,
    "prescription": _prescription, "surfaces": _surfaces, "finishes": _finishes,
}  # fmt: skip


def settle_down(niceness: int) -> None:
    """Leave interruptions to the parent, and give way to what is more urgent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # What numpy remarks on meets nobody who could mend it: answers say themselves what is not known.
    warnings.filterwarnings("ignore", category=RuntimeWarning)
    if niceness and hasattr(os, "nice"):
        os.nice(niceness)


def work(questions: Connection, meshes: Path, niceness: int) -> None:
    """Answer until the other end closes."""
    settle_down(niceness)
    desk = Desk(meshes)
    while True:
        try:
            name, body = questions.recv()
        except (EOFError, OSError):
            return
        try:
            answer = Answer(DONE, compact(QUESTIONS[name](desk, body)))
        except ShadewrightError as error:
            answer = refusal(error)
        try:
            questions.send(answer)
        except OSError:
            return
