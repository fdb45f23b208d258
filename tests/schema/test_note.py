"""Notes: the fields each sort needs, and the result of several revisions."""

from __future__ import annotations

import itertools
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.note import Note, find_newest, find_proposals
from pydantic import ValidationError

ID = "abcdefgh22334455"


def make_note(text: str = "Reads so in good sets.", **fields: Any) -> Note:
    whole = {
        "id": ID,
        "kind": "remark",
        "shop": "bench-a",
        "author": "bench-a",
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    return Note.model_validate(whole | fields)


def edit(*followed: Note, **fields: Any) -> Note:
    return make_note(**{"follows": [note.digest for note in followed], **fields})


@pytest.mark.parametrize(
    ("kind", "missing"),
    [
        ("known-good reading", "readings"),
        ("fault and remedy", "symptom"),
        ("caution", "text"),
        ("correction", "readings"),
    ],
)
def test_a_note_needs_what_its_sort_is_about(kind: str, missing: str) -> None:
    with pytest.raises(
        ValidationError, match=f"a note of kind '{kind}' needs the field {missing}; add it"
    ):
        make_note(kind=kind, text=None)


def test_a_withdrawn_revision_needs_nothing_more() -> None:
    assert make_note(kind="caution", text=None, withdrawn=True).withdrawn


@pytest.mark.parametrize("sign", ["\x1b", "\x00", "\x9b", "\u202e", "\u2028", "\u2066", "\r"])
@pytest.mark.parametrize("field", ["text", "chassis", "at", "chip", "cure"])
def test_signs_that_act_on_a_screen_are_refused(sign: str, field: str) -> None:
    with pytest.raises(
        ValidationError, match=f"{field} holds the control character U\\+{ord(sign):04X}"
    ):
        make_note(**{field: f"CH{sign}12"})


def test_lines_tabs_and_what_people_type_are_kept() -> None:
    assert make_note(text="R4:\t4k7 → 10 µF ⚠️\nthen Ω").text == "R4:\t4k7 → 10 µF ⚠️\nthen Ω"


@pytest.mark.parametrize("day", ["2026-13-01", "2026-02-30", "26-01-01", "2026-1-1"])
def test_a_day_is_one_of_the_calendar(day: str) -> None:
    with pytest.raises(ValidationError):
        make_note(date=day)


def test_document_is_one_spelling_and_names_the_revision() -> None:
    note = make_note(sets="3", readings={"dc": "4.2 V ± 5 %"})
    read = json.loads(note.document())
    assert note.document() == json.dumps(read, separators=(",", ":"), ensure_ascii=False)
    assert Note.model_validate_json(note.document()) == note
    assert make_note().digest != make_note(text="Another.").digest
    assert make_note(sets=1).digest == make_note().digest


class TestNewest:
    def test_an_edit_takes_the_place_of_what_it_follows(self) -> None:
        first = make_note()
        assert find_newest([first, edit(first, text="Better.")])[0].text == "Better."

    def test_two_edits_of_one_revision_are_in_conflict_until_one_follows_both(self) -> None:
        first = make_note()
        here, there = edit(first, text="Here."), edit(first, text="There.")
        assert {note.text for note in find_newest([first, here, there])} == {"Here.", "There."}
        chosen = edit(here, there, text="Chosen.")
        assert find_newest([first, here, there, chosen]) == (chosen,)

    def test_a_withdrawn_note_stays_withdrawn_whatever_follows(self) -> None:
        first = make_note()
        gone = edit(first, withdrawn=True)
        later = edit(gone, text="Back again.")
        others = edit(first, text="I saw it too.", shop="bench-b")
        assert find_newest([first, gone, later, others]) == (gone,)

    def test_no_shop_withdraws_what_another_began(self) -> None:
        first = make_note()
        theirs = edit(first, text="Theirs.", shop="bench-b")
        assert find_newest([first, edit(first, shop="bench-b", withdrawn=True)]) == (first,)
        gone = edit(theirs, shop="bench-b", withdrawn=True)
        assert find_newest([first, theirs, gone]) == (first,)
        begun_again = make_note("I began it.", shop="bench-b")
        assert find_newest([first, begun_again, gone]) == (first,)

    def test_an_edit_by_way_of_one_taken_back_still_follows_the_first(self) -> None:
        first = make_note()
        theirs = edit(first, text="Theirs.", shop="bench-b")
        ours = edit(theirs, text="Ours, after theirs.")
        gone = edit(theirs, shop="bench-b", withdrawn=True)
        assert find_newest([first, theirs, ours, gone]) == (ours,)
        assert find_proposals([first, theirs, ours, gone]) == ()

    def test_an_edit_by_another_shop_is_a_proposal_until_the_own_shop_takes_it(self) -> None:
        """In 0.1 everybody's card showed the editor's words in place of the caution."""
        caution = make_note("R712 carries mains.", kind="caution")
        rogue = edit(caution, text="Safe to touch.", shop="bench-b")
        assert find_newest([caution, rogue]) == (caution,)
        assert find_proposals([caution, rogue]) == (rogue,)
        unrelated = edit(caution, text="R712 and R713 carry mains.")
        assert find_newest([caution, rogue, unrelated]) == (unrelated,)
        assert find_proposals([caution, rogue, unrelated]) == (rogue,)
        taken = edit(unrelated, rogue, text="All carry mains.")
        assert find_newest([caution, rogue, unrelated, taken]) == (taken,)
        assert find_proposals([caution, rogue, unrelated, taken]) == ()

    def test_proposals_of_several_shops_do_not_replace_each_other(self) -> None:
        first = make_note()
        b = edit(first, text="B.", shop="bench-b")
        c = edit(first, b, text="C.", shop="bench-c")
        assert set(find_proposals([first, b, c])) == {b, c}
        better = edit(b, text="B, better.", shop="bench-b")
        assert set(find_proposals([first, b, c, better])) == {better, c}

    def test_who_copies_the_id_of_a_note_does_not_become_its_author(self) -> None:
        caution = make_note("R712 carries mains.", kind="caution")
        copy = make_note("Safe to touch.", kind="caution", shop="bench-b")
        follows_both = edit(caution, copy, text="Safe.", shop="bench-b")
        assert caution in find_newest([caution, copy, follows_both])

    def test_a_withdrawn_note_has_no_proposals(self) -> None:
        first = make_note()
        revisions = [first, edit(first, text="B.", shop="bench-b"), edit(first, withdrawn=True)]
        assert find_proposals(revisions) == ()

    def test_a_withdrawn_edit_alone_is_withdrawn(self) -> None:
        gone = make_note(follows=["0" * 64], shop="bench-b", withdrawn=True)
        assert find_newest([gone]) == (gone,)

    @given(st.data())
    def test_order_and_repetition_do_not_matter(self, data: st.DataObject) -> None:
        revisions: list[Note] = []
        for number in range(data.draw(st.integers(1, 5))):
            followed = data.draw(st.sets(st.sampled_from(revisions or [None]), max_size=2))
            shop = data.draw(st.sampled_from(["bench-a", "bench-b"]))
            withdrawn = data.draw(st.booleans())
            known = [note for note in followed if note is not None]
            revisions.append(edit(*known, text=f"{number}", shop=shop, withdrawn=withdrawn))
        outcomes = {find_newest(order) for order in itertools.permutations(revisions)}
        proposals = {find_proposals(order) for order in itertools.permutations(revisions)}
        assert len(proposals) == 1
        assert len(outcomes) == 1
        assert find_newest(revisions + revisions) in outcomes
        assert outcomes.pop()

    @given(st.data())
    def test_no_other_shop_changes_the_newest_revisions(self, data: st.DataObject) -> None:
        """However many revisions other shops add to a note, its own shop's words hold."""
        first = make_note("Mind the mains.", kind="caution")
        own, revisions = [first], [first]
        for number in range(data.draw(st.integers(1, 6))):
            shop = data.draw(st.sampled_from(["bench-a", "bench-b", "bench-c"]))
            others = st.sampled_from(own if shop == "bench-a" else revisions)
            followed = data.draw(st.lists(others, min_size=1, max_size=3, unique=True))
            withdrawn = shop != "bench-a" and data.draw(st.booleans())
            revisions.append(edit(*followed, text=f"{number}", shop=shop, withdrawn=withdrawn))
            own += revisions[-1:] if shop == "bench-a" else []
        assert find_newest(revisions) == find_newest(own)
