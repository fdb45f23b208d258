"""Files arrive once they are complete: with their end mark, or unchanged for three looks."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from pinfolio.loaders.system.arriving_files import ArrivingFiles

NAMES = re.compile(r".*\.txt")


def has_end(path: Path) -> bool:
    return path.read_bytes().endswith(b".")


@pytest.fixture
def arriving(tmp_path: Path) -> ArrivingFiles:
    (tmp_path / "old.txt").write_text("There before.")
    return ArrivingFiles(tmp_path, NAMES, has_end)


def test_a_complete_file_arrives_once(arriving: ArrivingFiles, tmp_path: Path) -> None:
    assert (arriving.look(), arriving.already_there) == ([], 1)
    (tmp_path / "new.txt").write_text("All.")
    (tmp_path / "other.part").write_text("All.")
    assert arriving.look() == [tmp_path / "new.txt"]
    assert arriving.look() == []


def test_a_half_written_file_waits_for_its_end(arriving: ArrivingFiles, tmp_path: Path) -> None:
    path = tmp_path / "new.txt"
    for text in ("", "Ha", "Half", "Half of"):
        path.write_text(text)
        assert arriving.look() == []
    path.write_text("Half of it and the rest.")
    assert arriving.look() == [path]


def test_a_file_without_an_end_arrives_when_it_rests(
    arriving: ArrivingFiles, tmp_path: Path
) -> None:
    (tmp_path / "new.txt").write_text("No full stop")
    assert [len(arriving.look()) for _ in range(5)] == [0, 0, 1, 0, 0]


def test_a_file_that_is_written_again_arrives_again(
    arriving: ArrivingFiles, tmp_path: Path
) -> None:
    (tmp_path / "old.txt").write_text("There before, and mended.")
    assert arriving.look() == [tmp_path / "old.txt"]


def test_links_pipes_and_folders_never_arrive(arriving: ArrivingFiles, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.txt")
    (tmp_path / "link.txt").symlink_to(tmp_path / "old.txt")
    (tmp_path / "folder.txt").mkdir()
    assert [arriving.look() for _ in range(4)] == [[]] * 4


def test_a_folder_that_goes_away_is_an_error(arriving: ArrivingFiles, tmp_path: Path) -> None:
    (tmp_path / "old.txt").unlink()
    tmp_path.rmdir()
    with pytest.raises(OSError, match="No such file"):
        arriving.look()
