"""The keep-out of a lens on a camera: the deepest rim on any wall, its binding settings, sections and mesh checks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance import drivers
from shadewright.clearance.traced import TracedPack, pack
from shadewright.model.hood import Margin
from shadewright.model.shape import RoundWall, TunnelRim, TunnelWall
from shadewright.optics.beam import Beam

Array = NDArray[np.float64]

PLAY_STEP = 0.1
"""Degrees between the places looked at within the rotational play."""
PORTION = 500
"""Triangles tested in one call."""
TUNNEL_SAMPLES = 129
"""Places across each tunnel wall at which the entry is bracketed before it is refined."""


@dataclass(frozen=True, eq=False)
class Entries:
    """Where lines first meet the keep-out: `z` or distance (n,), and what binds there.

    state: (n,) place of the binding beam among the keep-out's, -1 where nothing binds. mask: (n,) bits of the binding
    windows (1 the pupil, 2 the front rim, 4 and up the others) or, of a traced lens, of its surfaces. slope: (n, 2) the frame slope that binds.
    """

    value: Array
    state: NDArray[np.int64]
    mask: NDArray[np.int64]
    slope: Array


@dataclass(frozen=True, eq=False)
class KeepOut:
    """The union of beams over all settings, grown by the margin, packed for the kernels.

    beams: as given, before the margin. source: (packed,) place in `beams` of each beam that windows limit.
    """

    beams: tuple[Beam, ...]
    margin: Margin
    source: NDArray[np.int64]
    windows: Array
    window_at: NDArray[np.int64]
    corners: Array
    corner_at: NDArray[np.int64]
    piece_at: NDArray[np.int64]
    reach: Array
    distance: Array
    mirrored: bool
    """True where the keep-out is the same left and right, and above and below."""
    traced: TracedPack | None = None
    """The beams of traced lenses among them; the arrays above hold the others."""

    @property
    def packed(self) -> tuple[Array | NDArray[np.int64], ...]:
        """The arrays every kernel takes, in its order."""
        return (
            self.windows, self.window_at, self.corners, self.corner_at, self.piece_at, self.reach, self.distance,
        )  # fmt: skip

    def rim(self, wall: RoundWall, azimuth: Array, *, cap: float) -> Entries:
        """The deepest rim z (mm) on a wall of revolution at azimuths (n,) in degrees; `cap` where nothing is met.

        The wall starts at the seat plane, or at its first z when that lies ahead. An entry there means that the wall
        itself stands in the beam. The rotational play of the margin is included at each azimuth.
        """
        azimuth = np.asarray(azimuth, dtype=float)
        if self.margin.rotation > 0:
            return self._with_play(wall, azimuth, cap)
        return self._rim(wall, azimuth, cap)

    def _rim(self, wall: RoundWall, azimuth: Array, cap: float) -> Entries:
        if not self.mirrored:
            return self._rim_at(wall, azimuth, cap)
        # Left is right and top is bottom: one quarter of the circle is worked out and unfolded.
        turn: Array = np.mod(azimuth, 360.0)
        left, low = (turn > 90.0) & (turn < 270.0), turn > 180.0
        quarter: Array = np.minimum(np.minimum(turn, 360.0 - turn), np.abs(turn - 180.0))
        places, back = np.unique(np.round(quarter, 9), return_inverse=True)
        found = self._rim_at(wall, places, cap)
        sign = np.stack([np.where(left, -1.0, 1.0), np.where(low, -1.0, 1.0)], axis=1)
        return Entries(found.value[back], found.state[back], found.mask[back], found.slope[back] * sign)

    def _rim_at(self, wall: RoundWall, azimuth: Array, cap: float) -> Entries:
        wall_z, wall_r = _from_seat(wall)
        n = len(azimuth)
        found = Entries(np.empty(n), np.empty(n, np.int64), np.zeros(n, np.int64), np.zeros((n, 2)))
        angle = np.radians(azimuth)
        drivers.rim_kernel(
            np.cos(angle), np.sin(angle), wall_z, wall_r, float(cap), *self.packed,
            found.value, found.state, found.mask, found.slope,
        )  # fmt: skip
        self._among_all(found)
        if self.traced is not None:
            self._traced_rim(self.traced, np.stack([np.cos(angle), np.sin(angle)], axis=1), (wall_z, wall_r), cap, found)
        return found

    def _among_all(self, found: Entries) -> None:
        """Turn the kernels' numbers of the packed beams into places among all beams."""
        own = found.state >= 0
        found.state[own] = self.source[found.state[own]]

    def _traced_rim(
        self, traced: TracedPack, outward: Array, wall: tuple[Array, Array], cap: float, found: Entries
    ) -> None:
        """Lower the entries on a wall to where traced beams are met, one straight part of the wall after another."""
        z, r = wall
        n = len(outward)
        for w in range(len(z)):
            z1 = float(z[w + 1]) if w + 1 < len(z) else cap
            if w + 1 < len(z):
                tilt = (r[w + 1] - r[w]) / (z1 - z[w]) if z1 > z[w] else 0.0
            else:
                tilt = (r[w] - r[w - 1]) / (z[w] - z[w - 1]) if w > 0 and z[w] > z[w - 1] else 0.0
            if z1 < z[w]:
                continue
            origins = np.column_stack([r[w] * outward, np.full(n, z[w])])
            directions = np.column_stack([tilt * outward, np.ones(n)])
            self._lower(traced, origins, directions, np.full(n, z1 - z[w]), found, float(z[w]))

    def _lower(
        self, traced: TracedPack, origins: Array, directions: Array, stops: Array, found: Entries, offset: float
    ) -> None:
        """Lower entries, counted from `offset`, to where lines first meet a traced beam."""
        entry = np.minimum(found.value - offset, stops)
        before = entry.copy()
        free = found.state < 0
        state, mask, slope = traced.lines(origins, directions, np.zeros(len(origins)), stops, entry)
        hit = (state >= 0) & ((entry < before) | free)
        found.value[hit] = entry[hit] + offset
        found.state[hit] = state[hit]
        found.mask[hit] = mask[hit]
        found.slope[hit] = slope[hit]

    def _with_play(self, wall: RoundWall, azimuth: Array, cap: float) -> Entries:
        """The least entry within the rotational play either side, from places PLAY_STEP degrees apart and both ends."""
        play = self.margin.rotation
        count = round(360.0 / PLAY_STEP)
        grid = np.arange(count) * PLAY_STEP
        ends = np.concatenate([azimuth - play, azimuth, azimuth + play])
        every = self._rim(wall, np.concatenate([grid, ends]), cap)
        inside = math.floor(play / PLAY_STEP + 1e-9)
        nearest = np.rint(azimuth / PLAY_STEP).astype(np.int64)
        offsets = np.arange(-inside, inside + 1)
        around = (nearest[:, None] + offsets[None, :]) % count
        # A grid place just outside the play, by rounding to the nearest, is not counted.
        away = np.abs((around * PLAY_STEP - azimuth[:, None] + 180.0) % 360.0 - 180.0)
        n = len(azimuth)
        own = count + np.arange(n)[:, None] + np.array([0, n, 2 * n])[None, :]
        candidates = np.concatenate([around, own], axis=1)
        value = every.value[candidates]
        value[:, : len(offsets)][away > play + 1e-9] = np.inf
        rows = candidates[np.arange(n), np.argmin(value, axis=1)]
        return Entries(every.value[rows], every.state[rows], every.mask[rows], every.slope[rows])

    def first_entry(self, origins: Array, directions: Array, stops: Array) -> Entries:
        """First entry along lines: origins and directions (n, 3) in seat coordinates, stops (n,); infinity if none."""
        n = len(origins)
        found = Entries(np.empty(n), np.empty(n, np.int64), np.zeros(n, np.int64), np.zeros((n, 2)))
        drivers.lines_kernel(
            np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float),
            np.ascontiguousarray(stops, dtype=float), *self.packed,
            found.value, found.state, found.mask, found.slope,
        )  # fmt: skip
        self._among_all(found)
        if self.traced is not None:
            self._lower(
                self.traced, np.asarray(origins, float), np.asarray(directions, float), np.asarray(stops, float), found, 0.0
            )
        return found

    def tunnel(self, wall: TunnelWall, *, cap: float) -> tuple[TunnelRim, list[Entries]]:
        """The deepest lips of a tunnel, right, top, left, bottom, and what binds each."""
        lips = [self._lip(wall, side, cap) for side in range(4)]
        return TunnelRim(*(float(lip.value[0]) for lip in lips)), lips

    def _lip(self, wall: TunnelWall, side: int, cap: float) -> Entries:
        """Least entry across one wall of the tunnel.

        Each section of one beam is convex, so that along the wall the entries fall to one least place and rise again:
        the best of evenly spaced places brackets it, and the bracket is narrowed until it is below a micrometre.
        """
        reach = (wall.half_width, wall.half_height) if side % 2 == 0 else (wall.half_height, wall.half_width)
        play = math.radians(self.margin.rotation)
        across = np.linspace(-reach[1], reach[1], TUNNEL_SAMPLES)
        best: Entries | None = None
        turns = [0.0] if play == 0 else list(np.linspace(-play, play, 5))
        for turn in turns:
            low, high = -reach[1], reach[1]
            places = across
            for _ in range(12):
                found = self.first_entry(*_lip_lines(reach[0], places, side, turn, cap))
                k = int(np.argmin(found.value))
                if best is None or found.value[k] < best.value[0]:
                    best = Entries(
                        found.value[k : k + 1], found.state[k : k + 1], found.mask[k : k + 1], found.slope[k : k + 1]
                    )
                low, high = places[max(k - 1, 0)], places[min(k + 1, len(places) - 1)]
                if high - low < 1e-6:
                    break
                places = np.linspace(low, high, 17)
        assert best is not None
        return Entries(np.minimum(best.value, cap), best.state, best.mask, best.slope)

    def section(self, z: float, azimuth: Array, *, outermost: float) -> Entries:
        """Radius (n,) of the keep-out's section at z (mm), seen from outside inwards; 0 where it does not reach."""
        angle = np.radians(np.asarray(azimuth, dtype=float))
        direction = np.stack([-np.cos(angle), -np.sin(angle), np.zeros_like(angle)], axis=1)
        origins = -direction * outermost + np.array([0.0, 0.0, z])
        found = self.first_entry(origins, direction, np.full(len(angle), outermost))
        radius = np.where(np.isfinite(found.value), outermost - found.value, 0.0)
        return Entries(radius, found.state, found.mask, found.slope)

    def touches(self, triangles: Array, *, smallest: float = 0.02) -> tuple[NDArray[np.bool_], Array]:
        """Whether a mesh touches each beam (beams,), and a place where it does (beams, 3).

        triangles: (m, 3, 3) mm, seat coordinates. Clear is certified; what comes within about `smallest` mm of the
        keep-out counts as touching.
        """
        touched, where = np.zeros(len(self.beams), np.bool_), np.zeros((len(self.beams), 3))
        own, place = np.zeros(len(self.reach), np.bool_), np.zeros((len(self.reach), 3))
        spread = np.array(
            [
                np.hypot(*self.corners[self.corner_at[self.piece_at[b]] : self.corner_at[self.piece_at[b + 1]]].T).max()
                for b in range(len(self.reach))
            ]
        )
        every = np.ascontiguousarray(triangles, dtype=float)
        # In portions, so that an interruption is heard between two of them.
        for start in range(0, len(every), PORTION):
            drivers.mesh_kernel(every[start : start + PORTION], *self.packed, spread, smallest, own, place)
            if self.traced is not None:
                self.traced.touches(every[start : start + PORTION], smallest=smallest, touched=touched, where=where)
        touched[self.source], where[self.source] = own, place
        return touched, where

    def binding(self, entries: Entries, index: int) -> str:
        """What binds at one place, in words: the setting, the frame point and the windows."""
        if entries.state[index] < 0:
            return "no setting"
        beam = self.beams[entries.state[index]]
        return f"{beam.label}, {beam.frame.describe(entries.slope[index])} ({limit_names(int(entries.mask[index]), beam)})"


def limit_names(mask: int, beam: Beam) -> str:
    """What limits a beam where it binds, in words, from the bits of its windows or of its lens's surfaces."""
    if beam.setting.traced is None:
        return window_names(mask, beam.windows)
    system = beam.setting.traced.main
    names = []
    for surface in range(len(system)):
        if mask >> surface & 1:
            front = "front glass" if surface == 0 else f"rim of surface {surface + 1}"
            names.append("stop" if surface == system.stop else front)
    return " and ".join(names) if names else "start of the wall"


def window_names(mask: int, windows: Array) -> str:
    """The windows of a bit mask in words; windows (k, 4) as in a beam: the pupil first, the front glass second."""
    names = []
    for k in range(len(windows)):
        if mask >> k & 1:
            ahead = windows[k, 0] == 0
            names.append("entrance pupil" if k == 0 else "front rim" if ahead else "front glass" if k == 1 else "rear window")
    return " and ".join(names) if names else "start of the wall"


def _from_seat(wall: RoundWall) -> tuple[Array, Array]:
    """Breakpoints of the wall from the seat plane forward."""
    z = np.asarray(wall.z, dtype=float)
    r = np.asarray(wall.radius, dtype=float)
    if wall.is_tube:
        return np.zeros(1), r[:1].copy()
    keep = z > 0
    return np.concatenate([[0.0], z[keep]]), np.concatenate([[float(wall.radius_at(1e-9))], r[keep]])


def _lip_lines(away: float, across: Array, side: int, turn: float, cap: float) -> tuple[Array, Array, Array]:
    """Forward lines from places across one wall of a tunnel, turned by an angle in radians."""
    angle = side * math.pi / 2 + turn
    # Local axes: outwards from the wall and along it.
    x = away * math.cos(angle) - across * math.sin(angle)
    y = away * math.sin(angle) + across * math.cos(angle)
    origins = np.stack([x, y, np.zeros_like(x)], axis=1)
    directions = np.tile(np.array([0.0, 0.0, 1.0]), (len(x), 1))
    return origins, directions, np.full(len(x), cap)


def _is_mirrored(beam: Beam) -> bool:
    """Whether windows and frame are the same left and right, and above and below."""
    if np.any(beam.windows[:, 2:] != 0):
        return False
    corners = {tuple(corner) for corner in np.round(np.concatenate(beam.pieces), 9) + 0.0}
    return all((-x + 0.0, y) in corners and (x, -y + 0.0) in corners for x, y in corners)


def keep_out(beams: Sequence[Beam], *, margin: Margin | None = None) -> KeepOut:
    """The keep-out of the beams, grown by the margin.

    Radial: every window is widened by it, which holds the keep-out moved sideways by as much in any direction. Axial:
    the hood is taken moved forward by it, since straight forward a point first meets the keep-out that much sooner.
    Rotation: applied where a rim is read, see `KeepOut.rim`.
    """
    margin = margin or Margin(radial=0, axial=0, rotation=0)
    every = [beam.widened(margin.radial) for beam in beams]
    every = [beam.at_reach(beam.reach - margin.axial) for beam in every]
    source = [place for place, beam in enumerate(every) if beam.footprints is None]
    grown = [every[place] for place in source]
    corner_at, piece_at, window_at = [0], [0], [0]
    corners: list[Array] = [np.empty((0, 2))]
    for beam in grown:
        for piece in beam.pieces:
            corners.append(piece)
            corner_at.append(corner_at[-1] + len(piece))
        piece_at.append(piece_at[-1] + len(beam.pieces))
        window_at.append(window_at[-1] + len(beam.windows))
    return KeepOut(
        beams=tuple(beams),
        margin=margin,
        source=np.array(source, np.int64),
        windows=np.concatenate([np.empty((0, 4)), *(beam.windows for beam in grown)]),
        window_at=np.array(window_at, np.int64),
        corners=np.concatenate(corners),
        corner_at=np.array(corner_at, np.int64),
        piece_at=np.array(piece_at, np.int64),
        reach=np.array([beam.reach for beam in grown]),
        distance=np.array([beam.object_distance for beam in grown]),
        mirrored=all(_is_mirrored(beam) for beam in every),
        traced=pack(every, range(len(every))),
    )


def pupil_only_rim(
    radius: float, azimuth: Array, *, half_width: Array, half_height: Array, pupil: Array, depth: Array
) -> Array:
    """The rim (states, n) in mm ahead of the front rim for one window alone: the closed form, for checks and previews.

    azimuth: (n,) degrees. half_width, half_height: half-frame slopes (states,); pupil radius and depth (states,), mm.
    The wall at `radius` stays clear until the distance s from the pupil at which the point comes within the pupil's
    radius of the rectangle of half sides s W and s H: past the right or top side, or round the corner.
    """
    angle = np.radians(np.asarray(azimuth, dtype=float))
    across, up = radius * np.abs(np.cos(angle)), radius * np.abs(np.sin(angle))
    w, h, a, d = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (half_width, half_height, pupil, depth))
    rim = np.empty((len(w), len(angle)))
    drivers.pupil_rim_kernel(across, up, w, h, a, d, rim)
    return rim
