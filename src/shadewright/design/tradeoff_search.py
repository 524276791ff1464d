"""How a search goes through its designs: a journal that outlives a stop, and processes or a cluster to work on.

Every design is worked out by the same function of the task and the design alone, and what comes back is put in the order
in which it was asked for. The answer is therefore the same to the last bit however the work is spread.
"""

from __future__ import annotations

import importlib
import json
import multiprocessing
import os
import re
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures import as_completed as pool_as_completed
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, Protocol, TypeVar

from shadewright.design.tradeoff_points import Design, Outcome, Task
from shadewright.errors import FileError, SearchError
from shadewright.files import read_limited, write_whole
from shadewright.model.hood import Hood

JOURNAL_LIMIT = 50_000_000
"""Largest journal read, bytes."""
FORMAT = 1
CONNECT_WITHIN = 10.0
"""How long a scheduler has to answer, seconds."""
ADDRESS = re.compile(r"(tcp|tls)://[^\s/:@]+(:\d{1,5})?")

Item = TypeVar("Item")
Answer = TypeVar("Answer")


class Runner(Protocol):
    """Works a function of a task out for many items; answers come as they are ready, each with its number."""

    def run(self, function: Callable[[Task, Item], Answer], task: Task, items: Sequence[Item]) -> Iterator[tuple[int, Answer]]:
        """Pairs of an item's number and its answer."""
        ...


class Here:
    """One after the other in this process."""

    def run(self, function: Callable[[Task, Item], Answer], task: Task, items: Sequence[Item]) -> Iterator[tuple[int, Answer]]:
        """Pairs of an item's number and its answer."""
        for index, item in enumerate(items):
            yield index, function(task, item)


@dataclass(frozen=True)
class Processes:
    """Processes of this machine."""

    pool: ProcessPoolExecutor

    def run(self, function: Callable[[Task, Item], Answer], task: Task, items: Sequence[Item]) -> Iterator[tuple[int, Answer]]:
        """Pairs of an item's number and its answer."""
        asked = {self.pool.submit(function, task, item): index for index, item in enumerate(items)}
        for done in pool_as_completed(asked):
            yield asked[done], done.result()


@dataclass(frozen=True)
class Cluster:
    """Workers of a Dask scheduler."""

    client: Any

    def run(self, function: Callable[[Task, Item], Answer], task: Task, items: Sequence[Item]) -> Iterator[tuple[int, Answer]]:
        """Pairs of an item's number and its answer."""
        distributed: Any = importlib.import_module("distributed")
        sent = self.client.scatter(task, broadcast=True, hash=False)
        asked = {
            self.client.submit(function, sent, item, pure=False): index for index, item in enumerate(items)
        }
        try:
            for done in distributed.as_completed(asked, loop=self.client.loop):
                yield asked[done], done.result()
        finally:
            self.client.cancel(list(asked))


def _in_worker() -> None:
    """In a worker: the stop key is the parent's to answer, and with the parent gone there is nobody to work for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def runner(*, workers: int | None = None, scheduler: str | None = None) -> Iterator[Runner]:
    """Where a search works: on a scheduler's cluster, on `workers` processes (all cores if None), or here if it is 1.

    Raises SearchError.
    """
    if scheduler is not None:
        client = _client(scheduler)
        try:
            yield Cluster(client)
        finally:
            client.close()
        return
    count = workers if workers is not None else len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if not 1 <= count <= 256:
        raise SearchError(f"--workers = {count} must be from 1 to 256; correct it.")
    if count == 1:
        yield Here()
        return
    # A fresh interpreter for each: a fork would copy threads that compiled code has started.
    pool = ProcessPoolExecutor(
        count, mp_context=multiprocessing.get_context("spawn"), initializer=_in_worker
    )
    try:
        yield Processes(pool)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _client(address: str) -> Any:
    if not ADDRESS.fullmatch(address):
        raise SearchError(f"--scheduler = {address} must be like tcp://host:8786; correct it.")
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise SearchError(
            'the library "distributed" is not installed; install shadewright with its extra "cluster", or leave out --scheduler.'
        ) from None
    try:
        client: Any = distributed.Client(address, timeout=CONNECT_WITHIN, set_as_default=False)
    except (OSError, TimeoutError) as error:
        raise SearchError(
            f"--scheduler = {address}: no scheduler answers there within {CONNECT_WITHIN:g} s ({type(error).__name__}); start it, "
            "or correct the address."
        ) from None
    if not client.scheduler_info()["workers"]:
        client.close()
        raise SearchError(f"--scheduler = {address}: it has no workers; start some there.")
    return client


def digest(task: Task) -> str:
    """A mark that is the same for the same task and only for it."""
    tree = {
        "lens": task.lens.model_dump(mode="json"), "camera": task.camera.model_dump(mode="json"),
        "hood": task.hood.model_dump(mode="json"), "surroundings": task.surroundings.model_dump(mode="json"),
        "limits": {k: repr(v) for k, v in asdict(task.limits).items()},
        "finishes": [repr(finish) for finish in task.finishes], "format": FORMAT,
    }  # fmt: skip
    return sha256(json.dumps(tree, sort_keys=True).encode()).hexdigest()


@dataclass
class Journal:
    """Every design worked out, one line of JSON each, written as soon as it is known; without a path, kept in memory only.

    known: what the search found of each design. built: what came of those that were fitted and checked, and their documents.
    """

    path: Path | None
    mark: str
    known: dict[Design, Outcome] = field(default_factory=dict)
    built: dict[Design, tuple[Outcome, Hood | None]] = field(default_factory=dict)
    heading: str = ""

    @classmethod
    def opened(cls, path: Path | None, task: Task) -> Journal:
        """The journal at `path`, with what an earlier search of the same task left there. Raises SearchError, FileError."""
        journal = cls(path, digest(task))
        if path is None:
            return journal
        journal.heading = journal._heading(task)
        if not path.exists():
            return journal
        text = read_limited(path, JOURNAL_LIMIT).decode("utf-8", errors="replace")
        # A line cut short by a crash ends the file without a newline; it is worked out again.
        lines, whole = text.split("\n")[:-1], text[: text.rfind("\n") + 1]
        journal._require_same(lines)
        for number, line in enumerate(lines[1:], start=2):
            try:
                journal._take(json.loads(line))
            except (ValueError, KeyError, TypeError):
                raise SearchError(
                    f"{path}: line {number} is not one of a search's journal; delete the file or name another."
                ) from None
        if whole != text:
            write_whole(path, whole)
        return journal

    def _take(self, tree: dict[str, Any]) -> None:
        """Take in one line."""
        design, outcome = Design.from_json(tree["design"]), Outcome.from_json(tree["outcome"])
        if "hood" not in tree:
            self.known[design] = outcome
            return
        hood = None if tree["hood"] is None else Hood.model_validate_json(json.dumps(tree["hood"]))
        self.built[design] = outcome, hood

    def _heading(self, task: Task) -> str:
        tree = {"journal": "tradeoff", "version": FORMAT, "lens": task.lens.name, "task": self.mark}
        return json.dumps(tree) + "\n"

    def _require_same(self, lines: list[str]) -> None:
        try:
            heading = json.loads(lines[0]) if lines else None
        except ValueError:
            heading = None
        if not isinstance(heading, dict) or heading.get("journal") != "tradeoff":
            raise SearchError(f"{self.path}: is not the journal of a search; name another file.")
        if heading.get("task") != self.mark:
            raise SearchError(
                f"{self.path}: is the journal of another search (other documents, limits, finishes or surroundings); name "
                "another file, or delete it to begin anew."
            )

    def add(self, design: Design, outcome: Outcome) -> None:
        """Keep an outcome, on disk too. Raises FileError."""
        self.known[design] = outcome
        self._write({"design": design.as_json(), "outcome": outcome.as_json()})

    def add_built(self, design: Design, outcome: Outcome, hood: Hood | None) -> None:
        """Keep what came of a design as fitted and checked, on disk too. Raises FileError."""
        self.built[design] = outcome, hood
        document = None if hood is None else json.loads(hood.model_dump_json(exclude_defaults=True))
        self._write({"design": design.as_json(), "outcome": outcome.as_json(), "hood": document})

    def _write(self, tree: dict[str, Any]) -> None:
        if self.path is None:
            return
        if not self.path.exists():
            write_whole(self.path, self.heading)
        try:
            with self.path.open("a", encoding="utf-8") as stream:
                stream.write(json.dumps(tree) + "\n")
        except OSError as error:
            raise FileError(f"{self.path}: cannot be written ({error.strerror}); free the disk, or choose another.") from None


def work_out(
    function: Callable[[Task, Design], Outcome], task: Task, designs: Sequence[Design], *, on: Runner, journal: Journal,
    tell: Callable[[int, int], None],
) -> list[Outcome]:  # fmt: skip
    """The outcomes of designs, in their order; those that the journal knows are not worked out again.

    tell: called with how many are done, and of how many.
    """
    wanted = [design for design in dict.fromkeys(designs) if design not in journal.known]
    for done, (index, outcome) in enumerate(on.run(function, task, wanted), start=1):
        journal.add(wanted[index], outcome)
        tell(done, len(wanted))
    return [journal.known[design] for design in designs]


__all__ = ["Cluster", "Here", "Journal", "Processes", "Runner", "digest", "runner", "work_out"]
