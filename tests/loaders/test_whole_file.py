"""Text files are written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.whole_file import replace_text, write_new_text


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "chip.yaml"
    path.write_text("old", encoding="utf-8")
    replace_text(path, "µ\r\nnew\n")
    assert path.read_bytes() == "µ\r\nnew\n".encode()
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
