"""Telling apart chips with similar markings: by package, pin count, a supply pin.

The information of a look is the entropy of its answer (Shannon, A Mathematical Theory of
Communication, 1948): one bit between two that are as likely, 0.811 bits at one to three.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from pinfolio.loaders.folio.chip_search import ChipRow
from pinfolio.plugins.search.damaged_marking import Guess
from pinfolio.plugins.search.distinguishing_marks import (
    DistinguishingMark,
    find_distinguishing_marks,
)


class Supplies:
    """A folio that only knows which pins are supplies."""

    def __init__(self, pins_of: Mapping[str, tuple[int, ...]]) -> None:
        self.pins_of = pins_of

    def supply_pins(self, parts: list[str]) -> Mapping[str, tuple[int, ...]]:
        return {part: pins for part, pins in self.pins_of.items() if part in parts}


def guess(part: str, package: str, probability: float) -> Guess:
    pins = int(package.rpartition("-")[2])
    chip = ChipRow(part, "Nobody", "jungle", "Invented for this test.", package, pins, True)
    return Guess(chip, part, probability, ())


def find_marks(*guesses: Guess, **supplies: tuple[int, ...]) -> tuple[DistinguishingMark, ...]:
    folio: Any = Supplies(supplies)
    return find_distinguishing_marks(folio, guesses)


def test_two_as_likely_are_told_apart_by_one_bit() -> None:
    (mark,) = find_marks(guess("QZ1", "DIP-16", 0.3), guess("QZ2", "DIP-20", 0.3))
    assert str(mark) == "How many pins? 16 pins: QZ1; 20 pins: QZ2."
    assert mark.bits == pytest.approx(1.0)


def test_the_information_counts_only_the_parts_that_are_known() -> None:
    (mark,) = find_marks(guess("QZ1", "DIP-16", 0.6), guess("QZ2", "DIP-20", 0.2))
    assert mark.bits == pytest.approx(0.8113, abs=1e-4)


def test_packages_are_named_where_they_tell_more_than_the_pins() -> None:
    """DIP and SDIP of 20 pins: counting leaves them together."""
    marks = find_marks(
        guess("QZ1", "DIP-20", 0.2), guess("QZ2", "SDIP-20", 0.2), guess("QZ3", "DIP-16", 0.2)
    )
    assert [mark.feature for mark in marks] == ["package", "pins"]
    assert marks[0].bits == pytest.approx(1.585, abs=1e-3)  # log2 3
    assert marks[1].bits == pytest.approx(0.918, abs=1e-3)  # one third against two


def test_a_supply_pin_is_the_one_that_tells_most() -> None:
    guesses = [guess(f"QZ{number}", "DIP-16", 0.2) for number in range(1, 5)]
    (mark,) = find_marks(*guesses, QZ1=(4, 16), QZ2=(4,), QZ3=(8,), QZ4=(16,))
    assert mark.question == "Is pin 4 a supply?"
    assert mark.parts_by_value == (("yes", ("QZ1", "QZ2")), ("no", ("QZ3", "QZ4")))
    assert mark.bits == pytest.approx(1.0)


@pytest.mark.parametrize(("rare", "offered"), [(0.015, True), (0.0125, False)])
def test_a_look_must_tell_a_tenth_of_a_bit(rare: float, offered: bool) -> None:
    """The entropy at 1.5 % is 0.112 bits, at 1.25 % it is 0.097."""
    marks = find_marks(guess("QZ1", "DIP-16", 1 - rare), guess("QZ2", "DIP-20", rare))
    assert bool(marks) == offered


def test_one_part_or_parts_that_look_the_same_leave_nothing_to_ask() -> None:
    assert find_marks(guess("QZ1", "DIP-16", 0.5), QZ1=(4,)) == ()
    assert find_marks(guess("QZ1", "DIP-16", 0.5), guess("QZ2", "DIP-16", 0.5)) == ()


@pytest.mark.parametrize(
    ("count", "listed"), [(5, "QZ1, QZ2, QZ3, QZ4, QZ5"), (7, "QZ1, QZ2, QZ3, QZ4, QZ5 and 2 more")]
)
def test_five_parts_are_named_and_the_others_counted(count: int, listed: str) -> None:
    alike = [guess(f"QZ{number}", "DIP-16", 0.1) for number in range(1, count + 1)]
    (mark,) = find_marks(*alike, guess("QZ9", "DIP-20", 0.1))
    assert str(mark) == f"How many pins? 16 pins: {listed}; 20 pins: QZ9."


def test_each_value_has_the_filter_that_keeps_its_parts() -> None:
    package, pins = find_marks(
        guess("QZ1", "DIP-20", 0.2), guess("QZ2", "SDIP-20", 0.2), guess("QZ3", "DIP-16", 0.2)
    )
    assert package.get_filter("SDIP-20") == "SDIP-20"
    assert pins.get_filter("16 pins") == "16"
    (supply,) = find_marks(guess("QZ1", "DIP-16", 0.5), guess("QZ2", "DIP-16", 0.5), QZ1=(4,))
    assert supply.get_filter("yes") == "4"
    assert supply.get_filter("no") == ""
