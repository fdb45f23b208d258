"""Several files change together, and nobody else's hidden folder is ever carried out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pinfolio.loaders.system import folder_changes
from pinfolio.loaders.system.folder_changes import (
    ForeignChangeError,
    LinkInFolderError,
    change_together,
    finish_changes,
    has_unfinished_change,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "bench"
    made.mkdir()
    return made


def raise_interrupt(folder: Path, monkeypatch: pytest.MonkeyPatch, **files: str) -> None:
    """Commit a change and stop before its files are moved into place, as a power cut would."""
    with monkeypatch.context() as patched:
        patched.setattr(folder_changes, "_move_committed", lambda folder: None)
        with change_together(folder) as staging:
            for name, text in files.items():
                (staging / "notes").mkdir(exist_ok=True)
                (staging / "notes" / name).write_text(text)


def test_files_come_into_place_and_nothing_hidden_is_left(folder: Path) -> None:
    with change_together(folder) as staging:
        (staging / "notes").mkdir()
        (staging / "notes" / "a").write_text("A")
        (staging / "b").write_text("B")
    assert (folder / "notes" / "a").read_text() == "A"
    assert sorted(path.name for path in folder.iterdir()) == ["b", "notes"]


def test_an_error_in_the_block_changes_nothing(folder: Path) -> None:
    def write_a_directory_over_a_file() -> None:
        with change_together(folder) as staging:
            (staging / "a").write_text("A")
            (staging / "a").mkdir()

    with pytest.raises(FileExistsError):
        write_a_directory_over_a_file()
    assert list(folder.iterdir()) == []


class TestInterrupted:
    def test_the_next_writer_finishes_its_own_change(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        raise_interrupt(folder, monkeypatch, a="A", b="B")
        assert has_unfinished_change(folder)
        assert not (folder / "notes").exists()
        with change_together(folder) as staging:
            assert (folder / "notes" / "a").read_text() == "A"
            (staging / "c").write_text("C")
        assert not has_unfinished_change(folder)
        assert (folder / "notes" / "b").read_text() == "B"

    def test_a_half_moved_change_is_finished(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        raise_interrupt(folder, monkeypatch, a="A", b="B")
        (folder / "notes").mkdir()
        (folder / ".merged" / "notes" / "a").rename(folder / "notes" / "a")
        finish_changes(folder)
        assert {p.name: p.read_text() for p in (folder / "notes").iterdir()} == {"a": "A", "b": "B"}
        assert not has_unfinished_change(folder)


class TestForeign:
    """A hidden folder that came with a clone, a stick or an archive."""

    def refused(self, folder: Path) -> None:
        before = sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))
        with pytest.raises(ForeignChangeError, match="not made on this computer"):
            finish_changes(folder)
        with (
            pytest.raises(ForeignChangeError, match="not made on this computer"),
            change_together(folder),
        ):
            pass
        assert sorted(str(p.relative_to(folder)) for p in folder.rglob("*")) == before

    def test_a_link_does_not_empty_the_folder_it_points_at(
        self, folder: Path, tmp_path: Path
    ) -> None:
        """Version 0.1 moved the target's files into the shop, from a command that only reads."""
        target = tmp_path / "holiday"
        target.mkdir()
        (target / "photo.jpg").write_text("mine")
        (folder / ".merged").symlink_to(target)
        self.refused(folder)
        assert (target / "photo.jpg").read_text() == "mine"
        assert [path.name for path in folder.iterdir()] == [".merged"]

    def test_a_hidden_folder_without_a_record(self, folder: Path) -> None:
        (folder / ".merged").mkdir()
        (folder / ".merged" / "shops.toml").write_text("")
        self.refused(folder)

    def test_a_record_of_another_computer(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        with monkeypatch.context() as elsewhere:
            elsewhere.setenv("XDG_STATE_HOME", str(tmp_path / "elsewhere"))
            raise_interrupt(folder, monkeypatch, a="A")
        self.refused(folder)

    @pytest.mark.parametrize("odd", ["changed", "added", "link", "relisted"])
    def test_files_that_the_record_does_not_list(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, odd: str
    ) -> None:
        raise_interrupt(folder, monkeypatch, a="A")
        hidden = folder / ".merged"
        if odd == "changed":
            (hidden / "notes" / "a").write_text("B")
        elif odd == "added":
            (hidden / "shops.toml").write_text("")
        elif odd == "link":
            (hidden / "notes" / "b").symlink_to("/etc/hostname")
        else:
            (hidden / "shops.toml").write_text("")
            record = (hidden / ".record").read_text().split("\n")
            digests = json.loads(record[1]) | {
                "shops.toml": folder_changes._digest(hidden / "shops.toml")
            }
            (hidden / ".record").write_text(f"{record[0]}\n{json.dumps(digests)}\n")
        self.refused(folder)


def test_nothing_is_written_through_a_link(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "outside").mkdir()
    (folder / "notes").symlink_to(tmp_path / "outside")

    def write_a_note() -> None:
        with change_together(folder) as staging:
            (staging / "notes").mkdir()
            (staging / "notes" / "a").write_text("A")

    with pytest.raises(LinkInFolderError, match="links are not followed"):
        write_a_note()
    assert list((tmp_path / "outside").iterdir()) == []
    assert [path.name for path in folder.iterdir()] == ["notes"]


def test_the_secret_is_for_its_owner_alone(
    folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    with change_together(folder) as staging:
        (staging / "a").write_text("A")
    assert (tmp_path / "pinfolio" / "changes.secret").stat().st_mode & 0o077 == 0
