"""The best trade-offs between light let in and size: every hood that no other beats in both.

The designs are gone through in a stated order: an even grid over the sizes of each wall and rim, then, in rounds of
halved steps, the neighbours of those that no other beats. What remains is fitted as `fit` does, checked, and kept only if
clear: every hood of the answer can be built.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import product
from pathlib import Path

import numpy as np

from shadewright.clearance.check import check
from shadewright.design.fit import fit
from shadewright.design.tradeoff_points import (
    Design,
    Family,
    Limits,
    Outcome,
    Size,
    Task,
    evaluate,
    families,
    weighed,
)
from shadewright.design.tradeoff_search import Here, Journal, Runner, work_out
from shadewright.errors import FitError, SearchError
from shadewright.model.hood import Hood

Progress = Callable[[str, float], None]
Place = tuple[float, ...]


class Effort(StrEnum):
    """How closely sizes are looked at."""

    QUICK = "quick"
    USUAL = "usual"
    THOROUGH = "thorough"


LEVELS: Mapping[Effort, tuple[int, int, int]] = {
    Effort.QUICK: (3, 2, 1), Effort.USUAL: (5, 3, 3), Effort.THOROUGH: (9, 5, 5),
}  # fmt: skip
"""For each effort: sizes of one number in a family with two, in a family with three, and rounds of closer looks."""
MOST_CLOSE = 16
"""Hoods about which a round looks more closely, spread evenly over the front."""
MOST_KEPT = 24
"""Hoods that are fitted, checked and kept, spread evenly along the front."""
ALIKE = 2e-3
"""A larger hood must be darker by this share of the light to be worth its size."""


@dataclass(frozen=True, eq=False)
class Traded:
    """One hood of the answer: its design, what it comes to as fitted, and the fitted document."""

    design: Design
    outcome: Outcome
    hood: Hood


@dataclass(frozen=True, eq=False)
class Front:
    """The best trade-offs, smallest first, and all that was looked at.

    tried: (size, light, design) of every hood within the limits. dropped: hoods that did not pass as fitted, and why.
    """

    size: Size
    best: tuple[Traded, ...]
    tried: tuple[tuple[float, float, Design], ...]
    looked_at: int
    dropped: tuple[str, ...]


@dataclass(frozen=True)
class _Known:
    """A design with where it stands in its family, for looking closer."""

    family: Family
    place: Place


def best_trades(
    task: Task, *, effort: Effort = Effort.USUAL, on: Runner | None = None, journal: Journal | None = None,
    progress: Progress = lambda _step, _share: None,
) -> Front:  # fmt: skip
    """Search a task's hoods for the best trade-offs. Raises SearchError, FitError, OpticsError.

    The journal keeps what was worked out when the search is interrupted; given again, it is not repeated.
    """
    on = on or Here()
    journal = journal if journal is not None else Journal(None, "")
    progress("lens", 0.0)
    kinds = families(task)
    levels2, levels3, rounds = LEVELS[effort]
    known: dict[Design, _Known] = {}
    for family in kinds:
        count = levels2 if len(family.ranges) == 2 else levels3
        for place in _grid(family, count, levels2):
            known.setdefault(family.design(place), _Known(family, place))
    outcomes = _round(task, known, "grid", (0.0, 0.5), on, journal, progress)
    step = 0.5
    for turn in range(rounds):
        more = {
            design: found for design, found in _closer(known, outcomes, task.size, step, levels2) if design not in known
        }
        known.update(more)
        share = 0.5 + 0.35 * turn / rounds
        outcomes |= _round(task, more, "closer", (share, share + 0.35 / rounds), on, journal, progress)
        step /= 2
    if not any(not outcome.reason for outcome in outcomes.values()):
        reasons = sorted({outcome.reason for outcome in outcomes.values()})
        raise SearchError(f"no hood meets the limits; the first reason is {reasons[0].rstrip('.')}.")
    best, dropped = _verified(task, outcomes, on, journal, progress)
    progress("done", 1.0)
    tried = tuple(
        (outcome.size(task.size), outcome.light, design) for design, outcome in outcomes.items() if not outcome.reason
    )
    return Front(task.size, best, tried, len(outcomes), tuple(dropped))


def _grid(family: Family, count: int, along: int) -> list[Place]:
    """Even places over a family's unit box, the length, which matters most, more closely."""
    axes = [np.linspace(0.0, 1.0, count) for _ in family.ranges[:-1]]
    if len(family.ranges) == 3 and family.wall.value in ("cone", "stepped"):
        # Without any widening these are tubes.
        axes[1] = np.linspace(0.0, 1.0, count + 1)[1:]
    axes.append(np.linspace(0.0, 1.0, along))
    return [tuple(float(v) for v in place) for place in product(*axes)]


def _round(
    task: Task, known: Mapping[Design, _Known], name: str, span: tuple[float, float], on: Runner, journal: Journal,
    progress: Progress,
) -> dict[Design, Outcome]:  # fmt: skip
    designs = list(known)

    def tell(done: int, of: int) -> None:
        progress(f"{name}: {done} of {of} hoods", span[0] + (span[1] - span[0]) * done / of)

    return dict(zip(designs, work_out(evaluate, task, designs, on=on, journal=journal, tell=tell), strict=True))


def _closer(
    known: Mapping[Design, _Known], outcomes: Mapping[Design, Outcome], size: Size, step: float, levels: int
) -> list[tuple[Design, _Known]]:
    """The neighbours of the front's hoods, one step to either side in each of their numbers."""
    front = unbeaten({d: o for d, o in outcomes.items() if not o.reason}, size)
    if len(front) > MOST_CLOSE:
        picks = np.unique(np.rint(np.linspace(0, len(front) - 1, MOST_CLOSE)).astype(int))
        front = [front[k] for k in picks]
    found = []
    for design in front:
        family, place = known[design].family, known[design].place
        for axis in range(len(place)):
            for side in (-1.0, 1.0):
                moved = list(place)
                moved[axis] = min(1.0, max(0.0, place[axis] + side * step / max(levels - 1, 1)))
                near = tuple(moved)
                if near != place:
                    found.append((family.design(near), _Known(family, near)))
    return found


def unbeaten(outcomes: Mapping[Design, Outcome], size: Size) -> list[Design]:
    """The designs that no other beats in both size and light, smallest first; of equals the first in order."""
    order = sorted(outcomes, key=lambda design: (outcomes[design].size(size), outcomes[design].light, design))
    front: list[Design] = []
    darkest = math.inf
    for design in order:
        if outcomes[design].light < darkest - ALIKE:
            front.append(design)
            darkest = outcomes[design].light
    return front


def spread(front: list[Design], outcomes: Mapping[Design, Outcome], size: Size, *, most: int = MOST_KEPT) -> list[Design]:
    """At most `most` designs of a front, its ends and those nearest to even steps along it, size and light scaled alike."""
    if len(front) <= most:
        return front
    place = np.array([(outcomes[design].size(size), outcomes[design].light) for design in front])
    step = np.diff(place, axis=0) / (place[-1] - place[0])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(step[:, 0], step[:, 1]))])
    wanted = np.linspace(0.0, along[-1], most)
    picks = sorted({int(np.argmin(np.abs(along - place))) for place in wanted})
    return [front[k] for k in picks]


def finished(task: Task, design: Design) -> tuple[Outcome, Hood | None]:
    """A design fitted and checked as any hood: what it comes to, and its document if it can be built."""
    try:
        fitting = fit(task.lens, task.camera, design.wishes(task.hood))
    except FitError as error:
        return Outcome(reason=str(error)), None
    outcome = weighed(task, fitting.job, fitting.shape)
    if outcome.reason:
        return outcome, None
    verdict = check(
        fitting.job, fitting.shape, accessories=task.hood.accessory, allowance=task.hood.wishes.allowance
    )
    if not verdict.passes:
        return Outcome(reason=f"shows by {verdict.worst.stops:.3f} stop at {verdict.worst.label}"), None
    return outcome, fitting.hood


def _verified(
    task: Task, outcomes: Mapping[Design, Outcome], on: Runner, journal: Journal, progress: Progress
) -> tuple[tuple[Traded, ...], list[str]]:
    """The front with every hood of it fitted and checked; one that fails is dropped and the next best take its place.

    Who is on the front is judged by what the search found, so that near-equal hoods do not take turns.
    """
    left = {design: outcome for design, outcome in outcomes.items() if not outcome.reason}
    sound: dict[Design, Traded] = {}
    dropped: list[str] = []
    while True:
        front = spread(unbeaten(left, task.size), left, task.size)
        fresh = [design for design in front if design not in sound]
        if not fresh:
            break
        wanted = [design for design in fresh if design not in journal.built]
        for done, (index, answer) in enumerate(on.run(finished, task, wanted), start=1):
            journal.add_built(wanted[index], *answer)
            progress(f"fitting and checking: {done} of {len(wanted)}", 0.85 + 0.15 * done / len(wanted))
        for design in fresh:
            outcome, hood = journal.built[design]
            if hood is None:
                dropped.append(f"{describe(design)}: {outcome.reason}")
                del left[design]
            else:
                sound[design] = Traded(design, outcome, hood)
    best = unbeaten({design: sound[design].outcome for design in front}, task.size)
    return tuple(sound[design] for design in best), dropped


def describe(design: Design, outcome: Outcome | None = None) -> str:
    """A design in a few words, with its length where it is known; mm."""
    a, b = design.sizes[0], design.sizes[-1]
    words = {
        "tube": f"tube {a:g}", "cone": f"cone {a:g} to {b:g} at {design.length:g}", "stepped": f"steps {a:g} and {b:g}",
        "tunnel": f"tunnel {a:g} x {b:g}",
    }[str(design.wall)]  # fmt: skip
    rim = "" if str(design.rim) == "tunnel" else f"{design.rim} "
    long = f"up to {design.length:g} mm long" if outcome is None else f"{outcome.depth:.1f} mm long"
    return f"{rim}{words} mm inside, {long}"


def named(index: int, task: Task, traded: Traded) -> Hood:
    """The document of one hood of the front, named by its place in it."""
    finish = task.finishes[0].name if task.finishes else task.hood.build.finish
    build = traded.hood.build.model_copy(update={"finish": finish})
    return traded.hood.model_copy(update={"name": f"{task.hood.name[:100]} {index}", "build": build})


def journal_at(path: Path | None, task: Task) -> Journal:
    """The journal of a task at a path; see `Journal`."""
    return Journal.opened(path, task)


__all__ = [
    "Effort", "Front", "Limits", "Size", "Task", "Traded", "best_trades", "describe", "finished", "journal_at", "named",
    "spread", "unbeaten",
]  # fmt: skip

