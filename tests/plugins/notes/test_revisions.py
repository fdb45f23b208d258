"""Another revision of a note: which note, which revision it starts from, who may withdraw it."""

from __future__ import annotations

import pytest
from pinfolio.plugins.notes.note_view import group_revisions
from pinfolio.plugins.notes.revisions import (
    NoSuchNote,
    NotRevisable,
    build_withdrawal,
    choose_base_revision,
    collect_notes,
    filter_notes,
    find_note,
)
from pinfolio.schema.note import Note

OURS, THEIRS = "our-shop", "their-shop"


def note(letter: str, text: str = "Remark.", shop: str = OURS, **more: object) -> Note:
    return Note.model_validate(
        {
            "id": letter * 16, "kind": "remark", "shop": shop, "author": "tester",
            "date": "2026-01-02", "chip": "QZ1", "at": "pin 9", "text": text, **more,
        }
    )  # fmt: skip


FIRST = note("a")
SECOND = note("a", "Corrected.", follows=(FIRST.digest,))
OTHERS = note("a", "Doubted.", shop=THEIRS, follows=(FIRST.digest,))


def test_an_id_may_be_cut_short_to_four_letters() -> None:
    notes = [FIRST, note("b")]
    assert find_note(notes, "bbbb").revisions[0].id == "b" * 16
    with pytest.raises(NoSuchNote, match="at least 4 letters"):
        find_note(notes, "bbb")


def test_an_id_must_fit_one_note() -> None:
    other = note("a", id="aaaabbbbccccdddd")
    with pytest.raises(NoSuchNote, match="several notes begin with 'aaaa'"):
        find_note([FIRST, other], "aaaa")
    with pytest.raises(NoSuchNote, match="'pinfolio note list' shows"):
        find_note([FIRST], "zzzz")


def test_a_revision_starts_from_the_newest_one() -> None:
    (stored,) = collect_notes([FIRST, SECOND])
    assert choose_base_revision(stored, OURS) == SECOND
    assert stored.follows == (SECOND.digest,)
    assert not stored.is_withdrawn


def test_a_conflict_needs_a_choice() -> None:
    again = note("c", id=FIRST.id, follows=[FIRST.digest])
    (stored,) = collect_notes([FIRST, SECOND, again, OTHERS])
    with pytest.raises(NotRevisable, match=r"in conflict; choose by --keep: .* by our-shop"):
        choose_base_revision(stored, OURS)
    assert choose_base_revision(stored, OURS, OTHERS.digest[:8]) == OTHERS
    with pytest.raises(NotRevisable, match="no newest revision 'zz'"):
        choose_base_revision(stored, OURS, "zz")
    assert set(stored.follows) == {SECOND.digest, again.digest}
    assert OTHERS.digest not in stored.list_followed(OURS, is_choice=False)
    assert OTHERS.digest in stored.list_followed(OURS, is_choice=True)


def test_a_withdrawal_repeats_nothing_of_the_text() -> None:
    (stored,) = collect_notes([FIRST, SECOND])
    withdrawal = build_withdrawal(stored, OURS, "tester", "2026-02-01")
    assert (withdrawal.withdrawn, withdrawal.text, withdrawal.at) == (True, None, "pin 9")
    assert withdrawal.follows == (SECOND.digest,)
    (gone,) = collect_notes([FIRST, SECOND, withdrawal])
    assert gone.is_withdrawn
    with pytest.raises(NotRevisable, match="withdrawn already"):
        build_withdrawal(gone, OURS, "tester", "2026-02-02")
    with pytest.raises(NotRevisable, match="was withdrawn and stays so"):
        choose_base_revision(gone, OURS)


def test_another_shops_note_is_not_withdrawn() -> None:
    (stored,) = collect_notes([note("c", shop=THEIRS)])
    with pytest.raises(NotRevisable, match="pinfolio shops mute their-shop"):
        build_withdrawal(stored, OURS, "tester", "2026-02-01")


def test_notes_are_listed_by_chip_and_place_with_pin_9_before_pin_10() -> None:
    notes = collect_notes(
        [
            note("a", at="pin 10"),
            note("b", at="pin 9"),
            note("c", at="pin 9", date="2026-03-01"),
            note("d", chip="AB2", at="C712"),
            note("e", shop=THEIRS, kind="known-good reading", readings={"dc": "3 V"},
                 condition="no signal"),
        ]
    )  # fmt: skip

    def letters(**wanted: str) -> str:
        return "".join(kept.revisions[0].id[0] for kept in filter_notes(notes, **wanted))

    assert letters() == "dcbea"
    assert letters(chip="qz-1", at="9") == "cbe"
    assert letters(at="c712") == "d"
    assert letters(kind="known-good reading") == letters(by=THEIRS) == "e"
    assert filter_notes(notes, conflicts=True) == []


def test_views_keep_the_order_of_the_notes_and_join_their_revisions() -> None:
    views = group_revisions([note("b"), SECOND, OTHERS])
    assert [view.note.id[0] for view in views] == ["b", "a"]
    assert [view.in_conflict for view in views] == [False, True]
    assert len(views[1].document()["in_conflict"]) == 2
    assert views[0].document()["in_conflict"] == []
