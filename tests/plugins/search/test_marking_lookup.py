"""Pieces of markings among many chips that are alike, and how many are listed."""

from __future__ import annotations

import math

import pytest
from pinfolio.loaders import Folio, UnknownPart
from pinfolio.loaders.folio.chip_search import ChipRow
from pinfolio.plugins.search.damaged_marking import Guess, guess_chips
from pinfolio.plugins.search.find import find
from pinfolio.plugins.search.marking_lookup import (
    MarkingMatch,
    convert_guess,
    find_chip,
    find_marking,
    find_printed,
    guess_damaged,
)

CHIP = ChipRow("QZ1", "Nobody", "jungle", "Invented for this test.", "DIP-16", 16, True)


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (None, ""),
        (0.0, "under 1 %"),
        (0.004, "under 1 %"),
        (0.006, "1 %"),
        (0.9, "90 %"),
        (0.915, "92 %"),
        (1.0, "99 %"),
    ],
)
def test_a_guess_is_never_called_certain(probability: float | None, words: str) -> None:
    assert MarkingMatch(CHIP, "as printed", 0.5, probability).probability_words == words


def test_a_guess_ranks_below_a_certain_match() -> None:
    """0.6 of its probability: the surest guess is a prefix of nothing."""
    match = convert_guess(Guess(CHIP, "QZ1", 0.8, ("7 could not be read", "suffix missing")))
    assert match.score == pytest.approx(0.48)
    assert match.probability == 0.8
    assert match.match == "7 could not be read, suffix missing"


def test_a_piece_has_two_characters_and_a_digit(series: Folio) -> None:
    assert [match.chip.part for match in find_printed(series, "J5")] == ["QJ58"]
    assert find_printed(series, "8") == []
    assert find_printed(series, "J") == []
    assert find_printed(series, "Z") == []


def test_a_suffix_leaves_a_stem_of_four_characters(series: Folio) -> None:
    (match,) = find_printed(series, "QJ58X")
    assert (match.chip.part, match.match) == ("QJ58", "suffix X left aside")
    assert find_printed(series, "WK6X") == []


def test_twenty_matches_are_listed_unless_another_number_is_asked_for(series: Folio) -> None:
    for search in (find_printed, find_marking):
        assert len(search(series, "QZ57")) == 20
        assert len(search(series, "QZ57", 25)) == 25
    assert len(find(series, "QZ57").chips) == 20
    assert len(find(series, "QZ57", 25).chips) == 25


def test_ten_guesses_are_enough(series: Folio) -> None:
    assert len(guess_damaged(series, "QZ57?")) == 10
    assert len(guess_chips(series, "QZ57?")) == 10
    assert len(guess_damaged(series, "QZ57?", 3)) == 3
    assert guess_damaged(series, "gate") == []


def test_a_piece_of_several_markings_names_five_of_them(series: Folio) -> None:
    with pytest.raises(UnknownPart) as unknown:
        find_chip(series, "QZ57")
    assert len(unknown.value.nearest) == 5
    assert find_chip(series, "QZ5712").part == "QZ5712"
    with pytest.raises(UnknownPart):
        find_chip(series, "gate")


def test_words_beside_a_piece_ask_the_first_twenty_chips_it_names(series: Folio) -> None:
    found = find(series, "QZ57 gate", 50)
    assert len(found.chips) == 20
    assert found.groups == ("chips", "pins")
    assert {match.pin.part for match in found.pins} <= {match.chip.part for match in found.chips}
    assert len(find(series, "QZ57 gate", 5).chips) == 5


def test_functions_and_stages_leave_room_for_the_pins(series: Folio) -> None:
    """Ten of each are in all chips; eight are listed."""
    found = find(series, "gate", 50)
    assert len(found.functions) == len(found.blocks) == 8
    few = find(series, "gate", 3)
    assert len(few.functions) == len(few.blocks) == len(few.pins) == 3


def test_a_question_has_at_most_300_characters(series: Folio) -> None:
    """``7`` is the character that decides between the pins ``gate 7`` and all of them."""
    before, after = "gate".ljust(299) + "7", "gate".ljust(300) + "7"
    assert {match.pin.symbol for match in find(series, before).pins} == {"P7"}
    assert len({match.pin.symbol for match in find(series, after).pins}) > 1


class TestOneChip:
    """A folio whose other markings are far away: the probability follows from the cost alone.

    Every 20 hundredths of a wrong character make it e times less likely, and at 120 of them a
    part that the folio does not hold is as likely. Our fit, checked in ``bench_search``.
    """

    @pytest.mark.parametrize(
        ("typed", "cost"),
        [
            ("QJ5?", 8),
            ("QJ8", 90),
            ("QJX8", 100),
            ("JQ58AB", 70 + 2 * 25),
            ("JQ58ABC", 70 + 3 * 25),
        ],
    )
    def test_the_probability_falls_with_the_cost(
        self, series: Folio, typed: str, cost: int
    ) -> None:
        first = guess_chips(series, typed)[0]
        assert first.chip.part == "QJ58"
        odds = math.exp((120 - cost) / 20)
        assert first.probability == pytest.approx(odds / (1 + odds), rel=0.05)

    def test_below_one_in_five_none_is_offered(self, series: Folio) -> None:
        """A cost of 150 leaves 18 %."""
        assert guess_chips(series, "JXQ58ABC") == []
