"""The page that sets simple models against traced ones says what the program finds."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def numbers(line: str) -> list[float]:
    return [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", line)]


def test_the_page_is_current() -> None:
    spec = importlib.util.spec_from_file_location("build_traced_lenses", ROOT / "docs" / "build_traced_lenses.py")
    assert spec is not None
    assert spec.loader is not None
    import sys

    module = importlib.util.module_from_spec(spec)
    sys.modules["build_traced_lenses"] = module
    spec.loader.exec_module(module)
    written = (ROOT / "docs" / "traced-lenses.md").read_text("utf-8").splitlines()
    found = module.page().splitlines()
    assert len(written) == len(found)
    for have, want in zip(written, found, strict=True):
        assert re.sub(r"[\d.]+", "#", have) == re.sub(r"[\d.]+", "#", want)
        # Digits are compared to what another processor's rounding may change.
        assert numbers(have) == pytest.approx(numbers(want), abs=0.11, rel=2e-3)
