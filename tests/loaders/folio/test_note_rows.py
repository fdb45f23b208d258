"""Notes in a folio: the newest of each, on their pins, found by words, and part of its digest."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.folio.folio_file import FolioError
from pinfolio.loaders.shop.note_files import NoteFileError, add_note, format_note
from pinfolio.loaders.shop.shop_folder import init_shop
from pinfolio.schema import Chip
from pinfolio.schema.note import Note

ChipMaker = Callable[..., Chip]


def note(letter: str, **more: object) -> Note:
    fields: dict[str, object] = {"id": letter * 16, "kind": "remark", "shop": "bench-one"}
    fields |= {"author": "ann", "date": "2026-02-03", "chip": "AB12", "at": "pin 1"}
    return Note.model_validate(fields | {"text": f"Remark {letter}"} | more)


def make_fault_note(letter: str, symptom: str, **more: object) -> Note:
    return note(letter, kind="fault and remedy", symptom=symptom, cure="New part.", **more)


def build_with_notes(folder: Path, chips: list[Chip], notes: list[Note]) -> Path:
    build_from_chips(chips, folder / "folio.db", notes=notes)
    return folder / "folio.db"


def test_notes_of_a_chip_and_of_a_pin(tmp_path: Path, invented_chip: ChipMaker) -> None:
    at_block = note("b", at="sync-separator", date="2026-02-04")
    path = build_with_notes(
        tmp_path, [invented_chip("AB12")], [note("a"), at_block, note("c", chip="ZZ9")]
    )
    with open_folio(path) as folio:
        assert folio.info.notes == 3
        assert folio.notes("AB12") == [at_block, note("a")]
        assert folio.notes("AB12", ["pin 1"]) == [note("a")]
        assert folio.notes("AB12", ["pin 11"]) == []
        assert folio.notes("AB12", []) == []
        assert folio.notes("AB12", ["pin 1", "sync-separator"], limit=1) == [at_block]
        assert [found.chip for found in folio.latest_notes(1)] == ["AB12"]


def test_the_best_confirmed_come_first_then_the_newest(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    old, new = note("a"), note("b", date="2026-02-09")
    often = note("c", confidence="always", date="2020-01-01")
    many = note("d", sets=4, date="2021-01-01")
    path = build_with_notes(tmp_path, [invented_chip("AB12")], [old, new, often, many])
    with open_folio(path) as folio:
        assert folio.notes("AB12") == [often, many, new, old]


def test_only_the_newest_revision_and_nothing_taken_back(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    first, gone = note("a"), note("b")
    second = note("a", follows=[first.digest], text="Better said.")
    withdrawn = note("b", follows=[gone.digest], withdrawn=True)
    path = build_with_notes(tmp_path, [invented_chip("AB12")], [first, second, gone, withdrawn])
    with open_folio(path) as folio:
        assert folio.notes("AB12") == [second]


def test_a_conflict_is_there_in_both_revisions(tmp_path: Path, invented_chip: ChipMaker) -> None:
    first = note("a")
    edits = [note("a", follows=[first.digest], text=text) for text in ("One.", "Two.")]
    path = build_with_notes(tmp_path, [invented_chip("AB12")], [first, *edits])
    with open_folio(path) as folio:
        assert {found.text for found in folio.notes("AB12")} == {"One.", "Two."}


def test_another_marking_leads_to_the_chip(tmp_path: Path, invented_chip: ChipMaker) -> None:
    path = build_with_notes(tmp_path, [invented_chip("AB12")], [note("a", chip="ab-12 n")])
    with open_folio(path) as folio:
        assert [found.id for found in folio.notes("AB12", ["pin 1"])] == ["a" * 16]


def test_notes_are_found_by_symptom_part_and_remedy(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    rolls = make_fault_note("a", "Picture rolls", part="C418", failure="Lost its capacitance.")
    dark = make_fault_note("b", "Dark picture", text="The **beam** limiter.")
    path = build_with_notes(tmp_path, [invented_chip("AB12")], [rolls, dark])
    with open_folio(path) as folio:
        assert folio.search_notes([["rolls", "rolling"]]) == [rolls]
        assert folio.search_notes([["C418"]]) == [rolls]
        assert folio.search_notes([["beam"], ["picture"]]) == [dark]
        assert folio.search_notes([["beam"], ["rolls"]]) == []
        assert folio.search_notes([["*"]]) == []


def test_the_digest_covers_notes_in_any_order(tmp_path: Path, invented_chip: ChipMaker) -> None:
    chips, notes = [invented_chip("AB12")], [note("a"), note("b")]
    without = build_from_chips(chips, tmp_path / "folio.db").digest
    one = build_from_chips(chips, tmp_path / "folio.db", notes=notes).digest
    assert build_from_chips(chips, tmp_path / "folio.db", notes=notes[::-1] * 2).digest == one
    assert one != without
    other = [note("a"), note("b", text="Else.")]
    assert build_from_chips(chips, tmp_path / "folio.db", notes=other).digest != one


def test_a_shop_among_the_sources_brings_its_chips_and_notes(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    shop = init_shop(tmp_path / "shop", "bench-one")
    (shop.chips / "ab12.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    add_note(shop, note("a"))
    info = build_folio([shop.folder], tmp_path / "folio.db")
    assert (info.chips, info.notes) == (1, 1)


def test_notes_in_a_folder_of_chip_files_go_in_as_notes(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    (tmp_path / "ab12.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / "a.yaml").write_text(format_note(note("a")), encoding="utf-8")
    info = build_folio([tmp_path], tmp_path / "folio.db")
    assert (info.chips, info.notes) == (1, 1)


def test_a_faulty_note_or_shop_is_named_and_nothing_written(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    shop = init_shop(tmp_path / "shop", "bench-one")
    (shop.chips / "ab12.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    (shop.notes / "bad.yaml").write_text("kind: gossip\n", encoding="utf-8")
    with pytest.raises(NoteFileError, match=r"bad\.yaml:1:7"):
        build_folio([shop.folder], tmp_path / "folio.db")
    (shop.folder / "shop.toml").write_text("handle = 3\n", encoding="utf-8")
    with pytest.raises(FolioError, match=r"shop\.toml"):
        build_folio([shop.folder], tmp_path / "folio.db")
    assert not (tmp_path / "folio.db").exists()


@given(place=st.text(min_size=1, max_size=20).filter(str.strip))
def test_any_place_can_be_noted(
    place: str, tmp_path_factory: pytest.TempPathFactory, invented_chip: ChipMaker
) -> None:
    try:
        odd = note("a", at=place)
    except ValueError:
        return  # control characters are refused by the note
    path = build_with_notes(tmp_path_factory.mktemp("odd"), [invented_chip("AB12")], [odd])
    with open_folio(path) as folio:
        assert folio.notes("AB12") == [odd]
