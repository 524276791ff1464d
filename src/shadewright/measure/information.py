"""Which tubes to cut for a lens: those whose shadows tell most, by the information in them, before any frame is taken."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError
from shadewright.measure.expected import Memory, View, expected_of
from shadewright.measure.fitting import Unknown, jacobian
from shadewright.measure.pupil import _unknowns, leaves_enough, view_of
from shadewright.measure.shadow import Block
from shadewright.model.camera import Camera
from shadewright.model.lens import Lens, State
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.model.shots import TUBE_PLAY, ShotSetting, Tube
from shadewright.optics.settings import resolve

Array = NDArray[np.float64]

NOISE = 0.003
"""Standard error of a cell of a good pair, as a share of the light (common practice, no source)."""
GRID = (48, 32)
"""Cells of the frame at which information is summed; frames are measured on more, which the noise allows for."""
LEAST_DARK, MOST_DARK = 0.01, 0.30
"""Share of the frame that a useful tube's shadow covers."""
LENGTHS = 24
ROOM = 1.0
"""A tube's inside is this much wider in radius than what it goes over, mm."""
LONGEST_TUBE = 600.0


@dataclass(frozen=True)
class Proposal:
    """Tubes to cut, what they are expected to tell, and what one of them alone would: standard errors of the depth, mm."""

    setting: ShotSetting
    tubes: tuple[Tube, ...]
    depth_error: float
    single_error: float
    radius_error: float
    seat: float
    """Inside diameter at which the tubes sit, mm."""

    def hoods(self) -> list[RoundHood]:
        """The tubes as plain hoods, for templates."""
        return [RoundHood(RoundWall((0.0,), (tube.inner_diameter / 2,)), Rim.plain(tube.length)) for tube in self.tubes]


def propose(
    lens: Lens, camera: Camera, *, state: State | None = None, inner_diameter: float | None = None, count: int = 2, play: float = TUBE_PLAY
) -> Proposal:
    """The `count` lengths of tube, 1 to 4, of one inside diameter that tell the pupil's depth best at a state, the first unless given.

    inner_diameter: of the tubes, mm; left out: as what the hood's seat grips. play: how well they are cut, mm.
    Raises MeasureError where none throws a useful shadow.
    """
    if not lens.state:
        raise MeasureError(f'lens "{lens.name}" is known by its prescription; tubes are for a lens document with [[state]] tables.')
    if not 1 <= count <= 4:
        raise MeasureError(f"count = {count} must be from 1 to 4 tubes.")
    chosen = state or lens.state[0]
    setting = ShotSetting(
        focal_length=chosen.focal_length, f_number=chosen.f_number, focus_distance=chosen.focus_distance,
        reach=chosen.reach if chosen.reach is not None else 0.0,
    )  # fmt: skip
    view, _ = view_of(lens, setting)
    depth, deepest = _likely_depths(lens, camera, chosen)
    diameter = inner_diameter or (lens.seat.diameter or lens.front.rim_diameter + 2 * ROOM)
    candidates = _candidates(setting, view, camera, (depth, deepest), diameter, play)
    if len(candidates) < count:
        raise MeasureError(
            f"no tube of {diameter:g} mm inside diameter up to {LONGEST_TUBE:g} mm long throws a useful shadow at {setting.focal_length:g} mm; "
            "give a narrower inner_diameter, or measure a shorter focal length."
        )
    tables = [_information(setting, view, block, depth) for block in candidates]
    shared, prior = tables[0][0], tables[0][1]
    best = min(combinations(range(len(candidates)), count), key=lambda pick: _spread([tables[k][2] for k in pick], prior)[0])
    found = _spread([tables[k][2] for k in best], prior)
    single = min(_spread([table[2]], prior)[0] for table in tables)
    assert shared[0] == "pupil_depth"
    tubes = tuple(tube for k in best if (tube := candidates[k].tube) is not None)
    return Proposal(setting, tubes, found[0], single, found[1], diameter)


def _likely_depths(lens: Lens, camera: Camera, state: State) -> tuple[float, float]:
    """The likeliest depth of the pupil and the deepest that a tube should still be right for, mm."""
    if state.pupil_depth is not None:
        return state.pupil_depth, state.pupil_depth + state.pupil_depth_plus_minus
    resolved = resolve(lens, half_diagonal=math.hypot(*camera.full_frame) / 2)
    found = min(resolved.settings, key=lambda s: abs(s.focal_length - state.focal_length))
    # The middle of what is possible is too deep for most lenses: half of it is likelier.
    return 0.5 * found.pupil_depth, found.pupil_depth + found.pupil_depth_plus_minus


def _candidates(
    setting: ShotSetting, view: View, camera: Camera, depths: tuple[float, float], diameter: float, play: float
) -> list[Block]:
    """Tubes whose shadows cover a useful share of the frame, as blocks of cells without noise.

    depths: the likeliest and the deepest of the pupil; at the deepest a shadow must still leave what the fit asks for.
    """
    depth, deepest = depths
    width, height = camera.full_frame
    x = ((np.arange(GRID[0]) + 0.5) / GRID[0] - 0.5) * width
    y = ((np.arange(GRID[1]) + 0.5) / GRID[1] - 0.5) * height
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    corner = math.hypot(width, height) / 2 / setting.focal_length
    longest = min(LONGEST_TUBE, view.reach + max(4.0, diameter / 2 / (0.45 * corner) - depth))
    shortest = view.reach + max(2.0, diameter / 2 / corner - depth)
    blocks = []
    for length in np.unique(np.round(np.linspace(shortest, max(longest, shortest + 1), LENGTHS))):
        tube = Tube(
            name=f"{length:g} mm", inner_diameter=diameter, length=float(length), inner_diameter_plus_minus=play, length_plus_minus=play
        )
        every = np.ones(len(points), bool)
        # A finer grid of cells has as much more noise in each.
        error = np.full(len(points), NOISE * math.sqrt(GRID[0] * GRID[1] / 6144.0))
        block = Block(points, np.ones(len(points)), error, (width / GRID[0], height / GRID[1]), every, tube)
        unknowns = _unknowns(setting, view, [block], depth, None)
        shares = expected_of(unknowns, np.array([u.start for u in unknowns]), block, 0, view, setting)
        far = np.array([deepest if u.name == "pupil_depth" else u.start for u in unknowns])
        darkest = expected_of(unknowns, far, block, 0, view, setting)
        useful = LEAST_DARK <= float(np.mean(1 - shares)) <= MOST_DARK and float(shares.min()) < 0.5
        if useful and leaves_enough(darkest):
            blocks.append(block)
    return blocks


def _information(setting: ShotSetting, view: View, block: Block, depth: float) -> tuple[list[str], Array, Array]:
    """Names of what all tubes share, the information known of it before, and what this tube adds, how it sits allowed for."""
    unknowns = _doubting(_unknowns(setting, view, [block], depth, None))
    x = np.array([u.start for u in unknowns])
    memory = Memory()

    def model(i: int, at: Array) -> Array:
        return (expected_of(unknowns, at, block, i, view, setting, memory) - block.value) / block.error

    jac = jacobian(unknowns, model, 0, x)
    normal = jac.T @ jac
    own = np.array([u.block is not None for u in unknowns])
    prior = np.array([0.0 if math.isinf(u.spread) else 1.0 / u.spread**2 for u in unknowns])
    inner = normal[np.ix_(own, own)] + np.diag(prior[own])
    cross = normal[np.ix_(~own, own)]
    added = normal[np.ix_(~own, ~own)] - cross @ np.linalg.solve(inner, cross.T)
    return [u.name for u in unknowns if u.block is None], np.diag(prior[~own]), added


def _doubting(unknowns: Sequence[Unknown]) -> list[Unknown]:
    """The unknowns of a lens whose glass is hardly known and whose pupil may move: tubes are to tell the depth by themselves."""
    doubts = {"front_radius": 10.0, "front_depth": 10.0}
    return [replace(u, spread=doubts[u.name]) if u.name in doubts else u for u in unknowns]


def _spread(added: Sequence[Array], prior: Array) -> tuple[float, float]:
    """Standard errors of depth and pupil radius that tubes together leave."""
    total = prior + sum(added) + 1e-12 * np.eye(len(prior))
    scale = 1.0 / np.sqrt(np.diag(total))
    covariance = np.linalg.inv(total * np.outer(scale, scale)) * np.outer(scale, scale)
    return math.sqrt(max(0.0, float(covariance[0, 0]))), math.sqrt(max(0.0, float(covariance[1, 1])))


def second_length(fit_setting: ShotSetting, lens: Lens, camera: Camera, tube: Tube, *, depth: float) -> float | None:
    """The length of a further tube, of the same inside diameter, that tells most beside one already shot, mm; None where none does."""
    view, _ = view_of(lens, fit_setting)
    candidates = _candidates(fit_setting, view, camera, (depth, depth), tube.inner_diameter, tube.length_plus_minus)
    shot = [block for block in candidates if block.tube is not None and abs(block.tube.length - tube.length) < 1.5]
    others = [block for block in candidates if block not in shot]
    if not others or not shot:
        return None
    first = _information(fit_setting, view, shot[0], depth)
    errors = [_spread([first[2], _information(fit_setting, view, block, depth)[2]], first[1])[0] for block in others]
    best = others[int(np.argmin(errors))].tube
    assert best is not None
    return best.length


__all__ = ["Proposal", "Unknown", "propose", "second_length"]
