"""Writing documents as TOML text."""

from __future__ import annotations

from typing import Any

import tomli_w

from shadewright.model.base import Part


def to_toml(document: Part, *, heading: str = "") -> str:
    """The document as TOML text that reads back to an equal document, under an optional comment.

    Fields that hold their default are left out, so that a written document stays as short as a human's.
    """
    tree = document.model_dump(mode="python", exclude_defaults=True)
    text = tomli_w.dumps(_plain(tree), multiline_strings=False)
    comment = "".join(f"# {line}\n" for line in heading.splitlines())
    return comment + text


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items() if entry is not None}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    if isinstance(value, str):
        return str(value)
    if isinstance(value, float):
        return float(f"{value:.10g}")
    return value
