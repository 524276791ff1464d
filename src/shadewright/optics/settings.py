"""A lens's settings with nothing left unknown: estimates filled in and flagged, listed states joined into sweeps."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.lens import Lens, SeatPlace, State, thread_size
from shadewright.model.prescription import Prescription
from shadewright.optics.projection import slope_of
from shadewright.optics.semi import axial_heights
from shadewright.optics.traced import TracedState, read_states

Array = NDArray[np.float64]

FRONT_GLASS_SLACK = 4.0
"""How much smaller than its rim or thread a front glass usually is, mm on the diameter (common practice, no source)."""
REACH_UNCERTAINTY = 3.0
"""An unmeasured reach is taken as 0, give or take this, mm (common practice, no source)."""
GLASS_RECESS = 0.16
"""The edge of the front glass lies at most this share of its diameter behind the front rim plane: its own sag, and what it
is set back (traced published designs: sags up to 0.15)."""
PUPIL_RATIO = 1.6
"""Largest pupil depth over focal length among traced published designs of long lenses."""
PUPIL_RATIO_WIDE = 4.0
"""The same among all others."""
WIDE_FROM = math.tan(math.radians(20.0))
"""Slope of the frame's corner from which a lens is not called long."""
PUPIL_GROWTH = 1.25
"""Real beams of wide lenses can be wider off axis than the paraxial pupil: up to 1.20 among those designs."""
SMALLEST_APERTURE = 22.0


@dataclass(frozen=True)
class Estimate:
    """Something not measured: what was used instead, its range, and why."""

    field: str
    used: float
    low: float
    high: float
    unit: str
    reason: str


@dataclass(frozen=True)
class Setting:
    """One setting of the lens with every value known; depths from the front rim plane, mm."""

    focal_length: float
    f_number: float
    smallest_f_number: float
    focus_distance: float
    """From the front rim, mm; infinity allowed."""
    reach: float
    pupil_depth: float
    pupil_depth_plus_minus: float
    pupil_radius: float
    image_distance: float
    front_radius: float
    windows: tuple[tuple[float, float, float, float], ...]
    """(depth, radius, centre x, centre y): the pupil first, the front glass second, then the rest."""
    shift: tuple[float, float]
    image_travel: float
    pupil_wander: tuple[float, float] = (0.0, 0.0)
    """Added to the pupil's depth with the field slope τ: w1 τ² + w2 τ⁴, mm."""
    traced: TracedState | None = None
    """The surfaces, where they are known; the windows are then their first-order stand-ins, for drawings."""

    @property
    def label(self) -> str:
        """The setting in words: "24 mm at f/2.8, focused at infinity"."""
        if math.isinf(self.focus_distance):
            focus = "infinity"
        elif self.focus_distance < 1000:
            focus = f"{self.focus_distance:.0f} mm"
        else:
            focus = f"{self.focus_distance / 1000:.2f} m"
        return f"{_short(self.focal_length)} mm at f/{_short(self.f_number)}, focused at {focus}"

    def stopped_down(self, f_number: float) -> Setting:
        """This setting at another f-number: the pupil scaled, all else the same."""
        ratio = self.f_number / f_number
        if self.traced is not None:
            traced = self.traced.with_stop(self.traced.main.stop_semi * ratio)
            return traced_setting(traced, self.reach, self.smallest_f_number, self.shift, self.image_travel)
        pupil = self.windows[0]
        windows = ((pupil[0], pupil[1] * ratio, pupil[2], pupil[3]), *self.windows[1:])
        return replace(self, f_number=f_number, pupil_radius=self.pupil_radius * ratio, windows=windows)

    def with_pupil_depth(self, depth: float, *, growth: float = 1.0) -> Setting:
        """This setting with the pupil moved to another depth and its radius multiplied."""
        pupil = self.windows[0]
        windows = ((depth, pupil[1] * growth, pupil[2], pupil[3]), *self.windows[1:])
        return replace(self, pupil_depth=depth, windows=windows)


def _short(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".") if value < 100 else f"{value:.0f}"


@dataclass(frozen=True)
class ResolvedLens:
    """The listed settings of a lens, what was estimated on the way, and their lattice for interpolation.

    `lattice` is (zoom positions, focus positions) of the listed settings when they fill a grid, else None.
    """

    lens: Lens
    settings: tuple[Setting, ...]
    estimates: tuple[Estimate, ...]
    pupil_estimated: bool
    lattice: tuple[int, int] | None


def resolve(lens: Lens, *, half_diagonal: float) -> ResolvedLens:
    """Fill in what the document leaves out.

    half_diagonal: half the diagonal of the frame in mm, which tells a wide lens from a long one.
    Raises OpticsError where the document contradicts itself.
    """
    if lens.prescription is not None:
        return _resolve_traced(lens, lens.prescription, half_diagonal)
    estimates: list[Estimate] = []
    front_radius, glass_depth = _front_glass(lens, estimates)
    pupil_missing = any(state.pupil_depth is None for state in lens.state)
    counts = {(state.rear_window is not None, len(state.windows)) for state in lens.state}
    if len(counts) > 1:
        raise OpticsError(
            "state: some states list rear_window or windows and others do not; give the same windows in every state, "
            "or leave them out of all."
        )
    _reach_estimate(lens, estimates)
    settings = []
    for index, state in enumerate(lens.state):
        settings.append(_setting(state, index, (front_radius, glass_depth), half_diagonal, estimates, lens))
    ordered = tuple(sorted(settings, key=lambda s: (_dioptres(s), s.focal_length)))
    return ResolvedLens(lens, ordered, tuple(estimates), pupil_missing, _lattice(ordered))


def _resolve_traced(lens: Lens, prescription: Prescription, half_diagonal: float) -> ResolvedLens:
    """The settings of a lens known by its surfaces: what is estimated are clear semi-diameters and the place on the seat."""
    estimates: list[Estimate] = []
    states = read_states(prescription, [entry.setting for entry in lens.placement], height=half_diagonal)
    settings = []
    for entry, state in zip(lens.placement, states, strict=True):
        vertex = entry.vertex_reach
        if vertex is None:
            vertex = state.plane - (0.0 if lens.seat.on is SeatPlace.THREAD else REACH_UNCERTAINTY)
        limit = entry.smallest_f_number or max(SMALLEST_APERTURE, state.first.f_number)
        settings.append(traced_setting(state, vertex - state.plane, limit, entry.shift, entry.image_travel))
    if any(entry.vertex_reach is None for entry in lens.placement):
        estimates.append(
            Estimate(
                "placement.vertex_reach", -REACH_UNCERTAINTY, -REACH_UNCERTAINTY, REACH_UNCERTAINTY, "mm",
                "not measured: the edge of the front glass is taken to sit at the seat plane, or behind it by the safe amount",
            )
        )  # fmt: skip
    low = axial_heights(states[0].main) if states[0].main.estimated else np.empty(0)
    for surface in states[0].main.estimated:
        radius = float(states[0].main.semi[surface])
        stated = prescription.vignetting is not None
        estimates.append(
            Estimate(
                f"prescription.surface[{surface + 1}].semi_diameter", radius, float(low[surface]), radius, "mm",
                "not given: wide enough for the beams of the vignetting stated" if stated
                else "not given: wide enough that nothing is cut off anywhere in the frame, the safe value",
            )
        )  # fmt: skip
    ordered = tuple(sorted(settings, key=lambda s: (_dioptres(s), s.focal_length)))
    return ResolvedLens(lens, ordered, tuple(estimates), False, _lattice(ordered))


def traced_setting(
    state: TracedState, reach: float, smallest_f_number: float, shift: tuple[float, float], image_travel: float
) -> Setting:
    """A setting whose beams are traced. reach: of the front glass's edge ahead of the seat plane, mm."""
    first = state.first
    return Setting(
        focal_length=abs(first.focal_length),
        f_number=first.f_number,
        smallest_f_number=max(smallest_f_number, first.f_number),
        focus_distance=state.distance,
        reach=reach,
        pupil_depth=state.pupil_depth,
        pupil_depth_plus_minus=0.0,
        pupil_radius=first.entrance_radius,
        image_distance=abs(first.focal_length),
        front_radius=state.front_radius,
        windows=((state.pupil_depth, first.entrance_radius, 0.0, 0.0), (0.0, state.front_radius, 0.0, 0.0)),
        shift=shift,
        image_travel=image_travel,
        traced=state,
    )


def _opening(lens: Lens) -> float:
    """The largest opening, mm across, that the front rim can have: within its thread and its own ring."""
    largest = lens.front.rim_diameter - 1.0
    if lens.front.filter_thread is not None:
        largest = min(largest, thread_size(lens.front.filter_thread)[0])
    return largest


def _front_glass(lens: Lens, estimates: list[Estimate]) -> tuple[float, float]:
    """Radius of the clear front glass and the depth of its edge behind the front rim plane, mm."""
    clear = lens.front.clear_diameter
    if clear is None:
        largest = _opening(lens)
        estimates.append(
            Estimate(
                "front.clear_diameter", largest, largest - FRONT_GLASS_SLACK, largest, "mm",
                "not measured: the largest opening that fits the rim or thread is used, in the front rim plane, the safe value",
            )
        )  # fmt: skip
        return largest / 2, 0.0
    if lens.front.clear_depth is not None:
        return clear / 2, lens.front.clear_depth
    deepest = GLASS_RECESS * clear
    estimates.append(
        Estimate(
            "front.clear_depth", deepest, 0.0, deepest, "mm",
            "not measured: the glass's edge is taken as far behind the front rim plane as is usual, the safe value",
        )
    )  # fmt: skip
    return clear / 2, deepest


def _reach_estimate(lens: Lens, estimates: list[Estimate]) -> None:
    if lens.seat.on is SeatPlace.THREAD or all(state.reach is not None for state in lens.state):
        return
    estimates.append(
        Estimate(
            "state.reach", -REACH_UNCERTAINTY, -REACH_UNCERTAINTY, REACH_UNCERTAINTY, "mm",
            "not measured: the front rim is taken to sit behind the seat plane by the safe amount",
        )
    )  # fmt: skip


def _setting(
    state: State,
    index: int,
    front: tuple[float, float],
    half_diagonal: float,
    estimates: list[Estimate],
    lens: Lens,
) -> Setting:
    front_radius, glass_depth = front
    image_distance = state.image_distance or state.focal_length
    pupil_radius = state.focal_length / (2 * state.f_number)
    reach = state.reach
    if reach is None:
        reach = 0.0 if lens.seat.on is SeatPlace.THREAD else -REACH_UNCERTAINTY
    if state.pupil_depth is not None:
        depth, plus_minus = state.pupil_depth, state.pupil_depth_plus_minus
    else:
        tangent = _corner_slope(lens, half_diagonal, image_distance)
        high = (PUPIL_RATIO_WIDE if tangent >= WIDE_FROM else PUPIL_RATIO) * state.focal_length
        # The corner's chief ray passes the front glass: otherwise stopping down would blacken the corner.
        high = min(high, front_radius / tangent + glass_depth)
        depth, plus_minus = high / 2, high / 2
        estimates.append(
            Estimate(
                f"state[{index + 1}].pupil_depth", depth, 0.0, high, "mm",
                f"not measured at {_short(state.focal_length)} mm: the rim is safe for every depth in this range, "
                "which covers traced published designs",
            )
        )  # fmt: skip
    spread = state.stabiliser.pupil
    windows = [
        (depth, pupil_radius + spread, *state.pupil_decentre),
        (glass_depth, front_radius, 0.0, 0.0),
    ]
    extra = ([state.rear_window] if state.rear_window is not None else []) + list(state.windows)
    windows += [(w.depth, w.radius + spread, *w.decentre) for w in extra]
    if glass_depth > 0 and _opening(lens) / 2 >= front_radius:
        # The rim itself, ahead of the glass, lets no more through than its own opening.
        windows.append((0.0, _opening(lens) / 2, 0.0, 0.0))
    focus = math.inf if state.focus_distance == "infinity" else float(state.focus_distance)
    return Setting(
        focal_length=state.focal_length,
        f_number=state.f_number,
        smallest_f_number=state.smallest_f_number or max(SMALLEST_APERTURE, state.f_number),
        focus_distance=focus,
        reach=reach,
        pupil_depth=depth,
        pupil_depth_plus_minus=plus_minus,
        pupil_radius=pupil_radius,
        image_distance=image_distance,
        front_radius=front_radius,
        windows=tuple(windows),
        shift=state.shift,
        image_travel=state.stabiliser.image,
        pupil_wander=state.pupil_wander,
    )


def _corner_slope(lens: Lens, half_diagonal: float, image_distance: float) -> float:
    """Slope of the chief ray of the frame's corner, or of the image circle's edge where that comes first."""
    height = half_diagonal if lens.image_circle is None else min(half_diagonal, lens.image_circle / 2)
    slope = slope_of(np.array([height / image_distance]), lens.projection.kind, lens.projection.coefficients)
    return float(slope[0])


def _dioptres(setting: Setting) -> float:
    return 0.0 if math.isinf(setting.focus_distance) else 1000.0 / setting.focus_distance


def _lattice(settings: tuple[Setting, ...]) -> tuple[int, int] | None:
    """(zoom positions, focus positions) when every focus distance has the same number of focal lengths."""
    groups: dict[float, int] = {}
    for setting in settings:
        key = _dioptres(setting)
        groups[key] = groups.get(key, 0) + 1
    counts = set(groups.values())
    if len(counts) != 1:
        return None
    return counts.pop(), len(groups)


_LOGARITHMIC = ("focal_length", "f_number", "smallest_f_number", "image_distance", "pupil_radius")
_LINEAR = ("reach", "pupil_depth", "pupil_depth_plus_minus", "image_travel")


def at(resolved: ResolvedLens, zoom: float, focus: float) -> Setting:
    """The setting at continuous positions: zoom in 0 … zooms-1 and focus in 0 … focuses-1, whole at listed settings."""
    return sweep(resolved, np.array([zoom]), np.array([focus]))[0]


def sweep(resolved: ResolvedLens, zooms: Array, focuses: Array) -> list[Setting]:
    """Settings at all pairs of zoom and focus positions, by shape-preserving cubics (F. N. Fritsch and R. E. Carlson,
    SIAM J. Numer. Anal. 17 (1980) 238), so that nothing overshoots between listed settings. Raises OpticsError.
    """
    if resolved.lattice is None:
        raise OpticsError(
            "state: a sweep needs the same number of focal lengths listed at every focus distance; add the missing "
            "states or ask for the listed ones only."
        )
    count_zoom, count_focus = resolved.lattice
    table = _table(resolved.settings).reshape(count_focus, count_zoom, -1)
    by_zoom = _interpolated(table[:, :, 0].mean(axis=0), table, zooms, axis=1)
    dioptres = np.array([_dioptres(s) for s in resolved.settings]).reshape(count_focus, count_zoom)[:, 0]
    full = _interpolated(dioptres, by_zoom, focuses, axis=0)
    focus_values = np.interp(focuses, np.arange(count_focus), dioptres)
    settings = []
    for f in range(len(focuses)):
        for z in range(len(zooms)):
            settings.append(_from_row(resolved.settings[0], full[f, z], float(focus_values[f])))
    return settings


def _table(settings: tuple[Setting, ...]) -> Array:
    rows = []
    for s in settings:
        row = [math.log(getattr(s, name)) for name in _LOGARITHMIC] + [getattr(s, name) for name in _LINEAR]
        row += [*s.shift, *s.pupil_wander]
        for window in s.windows:
            row += list(window)
        if s.traced is not None:
            row += [s.traced.plane + s.reach, math.log(s.traced.main.stop_semi), *s.traced.main.thickness]
        rows.append(row)
    return np.array(rows)


def _interpolated(abscissae: Array, table: Array, at_index: Array, *, axis: int) -> Array:
    count = table.shape[axis]
    at_index = np.clip(np.asarray(at_index, dtype=float), 0, count - 1)
    if count == 1:
        return np.take(table, np.zeros(len(at_index), dtype=int), axis=axis)
    from scipy.interpolate import PchipInterpolator

    where = np.interp(at_index, np.arange(count), abscissae)
    return np.asarray(PchipInterpolator(abscissae, table, axis=axis)(where))


def _from_row(like: Setting, row: Array, dioptres: float) -> Setting:
    values: dict[str, float] = {}
    for k, name in enumerate(_LOGARITHMIC):
        values[name] = math.exp(row[k])
    offset = len(_LOGARITHMIC)
    for k, name in enumerate(_LINEAR):
        values[name] = float(row[offset + k])
    offset += len(_LINEAR)
    shift = (float(row[offset]), float(row[offset + 1]))
    wander = (float(row[offset + 2]), float(row[offset + 3]))
    if like.traced is not None:
        # The groups are taken to move as smoothly as everything else does; first-order quantities follow from that.
        spacing = row[-len(like.traced.main) :]
        vertex, stop = row[-len(spacing) - 2 : -len(spacing)]
        far = dioptres < 1e-9
        distance = math.inf if far else 1000.0 / dioptres - like.traced.plane
        state = like.traced.with_spacings(spacing, math.exp(stop), distance, f"{values['focal_length']:.1f} mm")
        return traced_setting(
            state, float(vertex) - state.plane, values["smallest_f_number"], shift, values["image_travel"]
        )
    windows = tuple((float(w[0]), float(w[1]), float(w[2]), float(w[3])) for w in row[offset + 4 :].reshape(-1, 4))
    focus = math.inf if dioptres < 1e-9 else 1000.0 / dioptres
    return replace(
        like, focus_distance=focus, shift=shift, windows=windows, pupil_wander=wander, traced=None, **values
    )
