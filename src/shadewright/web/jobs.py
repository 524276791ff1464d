"""Jobs: slow work in processes of its own, with progress, cancelling, and files that are kept for a while."""

from __future__ import annotations

import secrets
import shutil
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from enum import StrEnum
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from shadewright.errors import BenchError, FileError
from shadewright.web.answer import Ended, Step, be_job, what_is
from shadewright.web.hands import processes
from shadewright.web.measuring_wire import Measuring
from shadewright.web.wire import NewJob

MOST_WAITING = 20
MOST_KEPT = 24
"""Jobs kept after their end, with their files."""
LONGEST = 900.0
"""Seconds after which a job is ended."""


class State(StrEnum):
    """Where a job is."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


ENDED = (State.DONE, State.FAILED, State.CANCELLED)


@dataclass
class JobRecord:
    """A job and how far it has come."""

    name: str
    asked: NewJob | Measuring
    folder: Path
    state: State = State.WAITING
    share: float = 0.0
    sentence: str = "waiting for its turn"
    result: dict[str, Any] | None = None
    files: tuple[str, ...] = ()
    process: BaseProcess | None = field(default=None, repr=False)

    def as_json(self) -> dict[str, Any]:
        """What is told about it."""
        files = [
            {"name": name, "bytes": size, "what": what_is(name)}
            for name in self.files
            if (size := _size(self.folder / name)) is not None
        ]
        return {
            "id": self.name, "kind": str(self.asked.kind), "state": str(self.state), "share": self.share, "sentence": self.sentence,
            "result": self.result, "files": files,
        }  # fmt: skip


def _size(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except OSError:
        return None


class Jobs:
    """The jobs of a bench: at most `running` at once, the rest in line."""

    def __init__(self, *, folder: Path, meshes: Path, running: int) -> None:
        self.folder, self.meshes = folder, meshes
        self.lock = threading.Lock()
        self.records: dict[str, JobRecord] = {}
        self.line: deque[str] = deque()
        self.places = running
        self.closed = False

    def begin(self, asked: NewJob | Measuring) -> str:
        """Put a job in line; returns its name. Raises BenchError where the line is full."""
        with self.lock:
            if len(self.line) >= MOST_WAITING:
                raise BenchError("too many jobs are waiting; cancel one, or wait until some are done.")
            name = secrets.token_hex(12)
            self.records[name] = JobRecord(name, asked, self.folder / name)
            self.line.append(name)
            self._drop_old()
        self._next()
        return name

    def record(self, name: str) -> JobRecord:
        """A job by its name. Raises FileError."""
        found = self.records.get(name)
        if found is None:
            raise FileError("no such job, or it has been dropped for newer ones; begin it again.")
        return found

    def file(self, name: str, file: str) -> Path:
        """A file of a job. Raises FileError for what the job did not make."""
        record = self.record(name)
        path = record.folder / file
        if file not in record.files or not path.is_file():
            raise FileError("the job has made no file of this name; see its list of files.")
        return path

    def cancel(self, name: str) -> None:
        """Stop a job, or drop one that has ended, with its files. Raises FileError."""
        record = self.record(name)
        with self.lock:
            ended = record.state in ENDED
            if not ended:
                record.state, record.sentence = State.CANCELLED, "cancelled"
            if name in self.line:
                self.line.remove(name)
            process = record.process
            if ended:
                del self.records[name]
        if process is not None and process.is_alive():
            process.terminate()
        if ended or process is None:
            shutil.rmtree(record.folder, ignore_errors=True)

    def _drop_old(self) -> None:
        ended = [record for record in self.records.values() if record.state in ENDED]
        for record in ended[: max(0, len(ended) - MOST_KEPT)]:
            del self.records[record.name]
            shutil.rmtree(record.folder, ignore_errors=True)

    def _next(self) -> None:
        """Begin what is first in line where a place is free."""
        with self.lock:
            if self.places <= 0 or not self.line or self.closed:
                return
            self.places -= 1
            record = self.records[self.line.popleft()]
            record.state, record.sentence = State.RUNNING, "starting"
        threading.Thread(target=self._attend, args=(record,), name="job", daemon=True).start()

    def _attend(self, record: JobRecord) -> None:
        """Follow one job to its end."""
        record.folder.mkdir(parents=True, exist_ok=True)
        context = processes()
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=be_job, args=(theirs, record.asked, record.folder, self.meshes), daemon=True)  # type: ignore[attr-defined]
        process.start()
        theirs.close()
        record.process = process
        if record.state is State.CANCELLED:
            process.terminate()
        until = time.monotonic() + LONGEST
        ended = Ended(None, "the program failed at this job; nothing is left of it.")
        try:
            while ours.poll(max(0.0, until - time.monotonic())):
                told = ours.recv()
                if isinstance(told, Ended):
                    ended = told
                    break
                if isinstance(told, Step) and record.state is State.RUNNING:
                    record.share, record.sentence = max(record.share, told.share), told.sentence
            else:
                ended = Ended(None, f"the job took longer than {LONGEST:g} s and was stopped; list fewer states.")
        except (EOFError, OSError):
            pass
        if ended.result is None:
            process.terminate()
        process.join(5.0)
        if process.is_alive():
            process.kill()
            process.join(5.0)
        ours.close()
        self._close_book(record, ended)
        self._next()

    def _close_book(self, record: JobRecord, ended: Ended) -> None:
        with self.lock:
            self.places += 1
            if record.state is State.RUNNING:
                record.state = State.FAILED if ended.result is None else State.DONE
                record.result, record.files, record.sentence = ended.result, ended.files, ended.sentence
                record.share = 1.0 if ended.result is not None else record.share
        if record.state is not State.DONE:
            shutil.rmtree(record.folder, ignore_errors=True)

    def close(self) -> None:
        """Stop all jobs."""
        self.closed = True
        for record in list(self.records.values()):
            if record.process is not None and record.process.is_alive():
                record.process.terminate()
