"""Ranges from known-good notes: limits, outliers, disagreement, too few."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.observed_range import (
    FEWEST_READINGS,
    ObservedRange,
    compute_observed_ranges,
)
from pinfolio.schema import parse_quantity
from pinfolio.schema.chips.limits import Limits
from pinfolio.schema.note import Note

CATALOGUE = Limits("dc", "V", 3.0, 2.7, 3.3, True)


def make_good_note(number: int, dc: str, **more: object) -> Note:
    fields: dict[str, object] = {
        "id": "a" * 14 + "bcdefghijk"[number // 10] + "bcdefghijk"[number % 10]
    }
    fields |= {"kind": "known-good reading", "author": "bench-two", "date": "2026-03-02"}
    fields |= {"shop": "halvorsen-sister" if number % 2 else "tarnbrook-niece"}
    fields |= {"chip": "TQZ5752", "at": "pin 13", "condition": "no signal", "readings": {"dc": dc}}
    return Note.model_validate(fields | more)


def observe_range(*dc: str) -> ObservedRange:
    return compute_observed_ranges(
        [make_good_note(number, text) for number, text in enumerate(dc)], "no signal"
    )["dc"]


def test_sets_and_shops_are_counted() -> None:
    notes = [make_good_note(number, "3.1 V", sets=2) for number in range(7)]
    found = compute_observed_ranges(notes, "no signal")["dc"]
    assert (found.sets, found.shops) == (14, 2)
    assert found.provenance_words.startswith("7 readings, 14 sets, 2 shops; holds 90 %")


def test_a_reading_that_lies_apart_is_named_and_left_out() -> None:
    found = observe_range("3.1 V", "3.2 V", "3.0 V", "3.1 V", "3.0 V", "3.2 V", "3.1 V", "4.9 V")
    assert found.outlier_words == ("4.9 V, halvorsen-sister, 2026-03-02",)
    assert found.high is not None
    assert found.high < 3.5


def test_too_few_say_so() -> None:
    found = observe_range("3.1 V", "3.2 V", "9 V")
    assert (found.low, found.high, found.outliers) == (None, None, ())
    assert found.range_words == f"no range yet: 3 readings of good sets, {FEWEST_READINGS} needed"
    assert found.to_limits() is None
    assert found.propose_correction(CATALOGUE) is None


def test_equal_readings_are_known_to_their_last_digit_and_no_better() -> None:
    found = observe_range(*["3.1 V"] * 6)
    assert found.to_limits() is not None
    assert found.low == pytest.approx(3.1 - 3.7326 * 0.1 / 12**0.5, abs=1e-4)


def test_agreement_proposes_nothing() -> None:
    found = observe_range("3.1 V", "3.2 V", "3.0 V", "3.1 V", "3.0 V", "3.2 V")
    assert found.propose_correction(CATALOGUE) is None


def test_disagreement_proposes_a_value_a_chip_file_takes() -> None:
    found = observe_range("4.1 V", "4.2 V", "4.0 V", "4.1 V", "4.0 V", "4.2 V")
    proposed = found.propose_correction(CATALOGUE)
    assert proposed is not None
    quantity = parse_quantity(proposed, "V")
    assert quantity.nominal == pytest.approx(4.1)
    assert quantity.low is not None
    assert quantity.low == pytest.approx(found.low, abs=0.01)


def test_withdrawn_and_conflicting_notes_do_not_count() -> None:
    first = make_good_note(0, "3.1 V")
    withdrawn = make_good_note(0, "3.1 V", follows=[first.digest], withdrawn=True)
    second = make_good_note(1, "3.2 V")
    edits = [make_good_note(1, "3.2 V", follows=[second.digest], sets=sets) for sets in (2, 3)]
    notes = [first, withdrawn, second, *edits, make_good_note(2, "3.3 V")]
    found = compute_observed_ranges(notes, "no signal")["dc"]
    assert [sample.value for sample in found.kept] == [3.3]


def test_other_conditions_and_other_kinds_do_not_count() -> None:
    other = make_good_note(0, "3.1 V", condition="colour bars")
    fault = make_good_note(
        1, "0.2 V", kind="fault and remedy", symptom="no colour", cure="new crystal"
    )
    assert compute_observed_ranges([other, fault], "no signal") == {}
