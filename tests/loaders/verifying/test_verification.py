"""The document of a verification, and that nothing is written by it."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from pinfolio.loaders.publishing.download_signature import expect_signature
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.loaders.verifying.verification import CannotVerify, verify


def take_snapshot(*folders: Path) -> dict[Path, tuple[int, bytes]]:
    """Time of change and bytes of every file and folder."""
    return {
        path: (path.stat().st_mtime_ns, path.read_bytes() if path.is_file() else b"")
        for folder in folders
        for path in sorted(folder.rglob("*"))
    }


def test_nothing_is_written_anywhere(
    shop: Shop, public: Path, folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither there nor in the user's folders, where other commands note what they have seen."""
    home = tmp_path / "home"
    for name in ("CACHE", "STATE", "DATA", "CONFIG"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home))
    long_ago = time.time() - 1000  # a younger folio is never noted
    os.utime(folio, (long_ago, long_ago))
    before = take_snapshot(tmp_path, folio.parent)
    assert all(verify(path)["sound"] for path in (folio, shop.folder, public))
    assert take_snapshot(tmp_path, folio.parent) == before
    assert not home.exists()


def test_the_document_says_how_much_was_read(shop: Shop, public: Path, folio: Path) -> None:
    assert verify(folio) == {
        "path": str(folio),
        "sort": "folio",
        "sound": True,
        "read": {"bytes": folio.stat().st_size},
        "damages": [],
    }
    assert verify(shop.folder)["read"] == {"notes": 2, "attachments": 1}
    assert verify(public)["read"] == {"files": 8}


@pytest.mark.parametrize(
    ("offset", "found"),
    [
        (50_000, "the folio is damaged (its bytes were changed after it was built)"),
        (68, "not a folio"),  # application id: SQLite's file format, section 1.3.16
        (63, "the folio has schema version 2, but this pinfolio reads 3"),  # 1.3.15
    ],
)
def test_a_changed_folio(folio: Path, tmp_path: Path, offset: int, found: str) -> None:
    path = tmp_path / "changed.db"
    data = bytearray(folio.read_bytes())
    data[offset] ^= 1
    path.write_bytes(data)
    document = verify(path)
    assert not document["sound"]
    (damage,) = document["damages"]
    assert (damage["file"], damage["found"]) == (str(path), found)
    assert "pinfolio build" in damage["expected"]


def test_a_folio_that_was_verified_today_is_read_again(folio: Path, tmp_path: Path) -> None:
    """A disk that loses bits by itself changes no time of the file."""
    path = tmp_path / "worn.db"
    path.write_bytes(folio.read_bytes())
    assert verify(path)["sound"]
    status = path.stat()
    with path.open("r+b") as file:
        file.seek(50_000)
        byte = file.read(1)
        file.seek(50_000)
        file.write(bytes([byte[0] ^ 1]))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert not verify(path)["sound"]


def test_what_cannot_be_verified_is_refused(
    tmp_path: Path, folio: Path, shop: Shop, signer: Shop
) -> None:
    with pytest.raises(CannotVerify, match="no such file; name"):
        verify(tmp_path / "nowhere.db")
    (tmp_path / "empty").mkdir()
    with pytest.raises(CannotVerify, match="neither a shop's folder nor a published one"):
        verify(tmp_path / "empty")
    for path in (folio, shop.folder):
        with pytest.raises(CannotVerify, match="leave out --from-shop"):
            verify(path, expect_signature("bench-s", signer.public_key))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are POSIX")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.db")
    with pytest.raises(CannotVerify, match="not a regular file"):
        verify(tmp_path / "pipe.db")
