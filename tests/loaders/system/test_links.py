"""Links are found wherever they are in a folder, and are never followed."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.system.links import find_link


@pytest.mark.parametrize("place", ["link", "a/link", "a/b/.link"])
def test_a_link_is_found_at_any_depth(tmp_path: Path, place: str) -> None:
    (tmp_path / "a" / "b").mkdir(parents=True)
    assert find_link(tmp_path) is None
    (tmp_path / place).symlink_to("/nowhere")
    assert find_link(tmp_path) == tmp_path / place


def test_a_loop_ends(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to(tmp_path)
    assert find_link(tmp_path) == tmp_path / "loop"


def test_the_folder_itself_may_be_a_link_and_version_control_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "real" / ".git").mkdir(parents=True)
    (tmp_path / "real" / ".git" / "link").symlink_to("/nowhere")
    (tmp_path / "shop").symlink_to(tmp_path / "real")
    assert find_link(tmp_path / "shop") is None
