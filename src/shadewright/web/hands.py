"""The working processes of the bench, seen from the server: who answers what, for how long, and what if one fails."""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import zlib
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.context import BaseContext
from pathlib import Path

from shadewright.errors import BenchError
from shadewright.web.answer import Answer, be_hand, compact

MOST_WAITING = 64
"""Questions that wait for one process; more are refused."""
LOOK_LIMIT, THINK_LIMIT = 20.0, 180.0
"""Seconds that a live look, and a fit or check, may take."""
KEPT_PLACES = 1000
_HEAD = 600
"""Bytes of a question that tell which lens it is about."""
BUSY, TOO_LONG, FAILED = 429, 422, 500


def processes() -> BaseContext:
    """How processes are begun: forked from a clean one that has everything imported, where the system can."""
    if "forkserver" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["shadewright.web.job_work"])
        return context
    return multiprocessing.get_context("spawn")


class Hand:
    """One working process, asked one question at a time in the order of asking."""

    def __init__(self, context: BaseContext, meshes: Path, niceness: int) -> None:
        self.context, self.meshes, self.niceness = context, meshes, niceness
        self.thread = ThreadPoolExecutor(1, thread_name_prefix="hand")
        self.turn = asyncio.Lock()
        self.waiting = 0
        self.closed = False
        self.process: multiprocessing.process.BaseProcess | None = None

    def begin(self) -> None:
        """Start the process; to be called from the hand's own thread."""
        ours, theirs = self.context.Pipe()
        process = self.context.Process(target=be_hand, args=(theirs, self.meshes, self.niceness), daemon=True)  # type: ignore[attr-defined]
        process.start()
        theirs.close()
        self.pipe, self.process = ours, process
        if self.closed:
            self.end()

    def exchange(self, name: str, body: bytes, limit: float) -> Answer:
        """Ask and wait, no longer than `limit` seconds: after that the process is ended and a new one begun."""
        try:
            if self.process is None or not self.process.is_alive():
                self.begin()
            self.pipe.send((name, body))
            if self.pipe.poll(limit):
                found = self.pipe.recv()
                assert isinstance(found, Answer)
                return found
        except (EOFError, OSError):
            self.end()
            return Answer(FAILED, compact({"sentence": "the program failed at this question; nothing was changed."}))
        self.end()
        return Answer(TOO_LONG, compact({"sentence": f"this takes longer than {limit:g} s; ask for it as a job, or list fewer states."}))

    def end(self) -> None:
        """Stop the process."""
        process, self.process = self.process, None
        if process is None:
            return
        with contextlib.suppress(OSError):
            self.pipe.close()
        process.kill()
        process.join(2.0)

    async def ask(self, name: str, body: bytes, limit: float) -> Answer:
        """The answer to a question, when its turn has come."""
        if self.waiting >= MOST_WAITING:
            return Answer(BUSY, compact({"sentence": "too many questions at once; ask again in a moment."}))
        self.waiting += 1
        try:
            async with self.turn:
                return await asyncio.get_running_loop().run_in_executor(self.thread, self.exchange, name, body, limit)
        finally:
            self.waiting -= 1

    def close(self) -> None:
        """End the process and its thread."""
        self.closed = True
        self.end()
        self.thread.shutdown(wait=False, cancel_futures=True)


class Hands:
    """Processes for live looks, and others for fits and checks, so that none of these makes a slider wait."""

    def __init__(self, *, meshes: Path, looking: int, thinking: int) -> None:
        if looking < 1 or thinking < 1:
            raise BenchError("the bench needs at least one process to look and one to think; give 1 or more.")
        context = processes()
        self.looking = [Hand(context, meshes, 0) for _ in range(looking)]
        self.thinking = [Hand(context, meshes, 5) for _ in range(thinking)]
        self.places: OrderedDict[int, int] = OrderedDict()

    async def look(self, body: bytes) -> Answer:
        """A live look. Questions about one lens go to the process that knows it, unless others wait there."""
        return await self._who(body).ask("look", body, LOOK_LIMIT)

    def _who(self, body: bytes) -> Hand:
        key = zlib.crc32(body[:_HEAD])
        if key not in self.places:
            self.places[key] = min(range(len(self.looking)), key=lambda k: (self.looking[k].waiting, self._known(k)))
            if len(self.places) > KEPT_PLACES:
                self.places.popitem(last=False)
        self.places.move_to_end(key)
        usual = self.looking[self.places[key]]
        if usual.waiting > 0:
            free = next((hand for hand in self.looking if hand.waiting == 0), None)
            if free is not None and usual.waiting > 1:
                return free
        return usual

    def _known(self, place: int) -> int:
        return sum(1 for known in self.places.values() if known == place)

    async def quick(self, name: str, body: bytes) -> Answer:
        """A short question: read, write, validate, starters, mesh."""
        hand = min(self.looking, key=lambda one: one.waiting)
        return await hand.ask(name, body, LOOK_LIMIT)

    async def think(self, name: str, body: bytes) -> Answer:
        """A fit or a check."""
        hand = min(self.thinking, key=lambda one: one.waiting)
        return await hand.ask(name, body, THINK_LIMIT)

    async def warm(self) -> None:
        """Begin all processes and let each load its kernels."""
        await asyncio.gather(*(hand.ask("warm", b"", THINK_LIMIT) for hand in (*self.looking, *self.thinking)))

    def close(self) -> None:
        """End all processes."""
        for hand in (*self.looking, *self.thinking):
            hand.close()
