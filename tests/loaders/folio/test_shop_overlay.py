"""A folio with the notes of a shop's folder over it, as a build from both would have them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.folio.folio_file import FolioError, check_folio_file
from pinfolio.loaders.folio.shop_overlay import write_with_shop_notes
from pinfolio.loaders.shop.note_files import add_note
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.schema import Chip
from pinfolio.schema.note import Note

FIELDS = {
    "id": "a" * 16, "kind": "remark", "shop": "bench-a", "author": "bench-a",
    "date": "2026-02-03", "chip": "AB12", "at": "pin 1", "text": "Warm.",
}  # fmt: skip


def make_note(**fields: object) -> Note:
    return Note.model_validate(FIELDS | fields)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "shop", "bench-a")


@pytest.fixture
def folio(tmp_path: Path, invented_chip: Callable[..., Chip]) -> Path:
    """A folio that has a note of the shop, one of another, and a proposal to that."""
    path = tmp_path / "folio.db"
    first = make_note(id="b" * 16, shop="bench-b", text="First.")
    head = make_note(id="b" * 16, shop="bench-b", text="Theirs.", follows=[first.digest])
    edit = make_note(id="b" * 16, shop="bench-c", text="Edited.", follows=[head.digest])
    build_from_chips([invented_chip()], path, notes=[make_note(), first, head, edit])
    return path


def read_texts(path: Path) -> set[str | None]:
    check_folio_file(path, afresh=True)
    with open_folio(path) as folio:
        notes = folio.notes("AB12")
        assert [note.text for note in folio.proposals(notes)] in ([], ["Edited."])
        assert folio.info.notes == len(notes)
        return {note.text for note in notes}


def test_the_folders_notes_are_over_the_folios_own(folio: Path, shop: Shop, tmp_path: Path) -> None:
    before, out = folio.read_bytes(), tmp_path / "out" / "folio.db"
    out.parent.mkdir()
    add_note(shop, make_note(id="c" * 16, text="Cracked joint.", at="pin 2"))
    write_with_shop_notes(folio, shop, out)
    assert read_texts(out) == {"Warm.", "Theirs.", "Cracked joint."}
    add_note(shop, make_note(text="Cold.", follows=[make_note().digest]))
    add_note(shop, make_note())
    write_with_shop_notes(folio, shop, out)
    assert read_texts(out) == {"Cold.", "Theirs.", "Cracked joint."}
    with open_folio(out) as opened:
        assert [note.text for note in opened.search_notes([["cracked"]])] == ["Cracked joint."]
        assert opened.search_notes([["warm"]]) == []
    assert folio.read_bytes() == before


def test_a_withdrawn_note_is_gone(folio: Path, shop: Shop, tmp_path: Path) -> None:
    add_note(shop, make_note())
    add_note(shop, make_note(text=None, withdrawn=True, follows=[make_note().digest]))
    write_with_shop_notes(folio, shop, tmp_path / "out.db")
    assert read_texts(tmp_path / "out.db") == {"Theirs."}


def test_another_state_of_the_notes_is_another_digest(
    folio: Path, shop: Shop, tmp_path: Path
) -> None:
    digests = set()
    for number in range(2):
        write_with_shop_notes(folio, shop, tmp_path / f"{number}.db")
        with open_folio(tmp_path / f"{number}.db") as opened:
            digests.add(opened.info.digest)
        add_note(shop, make_note(id="d" * 16, text="New."))
    assert len(digests) == 2


def test_an_unreadable_note_is_set_aside(folio: Path, shop: Shop, tmp_path: Path) -> None:
    (shop.notes / "bad.yaml").write_text("kind: gossip\n")
    set_aside: list[Fault] = []
    write_with_shop_notes(folio, shop, tmp_path / "out.db", set_aside)
    assert any("bad.yaml" in fault.file for fault in set_aside)


def test_a_damaged_folio_is_refused(folio: Path, shop: Shop, tmp_path: Path) -> None:
    folio.write_bytes(folio.read_bytes()[:-100])
    with pytest.raises(FolioError, match="cut short"):
        write_with_shop_notes(folio, shop, tmp_path / "out.db")
    assert not (tmp_path / "out.db").exists()
