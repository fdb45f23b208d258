"""Notes, merge plans and known shops as plain data."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from click.testing import Result
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.known_shops import load_known_shops
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.notes.note_documents import (
    describe_known_shops,
    describe_note,
    describe_plan,
    summarise_note,
)
from pinfolio.plugins.notes.revisions import collect_notes
from pinfolio.schema.note import Note


def make_note(text: str, **changes: object) -> Note:
    """Return a remark with this text and changed fields."""
    return Note.model_validate(
        {
            "id": "a" * 16, "kind": "remark", "shop": "our-shop", "author": "tester",
            "date": "2026-01-02", "chip": "QZ1", "at": "pin 9", "text": text, **changes,
        }
    )  # fmt: skip


def test_a_note_has_its_newest_revision_and_a_history_oldest_first() -> None:
    first = make_note("First.")
    second = make_note("Second.", date="2026-02-01", follows=[first.digest])
    (stored,) = collect_notes([second, first])
    document = describe_note(stored)
    assert (document["text"], document["withdrawn"]) == ("Second.", False)
    assert [each["digest"] for each in document["revisions"]] == [first.digest, second.digest]
    assert document["revisions"][1]["follows"] == [first.digest]


def test_the_line_about_a_note_tells_conflicts_and_proposals_first() -> None:
    one, other = make_note("One."), make_note("Other.")
    (stored,) = collect_notes([one, other])
    assert summarise_note(stored).startswith("In conflict. remark; ")
    proposal = make_note("Doubted.", shop="their-shop", follows=[one.digest])
    (stored,) = collect_notes([one, proposal])
    assert summarise_note(stored).startswith("Changes proposed by their-shop. remark; One.")


def test_a_plan_counts_the_changes_and_names_new_senders(
    run: Callable[..., Result], note: Callable[..., Note], shop: Shop, other: Shop, tmp_path: Path
) -> None:
    made = note("add", "TQZ5752", "17", "--kind", "remark", "--text", "Seen.")
    assert run("share", "-o", tmp_path / "a.bundle", "--shop", shop.folder).exit_code == 0
    plan = plan_merge(other, [read_bundle(tmp_path / "a.bundle")])
    document = describe_plan(plan)
    assert document["counts"]["new"] == 1
    assert list(document["unknown"]) == ["bench-a"]
    (change,) = document["notes"]
    assert (change["what"], change["id"], change["text"]) == ("new", made.id, "Seen.")
    assert "before" not in change
    apply_plan(plan, accept_new=True)
    (known,) = describe_known_shops(load_known_shops(other))
    assert (known["shop"], known["state"]) == ("bench-a", "known")
    assert known["fingerprint"] == document["unknown"]["bench-a"]
