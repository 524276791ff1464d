"""Reading documents: TOML with limits, `based_on`, and one clear sentence for anything wrong."""

from __future__ import annotations

import difflib
import functools
import json
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from shadewright.errors import DocumentError, FileError
from shadewright.files import DOCUMENT_LIMIT, is_there, read_limited
from shadewright.model.base import Part, key_shown, shown
from shadewright.model.camera import Camera
from shadewright.model.hood import Hood
from shadewright.model.lens import Lens
from shadewright.model.prescription import Prescription
from shadewright.model.shots import Shots
from shadewright.model.surroundings import Surroundings

KINDS: dict[str, type[Part]] = {
    "lens": Lens, "camera": Camera, "hood": Hood, "prescription": Prescription, "surroundings": Surroundings,
    "shots": Shots,
}  # fmt: skip
DEEPEST_BASE = 8
DEEPEST_NESTING = 12
LONGEST_LIST = 50_000
"""More entries than any list may have: the fields themselves allow fewer, but name each entry that is wrong."""
LONGEST_KEY = 64
_PART = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')[ \t]*+"""
_LONG_KEY = re.compile(rf"(?<![^\s\[{{,])(?:{_PART}\.[ \t]*+){{{LONGEST_KEY}}}+")
"""A dotted field name no document has: the TOML reader's time grows with the square of its parts."""
Document = TypeVar("Document", Lens, Camera, Hood, Prescription, Surroundings, Shots)


def read_lens(path: Path | str) -> Lens:
    """The lens in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Lens)


def read_camera(path: Path | str) -> Camera:
    """The camera in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Camera)


def read_hood(path: Path | str) -> Hood:
    """The hood in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Hood)


def read_surroundings(path: Path | str) -> Surroundings:
    """The surroundings in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Surroundings)


def read_shots(path: Path | str) -> Shots:
    """The shots in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Shots)


def read_document(path: Path, kind: type[Document]) -> Document:
    """The document of the wanted kind at `path`, its `based_on` chain merged. Raises DocumentError, FileError."""
    sources = _read_chain(path, ())
    tree = functools.reduce(_merged, [source.tree for source in reversed(sources)])
    wanted = kind.__name__.lower()
    found = tree.get("document")
    if found != wanted:
        if isinstance(found, str) and found in KINDS:
            raise DocumentError(
                f"{path}: is a {found} document where a {wanted} document is needed; name the other file."
            )
        if found is None:
            raise DocumentError(f'{path}: document is missing; begin it with document = "{wanted}".')
        raise DocumentError(
            f"{path}: document = {shown(found)} must be one of {', '.join(shown(known) for known in sorted(KINDS))}; "
            f'here it must say "{wanted}".'
        )
    for source in sources[1:]:
        other = source.tree.get("document", wanted)
        if other != wanted:
            raise DocumentError(
                f"{path}: is based on {source.path}, whose document = {shown(other)} is not {shown(wanted)}; "
                f"base it on another {wanted}."
            )
    if kind is Lens and isinstance(tree.get("prescription"), str):
        tree["prescription"] = _prescription_beside(sources)
    try:
        return kind.model_validate(tree)
    except ValidationError as error:
        raise DocumentError(_sentence(sources, error, kind)) from None


def _prescription_beside(sources: Sequence[_Source]) -> Prescription:
    """The prescription document that a lens document names, read from beside the document that names it."""
    source = next(source for source in sources if "prescription" in source.tree)
    path, name = Path(str(source.path)), source.tree["prescription"]
    says = f"{path}: prescription = {shown(name)}"
    if not name or not name.isprintable() or Path(name).name != name or name == ".." or "\\" in name:
        raise DocumentError(f"{says} must be the name of a prescription document in the same folder, without a path.")
    target = path.parent / name
    if not is_there(target):
        raise DocumentError(f"{says} names no file; put {shown(name)} beside this document, or correct the name.")
    if _resolved(target).parent != _resolved(path.parent):
        raise DocumentError(f"{says} links to a file outside its folder; copy that file here instead.")
    return read_document(target, Prescription)


def parse_document(text: str, kind: type[Document], *, name: str = "document") -> Document:
    """A document of the wanted kind from TOML text, without `based_on`. Raises DocumentError."""
    tree = _parse(text, name)
    if "based_on" in tree:
        raise DocumentError(
            f"{name}: based_on works only in files; write the other document's fields out here."
        )
    return document_from(tree, kind, name=name)


def document_from(tree: dict[str, Any], kind: type[Document], *, name: object) -> Document:
    """A document of the wanted kind from its fields as TOML would give them. Raises DocumentError that begins with `name`."""
    try:
        return kind.model_validate(tree)
    except ValidationError as error:
        raise DocumentError(_sentence([_Source(name, tree)], error, kind)) from None


def schema(kind: str) -> str:
    """The JSON schema of a kind of document, for editors, as JSON text. Raises DocumentError for an unknown kind."""
    if kind not in KINDS:
        raise DocumentError(f"document kind {kind!r} is unknown; it must be one of {', '.join(sorted(KINDS))}.")
    tree = KINDS[kind].model_json_schema()
    if kind == "lens":
        entry = tree["properties"]["prescription"]
        entry["anyOf"] = [
            {"type": "string", "description": "File name of a prescription document in the same folder."}, *entry["anyOf"],
        ]  # fmt: skip
    tree["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    tree["properties"]["based_on"] = {
        "type": "string",
        "description": "File name of another document of this kind in the same folder; this one's fields replace its own.",
    }
    return json.dumps(tree, indent=2, sort_keys=True) + "\n"


def _parse(text: str, name: object) -> dict[str, Any]:
    if _LONG_KEY.search(text):
        raise DocumentError(f"{name}: has a field name of more than {LONGEST_KEY} parts; documents need far fewer.")
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DocumentError(f"{name}: is not valid TOML, {_toml_fault(str(error))}.") from None
    except (RecursionError, ValueError):
        raise DocumentError(
            f"{name}: cannot be read: it is nested too deeply or holds a number of thousands of digits; "
            "name a document of this program."
        ) from None
    depth, longest = _extent(tree)
    if depth > DEEPEST_NESTING:
        raise DocumentError(f"{name}: is nested more than {DEEPEST_NESTING} deep; documents need far less.")
    if longest > LONGEST_LIST:
        raise DocumentError(f"{name}: holds a list of {longest:,} entries; documents need at most {LONGEST_LIST:,}.")
    return tree


_TOML_FAULTS = {
    "Expected newline or end of document after a statement": "something follows a value: write one field on a "
    "line, numbers with a decimal point and without a unit, and remarks after #",
    "Expected '=' after a key": "a field name is not followed by =: write name = value, the name in letters, digits, - and _, remarks after #",
    "Expected '=' after a table": "a field name is not followed by =: write name = value, the name in letters, digits, - and _, remarks after #",
    "Invalid statement": 'a line is neither a [table] nor name = value: write such lines, remarks after #',
    "Invalid value": 'a value cannot be read: write numbers as 80.0 without a unit, text in "quotes", '
    "true or false in small letters",
    "Cannot overwrite a value": "a field is given twice: keep one of them",
    "Duplicate inline table key": "a field is given twice: keep one of them",
    "Cannot declare": "a table is given twice: keep one, or write [[ ]] round each name where a list is meant",
    "Cannot mutate immutable namespace": "a table already closed by its brackets is added to: write it in one "
    "place",
    "Cannot redefine namespace": "a table is given twice: keep one of them",
    "Unterminated string": 'a text has no end: close it with "',
    "Illegal character '\\n'": 'a text has no end on its line: close it with "',
    "Illegal character": "a character stands there that text may not hold: take it out",
    "Unclosed array": "a list has no end, or a comma is missing between its entries: separate them by commas, "
    "close it with ]",
    "Unclosed inline table": "a table in braces has no end, or a comma is missing in it: close it with } on the "
    "same line",
    "Unescaped '\\' in a string": "a text holds a single backslash: write two, or put the text in 'single quotes'",
    "Invalid hex value": "a text holds a backslash code that is not one: write two backslashes",
    "Invalid initial character for a key part": "a field name begins with a character that none may begin with: "
    "use letters, digits, - and _",
    "Expected ']": "the name of a table is not closed: write it as [name] alone on its line",
    "Invalid date or datetime": "a date cannot be read: write numbers without - and :, text in \"quotes\"",
}
"""What a fault that the TOML reader names most often means to the person who wrote the line."""


def _toml_fault(message: str) -> str:
    """Where a TOML text cannot be read, and what to do there."""
    found = re.fullmatch(r"(.*) \((at [^()]*)\)", message, flags=re.DOTALL)
    what, where = found.groups() if found else (message, "somewhere")
    for start, meaning in _TOML_FAULTS.items():
        if what.startswith(start):
            return f"{where}: {meaning}"
    return f"{where}: {_lower(' '.join(what.split()))}; mend that place"


def _extent(tree: object) -> tuple[int, int]:
    """How deep tables and lists are nested, and the entries of the longest list, counted without recursion."""
    deepest, longest, pending = 0, 0, [(tree, 1)]
    while pending:
        node, depth = pending.pop()
        deepest = max(deepest, depth)
        if depth > DEEPEST_NESTING:
            break
        if isinstance(node, dict):
            pending.extend((value, depth + 1) for value in node.values())
        elif isinstance(node, list):
            longest = max(longest, len(node))
            pending.extend((value, depth + 1) for value in node)
    return deepest, longest


@dataclass(frozen=True)
class _Source:
    """One file of a `based_on` chain: where it is, and its own fields."""

    path: object
    tree: dict[str, Any]


def _read_chain(path: Path, chain: tuple[Path, ...]) -> list[_Source]:
    """The document at `path` and those it is based on, its own first."""
    data = read_limited(path, DOCUMENT_LIMIT)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DocumentError(f"{path}: is not UTF-8 text (byte {error.start + 1}); save it as UTF-8.") from None
    if "\x00" in text:
        raise DocumentError(f"{path}: holds a zero byte, so it is not UTF-8 text; save it as UTF-8.")
    tree = _parse(text, path)
    if "based_on" not in tree:
        return [_Source(path, tree)]
    base = _base_of(path, tree.pop("based_on"), (*chain, _resolved(path)))
    return [_Source(path, tree), *_read_chain(base, (*chain, _resolved(path)))]


def _base_of(path: Path, base: object, chain: tuple[Path, ...]) -> Path:
    """The file that `based_on` names, refused where it leaves the folder or goes round in a circle."""
    says = f"{path}: based_on = {shown(base)}"
    if not isinstance(base, str) or not base or not base.isprintable():
        raise DocumentError(f"{says} must be the name of a file in the same folder; correct it.")
    if Path(base).name != base or base == ".." or "\\" in base:
        raise DocumentError(f"{says} must be a file in the same folder; give its name without a path.")
    target = path.parent / base
    resolved = _resolved(target)
    if resolved in chain:
        raise DocumentError(f"{says} leads back to a document already read; break the circle.")
    if resolved.parent != _resolved(path.parent):
        raise DocumentError(f"{says} links to a file outside its folder; copy that file here instead.")
    if len(chain) >= DEEPEST_BASE:
        raise DocumentError(f"{says} reaches back through more than {DEEPEST_BASE} documents; merge some.")
    if not is_there(target):
        raise DocumentError(f"{says} names no file; put {shown(base)} beside this document, or correct the name.")
    return target


def _resolved(path: Path) -> Path:
    """The path with links followed. Raises FileError where they go round in a circle."""
    try:
        return path.resolve()
    except (RuntimeError, OSError):
        raise FileError(f"{path}: is a link that leads nowhere; name the file itself.") from None


def _merged(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Tables are merged key by key; anything else, lists included, is replaced."""
    merged = dict(base)
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(merged.get(key), dict):
            merged[key] = _merged(merged[key], value)
        else:
            merged[key] = value
    return merged


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _field(location: tuple[int | str, ...]) -> str:
    """`state[2].reach` from ("state", 1, "reach"); entries are counted from 1, as people do."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        elif not part.startswith(("literal[", "constrained-", "function-")):
            text += f".{key_shown(part)}" if text else key_shown(part)
    return text


def _keys_at(kind: type[Part], location: tuple[int | str, ...]) -> list[str]:
    """The field names allowed at a place in a document."""
    current: Any = kind
    for part in location:
        if isinstance(part, int):
            continue
        if not (isinstance(current, type) and issubclass(current, BaseModel)):
            return []
        field = current.model_fields.get(part)
        if field is None:
            return []
        current = _model_in(field.annotation)
    if isinstance(current, type) and issubclass(current, BaseModel):
        return list(current.model_fields)
    return []


def _model_in(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found is not None:
            return found
    return None


_ALLOWED = {
    "finite_number": "a finite number",
    "float_type": "a number",
    "bool_type": "true or false, without quotes",
    "string_type": "text in quotes",
    "string_too_short": "text of at least {min_length} character",
    "string_too_long": "text of at most {max_length} characters",
    "string_pattern_mismatch": "text on one line, and not blank",
    "tuple_type": "a list in square brackets",
    "too_long": "a list of at most {max_length} entries",
    "too_short": "a list of at least {min_length} entry",
    "model_type": "a table of fields",
    "literal_error": "{expected}",
    "enum": "one of {expected}",
}


def _sentence(sources: Sequence[_Source], error: ValidationError | _Some, kind: type[Part]) -> str:
    """The most telling thing wrong, as one sentence that names the file in which it stands."""
    found = error.errors(include_url=False)
    # A misspelt field is also a missing one: the spelling is what the writer needs to hear of.
    misspelt = [entry for entry in found if entry["type"] == "extra_forbidden" and _nearest(entry, kind)]
    first = (misspelt or found)[0]
    location, code, value = first["loc"], first["type"], first.get("input")
    path, where = _origin(sources, location), _field(location)
    if code == "extra_forbidden":
        where = ".".join(filter(None, (_field(location[:-1]), key_shown(str(location[-1])))))
        near, allowed = _nearest(first, kind), ", ".join(sorted(_keys_at(kind, location[:-1])))
        hint = f'perhaps "{near}" is meant.' if near else f"allowed here: {allowed}."
        return f"{path}: {where} is not a field of this document; {hint}"
    if code == "missing" and isinstance(location[-1], int):
        count = 1 + max(entry["loc"][-1] for entry in found if entry["loc"][:-1] == location[:-1])  # type: ignore[operator]
        return f"{path}: {_field(location[:-1])} = {shown(value)} must be a list of {count} entries; add what is missing."
    if code == "missing":
        return f"{path}: {where} is missing; add {_opening(kind, location)}."
    if code == "value_error":
        reason = str(first.get("ctx", {}).get("error", first["msg"]))
        if not where:
            return f"{path}: {reason}."
        return f"{path}: {where}: {reason}." if isinstance(value, dict) else f"{path}: {where} = {shown(value)} {reason}."
    if code == "tuple_type" and len(location) == 1 and _keys_at(kind, location):
        return f"{path}: {where} = {shown(value)} must be a list of tables; write [[{where}]] above each of them."
    same_place = [entry for entry in found if _field(entry["loc"]) == where]
    options = dict.fromkeys(_allowed(entry, kind) for entry in same_place)
    return f"{path}: {where} = {shown(value)} must be {', or '.join(options)}; correct it."


def _opening(kind: type[Part], location: tuple[int | str, ...]) -> str:
    """How to begin what is missing: a table by its heading, a field by itself."""
    if len(location) > 1 or not _keys_at(kind, location):
        return "it"
    field = kind.model_fields[str(location[0])]
    return f"[[{location[0]}]] for each" if "tuple" in str(field.annotation) else f"[{location[0]}] and its fields"


def _nearest(entry: Any, kind: type[Part]) -> str | None:
    """The allowed field that an unknown one most resembles, if any does."""
    known = _keys_at(kind, entry["loc"][:-1])
    key = str(entry["loc"][-1]).lower().replace("-", "_").replace(" ", "_")
    return next(iter(difflib.get_close_matches(key, known, n=1, cutoff=0.7)), None)


def _origin(sources: Sequence[_Source], location: tuple[int | str, ...]) -> object:
    """The file of a `based_on` chain in which a place stands: the first that gives it, else the document itself."""
    for source in sources:
        node: object = source.tree
        for part in location:
            if not isinstance(node, dict):
                return source.path
            if part not in node:
                break
            node = node[part]
        else:
            return source.path
    return sources[0].path


def _allowed(entry: Any, kind: type[Part]) -> str:
    context = dict(entry.get("ctx", {}))
    if entry["type"].startswith(("greater_than", "less_than")):
        return _range(_bounds_at(kind, entry["loc"]) | context)
    if entry["type"] == "enum":
        options = sorted(re.findall(r"'([^']*)'", str(context["expected"])))
        context["expected"] = ", ".join(f'"{option}"' for option in options)
    if entry["type"] == "literal_error":
        context["expected"] = str(context["expected"]).replace("'", '"')
    if entry["type"] == "float_type" and isinstance(entry.get("input"), str):
        return "a number, without quotes and without a unit"
    template = _ALLOWED.get(entry["type"])
    return template.format(**context) if template else _lower(entry["msg"])


def _bounds_at(kind: type[Part], location: tuple[int | str, ...]) -> dict[str, Any]:
    """The bounds of a number at a place in a document, by the names that errors give them: gt, ge, lt, le."""
    fields: Any = None
    current: Any = kind
    for part in location:
        if isinstance(part, str) and isinstance(current, type) and issubclass(current, BaseModel):
            fields = current.model_fields.get(part)
            current = _model_in(fields.annotation) if fields else None
    bounds: dict[str, Any] = {}
    pending: list[Any] = [fields]
    while pending:
        node = pending.pop()
        pending.extend(getattr(node, "metadata", ()) or getattr(node, "__metadata__", ()))
        pending.extend(getattr(getattr(node, "annotation", node), "__args__", ()))
        for name in ("gt", "ge", "lt", "le"):
            if getattr(node, name, None) is not None:
                bounds.setdefault(name, getattr(node, name))
    return bounds


def _range(bounds: dict[str, Any]) -> str:
    """What the bounds of a number allow, in words."""
    number = {name: f"{value:.10g}" for name, value in bounds.items()}
    if "ge" in number and "le" in number:
        return f"from {number['ge']} to {number['le']}"
    words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
    return " and ".join(f"{words[name]} {number[name]}" for name in ("gt", "ge", "lt", "le") if name in number)


@dataclass(frozen=True)
class _Some:
    """Some of the faults of a document, asked for as `ValidationError` is."""

    entries: list[Any]

    def errors(self, *, include_url: bool = False) -> list[Any]:
        return self.entries


def problems_in(tree: dict[str, Any], kind: type[Document], *, name: object) -> list[tuple[str, str]]:
    """Everything wrong with a document's fields: for each place its field, such as `state[2].reach`, and a sentence."""
    try:
        kind.model_validate(tree)
    except ValidationError as error:
        groups: dict[str, list[Any]] = {}
        for entry in error.errors(include_url=False):
            groups.setdefault(_field(entry["loc"]), []).append(entry)
        return [(field, _sentence([_Source(name, tree)], _Some(found), kind)) for field, found in groups.items()]
    return []
