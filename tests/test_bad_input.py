"""Every malformed input ends in one sentence that helps, exit code 2, and nothing written."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from bad_input_cases import CASES, CHECK, FIT, GOOD, Case
from shadewright.cli import _stem, main


def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: str) -> tuple[int, str, str]:
    """Exit code, output and error stream of the command line run in this process."""
    monkeypatch.setattr(sys, "argv", ["shadewright", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    captured = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, captured.out, captured.err


def documents(folder: Path, case: Case | None = None) -> None:
    """The good documents in a folder, with what a case replaces."""
    files = GOOD if case is None else {**GOOD, **case.files}
    for name, content in files.items():
        if content is not None:
            (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    if case is not None and case.prepare is not None:
        case.prepare(folder)


def listing(folder: Path) -> list[str]:
    """Everything in a folder and below, by name."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


@pytest.mark.parametrize("case", CASES, ids=[case.id for case in CASES])
def test_bad_input_ends_in_one_sentence(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    documents(tmp_path, case)
    monkeypatch.chdir(tmp_path)
    before = listing(tmp_path)
    code, out, err = run(capsys, monkeypatch, *case.command)
    assert code == 2
    assert out == ""
    assert err.startswith("shadewright: ")
    assert err.endswith(".\n")
    sentence = err.removeprefix("shadewright: ").removesuffix("\n")
    assert len(sentence.splitlines()) == 1, "the message has more than one line"
    assert sentence.isprintable(), "the message holds characters that cannot be seen"
    assert not re.search(r"[.!?] +[A-Z]", sentence), "the message has more than one sentence"
    assert "Traceback" not in sentence
    assert len(sentence) < 800
    if case.blames is not None:
        assert sentence.startswith(f"{case.blames}: ")
    for words in case.says:
        assert words in sentence
    assert listing(tmp_path) == before, "something was written"


def test_a_file_name_that_is_not_text_is_reported_by_the_real_command(tmp_path: Path) -> None:
    documents(tmp_path)
    words = [sys.executable, "-m", "shadewright.cli", "fit", b"lens\xe9.toml", "camera.toml", "hood.toml"]
    ended = subprocess.run([os.fsencode(word) for word in words], cwd=tmp_path, capture_output=True, timeout=60)
    assert ended.returncode == 2
    assert ended.stdout == b""
    assert re.fullmatch(rb"shadewright: lens\S+\.toml: no such file; check the name and the folder\.\n", ended.stderr)


def test_there_are_enough_cases_and_each_has_its_own_name() -> None:
    names = [case.id for case in CASES]
    assert len(set(names)) == len(names)
    assert len(names) >= 240
    spoilt = [(case.command, tuple(sorted(case.files.items())), case.prepare) for case in CASES]
    assert len(set(spoilt)) == len(spoilt), "two cases spoil the same thing"


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte-order-mark"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"], ids=["lf", "crlf"])
def test_the_documents_that_cases_spoil_are_good(
    mark: bytes, line_end: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without this, a case might fail for another reason than its own."""
    for name, text in GOOD.items():
        given = text.replace('shape = "petal"', "depth = 5.0")
        (tmp_path / name).write_bytes(mark + given.encode().replace(b"\n", line_end))
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, monkeypatch, *CHECK[:-2])
    assert (code, err) == (0, "")
    assert "clear" in out


def test_the_good_documents_fit_and_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    documents(tmp_path)
    monkeypatch.chdir(tmp_path)
    code, _out, err = run(capsys, monkeypatch, *FIT)
    assert (code, err) == (0, "")
    assert "out/tern-shade.toml" in listing(tmp_path)


def test_the_longest_name_of_a_hood_makes_a_file_name_in_any_script() -> None:
    assert len(f"{_stem('星' * 120)}-template.svg".encode()) <= 255
