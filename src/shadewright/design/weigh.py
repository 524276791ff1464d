"""Weighing hoods against each other: what each lets in, what it costs, and which to choose."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shadewright.design import rims
from shadewright.design.fit import Fitting, fine_rim, fit
from shadewright.errors import FitError
from shadewright.light.share import LightMap, gain_stops, light_map, mask_let_in
from shadewright.model.camera import Camera
from shadewright.model.hood import Hood, RimPart, RimShape, SeatKind, WallShape
from shadewright.model.lens import Lens, SeatPlace
from shadewright.model.shape import HoodShape, Rim, RoundHood, TunnelHood
from shadewright.model.surroundings import Surroundings
from shadewright.optics.beam import Job
from shadewright.optics.settings import Setting

if TYPE_CHECKING:
    from shadewright.design.weigh_stray import FinishTrial, StrayBench
    from shadewright.light.finish import Finish
    from shadewright.light.surroundings import StrayLight

Array = NDArray[np.float64]
Progress = Callable[[str, float], None]

CELLS = 101
"""Cells across the sky map of a weighing."""
FINGER_REACH = 25.0
"""How far past a rim a finger reaches to turn a filter, mm (common practice, no source)."""
LOBE_LOAD = 10.0
"""A clumsy push on the tip of a lobe, N (common practice, no source)."""
PRINTED_MODULUS = 2000.0
"""Young's modulus of a common printed polymer (PETG), MPa; from memory, about 20 % either way."""
PRINTED_STRENGTH = 40.0
"""Its tensile strength, MPa; from memory, about 20 % either way, along the layers."""
LAYER_SHARE = 0.5
"""Strength across printed layers, as a share of that along them (common practice, no source)."""
PETAL_GAIN = 0.1
"""What a shaped rim must gain over a plain one to be worth its lobes, stops (a choice of this project)."""
PETAL_SHARE = 0.05
"""And what it must keep out beyond a plain one, as a share of the light from outside the frame (a choice likewise)."""
TUNNEL_GAIN = 0.3
"""What a tunnel must gain over a petal hood to be worth its width, stops (a choice of this project)."""


@dataclass(frozen=True)
class LetIn:
    """Direct light at one setting, shares of 1 and gains in stops.

    bound_depth: the least any hood no deeper can let in. bound_wall: the least any rim on this wall, no deeper, lets in.
    """

    label: str
    hood: float
    bound_depth: float
    bound_wall: float

    @property
    def gain(self) -> float:
        """Gain over no hood, stops."""
        return gain_stops(self.hood, 1.0)

    @property
    def efficiency_depth(self) -> float:
        """What it stops, of what a perfect hood of this depth stops."""
        return (1 - self.hood) / (1 - self.bound_depth) if self.bound_depth < 1 else 1.0

    @property
    def efficiency_wall(self) -> float:
        """What it stops, of what the deepest rim on this wall to this depth stops."""
        return (1 - self.hood) / (1 - self.bound_wall) if self.bound_wall < 1 else 1.0


@dataclass(frozen=True)
class Candidate:
    """One hood weighed. Lengths in mm.

    reversed_length: from the seat's rear edge to the deepest tip, what it covers of the barrel when stored reversed.
    lobe_stress: bending stress in MPa at the root of the longest lobe under LOBE_LOAD at its tip; 0 without lobes.
    stray: direct and wall light at the first setting weighed, in even surroundings first and then in those asked for;
    empty where direct light alone was weighed.
    """

    name: str
    shape: HoodShape
    light: tuple[LetIn, ...]
    depth: float
    shallowest: float
    reversed_length: float
    reaches_filter: bool
    stands: bool
    lobe_stress: float
    lobe_bend: float
    across: float
    """Largest outside dimension across the axis."""
    stray: tuple[StrayLight, ...] = ()

    @property
    def let_in(self) -> float:
        """Mean let-in share over the settings weighed."""
        return float(np.mean([entry.hood for entry in self.light]))

    @property
    def wall(self) -> float:
        """Wall light in even surroundings, a share as the let-in share is; 0 where it was not worked out."""
        return (self.stray[0].wall or 0.0) if self.stray else 0.0

    @property
    def total(self) -> float:
        """The let-in share with the wall light added: what hoods are chosen by."""
        return self.let_in + self.wall


@dataclass(frozen=True)
class Weighing:
    """The candidates, the one asked for first; the choice and the reasons for it, in sentences.

    finish: what their insides were taken to be finished with; empty where direct light alone was weighed. trials: the
    hood chosen with one finish after another, the darkest first.
    """

    candidates: tuple[Candidate, ...]
    choice: str
    reasons: tuple[str, ...]
    left_out: tuple[str, ...]
    finish: str = ""
    trials: tuple[FinishTrial, ...] = ()
    coat: Finish | None = None

    def candidate(self, name: str) -> Candidate:
        """The candidate of a name."""
        return next(entry for entry in self.candidates if entry.name == name)


def weighed_settings(job: Job, *, most: int = 4) -> list[Setting]:
    """The settings light is weighed at: the listed focal lengths at the farthest focus, at most `most` of them."""
    listed = job.resolved.settings
    farthest = max(s.focus_distance for s in listed)
    chosen = [s for s in listed if s.focus_distance == farthest]
    if len(chosen) <= most:
        return chosen
    picks = np.unique(np.rint(np.linspace(0, len(chosen) - 1, most)).astype(int))
    return [chosen[i] for i in picks]


def let_in(fitting: Fitting, shape: HoodShape, setting: Setting, *, cells: int = CELLS) -> LetIn:
    """Direct light past a hood at one setting, with its two bounds."""
    return _let_in(fitting, shape, setting, _bounds(fitting, shape), cells)


@dataclass(frozen=True, eq=False)
class _Bounds:
    """What no hood so deep can better, and none on the same wall."""

    depth: float
    opening: Array
    """The keep-out's own section (n, 2) at that depth, mm."""
    deepest: RoundHood | None
    """The deepest rim on the hood's own wall, no deeper than the hood; None for a tunnel, which is its own bound."""


def _bounds(fitting: Fitting, shape: HoodShape) -> _Bounds:
    assert isinstance(shape, RoundHood | TunnelHood)
    keepout, depth = fitting.keepout, shape.rim.deepest
    azimuth = np.arange(0.0, 360.0, 2.0)
    front = max(fitting.job.beam(setting).front_radius for setting in weighed_settings(fitting.job))
    section = keepout.section(depth, azimuth, outermost=20.0 * (abs(depth) + front + 10.0))
    angle = np.radians(azimuth)
    opening = np.stack([section.value * np.cos(angle), section.value * np.sin(angle)], axis=1)
    if isinstance(shape, TunnelHood):
        return _Bounds(depth, opening, None)
    fine = fine_rim(keepout, shape.wall, cap=depth, per_node=2)
    return _Bounds(depth, opening, RoundHood(shape.wall, Rim.from_arrays(rims.nodes(), fine[::2])))


def _let_in(fitting: Fitting, shape: HoodShape, setting: Setting, bounds: _Bounds, cells: int) -> LetIn:
    beam = fitting.job.beam(setting)
    hood = light_map(beam, shape, cells=cells).let_in
    bound = mask_let_in(beam, bounds.opening, bounds.depth, cells=cells)
    own = hood if bounds.deepest is None else min(hood, light_map(beam, bounds.deepest, cells=cells).let_in)
    return LetIn(beam.label, hood, min(bound, 1.0), own)


def candidate(name: str, fitting: Fitting, *, shape: HoodShape | None = None, cells: int = CELLS) -> Candidate:
    """A hood weighed at the settings of its fitting."""
    shape = fitting.shape if shape is None else shape
    assert isinstance(shape, RoundHood | TunnelHood)
    bounds = _bounds(fitting, shape)
    light = tuple(_let_in(fitting, shape, setting, bounds, cells) for setting in weighed_settings(fitting.job))
    depth, shallowest = shape.rim.deepest, shape.rim.shallowest
    front = max(s.reach for s in fitting.job.resolved.settings) - fitting.job.stack
    stress, bend = _lobe_strength(shape, fitting.hood.build.thickness)
    return Candidate(
        name=name,
        shape=shape,
        light=light,
        depth=depth,
        shallowest=shallowest,
        reversed_length=depth + fitting.hood.build.seat_length,
        reaches_filter=shallowest - front <= FINGER_REACH,
        stands=_stands(shape),
        lobe_stress=stress,
        lobe_bend=bend,
        across=_across(shape) + 2 * fitting.hood.build.thickness,
    )


def _across(shape: RoundHood | TunnelHood) -> float:
    if isinstance(shape, TunnelHood):
        return 2 * max(shape.wall.half_width, shape.wall.half_height)
    return 2 * float(np.max(shape.wall.radius_at(np.array([1e-9, shape.rim.deepest]))))


def _stands(shape: RoundHood | TunnelHood) -> bool:
    if isinstance(shape, TunnelHood):
        lips = sorted((shape.rim.right, shape.rim.top, shape.rim.left, shape.rim.bottom))
        opposite = abs(shape.rim.right - shape.rim.left) < 0.05 or abs(shape.rim.top - shape.rim.bottom) < 0.05
        return lips[3] - lips[2] < 0.05 and opposite
    z = shape.rim.z_at(rims.nodes())
    return rims.standing_height(z) >= float(z.max()) - 0.02


def _lobe_strength(shape: RoundHood | TunnelHood, thickness: float) -> tuple[float, float]:
    """Root stress (MPa) and tip bend (mm) of the longest lobe as a flat cantilever with a load at its tip.

    sigma = 6 F L / (b t^2), delta = F L^3 / (3 E I), I = b t^3 / 12 (W. C. Young and R. G. Budynas, Roark's Formulas for
    Stress and Strain, table 8.1 case 1a). A curved lobe is stiffer than a flat one, so both are on the safe side.
    """
    if isinstance(shape, TunnelHood):
        return 0.0, 0.0
    z = shape.rim.z_at(rims.nodes())
    length = float(z.max() - z.min())
    if length < 1.0:
        return 0.0, 0.0
    middle = float(z.min()) + 0.25 * length
    up = z >= middle
    peak = int(np.argmax(z))
    first = last = peak
    while up[(first - 1) % len(z)] and peak - first < len(z):
        first -= 1
    while up[(last + 1) % len(z)] and last - peak < len(z):
        last += 1
    width = (last - first + 1) * 2 * math.pi * float(shape.wall.radius_at(middle)) / len(z)
    stress = 6 * LOBE_LOAD * length / (width * thickness**2)
    bend = LOBE_LOAD * length**3 / (3 * PRINTED_MODULUS * width * thickness**3 / 12)
    return stress, bend


def weigh(
    lens: Lens, camera: Camera, hood: Hood, *, cells: int = CELLS, fast: bool = False,
    surroundings: Sequence[Surroundings] | None = None, progress: Progress = lambda _s, _x: None,
) -> Weighing:  # fmt: skip
    """Weigh plain, petal and tunnel hoods for the same wishes, and recommend one.

    fast: direct light alone, in no surroundings unless they are given. surroundings: what to weigh them in besides
    even light; left out, the usual ones. Raises OpticsError,
    FitError, LightError.
    """
    turning = lens.front.turns and lens.seat.on in (SeatPlace.FRONT, SeatPlace.THREAD)
    wanted = [RimShape.PLAIN] if turning else [RimShape.PLAIN, RimShape.PETAL, RimShape.TUNNEL]
    if not turning and hood.rim.shape not in wanted:
        wanted.append(hood.rim.shape)
    candidates, left_out, fittings = [], [], {}
    progress(str(wanted[0]), 0.0)
    with ThreadPoolExecutor(min(len(wanted), os.cpu_count() or 1)) as pool:
        # Each shape by itself; what is reported comes in the order of `wanted` however they end.
        work = [pool.submit(_weighed, lens, camera, _asking(hood, shape), str(shape), cells) for shape in wanted]
        for index, (shape, one) in enumerate(zip(wanted, work, strict=True)):
            try:
                fitting, found = one.result()
                candidates.append(found)
                fittings[str(shape)] = fitting
            except FitError as error:
                # What was asked for must be possible; what is only compared with it may be left out.
                if shape is hood.rim.shape or turning:
                    pool.shutdown(cancel_futures=True)
                    raise
                left_out.append(f"{shape}: {error}")
            progress(str(shape), 0.8 * (index + 1) / len(wanted))
    progress("light by way of the wall", 0.8)
    benches: dict[str, StrayBench] = {}
    if not fast or surroundings is not None:
        candidates, benches = _stray(candidates, fittings, hood, surroundings, cells, fast=fast)
    choice, reasons = _recommend(candidates, turning=turning, hood=hood)
    finish, coat = "", None
    trials: tuple[FinishTrial, ...] = ()
    if not fast:
        from shadewright.light.finishes import finishes_for

        progress("finishes", 0.9)
        coat, trials = benches[choice].finish, benches[choice].trials(finishes_for(hood))
        finish = coat.name
        reasons += _finish_reasons(next(c for c in candidates if c.name == choice), finish, trials)
    progress("done", 1.0)
    return Weighing(tuple(candidates), choice, tuple(reasons), tuple(left_out), finish, trials, coat)


def _weighed(lens: Lens, camera: Camera, hood: Hood, name: str, cells: int) -> tuple[Fitting, Candidate]:
    fitting = fit(lens, camera, hood)
    return fitting, candidate(name, fitting, cells=cells)


def _stray(
    candidates: Sequence[Candidate], fittings: Mapping[str, Fitting], hood: Hood,
    surroundings: Sequence[Surroundings] | None, cells: int, *, fast: bool,
) -> tuple[list[Candidate], dict[str, StrayBench]]:  # fmt: skip
    """The candidates with their light in the surroundings, and what finishes can be tried on."""
    from shadewright.design.vane_plan import rings_in_light
    from shadewright.design.weigh_stray import StrayBench, finish_of, usual_surroundings

    finish = finish_of(hood)
    around = usual_surroundings() if surroundings is None else tuple(surroundings)
    found, benches = [], {}
    for entry in candidates:
        fitting = fittings[entry.name]
        beam = fitting.job.beam(weighed_settings(fitting.job)[0])
        light = light_map(beam, entry.shape, cells=cells)
        rings = rings_in_light(fitting.hood, entry.shape, ahead=beam.reach)
        bench = StrayBench.of(beam, entry.shape, around, finish, light=light, vanes=rings)
        benches[entry.name] = bench
        found.append(replace(entry, stray=bench.direct() if fast else bench.light()))
    return found, benches


def _finish_reasons(chosen: Candidate, finish: str, trials: Sequence[FinishTrial]) -> list[str]:
    """What the finish of the inside is worth on the hood chosen."""
    best = trials[0]
    reasons = [
        f"By way of its wall, finished in {finish}, another {chosen.wall:.1%} of that light reaches the glass at "
        f"{chosen.stray[0].setting}."
    ]
    if best.finish != finish:
        gain = gain_stops(chosen.let_in + best.wall, chosen.total)
        reasons.append(f"Finished in {best.finish} it would be {best.wall:.1%}, in all {gain:.2f} stop better.")
    return reasons


def _asking(hood: Hood, shape: RimShape) -> Hood:
    """The same wishes for another shape of rim; the wall goes where it does not belong to the shape."""
    wall = hood.wall
    if wall is not None and (wall.shape is WallShape.TUNNEL) != (shape is RimShape.TUNNEL):
        wall = None
    return hood.model_copy(update={"rim": RimPart(shape=shape), "wall": wall})


def _recommend(candidates: Sequence[Candidate], *, turning: bool, hood: Hood) -> tuple[str, list[str]]:
    """The choice and its reasons.

    A hood that breaks under a push is out. Then what a candidate gains over the plain hood is worth its extra length
    only from PETAL_GAIN and PETAL_SHARE on; a tunnel must beat a petal by TUNNEL_GAIN, since it is wider, neither reverses for storage nor
    screws on.
    """
    named = {entry.name: entry for entry in candidates}
    reasons = []
    plain = named.get("plain")
    if turning:
        reasons.append("The front turns and takes the hood with it: only a plain rim stays clear at every angle.")
    sound = {name: entry for name, entry in named.items() if entry.lobe_stress <= PRINTED_STRENGTH * LAYER_SHARE}
    for name, entry in named.items():
        if name not in sound:
            reasons.append(
                f"The {name} hood's longest lobe would see {entry.lobe_stress:.0f} MPa at its root under a push of "
                f"{LOBE_LOAD:g} N, more than printed layers bear (about {PRINTED_STRENGTH * LAYER_SHARE:.0f} MPa): thicken the "
                "wall or shorten it."
            )
    choice = min(sound or named, key=lambda name: named[name].total)
    if choice == "tunnel" and "petal" in sound:
        gain = gain_stops(named["tunnel"].total, sound["petal"].total)
        if gain < TUNNEL_GAIN:
            reasons.append(
                f"A tunnel would gain only {gain:.2f} stop over the petal hood, is {named['tunnel'].across:.0f} mm across "
                f"against {sound['petal'].across:.0f} mm and cannot be stored reversed: the petal hood is preferred."
            )
            choice = "petal"
    if plain is not None and choice != "plain":
        gain = gain_stops(named[choice].total, plain.total)
        share = plain.total - named[choice].total
        if (gain < PETAL_GAIN or share < PETAL_SHARE) and "plain" in sound:
            reasons.append(
                f"The {choice} hood would gain only {gain:.2f} stop over a plain one, {share:.1%} of the light from outside "
                "the frame: the plain hood is stronger, turns freely and is chosen."
            )
            choice = "plain"
        else:
            reasons.append(
                f"It lets in {named[choice].let_in:.1%} of the light from outside the frame, a plain hood {plain.let_in:.1%} "
                f"({gain:.2f} stop better{', wall light counted' if plain.wall else ''})."
            )
    if hood.build.seat is SeatKind.THREAD and choice != "plain":
        reasons.append(f"A thread stops at any angle: a {choice} hood needs a clamp or a slip-on seat to stand upright.")
    reasons += _describe(named[choice], hood)
    return choice, reasons


def _describe(chosen: Candidate, hood: Hood) -> list[str]:
    limit = hood.wishes.largest_length
    reasons = [
        f"It reaches {chosen.depth:.1f} mm ahead of the seat (the limit asked for is {limit:g} mm) and covers "
        f"{chosen.reversed_length:.0f} mm of the barrel when stored reversed."
        if chosen.name != "tunnel"
        else f"It reaches {chosen.depth:.1f} mm ahead of the seat; a tunnel cannot be stored reversed."
    ]
    if chosen.reaches_filter:
        reasons.append(
            f"A filter can be turned past its shallowest place, {chosen.shallowest:.1f} mm ahead of the seat."
        )
    else:
        reasons.append(
            f"A filter cannot be reached past its rim ({chosen.shallowest:.1f} mm at the shallowest): take the hood off to "
            "turn a polariser, or cut a finger slot at the bottom."
        )
    if chosen.lobe_stress > 0:
        reasons.append(
            f"Its longest lobe sees {chosen.lobe_stress:.0f} MPa and bends {chosen.lobe_bend:.1f} mm under a push of "
            f"{LOBE_LOAD:g} N (flat-plate estimate, on the safe side)."
        )
    reasons.append("It stands face down on a table." if chosen.stands else "It does not stand face down on a table.")
    return reasons


def sky_maps(job: Job, shapes: Sequence[HoodShape | None], *, cells: int = CELLS) -> list[LightMap]:
    """Lit-share maps at the shortest focal length weighed, one for each hood (None: no hood)."""
    beam = job.beam(weighed_settings(job)[0])
    return [light_map(beam, shape, cells=cells) for shape in shapes]


__all__ = ["Candidate", "LetIn", "Weighing", "candidate", "let_in", "sky_maps", "weigh", "weighed_settings"]
