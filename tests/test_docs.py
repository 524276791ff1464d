"""The documentation is true: every command, option, field, file and example it names."""

from __future__ import annotations

import importlib.util
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

import shadewright

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]


def builder():  # type: ignore[no-untyped-def]
    spec = importlib.util.spec_from_file_location("build_reference", ROOT / "docs" / "build_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_reference_and_schemas_are_current() -> None:
    module = builder()
    assert (ROOT / "docs" / "documents.md").read_text("utf-8") == module.reference()
    for kind in module.KINDS:
        assert (ROOT / "docs" / "schema" / f"{kind}.schema.json").read_text("utf-8") == shadewright.schema(kind)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


def test_every_command_is_in_the_readme_or_the_guides() -> None:
    from shadewright.cli import app

    text = "".join(page.read_text("utf-8") for page in PAGES)
    names = [command.callback.__name__ for command in app.registered_commands]  # type: ignore[union-attr]
    for name in names:
        assert f"shadewright {name}" in text or f"make {name}" in text, name


def test_every_json_field_is_described(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "json.md").read_text("utf-8")
    described = set(re.findall(r"`([a-z_]+)`", page))
    source = "".join(path.read_text("utf-8") for path in sorted((ROOT / "src" / "shadewright").glob("report*.py")))
    fields = set(re.findall(r'"([a-z_]+)":', source)) - {"kind", "points", "lips", "profile"}
    assert fields <= described, sorted(fields - described)


def test_public_names_exist() -> None:
    for name in shadewright.__all__:
        assert getattr(shadewright, name) is not None


def test_changelog_names_this_version() -> None:
    assert f"## {shadewright.__version__}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


@pytest.mark.parametrize("example", sorted((ROOT / "examples").glob("*.py")), ids=lambda p: p.name)
def test_examples_run(example: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(example)], capture_output=True, text=True, cwd=tmp_path, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_import_is_light() -> None:
    code = "import sys, json, shadewright; print(json.dumps(sorted(m for m in sys.modules if '.' not in m)))"
    loaded = json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)
    for heavy in ("numpy", "scipy", "numba", "matplotlib", "manifold3d", "ezdxf", "reportlab"):
        assert heavy not in loaded
