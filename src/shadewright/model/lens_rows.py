"""What the readers of other programs' lens descriptions share: decoding, numbers, rows, and the prescription made of them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from shadewright.errors import DocumentError
from shadewright.model.base import shown
from shadewright.model.documents import document_from
from shadewright.model.glass import find_glass, glass_table, index_of
from shadewright.model.prescription import LONGEST_WAVE, MOST_ASPHERIC, SHORTEST_WAVE, Prescription

MOST_ROWS = 500
"""Surfaces of a foreign description, its dummies included."""
MOST_NOTES = 40
FLAT_RADIUS = 1e7
"""A radius from which a surface is a plane, mm."""
DISTANT = 1e7
"""A subject from this distance on is at infinity, mm."""


@dataclass(frozen=True)
class Reading:
    """A prescription read from another program's description, and what was assumed or left out, a sentence each."""

    prescription: Prescription
    notes: tuple[str, ...] = ()


@dataclass
class Row:
    """One surface while it is being read, lengths in the description's own unit. line: where it begins in the text."""

    line: int
    curvature: float = 0.0
    conic: float = 0.0
    aspheric: dict[int, float] = field(default_factory=dict)
    """Coefficients by the power of r."""
    thickness: float | None = 0.0
    medium: str | tuple[float, float | None] | None = None
    """A glass's name, or index and Abbe number; None: air."""
    semi: float | None = None
    stop: bool = False


@dataclass
class Variant:
    """One setting while it is being read. thickness by row number, counted from 0."""

    name: str
    thickness: dict[int, float] = field(default_factory=dict)
    f_number: float | None = None
    pupil: float | None = None
    """Diameter of the entrance pupil."""
    subject: float | None = None
    """Distance from the first row to the subject; None: far."""


@dataclass
class Description:
    """All that was read of a lens, before it becomes a prescription. scale: mm in its unit."""

    path: object
    name: str = ""
    source: str = ""
    scale: float = 1.0
    rows: list[Row] = field(default_factory=list)
    variants: list[Variant] = field(default_factory=list)
    wavelengths: list[float] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    lined: bool = True
    """Whether rows know the line at which they begin."""

    def note(self, sentence: str) -> None:
        """Keep a remark, once, and not more than `MOST_NOTES` of them."""
        if sentence not in self.notes and len(self.notes) < MOST_NOTES:
            self.notes.append(sentence)


def decoded(data: bytes, path: object) -> str:
    """The text of a file in UTF-8 or UTF-16, with or without a mark, else Latin-1. Raises DocumentError."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif data[:400:2].count(0) > len(data[:400]) // 8:
        encoding = "utf-16-be"
    elif data[1:400:2].count(0) > len(data[:400]) // 8:
        encoding = "utf-16-le"
    else:
        encoding = "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8-sig":
            raise DocumentError(f"{path}: is not whole UTF-16 text; save it again as UTF-8.") from None
        text = data.decode("latin-1")
    if "\x00" in text:
        raise DocumentError(f"{path}: holds a zero byte, so it is not a text; name the lens description itself.")
    return text


def fault(path: object, line: int, what: str) -> DocumentError:
    """An error at a line of a file, a sentence without its full stop."""
    return DocumentError(f"{path}: line {line}: {what}.")


def number(text: str, path: object, line: int, what: str) -> float:
    """A finite number. Raises DocumentError naming the line."""
    try:
        value = float(text) if "_" not in text else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 1e30:
        raise fault(path, line, f"{what} = {shown(text)} must be a finite number; correct it")
    return value


def whole(text: str, path: object, line: int, what: str) -> int:
    """A whole number from 0 to 9999. Raises DocumentError naming the line."""
    if not re.fullmatch(r"[0-9]{1,4}", text):
        raise fault(path, line, f"{what} = {shown(text)} must be a whole number from 0 to 9999; correct it")
    return int(text)


def curvature_of(radius: float) -> float:
    """1/radius, with 0 and anything from `FLAT_RADIUS` on as a plane."""
    return 0.0 if radius == 0 or abs(radius) >= FLAT_RADIUS else 1.0 / radius


_CODE = re.compile(r"(\d{3})\.?(\d{3})(?:\.\d+)?")
_LONG_CODE = re.compile(r"(\d{6})\.(\d{6})")


def medium_of(name: str, fallback: tuple[float, float | None] | None = None) -> tuple[Any, str | None] | None:
    """A medium from a glass's name or number, with a remark where something was assumed; None where it is unknown.

    A six-digit number is nd - 1 and Vd, as in 517642 or 517.642. A name that the table holds only with "N-" in front
    is taken as that glass. fallback: the index and Abbe number that stand beside the name.
    """
    bare = name.strip().strip('"')
    if found := _LONG_CODE.fullmatch(bare):
        return (_index_from(int(found[1]) / 1e6), int(found[2]) / 1e4), None
    if found := _CODE.fullmatch(bare):
        return (_index_from(int(found[1]) / 1e3), int(found[2]) / 10), None
    candidates = [bare, bare.split("_")[0], f"N-{bare.split('_')[0]}"]
    for candidate in candidates:
        known = find_glass(candidate)
        if known is None:
            continue
        same = _letters(known) == _letters(bare.split("_")[0])
        return known, None if same else f"glass {shown(bare)} is taken as {known}."
    if fallback is not None:
        abbe = "" if fallback[1] is None else f" with Abbe number {fallback[1]:g}"
        return fallback, f"glass {shown(bare)} is not in the table: the index {fallback[0]:g}{abbe} beside it is used."
    return None


def _index_from(decimals: float) -> float:
    """The index of which a glass number holds the decimals: no glass is as low as 1.3, so that 022 is 2.022."""
    return round(1.0 + decimals if decimals >= 0.3 else 2.0 + decimals, 6)


def _letters(name: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", name.upper())


def unknown_glass(path: object, line: int, name: str) -> DocumentError:
    """The error for a glass that is not in the table."""
    return fault(
        path, line,
        f"glass {shown(name)} is not among the {len(glass_table())} of the table and no index stands beside it; "
        "write its index and Abbe number in the place of its name, as the six-digit number",
    )  # fmt: skip


# --- from rows to a prescription ------------------------------------------------------------------------------


def assembled(description: Description) -> Reading:
    """The prescription that a description makes. Raises DocumentError naming the file, the line and what to do."""
    path, rows = description.path, description.rows
    if not rows:
        raise DocumentError(f"{path}: holds no surfaces; name a lens description.")
    _first_rows(description)
    _last_rows(description)
    stops = sum(row.stop for row in rows)
    if stops != 1:
        raise DocumentError(
            f"{path}: {f'{stops} surfaces are' if stops else 'no surface is'} marked as the aperture stop; mark exactly "
            "one, where the iris is, in the program that wrote the file."
        )
    tree = _heading(description)
    tree["surface"] = [_surface(row, description, last=row is rows[-1]) for row in rows]
    settings = [_setting(variant, description) for variant in description.variants]
    settings = [setting for setting in settings if len(setting) > 1] if len(settings) == 1 else settings
    if settings:
        tree["setting"] = settings
    if description.scale != 1.0:
        description.note(f"lengths were multiplied by {description.scale:g} to give mm.")
    try:
        prescription = document_from(tree, Prescription, name=path)
    except DocumentError as error:
        raise DocumentError(_with_line(str(error), path, rows) if description.lined else str(error)) from None
    return Reading(prescription, tuple(description.notes))


def _heading(description: Description) -> dict[str, Any]:
    """The fields above the surfaces."""
    tree: dict[str, Any] = {"document": "prescription", "version": 1, "name": _line(description.name, 120) or "unnamed"}
    if description.source:
        tree["source"] = _line(description.source, 2000)
    seen = [wave for wave in description.wavelengths if SHORTEST_WAVE <= wave <= LONGEST_WAVE]
    if len(seen) < len(description.wavelengths):
        description.note(f"wavelengths outside {SHORTEST_WAVE:g} to {LONGEST_WAVE:g} nm were left out.")
    if seen:
        tree["wavelengths"] = seen[:20]
    return tree


def _with_line(message: str, path: object, rows: list[Row]) -> str:
    """A message about surface k, with the line at which that surface begins."""
    found = re.search(r"surface\[(\d{1,4})\]", message)
    head = f"{path}: "
    if not found or not message.startswith(head) or not 1 <= int(found[1]) <= len(rows):
        return message
    return f"{head}line {rows[int(found[1]) - 1].line}: {message.removeprefix(head)}"


def _plain_dummy(row: Row) -> bool:
    return row.curvature == 0 and not row.aspheric and row.medium is None and not row.stop


def _first_rows(description: Description) -> None:
    """Drop dummy planes ahead of the lens: its front vertex is what depths are measured from."""
    rows = description.rows
    dropped = 0
    while len(rows) > 1 and _plain_dummy(rows[0]):
        gap = rows[0].thickness or 0.0
        for variant in description.variants:
            if variant.subject is not None:
                variant.subject += variant.thickness.get(0, gap)
            variant.thickness = {k - 1: value for k, value in variant.thickness.items() if k > 0}
        rows.pop(0)
        dropped += 1
    if dropped:
        description.note(f"{_planes(dropped)} ahead of the lens, in air, left out.")


def _last_rows(description: Description) -> None:
    """Merge dummy planes behind the lens into the way to the image."""
    rows = description.rows
    dropped = 0
    while len(rows) > 1 and _plain_dummy(rows[-1]) and rows[-2].medium is None:
        last, k = rows.pop(), len(rows)
        before = rows[-1]
        for variant in description.variants:
            if k in variant.thickness or k - 1 in variant.thickness:
                ahead = variant.thickness.get(k - 1, before.thickness or 0.0)
                variant.thickness[k - 1] = ahead + variant.thickness.pop(k, last.thickness or 0.0)
        if before.thickness is not None and last.thickness is not None:
            before.thickness += last.thickness
        else:
            before.thickness = None
        dropped += 1
    if dropped:
        description.note(f"{_planes(dropped)} behind the lens, in air, merged into the way to the image.")


def _planes(count: int) -> str:
    return "one plane" if count == 1 else f"{count} planes"


def _surface(row: Row, description: Description, *, last: bool) -> dict[str, Any]:
    """A row as the fields of a surface, in mm."""
    scale = description.scale
    entry: dict[str, Any] = {}
    if row.curvature != 0:
        entry["radius"] = _clean(scale / row.curvature)
    if row.conic != 0 and (row.curvature != 0):
        entry["conic"] = row.conic
    powers = {power: value for power, value in row.aspheric.items() if value != 0}
    if powers.pop(2, 0.0):
        raise _row_fault(
            description,
            row,
            "the surface has a term in r^2 beside its curvature, which is not read; fold it into the curvature",
        )
    highest = 2 + 2 * MOST_ASPHERIC
    if beyond := [power for power in powers if power % 2 or not 4 <= power <= highest]:
        raise _row_fault(
            description,
            row,
            f"the surface has a term in r^{beyond[0]}; only even powers from r^4 to r^{highest} are read",
        )
    if powers:
        entry["aspheric"] = [powers.get(power, 0.0) * scale ** (1 - power) for power in range(4, max(powers) + 1, 2)]
    if row.thickness is not None:
        entry["thickness"] = _clean(row.thickness * scale)
    elif not last:
        raise _row_fault(description, row, "the distance to the next surface is not a finite number; correct it")
    if isinstance(row.medium, str):
        entry["glass"] = row.medium
    elif row.medium is not None:
        entry["index"] = row.medium[0]
        if row.medium[1] is not None:
            entry["abbe"] = row.medium[1]
    if row.semi is not None and row.semi > 0:
        entry["semi_diameter"] = _clean(row.semi * scale)
    if row.stop:
        entry["stop"] = True
    return entry


def _row_fault(description: Description, row: Row, what: str) -> DocumentError:
    word = "line" if description.lined else "surface"
    return DocumentError(f"{description.path}: {word} {row.line}: {what}.")


def _clean(value: float) -> float:
    """A length without the last digits that a division or a unit leaves."""
    return float(f"{value:.14g}")


def _setting(variant: Variant, description: Description) -> dict[str, Any]:
    """A variant as the fields of a setting, in mm."""
    scale = description.scale
    entry: dict[str, Any] = {"name": _line(variant.name, 120)}
    if variant.thickness:
        entry["thickness"] = {str(k + 1): _clean(value * scale) for k, value in sorted(variant.thickness.items())}
    if variant.f_number is not None:
        entry["f_number"] = variant.f_number
    elif variant.pupil is not None:
        entry["stop_semi_diameter"] = _clean(_stop_semi(variant, description))
    if variant.subject is not None and abs(variant.subject * scale) < DISTANT:
        entry["focus_distance"] = _clean(variant.subject * scale)
    return entry


def _stop_semi(variant: Variant, description: Description) -> float:
    """Semi-diameter of the stop for the entrance pupil's diameter, mm, paraxially."""
    rows, path = description.rows, description.path
    height, slope = (variant.pupil or 0.0) / 2.0, 0.0
    index = 1.0
    for k, row in enumerate(rows):
        if row.stop:
            break
        after = _index(row)
        # n' u' = n u - y c (n' - n); y' = y + t u'. W. J. Smith, Modern Optical Engineering, chapter 2.
        slope = (index * slope - height * row.curvature * (after - index)) / after
        height += slope * variant.thickness.get(k, row.thickness or 0.0)
        index = after
    semi = abs(height) * description.scale
    if not 1e-6 < semi < 1e4:
        raise DocumentError(
            f"{path}: the entrance pupil of {variant.pupil} makes no stop of sensible size; give the stop's own semi-diameter."
        )
    return semi


def _index(row: Row) -> float:
    if row.medium is None:
        return 1.0
    # What is out of range here is refused with its line when the surfaces are checked.
    return index_of(row.medium) if isinstance(row.medium, str) else min(max(row.medium[0], 1.0), 4.5)


def _line(text: str, longest: int) -> str:
    """A text on one line, without what may not be printed."""
    kept = "".join(character if character.isprintable() else " " for character in text)
    return " ".join(kept.split())[:longest].strip()


def tokens_of(line: str) -> list[str]:
    """The words of a line; a text in quotes is one word."""
    return [first or second or third for first, second, third in re.findall(r'"([^"]*)"|\'([^\']*)\'|(\S+)', line)]


def one_stop(description: Description, candidates: Callable[[Row], bool], what: str) -> None:
    """Make the only row that qualifies the stop. Raises DocumentError where there is none, or more than one."""
    found = [row for row in description.rows if candidates(row)]
    if len(found) != 1:
        lines = f" (lines {_listed(row.line for row in found)})" if found else ""
        number_of = "no row" if not found else f"{len(found)} rows"
        raise DocumentError(f"{description.path}: {number_of} can be the aperture stop{lines}; {what}.")
    found[0].stop = True


def _listed(lines: Iterable[int]) -> str:
    listed = list(lines)
    return ", ".join(str(line) for line in listed[:6]) + (", …" if len(listed) > 6 else "")
