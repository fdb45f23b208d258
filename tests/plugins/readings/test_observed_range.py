"""Ranges from known-good notes: limits, outliers, disagreement, too few."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
import pytest
from pinfolio.plugins.readings.observed_range import (
    FEWEST_READINGS,
    ObservedRange,
    Sample,
    compute_observed_ranges,
    summarise_samples,
)
from pinfolio.schema import parse_quantity
from pinfolio.schema.chips.limits import Limits
from pinfolio.schema.note import Note

SHOPS = ("tarnbrook-niece", "halvorsen-sister", "fennholm-bench")
CATALOGUE = Limits("dc", "V", 3.0, 2.7, 3.3, True)


def make_good_note(number: int, dc: str, **more: object) -> Note:
    fields: dict[str, object] = {
        "id": "a" * 14 + "bcdefghijk"[number // 10] + "bcdefghijk"[number % 10]
    }
    fields |= {"kind": "known-good reading", "author": "bench-two"}
    fields |= {"date": f"2026-03-{number + 1:02}", "shop": SHOPS[number % 3]}
    fields |= {"chip": "TQZ5752", "at": "pin 13", "condition": "no signal", "readings": {"dc": dc}}
    return Note.model_validate(fields | more)


def observe_range(*dc: str) -> ObservedRange:
    return compute_observed_ranges(
        [make_good_note(number, text) for number, text in enumerate(dc)], "no signal"
    )["dc"]


def test_sets_and_shops_are_counted() -> None:
    notes = [make_good_note(number, "3.1 V", sets=2) for number in range(7)]
    found = compute_observed_ranges(notes, "no signal")["dc"]
    assert (found.sets, found.shops) == (14, 3)
    assert found.provenance_words.startswith("7 readings, 14 sets, 3 shops; holds 90 %")


def test_a_reading_that_lies_apart_is_named_and_left_out() -> None:
    found = observe_range("3.1 V", "3.2 V", "3.0 V", "3.1 V", "3.0 V", "3.2 V", "3.1 V", "4.9 V")
    assert found.outlier_words == ("4.9 V, halvorsen-sister, 2026-03-08",)
    assert found.high is not None
    assert found.high < 3.8


def test_too_few_say_so() -> None:
    found = observe_range("3.1 V", "3.2 V", "9 V")
    assert (found.low, found.high, found.outliers) == (None, None, ())
    assert found.range_words == f"no range yet: 3 readings of good sets, {FEWEST_READINGS} needed"
    assert found.reading_words[2] == "9 V, fennholm-bench, 2026-03-03"
    assert found.to_limits() is None
    assert found.propose_correction(CATALOGUE) is None


def test_equal_readings_are_known_to_their_last_digit_and_no_better() -> None:
    found = observe_range(*["3.1 V"] * 6)
    assert found.to_limits() is not None
    assert found.low is not None
    assert 3.1 - found.low > 1.645 * 0.1 / 12**0.5


def test_agreement_proposes_nothing() -> None:
    found = observe_range("3.1 V", "3.2 V", "3.0 V", "3.1 V", "3.0 V", "3.2 V")
    assert found.propose_correction(CATALOGUE) is None


def test_disagreement_proposes_a_value_a_chip_file_takes() -> None:
    found = observe_range("4.1 V", "4.0 V", "4.1 V", "4.1 V", "4.2 V", "4.1 V")
    proposed = found.propose_correction(CATALOGUE)
    assert proposed is not None
    quantity = parse_quantity(proposed, "V")
    assert quantity.nominal == pytest.approx(4.1, abs=0.005)
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


@pytest.mark.parametrize(("shops", "words"), [(1, "one shop only"), (2, "two shops only")])
def test_below_three_shops_the_readings_are_listed_without_a_range(shops: int, words: str) -> None:
    notes = [make_good_note(number, "3.1 V", shop=SHOPS[number % shops]) for number in range(12)]
    found = compute_observed_ranges(notes, "no signal")["dc"]
    assert found.range_words == f"{words}: no range"
    assert found.to_limits() is None
    assert len(found.reading_words) == 12
    assert found.document()["without_range"] == f"{words}: no range"


def test_the_same_set_read_twice_is_one_set() -> None:
    """By its name; without one, by shop, day and chassis."""
    named = [
        make_good_note(0, "3.0 V", set_name="job 7"),
        make_good_note(3, "3.2 V", set_name="job 7"),
        make_good_note(6, "3.4 V", set_name="job 8", date="2026-03-01"),
    ]
    found = compute_observed_ranges(named, "no signal")["dc"]
    assert [sample.value for sample in found.kept] == [pytest.approx(3.1), 3.4]
    day = {"date": "2026-03-09", "shop": SHOPS[0]}
    unnamed = [
        make_good_note(number, "3.0 V", chassis=chassis, **day)
        for number, chassis in enumerate(("Morvane P14", "morvane p14", "Orrevik M12"))
    ]
    assert len(compute_observed_ranges(unnamed, "no signal")["dc"].kept) == 2


def test_ranges_hold_nine_in_ten_of_all_sets_as_often_as_they_say() -> None:
    """Coverage at 95 % confidence over 300 seeded samples; the full table is in the benchmarks."""
    rng = np.random.default_rng(7)
    for layout, ratio in (((3, 2, 2, 1), 0.0), ((5, 5, 5), 0.5), ((4, 3, 3), 1.0)):
        held = [is_holding_most(draw_range(rng, layout, ratio), ratio) for _ in range(300)]
        assert np.mean(held) >= 0.93


def draw_range(rng: np.random.Generator, layout: Sequence[int], ratio: float) -> ObservedRange:
    """Return the range of readings around 0: unit spread in a shop, ``ratio`` between shops."""
    samples = [
        Sample(effect + float(rng.standard_normal()), 0.0, make_good_note(0, "3 V", shop=f"s{at}"))
        for at, sets in enumerate(layout)
        for effect in [ratio * float(rng.standard_normal())] * sets
    ]
    return summarise_samples("dc", "no signal", samples)


def is_holding_most(found: ObservedRange, ratio: float) -> bool:
    """Return whether the range holds 90 % of the population that it was drawn from."""
    assert found.low is not None
    assert found.high is not None
    whole = NormalDist(0, (1 + ratio**2) ** 0.5)
    return whole.cdf(found.high) - whole.cdf(found.low) >= 0.9
