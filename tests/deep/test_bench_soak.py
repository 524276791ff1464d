"""Ten thousand questions to the bench: every one answered, and no process grows."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "web"))

from api import opened, zoom_design
from shadewright.web.app import Size

QUESTIONS, SETTLED, EACH = 10_000, 2_500, 500
"""All questions; those after which nothing may grow any more; how often memory is read."""
GROWTH = 0.08
"""How much larger the memory may be at the end than when it had settled, as a share: allocators keep a little."""


def memory() -> float:
    """Memory of this process and all below it, MB."""
    own = psutil.Process()
    return sum(one.memory_info().rss for one in [own, *own.children(recursive=True)]) / 1e6


def question(rng: np.random.Generator, k: int) -> dict[str, Any]:
    """A place of every slider; the lens changes now and then, the wall with every tenth question."""
    wanted = zoom_design(largest_length=60.0)
    wanted["lens"]["name"] = f"lens {k // 20}"
    wanted["lens"]["state"][0]["reach"] = round(15 + (k // 20 % 70) / 10, 1)
    wanted["hood"]["wall"] = {"shape": "tube", "inner_diameter": round(84 + (k // 10 % 120) / 10, 1)}
    return {
        "design": wanted, "at": {"zoom": float(rng.uniform(0, 2)), "focus": float(rng.uniform(0, 1))},
        "alter": {"moved": float(rng.uniform(-2, 6))}, "want": ["sensor", "rim", "section", "sky", "solid", "numbers"],
        "hints": {"columns": 13, "rows": 9, "cells": 13},
    }  # fmt: skip


@pytest.mark.deep
def test_memory_stays_flat_over_ten_thousand_questions() -> None:
    rng = np.random.default_rng(5)
    read = []
    with opened(size=Size(2, 1, 1)) as bench:
        for k in range(QUESTIONS):
            answer = bench.post("/api/look", json=question(rng, k))
            assert answer.status_code == 200, answer.text
            if k % 1000 == 500:
                for address, body in (("/api/validate", {"design": zoom_design()}), ("/api/write", {"document": zoom_design()["lens"]})):
                    assert bench.post(address, json=body).status_code == 200
            if k % EACH == EACH - 1:
                read.append(memory())
    settled, last = np.median(read[SETTLED // EACH : SETTLED // EACH + 3]), np.median(read[-3:])
    assert last <= settled * (1 + GROWTH), read
