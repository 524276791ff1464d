"""Every malformed lens description ends in one sentence that helps: malformed by hand, and at random."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lens_file_cases import CASES, GOOD, Case
from shadewright.errors import DocumentError, FileError
from shadewright.model.lens_files import kind_of_text, read_prescription, read_with_notes
from shadewright.model.prescription import Prescription


def refusal(path: Path) -> str:
    """The sentence by which a description is refused; empty where it is read."""
    try:
        assert isinstance(read_prescription(path), Prescription)
    except (DocumentError, FileError) as error:
        return str(error)
    return ""


def assert_one_sentence(text: str) -> None:
    """One printable line that ends with a full stop and is not endless."""
    assert text.isprintable(), text
    assert text.endswith("."), text
    assert len(text) < 900, text
    assert not re.search(r"[.!?] +[A-Z]", text), text
    assert "Traceback" not in text


@pytest.mark.parametrize("name", GOOD)
def test_the_good_descriptions_are_read(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(GOOD[name], "utf-8")
    assert refusal(tmp_path / name) == ""


@pytest.mark.parametrize("case", CASES, ids=[case.id for case in CASES])
def test_a_malformed_description_is_refused_in_one_helpful_sentence(case: Case, tmp_path: Path) -> None:
    path = tmp_path / case.name
    path.write_bytes(case.content.encode() if isinstance(case.content, str) else case.content)
    said = refusal(path)
    assert said.startswith(f"{path}: ")
    assert_one_sentence(said.replace(str(path), case.name))
    for words in case.says:
        assert words in said, said


def test_there_are_enough_cases_and_each_has_its_own_name() -> None:
    assert len({case.id for case in CASES}) == len(CASES) >= 120
    for form in ("toml", "dat", "zmx", "seq", "json"):
        assert sum(case.id.startswith(f"{form}-") for case in CASES) >= 20


@pytest.mark.parametrize(("name", "says"), [("gone.zmx", "no such file"), (".", "is a folder"), ("a\x00b.dat", "cannot be the name")])
def test_a_file_that_is_not_there_is_refused(name: str, says: str, tmp_path: Path) -> None:
    with pytest.raises(FileError, match=says):
        read_with_notes(tmp_path / name)


# --- at random ------------------------------------------------------------------------------------------------

TOKENS = st.sampled_from(
    ["0", "-1", "1e308", "nan", "inf", "1e-300", "INFINITY", '""', "S1", "MIRROR", "999999", "é", "1_0", "0x10", "", "STOP", "STO", "GLAS X", ";", "&", "!"]
) | st.floats(width=32).map(str) | st.text(max_size=6)  # fmt: skip


@st.composite
def spoilt(draw: st.DrawFn, text: str) -> str:
    """A good description with lines left out, doubled, cut, or with other words in them."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["word", "drop", "double", "cut", "swap"]))
        words = lines[at].split(" ")
        if what == "word":
            words[draw(st.integers(0, len(words) - 1))] = draw(TOKENS)
            lines[at] = " ".join(words)
        elif what == "drop" and len(lines) > 1:
            lines.pop(at)
        elif what == "double":
            lines.insert(at, lines[at])
        elif what == "cut":
            lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
        else:
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
    return "\n".join(lines)


@pytest.mark.parametrize("name", ["lens.dat", "lens.zmx", "lens.seq", "lens.toml", "lens.json"])
@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_a_description_spoilt_at_random_is_read_or_refused_in_one_sentence(
    name: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / f"spoilt-{name}"
    path.write_text(data.draw(spoilt(GOOD[name])), "utf-8", errors="replace")
    if said := refusal(path):
        assert_one_sentence(said.replace(str(path), name))


@given(st.binary(max_size=400), st.sampled_from(["dat", "zmx", "seq", "json", "toml", "txt"]))
@settings(max_examples=250, deadline=None)
def test_any_bytes_are_refused_in_one_sentence(tmp_path_factory: pytest.TempPathFactory, content: bytes, ending: str) -> None:
    path = tmp_path_factory.getbasetemp() / f"any.{ending}"
    path.write_bytes(content)
    said = refusal(path)
    assert_one_sentence(said.replace(str(path), "any"))


ODD: list[Any] = [None, True, 0, -1, 1e308, float("inf"), float("nan"), "", "x", [], {}, [1], {"a": 1}, 10**400]


def places(tree: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value of a tree."""
    found = [here] if here else []
    entries = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in entries:
        found += places(value, (*here, key))
    return found


def test_any_field_of_the_json_with_any_odd_value_is_read_or_refused_in_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    refused = 0
    for place in places(json.loads(GOOD["lens.json"])):
        for odd in ODD:
            tree = json.loads(GOOD["lens.json"])
            node = tree
            for key in place[:-1]:
                node = node[key]
            node[place[-1]] = odd
            path.write_text(json.dumps(tree), "utf-8")
            if said := refusal(path):
                refused += 1
                assert_one_sentence(said.replace(str(path), "odd.json"))
    assert refused > 400


@pytest.mark.parametrize(
    ("name", "kind"),
    [("lens.dat", "dat"), ("lens.zmx", "zmx"), ("lens.seq", "seq"), ("lens.json", "json"), ("lens.toml", "toml")],
)
def test_a_description_is_known_by_its_content_whatever_it_is_called(name: str, kind: str) -> None:
    assert kind_of_text(GOOD[name]) == kind
    assert kind_of_text(GOOD[name], "txt") == kind
