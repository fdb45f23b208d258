"""Text files are written whole or not at all."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from pinfolio.loaders.system.atomic_write import replace_text, write_new_text


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    replace_text(path, "µ\r\nnew\n")
    assert path.read_bytes() == "µ\r\nnew\n".encode()
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_is_not_there_yet_is_made(tmp_path: Path) -> None:
    path = tmp_path / "new.job"
    replace_text(path, "new\n")
    assert path.read_bytes() == b"new\n"
    assert list(tmp_path.iterdir()) == [path]


def test_behind_a_link_the_file_itself_is_replaced(tmp_path: Path) -> None:
    path, link = tmp_path / "chip.yaml", tmp_path / "link.yaml"
    path.write_text("old", encoding="utf-8")
    link.symlink_to(path)
    replace_text(link, "new")
    assert link.is_symlink()
    assert path.read_text(encoding="utf-8") == "new"


def test_what_fails_half_way_leaves_the_old_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        replace_text(path, "new \ud800")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_never_takes_the_place_of_another(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    write_new_text(path, "first")
    with pytest.raises(FileExistsError):
        write_new_text(path, "second")
    dangling = tmp_path / "dangling.yaml"
    dangling.symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileExistsError):
        write_new_text(dangling, "third")
    assert path.read_text(encoding="utf-8") == "first"
    assert not (tmp_path / "nowhere").exists()


def test_a_new_file_that_cannot_be_finished_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError):
        write_new_text(tmp_path / "chip.yaml", "new \ud800")
    assert list(tmp_path.iterdir()) == []


@contextmanager
def room_for(size: int) -> Iterator[None]:
    """Files can only be written up to this size; what is longer fails there."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_write_that_fails_half_way_leaves_nothing(tmp_path: Path) -> None:
    old, new = tmp_path / "old.yaml", tmp_path / "new.yaml"
    old.write_text("old", encoding="utf-8")
    with room_for(20_000):
        with pytest.raises(OSError, match="File too large"):
            write_new_text(new, "x" * 50_000)
        with pytest.raises(OSError, match="File too large"):
            replace_text(old, "x" * 50_000)
    assert list(tmp_path.iterdir()) == [old]
    assert old.read_text(encoding="utf-8") == "old"


STOPPED = """
import os, sys
from pathlib import Path
from pinfolio.loaders.whole_file import replace_text, write_new_text
os.fsync = lambda _: os.kill(os.getpid(), 9)
write = replace_text if sys.argv[2] == "replace" else write_new_text
write(Path(sys.argv[1]), "new" * 10_000)
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
    write_new_text(path, "first")
    with pytest.raises(FileExistsError):
        write_new_text(path, "second")
    assert path.read_text(encoding="utf-8") == "first"
    assert list(tmp_path.iterdir()) == [path]
