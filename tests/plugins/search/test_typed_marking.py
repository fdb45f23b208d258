"""Is it a marking, and which of its words are the part number?"""

from __future__ import annotations

import pytest
from pinfolio.plugins.search.typed_marking import TypedMarking, interpret_marking, is_marking


@pytest.mark.parametrize(
    ("text", "marking"),
    [
        ("QZ57", True),
        ("QZ5", False),  # three characters are too few
        ("Q-Z 5", False),  # dashes and spaces do not count
        ("QZJK", False),  # a marking has a digit
        ("QZ?K", True),  # or a character that cannot be read
        ("????", False),  # but not those alone
        ("???K", True),
        ("KILLR5", False),  # five letters in a run are a word
        ("KILL55", True),
    ],
)
def test_four_characters_one_a_digit_or_unread_and_no_word(text: str, marking: bool) -> None:
    assert is_marking(text) == marking


def test_a_part_number_is_at_most_24_characters() -> None:
    assert TypedMarking("QZ" * 15).key == "QZ" * 12


def test_what_a_code_leaves_must_still_be_a_marking() -> None:
    assert interpret_marking("KYE 9732") == [TypedMarking("KYE 9732")]
    whole, without = interpret_marking("KYE6848 9732")
    assert whole == TypedMarking("KYE6848 9732")
    assert without == TypedMarking("KYE6848", ("9732",))


def test_codes_on_lines_below_are_set_aside_at_once_and_words_are_not() -> None:
    first, *others = interpret_marking("KYE6848\nL4K17 JAPAN\n9732")
    assert first == TypedMarking("KYE6848 JAPAN", ("L4K17", "9732"))
    assert others == []
    assert first.reasons == (
        "L4K17 left aside: date or lot code",
        "9732 left aside: date or lot code",
    )


def test_nothing_typed_is_an_empty_marking() -> None:
    assert interpret_marking(" \n") == [TypedMarking("")]
