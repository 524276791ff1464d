"""Lens descriptions as .seq command sequences, as several open optics libraries read them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from shadewright.errors import DocumentError
from shadewright.model.base import shown
from shadewright.model.lens_rows import (
    MOST_ROWS,
    Description,
    Reading,
    Row,
    Variant,
    assembled,
    curvature_of,
    fault,
    medium_of,
    number,
    tokens_of,
    unknown_glass,
)

UNITS = {"M": 1.0, "MM": 1.0, "C": 10.0, "CM": 10.0, "I": 25.4, "IN": 25.4}
MOST_SETTINGS = 60
_POWERS = {letter: 4 + 2 * k for k, letter in enumerate("ABCDEFGHJ")}
_TILTS = ("ADE", "BDE", "CDE", "XDE", "YDE", "ZDE")
_REFUSED = frozenset([
    "CYL", "AAS", "XTO", "YTO", "UDS", "UD1", "UD2", "DIF", "GRT", "DOE", "HOE", "SPS", "SPL", "ZRN", "XPS", "DAR",
    "BEN", "REV", "RET", "THO",
])  # fmt: skip
_OF_THE_VIEW = frozenset([
    "XAN", "YAN", "XOB", "YOB", "XIM", "YIM", "XRI", "YRI", "VUX", "VLX", "VUY", "VLY", "WTF", "WTW", "WL", "REF",
    "TIT", "TITLE", "CRF",
])  # fmt: skip


@dataclass
class _Reader:
    """What has been read so far."""

    description: Description
    radius_mode: bool = False
    row: Row | None = None
    ended: bool = False
    line: int = 0
    reference: int = 1
    f_number: float | None = None
    pupil: float | None = None
    settings: int = 1
    changed: dict[int, list[float]] = field(default_factory=dict)
    """Thicknesses of the settings by surface number, the subject being 0."""
    openings: dict[str, list[float]] = field(default_factory=dict)
    private: bool = False

    def number(self, words: list[str], at: int, what: str) -> float:
        """The value at a place of the present command."""
        if at >= len(words):
            raise self.fault(f"{words[0].upper()} lacks its {what}; add it")
        return number(words[at], self.description.path, self.line, what)

    def fault(self, what: str) -> DocumentError:
        """An error at the present line."""
        return fault(self.description.path, self.line, what)

    def surface(self, word: str) -> int:
        """The number in a surface's name such as S5, SO or SI."""
        upper = word.upper()
        if upper in ("SO", "SI"):
            return 0 if upper == "SO" else len(self.description.rows) - 1
        found = re.fullmatch(r"S(\d{1,4})", upper)
        if not found or int(found[1]) >= len(self.description.rows):
            raise self.fault(f"{shown(word)} is not a surface that was described before; name one as S1, S2, …")
        return int(found[1])


def read_seq(text: str, path: object, *, name: str) -> Reading:
    """The prescription of a command sequence. Raises DocumentError naming the line.

    Read are spherical, conic and even aspheric surfaces, glasses by name or six-digit number, round apertures (CIR),
    EPD and FNO, wavelengths, units, and thicknesses that differ between zoom positions (ZOO THI).
    """
    reader = _Reader(Description(path, name=name))
    for count, words in _commands(text):
        reader.line = count
        _obey(reader, words)
        if reader.ended:
            break
    return _finished(reader)


def _commands(text: str) -> Iterator[tuple[int, list[str]]]:
    """Each command's words, with the line on which it begins; ! begins a remark, & continues on the next line."""
    pending, start = "", 0
    for count, line in enumerate(text.splitlines(), start=1):
        body = _outside_quotes(line, "!")[0].rstrip()
        start = start if pending else count
        if body.endswith("&"):
            pending += body[:-1] + " "
            if len(pending) > 20_000:
                pending = ""
            continue
        for command in _outside_quotes(pending + body, ";"):
            if words := tokens_of(command):
                yield start, words
        pending = ""
    if words := tokens_of(pending):
        yield start, words


def _outside_quotes(line: str, mark: str) -> list[str]:
    """A line cut at each mark that does not stand in quotes."""
    if mark not in line:
        return [line]
    parts, quote, begun = [], "", 0
    for k, character in enumerate(line):
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'" and line.find(character, k + 1) > 0:
            quote = character
        elif character == mark:
            parts.append(line[begun:k])
            begun = k + 1
    return [*parts, line[begun:]]


def _obey(reader: _Reader, words: list[str]) -> None:
    word = words[0].upper()
    if reader.private or word == "PRV":
        reader.private = word != "END"
        reader.description.note("private glasses (PRV) were left out.")
        return
    if word in _COMMANDS:
        _COMMANDS[word](reader, words)
    elif re.fullmatch(r"S\d*|SO|SI", word):
        _surface(reader, words)
    elif word in _TILTS:
        if any(reader.number(words, at, "amount") != 0 for at in range(1, len(words))):
            raise reader.fault(f"{word} tilts or shifts a surface, which is not read: all must be centred on one axis")
    elif word in _REFUSED:
        raise reader.fault(f"{word} is a kind of surface that is not read; only spheres, conics and even aspheres are")
    elif reader.row is not None and word in _POWERS and len(words) == 2:
        reader.row.aspheric[_POWERS[word]] = reader.number(words, 1, f"coefficient {word}")


def _surface(reader: _Reader, words: list[str]) -> None:
    """SO, S and SI: curvature or radius, thickness, glass."""
    rows, path = reader.description.rows, reader.description.path
    word = words[0].upper()
    if word == "SO" and rows:
        raise reader.fault("SO stands for a second time; name one lens a file")
    if word != "SO" and not rows:
        raise reader.fault(f"{word} comes before SO, the subject; begin the surfaces with SO")
    if re.fullmatch(r"S\d+", word):
        raise reader.fault(f"{word} changes a surface, which is not read; write the surfaces out with S")
    if len(rows) > MOST_ROWS:
        raise reader.fault(f"is beyond the {MOST_ROWS} surfaces that are read")
    shape = reader.number(words, 1, "radius or curvature") if len(words) > 1 else 0.0
    far = word == "SO" and len(words) > 2 and words[2].lower() in ("inf", "infinity")
    thickness = reader.number(words, 2, "thickness") if len(words) > 2 and not far else None if far else 0.0
    row = Row(reader.line, curvature=curvature_of(shape) if reader.radius_mode else shape, thickness=thickness)
    if len(words) > 3 and words[3].upper() != "AIR":
        if words[3].upper() in ("REFL", "REFR"):
            raise reader.fault("a mirror is not read: only lenses that light passes straight through are")
        found = medium_of(words[3])
        if found is None:
            raise unknown_glass(path, reader.line, words[3])
        row.medium = found[0]
        if found[1]:
            reader.description.note(found[1])
    rows.append(row)
    reader.row = row


def _radius_mode(reader: _Reader, words: list[str]) -> None:
    reader.radius_mode = not (len(words) > 1 and words[1].upper().startswith("N"))


def _title(reader: _Reader, words: list[str]) -> None:
    if len(words) > 1:
        reader.description.name = " ".join(words[1:])


def _dimension(reader: _Reader, words: list[str]) -> None:
    unit = words[1].upper() if len(words) > 1 else ""
    if unit not in UNITS:
        raise reader.fault(f"DIM {shown(unit)} must be M (mm), C (cm) or I (inch); correct it")
    reader.description.scale = UNITS[unit]


def _wavelengths(reader: _Reader, words: list[str]) -> None:
    reader.description.wavelengths = [reader.number(words, at, "wavelength") for at in range(1, min(len(words), 21))]


def _reference(reader: _Reader, words: list[str]) -> None:
    reader.reference = int(reader.number(words, 1, "number of the wavelength"))


def _pupil(reader: _Reader, words: list[str]) -> None:
    reader.pupil = reader.number(words, 1, "entrance pupil diameter")


def _f_number(reader: _Reader, words: list[str]) -> None:
    reader.f_number = reader.number(words, 1, "f-number")


def _by_angle(reader: _Reader, words: list[str]) -> None:
    reader.description.note(f"the aperture is given by {words[0].upper()}, so the stop's own aperture is used.")


def _stop(reader: _Reader, words: list[str]) -> None:
    if len(words) > 1:
        reader.description.rows[reader.surface(words[1])].stop = True
    elif reader.row is not None:
        reader.row.stop = True


def _conic(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None and len(words) > 1:
        reader.row.conic = reader.number(words, 1, "conic constant")


def _circle(reader: _Reader, words: list[str]) -> None:
    rest = [word.upper() for word in words[1:]]
    if reader.row is None or not rest:
        return
    if rest[0] in ("OBS", "HOL"):
        reader.description.note(
            f"CIR {rest[0]} at line {reader.line} left out: no part of an aperture is read as covered."
        )
        return
    semi = reader.number(words, len(words) - 1, "aperture radius")
    if semi <= 0:
        raise reader.fault(f"CIR = {semi:g} must be more than 0; correct it")
    if rest[0] != "EDG" or reader.row.semi is None:
        reader.row.semi = semi


def _not_round(reader: _Reader, words: list[str]) -> None:
    reader.description.note(
        f"{words[0].upper()} at line {reader.line} left out: apertures are read as round and centred."
    )


def _solve(reader: _Reader, _words: list[str]) -> None:
    if reader.row is not None and reader.row.thickness == 0:
        reader.row.thickness = None


def _zoom(reader: _Reader, words: list[str]) -> None:
    """ZOO n, or ZOO with a command and its value at each zoom position."""
    if len(words) == 1:
        return
    if re.fullmatch(r"\d{1,3}", words[1]):
        reader.settings = int(words[1])
        if not 1 <= reader.settings <= MOST_SETTINGS:
            raise reader.fault(f"{reader.settings} zoom positions are not read, from 1 to {MOST_SETTINGS} are")
        return
    what = words[1].upper()
    if what in _OF_THE_VIEW:
        return
    if what in ("EPD", "FNO"):
        values = [reader.number(words, at, "value") for at in range(2, len(words))]
        reader.openings[what] = _for_each(reader, values)
    elif what == "THI":
        surface = reader.surface(words[2] if len(words) > 2 else "")
        reader.changed[surface] = _for_each(
            reader, [reader.number(words, at, "thickness") for at in range(3, len(words))]
        )
    elif what not in ("THC", "CCY", "GLC", "POS"):
        raise reader.fault(
            f"ZOO {shown(what)} differs between zoom positions, which is not read; only THI, EPD and FNO may"
        )


def _for_each(reader: _Reader, values: list[float]) -> list[float]:
    if len(values) != reader.settings:
        raise reader.fault(
            f"{len(values)} values stand where {reader.settings}, one a zoom position, are expected; correct it"
        )
    return values


def _go(reader: _Reader, _words: list[str]) -> None:
    reader.ended = bool(reader.description.rows)


_COMMANDS: dict[str, Callable[[_Reader, list[str]], None]] = {
    "RDM": _radius_mode, "TIT": _title, "TITLE": _title, "DIM": _dimension, "WL": _wavelengths, "REF": _reference,
    "EPD": _pupil, "FNO": _f_number, "NA": _by_angle, "NAO": _by_angle, "STO": _stop, "K": _conic, "CIR": _circle,
    "REX": _not_round, "REY": _not_round, "ELX": _not_round, "ELY": _not_round, "PIM": _solve, "ZOO": _zoom,
    "ZOOM": _zoom, "GO": _go,
}  # fmt: skip


def _finished(reader: _Reader) -> Reading:
    """The prescription of all that was read."""
    description = reader.description
    path, rows = description.path, description.rows
    if len(rows) < 3:
        raise fault(
            path, max(reader.line, 1), "the sequence ends with no surface between subject and image; name a whole one"
        )
    subject, image = rows[0], rows[-1]
    if subject.medium is not None:
        raise fault(path, subject.line, "the subject does not lie in air, which is not read; take its glass out")
    if image.thickness:
        description.note(f"the focus shift of {image.thickness:g} at the image was left out.")
    if image.curvature != 0:
        description.note("the image surface is curved; a plane in its place is used.")
    if 1 <= reader.reference <= len(description.wavelengths):
        description.wavelengths.insert(0, description.wavelengths.pop(reader.reference - 1))
    last = len(rows) - 1
    if last in reader.changed:
        raise fault(path, image.line, "the image has no thickness for a zoom to change; take its ZOO THI out")
    zooms = reader.settings > 1
    for k in range(reader.settings):
        name = f"zoom position {k + 1}" if zooms else "nominal"
        values = {surface: entry[k] for surface, entry in reader.changed.items()}
        openings = {what: entry[k] for what, entry in reader.openings.items()}
        variant = Variant(name, subject=values.pop(0, subject.thickness))
        variant.thickness = {surface - 1: value for surface, value in values.items()}
        variant.f_number = openings.get("FNO", None if "EPD" in openings else reader.f_number)
        variant.pupil = openings.get("EPD", reader.pupil)
        description.variants.append(variant)
    description.rows = rows[1:-1]
    return assembled(description)
