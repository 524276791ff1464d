"""The one direction of travel: nothing further right is imported by anything further left."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "shadewright"
ORDER = ["model", "optics", "clearance", "light", "design", "measure", "make", "show"]
"""From the documents to the pictures; errors and files lie beneath them all."""
GROUND = {"errors", "files"}
ABOVE = {"cli", "cli_bench", "cli_light", "cli_measure", "cli_measure_pupil", "cli_new", "cli_trace", "report_trace", "web", "demonstration", "load", "report", "warm", "words", "__init__"}
"""Modules that stand above every layer and hold no physics."""


def imported(path: Path) -> set[str]:
    """Parts of this package that a module imports, at its top or inside a function."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("shadewright"):
            found.add(node.module.split(".")[1] if "." in node.module else "shadewright")
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("shadewright.")}
    return found


@pytest.mark.parametrize("layer", ORDER)
def test_a_layer_imports_nothing_to_its_right(layer: str) -> None:
    left = set(ORDER[: ORDER.index(layer) + 1]) | GROUND
    for path in sorted((SOURCE / layer).rglob("*.py")):
        beyond = imported(path) - left
        assert not beyond, f"{path.name} imports {sorted(beyond)}"


def test_every_module_has_its_place() -> None:
    known = set(ORDER) | GROUND | ABOVE | {"demo", "starters", "web"}
    present = {p.stem for p in SOURCE.glob("*.py")} | {p.name for p in SOURCE.iterdir() if p.is_dir()}
    assert present - {"__pycache__"} <= known


def test_modules_are_of_a_readable_size() -> None:
    too_long = {p.name: n for p in SOURCE.rglob("*.py") if (n := len(p.read_text("utf-8").splitlines())) > 500}
    assert not too_long


def test_nothing_hides_every_error() -> None:
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                names = ast.unparse(node.type) if node.type else "everything"
                assert names not in ("Exception", "BaseException", "everything"), path.name


def test_public_functions_are_described() -> None:
    for path in SOURCE.rglob("*.py"):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path.name}: {node.name} has no docstring"
