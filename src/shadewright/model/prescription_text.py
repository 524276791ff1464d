"""Writing a prescription as TOML text with one surface a line, as lens tables are printed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from shadewright.model.base import Part
from shadewright.model.prescription import Prescription


def prescription_toml(prescription: Prescription, *, heading: str = "") -> str:
    """The prescription as TOML text that reads back to an equal document, under an optional comment.

    Fields that hold their default are left out; numbers keep all their digits.
    """
    tree = prescription.model_dump(mode="python", exclude_defaults=True)
    surfaces, settings = tree.pop("surface"), tree.pop("setting", ())
    lines = [f"# {line}" for line in heading.splitlines()]
    for key, value in tree.items():
        lines.append(f"{key} = {_written(value)}")
    lines += ["", f"surface = [  # {len(surfaces)}, in order from the subject"]
    lines += [f"  {_written(entry)},  # {k}" for k, entry in enumerate(surfaces, start=1)]
    lines.append("]")
    for setting in settings:
        lines += ["", "[[setting]]", *(f"{key} = {_written(value)}" for key, value in setting.items() if value != {})]
    return "\n".join(lines) + "\n"


def _written(value: Any) -> str:
    """A value as TOML, tables in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's strings are TOML's, but for the one character that JSON leaves bare and TOML does not.
        return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int | float):
        return repr(float(value)) if isinstance(value, float) else str(value)
    if isinstance(value, Part):
        return _written(value.model_dump(mode="python", exclude_defaults=True))
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_written(inner)}" for key, inner in value.items()) + " }"
    assert isinstance(value, Iterable)
    return "[" + ", ".join(_written(inner) for inner in value) + "]"


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").isalnum() else json.dumps(key)
