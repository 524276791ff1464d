"""The exact rim against the dense ray sampling that confirms it, in one run; the pupil-only closed form; growth."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from common import beams, best_of, heading

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
import oracle
from lenses import reference
from shadewright.clearance.keepout import keep_out, pupil_only_rim
from shadewright.model.shape import RoundWall

WALL = RoundWall((0.0,), (45.0,))
AZIMUTH = np.arange(0.0, 360.0, 0.5)


def sampled_rim(found: list, azimuth: np.ndarray, rays_each: int) -> np.ndarray:
    """The rim by sampled rays alone: in each half-degree of the wall, the least z at which any ray crosses it."""
    rng = np.random.default_rng(0)
    rim = np.full(len(azimuth), np.inf)
    for beam in found:
        rays = oracle.sample_rays(reference(beam), rays_each, rng)
        a = (rays.v**2).sum(axis=1)
        b = (rays.q * rays.v).sum(axis=1)
        c = (rays.q**2).sum(axis=1) - 45.0**2
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (-b + np.sqrt(b * b - a * c)) / a
        ok = np.isfinite(z) & (z > 0)
        at = rays.q[ok] + z[ok, None] * rays.v[ok]
        place = np.rint(np.degrees(np.arctan2(at[:, 1], at[:, 0])) / 0.5).astype(int) % len(azimuth)
        np.minimum.at(rim, place, z[ok] + beam.reach)
    return rim


def main() -> None:
    """Print the claims and what was measured."""
    found = beams(100)
    keepout = keep_out(found)
    keepout.rim(WALL, AZIMUTH, cap=150.0)
    heading("Exact rim of 720 azimuths over 100 states of three windows")
    exact = best_of(lambda: keepout.rim(WALL, AZIMUTH, cap=150.0))
    lopsided = best_of(lambda: keepout._rim_at(WALL, AZIMUTH, 150.0))
    print(f"  exact, warm: {exact * 1e3:.2f} ms; without using the symmetry: {lopsided * 1e3:.2f} ms (goal 20 ms)")
    each = 40_000
    started = time.perf_counter()
    sampled = sampled_rim(found, AZIMUTH, each)
    sampled_time = time.perf_counter() - started
    entry = keepout.rim(WALL, AZIMUTH, cap=150.0).value
    print(f"  sampling {each * len(found) / 1e6:.0f} million rays: {sampled_time:.1f} s")
    print(f"  ratio {sampled_time / exact:.0f} (goal 1000); without symmetry {sampled_time / lopsided:.0f}")
    gap = sampled - entry
    print(f"  sampled less exact: least {gap.min():+.3f} mm, median {np.median(gap):+.3f} mm, largest {gap.max():+.3f} mm")

    heading("Pupil-only rim, the closed form, same size")
    w = np.array([18.0 / b.setting.focal_length for b in found])
    pupil, depth = (np.array([b.windows[0, k] for b in found]) for k in (1, 0))
    call = lambda: pupil_only_rim(45.0, AZIMUTH, half_width=w, half_height=w * 2 / 3, pupil=pupil, depth=depth)  # noqa: E731
    call()
    print(f"  {best_of(call) * 1e3:.2f} ms (goal 2 ms)")

    heading("Growth with states and azimuths (without using the symmetry)")
    for states in (25, 50, 100, 200, 400):
        many = keep_out(beams(states))
        print(f"  {states:4d} states x 720 azimuths: {best_of(lambda m=many: m._rim_at(WALL, AZIMUTH, 150.0), 3) * 1e3:7.2f} ms")
    for count in (180, 360, 720, 1440, 2880):
        azimuth = np.arange(count) * 360.0 / count
        print(f"  100 states x {count:4d} azimuths: {best_of(lambda a=azimuth: keepout._rim_at(WALL, a, 150.0), 3) * 1e3:7.2f} ms")


if __name__ == "__main__":
    main()
