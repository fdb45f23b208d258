"""Merging is the union of sets: any order, any number of times, all of it or nothing."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.shop.bundle_reading import Bundle, BundleError, read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.known_shops import KnownShop, load_known_shops, set_state
from pinfolio.loaders.shop.merging import (
    MergeError,
    Plan,
    apply_plan,
    compare_revisions,
    plan_merge,
)
from pinfolio.loaders.shop.note_files import add_note, load_all_notes, locate_attachment
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop, open_shop
from pinfolio.loaders.system.folder_changes import change_together
from pinfolio.schema.note import Note, find_newest, find_proposals

CSV = b"0,1.5\n1e-6,1.6\n"


def make_note(shop: str, text: str = "Reads so.", name: str = "a", **fields: Any) -> Note:
    whole = {
        "id": f"{name * 8}22334455",
        "kind": "remark",
        "shop": shop,
        "author": shop,
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    return Note.model_validate(whole | fields)


@pytest.fixture
def a(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "a", "bench-a")


@pytest.fixture
def b(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "b", "bench-b")


def share_notes(shop: Shop, **chosen: str) -> Bundle:
    """The notes that the shop would hand to others now."""
    path = shop.folder.parent / f"{shop.handle}-{next(_NUMBERS)}.bundle"
    write_bundle(shop, select_notes_to_share(shop, **chosen), path)
    return read_bundle(path)


_NUMBERS = count()


def merge_bundle(shop: Shop, *bundles: Bundle) -> None:
    apply_plan(plan_merge(shop, bundles), accept_new=True)


def read_files(shop: Shop) -> dict[str, bytes]:
    """Every file of the folder; the folder that an interrupted merge left behind is none."""
    return {
        str(path.relative_to(shop.folder)): path.read_bytes()
        for path in sorted(shop.folder.rglob("*"))
        if path.is_file() and not path.relative_to(shop.folder).parts[0].startswith(".merging-")
    }


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


@st.composite
def draw_history(draw: st.DrawFn) -> list[Note]:
    """Revisions of a few notes by three shops that know of each other's."""
    revisions: list[Note] = []
    for number in range(draw(st.integers(1, 8))):
        name = draw(st.sampled_from("bc"))
        known = [note for note in revisions if note.id.startswith(name)]
        follows = (
            draw(st.sets(st.sampled_from([n.digest for n in known]), max_size=2)) if known else ()
        )
        fields: dict[str, Any] = {"follows": sorted(follows), "withdrawn": draw(st.booleans())}
        fields["date"] = f"2026-11-0{draw(st.integers(1, 9))}"
        shop = draw(st.sampled_from(["bench-a", "bench-b", "bench-c"]))
        fields["chip"] = f"QZ{name}"
        revisions.append(make_note(shop, f"{number}", name, **fields))
    return revisions


class TestLaws:
    """Of sets of revisions, and of the folders they are merged into, file by file."""

    @settings(max_examples=15, deadline=None)
    @given(history=draw_history(), chosen=st.data())
    def test_order_grouping_and_repetition_do_not_matter(
        self, history: list[Note], chosen: st.DataObject, tmp_path_factory: pytest.TempPathFactory
    ) -> None:
        folder = tmp_path_factory.mktemp("laws")
        bundles = _make_bundles(folder, history)
        fresh = init_shop(folder / "fresh", "bench-z").folder
        groups = chosen.draw(_draw_groups(bundles))
        once = _merge_into_copy(fresh, folder / "once", [bundles])
        other = _merge_into_copy(fresh, folder / "other", groups)
        assert read_files(once) == read_files(other)
        assert load_all_notes(once) == sorted(set(history), key=lambda n: (n.id, n.digest))

    @given(history=draw_history(), place=st.integers(0, 8))
    def test_what_comes_is_told_by_the_sets_alone(self, history: list[Note], place: int) -> None:
        notes = [note for note in history if note.id == history[0].id]
        ours, theirs = notes[:place], notes[place:] or notes
        assert compare_revisions(ours, theirs) == compare_revisions(ours[::-1], theirs[::-1] * 2)
        assert compare_revisions([*ours, *theirs], theirs).what == "same"
        newest = (*find_newest(notes), *find_proposals(notes))
        assert compare_revisions(ours, theirs).note in newest


def _make_bundles(folder: Path, history: list[Note]) -> list[Bundle]:
    """The history as its shops hand it over: each shop's notes at some times, and of one chip."""
    bundles = []
    for handle in sorted({note.shop for note in history}):
        shop = init_shop(folder / handle, handle)
        for note in history:
            if note.shop == handle:
                add_note(shop, note)
                bundles += [share_notes(shop), share_notes(shop, chip=note.chip)]
    return bundles


def _draw_groups(bundles: list[Bundle]) -> st.SearchStrategy[list[list[Bundle]]]:
    """All bundles at least once, some more often, in some order and in some groups."""
    shuffled = st.lists(st.sampled_from(bundles), max_size=4).flatmap(
        lambda more: st.permutations(bundles + more)
    )
    return st.builds(
        lambda order, size: [order[n : n + size] for n in range(0, len(order), size)],
        shuffled,
        st.integers(1, 4),
    )


def _merge_into_copy(fresh: Path, folder: Path, groups: Iterable[Sequence[Bundle]]) -> Shop:
    """The same fresh shop with the groups merged into it, except bundles refused as old."""
    shutil.copytree(fresh, folder)
    shop = open_shop(folder)
    for group in groups:
        merge_bundle(shop, *(bundle for bundle in group if not _is_old(shop, bundle)))
    return shop


def _is_old(shop: Shop, bundle: Bundle) -> bool:
    try:
        plan_merge(shop, [bundle])
    except MergeError as refused:
        return "older than a bundle" in str(refused)
    return False


class TestInterrupted:
    def test_at_any_instant_the_folder_is_before_or_after(self, a: Shop, b: Shop) -> None:
        """The process is killed before its nth step on the file system, for every n.

        Steps are Python's audit events (PEP 578, table of events in the library reference), of
        which each call that opens, makes, moves or removes a file raises one before it acts.
        """
        note = make_note("bench-a")
        add_note(a, note)
        merge_bundle(b, share_notes(a))
        before = read_files(b)
        attached = {"name": "trace.csv", "sha256": sha256(CSV).hexdigest()}
        add_note(
            a, make_note("bench-a", "Better.", follows=[note.digest], attachments=[attached]), [CSV]
        )
        bundle = share_notes(a)
        after = _read_after_merging(b, bundle)
        outcomes = []
        for step in range(1, 1000):
            copy = b.folder.with_name(f"killed-{step}")
            shutil.copytree(b.folder, copy)
            finished = _kill_at(step, copy, bundle)
            left = read_files(open_shop(copy, to_change=True))
            assert left in (before, after), f"killed at step {step}"
            outcomes.append(left == after)
            merge_bundle(open_shop(copy), bundle)
            assert read_files(open_shop(copy)) == after
            if finished:
                break
        assert outcomes == sorted(outcomes)
        assert outcomes.count(False) > 5
        assert outcomes.count(True) > 5

    def test_a_bundle_changed_since_it_was_verified_is_refused(self, a: Shop, b: Shop) -> None:
        attached = {"name": "trace.csv", "sha256": sha256(CSV).hexdigest()}
        add_note(a, make_note("bench-a", attachments=[attached]), [CSV])
        bundle, before = share_notes(a), read_files(b)
        bundle.path.write_bytes(bundle.path.read_bytes().replace(CSV, CSV[::-1]))
        with pytest.raises(BundleError):
            merge_bundle(b, bundle)
        assert read_files(b) == before

    def test_two_bundles_come_in_together_or_not_at_all(
        self, a: Shop, b: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        c = init_shop(tmp_path / "c", "bench-c")
        for shop in (a, b):
            add_note(shop, make_note(shop.handle))
        bundles, before = [share_notes(a), share_notes(b)], read_files(c)
        monkeypatch.setattr(os, "fsync", _raise_disk_full)
        with pytest.raises(Exception, match="cannot be saved"):
            merge_bundle(c, *bundles)
        assert read_files(c) == before
        assert not list(c.folder.glob(".merging-*"))

    def test_what_was_laid_out_and_never_decided_is_cleared_after_a_day(
        self, a: Shop, b: Shop
    ) -> None:
        for name, age_s in (("old", 90_000), ("new", 60)):
            (b.folder / f".merging-{name}").mkdir()
            then = time.time() - age_s
            os.utime(b.folder / f".merging-{name}", (then, then))
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        assert [path.name for path in b.folder.glob(".merging-*")] == [".merging-new"]


class TestAtTheSameMoment:
    @pytest.mark.parametrize("round_", range(5))
    def test_two_merges_into_one_folder_both_come_in(
        self, round_: int, a: Shop, b: Shop, tmp_path: Path
    ) -> None:
        """Both were planned before either began; neither loses the other's notes."""
        c = init_shop(tmp_path / "c", "bench-c")
        for shop in (a, b):
            add_note(shop, make_note(shop.handle, name=shop.handle[-1]))
        processes = multiprocessing.get_context("fork")
        both_planned = processes.Barrier(2)

        def merge(bundle: Bundle) -> None:
            planned = plan_merge(c, [bundle])
            both_planned.wait()
            apply_plan(planned, accept_new=True)

        both = [processes.Process(target=merge, args=(share_notes(shop),)) for shop in (a, b)]
        for process in both:
            process.start()
        for process in both:
            process.join()
        assert [process.exitcode for process in both] == [0, 0]
        assert {note.shop for note in load_all_notes(c)} == {"bench-a", "bench-b"}
        assert set(load_known_shops(c)) == {"bench-a", "bench-b"}

    def test_a_shop_muted_after_the_plan_stays_out(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        add_note(a, make_note("bench-a", name="b"))
        planned, before = plan_merge(b, [share_notes(a)]), load_all_notes(b)
        set_state(b, "bench-a", "muted")
        with pytest.raises(MergeError, match="bench-a is muted"):
            apply_plan(planned)
        assert len(before) == 1
        assert load_known_shops(b)["bench-a"].state == "muted"

    def test_who_waits_for_long_is_told_why(
        self, a: Shop, b: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("pinfolio.loaders.system.folder_changes._WAIT_S", 0.05)
        add_note(a, make_note("bench-a"))
        bundle, before = share_notes(a), read_files(b)
        with (
            change_together(b.folder),
            pytest.raises(ShopError, match="cannot be saved: another process is using it; try"),
        ):
            merge_bundle(b, bundle)
        assert read_files(b) == before


def _raise_disk_full(file: int) -> None:
    raise OSError(28, "No space left on device")


def _read_after_merging(shop: Shop, bundle: Bundle) -> dict[str, bytes]:
    copy = shop.folder.with_name("after")
    shutil.copytree(shop.folder, copy)
    merge_bundle(open_shop(copy), bundle)
    return read_files(open_shop(copy))


_STEPS = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "shutil.rmtree", "os.scandir"}


def _kill_at(step: int, folder: Path, bundle: Bundle) -> bool:
    """Merge in a process of its own that is killed at its nth step; whether it came to the end."""
    process = os.fork()
    if process == 0:
        left = step

        def count_down(event: str, arguments: object) -> None:
            nonlocal left
            left -= event in _STEPS
            if left == 0 and event in _STEPS:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count_down)
        merge_bundle(open_shop(folder), bundle)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == 0
