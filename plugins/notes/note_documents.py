"""A stored note, a merge plan and the known shops as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...loaders.shop.known_shops import KnownShop
from ...loaders.shop.merging import NoteChange, Plan
from ...schema.note import Note
from .note_view import NoteView, RevisionView
from .revisions import StoredNote


def view_note(stored: StoredNote) -> NoteView:
    """Return a note by its newest revisions, with the proposals to it."""
    return NoteView(
        tuple(map(RevisionView, stored.heads)), tuple(map(RevisionView, stored.proposals))
    )


def summarise_note(stored: StoredNote) -> str:
    """Return a note in one line."""
    view = view_note(stored)
    state = "In conflict. " if view.in_conflict else ""
    if view.proposals:
        shops = ", ".join(proposal.note.shop for proposal in view.proposals)
        state += f"Changes proposed by {shops}. "
    return state + view.revisions[0].sentence


def describe_note(stored: StoredNote) -> dict[str, Any]:
    """Return a note as plain data: its newest revisions in full, all revisions in short."""
    oldest_first = sorted(stored.revisions, key=lambda note: (note.date, note.digest))
    history = [
        {"digest": note.digest, "follows": list(note.follows), "shop": note.shop,
         "author": note.author, "date": note.date, "withdrawn": note.withdrawn}
        for note in oldest_first
    ]  # fmt: skip
    return {**view_note(stored).document(), "withdrawn": stored.is_withdrawn, "revisions": history}


def describe_plan(plan: Plan) -> dict[str, Any]:
    """Return a merge plan as plain data: counts of each change, new senders, every note."""
    return {
        "counts": plan.counts(),
        "unknown": {handle: shop.fingerprint for handle, shop in plan.unknown.items()},
        "changed_keys": {name: shop.fingerprint for name, shop in plan.changed_keys.items()},
        "notes": [_describe_change(change) for change in plan.coming],
    }


def describe_known_shops(known: Mapping[str, KnownShop]) -> list[dict[str, str]]:
    """Return the known shops as plain data, by their name here."""
    return [
        {
            "shop": name,
            "handle": shop.handle or name,
            "state": shop.state,
            "fingerprint": shop.fingerprint,
        }
        for name, shop in known.items()
    ]


def _describe_change(change: NoteChange) -> dict[str, Any]:
    before = {} if change.before is None else {"before": _dump_note(change.before)}
    return {"what": change.what, **_dump_note(change.note), **before}


def _dump_note(note: Note) -> dict[str, Any]:
    return note.model_dump(mode="json", exclude_defaults=True)
