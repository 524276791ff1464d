"""Reading a prescription from any of the descriptions that are known, told apart by their content and ending."""

from __future__ import annotations

import re
from pathlib import Path

from shadewright.errors import DocumentError
from shadewright.files import read_limited
from shadewright.model.documents import read_document
from shadewright.model.lens_files_dat import read_dat
from shadewright.model.lens_files_json import read_json
from shadewright.model.lens_files_seq import read_seq
from shadewright.model.lens_files_zmx import read_zmx
from shadewright.model.lens_rows import Reading, decoded
from shadewright.model.prescription import Prescription

LENS_FILE_LIMIT = 2 * 1024 * 1024
"""Largest foreign description read, in bytes."""
_READERS = {"dat": read_dat, "zmx": read_zmx, "seq": read_seq, "json": read_json}
KINDS_OF_FILE = {
    "toml": "a prescription document",
    "dat": "a renderer's lens table",
    "zmx": "a .zmx description",
    "seq": "a .seq sequence",
    "json": "an optics library's JSON",
}
"""The descriptions that can be read, by their file endings."""


def read_prescription(path: Path | str) -> Prescription:
    """The prescription in a document or in another program's description. Raises DocumentError, FileError."""
    return read_with_notes(path).prescription


def read_with_notes(path: Path | str) -> Reading:
    """The prescription at a path, with what was assumed or left out in reading it. Raises DocumentError, FileError.

    Nothing in the file is executed, no other file is opened (but a document's `based_on`).
    """
    path = Path(path)
    if path.suffix.lower() == ".toml":
        return Reading(read_document(path, Prescription))
    text = decoded(read_limited(path, LENS_FILE_LIMIT), path)
    kind = kind_of_text(text, path.suffix.lower().lstrip("."))
    if kind is None:
        known = ", ".join(f".{ending} ({what})" for ending, what in KINDS_OF_FILE.items())
        raise DocumentError(f"{path}: is none of the lens descriptions that are read: {known}; name one of those.")
    if kind == "toml":
        return Reading(read_document(path, Prescription))
    return _READERS[kind](text, path, name=path.stem)


def kind_of_text(text: str, ending: str = "") -> str | None:
    """Which description a text is, by what it holds, and where that does not tell, by its file's ending; else None."""
    head = text[:20_000]
    if head.lstrip().startswith(("{", "[")) and re.search(r'"\w+"\s*:', head):
        return "json"
    if re.search(r"(?m)^[ \t]*document[ \t]*=", head):
        return "toml"
    if re.search(r"(?m)^SURF[ \t]+0\b", text) and re.search(r"(?m)^[ \t]+(CURV|DISZ|TYPE)\b", text):
        return "zmx"
    if re.search(r"(?im)^[ \t]*(RDM|LEN|SO)\b", head) and re.search(r"(?im)^[ \t]*SI?\b", text):
        return "seq"
    rows = [line.partition("#")[0].split() for line in head.splitlines()]
    if (
        ending in ("", "dat", "txt")
        and any(len(row) == 4 for row in rows)
        and all(len(row) in (0, 4) for row in rows[:-1])
    ):
        return "dat"
    return ending if ending in KINDS_OF_FILE else None
