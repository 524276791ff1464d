"""The pieces of a wall of revolution: strips, sectors and rings, with their glue tabs and teeth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from shadewright.errors import MakeError
from shadewright.make.bands import (
    ALL_ROUND,
    Band,
    Development,
    Span,
    Stretch,
    rim_points,
    spans_above,
    wall_bands,
)
from shadewright.make.labels import band_marks, band_note, general_notes, joint_notes, ring_texts
from shadewright.make.pieces import Piece, PieceForm, Polyline, Stock
from shadewright.make.rings import Ring
from shadewright.model.shape import Array, Rim, RoundHood, RoundWall

LEAST_HEIGHT = 2.0
"""A strip must be at least this high everywhere to hang together, mm (common practice, no source)."""
LEAST_LOBE = 1.0
"""Lobes of a further step lower than this are left out, mm."""
LEAST_RING = 1.0
"""A ring between two steps must be at least this wide, mm."""
LEAST_TAB = 4.0
"""A seam shorter than this gets no glue tab, mm."""
TOOTH_PITCH = 12.0
"""Width of one glue tooth with its gap, mm (common practice, no source)."""
VANE_PLAY = 0.1
"""A vane of card is this much smaller in radius than the wall around it, mm (common practice, no source)."""
STEP = 1e-6
"""Radii further apart than this make a step, mm."""


@dataclass(frozen=True)
class _Joint:
    """Where two bands meet: `step` is the gain in radius going forward, mm."""

    z: float
    step: float

    @property
    def widens(self) -> bool:
        return self.step > STEP

    @property
    def narrows(self) -> bool:
        return self.step < -STEP

    def tooth(self, stock: Stock) -> float:
        """Length of the glue teeth, mm: never wider than the ring that they lie on; 0 for none."""
        if not (self.widens or self.narrows):
            return stock.tab
        length = min(stock.tab, abs(self.step) - stock.thickness - 0.5)
        return length if length >= 1.5 else 0.0


def round_pieces(hood: RoundHood, stock: Stock) -> tuple[list[Piece], list[str]]:
    """The pieces of a wall of revolution, from the seat forward, and the notes that belong to them.

    Raises MakeError for a wall or a rim that cannot be laid flat.
    """
    rim = hood.rim
    _check_round(hood.wall, rim, stock)
    bands = wall_bands(hood.wall, back=stock.back, top=rim.deepest)
    joints = [_Joint(b.z0, b.r0 - a.r1) for a, b in pairwise(bands)]
    pieces: list[Piece] = []
    notes = general_notes(stock, inside=2.0 * bands[0].r0)
    for k, band in enumerate(bands):
        behind, ahead = (joints[k - 1] if k else None), (joints[k] if k < len(joints) else None)
        spans = _lobes(rim, band.z0) if behind else (ALL_ROUND,)
        if not spans:
            notes.append(f"The rim rises less than {LEAST_LOBE:g} mm past z = {band.z0:.1f} mm: left out.")
            break
        if behind and (behind.widens or behind.narrows):
            pieces += _rings(rim, behind, (bands[k - 1], band), stock)
        for number, span in enumerate(spans):
            label = f"piece {k + 1}" + ("" if len(spans) == 1 else f"-{number + 1}")
            pieces.append(_band_piece(label, rim, span, band, behind, ahead, stock))
        notes.append(band_note(f"Piece {k + 1}", band, stock))
    forms = {piece.form for piece in pieces}
    kinks = any(not (joint.widens or joint.narrows) for joint in joints)
    return pieces, notes + joint_notes(stock, kinks=kinks, rings=PieceForm.RING in forms)


def _check_round(wall: RoundWall, rim: Rim, stock: Stock) -> None:
    low = int(np.argmin(rim.z))
    if rim.z[low] + stock.back < LEAST_HEIGHT:
        raise MakeError(
            f"the rim at azimuth {rim.azimuth[low]:.1f} degrees lies at z = {rim.z[low]:.2f} mm and the near "
            f"edge at z = {-stock.back:.2f} mm, so less than {LEAST_HEIGHT:g} mm of wall would hold the "
            "template together; make back larger or the rim deeper."
        )
    narrowest = 2 * min(wall.radius)
    if stock.thickness > narrowest / 10:
        raise MakeError(
            f"sheet_thickness = {stock.thickness:g} mm is too stiff to bend to {narrowest:.1f} mm diameter; "
            f"use sheet of at most {narrowest / 10:.2f} mm, or print the hood."
        )


def _lobes(rim: Rim, level: float) -> tuple[Span, ...]:
    """Where the rim stands ahead of z = level, without lobes too low to cut."""
    azimuth, z = rim_points(rim)

    def height(span: Span) -> float:
        inside = ((azimuth - span.low) % 360.0) <= span.high - span.low
        return float(z[inside].max(initial=level) - level)

    return tuple(span for span in spans_above(rim, level) if span.full or height(span) >= LEAST_LOBE)


def _band_piece(
    label: str, rim: Rim, span: Span, band: Band, behind: _Joint | None, ahead: _Joint | None, stock: Stock
) -> Piece:
    """One strip or sector; where a step joins two bands, the wider one is cut longer to take in the ring."""
    low = band.z0 - (stock.thickness if behind and behind.widens else 0.0)
    high = band.z1 + (stock.thickness if ahead and ahead.narrows else 0.0)
    stretch = Stretch(label, rim, span, Development(band, stock.thickness), low, high)
    tab = _seam_tab(stretch, stock)
    _check_sector(stretch, tab)
    bottom, rear_folds = _rear_edge(stretch, behind, stock)
    front, front_folds = _front_edge(stretch, ahead, stock)
    mark, text = band_marks(stretch, stock, with_tab=len(tab) > 0)
    return Piece(
        label,
        PieceForm.STRIP if band.is_tube else PieceForm.SECTOR,
        span.centre % 360.0,
        (0.0, 0.0),
        (Polyline.of(np.concatenate([bottom, tab, front[::-1]]), closed=True),),
        tuple(rear_folds + front_folds),
        tuple(mark),
        tuple(text),
    )


def _seam_tab(stretch: Stretch, stock: Stock) -> Array:
    """Corners (0 or 4, 2) of the glue tab at the right end, kept below the rim that it is lapped over."""
    sheet, half, none = stretch.sheet, stretch.span.half, np.zeros((0, 2))
    if not stretch.span.full or stock.tab <= 0:
        return none
    narrow = min(stretch.band.radius(stretch.low), stretch.band.r1) + stock.thickness / 2
    lap = math.degrees(stock.tab / narrow)
    right, z = stretch.front_edge()
    lapped = np.append(z[right <= lap - half], stretch.top_at(np.array([lap - half, half])))
    foot, head = sheet.at(half, np.array([stretch.low, max(float(lapped.min()), stretch.low)]))
    length = float(np.hypot(*(head - foot)))
    if length < LEAST_TAB:
        return none
    along = (head - foot) / length
    out = np.array([along[1], -along[0]]) * stock.tab
    # The second term: on a cone the far edge of the tab lies further from the tip than the seam does.
    inset = along * min(length / 4, max(1.5, stock.tab / 4) + stock.tab**2 / (2 * narrow))
    return np.array([foot, foot + inset + out, head - inset + out, head])


def _check_sector(stretch: Stretch, tab: Array) -> None:
    """Refuses a cone so flat that its sector would run into its own tab. Raises MakeError."""
    sheet = stretch.sheet
    if stretch.band.is_tube:
        return
    used = 2 * stretch.span.half * abs(sheet.sine)
    if len(tab):
        x, y = tab.T
        reach = np.degrees(np.arctan2(x, y * math.copysign(1.0, sheet.sine))) % 360.0
        used = used / 2 + float(reach.max())
    if used > 357:
        raise MakeError(
            f"{stretch.label}: a cone of {math.degrees(math.asin(abs(sheet.sine))):.1f} degrees half-angle "
            f"unrolls to {used:.0f} degrees with its tab, more than a sheet holds; choose a steeper wall or "
            "a narrower tab."
        )


def _teeth(low: float, high: float, radius: float, root: float, tip: float) -> Array:
    """Teeth on the edge z = root between two values of `right`: rows (right, z) (4 n, 2), left to right."""
    length = math.radians(high - low) * radius
    count = max(1, round(length / TOOTH_PITCH))
    pitch = (high - low) / count
    gap = min(0.1 * pitch, math.degrees(1.0 / radius))
    # Teeth bent inwards close up on a smaller circle: the taper keeps them apart.
    inset = (pitch - gap) * min(0.3, 0.12 + abs(tip - root) / radius)
    rows: list[tuple[float, float]] = []
    for k in range(count):
        a, b = low + k * pitch + gap / 2, low + (k + 1) * pitch - gap / 2
        rows += [(a, root), (a + inset, tip), (b - inset, tip), (b, root)]
    return np.array(rows)


def _rear_edge(stretch: Stretch, behind: _Joint | None, stock: Stock) -> tuple[Array, list[Polyline]]:
    """The rear edge (n, 2), left to right; on a band wider than the one behind it, with teeth to bend in."""
    low, half, plain = stretch.low, stretch.span.half, stretch.around(stretch.low)
    length = behind.tooth(stock) if behind and behind.widens else 0.0
    if length <= 0 or math.radians(2 * half) * stretch.band.r0 < TOOTH_PITCH:
        return plain, []
    rows = _teeth(-half, half, stretch.band.r0, low, low - length)
    ends = stretch.sheet.at(np.array([-half, half]), low)
    return np.concatenate([ends[:1], stretch.sheet.at(*rows.T), ends[1:]]), [Polyline.of(plain)]


def _front_edge(stretch: Stretch, ahead: _Joint | None, stock: Stock) -> tuple[Array, list[Polyline]]:
    """The front edge (n, 2) from left to right, with teeth where it meets the next band or holds a ring."""
    right, z = stretch.front_edge()
    length = ahead.tooth(stock) if ahead and not ahead.widens else 0.0
    if ahead is None or length <= 0:
        return stretch.sheet.curve(right, z), []
    # Teeth on the outside of the next band must stay below the rim; teeth bent inwards lie flat on the ring.
    level = stretch.high + (0.5 if ahead.narrows else length + 1.0)
    parts: list[Array] = []
    folds: list[Polyline] = []
    begin = float(right[0])
    for low, high in _runs(stretch.rim, level, stretch.span):
        if math.radians(high - low) * stretch.band.r1 < TOOTH_PITCH / 2:
            continue
        parts.append(_piece_of_edge(stretch, right, z, begin, low))
        rows = _teeth(low, high, stretch.band.r1, stretch.high, stretch.high + length)
        parts.append(stretch.sheet.at(*rows.T))
        folds.append(Polyline.of(stretch.sheet.curve(np.array([low, high]), np.full(2, stretch.high))))
        begin = high
    parts.append(_piece_of_edge(stretch, right, z, begin, float(right[-1])))
    return np.concatenate(parts), folds


def _piece_of_edge(stretch: Stretch, right: Array, z: Array, low: float, high: float) -> Array:
    """The front edge between two values of `right`, ends included."""
    inner = right[(right > low + 1e-9) & (right < high - 1e-9)]
    chosen = np.concatenate([[low], inner, [max(low, high)]])
    return stretch.sheet.curve(chosen, np.interp(chosen, right, z))


def _runs(rim: Rim, level: float, span: Span) -> list[tuple[float, float]]:
    """Where within a piece the rim stands ahead of z = level: ranges of `right`, left to right, degrees."""
    found: list[tuple[float, float]] = []
    for part in spans_above(rim, level):
        if part.full:
            return [(-span.half, span.half)]
        for turn in (-720.0, -360.0, 0.0, 360.0, 720.0):
            low, high = max(part.low + turn, span.low), min(part.high + turn, span.high)
            if high - low > 1e-6:
                found.append((span.centre - high, span.centre - low))
    return sorted(found)


def _rings(rim: Rim, joint: _Joint, bands: tuple[Band, Band], stock: Stock) -> list[Piece]:
    """The flat rings, or sectors of one, that close a step. Raises MakeError where the step is too small.

    The ring slips over the narrower band and into the wider one, its face flush with the end of the narrower.
    """
    narrow, wide = sorted((bands[0].r1, bands[1].r0))
    inner = narrow + stock.thickness
    if wide - inner < LEAST_RING:
        raise MakeError(
            f"the step of {wide - narrow:.2f} mm at z = {joint.z:.1f} mm leaves a ring less than "
            f"{LEAST_RING:g} mm wide in sheet of {stock.thickness:g} mm; use thinner sheet or make the step "
            "larger."
        )
    level = joint.z if joint.widens else joint.z + stock.thickness
    return [
        _ring(f"ring at z = {joint.z:.1f}", span, inner, wide, joint.widens) for span in _lobes(rim, level)
    ]


def vane_pieces(hood: RoundHood, rings: Sequence[Ring]) -> tuple[list[Piece], list[str]]:
    """Vanes as flat rings, or sectors where the rim cuts them, the foremost first, and how to set them in."""
    pieces = []
    for number, ring in enumerate(rings, start=1):
        outer = float(hood.wall.radius_at(ring.z)) - VANE_PLAY
        if outer - ring.inner_radius < LEAST_RING:
            continue
        for span in _lobes(hood.rim, ring.z + 1e-6):
            pieces.append(_ring(f"vane {number}, z = {ring.z:.2f}", span, ring.inner_radius, outer, False))
    if not pieces:
        return [], []
    return pieces, [
        f"The vanes are flat rings {2 * VANE_PLAY:g} mm smaller than the wall inside: cut them from thin black card, bevel the edge "
        "of the opening from behind to a knife edge, and set them in from the rearmost forward, each with its front face at its z "
        "ahead of the line z = 0; glue them from behind."
    ]


def _ring(label: str, span: Span, inner: float, outer: float, widens: bool) -> Piece:
    """A flat ring seen on its outside: from behind where the wall widens, else from the front."""
    hand = 1.0 if widens else -1.0

    def arc(radius: float, low: float, high: float) -> Array:
        count = math.ceil(math.radians(high - low) / (2 * math.acos(1 - 0.01 / radius)))
        # A multiple of four, so that a full ring has its corners at the four sides too.
        angle = np.radians(np.linspace(low, high, 4 * math.ceil(count / 4) + 1))
        return radius * np.stack([hand * np.cos(angle), np.sin(angle)], axis=1)

    if span.full:
        cut = tuple(Polyline.of(arc(radius, 0.0, 360.0), closed=True) for radius in (outer, inner))
        sides: Sequence[tuple[float, float]] = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))
        mark = tuple(Polyline.of([(c * inner, s * inner), (c * outer, s * outer)]) for c, s in sides)
    else:
        ends = arc(outer, span.low, span.high), arc(inner, span.low, span.high)[::-1]
        cut, mark = (Polyline.of(np.concatenate(ends), closed=True),), ()
    text = ring_texts(label, span, inner, outer, hand)
    return Piece(label, PieceForm.RING, span.centre % 360.0, (0.0, 0.0), cut, (), mark, tuple(text))
