"""Notes: what each sort needs, and what the revisions of a note say together."""

from __future__ import annotations

import itertools
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.note import Note, find_newest
from pydantic import ValidationError

ID = "abcdefgh22334455"


def made(text: str = "Reads so in good sets.", **fields: Any) -> Note:
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
    return made(**{"follows": [note.digest for note in followed], **fields})


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
        made(kind=kind, text=None)


def test_a_withdrawn_revision_needs_nothing_more() -> None:
    assert made(kind="caution", text=None, withdrawn=True).withdrawn


@pytest.mark.parametrize("sign", ["\x1b", "\x00", "\x9b", "\u202e", "\u2028", "\u2066", "\r"])
@pytest.mark.parametrize("field", ["text", "chassis", "at", "chip", "cure"])
def test_signs_that_act_on_a_screen_are_refused(sign: str, field: str) -> None:
    with pytest.raises(ValidationError, match=f"control character U\\+{ord(sign):04X} in {field}"):
        made(**{field: f"CH{sign}12"})


def test_lines_tabs_and_what_people_type_are_kept() -> None:
    assert made(text="R4:\t4k7 → 10 µF ⚠️\nthen Ω").text == "R4:\t4k7 → 10 µF ⚠️\nthen Ω"


@pytest.mark.parametrize("day", ["2026-13-01", "2026-02-30", "26-01-01", "2026-1-1"])
def test_a_day_is_one_of_the_calendar(day: str) -> None:
    with pytest.raises(ValidationError):
        made(date=day)


def test_document_is_one_spelling_and_names_the_revision() -> None:
    note = made(sets="3", readings={"dc": "4.2 V ± 5 %"})
    read = json.loads(note.document())
    assert note.document() == json.dumps(read, separators=(",", ":"), ensure_ascii=False)
    assert Note.model_validate_json(note.document()) == note
    assert made().digest != made(text="Another.").digest
    assert made(sets=1).digest == made().digest


class TestNewest:
    def test_an_edit_takes_the_place_of_what_it_follows(self) -> None:
        first = made()
        assert find_newest([first, edit(first, text="Better.")])[0].text == "Better."

    def test_two_edits_of_one_revision_are_in_conflict_until_one_follows_both(self) -> None:
        first = made()
        ours, theirs = edit(first, text="Ours."), edit(first, text="Theirs.", shop="bench-b")
        assert {note.text for note in find_newest([first, ours, theirs])} == {"Ours.", "Theirs."}
        chosen = edit(ours, theirs, text="Chosen.")
        assert find_newest([first, ours, theirs, chosen]) == (chosen,)

    def test_a_withdrawn_note_stays_withdrawn_whatever_follows(self) -> None:
        first = made()
        gone = edit(first, withdrawn=True)
        later = edit(gone, text="Back again.")
        others = edit(first, text="I saw it too.", shop="bench-b")
        assert find_newest([first, gone, later, others]) == (gone,)

    def test_no_shop_withdraws_what_another_began(self) -> None:
        first = made()
        theirs = edit(first, text="Theirs.", shop="bench-b")
        assert find_newest([first, edit(first, shop="bench-b", withdrawn=True)]) == (first,)
        gone = edit(theirs, shop="bench-b", withdrawn=True)
        assert find_newest([first, theirs, gone]) == (first,)
        begun_again = made("I began it.", shop="bench-b")
        assert find_newest([first, begun_again, gone]) == (first,)

    def test_an_edit_by_way_of_one_taken_back_still_follows_the_first(self) -> None:
        first = made()
        theirs = edit(first, text="Theirs.", shop="bench-b")
        ours = edit(theirs, text="Ours, after theirs.")
        gone = edit(theirs, shop="bench-b", withdrawn=True)
        assert find_newest([first, theirs, ours, gone]) == (ours,)

    def test_a_withdrawn_edit_alone_is_withdrawn(self) -> None:
        gone = made(follows=["0" * 64], shop="bench-b", withdrawn=True)
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
        assert len(outcomes) == 1
        assert find_newest(revisions + revisions) in outcomes
        assert outcomes.pop()
