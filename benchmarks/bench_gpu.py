"""A graphics card against the processor, one core and all: the direct map, and the reference method's rays.

Wall seconds, the card's with every transfer to and from it; the first call, which compiles, is told apart. Ends at once,
with a sentence, where there is no card or no numba-cuda.
"""

from __future__ import annotations

import math
import os
import platform
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from common import heading
from shadewright.errors import LightError
from shadewright.light.card import Device, kernels
from shadewright.light.fast import direct_light
from shadewright.light.finish import Finish, Harvey
from shadewright.light.scene import Scene, Vane, bare_scene
from shadewright.light.wall_light import Method, Sky, WallLight, wall_light
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall

AZIMUTH = np.arange(0.0, 360.0, 0.5)
HOOD = RoundHood(RoundWall((0.0,), (42.0,)), Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH))))
PLAIN = Finish("plain", 0.05)
GLOSSY = Finish("glossy", 0.03, lobe=Harvey(3.0, 0.05, -2.5), index=1.5)
DIRECTIONS = Sky(100, 100).directions
POINTS = 1000


def faceted() -> MeshHood:
    """The same hood as a mesh of half-degree facets."""
    turn = np.radians(AZIMUTH)
    ring = np.stack([42 * np.cos(turn), 42 * np.sin(turn), 0 * turn], axis=1)
    top = ring.copy()
    top[:, 2] = 30.0 - 8.0 * np.cos(2 * turn)
    i = np.arange(len(turn))
    j, n = (i + 1) % len(turn), len(turn)
    return MeshHood(np.concatenate([ring, top]), np.concatenate([np.stack([i, j, n + i], 1), np.stack([j, n + j, n + i], 1)]))


SCENES: dict[str, Scene] = {
    "petal tube": bare_scene(32.0, HOOD),
    "with two vanes": bare_scene(32.0, HOOD, vanes=(Vane(8.0, 38.0), Vane(16.0, 38.0))),
    "as a mesh": bare_scene(32.0, faceted(), collar_radius=42.0),
}


def wall_seconds(call: Callable[[], Any], times: int = 5) -> tuple[float, Any]:
    """The median wall time of several calls, and the last answer."""
    taken, found = [], None
    for _ in range(times):
        started = time.perf_counter()
        found = call()
        taken.append(time.perf_counter() - started)
    return float(np.median(taken)), found


def machine() -> tuple[str, int]:
    """The processor's name and the cores that may be used."""
    name = platform.processor()
    listed = Path("/proc/cpuinfo")
    if listed.exists():
        names = [line.split(":")[1].strip() for line in listed.read_text().splitlines() if line.startswith("model name")]
        name = names[0] if names else name
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return name, count


def by_all_cores(scene: Scene, cores: int) -> np.ndarray:
    """The direct map, its directions shared out among the cores."""
    with ThreadPoolExecutor(cores) as pool:
        parts = np.array_split(DIRECTIONS, cores)
        return np.concatenate(list(pool.map(lambda part: direct_light(scene, part, points=POINTS), parts)))


def direct_maps(cores: int) -> None:
    """10,000 directions by 1,000 points of the glass."""
    heading(f"Direct map, {len(DIRECTIONS):,} directions by {POINTS:,} points of the glass, wall milliseconds")
    for name, scene in SCENES.items():
        started = time.perf_counter()
        direct_light(scene, DIRECTIONS, points=POINTS, device=Device.CARD)
        first = time.perf_counter() - started
        card, by_card = wall_seconds(lambda s=scene: direct_light(s, DIRECTIONS, points=POINTS, device=Device.CARD), 9)
        alone, ours = wall_seconds(lambda s=scene: direct_light(s, DIRECTIONS, points=POINTS), 3)
        together, _ = wall_seconds(lambda s=scene: by_all_cores(s, cores), 3)
        apart = np.abs(ours - by_card).max() * POINTS
        print(
            f"  {name}: one core {alone * 1e3:.1f}, {cores} cores {together * 1e3:.1f}, card {card * 1e3:.2f} (first call "
            f"{first:.1f} s); ratio {alone / card:.0f} and {together / card:.1f}; at most {apart:.2f} points differ in a direction"
        )


def agreement(ours: WallLight, theirs: WallLight) -> str:
    """How far two runs of the same rays are apart, in words."""
    away = np.abs(ours.value - theirs.value)
    noise = np.maximum(ours.standard_error, 1e-300)
    same = float(np.mean(away <= 1e-7 * np.maximum(ours.value, 1e-12)))
    worst = float(np.max(np.where(ours.standard_error > 0, away / noise, 0.0)))
    mean = abs(theirs.mean / ours.mean - 1)
    return f"{100 * same:.1f} % of the cells alike to 1e-7, worst {worst:.4f} standard errors, means to {mean:.1e}"


def reference_rays(cores: int) -> None:
    """Plain backward tracing: the same kernel source on both."""
    heading("Reference method, million segments a second, wall time")
    few, many = 1_600_000, 128_000_000
    for name, scene in SCENES.items():
        for finish in (PLAIN, GLOSSY):
            def go(rays: int, threads: int = 1, device: Device = Device.PROCESSOR, s: Scene = scene, f: Finish = finish) -> WallLight:
                return wall_light(s, f, method=Method.REFERENCE, samples=rays, threads=threads, device=device)

            go(3200)
            started = time.perf_counter()
            go(3200, device=Device.CARD)
            first = time.perf_counter() - started
            alone, ours = wall_seconds(lambda go=go: go(few), 1)
            together, _ = wall_seconds(lambda go=go: go(few * min(cores, 8), cores), 1)
            card, found = wall_seconds(lambda go=go: go(many, device=Device.CARD), 3)
            same = go(few, device=Device.CARD)
            again = go(few, device=Device.CARD)
            assert np.array_equal(same.value, again.value), "the card's results differ from run to run"
            each = found.balance.segments if found.balance else math.nan
            rates = [few * each / alone / 1e6, few * min(cores, 8) * each / together / 1e6, many * each / card / 1e6]
            print(
                f"  {name}, {finish.name}: one core {rates[0]:.2f}, {cores} cores {rates[1]:.1f}, card {rates[2]:,.0f} (first "
                f"call {first:.1f} s); ratio {rates[2] / rates[0]:,.0f} and {rates[2] / rates[1]:.0f}; {agreement(ours, same)}"
            )
    staged, found = wall_seconds(
        lambda: wall_light(SCENES["petal tube"], PLAIN, method=Method.STAGED, samples=16_000_000), 3
    )
    each = found.balance.segments
    print(f"  the processor's staged kernel, petal tube, plain: one core {16 * each / staged:.0f}")


def main() -> None:
    """Print what was measured."""
    try:
        cuda = kernels().cuda
    except LightError as error:
        print(f"nothing measured: {error}")
        return
    name, cores = machine()
    card = cuda.get_current_device().name
    card = card.decode() if isinstance(card, bytes) else card
    print(f"card {card}; processor {name}, {cores} cores")
    direct_maps(cores)
    reference_rays(cores)


if __name__ == "__main__":
    main()
