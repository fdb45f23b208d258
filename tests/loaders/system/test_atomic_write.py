"""``write_atomically`` leaves the old file or the new one, never part of one."""

from __future__ import annotations

import os
import resource
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from pinfolio.loaders.system.atomic_write import WrongKindError, write_atomically


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    write_atomically(path, "µ\r\nnew\n")
    assert path.read_bytes() == "µ\r\nnew\n".encode()
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_is_not_there_yet_is_made(tmp_path: Path) -> None:
    path = tmp_path / "new.job"
    write_atomically(path, "new\n")
    assert path.read_bytes() == b"new\n"
    assert list(tmp_path.iterdir()) == [path]


def test_behind_a_link_the_file_itself_is_replaced(tmp_path: Path) -> None:
    path, link = tmp_path / "chip.yaml", tmp_path / "link.yaml"
    path.write_text("old", encoding="utf-8")
    link.symlink_to(path)
    write_atomically(link, "new")
    assert link.is_symlink()
    assert path.read_text(encoding="utf-8") == "new"


def test_bytes_are_written_as_they_are(tmp_path: Path) -> None:
    write_atomically(tmp_path / "image.png", b"\x89PNG\r\n")
    assert (tmp_path / "image.png").read_bytes() == b"\x89PNG\r\n"


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    def is_svg(path: Path) -> bool:
        return path.read_bytes().startswith(b"<svg")

    path = tmp_path / "chip.yaml"
    path.write_text("part: QZ5710\n", encoding="utf-8")
    with pytest.raises(WrongKindError, match="another kind"):
        write_atomically(path, "<svg/>", is_replaceable=is_svg)
    assert path.read_text(encoding="utf-8") == "part: QZ5710\n"
    assert list(tmp_path.iterdir()) == [path]
    path.write_bytes(b"")
    for content in ("<svg/>", "<svg>new</svg>"):  # over an empty file, then over its own kind
        write_atomically(path, content, is_replaceable=is_svg)
        assert path.read_text(encoding="utf-8") == content


def test_a_device_is_written_to_and_never_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_atomically(pipe, "<svg/>")
        assert os.read(reader, 100) == b"<svg/>"
    finally:
        os.close(reader)
    assert pipe.is_fifo()


def test_file_and_folder_are_synced_around_the_rename(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """POSIX promises neither the bytes nor the new name without fsync (IEEE 1003.1, fsync)."""
    synced: list[tuple[bool, str]] = []
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")

    def note(descriptor: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
        synced.append((is_folder, path.read_text(encoding="utf-8")))

    monkeypatch.setattr(os, "fsync", note)
    write_atomically(path, "new")
    assert synced == [(False, "old"), (True, "new")]


def test_permissions_stay(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    path.chmod(0o600)
    write_atomically(path, "new")
    assert path.stat().st_mode & 0o777 == 0o600


def test_what_fails_half_way_leaves_the_old_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        write_atomically(path, "new \ud800")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_never_takes_the_place_of_another(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    write_atomically(path, "first", overwrite=False)
    with pytest.raises(FileExistsError):
        write_atomically(path, "second", overwrite=False)
    dangling = tmp_path / "dangling.yaml"
    dangling.symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileExistsError):
        write_atomically(dangling, "third", overwrite=False)
    assert path.read_text(encoding="utf-8") == "first"
    assert not (tmp_path / "nowhere").exists()


def test_a_new_file_that_cannot_be_finished_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError):
        write_atomically(tmp_path / "chip.yaml", "new \ud800", overwrite=False)
    assert list(tmp_path.iterdir()) == []


@contextmanager
def limit_file_size(size: int) -> Iterator[None]:
    """Files can only be written up to this size; longer ones fail there."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_write_that_fails_half_way_leaves_nothing(tmp_path: Path) -> None:
    old, new = tmp_path / "old.yaml", tmp_path / "new.yaml"
    old.write_text("old", encoding="utf-8")
    with limit_file_size(20_000):
        with pytest.raises(OSError, match="File too large"):
            write_atomically(new, "x" * 50_000, overwrite=False)
        with pytest.raises(OSError, match="File too large"):
            write_atomically(old, "x" * 50_000)
    assert list(tmp_path.iterdir()) == [old]
    assert old.read_text(encoding="utf-8") == "old"


STOPPED = """
import os, sys
from pathlib import Path
from pinfolio.loaders.system.atomic_write import write_atomically
os.fsync = lambda _: os.kill(os.getpid(), 9)
write_atomically(Path(sys.argv[1]), "new" * 10_000, overwrite=sys.argv[2] == "replace")
"""


@pytest.mark.parametrize(("how", "left"), [("replace", "old"), ("new", None)])
def test_a_program_killed_while_it_writes_leaves_what_was_there(
    tmp_path: Path, how: str, left: str | None
) -> None:
    path = tmp_path / "chip.yaml"
    if left is not None:
        path.write_text(left, encoding="utf-8")
    ended = subprocess.run([sys.executable, "-c", STOPPED, path, how], check=False)
    assert ended.returncode == -signal.SIGKILL
    assert (path.read_text(encoding="utf-8") if path.exists() else None) == left
    assert list(tmp_path.glob("*.yaml")) == [path] * (left is not None)


def test_without_second_names_for_files_a_new_file_is_renamed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "link", refused)
    path = tmp_path / "chip.yaml"
    write_atomically(path, "first", overwrite=False)
    with pytest.raises(FileExistsError):
        write_atomically(path, "second", overwrite=False)
    assert path.read_text(encoding="utf-8") == "first"
    assert list(tmp_path.iterdir()) == [path]
