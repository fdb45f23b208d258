"""Bundles: the same notes make the same bytes, and reading returns the notes that were shared."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from pinfolio.loaders.keys.signing_key import derive_public_key
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.note_files import add_note, format_stored_name
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop, open_shop
from pinfolio.schema.note import Note

KEY = bytes(range(32))  # a key for tests, so that a bundle of it has a known digest


def make_note(number: int = 1, **fields: Any) -> Note:
    whole = {
        "id": f"{'abcdefghij'[number % 10]}aaaaaaabbbbbbbb",
        "kind": "remark",
        "shop": "bench-a",
        "author": "anna",
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": f"Note {number}: 10 µF → dry.",
    }
    return Note.model_validate(whole | fields)


def make_attachment(data: bytes, name: str) -> dict[str, str]:
    return {"name": name, "sha256": hashlib.sha256(data).hexdigest()}


CSV = b"0,1.5\n1e-6,1.6\n"


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A shop with the key of the tests and three notes, one of them with an attachment."""
    folder = init_shop(tmp_path / "a", "bench-a").folder
    (folder / ".pinfolio-key").write_text(KEY.hex())
    public = derive_public_key(KEY).hex()
    (folder / "shop.toml").write_text(f'handle = "bench-a"\npublic_key = "{public}"\n')
    shop = open_shop(folder)
    add_note(shop, make_note(1))
    add_note(shop, make_note(2, chip="QZ2000", date="2026-01-02"))
    add_note(shop, make_note(3, attachments=[make_attachment(CSV, "trace.csv")]), [CSV])
    return shop


@pytest.fixture
def bundle(shop: Shop, tmp_path: Path) -> Path:
    write_bundle(shop, select_notes_to_share(shop), tmp_path / "a.bundle")
    return tmp_path / "a.bundle"


class TestSharing:
    def test_the_same_notes_make_the_same_bytes_on_every_machine(self, bundle: Path) -> None:
        digest = "03b99a7ab2efac0ad7da6079eb321559eca0a254ef5c3ef0b321399d4641d63d"
        assert hashlib.sha256(bundle.read_bytes()).hexdigest() == digest

    def test_it_is_an_ordinary_zip_of_the_members_described(self, bundle: Path) -> None:
        with zipfile.ZipFile(bundle) as archive:
            assert archive.testzip() is None
            names = archive.namelist()
            manifest = json.loads(archive.read("manifest.json"))
        csv = f"attachments/{hashlib.sha256(CSV).hexdigest()}.csv"
        assert names == ["manifest.json", "signature", "notes.jsonl", csv]
        assert [member["name"] for member in manifest["members"]] == names[2:]

    def test_what_is_read_is_what_was_shared(self, shop: Shop, bundle: Path) -> None:
        read = read_bundle(bundle)
        assert list(read.notes) == select_notes_to_share(shop)
        assert read.manifest.shop == "bench-a"
        assert read.is_complete
        assert read.read_attachment(
            format_stored_name(
                make_note(attachments=[make_attachment(CSV, "t.csv")]).attachments[0]
            )
        )

    def test_notes_are_chosen_by_chip_and_by_day(self, shop: Shop) -> None:
        assert [note.chip for note in select_notes_to_share(shop, chip="qz-2000")] == ["QZ2000"]
        assert len(select_notes_to_share(shop, since="2026-11-25")) == 2
        assert select_notes_to_share(shop, chip="QZ2000", since="2026-11-25") == []

    def test_a_changed_note_is_shared_with_all_its_revisions(self, shop: Shop) -> None:
        first = make_note(2, chip="QZ2000", date="2026-01-02")
        edit = make_note(2, chip="QZ2000", text="Better.", follows=[first.digest])
        add_note(shop, edit)
        assert {first.digest, edit.digest} <= {
            note.digest for note in select_notes_to_share(shop, since="2026-11-25")
        }

    def test_a_part_of_the_notes_is_known_as_a_part(self, shop: Shop, tmp_path: Path) -> None:
        write_bundle(shop, select_notes_to_share(shop, chip="QZ2000"), tmp_path / "part")
        assert not read_bundle(tmp_path / "part").is_complete

    def test_an_attachment_that_was_changed_is_not_shared(self, shop: Shop, tmp_path: Path) -> None:
        (path,) = (shop.notes / "attachments").iterdir()
        path.write_bytes(CSV + b"2e-6,1.7\n")
        with pytest.raises(ShopError, match="was changed since it was attached"):
            write_bundle(shop, select_notes_to_share(shop), tmp_path / "x")
        assert not (tmp_path / "x").exists()

    def test_where_it_cannot_be_written_nothing_is_left(self, shop: Shop, tmp_path: Path) -> None:
        with pytest.raises(ShopError, match="cannot be written"):
            write_bundle(shop, select_notes_to_share(shop), tmp_path / "no" / "x")
