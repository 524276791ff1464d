"""The check of any hood against any lens and camera: does it show, where, when, by how much, and what would not."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance import occlusion
from shadewright.clearance.keepout import Entries, keep_out
from shadewright.clearance.loss import WorstLoss, frame_samples, own_darkening, stops, worst_loss
from shadewright.model.hood import Accessory, Margin
from shadewright.model.lens import SeatPlace
from shadewright.model.shape import HoodShape, MeshHood, RoundHood, TunnelHood
from shadewright.optics.beam import Beam, Job
from shadewright.optics.settings import Setting, sweep

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]

NO_MARGIN = Margin(radial=0.0, axial=0.0, rotation=0.0)
RIM_STEP = 0.25
"""Degrees between the places at which a rim is compared with the keep-out; the rim's own points are added."""
TOUCH = 1e-3
"""A rim within this of the keep-out's edge, mm, counts as clear: far below what can be made or seen."""
STEPS = 8
"""Intervals between neighbouring listed settings at which a hood is checked."""
POSITIONS = 61
"""Places along a zoom or focus range at which it is judged."""


@dataclass(frozen=True)
class ClearRange:
    """The largest run of a quantity over which the hood stays clear; None where it shows everywhere."""

    quantity: str
    unit: str
    low: float | None
    high: float | None
    whole: bool
    """True where the lens's whole range is clear."""


@dataclass(frozen=True)
class SettingVerdict:
    """One setting: whether the hood shows, the worst loss in stops, and where."""

    label: str
    shows: bool
    worst: WorstLoss


@dataclass(frozen=True, eq=False)
class Verdict:
    """The outcome of a check.

    deeper: how much deeper the whole rim could be, mm (negative: how much it is too deep). turn: how far the hood could
    be turned either way and stay clear, degrees (0 where it shows). accessories: sentences on the stack.
    tightest: what binds where the rim comes nearest to the keep-out.
    """

    shows: bool
    settings: tuple[SettingVerdict, ...]
    worst: WorstLoss
    allowance: float
    ranges: tuple[ClearRange, ...]
    deeper: float
    turn: float
    tightest: str
    accessories: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def passes(self) -> bool:
        """True where the hood is clear, or loses no more than the allowance."""
        return not self.shows or (self.allowance > 0 and self.worst.stops <= self.allowance + 0.01)


def check(
    job: Job,
    shape: HoodShape,
    *,
    accessories: Sequence[Accessory] = (),
    margin: Margin = NO_MARGIN,
    allowance: float = 0.0,
    steps: int = STEPS,
    progress: Progress = lambda _step, _share: None,
) -> Verdict:
    """Check a hood against a lens on a camera at every setting. Raises OpticsError, FitError."""
    settings = job.swept(steps)
    progress("settings", 0.0)
    showing = [_shows(job, [setting], shape, margin) for setting in settings]
    progress("loss", 0.3)
    worst = [
        worst_loss(job, [setting], shape)[0] if shows else _no_loss(setting)
        for setting, shows in zip(settings, showing, strict=True)
    ]
    verdicts = tuple(
        SettingVerdict(setting.label, shows, entry)
        for setting, shows, entry in zip(settings, showing, worst, strict=True)
    )
    progress("ranges", 0.6)
    deeper, tightest = _depth_to_spare(job, settings, shape, margin)
    shows = any(showing)
    turn = 0.0 if shows else _turn_to_spare(job, settings, shape, margin)
    ranges = _ranges(job, shape, margin)
    progress("done", 1.0)
    return Verdict(
        shows=shows,
        settings=verdicts,
        worst=max(worst, key=lambda entry: entry.stops),
        allowance=allowance,
        ranges=ranges,
        deeper=deeper,
        turn=turn,
        tightest=tightest,
        accessories=tuple(stack_sentences(job, settings, accessories)),
        warnings=tuple(own_darkening(job)),
    )


def _no_loss(setting: Setting) -> WorstLoss:
    """A clear setting: what is clear at the widest aperture is clear at all, since smaller beams lie within it."""
    return WorstLoss(0.0, setting.label, "", (0.0, 0.0))


def _rim_places(shape: RoundHood) -> Array:
    return np.union1d(np.arange(0.0, 360.0, RIM_STEP), np.asarray(shape.rim.azimuth))


def clearance_of(job: Job, settings: Sequence[Setting], shape: HoodShape, margin: Margin) -> tuple[float, str]:
    """How much deeper (mm) the hood could be before it touches the keep-out, and what binds there.

    For a mesh: +1 where it is certified clear, -1 where it is not.
    """
    keepout = keep_out(job.beams(settings), margin=margin)
    if isinstance(shape, MeshHood):
        touched, _where = keepout.touches(occlusion.triangles_of(shape))
        hit = np.nonzero(touched)[0]
        if hit.size == 0:
            return 1.0, "no setting"
        return -1.0, keepout.beams[int(hit[0])].label
    cap = shape.rim.deepest + 1000.0
    if isinstance(shape, TunnelHood):
        lips, found = keepout.tunnel(shape.wall, cap=cap)
        spare = [
            lips.right - shape.rim.right, lips.top - shape.rim.top, lips.left - shape.rim.left,
            lips.bottom - shape.rim.bottom,
        ]  # fmt: skip
        k = int(np.argmin(spare))
        return float(spare[k]), keepout.binding(found[k], 0)
    azimuth = _rim_places(shape)
    entries: Entries = keepout.rim(shape.wall, azimuth, cap=cap)
    gap = entries.value - shape.rim.z_at(azimuth)
    k = int(np.argmin(gap))
    return float(gap[k]), keepout.binding(entries, k)


def _shows(job: Job, settings: Sequence[Setting], shape: HoodShape, margin: Margin) -> bool:
    return clearance_of(job, settings, shape, margin)[0] < -TOUCH


def _depth_to_spare(job: Job, settings: Sequence[Setting], shape: HoodShape, margin: Margin) -> tuple[float, str]:
    if not isinstance(shape, MeshHood):
        return clearance_of(job, settings, shape, margin)
    _spare, tightest = clearance_of(job, settings, shape, margin)

    def moved_clear(dz: float) -> bool:
        moved = MeshHood(shape.vertices + np.array([0.0, 0.0, dz]), shape.faces)
        return not _shows(job, settings, moved, margin)

    clear = moved_clear(0.0)
    low, high = (0.0, 200.0) if clear else (-200.0, 0.0)
    if not clear and not moved_clear(low):
        return -math.inf, tightest
    if clear and moved_clear(high):
        return high, tightest
    while high - low > 0.05:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if moved_clear(middle) else (low, middle)
    return low, tightest


def _turn_to_spare(job: Job, settings: Sequence[Setting], shape: HoodShape, margin: Margin) -> float:
    """Largest rotation either way (degrees, at most 180) through which the hood stays clear."""
    if isinstance(shape, RoundHood):
        return _turn_of_rim(job, settings, shape, margin)

    def turned_clear(degrees: float) -> bool:
        if isinstance(shape, MeshHood):
            both = [_turned_mesh(shape, sign * degrees) for sign in (1, -1)]
            return not any(_shows(job, settings, mesh, margin) for mesh in both)
        play = margin.model_copy(update={"rotation": min(45.0, margin.rotation + degrees)})
        return not _shows(job, settings, shape, play)

    low, high = 0.0, 45.0 if isinstance(shape, TunnelHood) else 90.0
    if turned_clear(high):
        return high
    while high - low > 0.1:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if turned_clear(middle) else (low, middle)
    return low


def _turn_of_rim(job: Job, settings: Sequence[Setting], shape: RoundHood, margin: Margin) -> float:
    step = 0.25
    azimuth = np.arange(0.0, 360.0, step)
    keepout = keep_out(job.beams(settings), margin=margin)
    ceiling = keepout.rim(shape.wall, azimuth, cap=shape.rim.deepest + 1.0).value
    rim = shape.rim.z_at(azimuth)
    turns = 0
    for count in range(1, int(180 / step) + 1):
        for sign in (1, -1):
            if np.any(np.roll(rim, sign * count) > ceiling + TOUCH):
                return turns * step
        turns = count
    return 180.0


def _turned_mesh(shape: MeshHood, degrees: float) -> MeshHood:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return MeshHood(shape.vertices @ turn.T, shape.faces)


def _ranges(job: Job, shape: HoodShape, margin: Margin) -> tuple[ClearRange, ...]:
    ranges = []
    lattice = job.resolved.lattice
    if lattice is not None and lattice[0] > 1:
        ranges.append(_zoom_range(job, shape, margin, lattice))
    ranges.append(_aperture_range(job, shape, margin))
    if lattice is not None and lattice[1] > 1:
        ranges.append(_focus_range(job, shape, margin, lattice))
    return tuple(ranges)


def _longest_run(clear: Sequence[bool]) -> tuple[int, int] | None:
    """First and last index of the longest run of True."""
    best: tuple[int, int] | None = None
    start = None
    for index, value in enumerate([*clear, False]):
        if value and start is None:
            start = index
        if not value and start is not None:
            if best is None or index - 1 - start > best[1] - best[0]:
                best = (start, index - 1)
            start = None
    return best


def _run_ends(is_clear: Callable[[float], bool], last: float) -> tuple[float, float] | None:
    """The longest clear run of a position in 0 … last, its ends refined to a thousandth of a sample."""
    positions = np.linspace(0.0, last, POSITIONS)
    run = _longest_run([is_clear(float(p)) for p in positions])
    if run is None:
        return None

    def edge(clear: float, not_clear: float) -> float:
        for _ in range(10):
            middle = 0.5 * (clear + not_clear)
            clear, not_clear = (middle, not_clear) if is_clear(middle) else (clear, middle)
        return clear

    low = positions[run[0]] if run[0] == 0 else edge(positions[run[0]], positions[run[0] - 1])
    high = positions[run[1]] if run[1] == POSITIONS - 1 else edge(positions[run[1]], positions[run[1] + 1])
    return float(low), float(high)


def _zoom_range(job: Job, shape: HoodShape, margin: Margin, lattice: tuple[int, int]) -> ClearRange:
    focuses = np.linspace(0, lattice[1] - 1, max(1, 2 * lattice[1] - 1))

    def is_clear(position: float) -> bool:
        return not _shows(job, sweep(job.resolved, np.array([position]), focuses), shape, margin)

    run = _run_ends(is_clear, lattice[0] - 1)
    if run is None:
        return ClearRange("focal length", "mm", None, None, False)
    low, high = (sweep(job.resolved, np.array([p]), np.array([0.0]))[0].focal_length for p in run)
    return ClearRange("focal length", "mm", low, high, run[0] == 0 and run[1] == lattice[0] - 1)


def _focus_range(job: Job, shape: HoodShape, margin: Margin, lattice: tuple[int, int]) -> ClearRange:
    zooms = np.linspace(0, lattice[0] - 1, 8 * (lattice[0] - 1) + 1)

    def is_clear(position: float) -> bool:
        return not _shows(job, sweep(job.resolved, zooms, np.array([position])), shape, margin)

    run = _run_ends(is_clear, lattice[1] - 1)
    if run is None:
        return ClearRange("focus distance from the front rim", "mm", None, None, False)
    far, near = (sweep(job.resolved, np.array([0.0]), np.array([p]))[0].focus_distance for p in run)
    return ClearRange("focus distance from the front rim", "mm", near, far, run[0] == 0 and run[1] == lattice[1] - 1)


def _aperture_range(job: Job, shape: HoodShape, margin: Margin) -> ClearRange:
    """The widest f-number at which all settings are clear; settings already slower than it keep their own."""
    settings = job.swept(8)
    widest = min(s.f_number for s in settings)
    smallest = max(s.smallest_f_number for s in settings)

    def is_clear(f_number: float) -> bool:
        stopped = [s.stopped_down(max(s.f_number, min(f_number, s.smallest_f_number))) for s in settings]
        return not _shows(job, stopped, shape, margin)

    if is_clear(widest):
        return ClearRange("f-number", "", widest, smallest, True)
    if not is_clear(smallest):
        return ClearRange("f-number", "", None, None, False)
    shows, clear = widest, smallest
    while clear / shows > 1.002:
        middle = math.sqrt(shows * clear)
        shows, clear = (shows, middle) if is_clear(middle) else (middle, clear)
    return ClearRange("f-number", "", clear, smallest, False)


def stack_sentences(job: Job, settings: Sequence[Setting], accessories: Sequence[Accessory]) -> list[str]:
    """Whether filters and step rings show by themselves, one sentence each."""
    sentences = []
    z = 0.0
    for accessory in accessories:
        z += accessory.thickness
        worst: tuple[float, str] = (0.0, "")
        shows = False
        for setting in settings:
            front = replace(setting, reach=0.0)
            for variant in job.variants(front):
                beam = replace(job.beam(variant), reach=0.0)
                keepout = keep_out([beam])
                angle = np.radians(np.arange(0.0, 360.0, 1.0))
                radius = accessory.clear_diameter / 2
                section = keepout.section(z, np.degrees(angle), outermost=4 * radius + 4 * z)
                if float(np.max(section.value)) > radius + TOUCH:
                    shows = True
                    loss = _ring_loss(beam, radius, z)
                    if loss >= worst[0]:
                        worst = (loss, f"{beam.label}")
        seat = "" if job.lens.seat.on is SeatPlace.THREAD else " inside the hood"
        if shows:
            sentences.append(
                f'"{accessory.name}"{seat} shows by itself, without any hood: {worst[0]:.2f} stop at {worst[1]}.'
            )
        else:
            sentences.append(f'"{accessory.name}"{seat} does not show by itself.')
    return sentences


def _ring_loss(beam: Beam, radius: float, z: float) -> float:
    """Worst loss in stops that a round opening at z ahead of the front rim causes: one more window there."""
    slopes = np.ascontiguousarray(frame_samples(beam))
    areas, with_ring = np.empty(len(slopes)), np.empty(len(slopes))
    windows, planes = beam.limits(slopes)
    centre, distance = np.array(beam.centre), beam.object_distance
    occlusion.opening_areas(windows, planes, centre, slopes, distance, occlusion.CHORDS, areas)
    windows = np.ascontiguousarray(np.vstack([windows, [-z, radius, 0.0, 0.0]]))
    occlusion.opening_areas(windows, planes, centre, slopes, distance, occlusion.CHORDS, with_ring)
    lit = areas > 0
    return float(np.max(stops(1.0 - with_ring[lit] / areas[lit]))) if np.any(lit) else 0.0
