"""Past faults of notes: the ways that words name, the counts, and the words of a card."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.plugins.notes.past_faults import (
    collect_past_faults,
    count_ways,
    name_way,
    weigh_sets,
)
from pinfolio.schema.note import Note

FAULT: dict[str, Any] = {
    "id": "abcdefgh234567aa", "kind": "fault and remedy", "shop": "bench", "author": "bench",
    "date": "2026-05-01", "chip": "KYE2620", "at": "pin 2", "symptom": "picture tears",
    "part": "C501", "failure": "Open.", "cure": "New C501", "proof": "Out of circuit: open.",
}  # fmt: skip


def make_fault(number: int, **fields: Any) -> Note:
    return Note.model_validate(FAULT | {"id": f"abcdefgh234567a{'abcdefgh'[number]}"} | fields)


@pytest.mark.parametrize(
    ("words", "way"),
    [
        ("Clock filter open, the loop hunts.", "open"),
        ("Leaks: the killer never lets go.", "leaky"),
        ("Timing capacitor leaks as it warms.", "leaky"),
        ("Gone high: 1.8 kΩ reads 47 kΩ.", "value high"),
        ("value too low", "value low"),
        ("Reference decoupling dried up.", "dried out"),
        ("slider open", "slider open"),
        ("joint bad", None),
        ("Open when cold, leaky when warm.", None),
        ("33 V zener wanders with warmth.", None),
        ("", None),
    ],
)
def test_the_words_of_a_note_name_one_way_of_failing_or_none(words: str, way: str | None) -> None:
    assert name_way(words) == way


def test_the_card_says_in_how_many_of_how_many_sets() -> None:
    faults = collect_past_faults(
        [
            make_fault(0, sets=3),
            make_fault(1, sets=2, shop="other"),
            make_fault(2, part="P502", failure="Gone high."),
            make_fault(3, failure="leaky"),
            make_fault(4, sets=90, proof=None),
        ]
    )
    words = [seen.words for seen in count_ways(faults, "C501")]
    assert words == ["open in 5 of 7 sets here, 2 shops", "leaky in 1 of 7 sets here, 1 shop"]
    assert count_ways(faults, "R501") == ()


def test_other_chassis_are_counted_apart_once_the_chassis_is_known() -> None:
    faults = collect_past_faults(
        [make_fault(0, chassis="Morvane P14"), make_fault(1, sets=4, chassis="Orrevik M12")]
    )
    (seen,) = count_ways(faults, "C501", "morvane p14")
    assert seen.words == "open in 1 of 1 set here, in 4 of 4 sets of other chassis, 1 shop"
    (elsewhere,) = count_ways(faults, "C501", "Tarn 1")
    assert elsewhere.words == "open in 5 of 5 sets of other chassis, 1 shop"


def test_all_notes_of_one_shop_share_its_most() -> None:
    faults = collect_past_faults([make_fault(0, sets=6), make_fault(1, sets=18, part="P502")])
    weights = weigh_sets(faults, None, here=1, elsewhere=0.3, most_of_a_shop=8)
    assert weights == pytest.approx([2, 6])
