"""The questions that `shadewright new --ask` asks, and a starter document filled in with their answers."""

from __future__ import annotations

import json
import re

import typer

_QUESTIONS: dict[str, list[tuple[str, str, str]]] = {
    "lens": [
        ("name", "Name of the lens", '"My lens"'),
        ("rim_diameter", "Outside diameter of the front rim, mm", "80.0"),
        ("diameter", "Outside diameter that the hood grips, mm", "84.0"),
        ("focal_length", "Focal length, mm (the shortest of a zoom)", "24.0"),
        ("f_number", "Widest f-number there", "2.8"),
        ("reach", "How far the front rim stands ahead of the seat, mm", "10.0"),
    ],
    "camera": [("name", "Name of the camera", '"My camera"'), ("format", "Format", '"135"')],
    "hood": [
        ("name", "Name of the hood", '"My hood"'),
        ("shape", "Rim: petal, plain, square-cut, tunnel or deepest", '"petal"'),
        ("largest_length", "Largest length ahead of the seat, mm", "80.0"),
        ("allowance", "Worst loss allowed, stops (0 for none)", "0.0"),
    ],
    "prescription": [
        ("name", "Name of the prescription", '"My prescription"'),
        ("f_number", "The f-number that its stop is opened to", "4.0"),
    ],
    "surroundings": [
        ("name", "Name of the surroundings", '"My surroundings"'),
        ("lens_elevation", "Degrees that the lens points above the horizon", "0.0"),
        ("kind", "Sky: even or overcast", '"overcast"'),
    ],
    "shots": [
        ("name", "Name of this set of shots", '"My shots"'),
        ("focal_length", "Focal length, mm", "35.0"),
        ("f_number", "f-number", "2.0"),
        ("reach", "How far the front rim stands ahead of the seat, mm", "2.0"),
    ],
}


def asked(kind: str, text: str) -> str:
    """The starter with its main values replaced by what is answered, and read back as a check."""
    from shadewright.model.documents import KINDS, parse_document

    for field, question, default in _QUESTIONS[kind]:
        quoted = default.startswith('"')
        answer = typer.prompt(question, default=default.strip('"'))
        value = json.dumps(answer, ensure_ascii=False) if quoted else answer
        pattern = rf"(?m)^({field} = )({re.escape(default)})"
        found = re.search(pattern, text)
        assert found is not None
        text = text[: found.start(2)] + value + text[found.end(2) :]
    parse_document(text, KINDS[kind], name="your answers")  # type: ignore[type-var]
    return text
