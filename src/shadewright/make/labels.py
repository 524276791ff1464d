"""Marks, texts and notes of a flat template: index, centre and seat lines, which way up, how to join."""

from __future__ import annotations

import math

import numpy as np

from shadewright.make.bands import Band, Development, Span, Stretch
from shadewright.make.pieces import LETTER, Align, Polyline, Stock, TextMark

SIDES = {90.0: "TOP", 180.0: "LEFT", 0.0: "RIGHT", 270.0: "BOTTOM"}
"""Names of the four sides by azimuth, degrees, as seen from behind the camera."""
CAPITALS = 2.5
"""Height of capitals where there is room, mm."""
SMALLEST = 1.4
"""Height of capitals below which a row is left out, mm."""
SEAT_PLAY = 0.2
"""Inside diameter of a collar or spacer of sheet less that of the barrel, mm (common practice, no source)."""
MOST_LINING = 1.5
"""A gap wider than this all round, mm, takes a spacer and no lining (common practice, no source)."""
MOST_BENT = 2.0
"""Tabs bend out by this at most, mm (common practice, no source)."""
FROM_LINE = 2.2
"""Distance of a text from the line that it names, mm."""


def band_marks(stretch: Stretch, stock: Stock, *, with_tab: bool) -> tuple[list[Polyline], list[TextMark]]:
    """Seat plane, centre lines at the four sides, the index line at the top with its arrow, and the texts."""
    sheet, span, low = stretch.sheet, stretch.span, stretch.low
    marks: list[Polyline] = []
    texts: list[TextMark] = []
    if low < -1e-9 < stretch.high - 1e-6:
        marks.append(Polyline.of(stretch.around(0.0)))
        if low < -3 and span.full:
            texts.append(_text(sheet, 135.0, -2.8, "seat plane z = 0", 1.8))
    for azimuth, name in SIDES.items():
        right = stretch.right_of(azimuth)
        if abs(right) > span.half - 1e-6:
            continue
        top = float(stretch.top_at(right))
        marks.append(Polyline.of(sheet.at(right, np.array([low, top]))))
        if azimuth == 90.0:
            marks.append(_arrow(sheet, right, low, top))
            texts += _index_texts(stretch, right, stock)
        else:
            rows = [name] if span.full else [name, stretch.label]
            texts += _beside(stretch, right, rows, 1.0)
    if span.full:
        texts += _beside(stretch, -span.half, ["BOTTOM, seam"], 1.0)
        top = float(stretch.top_at(span.half))
        if with_tab:
            marks.append(Polyline.of(sheet.at(span.half, np.array([low, top]))))
        if with_tab and stock.tab >= 5:
            texts.append(_on_tab(stretch, (low + top) / 2, stock))
    elif not texts:
        middle = (low + float(stretch.top_at(0.0))) / 2
        texts.append(_text(sheet, 0.0, middle, stretch.label, 2.0))
    return marks, texts


def _text(sheet: Development, right: float, z: float, text: str, height: float) -> TextMark:
    """A text that runs round the band, the middle of its base line at (right, z)."""
    x, y = sheet.at(right, z)[0]
    return TextMark(text, float(x), float(y), height, sheet.tilt(right))


def _on_tab(stretch: Stretch, z: float, stock: Stock) -> TextMark:
    """The word on the glue tab, upright along the seam."""
    half, sheet = stretch.span.half, stretch.sheet
    tilt = sheet.tilt(half)
    x, y = sheet.at(half, z)[0]
    away = stock.tab / 2 + 0.9
    turn = math.radians(tilt)
    return TextMark(
        "glue", float(x + away * math.cos(turn)), float(y + away * math.sin(turn)), 1.8, tilt + 90.0
    )


def _arrow(sheet: Development, right: float, low: float, top: float) -> Polyline:
    """An open arrow head on the index line, pointing forward."""
    size = min(3.0, (top - low) / 4)
    wing = math.degrees(size / 2 / sheet.band.radius(top))
    tip = top - size / 2
    corners = np.array([right - wing, right, right + wing]), np.array([tip - size, tip, tip - size])
    return Polyline.of(sheet.at(*corners))


def _index_texts(stretch: Stretch, right: float, stock: Stock) -> list[TextMark]:
    """The texts on both sides of the index line, the most important first."""
    band, low = stretch.band, stretch.low
    size = f"inside \u00d8 {2 * band.radius(low):.2f}"
    if not band.is_tube:
        size += f" to {2 * band.radius(stretch.high):.2f}"
    left_rows = [stretch.label.upper(), f"{size}, sheet {stock.thickness:g}", f"near edge z = {low:.2f}"]
    right_rows = ["THIS SIDE FACES OUT", "TOP, index line", "forward is up"]
    return [*_beside(stretch, right, right_rows, 1.0), *_beside(stretch, right, left_rows, -1.0)]


def _room(stretch: Stretch, right: float, side: float, length: float) -> tuple[float, float]:
    """Where straight rows of `length` mm fit beside a line: base z, and height from there on the sheet, mm.

    Of the spaces behind and ahead of the seat plane the larger is taken. On a cone an edge curves away from
    or towards a straight row by about length^2 / (2 x radius on the sheet).
    """
    sheet, low = stretch.sheet, stretch.low
    reach = math.degrees(length / stretch.band.radius(low))
    ways = np.clip(np.linspace(right, right + side * reach, 41), -stretch.span.half, stretch.span.half)
    top = float(stretch.top_at(ways).min())
    if low < 0 < top:
        low, top = (low, 0.0) if -low > top else (0.0, top)
    if stretch.band.is_tube:
        return low, top - low
    leaning = math.hypot(1.0, stretch.band.slope)
    sag = length**2 / (2 * float(min(sheet.slant(low), sheet.slant(top))))
    lift = sag / leaning if sheet.sine < 0 else 0.0
    return low + lift, (top - low) * leaning - sag


def _beside(stretch: Stretch, right: float, rows: list[str], side: float) -> list[TextMark]:
    """Rows of text from the top down, to the right (side = 1) or left (-1) of the line at `right`.

    Where room is short the text gets smaller, then the last rows are left out.
    """
    for count in range(len(rows), 0, -1):
        longest = max(map(len, rows[:count])) * LETTER
        for height in np.arange(CAPITALS, SMALLEST - 1e-9, -0.1):
            base, room = _room(stretch, right, side, longest * height + FROM_LINE)
            if height * (1.7 * count + 0.5) <= room:
                return _block(stretch.sheet, (right, base), rows[:count], float(height), side)
    return []


def _block(
    sheet: Development, place: tuple[float, float], rows: list[str], height: float, side: float
) -> list[TextMark]:
    """Straight rows of text, turned as the sheet is at `right` = place[0], the lowest above z = place[1]."""
    right, base = place
    tilt = sheet.tilt(right)
    turn = math.radians(tilt)
    along, up = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    foot = sheet.at(right, base)[0] + side * FROM_LINE * along
    align = Align.START if side > 0 else Align.END
    texts = []
    for k, row in enumerate(reversed(rows)):
        x, y = foot + up * height * (0.7 + 1.7 * k)
        texts.append(TextMark(row, float(x), float(y), height, tilt, align))
    return texts[::-1]


def ring_texts(label: str, span: Span, inner: float, outer: float, hand: float) -> list[TextMark]:
    """The texts of a ring, in the waste inside it; `hand`: 1 for one seen from behind, -1 from the front."""
    middle = math.radians(span.centre)
    height = min(2.5 if span.full else 2.0, inner / 12)
    rows = (
        label.upper(),
        f"\u00d8 {2 * inner:.2f} / {2 * outer:.2f}",
        "this side faces " + ("BACK" if hand > 0 else "FORWARD"),
    )
    # Beside a sector the texts keep clear of its inner edge, lying or upright as it may stand.
    half_width = LETTER / 2 * height * max(map(len, rows)) + 1.0
    high = 3.2 * height + half_width**2 / (2 * inner)
    clear = high * abs(math.sin(middle)) + half_width * abs(math.cos(middle)) + 2.0
    off = 0.0 if span.full else inner - clear
    x, y = hand * off * math.cos(middle), off * math.sin(middle)
    texts = [TextMark(row, x, y + height * (1.2 - 1.7 * k), height) for k, row in enumerate(rows)]
    if span.full:
        texts.append(TextMark("TOP", 0.0, inner - 2.0 * height, height))
    return texts


def seat_words(stock: Stock, inside: float) -> str:
    """How the length behind the seat plane is made to fit the barrel: a wall `inside` mm wide there against the seat."""
    begins = f"The line z = 0 is the seat plane; the {stock.back:g} mm behind it"
    if stock.seat is None:
        return f"{begins} grip the lens: line the inside until it holds."
    seat, around = stock.seat, stock.seat + SEAT_PLAY + 2.0 * stock.thickness
    bore, gap = seat + SEAT_PLAY, (inside - stock.seat) / 2.0
    mark = f"Mark the barrel {stock.back:g} mm behind the seat plane and push the rear edge to the mark: nothing else stops it."
    if gap < 0.5 * SEAT_PLAY - 1e-9:
        sizes = f"{bore:.1f} mm inside diameter, {stock.back:g} mm long, its neutral line {math.pi * (bore + stock.thickness):.1f} mm"
        cut, joint = "along that line", " and butt it to the near edge with a strip glued round the outside."
        if inside + 2.0 * stock.thickness < bore + 1.0:
            cut = f"{stock.thickness:g} mm ahead of that line"
            joint = (
                f" and join the two with a flat ring of the same sheet, {inside:.1f} mm inside and {around:.1f} mm outside diameter; "
                "its rear face is the seat plane."
            )
        words = (
            f"{begins} are {inside:.2f} mm wide inside and do not go over the barrel of {seat:g} mm. Cut them off {cut}, roll a "
            f"separate collar for the barrel ({sizes})"
        )
        tabs = f" Or slit the {stock.back:g} mm into tabs 10 mm wide, bend them out over the barrel and bind them."
        return words + joint + (tabs if -gap <= MOST_BENT else "")
    if gap <= MOST_LINING:
        return f"{begins} grip the barrel of {seat:g} mm: line the inside, {gap:.1f} mm all round, until it holds. {mark}"
    return (
        f"{begins} are {inside:.2f} mm wide inside, {gap:.1f} mm all round wider than the barrel of {seat:g} mm. Fill the gap with a "
        f"spacer {bore:.1f} mm inside and {inside:.1f} mm outside diameter: two flat rings glued in, one behind the seat plane and one "
        f"at the near edge, or strips wound round. {mark}"
    )


def general_notes(stock: Stock, *, inside: float | None = None) -> list[str]:
    """What holds for every template of this stock; `inside`: diameter of a wall that itself goes over the lens, mm."""
    notes = [
        "Cut solid lines, score and bend dashed lines; dash-dot lines are marks only.",
        "The printed side faces OUT and forward is up; blacken or flock the other side before bending.",
        f"Drawn for sheet {stock.thickness:g} mm thick; another thickness needs another template.",
    ]
    if stock.back > 0:
        carried = f"The line z = 0 is the seat plane; the {stock.back:g} mm behind it carry the plate or ring."
        notes.append(carried if inside is None else seat_words(stock, inside))
    if stock.tab > 0:
        notes.append("Lay the seam tab on the OUTSIDE of the other end, so that the inside stays smooth.")
    else:
        notes.append("There is no seam tab: butt the ends and join them with a strip glued on the outside.")
    return notes


def band_note(label: str, band: Band, stock: Stock) -> str:
    """How a band was laid flat, with the length that can be checked with a ruler."""
    s = stock.thickness
    if band.is_tube:
        d = 2 * band.r0
        return (
            f"{label}: tube, inside diameter D = {d:.2f} mm; the neutral line, at half the thickness, is "
            f"pi x (D + {s:g}) = {math.pi * (d + s):.2f} mm long, tab not counted."
        )
    sheet = Development(band, s)
    near, far = (float(sheet.slant(z)) for z in (band.z0, band.z1))
    return (
        f"{label}: cone, inside diameter {2 * band.r0:.2f} mm at z = {band.z0:.1f} and {2 * band.r1:.2f} mm "
        f"at z = {band.z1:.1f}; laid flat on its neutral surface a sector of {360 * abs(sheet.sine):.2f} "
        f"degrees, radius {near:.2f} mm at the near edge and {far:.2f} mm at the far one."
    )


def joint_notes(stock: Stock, *, kinks: bool, rings: bool) -> list[str]:
    """How pieces are joined: `kinks` where a tube meets a cone, `rings` where there are steps."""
    notes = []
    if kinks and stock.tab > 0:
        notes.append(
            "Where a tube meets a cone, butt the edges; glue the teeth to the outside of the next piece."
        )
    elif kinks:
        notes.append(
            "Where a tube meets a cone, butt the edges and glue a strip over the joint on the outside."
        )
    if rings:
        notes.append(
            "Each ring slips over the narrower tube and into the wider one, its face flush with the end of "
            "the narrower; bend the teeth of the wider tube in and glue them to the ring."
        )
    return notes
