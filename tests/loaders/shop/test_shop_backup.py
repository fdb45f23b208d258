"""Backups of a shop's key: restored into clones and new folders, and refused."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from pinfolio.loaders.keys.key_backup import BackupError
from pinfolio.loaders.shop.note_files import add_note
from pinfolio.loaders.shop.shop_backup import restore_backup, write_backup
from pinfolio.loaders.shop.shop_devices import (
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, ShopError

from .shop_computers import (
    clone_folder,
    make_caution,
    merge_bundles,
    read_texts,
    share_notes,
)

WORDS = "a solder joint in May"


class TestBackup:
    def test_it_is_restored_into_a_clone_and_into_a_new_folder(
        self, desk: Shop, laptop: Shop, tmp_path: Path
    ) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        for folder in (clone_folder(desk, "clone").folder, tmp_path / "new"):
            shop = restore_backup(tmp_path / "x.backup", folder, WORDS)
            assert shop.load_private_key() == desk.load_private_key()
            assert shop.load_keys() == desk.load_keys()
            assert stat.S_IMODE((folder / KEY_FILE).stat().st_mode) == 0o600

    def test_lost_notes_come_back_from_shared_bundles(
        self, desk: Shop, other: Shop, tmp_path: Path
    ) -> None:
        """The restored computer has fewer notes than its key signed before, and is heard."""
        write_backup(desk, tmp_path / "x.backup", WORDS)
        add_note(desk, make_caution("bench-a", "More.", "m"))
        merge_bundles(other, share_notes(desk))
        restored = restore_backup(tmp_path / "x.backup", tmp_path / "new", WORDS)
        add_note(restored, make_caution("bench-a", "After the loss.", "n"))
        merge_bundles(other, share_notes(restored))
        assert "After the loss." in read_texts(other)

    def test_a_backup_of_an_older_key_is_refused(self, desk: Shop, tmp_path: Path) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        rotate_key(desk)
        with pytest.raises(ShopError, match="the shop changed this key for another"):
            restore_backup(tmp_path / "x.backup", clone_folder(desk, "clone").folder, WORDS)

    def test_a_key_in_use_and_another_shops_folder_are_left_alone(
        self, desk: Shop, laptop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        before = laptop.load_private_key()
        with pytest.raises(ShopError, match="a key in use is here"):
            restore_backup(tmp_path / "x.backup", laptop.folder, WORDS)
        with pytest.raises(ShopError, match="the backup is of another shop"):
            restore_backup(tmp_path / "x.backup", other.folder, WORDS)
        assert laptop.load_private_key() == before

    def test_no_other_file_is_written_over(self, desk: Shop, tmp_path: Path) -> None:
        for path in (desk.folder / "shop.toml", desk.folder / KEY_FILE):
            before = path.read_bytes()
            with pytest.raises(ShopError, match="another file is here"):
                write_backup(desk, path, WORDS)
            assert path.read_bytes() == before

    def test_what_is_no_backup_makes_no_shop(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_text("{}")
        with pytest.raises(BackupError, match="not a backup of a shop's key"):
            restore_backup(tmp_path / "x", tmp_path / "new", WORDS)
        assert not (tmp_path / "new").exists()
