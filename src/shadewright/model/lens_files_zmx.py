"""Lens descriptions in .zmx text, as several open optics libraries read them: one command and its values a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from shadewright.model.base import shown
from shadewright.model.lens_rows import (
    DISTANT,
    MOST_ROWS,
    Description,
    Reading,
    Row,
    Variant,
    assembled,
    fault,
    medium_of,
    number,
    tokens_of,
    unknown_glass,
    whole,
)

UNITS = {"MM": 1.0, "CM": 10.0, "IN": 25.4, "INCH": 25.4, "METER": 1000.0, "M": 1000.0}
TYPES = ("STANDARD", "EVENASPH")
MOST_SETTINGS = 60
_OF_THE_VIEW = frozenset([
    "MOFF", "YFIE", "XFIE", "YFLN", "XFLN", "FLWT", "FLTP", "FVDX", "FVDY", "FVCX", "FVCY", "FVAN", "WAVE", "WLWT",
    "PRWV", "CRSR", "PRES", "TEMP", "MCOM", "MCSE", "LTTL", "XFWT", "YFWT", "STPX",
])  # fmt: skip
"""Operands of many settings that change the fields, colours and remarks, and no surface."""


@dataclass
class _Reader:
    """What has been read so far."""

    description: Description
    row: Row | None = None
    kinds: dict[int, str] = field(default_factory=dict)
    """Surface types by the id of their row's line."""
    parameters: dict[int, dict[int, float]] = field(default_factory=dict)
    settings: int = 1
    f_number: float | None = None
    pupil: float | None = None
    waves: dict[int, float] = field(default_factory=dict)
    wave_count: int | None = None
    primary: int = 1
    operands: list[tuple[int, list[str]]] = field(default_factory=list)
    solves: list[tuple[int, list[str]]] = field(default_factory=list)
    """Thicknesses that follow from others, by their surface: the command and its values."""
    apertures: dict[int, float] = field(default_factory=dict)
    line: int = 0

    def number(self, words: list[str], at: int, what: str) -> float:
        """The value at a place of the present line."""
        if at >= len(words):
            raise fault(self.description.path, self.line, f"{words[0].upper()} lacks its {what}; add it")
        return number(words[at], self.description.path, self.line, what)

    def fault(self, what: str) -> Exception:
        """An error at the present line."""
        return fault(self.description.path, self.line, what)


def read_zmx(text: str, path: object, *, name: str) -> Reading:
    """The prescription of a sequential .zmx description. Raises DocumentError naming the line.

    Read are STANDARD and EVENASPH surfaces, glasses by name or by index and Abbe number, clear semi-diameters, the
    aperture (ENPD, FNUM, FLOA), the main wavelengths, units, and thicknesses that differ between settings (THIC).
    """
    reader = _Reader(Description(path, name=name))
    for count, line in enumerate(text.splitlines(), start=1):
        words = tokens_of(line)
        if words:
            reader.line = count
            command = _COMMANDS.get(words[0].upper())
            if command is not None:
                command(reader, words)
            elif reader.settings > 1 and not line[:1].isspace() and len(words) >= 4 and reader.row is not None:
                reader.operands.append((count, words))
    return _finished(reader)


def _mode(reader: _Reader, words: list[str]) -> None:
    if len(words) > 1 and words[1].upper() != "SEQ":
        raise reader.fault(f"MODE {shown(words[1])} is not read; only sequential descriptions (MODE SEQ) are")


def _name(reader: _Reader, words: list[str]) -> None:
    if len(words) > 1:
        reader.description.name = " ".join(words[1:])


def _remark(reader: _Reader, words: list[str]) -> None:
    text = " ".join(words[2:]).strip()
    if text and len(reader.description.source) < 1500:
        reader.description.source = "; ".join(filter(None, (reader.description.source, text)))


def _unit(reader: _Reader, words: list[str]) -> None:
    unit = words[1].upper() if len(words) > 1 else ""
    if unit not in UNITS:
        raise reader.fault(f"UNIT {shown(unit)} must be one of MM, CM, IN, METER; correct it")
    reader.description.scale = UNITS[unit]


def _entrance(reader: _Reader, words: list[str]) -> None:
    reader.pupil = reader.number(words, 1, "entrance pupil diameter")


def _f_number(reader: _Reader, words: list[str]) -> None:
    reader.f_number = reader.number(words, 1, "f-number")


def _by_aperture(reader: _Reader, words: list[str]) -> None:
    reader.description.note(f"the aperture is given by {words[0].upper()}, so the stop's own semi-diameter is used.")


def _fields(reader: _Reader, words: list[str]) -> None:
    if len(words) > 4 and words[4].isascii() and words[4].isdigit():
        reader.wave_count = min(int(words[4][:3]), 24)


def _wave(reader: _Reader, words: list[str]) -> None:
    place = whole(words[1] if len(words) > 1 else "", reader.description.path, reader.line, "number of the wavelength")
    reader.waves[place] = reader.number(words, 2, "wavelength") * 1000.0


def _waves(reader: _Reader, words: list[str]) -> None:
    for place in range(1, min(len(words), 25)):
        reader.waves[place] = reader.number(words, place, "wavelength") * 1000.0


def _primary(reader: _Reader, words: list[str]) -> None:
    reader.primary = int(reader.number(words, 1, "number of the main wavelength"))


def _surf(reader: _Reader, words: list[str]) -> None:
    expected = len(reader.description.rows)
    place = whole(words[1] if len(words) > 1 else "", reader.description.path, reader.line, "number of the surface")
    if place != expected:
        raise reader.fault(f"SURF {place} stands where surface {expected} is expected; put the surfaces in order")
    if place > MOST_ROWS:
        raise reader.fault(f"SURF {place} is beyond the {MOST_ROWS} surfaces that are read")
    reader.row = Row(reader.line)
    reader.description.rows.append(reader.row)


def _type(reader: _Reader, words: list[str]) -> None:
    kind = words[1].upper() if len(words) > 1 else "STANDARD"
    if reader.row is not None:
        if kind not in TYPES:
            raise reader.fault(
                f"surface type {shown(kind)} is not read, only {' and '.join(TYPES)} are; replace the surface by one of those"
            )
        reader.kinds[reader.row.line] = kind


def _curv(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None:
        reader.row.curvature = reader.number(words, 1, "curvature")


def _coni(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None:
        reader.row.conic = reader.number(words, 1, "conic constant")


def _parm(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None:
        place = whole(
            words[1] if len(words) > 1 else "", reader.description.path, reader.line, "number of the parameter"
        )
        reader.parameters.setdefault(reader.row.line, {})[place] = reader.number(words, 2, "parameter")


def _disz(reader: _Reader, words: list[str]) -> None:
    if reader.row is None:
        return
    if len(words) > 1 and words[1].upper().lstrip("-") in ("INFINITY", "INF"):
        reader.row.thickness = None
    else:
        reader.row.thickness = reader.number(words, 1, "thickness")


def _solve(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None:
        reader.solves.append((len(reader.description.rows) - 1, words))


def _glas(reader: _Reader, words: list[str]) -> None:
    if reader.row is None or len(words) < 2:
        return
    path, glass = reader.description.path, words[1]
    if glass.upper() == "MIRROR":
        raise reader.fault("a mirror is not read: only lenses that light passes straight through are")
    beside = None
    if len(words) > 5 and (words[2] == "1" or reader.number(words, 4, "index") != 1.5):
        index, abbe = reader.number(words, 4, "index"), reader.number(words, 5, "Abbe number")
        beside = (index, abbe if abbe > 0 else None) if index > 1 else None
    if words[2:3] == ["1"] and beside is not None:
        reader.row.medium = beside
        return
    # A name in the table is worth more than the numbers beside it, which may be left-overs.
    found = medium_of(glass, beside)
    if found is None:
        raise unknown_glass(path, reader.line, glass)
    reader.row.medium = found[0]
    if found[1]:
        reader.description.note(found[1])


def _diam(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None:
        semi = reader.number(words, 1, "semi-diameter")
        reader.row.semi = semi if semi > 0 else None
        if semi > 0 and words[2:3] == ["0"] and not reader.row.stop:
            reader.description.note(
                "some semi-diameters are those that the other program worked out for its own fields, not measured ones."
            )


def _clap(reader: _Reader, words: list[str]) -> None:
    if reader.row is not None and len(words) > 2:
        reader.apertures[reader.row.line] = reader.number(words, 2, "aperture radius")


def _stop(reader: _Reader, _words: list[str]) -> None:
    if reader.row is not None:
        reader.row.stop = True


def _not_round(reader: _Reader, words: list[str]) -> None:
    reader.description.note(
        f"{words[0].upper()} at line {reader.line} left out: apertures are read as round and centred."
    )


def _settings(reader: _Reader, words: list[str]) -> None:
    reader.settings = max(
        1, whole(words[1] if len(words) > 1 else "1", reader.description.path, reader.line, "number of settings")
    )
    if reader.settings > MOST_SETTINGS:
        raise reader.fault(f"{reader.settings} settings are more than the {MOST_SETTINGS} that are read")


_COMMANDS: dict[str, Callable[[_Reader, list[str]], None]] = {
    "MODE": _mode, "NAME": _name, "NOTE": _remark, "UNIT": _unit, "ENPD": _entrance, "FNUM": _f_number,
    "OBNA": _by_aperture, "FLOA": _by_aperture, "FTYP": _fields, "WAVM": _wave, "WAVL": _waves, "PWAV": _primary,
    "SURF": _surf, "TYPE": _type, "CURV": _curv, "CONI": _coni, "PARM": _parm, "DISZ": _disz, "GLAS": _glas,
    "DIAM": _diam, "CLAP": _clap, "FLAP": _clap, "STOP": _stop, "SQAP": _not_round, "ELAP": _not_round,
    "SQOB": _not_round, "ELOB": _not_round, "OBSC": _not_round, "UDAD": _not_round, "OBDC": _not_round,
    "MNUM": _settings, "TCOM": _solve, "TOLE": _solve, "PZUP": _solve, "MAZH": _solve,
}  # fmt: skip


# --- putting it together --------------------------------------------------------------------------------------


def _finished(reader: _Reader) -> Reading:
    """The prescription of all that was read."""
    description = reader.description
    path = description.path
    if len(description.rows) < 3:
        raise fault(
            path,
            max(reader.line, 1),
            "the description ends with no surface between subject and image; name a whole one",
        )
    for row in description.rows:
        _shaped(reader, row)
    subject, image = description.rows[0], description.rows[-1]
    if subject.medium is not None:
        raise fault(path, subject.line, "the subject does not lie in air, which is not read; take its glass out")
    if image.curvature != 0:
        description.note("the image surface is curved; a plane in its place is used.")
    if subject.stop or image.stop:
        raise fault(
            path, image.line if image.stop else subject.line, "the stop cannot be the subject or the image; move it"
        )
    variants = _variants(reader, subject.thickness)
    description.rows = description.rows[1:-1]
    description.variants = variants
    primary = reader.waves.get(reader.primary)
    kept = [
        wave for place, wave in sorted(reader.waves.items()) if reader.wave_count is None or place <= reader.wave_count
    ]
    if primary is not None and primary in kept:
        kept.remove(primary)
        kept.insert(0, primary)
    description.wavelengths = list(dict.fromkeys(round(wave, 6) for wave in kept))
    return assembled(description)


def _shaped(reader: _Reader, row: Row) -> None:
    """The aspheric coefficients and the clear edge of a row."""
    if reader.kinds.get(row.line) == "EVENASPH":
        row.aspheric = {2 * place: value for place, value in reader.parameters.get(row.line, {}).items() if value != 0}
    if row.line in reader.apertures and reader.apertures[row.line] > 0:
        row.semi = reader.apertures[row.line]


def _variants(reader: _Reader, subject: float | None) -> list[Variant]:
    """The settings: thicknesses by rows counted from the first surface behind the subject."""
    description, path = reader.description, reader.description.path
    last = len(description.rows) - 1
    names = ["nominal"] if reader.settings == 1 else [f"configuration {k}" for k in range(1, reader.settings + 1)]
    variants = [Variant(name, f_number=reader.f_number, pupil=reader.pupil, subject=subject) for name in names]
    changed: set[int] = set()
    for line, words in reader.operands:
        operand = words[0].upper()
        if operand in _OF_THE_VIEW or operand.startswith(("TOL", "EFL")):
            continue
        if operand not in ("THIC", "APER"):
            if _is_operand(words, reader.settings):
                raise fault(
                    path, line, f"{shown(operand)} differs between settings, which is not read; only THIC and APER may"
                )
            continue
        surface = whole(words[1], path, line, "number of the surface")
        setting = whole(words[2], path, line, "number of the setting")
        far = operand == "THIC" and surface == 0 and words[3].upper() in ("INFINITY", "INF")
        value = DISTANT / reader.description.scale if far else number(words[3], path, line, "value")
        if not 1 <= setting <= reader.settings:
            raise fault(path, line, f"setting {setting} is not among the {reader.settings} there are; correct it")
        variant = variants[setting - 1]
        if operand == "APER":
            variant.f_number, variant.pupil = (value, None) if reader.f_number is not None else (None, value)
        elif surface == 0:
            variant.subject = value
        elif surface < last:
            variant.thickness[surface - 1] = value
            changed.add(surface - 1)
        else:
            raise fault(
                path, line, f"surface {surface} has no thickness to change, the image is surface {last}; correct it"
            )
    for variant in variants:
        for k in changed - set(variant.thickness):
            variant.thickness[k] = description.rows[k + 1].thickness or 0.0
    if reader.settings > 1:
        _follow(reader, variants)
    return variants


def _follow(reader: _Reader, variants: list[Variant]) -> None:
    """Work out the thicknesses that follow from others at every setting, which the file gives for one setting only.

    TCOM i total: this one and that of surface i add up to the total. TOLE i total: those from surface i on do. PZUP i
    scale offset: scale times that of surface i, plus the offset. MAZH at the last surface: to the paraxial focus.
    """
    description = reader.description
    for surface, words in reader.solves:
        command, line = words[0].upper(), description.rows[surface].line
        if command == "MAZH":
            if surface == len(description.rows) - 2 and surface - 1 not in variants[0].thickness:
                description.rows[surface].thickness = None
                description.note("the image lies at the paraxial focus at every setting.")
            continue
        if len(words) < (3 if command != "PZUP" else 4):
            raise fault(description.path, line, f"{command} lacks a value; add it")
        first = whole(words[1], description.path, line, f"surface of {command}")
        values = [number(word, description.path, line, f"value of {command}") for word in words[2:4]]
        if not 1 <= first < surface < len(description.rows) - 1:
            raise fault(description.path, line, f"{command} must name an earlier surface than {surface}; correct it")
        for variant in variants:
            gaps = [variant.thickness.get(k - 1, description.rows[k].thickness or 0.0) for k in range(first, surface)]
            if command == "PZUP":
                found = values[0] * gaps[0] + (values[1] if len(values) > 1 else 0.0)
            else:
                found = values[0] - (gaps[0] if command == "TCOM" else sum(gaps))
            variant.thickness[surface - 1] = found


def _is_operand(words: list[str], settings: int) -> bool:
    """Whether a line has the form of an operand of many settings: its name, a surface, a setting, a value."""
    numbers = all(word.isascii() and word.isdigit() and len(word) < 5 for word in words[1:3])
    return numbers and len(words[0]) == 4 and 1 <= int(words[2]) <= settings
