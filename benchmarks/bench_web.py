"""The bench over loopback: a moving slider's answer, a fitted hood beneath a job, and many users at once.

Times are whole round trips of HTTP as a page sees them, drawing left out.
"""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import numpy as np
import psutil
from playwright.sync_api import sync_playwright

from common import heading

LIVE = ["sensor", "rim", "section", "numbers"]
MOVES = 120
USERS, TURNS = 20, 25


@contextmanager
def opened() -> Iterator[tuple[str, float]]:
    """A bench in a process of its own: its address, and the seconds to its first page."""
    started = time.perf_counter()
    command = [sys.executable, "-c", "from shadewright.cli import main; main()", "bench", "--port", "0", "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        found = re.search(r"http://\S+/", process.stdout.readline())
        assert found is not None
        address = found.group()
        with httpx.Client(timeout=60) as client:
            client.get(address).raise_for_status()
        yield address, time.perf_counter() - started
    finally:
        process.terminate()
        process.wait(20)


def said(times: list[float]) -> str:
    """Median and the slow ones, in words."""
    ms = np.array(times) * 1000
    return f"median {np.median(ms):.0f} ms, p95 {np.percentile(ms, 95):.0f} ms, slowest {ms.max():.0f} ms, {len(ms)} answers"


def question(design: dict[str, Any], k: int, which: str, want: list[str]) -> dict[str, Any]:
    """The k-th place of a slider that goes to and fro."""
    share = abs((k * 0.037) % 2 - 1)
    at: dict[str, Any] = {"zoom": 3 * share if which == "zoom" else 1.3, "focus": share if which == "focus" else 0.0, "f_number": None}
    if which == "aperture":
        at["f_number"] = 2.8 + 12 * share
    moved = 8 * share - 2 if which == "depth" else 0.0
    hood = design["hood"]
    if which == "diameter":
        hood = {**hood, "wall": {"shape": "tube", "inner_diameter": round(84 + 10 * share, 2)}}
    return {
        "design": {**design, "hood": hood}, "at": at, "alter": {"moved": moved}, "want": want,
        "hints": {"columns": 49, "rows": 33, "cells": 41},
    }  # fmt: skip


def spent() -> float:
    """Seconds that the cores have worked for the bench and all below this process."""
    below = psutil.Process().children(recursive=True)
    return sum(sum(one.cpu_times()[:2]) for one in below)


def one_user(address: str, design: dict[str, Any]) -> None:
    """Each slider turned by one user. What the cores worked for an answer does not depend on what else they do."""
    with httpx.Client(base_url=address, timeout=60) as client:
        for want, name in ((LIVE, "views without the sky"), ([*LIVE, "sky", "solid"], "all views")):
            for which in ("zoom", "focus", "aperture", "depth", "diameter"):
                times = []
                before = spent()
                for k in range(MOVES):
                    body = question(design, k, which, want)
                    started = time.perf_counter()
                    client.post("/api/look", json=body).raise_for_status()
                    times.append(time.perf_counter() - started)
                print(f"  {which:<9} {name:<22} {said(times[5:])}, {1000 * (spent() - before) / MOVES:.0f} ms of work each")


def beneath_a_job(address: str, design: dict[str, Any]) -> None:
    """The depth slider while a weighing runs."""
    with httpx.Client(base_url=address, timeout=60) as client:
        job = client.post("/api/jobs", json={"kind": "weigh", "design": design}).json()["id"]
        times: list[float] = []
        while client.get(f"/api/jobs/{job}").json()["state"] in ("waiting", "running") and len(times) < 400:
            body = question(design, len(times), "depth", LIVE)
            started = time.perf_counter()
            client.post("/api/look", json=body).raise_for_status()
            times.append(time.perf_counter() - started)
        client.delete(f"/api/jobs/{job}")
        print(f"  depth     while a job runs       {said(times)}")


async def many_users(address: str, design: dict[str, Any]) -> None:
    """USERS at once, each with a lens of its own, each asking again as soon as it is answered."""
    times: list[float] = []
    faults = 0

    async def user(n: int) -> None:
        nonlocal faults
        own = {**design, "lens": {**design["lens"], "name": f"lens {n}"}}
        which = ("zoom", "depth", "aperture", "focus")[n % 4]
        async with httpx.AsyncClient(base_url=address, timeout=120) as client:
            for k in range(TURNS):
                started = time.perf_counter()
                answer = await client.post("/api/look", json=question(own, k + n, which, LIVE))
                times.append(time.perf_counter() - started)
                faults += answer.status_code != 200
                # A hand on a slider: a new place every twentieth of a second at most.
                await asyncio.sleep(max(0.0, 0.05 - (time.perf_counter() - started)))

    started = time.perf_counter()
    await asyncio.gather(*(user(n) for n in range(USERS)))
    taken = time.perf_counter() - started
    print(f"  {USERS} users at once: {said(times)}, {len(times) / taken:.0f} answers a second, {faults} refused or failed")


def in_the_browser(address: str) -> None:
    """From the hand's move to the repainted views, as the page itself measures it, and its first paint."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        print("  in the browser: not measured, since there is no Chromium (apt-get install chromium)")
        return
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        page.goto(address)
        paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0")
        print(f"  first paint of the page: {paint:.0f} ms")
        page.locator("#starters button").first.click()
        page.wait_for_function("!document.querySelector('#verdict').classList.contains('working') && document.querySelector('#dial-zoom')")
        page.wait_for_timeout(1500)
        for dial in ("zoom", "focus", "aperture", "depth"):
            if page.locator(f"#dial-{dial}").count() == 0:
                continue
            page.evaluate("performance.clearMeasures('slider to picture')")
            # The slider moves on as soon as the views have followed, a tenth of a second later at the latest.
            page.evaluate(
                """async ([id, moves]) => {
                    const dial = document.getElementById(id), low = Number(dial.min), high = Number(dial.max);
                    for (let k = 0; k < moves; k++) {
                        dial.value = low + (high - low) * Math.abs(((k * 0.037) % 2) - 1);
                        dial.dispatchEvent(new Event("input", { bubbles: true }));
                        await new Promise((go) => setTimeout(go, 100));
                    }
                }""",
                [f"dial-{dial}", MOVES],
            )
            page.wait_for_timeout(300)
            found = page.evaluate("performance.getEntriesByName('slider to picture').map((entry) => entry.duration / 1000)")
            if found:
                print(f"  {dial:<9} slider to picture      {said(found)}")
        browser.close()


def main() -> None:
    """Print the claims and what was measured."""
    heading("The bench over loopback (goals: median 50 ms, p95 100 ms, page within 2 s)")
    print(f"  work waiting for each core as it begins: {os.getloadavg()[0] / (os.cpu_count() or 1):.1f}")
    with opened() as (address, first):
        print(f"  from the command to the first page: {first:.2f} s")
        with httpx.Client(base_url=address, timeout=120) as client:
            kit = client.get("/api/starters").json()["starters"][0]
            design = {name: kit[name] for name in ("lens", "camera", "hood")}
            started = time.perf_counter()
            client.get("/").raise_for_status()
            print(f"  the page itself: {(time.perf_counter() - started) * 1000:.0f} ms")
            started = time.perf_counter()
            design["hood"] = client.post("/api/fit", json={"design": design}).raise_for_status().json()["hood"]
            print(f"  a fit: {time.perf_counter() - started:.2f} s")
        one_user(address, design)
        in_the_browser(address)
        beneath_a_job(address, design)
        asyncio.run(many_users(address, design))


if __name__ == "__main__":
    main()
