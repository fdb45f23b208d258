"""Merging gives the same folder in any order, in any groups and any number of times."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.shop.bundle_reading import Bundle
from pinfolio.loaders.shop.merging import MergeError, compare_revisions, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_folder import Shop, init_shop, open_shop
from pinfolio.schema.note import Note, find_newest, find_proposals

from .exchanged_bundles import make_note, merge_bundle, read_files, share_notes


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
