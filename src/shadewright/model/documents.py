"""Reading documents: TOML with limits, `based_on`, and one clear sentence for anything wrong."""

from __future__ import annotations

import difflib
import json
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from shadewright.errors import DocumentError
from shadewright.files import DOCUMENT_LIMIT, read_limited
from shadewright.model.base import Part
from shadewright.model.camera import Camera
from shadewright.model.hood import Hood
from shadewright.model.lens import Lens

KINDS: dict[str, type[Part]] = {"lens": Lens, "camera": Camera, "hood": Hood}
DEEPEST_BASE = 8
DEEPEST_NESTING = 12
Document = TypeVar("Document", Lens, Camera, Hood)


def read_lens(path: Path | str) -> Lens:
    """The lens in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Lens)


def read_camera(path: Path | str) -> Camera:
    """The camera in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Camera)


def read_hood(path: Path | str) -> Hood:
    """The hood in the TOML document at `path`. Raises DocumentError, FileError."""
    return read_document(Path(path), Hood)


def read_document(path: Path, kind: type[Document]) -> Document:
    """The document of the wanted kind at `path`, with its `based_on` chain merged. Raises DocumentError, FileError."""
    tree = _read_tree(path, ())
    wanted = kind.__name__.lower()
    found = tree.get("document")
    if found != wanted:
        if isinstance(found, str) and found in KINDS:
            raise DocumentError(f'{path}: is a {found} document where a {wanted} document is needed; name the other file.')
        raise DocumentError(
            f'{path}: document = {_shown(found)} must be one of "camera", "hood", "lens"; here it must say "{wanted}".'
        )
    try:
        return kind.model_validate(tree)
    except ValidationError as error:
        raise DocumentError(_sentence(path, error, kind)) from None


def parse_document(text: str, kind: type[Document], *, name: str = "document") -> Document:
    """A document of the wanted kind from TOML text, without `based_on`. Raises DocumentError."""
    tree = _parse(text, name)
    if "based_on" in tree:
        raise DocumentError(f"{name}: based_on works only in files; write the other document's fields out here.")
    try:
        return kind.model_validate(tree)
    except ValidationError as error:
        raise DocumentError(_sentence(name, error, kind)) from None


def schema(kind: str) -> str:
    """The JSON schema of a kind of document, for editors, as JSON text. Raises DocumentError for an unknown kind."""
    if kind not in KINDS:
        raise DocumentError(f"document kind {kind!r} is unknown; it must be one of {', '.join(sorted(KINDS))}.")
    tree = KINDS[kind].model_json_schema()
    tree["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    tree["properties"]["based_on"] = {
        "type": "string",
        "description": "File name of another document of this kind in the same folder; this one's fields replace its own.",
    }
    return json.dumps(tree, indent=2, sort_keys=True) + "\n"


def _parse(text: str, name: object) -> dict[str, Any]:
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DocumentError(f"{name}: is not valid TOML: {_lower(str(error))}; mend that place.") from None
    except (RecursionError, ValueError):
        raise DocumentError(f"{name}: is not valid TOML that can be read: it is nested too deeply or holds a number too long.") from None
    if _depth(tree) > DEEPEST_NESTING:
        raise DocumentError(f"{name}: is nested more than {DEEPEST_NESTING} deep; documents need far less.")
    return tree


def _depth(tree: object) -> int:
    """How deep tables and lists are nested, counted without recursion."""
    deepest, pending = 0, [(tree, 1)]
    while pending:
        node, depth = pending.pop()
        deepest = max(deepest, depth)
        if depth > DEEPEST_NESTING:
            break
        if isinstance(node, dict):
            pending.extend((value, depth + 1) for value in node.values())
        elif isinstance(node, list):
            pending.extend((value, depth + 1) for value in node)
    return deepest


def _read_tree(path: Path, chain: tuple[Path, ...]) -> dict[str, Any]:
    data = read_limited(path, DOCUMENT_LIMIT)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DocumentError(f"{path}: is not UTF-8 text (byte {error.start}); save it as UTF-8.") from None
    if "\x00" in text:
        raise DocumentError(f"{path}: holds a zero byte, so it is not a text document; name a TOML file.")
    tree = _parse(text, path)
    base = tree.pop("based_on", None)
    if base is None:
        return tree
    return _merged(_read_base(path, base, (*chain, path.resolve())), tree)


def _read_base(path: Path, base: object, chain: tuple[Path, ...]) -> dict[str, Any]:
    if not isinstance(base, str) or not base:
        raise DocumentError(f"{path}: based_on = {_shown(base)} must be the name of a file in the same folder.")
    if Path(base).name != base or base in (".", "..") or "\\" in base:
        raise DocumentError(f"{path}: based_on = {_shown(base)} must be a file in the same folder, without a path.")
    target = path.parent / base
    resolved = target.resolve()
    if resolved in chain:
        raise DocumentError(f"{path}: based_on = {_shown(base)} leads back to a document already read; break the circle.")
    if resolved.parent != path.parent.resolve():
        raise DocumentError(f"{path}: based_on = {_shown(base)} links to a file outside its folder; copy it here instead.")
    if len(chain) >= DEEPEST_BASE:
        raise DocumentError(f"{path}: based_on reaches back through more than {DEEPEST_BASE} documents; merge some.")
    return _read_tree(target, chain)


def _merged(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Tables are merged key by key; anything else, lists included, is replaced."""
    merged = dict(base)
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(merged.get(key), dict):
            merged[key] = _merged(merged[key], value)
        else:
            merged[key] = value
    return merged


def _shown(value: object) -> str:
    text = json.dumps(value, default=str, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _field(location: tuple[int | str, ...]) -> str:
    """`state[2].reach` from ("state", 1, "reach"); entries are counted from 1, as people do."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        elif part.startswith(("literal[", "constrained-", "function-", "float", "tuple[", "nullable")):
            continue
        else:
            text += f".{part}" if text else part
    return text or "the document"


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
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "finite_number": "a finite number",
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "string_type": "text in quotes",
    "string_too_short": "text of at least {min_length} character(s)",
    "string_too_long": "text of at most {max_length} characters",
    "tuple_type": "a list in square brackets",
    "too_long": "a list of at most {max_length} entries",
    "too_short": "a list of at least {min_length} entries",
    "model_type": "a table of fields",
    "model_attributes_type": "a table of fields",
    "literal_error": "{expected}",
    "enum": "one of {expected}",
}


def _sentence(path: object, error: ValidationError, kind: type[Part]) -> str:
    """The first thing wrong, as one sentence; unions report their most telling branch."""
    found = error.errors(include_url=False)
    first = found[0]
    where, code, context = _field(first["loc"]), first["type"], first.get("ctx", {})
    value = first.get("input")
    if code == "extra_forbidden":
        key = str(first["loc"][-1])
        near = difflib.get_close_matches(key, _keys_at(kind, first["loc"][:-1]), n=1, cutoff=0.5)
        allowed = ", ".join(sorted(_keys_at(kind, first["loc"][:-1])))
        hint = f'did you mean "{near[0]}"?' if near else f"allowed here: {allowed}."
        return f"{path}: {where} is not a field of this document; {hint}"
    if code == "missing":
        return f"{path}: {where} is missing; add it."
    if code == "value_error":
        reason = str(context.get("error", first["msg"]))
        if isinstance(value, dict) or where == "the document":
            return f"{path}: {where}: {reason}."
        return f"{path}: {where} = {_shown(value)} {reason}."
    same_place = [other for other in found if _field(other["loc"]) == where]
    options = dict.fromkeys(_allowed(other) for other in same_place)
    return f"{path}: {where} = {_shown(value)} must be {' or '.join(options)}; correct it."


def _allowed(entry: Any) -> str:
    context = {key: _number(value) for key, value in entry.get("ctx", {}).items()}
    template = _ALLOWED.get(entry["type"])
    return template.format(**context) if template else _lower(entry["msg"])


def _number(value: object) -> object:
    return f"{value:g}" if isinstance(value, float) else value
