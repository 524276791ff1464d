"""The API asked at random from its own description: never a fault of the server, always an answer as described."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api import opened
from shadewright.web.app import create_app, description

EXAMPLES = int(os.environ.get("SHADEWRIGHT_FUZZ", "8"))
"""Questions of each sort; the deep campaign asks many more."""


@pytest.fixture(scope="module")
def bench() -> Iterator[httpx.Client]:
    with opened() as found:
        yield found


def operations() -> dict[str, Any]:
    """Every question that the description lists."""
    guarded = create_app()
    assert isinstance(guarded.app, FastAPI)
    found = schemathesis.openapi.from_dict(description(guarded.app))
    return {entry.ok().label: entry.ok() for entry in found.get_all_operations()}


OPERATIONS = operations()
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
relaxed = settings(
    max_examples=EXAMPLES, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)


def test_the_description_lists_every_question() -> None:
    assert {name.split()[1] for name in OPERATIONS} >= {
        "/api/look", "/api/fit", "/api/check", "/api/validate", "/api/read", "/api/write", "/api/meshes", "/api/formats",
        "/api/meshes/{name}", "/api/prescriptions", "/api/surfaces", "/api/finishes",
        "/api/starters", "/api/schema/{kind}", "/api/about", "/api/jobs", "/api/jobs/{name}", "/api/jobs/{name}/files/{file}",
    }  # fmt: skip


JSON = [name for name in OPERATIONS if name.startswith("POST") and "meshes" not in name]
"""Questions that can be asked wrongly, since they bring a document."""


@pytest.mark.parametrize(
    ("name", "mode"), [(name, GenerationMode.POSITIVE) for name in OPERATIONS] + [(name, GenerationMode.NEGATIVE) for name in JSON]
)
def test_no_question_breaks_the_bench(name: str, mode: GenerationMode, bench: httpx.Client) -> None:
    cases = OPERATIONS[name].as_strategy(generation_mode=mode)
    own = str(bench.base_url).rstrip("/")

    @relaxed
    @given(case=cases)
    def ask(case: Any) -> None:
        answer = case.call(base_url=own, timeout=200)
        case.validate_response(answer, checks=CHECKS)
        if answer.status_code >= 400:
            assert set(answer.json()) == {"sentence"}
            assert "Traceback" not in answer.text

    ask()


NUMBERS = st.one_of(
    st.floats(-50, 300, allow_nan=False), st.sampled_from([0, 0.0, -0.0, 1e-12, 1e-3, 0.5, 1, 3, 1000, 2999.9, 3000, -1000]),
    st.floats(allow_nan=False, allow_infinity=False),
)
ALL = ["sensor", "rim", "section", "sky", "solid", "numbers"]


def places(tree: Any, where: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where numbers stand in a tree."""
    if isinstance(tree, dict):
        return [found for key, value in tree.items() for found in places(value, (*where, key))]
    if isinstance(tree, list):
        return [found for key, value in enumerate(tree) for found in places(value, (*where, key))]
    return [where] if isinstance(tree, int | float) and not isinstance(tree, bool) and where[-1] != "version" else []


def replaced(tree: Any, where: tuple[Any, ...], value: float) -> Any:
    """A copy of a tree with one number changed."""
    if not where:
        return value
    copy = dict(tree) if isinstance(tree, dict) else list(tree)
    copy[where[0]] = replaced(copy[where[0]], where[1:], value)
    return copy


@pytest.mark.parametrize("shape", ["petal", "plain", "tunnel", "square-cut"])
def test_no_number_in_a_design_breaks_a_look(shape: str, bench: httpx.Client) -> None:
    kit = bench.get("/api/starters").json()["starters"]

    @settings(relaxed, max_examples=4 * EXAMPLES)
    @given(data=st.data())
    def ask(data: st.DataObject) -> None:
        entry = data.draw(st.sampled_from(kit[:4]))
        wanted = {name: entry[name] for name in ("lens", "camera", "hood")}
        wanted["hood"] = {**wanted["hood"], "rim": {"shape": shape}}
        known = places(wanted)
        for _ in range(data.draw(st.integers(0, 3))):
            wanted = replaced(wanted, data.draw(st.sampled_from(known)), data.draw(NUMBERS))
        at = {"zoom": data.draw(st.floats(-1, 5)), "focus": data.draw(st.floats(-1, 2)), "f_number": data.draw(st.none() | st.floats(0.5, 99))}
        body = {
            "design": wanted, "at": at, "alter": {"moved": data.draw(st.sampled_from([0.0, 4.0, -30.0, 200.0]))}, "want": ALL,
            "hints": {"columns": 9, "rows": 7, "cells": 9},
        }  # fmt: skip
        answer = bench.post("/api/look", json=body)
        assert answer.status_code in (200, 422), (answer.text, body)
        if answer.status_code == 200:
            assert set(ALL) <= set(answer.json())
        else:
            assert answer.json()["sentence"]

    ask()
