"""Files are written whole or not at all, and read within limits."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from shadewright.errors import FileError
from shadewright.files import DOCUMENT_LIMIT, MESH_LIMIT, is_there, read_limited, write_whole

OLD, NEW = b"old " * 5000, b"new, and longer " * 5000


class Interrupted(KeyboardInterrupt):
    """Somebody presses Ctrl-C at this very moment."""


def names(folder: Path) -> list[str]:
    """Everything in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


# --- whole ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("content", [b"", b"\x00\xff", "text, für 星\n", OLD], ids=["empty", "bytes", "text", "long"])
def test_what_is_written_is_read_back(content: bytes | str, tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "file.toml"
    assert write_whole(path, content) == path
    assert path.read_bytes() == (content.encode() if isinstance(content, str) else content)
    assert names(path.parent) == ["file.toml"]


def test_line_ends_stay_as_they_are(tmp_path: Path) -> None:
    assert write_whole(tmp_path / "file", "a\r\nb\n").read_bytes() == b"a\r\nb\n"


def test_the_longest_name_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / ("n" * 255)
    write_whole(path, OLD)
    write_whole(path, NEW)
    assert path.read_bytes() == NEW


STEPS = ["fsync", "replace", "chmod", "fdopen", "mkstemp"]


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("exists", [True, False], ids=["over-a-file", "new"])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), Interrupted()], ids=["full", "ctrl-c"])
def test_an_interruption_leaves_the_old_file_whole_and_nothing_else(
    step: str, exists: bool, error: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file.toml"
    if exists:
        path.write_bytes(OLD)

    def fails(*_args: object, **_more: object) -> None:
        raise error

    owner = {"fsync": os, "fdopen": os, "replace": Path, "chmod": Path}.get(step)
    if owner is None:
        monkeypatch.setattr("tempfile.mkstemp", fails)
    else:
        monkeypatch.setattr(owner, step, fails)
    if isinstance(error, OSError):
        with pytest.raises(FileError, match=r"file\.toml: cannot be written \(no space left on device\); choose another"):
            write_whole(path, NEW)
    else:
        with pytest.raises(Interrupted):
            write_whole(path, NEW)
    monkeypatch.undo()
    assert names(tmp_path) == (["file.toml"] if exists else [])
    assert not exists or path.read_bytes() == OLD


def test_a_half_written_content_is_never_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the moment before the rename the old file is still the old one, and the new content is complete beside it."""
    path = tmp_path / "file.toml"
    path.write_bytes(OLD)
    seen: list[tuple[bytes, bytes]] = []
    replace = Path.replace

    def watched(self: Path, target: Path) -> Path:
        seen.append((path.read_bytes(), self.read_bytes()))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", watched)
    write_whole(path, NEW)
    assert seen == [(OLD, NEW)]
    assert path.read_bytes() == NEW


def test_what_is_renamed_has_reached_the_disc(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    fsync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (order.append(f"fsync {os.fstat(handle).st_size}"), fsync(handle)))
    monkeypatch.setattr(Path, "replace", lambda self, target: (order.append("rename"), replace(self, target))[1])
    write_whole(tmp_path / "file", NEW)
    assert order == [f"fsync {len(NEW)}", "rename"]


WRITER = """
import sys
from pathlib import Path
from shadewright.files import write_whole
path, count = Path(sys.argv[1]), 0
print("ready", flush=True)
while True:
    count += 1
    write_whole(path, (f"{count:08d}\\n" * 150_000).encode())
"""
LINES = 150_000


def test_a_process_killed_while_writing_leaves_a_whole_file(tmp_path: Path) -> None:
    """Killed outright at many moments: whatever is there is one version, complete, and never a mixture.

    At least 24 kills, and more until some fell within a write and some version was completed.
    """
    path = tmp_path / "file.txt"
    versions = set()
    left_over = 0
    for turn in range(200):
        if turn >= 24 and versions and left_over:
            break
        with subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            assert writer.stdout.readline() == b"ready\n"
            time.sleep(0.002 + 0.0031 * turn % 0.2)
            writer.send_signal(signal.SIGKILL)
            assert writer.wait(timeout=30) == -signal.SIGKILL
        parts = [name for name in names(tmp_path) if name != "file.txt"]
        assert all(name.startswith(".writing-") and name.endswith(".part") for name in parts)
        assert len(parts) <= 1
        left_over += len(parts)
        for name in parts:
            (tmp_path / name).unlink()
        if path.exists():
            content = path.read_bytes()
            assert content == content[:9] * LINES
            versions.add(content[:9])
    assert versions, "no version was ever completed: the kills came too early to prove anything"
    assert left_over, "no kill fell within a write: the kills came too late to prove anything"


def test_readers_never_see_a_part_while_a_writer_is_at_work(tmp_path: Path) -> None:
    path = tmp_path / "file.txt"
    write_whole(path, b"0" * 100_000)
    done = threading.Event()

    def write() -> None:
        for turn in range(60):
            write_whole(path, str(turn % 10).encode() * 100_000)
        done.set()

    writer = threading.Thread(target=write)
    writer.start()
    looks = 0
    while not done.is_set():
        content = path.read_bytes()
        assert content == content[:1] * 100_000
        looks += 1
    writer.join()
    assert looks > 10


# --- permissions and places -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_a_new_file_has_the_usual_permissions(mask: int, mode: int, tmp_path: Path) -> None:
    before = os.umask(mask)
    try:
        path = write_whole(tmp_path / "file", OLD)
        assert os.umask(mask) == mask, "the mask of the process was changed"
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == mode


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o444, 0o755])
def test_a_file_written_over_keeps_its_permissions(mode: int, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(OLD)
    path.chmod(mode)
    write_whole(path, NEW)
    assert path.read_bytes() == NEW
    assert stat.S_IMODE(path.stat().st_mode) == mode


def test_the_temporary_file_is_nobody_elses_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    modes = []
    fsync = os.fsync
    monkeypatch.setattr(
        os, "fsync", lambda handle: (modes.append(stat.S_IMODE(os.fstat(handle).st_mode)), fsync(handle))
    )
    write_whole(tmp_path / "file", NEW)
    assert modes == [0o600]


@pytest.mark.parametrize("below", ["out/file.toml", "out/deeper/file.toml"])
def test_a_file_in_place_of_the_folder_is_named_and_left_alone(below: str, tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(OLD)
    with pytest.raises(FileError, match=r"part of its path is a file and not a folder; choose another folder\.$") as refused:
        write_whole(tmp_path / below, NEW)
    assert str(tmp_path / below) in str(refused.value)
    assert (tmp_path / "out").read_bytes() == OLD
    assert names(tmp_path) == ["out"]


def test_a_folder_in_place_of_the_file_is_named_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "file.toml").mkdir()
    (tmp_path / "file.toml" / "kept").write_bytes(OLD)
    with pytest.raises(FileError, match=r"file\.toml: is a folder, so no file can be written there"):
        write_whole(tmp_path / "file.toml", NEW)
    assert names(tmp_path) == ["file.toml"]
    assert names(tmp_path / "file.toml") == ["kept"]


def test_a_pipe_is_not_replaced_by_a_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="pipe: is not an ordinary file, so it is not written over"):
        write_whole(tmp_path / "pipe", NEW)
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


def test_a_name_too_long_to_write_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="file name too long"):
        write_whole(tmp_path / ("n" * 256), NEW)
    assert names(tmp_path) == []


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a file system that takes no files")
def test_a_folder_that_takes_no_files_is_refused() -> None:
    """Where even root may not write: permissions bind everybody else in the same way."""
    with pytest.raises(FileError, match=r"^/proc/self/file\.toml: cannot be written \(.*\); choose another folder or name\.$"):
        write_whole(Path("/proc/self/file.toml"), NEW)


# --- reading --------------------------------------------------------------------------------------------------


def test_a_file_of_the_limit_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"x" * 1000)
    assert read_limited(path, 1000) == b"x" * 1000
    with pytest.raises(FileError, match=r"is 1,000 bytes long, more than the 999 that are read; use a smaller file\.$"):
        read_limited(path, 999)


def test_a_giant_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "giant"
    with path.open("wb") as stream:
        stream.truncate(1 << 42)
    started = time.perf_counter()
    with pytest.raises(FileError, match=r"4,398,046,511,104 bytes"):
        read_limited(path, MESH_LIMIT)
    assert time.perf_counter() - started < 1.0


def test_a_file_that_says_it_is_empty_and_is_not_is_limited_too(tmp_path: Path) -> None:
    """Files of the system, and files that grow, hold more than their size says."""
    system = Path("/proc/self/maps")
    if not system.exists():
        pytest.fail("this test needs a file whose size is told as 0")
    assert system.stat().st_size == 0
    assert read_limited(system, DOCUMENT_LIMIT)
    with pytest.raises(FileError, match="more than the 10 that are read"):
        read_limited(system, 10)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("gone", "no such file; check the name and the folder"),
        ("file/inside", "part of its path is not a folder"),
        ("folder", "is a folder, not a file"),
        ("pipe", "is not an ordinary file"),
        ("loop", "cannot be read"),
        ("broken", "no such file"),
        ("n" * 300, "file name too long"),
        ("a\0b", "cannot be the name of a file"),
    ],
)
def test_what_cannot_be_read_is_named_with_the_reason(name: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(OLD)
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "broken").symlink_to("gone")
    with pytest.raises(FileError) as refused:
        read_limited(tmp_path / name, 100_000)
    assert str(refused.value).startswith(f"{tmp_path / name}: ")
    assert words in str(refused.value)
    assert str(refused.value).endswith(".")


def test_what_is_there_is_told_from_what_is_not(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "broken").symlink_to("gone")
    found = {name: is_there(tmp_path / name) for name in ("file", "broken", "gone", "n" * 300, "a\0b", "file/inside")}
    assert [name for name, there in found.items() if there] == ["file", "broken"]
