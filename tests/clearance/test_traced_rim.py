"""The rim of traced lenses against rays of an independent tracer: none is blocked, and nothing deeper would do.

The field of the frame is mapped through that tracer's own chief rays, and a ray counts when it reaches the image there at
any of the wavelengths; of the project only the rim is used, and the slope it names as a place to start looking.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from prescription_cases import HEIGHTS, Field, Other, camera_for, focused, frame_points, lens_of, read
from shadewright.clearance.keepout import Entries, KeepOut, keep_out
from shadewright.model.prescription import Prescription
from shadewright.model.shape import RoundWall, TunnelWall
from shadewright.optics.beam import Beam, Job, job

Array = NDArray[np.float64]
REACH = 4.0
CAP = 400.0
ACROSS = 0.03
"""How much wider than the beam its table may be, mm; on long lenses that is more of depth than 0.2 mm."""


class Case:
    """A design at one setting on a camera, in the project and in the other tracer."""

    def __init__(self, prescription: Prescription, height: float, k: int, *, f_number: float | None = None) -> None:
        self.job: Job = job(lens_of(prescription, reach=REACH), camera_for(height))
        self.setting = sorted(self.job.resolved.settings, key=lambda s: s.focal_length)[k]
        if f_number is not None:
            self.setting = self.setting.stopped_down(f_number)
        self.beam: Beam = self.job.beam(self.setting)
        traced = self.setting.traced
        assert traced is not None
        self.plane = traced.plane
        self.others = [Other(system) for system in traced.systems]
        for other in self.others:
            other.pupil = self.others[0].pupil
        self.half = (self.job.half_width, self.job.half_height)
        reached = math.hypot(*self.half)
        steepest = 1.02 * reached / abs(traced.first.focal_length)
        while self.others[0].image_height(steepest) < 1.001 * reached:
            steepest *= 1.03
        self.field = Field(self.others[0], steepest)
        self.far = traced.main.focus_distance
        self.radius = traced.first.entrance_radius
        self.front = REACH - self.plane
        """z of the front plane ahead of the seat plane."""

    def passes(self, q: Array, tau: Array) -> NDArray[np.bool_]:
        """Which rays through q (n, 2) of the front plane from slopes tau (n, 2) reach the image, at any wavelength."""
        passed = np.zeros(len(q), bool)
        for other in self.others:
            left = np.nonzero(~passed)[0]
            passed[left] = other.passes(q[left], self.plane, tau[left])
        return passed

    def ahead(self, q: Array, tau: Array) -> Array:
        """dx/dz, dy/dz (n, 2) of the rays ahead of the front plane, z forward."""
        along = self.others[0].directions(q, self.plane, tau)
        return np.asarray(-along[:, :2] / along[:, 2:])

    def back_to_front(self, points: Array, tau: Array) -> Array:
        """Where (n, 2) the rays of slopes tau through points (n, 3), seat coordinates, meet the front plane."""
        away = points[:, 2] - self.front
        if math.isinf(self.far):
            return np.asarray(points[:, :2] - away[:, None] * tau)
        subject = tau * (self.far + self.others[0].pupil)
        distance = self.far + self.plane
        share = (away / distance)[:, None]
        return np.asarray((points[:, :2] - share * subject) / (1.0 - share))

    def rays(self, n: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """q and slopes tau (m, 2), m about n, of rays that pass: frame points everywhere, at edges and corners."""
        kept_q, kept_tau, found = [], [], 0
        while found < n:
            tau = self.field.slopes(frame_points(self.half, 60_000, rng))
            size = np.hypot(tau[:, 0], tau[:, 1])
            reach = self.others[0].pupil - self.plane
            r, a = 1.7 * self.radius * np.sqrt(rng.random(len(tau))), rng.uniform(0, 2 * math.pi, len(tau))
            # Pupils wander: along the slope the disc is moved about at random, too.
            middle = tau * (reach * (1.0 + 0.12 * rng.uniform(-1, 1, len(tau)) * np.minimum(size, 1.0)))[:, None]
            q = middle + np.stack([r * np.cos(a), r * np.sin(a)], axis=1)
            ok = self.passes(q, tau)
            kept_q.append(q[ok])
            kept_tau.append(tau[ok])
            found += int(ok.sum())
        return np.concatenate(kept_q), np.concatenate(kept_tau)


def published(name: str, k: int = 0, *, f_number: float | None = None) -> Case:
    return Case(read(name), HEIGHTS[name], k, f_number=f_number)


CASES = {
    "wide": lambda: published("wide-22"),
    "wider": lambda: published("aspheric-wide-14"),
    "hundred degrees": lambda: published("wide-17-100-degrees"),
    "normal": lambda: published("double-gauss-50"),
    "aspheric normal": lambda: published("aspheric-31"),
    "telephoto": lambda: published("telephoto-250"),
    "zoom, short": lambda: published("zoom-72-194", 0),
    "zoom, middle": lambda: published("zoom-72-194", 1),
    "zoom, long": lambda: published("zoom-72-194", 2),
    "wide at f/22": lambda: published("wide-22", f_number=22.0),
    "normal at f/16": lambda: published("double-gauss-50", f_number=16.0),
    "wide, near": lambda: Case(focused("wide-22", 300.0), 16.0, 0),
    "normal, near": lambda: Case(focused("double-gauss-50", 500.0), 18.5, 0),
}


@cache
def case(name: str) -> Case:
    return CASES[name]()


def walls(of: Case) -> dict[str, RoundWall]:
    """A tube and a cone as narrow as the beam allows near the front, and a tube twice as wide."""
    least = max(float(of.setting.front_radius), of.radius) + 2.0
    # Cones lean less than the rays of the frame's nearest edge, or the rim would have no end.
    lean = 0.4 * float(np.hypot(*of.field.slopes(np.array([[0.0, of.half[1]]]))[0]))
    return {
        "tube": RoundWall((0.0,), (least + 3.0,)),
        "wide tube": RoundWall((0.0,), (1.6 * least,)),
        "cone": RoundWall((0.0, 50.0), (least, least + 50.0 * lean)),
        "narrowing": RoundWall((0.0, 60.0), (1.5 * least, 1.5 * least - 6.0)),
    }


def crossings(q: Array, v: Array, front: float, wall: RoundWall) -> tuple[Array, Array]:
    """z (n,) in seat coordinates at which rays leave the wall, and their azimuth there (n,), degrees."""
    r0, r1 = float(wall.radius_at(1e-9)), float(wall.radius_at(100.0))
    lean = (r1 - r0) / 100.0
    a = (v**2).sum(1) - lean**2
    at = r0 + lean * front
    b = (q * v).sum(1) - at * lean
    c = (q**2).sum(1) - at**2
    with np.errstate(divide="ignore", invalid="ignore"):
        under = np.maximum(b * b - a * c, 0.0)
        s = np.where(np.abs(a) > 1e-12, (-b + np.sqrt(under)) / a, -c / (2 * b))
    s = np.where((a < 0) & (b * b < a * c), np.inf, s)
    s = np.where(c >= 0, 0.0, np.where(s < 0, np.inf, s))
    place = q + np.where(np.isfinite(s), s, 0.0)[:, None] * v
    return front + s, np.degrees(np.arctan2(place[:, 1], place[:, 0])) % 360.0


def blocked(of: Case, keepout: KeepOut, wall: RoundWall, q: Array, tau: Array) -> Array:
    """How far (mm across it) the deepest rim comes into each ray that leaves the wall within half a millimetre of it."""
    v = of.ahead(q, tau)
    z, azimuth = crossings(q, v, of.front, wall)
    steep = np.maximum(np.hypot(v[:, 0], v[:, 1]), 1e-6)
    # Only rays that leave near the rim need its exact height: the rest are far above the highest place of it.
    grid = keepout.rim(wall, np.arange(0.0, 360.0, 0.5), cap=CAP).value
    near = np.nonzero(np.isfinite(z) & (z < grid.max() + 0.5 / steep) & (z > 0))[0]
    rim = np.interp(azimuth[near], np.arange(0.0, 360.5, 0.5), np.append(grid, grid[0]))
    close = near[z[near] < rim + 0.6 / steep[near]]
    if len(close) == 0:
        return np.zeros(0)
    return np.asarray((keepout.rim(wall, azimuth[close], cap=CAP).value - z[close]) * steep[close])


def none_blocked(name: str, n: int) -> None:
    of = case(name)
    keepout = keep_out([of.beam])
    q, tau = of.rays(n, np.random.default_rng(len(name)))
    for label, wall in walls(of).items():
        into = blocked(of, keepout, wall, q, tau)
        assert len(into) > 20, f"{label}: hardly a ray comes near the rim, so this shows nothing"
        assert into.max() <= 1e-6, f"{label}: {np.sum(into > 0)} rays blocked, by up to {into.max():.4f} mm"
        # Sampled rays come up to the rim, too.
        assert into.max() > -0.3, label


@pytest.mark.parametrize("name", CASES)
def test_no_ray_of_two_hundred_thousand_is_blocked(name: str) -> None:
    none_blocked(name, 70_000)


@pytest.mark.deep
@pytest.mark.parametrize("name", CASES)
def test_no_ray_of_a_million_is_blocked(name: str) -> None:
    none_blocked(name, 1_000_000)


@pytest.mark.parametrize(("name", "share"), [("hundred degrees", 0.7), ("wide at f/22", 0.8), ("wide, near", 0.9)])
def test_a_cone_that_leans_nearly_as_far_as_the_frames_edge_is_met(name: str, share: float) -> None:
    """There a wall point wanders far along the cone before the thin beam of some frame point comes over it."""
    of = case(name)
    least = max(float(of.setting.front_radius), of.radius) + 2.0
    lean = share * float(np.hypot(*of.field.slopes(np.array([[0.0, of.half[1]]]))[0]))
    wall = RoundWall((0.0, 50.0), (least, least + 50.0 * lean))
    q, tau = of.rays(50_000, np.random.default_rng(4))
    into = blocked(of, keep_out([of.beam]), wall, q, tau)
    assert len(into) > 20
    assert into.max() <= 1e-6, f"{np.sum(into > 0)} rays blocked, by up to {into.max():.4f} mm across"


def reached(of: Case, points: Array, slopes: Array, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Whether some ray of the frame passes through each point (n, 3) and then the lens, searched about slopes (n, 2)."""
    n, found = len(points), np.zeros(len(points), bool)
    half = np.array(of.half)
    start = of.beam.frame.points(slopes)
    for size in (0.0005, 0.002, 0.008, 0.03, 0.15, 0.5):
        cloud = rng.uniform(-1.0, 1.0, (n, 700, 2)) * size * half
        spots = np.clip(start[:, None, :] + cloud, -half, half)
        tau = of.field.slopes(spots.reshape(-1, 2))
        q = of.back_to_front(np.repeat(points, 700, axis=0), tau)
        found |= of.passes(q, tau).reshape(n, 700).any(axis=1)
        if found.all():
            break
    return found


@pytest.mark.parametrize("name", CASES)
def test_the_rim_is_the_deepest_there_is(name: str) -> None:
    """A fifth of a millimetre deeper, or three hundredths across the beam where it leaves the wall flatter, some ray is cut."""
    of = case(name)
    rng = np.random.default_rng(8)
    azimuth = np.concatenate([np.arange(0.0, 360.0, 45.0), rng.uniform(0.0, 360.0, 12)])
    angle = np.radians(azimuth)
    for label, wall in walls(of).items():
        entries: Entries = keep_out([of.beam]).rim(wall, azimuth, cap=CAP)
        bound = entries.state >= 0
        assert bound.any(), label
        lean = float(wall.radius_at(100.0) - wall.radius_at(1e-9)) / 100.0
        outward = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        closing = np.sum(entries.slope * outward, axis=1)[bound] - lean
        z = entries.value[bound] + np.maximum(0.2, ACROSS / closing)
        r = wall.radius_at(z)
        points = np.stack([r * np.cos(angle[bound]), r * np.sin(angle[bound]), z], axis=1)
        assert reached(of, points, entries.slope[bound], rng).all(), label


@pytest.mark.parametrize("name", ["wide", "normal", "telephoto", "zoom, middle", "normal, near"])
def test_a_tunnel_blocks_nothing_and_is_the_deepest(name: str) -> None:
    of = case(name)
    least = float(of.setting.front_radius) + 3.0
    wall = TunnelWall(1.25 * least, least)
    lips, found = keep_out([of.beam]).tunnel(wall, cap=CAP)
    q, tau = of.rays(70_000, np.random.default_rng(5))
    v = of.ahead(q, tau)
    with np.errstate(divide="ignore"):
        for axis, half, positive, negative in (
            (0, wall.half_width, lips.right, lips.left), (1, wall.half_height, lips.top, lips.bottom),
        ):  # fmt: skip
            across, other_half = 1 - axis, wall.half_height if axis == 0 else wall.half_width
            s = (np.sign(v[:, axis]) * half - q[:, axis]) / v[:, axis]
            elsewhere = q[:, across] + s * v[:, across]
            here = np.isfinite(s) & (s >= 0) & (np.abs(elsewhere) <= other_half)
            lip = np.where(v[:, axis] > 0, positive, negative)
            into = (lip - of.front - s)[here]
            assert into.max() <= 1e-6
            assert (into * np.abs(v[here, axis])).max() > -0.3
    rng = np.random.default_rng(3)
    for side, (lip, entries) in enumerate(zip((lips.right, lips.top, lips.left, lips.bottom), found, strict=True)):
        if entries.state[0] < 0:
            continue
        reach = (wall.half_width, wall.half_height) if side % 2 == 0 else (wall.half_height, wall.half_width)
        places = np.linspace(-reach[1], reach[1], 161)
        x, y = [(reach[0] + 0 * places, places), (-places, reach[0] + 0 * places),
                (-reach[0] + 0 * places, -places), (places, -reach[0] + 0 * places)][side]  # fmt: skip
        raised = max(0.2, ACROSS / abs(float(entries.slope[0, side % 2])))
        points = np.stack([x, y, np.full_like(places, lip + raised)], axis=1)
        assert reached(of, points, np.tile(entries.slope[0], (len(points), 1)), rng).any(), side
