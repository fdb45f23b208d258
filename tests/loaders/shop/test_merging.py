"""Merging is the union of sets: which notes come in, and which shops are believed."""

from __future__ import annotations

from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from pinfolio.loaders.shop import merging
from pinfolio.loaders.shop.known_shops import KnownShop, load_known_shops, set_state
from pinfolio.loaders.shop.merging import (
    MergeError,
    Plan,
    apply_plan,
    compare_revisions,
    plan_merge,
)
from pinfolio.loaders.shop.note_files import add_note, load_all_notes, locate_attachment
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.schema.note import find_newest

from .exchanged_bundles import CSV, make_note, merge_bundle, read_files, share_notes


def test_a_plan_is_empty_without_notes_attachments_and_changes_of_shops(tmp_path: Path) -> None:
    shop = init_shop(tmp_path / "ours", "ours")
    nothing = Plan(shop, known=load_known_shops(shop))
    assert nothing.is_empty
    assert not replace(nothing, added={"theirs": [make_note("theirs")]}).is_empty
    bundle: Any = None  # whichever holds it
    assert not replace(nothing, attached={"received/theirs/x.csv": bundle}).is_empty
    assert not replace(nothing, known={"theirs": KnownShop("ab" * 32)}).is_empty


class TestPlan:
    def test_it_says_what_becomes_of_each_note(self, a: Shop, b: Shop) -> None:
        kept, edited, gone, clash = (make_note("bench-a", name=name) for name in "bcde")
        for note in (kept, edited, gone, clash):
            add_note(a, note)
        merge_bundle(b, share_notes(a))
        add_note(b, make_note("bench-b", "Theirs.", "e", follows=[clash.digest]))
        add_note(a, make_note("bench-a", "Better.", "c", follows=[edited.digest]))
        add_note(a, make_note("bench-a", "Gone.", "d", follows=[gone.digest], withdrawn=True))
        for text in ("Ours.", "Ours too."):
            add_note(a, make_note("bench-a", text, "e", follows=[clash.digest]))
        add_note(a, make_note("bench-a", name="f"))
        planned = plan_merge(b, [share_notes(a)])
        assert {one.note.id[0]: one.what for one in planned.coming} == {
            "b": "same",
            "c": "newer",
            "d": "withdrawn",
            "e": "in conflict",
            "f": "new",
        }
        assert planned.counts() == dict.fromkeys(planned.counts(), 1) | {"proposed": 0}

    def test_a_change_is_compared_with_the_last_of_revisions_in_conflict(self) -> None:
        first = make_note("bench-a", name="e", date="2026-11-20")
        early, late = (
            make_note("bench-a", text, "e", follows=[first.digest], date=f"2026-11-{day}")
            for text, day in (("Early.", 21), ("Late.", 22))
        )
        settled = make_note("bench-a", "Settled.", "e", follows=[early.digest, late.digest])
        change = compare_revisions([first, late, early], [settled])
        assert (change.what, change.note, change.before) == ("newer", settled, late)

    def test_the_last_of_several_proposals_is_shown(self) -> None:
        first = make_note("bench-a", name="e", date="2026-11-20")
        early, late = (
            make_note(shop, "Otherwise.", "e", follows=[first.digest], date=f"2026-11-{day}")
            for shop, day in (("bench-c", 21), ("bench-b", 22))
        )
        change = compare_revisions([first], [late, early])
        assert (change.what, change.note, change.before) == ("proposed", late, first)

    def test_planning_writes_nothing(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a"))
        before = read_files(b)
        plan_merge(b, [share_notes(a)])
        assert read_files(b) == before

    def test_an_own_bundle_brings_back_what_was_lost(self, a: Shop) -> None:
        path = add_note(a, make_note("bench-a"))
        bundle, before = share_notes(a), read_files(a)
        path.unlink()
        merge_bundle(a, bundle)
        assert {
            name: data for name, data in read_files(a).items() if name != "shops.toml"
        } == before

    def test_a_shop_may_have_as_many_notes_as_are_allowed_and_no_more(
        self, a: Shop, b: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(merging, "MOST_NOTES", 2)
        for name in "cd":
            add_note(a, make_note("bench-a", name=name))
        merge_bundle(b, share_notes(a))
        before = read_files(b)
        add_note(a, make_note("bench-a", name="e"))
        with pytest.raises(MergeError, match="more than 2 notes of bench-a would be kept here"):
            merge_bundle(b, share_notes(a))
        assert read_files(b) == before

    def test_received_notes_that_do_not_count_are_kept_beside_the_new_ones(
        self, a: Shop, b: Shop
    ) -> None:
        add_note(a, make_note("bench-a", name="c"))
        merge_bundle(b, share_notes(a))
        received = b.received / "bench-a" / "notes.jsonl"
        damaged = received.read_bytes().replace(b"Reads so.", b"Safe to touch.")
        received.write_bytes(damaged)
        add_note(a, make_note("bench-a", name="d"))
        merge_bundle(b, share_notes(a))
        (kept,) = received.parent.glob("set-aside-*.jsonl")
        assert kept.read_bytes() == damaged
        assert load_all_notes(b) == load_all_notes(a)

    def test_attachments_come_with_their_notes(self, a: Shop, b: Shop) -> None:
        attached = {"name": "trace.csv", "sha256": sha256(CSV).hexdigest()}
        note = make_note("bench-a", attachments=[attached])
        add_note(a, note, [CSV])
        merge_bundle(b, share_notes(a))
        assert locate_attachment(b, note, note.attachments[0]).read_bytes() == CSV


class TestWhoIsBelieved:
    def test_an_unknown_shop_comes_in_only_when_said_so(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a"))
        before, planned = read_files(b), plan_merge(b, [share_notes(a)])
        with pytest.raises(
            MergeError, match=r"bench-a is not known here; its key reads (\w{4} ?)+"
        ):
            apply_plan(planned)
        assert read_files(b) == before
        apply_plan(planned, accept_new=True)
        assert load_known_shops(b)["bench-a"].state == "known"
        apply_plan(plan_merge(b, [share_notes(a)]))

    def test_a_changed_key_is_refused_loudly(self, a: Shop, b: Shop, tmp_path: Path) -> None:
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        forger = init_shop(tmp_path / "forger", "bench-a")
        add_note(forger, make_note("bench-a", "Forged."))
        before = read_files(b)
        with pytest.raises(MergeError, match="THE KEY HAS CHANGED"):
            plan_merge(b, [share_notes(forger)])
        assert read_files(b) == before

    def test_two_keys_under_one_name_do_not_come_in_together(
        self, a: Shop, b: Shop, tmp_path: Path
    ) -> None:
        forger = init_shop(tmp_path / "forger", "bench-a")
        with pytest.raises(MergeError, match="THE KEY HAS CHANGED"):
            plan_merge(b, [share_notes(a), share_notes(forger)])

    def test_nobody_else_is_the_own_shop(self, a: Shop, tmp_path: Path) -> None:
        forger = init_shop(tmp_path / "forger", "bench-a")
        with pytest.raises(MergeError, match="says it is from your own shop"):
            plan_merge(a, [share_notes(forger)])

    def test_an_older_bundle_played_again_is_refused(self, a: Shop, b: Shop) -> None:
        note = make_note("bench-a")
        add_note(a, note)
        older = share_notes(a)
        add_note(a, make_note("bench-a", follows=[note.digest], withdrawn=True))
        merge_bundle(b, share_notes(a))
        before = read_files(b)
        with pytest.raises(MergeError, match="older than a bundle of bench-a merged already"):
            plan_merge(b, [older])
        assert read_files(b) == before

    def test_an_older_bundle_among_others_is_left_out_by_name(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a", name="b"))
        older = share_notes(a)
        add_note(a, make_note("bench-a", name="c"))
        merge_bundle(b, share_notes(a))
        add_note(a, make_note("bench-a", name="d"))
        planned = plan_merge(b, [older, share_notes(a)])
        assert [why.partition(": ")[0] for why in planned.left_out] == [str(older.path)]
        apply_plan(planned)
        assert load_all_notes(b) == load_all_notes(a)

    def test_an_older_bundle_with_a_new_note_comes_in(self, a: Shop, b: Shop) -> None:
        """A shop restored from a backup has fewer notes than it signed before, and is heard."""
        paths = [add_note(a, make_note("bench-a", name=name)) for name in "cde"]
        merge_bundle(b, share_notes(a))
        for path in paths:
            path.unlink()
        late = make_note("bench-a", "After the loss.", "f")
        add_note(a, late)
        merge_bundle(b, share_notes(a))
        assert late in load_all_notes(b)

    def test_the_own_bundle_is_never_too_old(self, a: Shop) -> None:
        add_note(a, make_note("bench-a", name="c"))
        bundle = share_notes(a)
        add_note(a, make_note("bench-a", name="d"))
        assert plan_merge(a, [bundle]).is_empty

    def test_a_part_of_the_notes_does_not_make_what_is_missing_old(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a", name="b"))
        older = share_notes(a)
        add_note(a, make_note("bench-a", name="c", chip="QZ2000"))
        merge_bundle(b, share_notes(a, chip="QZ2000"))
        merge_bundle(b, older)
        assert load_all_notes(b) == load_all_notes(a)

    def test_a_muted_shop_is_neither_heard_nor_shown(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        set_state(b, "bench-a", "muted")
        assert load_all_notes(b) == []
        with pytest.raises(MergeError, match="bench-a is muted; to hear it again"):
            plan_merge(b, [share_notes(a)])
        set_state(b, "bench-a", "trusted")
        assert load_all_notes(b) == load_all_notes(a)

    def test_another_shop_cannot_take_a_note_away(self, a: Shop, b: Shop) -> None:
        note = make_note("bench-a")
        add_note(a, note)
        add_note(b, make_note("bench-b", follows=[note.digest], withdrawn=True))
        merge_bundle(a, share_notes(b))
        assert find_newest(load_all_notes(a)) == (note,)
