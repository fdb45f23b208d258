"""Two shops with one name."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.shop.known_shops import load_known_shops
from pinfolio.loaders.shop.merging import MergeError, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop
from pinfolio.schema.note import find_newest, find_proposals

from .shop_computers import (
    make_caution,
    merge_bundles,
    read_texts,
    share_notes,
)


class TestOneNameTwoShops:
    @pytest.fixture
    def namesake(self, tmp_path: Path) -> Shop:
        shop = init_shop(tmp_path / "namesake", "bench-a")
        add_note(shop, make_caution("bench-a", "By the namesake.", "n"))
        return shop

    def test_both_are_known_under_two_names(self, desk: Shop, other: Shop, namesake: Shop) -> None:
        merge_bundles(other, share_notes(desk))
        with pytest.raises(MergeError, match="THE KEY HAS CHANGED"):
            plan_merge(other, [share_notes(namesake)])
        merge_bundles(other, share_notes(namesake), name="bench-north")
        known = load_known_shops(other)
        assert {(name, one.handle or name) for name, one in known.items()} == {
            ("bench-a", "bench-a"),
            ("bench-north", "bench-a"),
        }
        by = {note.text: note.shop for note in load_all_notes(other)}
        assert by == {"By desk.": "bench-a", "By the namesake.": "bench-north"}
        add_note(namesake, make_caution("bench-a", "More.", "m"))
        merge_bundles(other, share_notes(namesake))
        assert {note.shop for note in load_all_notes(other)} == {"bench-a", "bench-north"}

    def test_an_edit_by_the_namesake_is_a_proposal(
        self, desk: Shop, other: Shop, namesake: Shop
    ) -> None:
        first = make_caution("bench-a", "By desk.", "d")
        add_note(namesake, make_caution("bench-a", "Safe to touch.", "d", follows=[first.digest]))
        merge_bundles(other, share_notes(desk))
        merge_bundles(other, share_notes(namesake), name="bench-north")
        notes = [note for note in load_all_notes(other) if note.id == first.id]
        assert [note.text for note in find_newest(notes)] == ["By desk."]
        assert [(n.text, n.shop) for n in find_proposals(notes)] == [
            ("Safe to touch.", "bench-north")
        ]

    def test_a_namesake_of_the_own_shop_gets_another_name(self, desk: Shop, namesake: Shop) -> None:
        with pytest.raises(MergeError, match="says it is from your own shop"):
            plan_merge(desk, [share_notes(namesake)])
        merge_bundles(desk, share_notes(namesake), name="namesake")
        assert {note.shop for note in load_all_notes(desk)} == {"bench-a", "namesake"}

    @pytest.mark.parametrize("name", ["bench-a", "bench-b", "B", "../x"])
    def test_a_name_that_is_taken_or_none_is_refused(
        self, desk: Shop, other: Shop, namesake: Shop, name: str
    ) -> None:
        merge_bundles(other, share_notes(desk))
        with pytest.raises((MergeError, ShopError)):
            merge_bundles(other, share_notes(namesake), name=name)
        assert read_texts(other) == {"By desk."}
