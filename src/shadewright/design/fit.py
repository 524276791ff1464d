"""From a lens, a camera and wishes to a hood: the one short driver of the main job."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.check import stack_sentences
from shadewright.clearance.keepout import Entries, KeepOut, keep_out
from shadewright.clearance.loss import Occluder, WorstLoss, apertures, coarse_worst, own_darkening, worst_of_beam
from shadewright.design import rims
from shadewright.design.mounting import mounting_notes
from shadewright.design.walls import default_wall, require_room
from shadewright.errors import FitError
from shadewright.model.camera import Camera
from shadewright.model.geometry import wall_of
from shadewright.model.hood import Hood, Lips, RimPart, RimShape, SeatKind, WallPart
from shadewright.model.lens import Lens, Projection, SeatPlace
from shadewright.model.shape import HoodShape, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall
from shadewright.optics.beam import Beam, Job, job
from shadewright.optics.settings import Estimate, Setting, traced_setting

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]

FINE = 10
"""Places per half degree at which the deepest rim is known before a rim is drawn under it."""
SWEEP_TOLERANCE = 0.02
"""A sweep is refined until halving its intervals changes the rim by less than this, mm: the error left is a third."""
WIDENING, WIDENINGS = 2.0, 15
"""Step (mm) and number of steps by which a default wall is widened to come out of the beam."""
FINEST_SWEEP = 32
LEVEL = 0.05
"""A rim that rises less than this, mm, has no lobes."""
JUDGED = 3
"""Beams added at a time to those that an allowance is found with."""
ALLOWANCE_TOLERANCE = 0.004
"""How closely the worst loss meets the allowance, stops."""


def silent(_step: str, _share: float) -> None:
    """Progress that is not shown."""


@dataclass(frozen=True)
class EstimateEffect:
    """What an estimate costs: the most that measuring could deepen the rim, mm, at its shallowest and anywhere."""

    estimate: Estimate
    deeper_at_shallowest: float
    deeper_anywhere: float


@dataclass(frozen=True, eq=False)
class Fitting:
    """A fitted hood and all that is known of it.

    azimuth: (360,) degrees. deepest: (360,) the deepest rim (mm) under the margin, capped at the largest length;
    for a tunnel the four lips. entries: what binds there. worst: the worst loss over all settings, None when clear
    was asked for (it is then zero by construction).
    """

    job: Job
    hood: Hood
    shape: HoodShape
    keepout: KeepOut
    settings: tuple[Setting, ...]
    azimuth: Array
    deepest: Array
    entries: Entries
    plain_depth: float
    worst: WorstLoss | None
    scale: float
    effects: tuple[EstimateEffect, ...]
    warnings: tuple[str, ...]

    def binding(self, index: int) -> str:
        """What binds the deepest rim at one of its azimuths, in words."""
        if self.entries.state[index] < 0:
            return f"the largest length, {self.hood.wishes.largest_length:g} mm"
        return self.keepout.binding(self.entries, index)


def fit(lens: Lens, camera: Camera, hood: Hood, *, progress: Progress = silent) -> Fitting:
    """The hood that the wishes ask for, fitted to a lens on a camera.

    Raises OpticsError for impossible optics and FitError where no hood meets the wishes.
    """
    work = job(lens, camera, use=hood.use, accessories=hood.accessory)
    shape_wanted, warnings = _rim_wanted(lens, hood)
    part = hood.wall or _set_back(default_wall(work, shape_wanted), hood, warnings)
    wall = wall_of(part)
    if isinstance(wall, TunnelWall) and shape_wanted is not RimShape.TUNNEL:
        if hood.rim.shape not in (RimShape.PETAL, RimShape.TUNNEL):
            raise FitError(f'rim.shape = "{hood.rim.shape}" does not go with a wall of shape "tunnel"; use "tunnel".')
        shape_wanted = RimShape.TUNNEL
    require_room(work, wall, hood.accessory)
    progress("settings", 0.0)
    if hood.wall is None:
        part, wall, settings, keepout = _wide_enough(work, part, hood, warnings)
    else:
        settings, keepout = _settled(work, wall, hood)
    warnings += _notes(work, settings, hood, shape_wanted)
    warnings += [s for s in stack_sentences(work, work.resolved.settings, hood.accessory) if "shows by itself" in s]
    progress("rim", 0.3)
    if hood.wishes.allowance > 0:
        scale, shape, worst = _allowed(work, settings, wall, hood, shape_wanted, progress)
        keepout = _keepout(work, settings, hood, scale)
        if worst.stops < hood.wishes.allowance - 0.01:
            warnings.append(
                f"The allowance of {hood.wishes.allowance:g} stop is not used up: the worst loss is {worst.stops:.2f} stop. "
                "Either the largest length stops the rim first, or the least further depth would darken some place at once."
            )
    else:
        scale, worst = 1.0, None
        shape = shape_under(keepout, wall, hood, shape_wanted)
    azimuth, entries = _entries(keepout, wall, hood)
    progress("estimates", 0.8)
    plain_depth = float(np.min(entries.value))
    warnings += _no_petals(shape, shape_wanted, entries.value, hood)
    fitted = _document(hood, part, shape, shape_wanted, lens, camera)
    if hood.wishes.vane_depth > 0:
        fitted, note = _with_vanes(fitted, work, keepout, shape)
        warnings.append(note)
    if hood.ridges is not None:
        fitted, note = _with_ridges(fitted, work, keepout, shape)
        warnings.append(note)
    effects = _effects(work, wall, hood, shape)
    progress("done", 1.0)
    return Fitting(
        work, fitted, shape, keepout, tuple(settings), azimuth, entries.value, entries, plain_depth, worst, scale,
        effects, tuple(warnings),
    )  # fmt: skip


def _no_petals(shape: HoodShape, wanted: RimShape, deepest: Array, hood: Hood) -> list[str]:
    """A note where the lobes are asked so wide that a petal rim comes out level though the deepest rim is not."""
    if wanted is not RimShape.PETAL or not isinstance(shape, RoundHood):
        return []
    if shape.rim.deepest - shape.rim.shallowest >= LEVEL or float(np.ptp(deepest)) < 1.0:
        return []
    return [
        f"Lobes at least {hood.wishes.smallest_lobe_width:g} mm wide leave no petals on this wall: the rim came out level; a smaller "
        "wishes.smallest_lobe_width gives more shade."
    ]


def _set_back(part: WallPart, hood: Hood, warnings: list[str]) -> WallPart:
    """The default wall with room for the vanes or ridges asked for."""
    room = max(hood.wishes.vane_depth, hood.ridges.depth if hood.ridges is not None else 0.0)
    if room == 0.0 or part.inner_diameter is None:
        return part
    rings = "ridges" if hood.ridges is not None else "vanes"
    warnings.append(f"The wall stands {room:g} mm further out than a bare one would, to make room for the {rings}.")
    return part.model_copy(update={"inner_diameter": part.inner_diameter + 2 * room})


def _wide_enough(
    work: Job, part: WallPart, hood: Hood, warnings: list[str]
) -> tuple[WallPart, RoundWall | TunnelWall, list[Setting], KeepOut]:
    """The default wall, widened by steps until it no longer stands in the beam from its start. Raises FitError."""
    for widened in range(WIDENINGS + 1):
        sizes = {name: getattr(part, name) for name in ("inner_diameter", "inner_width", "inner_height")}
        more = {name: size + widened * WIDENING for name, size in sizes.items() if size is not None}
        wider = part.model_copy(update=more)
        wall = wall_of(wider)
        try:
            settings, keepout = _settled(work, wall, hood)
        except FitError:
            if widened == WIDENINGS:
                raise
            continue
        if widened:
            warnings.append(
                f"A wall close round the front would stand in the beam: it was made {widened * WIDENING:g} mm wider than "
                "the front needs."
            )
        return wider, wall, settings, keepout
    raise AssertionError("unreachable")


def _rim_wanted(lens: Lens, hood: Hood) -> tuple[RimShape, list[str]]:
    """The shape of rim to make, plain where the hood turns with the front, and why."""
    turns_with_it = lens.front.turns and lens.seat.on in (SeatPlace.FRONT, SeatPlace.THREAD)
    if turns_with_it and hood.rim.shape is not RimShape.PLAIN:
        return RimShape.PLAIN, [
            f'The front turns and carries the hood round with it, so that every part of a "{hood.rim.shape}" rim would '
            "pass every place of the frame: only a plain rim can serve, and a plain one was made."
        ]
    return hood.rim.shape, []


def _notes(work: Job, settings: Sequence[Setting], hood: Hood, wanted: RimShape) -> list[str]:
    notes = mounting_notes(work.lens, hood) + own_darkening(work)
    threaded = hood.build.seat is SeatKind.THREAD
    if threaded and wanted is not RimShape.PLAIN:
        notes.append(
            f"A thread stops at any angle, and a {wanted} hood must stand upright: give it a clamp or a slip-on seat, or lock "
            "it where it stands right."
        )
    if threaded and hood.build.thread is None and work.lens.front.filter_thread is None:
        notes.append("build.seat is a thread, but neither hood nor lens names one: `make` will ask for it.")
    if hood.build.finish is not None:
        notes += _finish_notes(hood)
    if work.lens.projection.kind not in (Projection.RECTILINEAR, Projection.MEASURED) and not work.resolved.pupil_estimated:
        notes.append(
            "A fisheye's pupil moves forward and changes with the field angle: measure pupil_depth towards the edge of the "
            "field as well, and let pupil_depth_plus_minus cover both."
        )
    if work.lens.state and all(state.rear_window is None for state in work.lens.state):
        notes.append(
            "No rear window is given, which is safe: the real beam is narrower off the axis and might allow a deeper rim."
        )
    if work.resolved.lattice is None:
        notes.append(
            "The listed states do not form a grid of zoom and focus, so only the listed ones were used, none between them."
        )
    return notes


def _finish_notes(hood: Hood) -> list[str]:
    """A note where the finish named is one that weighing does not know."""
    # The light engine loads only where a finish is named.
    from shadewright.light.finishes import finishes_for

    if hood.build.finish in {finish.name for finish in finishes_for(hood)}:
        return []
    return [
        f'build.finish = "{hood.build.finish}" is not in the table of finishes: it is written on drawing and report, but `weigh` '
        "cannot count with it unless the hood document describes it under [[finish]]."
    ]


def _keepout(work: Job, settings: Sequence[Setting], hood: Hood, scale: float = 1.0) -> KeepOut:
    beams = work.beams(settings)
    if scale != 1.0:
        beams = [beam.scaled(scale) for beam in beams]
    return keep_out(beams, margin=hood.margin)


def _settled(work: Job, wall: RoundWall | TunnelWall, hood: Hood) -> tuple[list[Setting], KeepOut]:
    """Settings dense enough that more of them no longer change the rim, and their keep-out. Raises FitError."""
    still = hood.model_copy(update={"margin": hood.margin.model_copy(update={"rotation": 0.0})})
    steps, previous = 8, None
    while True:
        settings = work.swept(steps)
        keepout = _keepout(work, settings, still)
        _azimuth, entries = _entries(keepout, wall, still, step=3.0)
        _require_outside(keepout, entries, wall)
        same = previous is not None and float(np.max(np.abs(previous - entries.value))) < SWEEP_TOLERANCE
        if same or len(settings) == len(work.resolved.settings) or steps >= FINEST_SWEEP:
            return settings, replace(keepout, margin=hood.margin)
        previous, steps = entries.value, steps * 2


def _require_outside(keepout: KeepOut, entries: Entries, wall: RoundWall | TunnelWall) -> None:
    """Refuse a wall that stands in the beam from its start. Raises FitError."""
    for index in np.nonzero(entries.state >= 0)[0]:
        start = max(0.0, keepout.beams[entries.state[index]].reach - keepout.margin.axial)
        if entries.value[index] <= start + 1e-6:
            across = (
                "that wide a tunnel" if isinstance(wall, TunnelWall) else f"{2 * wall.radius_at(1e-9):.1f} mm inside"
            )
            raise FitError(
                f"wall: at {across} the wall itself stands in the beam, even right at the front rim "
                f"({keepout.binding(entries, int(index))}); give a larger inside, or a smaller margin."
            )


def _entries(keepout: KeepOut, wall: RoundWall | TunnelWall, hood: Hood, *, step: float = 1.0) -> tuple[Array, Entries]:
    cap = hood.wishes.largest_length
    if isinstance(wall, TunnelWall):
        _rim, lips = keepout.tunnel(wall, cap=cap)
        joined = Entries(
            np.concatenate([lip.value for lip in lips]), np.concatenate([lip.state for lip in lips]),
            np.concatenate([lip.mask for lip in lips]), np.concatenate([lip.slope for lip in lips]),
        )  # fmt: skip
        return np.array([0.0, 90.0, 180.0, 270.0]), joined
    azimuth = np.arange(0.0, 360.0, step)
    return azimuth, keepout.rim(wall, azimuth, cap=cap)


def fine_rim(keepout: KeepOut, wall: RoundWall, *, cap: float, per_node: int = FINE) -> Array:
    """The deepest rim (per_node * rims.NODES,) in mm, the rotational play of the margin taken by a running minimum."""
    count = per_node * rims.NODES
    still = replace(keepout, margin=keepout.margin.model_copy(update={"rotation": 0.0}))
    z = still.rim(wall, np.arange(count) * 360.0 / count, cap=cap).value
    play = math.ceil(keepout.margin.rotation * count / 360.0 - 1e-9)
    if play:
        ahead = rims._running(z, play, np.minimum)
        behind = rims._running(z[::-1], play, np.minimum)[::-1]
        z = np.minimum(ahead, behind)
    return z


def shape_under(
    keepout: KeepOut, wall: RoundWall | TunnelWall, hood: Hood, wanted: RimShape, *, per_node: int = FINE
) -> HoodShape:
    """The made rim under a keep-out."""
    wishes = hood.wishes
    if isinstance(wall, TunnelWall):
        lips, _found = keepout.tunnel(wall, cap=wishes.largest_length)
        low = [math.floor((v - 1e-4) * 1e4) / 1e4 for v in (lips.right, lips.top, lips.left, lips.bottom)]
        return TunnelHood(wall, TunnelRim(*low))
    fine = fine_rim(keepout, wall, cap=wishes.largest_length, per_node=per_node)
    radius = float(wall.radius_at(float(np.median(fine))))
    if wanted is RimShape.PLAIN:
        return RoundHood(wall, rims.plain(fine, largest_length=wishes.largest_length))
    if wanted is RimShape.SQUARE_CUT:
        rim = rims.square_cut(
            fine, largest_length=wishes.largest_length, symmetry=wishes.symmetry, width=wishes.smallest_lobe_width,
            radius=radius,
        )  # fmt: skip
        return RoundHood(wall, rim)
    if wanted is RimShape.DEEPEST:
        count = rims.DEEPEST_NODES
        ceiling = rims.safe_nodes(fine, count=count)
        return RoundHood(wall, Rim.from_arrays(np.arange(count) * 360.0 / count, ceiling))
    ceiling = rims.safe_nodes(fine)
    limits = rims.PetalLimits(
        radius, wishes.fillet_radius, wishes.smallest_lobe_width, wishes.largest_length, wishes.symmetry, wishes.stands
    )
    return RoundHood(wall, rims.petal(ceiling, limits))


def _allowed(
    work: Job,
    settings: Sequence[Setting],
    wall: RoundWall | TunnelWall,
    hood: Hood,
    wanted: RimShape,
    progress: Progress,
) -> tuple[float, HoodShape, WorstLoss]:
    """The window scale whose made rim loses the allowance at worst; the beams judged grow until none is worse."""
    target = hood.wishes.allowance
    every = [
        work.beam(variant)
        for setting in work.swept(4)
        for stopped in apertures(setting)
        for variant in work.variants(stopped)
    ]
    shape = shape_under(_keepout(work, settings, hood, 0.9), wall, hood, wanted, per_node=4)
    judged = _worst_beams(every, shape)
    for turn in range(8):
        scale, shape = _bisect_scale(work, settings, judged, wall, hood, wanted)
        found = _worst_beams(every, shape)
        worst = worst_of_beam(found[0], Occluder(shape))
        progress("allowance", 0.3 + 0.06 * turn)
        known = {id(beam) for beam in judged}
        fresh = [beam for beam in found if id(beam) not in known]
        if worst.stops <= target + ALLOWANCE_TOLERANCE or not fresh:
            break
        judged += fresh
    return scale, shape, worst


def _worst_beams(beams: Sequence[Beam], shape: HoodShape) -> list[Beam]:
    """The few beams that a hood takes most from, the worst first."""
    occluder = Occluder(shape, step=2.0)
    loss = np.array([coarse_worst(beam, occluder)[0] for beam in beams])
    return [beams[k] for k in np.argsort(-loss, kind="stable")[:JUDGED]]


def _bisect_scale(
    work: Job,
    settings: Sequence[Setting],
    judged: Sequence[Beam],
    wall: RoundWall | TunnelWall,
    hood: Hood,
    wanted: RimShape,
) -> tuple[float, HoodShape]:
    target = hood.wishes.allowance
    low, high = 0.02, 1.0

    def made(scale: float) -> HoodShape:
        return shape_under(_keepout(work, settings, hood, scale), wall, hood, wanted, per_node=4)

    def worst(shape: HoodShape) -> float:
        occluder = Occluder(shape)
        return max(worst_of_beam(beam, occluder).stops for beam in judged)

    shape = made(low)
    loss_low, loss_high = worst(shape), 0.0
    if loss_low <= target:
        return low, shape
    for _ in range(40):
        # Where both ends are near the target, the straight line between them; far from it, the middle.
        share = 0.5
        if loss_low < 4 * target and loss_high > 0:
            share = min(max((loss_low - target) / (loss_low - loss_high), 0.1), 0.9)
        middle = low + share * (high - low)
        shape = made(middle)
        loss = worst(shape)
        if abs(loss - target) < ALLOWANCE_TOLERANCE / 2:
            return middle, shape
        if loss > target:
            low, loss_low = middle, loss
        else:
            high, loss_high = middle, loss
        if high - low < 1e-5:
            break
    # The loss jumps past the allowance: keep the side that does not exceed it.
    return high, made(high)


def _document(hood: Hood, part: WallPart, shape: HoodShape, wanted: RimShape, lens: Lens, camera: Camera) -> Hood:
    """The wishes completed with the wall and the rim."""
    if isinstance(shape, TunnelHood):
        r = shape.rim
        rim = RimPart(shape=RimShape.TUNNEL, lips=Lips(right=r.right, top=r.top, left=r.left, bottom=r.bottom))
    else:
        assert isinstance(shape, RoundHood)
        rim = RimPart(shape=wanted, points=tuple(zip(shape.rim.azimuth, shape.rim.z, strict=True)))
    return hood.model_copy(update={"wall": part, "rim": rim, "made_for": f"{lens.name} on {camera.name}"})


def _with_vanes(fitted: Hood, work: Job, keepout: KeepOut, shape: HoodShape) -> tuple[Hood, str]:
    """The hood with its vanes, and what to know of them. Raises FitError."""
    # The light engine loads only for those who ask for vanes.
    from shadewright.design.vane_plan import plan_vanes, vane_note, vane_parts

    layout = plan_vanes(work, keepout, shape, fitted, depth=fitted.wishes.vane_depth)
    return fitted.model_copy(update={"vane": vane_parts(layout)}), vane_note(layout)


def _with_ridges(fitted: Hood, work: Job, keepout: KeepOut, shape: HoodShape) -> tuple[Hood, str]:
    """The hood with its ridges where they are clear, and what to know of them. Raises FitError."""
    from shadewright.design.vane_plan import plan_ridges, ridge_note

    assert fitted.ridges is not None
    planned = plan_ridges(work, keepout, shape, fitted, fitted.ridges)
    return fitted.model_copy(update={"ridges": planned}), ridge_note(planned)


def _effects(work: Job, wall: RoundWall | TunnelWall, hood: Hood, shape: HoodShape) -> tuple[EstimateEffect, ...]:
    """What each kind of estimate costs, from the listed settings alone."""
    kinds: dict[str, Estimate] = {}
    for estimate in work.estimates:
        kinds.setdefault(estimate.field.split("].")[-1], estimate)
    if not kinds:
        return ()
    settings = list(work.resolved.settings)
    _azimuth, used = _entries(_keepout(work, settings, hood), wall, hood)
    effects = []
    for name, estimate in kinds.items():
        at_shallowest, anywhere = 0.0, 0.0
        for trial in _trials(name, settings, estimate):
            known = keep_out([work.beam(setting) for setting in trial], margin=hood.margin)
            if name != "pupil_depth":
                known = _keepout(work, trial, hood)
            _same, found = _entries(known, wall, hood)
            at_shallowest = max(at_shallowest, float(np.min(found.value) - np.min(used.value)))
            anywhere = max(anywhere, float(np.max(found.value - used.value)))
        effects.append(EstimateEffect(estimate, at_shallowest, anywhere))
    return tuple(effects)


def _trials(name: str, settings: Sequence[Setting], estimate: Estimate) -> list[list[Setting]]:
    """The settings as they would be with the estimated value known, at places of its range."""
    if name == "pupil_depth":
        return [
            [s.with_pupil_depth(s.pupil_depth + share * s.pupil_depth_plus_minus) for s in settings]
            for share in (-1.0, 0.0, 1.0)
        ]
    if name == "semi_diameter":
        return [
            [
                traced_setting(s.traced.narrowest(), s.reach, s.smallest_f_number, s.shift, s.image_travel)
                for s in settings
                if s.traced is not None
            ]
        ]
    if name in ("front.clear_diameter", "front.clear_depth"):
        trial = []
        for s in settings:
            depth, radius = s.windows[1][:2]
            glass = (depth, estimate.low / 2) if name == "front.clear_diameter" else (0.0, radius)
            windows = (s.windows[0], (*glass, 0.0, 0.0), *s.windows[2:])
            trial.append(replace(s, front_radius=glass[1], windows=windows))
        return [trial]
    return [[replace(s, reach=s.reach - estimate.used + estimate.high) for s in settings]]
