"""Markings that are scorched, ground or half gone: the right part among the first, with reasons."""

from __future__ import annotations

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders import Folio
from pinfolio.loaders.chip_file import load_chip
from pinfolio.plugins.search.damaged import guesses
from pinfolio.plugins.search.find import find
from pinfolio.plugins.search.misreading import look_alikes
from pinfolio.plugins.search.typed_marking import TypedMarking

PARTS = [load_chip(path).part for path in chip_files()]


@pytest.mark.parametrize(
    ("typed", "part", "reason"),
    [
        ("TQZ5?52", "TQZ5752", "7 could not be read"),
        ("QZ5?5Z", "TQZ5752", "2 read as Z"),
        ("TOZ5752", "TQZ5752", "Q read as O"),
        ("0GX7342", "OGX7342", "O read as 0"),
        ("KYE 6B48", "KYE6848", "8 read as B"),
        ("MDQ372", "MDQ3724", "suffix missing"),
        ("Z5752", "TQZ5752", "prefix missing"),
        ("KYE6B48 9732", "KYE6848", "9732 left aside: date or lot code"),
    ],
)
def test_the_right_part_is_among_the_first_five_with_the_reason(
    demo: Folio, typed: str, part: str, reason: str
) -> None:
    found = {guess.chip.part: guess for guess in guesses(demo, typed, 5)}
    assert part in found
    assert reason in found[part].reasons


def test_probabilities_are_honest_shares(demo: Folio) -> None:
    """Less than one in all: it may be a part that the folio does not hold."""
    shares = [guess.probability for guess in guesses(demo, "KYE?6?")]
    assert shares == sorted(shares, reverse=True)
    assert 0 < sum(shares) < 1


def test_a_doubtful_marking_gives_several_parts(demo: Folio) -> None:
    parts = [guess.chip.part for guess in guesses(demo, "KYE????")]
    assert {"KYE1916", "KYE2620", "KYE6848"} <= set(parts)


def test_find_uses_it_when_nothing_fits_as_printed(demo: Folio) -> None:
    found = find(demo, "T0Z57S2")
    assert found.chips[0].chip.part == "TQZ5752"
    assert "5 read as S" in found.chips[0].match


def test_a_marking_as_printed_needs_no_guess(demo: Folio) -> None:
    assert find(demo, "TQZ5752").chips[0].match == "part number"


def test_look_alikes_hold_both_ways() -> None:
    for pair, cost in look_alikes().items():
        assert look_alikes()[pair[::-1]] == cost
        assert 0 < cost < 100


def _damaged(part: str, chance: random.Random) -> str:
    """One thing that happens to a marking: a look-alike, an unread sign, a swap, a lost end."""
    at = chance.randrange(len(part))
    ways = [
        part[:at] + "?" + part[at + 1 :],
        part[:-1],
        part[1:],
        part[:at] + part[at + 1 : at + 2] + part[at] + part[at + 2 :],
    ]
    alike = [pair[1] for pair in look_alikes() if pair[0] == part[at]]
    ways += [part[:at] + chance.choice(alike) + part[at + 1 :]] if alike else []
    return chance.choice(ways)


def test_recall_of_the_right_part_among_ten(demo: Folio) -> None:
    chance = random.Random(1956)
    asked = [(part, _damaged(part, chance)) for part in PARTS for _ in range(30)]
    found = [part in {g.chip.part for g in guesses(demo, typed, 10)} for part, typed in asked]
    assert sum(found) / len(found) >= 0.97


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.text(max_size=40))
def test_whatever_is_typed_is_answered(demo: Folio, typed: str) -> None:
    for guess in guesses(demo, typed):
        assert guess.chip.part in PARTS
        assert guess.reasons
    assert len(TypedMarking(typed).key) <= 24
