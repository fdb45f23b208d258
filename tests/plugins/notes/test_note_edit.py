"""An edited note: the next revision, its signature, and an edit that changes nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.notes.note_edit import build_edit
from pinfolio.plugins.notes.note_form import Form, fill_form
from pinfolio.plugins.notes.revisions import NotRevisable, collect_notes
from pinfolio.schema.note import Note


def make_note(handle: str, **changes: Any) -> Note:
    """Return a remark of a shop, with changed fields."""
    return Note.model_validate(
        {
            "id": "a" * 16, "kind": "remark", "shop": handle, "author": "berta",
            "date": "2026-01-02", "chip": "QZ1", "at": "pin 9", "text": "Remark.", **changes,
        }
    )  # fmt: skip


def edit(shop: Shop, *revisions: Note, changes: Form, is_choice: bool = False) -> Note:
    """Return the revision that changed fields make of the first of these revisions."""
    (stored,) = collect_notes(revisions)
    form = fill_form(revisions[0]) | changes
    return build_edit(stored, revisions[0], form, (), shop, changes, is_choice=is_choice)


def test_an_edit_follows_the_revision_and_is_signed_anew(shop: Shop) -> None:
    note = make_note(shop.handle)
    edited = edit(shop, note, changes={"text": "Another remark."})
    assert edited.follows == (note.digest,)
    assert (edited.id, edited.author) == (note.id, "anna")
    assert edited.date == date.today().isoformat()


def test_a_given_author_and_day_replace_the_signature(shop: Shop) -> None:
    edited = edit(shop, make_note(shop.handle), changes={"author": "carla", "date": "2026-03-04"})
    assert (edited.author, edited.date) == ("carla", "2026-03-04")


def test_an_edit_without_a_change_is_refused(shop: Shop) -> None:
    with pytest.raises(NotRevisable, match="Nothing is changed: give the new value"):
        edit(shop, make_note(shop.handle), changes={"text": "Remark."})


def test_an_unchanged_revision_settles_a_conflict(shop: Shop) -> None:
    one, other = make_note(shop.handle), make_note(shop.handle, text="Contrary.")
    settled = edit(shop, one, other, changes={}, is_choice=True)
    assert settled.text == "Remark."
    assert set(settled.follows) == {one.digest, other.digest}


def test_an_unchanged_revision_dismisses_a_proposal_only_by_choice(shop: Shop) -> None:
    note = make_note(shop.handle)
    proposal = make_note("their-shop", text="Doubted.", follows=[note.digest])
    dismissed = edit(shop, note, proposal, changes={}, is_choice=True)
    assert set(dismissed.follows) == {note.digest, proposal.digest}
    with pytest.raises(NotRevisable):
        edit(shop, note, proposal, changes={})
