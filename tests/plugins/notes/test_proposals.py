"""A note on a page speaks for its own shop; proposals of another shop are shown beside it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.shop_folder import Shop, open_shop
from pinfolio.plugins.notes.note_view import group_revisions
from pinfolio.schema.note import Note

Run = Callable[..., Result]


@pytest.fixture
def edited(run: Run, note: Callable[..., Note], shop: Shop, other: Shop, tmp_path: Path) -> Note:
    """A caution of bench-a, which bench-b edits into its contrary and hands back."""
    caution = note("add", "TQZ5752", "17", "--kind", "caution", "--text", "Carries mains.")
    there = ("--shop", other.folder)
    for arguments in (
        ("share", "-o", tmp_path / "a.bundle"),
        ("merge", tmp_path / "a.bundle", "--accept-new", "--yes", *there),
        ("note", "edit", caution.id[:6], "--text", "Safe to touch.", *there),
    ):
        result = run(*arguments)
        assert result.exit_code == 0, result.output
    assert "A proposal to bench-a: the note changes when they take it." in result.stderr
    return caution


def hand_back(run: Run, shop: Shop, other: Shop, tmp_path: Path) -> Result:
    """Bench-b shares its notes, and bench-a merges them."""
    # A bundle needs the id of a note of its own shop only; bench-b's revision is its own.
    assert run("share", "-o", tmp_path / "b.bundle", "--shop", other.folder).exit_code == 0
    return run("merge", tmp_path / "b.bundle", "--accept-new", "--yes")


def test_a_foreign_edit_is_shown_beside_the_caution_until_it_is_taken(
    run: Run, shop: Shop, other: Shop, edited: Note, tmp_path: Path
) -> None:
    merged = hand_back(run, shop, other, tmp_path)
    assert merged.exit_code == 0, merged.output
    assert "Before    caution; Carries mains." in merged.stdout
    assert "Proposed  caution; Safe to touch." in merged.stdout
    listed = run("note", "list").stdout
    assert "Carries mains." in listed
    assert "proposed by" in " ".join(listed.split())
    shown = run("note", "show", edited.id).stdout
    assert "Proposed by bench-b, not by bench-a" in shown
    build_folio([shop.folder, *chip_files()], tmp_path / "f.db")
    with open_folio(tmp_path / "f.db") as folio:
        notes = folio.notes("TQZ5752", ["pin 17"])
        assert [each.text for each in notes] == ["Carries mains."]
        (shown,) = group_revisions(notes, folio.proposals(notes))
        assert [each.note.text for each in shown.proposals] == ["Safe to touch."]


def test_own_edits_leave_a_proposal_open_and_keep_takes_or_dismisses_it(
    run: Run, shop: Shop, other: Shop, edited: Note, tmp_path: Path
) -> None:
    hand_back(run, shop, other, tmp_path)
    assert run("note", "edit", edited.id, "--sets", "2").exit_code == 0
    shown = run("note", "show", edited.id).stdout
    take = shown.split("--keep ")[1].split(";")[0]
    dismiss = shown.split("dismiss it: --keep ")[1].split()[0]
    assert run("note", "edit", edited.id, "--keep", dismiss).exit_code == 0
    after = run("note", "show", edited.id).stdout
    assert "Carries mains." in after
    assert "Proposed" not in after
    assert run("note", "edit", edited.id, "--keep", take).exit_code != 0


def test_a_shop_takes_a_proposal_as_its_own_words(
    run: Run, shop: Shop, other: Shop, edited: Note, tmp_path: Path
) -> None:
    hand_back(run, shop, other, tmp_path)
    take = run("note", "show", edited.id).stdout.split("--keep ")[1].split(";")[0]
    assert run("note", "edit", edited.id, "--keep", take, "--yes").exit_code == 0
    shown = run("note", "show", edited.id).stdout
    assert "Safe to touch." in shown
    assert "Proposed" not in shown
    assert "Carries" not in shown


def test_merging_a_new_revision_shows_before_and_after(
    run: Run, note: Callable[..., Note], other: Shop, edited: Note, tmp_path: Path
) -> None:
    note("edit", edited.id, "--text", "R712 carries mains.")
    run("share", "-o", tmp_path / "a2.bundle")
    planned = plan_merge(open_shop(other.folder), [read_bundle(tmp_path / "a2.bundle")])
    (change,) = planned.coming
    assert change.what == "newer"
    assert change.before is not None
    assert (change.before.text, change.note.text) == ("Carries mains.", "R712 carries mains.")
    apply_plan(planned)
