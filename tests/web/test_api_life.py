"""The bench opens, mends what fails in it, closes with all it began, and is described truly."""

from __future__ import annotations

import asyncio
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import psutil
import pytest
from fastapi import FastAPI

from api import design, opened
from shadewright.errors import BenchError
from shadewright.web.answer import compact
from shadewright.web.app import create_app, description
from shadewright.web.hands import Hand, Hands, processes
from shadewright.web.serve import Opening, open_bench

COMMAND = [sys.executable, "-c", "from shadewright.cli import main; main()", "bench", "--no-browser"]
DOCS = Path(__file__).parent.parent.parent / "docs" / "api.md"


@contextmanager
def begun(*options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command running, and its first line."""
    process = subprocess.Popen([*COMMAND, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        yield process, process.stdout.readline()
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_closing_ends_every_process_it_began(how: signal.Signals) -> None:
    with begun("--port", "0") as (process, line):
        address = re.search(r"http://\S+", line)
        assert address is not None
        assert httpx.post(f"{address.group()}api/look", json={"design": design()}, timeout=60).status_code == 200
        below = psutil.Process(process.pid).children(recursive=True)
        assert len(below) >= 3
        process.send_signal(how)
        _out, err = process.communicate(timeout=30)
        assert "Traceback" not in err
        _gone, alive = psutil.wait_procs(below, timeout=20)
        assert alive == []


def test_a_port_that_is_taken_is_told_in_one_sentence() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(BenchError, match=f"--port {port}: .*give another --port"):
            open_bench(Opening(port=port, browser=False))
        with begun("--port", str(port)) as (process, line):
            assert line == ""
            _out, err = process.communicate(timeout=30)
            assert process.returncode == 2
            assert err.startswith("shadewright: --host 127.0.0.1")
            assert err.count("\n") == 1


def test_elsewhere_the_address_carries_a_token() -> None:
    with begun("--port", "0", "--host", "0.0.0.0") as (_process, line):
        port, token = re.findall(r":(\d+)/\?token=(\S{20,})", line)[0]
        assert httpx.get(f"http://127.0.0.1:{port}/api/about", timeout=60).status_code == 401
        kept = httpx.get(f"http://127.0.0.1:{port}/api/about", headers={"authorization": f"Bearer {token}"}, timeout=60)
        assert kept.status_code == 200


def test_a_process_that_is_lost_is_replaced() -> None:
    with opened() as bench:
        body = {"design": design()}
        assert bench.post("/api/look", json=body).status_code == 200
        for one in psutil.Process().children(recursive=True):
            if "forkserver" in " ".join(one.cmdline()) and one.ppid() != psutil.Process().pid:
                one.kill()
        answers = [bench.post("/api/look", json=body) for _ in range(3)]
        assert answers[-1].status_code == 200
        for answer in answers:
            assert answer.status_code == 200 or "Traceback" not in answer.json()["sentence"]


def test_what_takes_too_long_is_ended_and_others_go_on(tmp_path: Path) -> None:
    async def ask() -> None:
        hand = Hand(processes(), tmp_path, 0)
        try:
            body = compact({"design": design()})
            late = await hand.ask("fit", body, 0.0)
            assert late.status == 422
            assert b"longer than 0 s" in late.body
            assert (await hand.ask("look", body, 60.0)).status == 200
        finally:
            hand.close()

    asyncio.run(ask())


def test_questions_about_one_lens_go_to_one_process_unless_it_is_busy(tmp_path: Path) -> None:
    async def who() -> None:
        hands = Hands(meshes=tmp_path, looking=2, thinking=1)
        first, other = compact({"design": design()}), compact({"design": {**design(), "lens": {"name": "other"}}})
        assert hands._who(first) is hands._who(first)
        assert hands._who(other) is not hands._who(first)
        hands._who(first).waiting = 2
        assert hands._who(first) is hands._who(other)
        hands.close()

    asyncio.run(who())


def test_the_page_on_the_api_names_every_question() -> None:
    guarded = create_app()
    assert isinstance(guarded.app, FastAPI)
    tree, page = description(guarded.app), DOCS.read_text("utf-8")
    for path, methods in tree["paths"].items():
        assert path.replace("{name}/files/{file}", "{id}/files/{name}").replace("jobs/{name}", "jobs/{id}") in page, path
        for told in methods.values():
            assert told["summary"]
            for code in told["responses"]:
                assert code in page or code in ("200", "202", "204")
    for field in ("At", "Alter", "Hints", "Look", "OfDesign", "JobOptions"):
        for name in tree["components"]["schemas"][field]["properties"]:
            assert f"`{name}`" in page, name


def test_the_example_on_the_page_runs(tmp_path: Path) -> None:
    example = re.search(r"<<'PY'\n(.*?)PY\n", DOCS.read_text("utf-8"), re.DOTALL)
    assert example is not None
    with opened() as bench:
        address = str(bench.base_url).rstrip("/")
        (tmp_path / "starters.json").write_bytes(bench.get("/api/starters").content)
        code = example.group(1).replace("http://127.0.0.1:8713", address)
        started = time.monotonic()
        done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
        assert time.monotonic() - started < 120
        assert done.stdout.startswith("Nothing shows"), done.stderr
