"""Where observed ranges change their mind, from six readings of 3 V that differ by tenths.

Sources: the mean of three shops' means is uncertain by Student's t of two degrees of freedom,
4.3027 at 95 %, times their standard error (any table); a last digit q is uncertain by q / sqrt(12)
(GUM, F.2.2.1).
"""

from __future__ import annotations

import math

import pytest
from pinfolio.plugins.readings.observed_range import (
    ObservedRange,
    Sample,
    compare_with_catalogue,
    compute_observed_ranges,
    prefer_observed_limits,
    summarise_samples,
)
from pinfolio.schema import Expectation, Pin, parse_quantity
from pinfolio.schema.chips.limits import Limits
from pinfolio.schema.note import Note

VOLTS = (2.9, 3.0, 3.0, 3.1, 3.1, 3.2)
MIDDLE = 3.05
SHOPS = ("tarnbrook-niece", "halvorsen-sister", "fennholm-bench")


def note(number: int, **readings: str) -> Note:
    fields = {"id": "a" * 15 + "bcdefghijk"[number], "kind": "known-good reading"}
    fields |= {"author": "bench-two", "date": f"2026-03-{number + 1:02}", "shop": SHOPS[number % 3]}
    fields |= {"chip": "QZ1", "at": "pin 1", "condition": "bars"}
    return Note.model_validate({**fields, "readings": readings})


def observe_values(*values: float, name: str = "dc", step: float = 0.01) -> ObservedRange:
    return summarise_samples(
        name,
        "bars",
        [Sample(value, step, note(number % 10, dc="3 V")) for number, value in enumerate(values)],
    )


def find_observed_limits(low: float, high: float, quantity: str = "dc", unit: str = "V") -> Limits:
    return Limits(quantity, unit, (low + high) / 2, low, high, True)


@pytest.mark.parametrize(("beyond", "disagrees"), [(1e-6, True), (-1e-6, False)])
def test_a_disagreement_is_beyond_the_uncertainty_of_the_shops_mean(
    beyond: float, disagrees: bool
) -> None:
    """The shops' means are 3.0, 3.05 and 3.1 V."""
    unsure_v = 4.302653 * 0.05 / math.sqrt(3)
    observed = observe_values(*VOLTS)
    above = find_observed_limits(MIDDLE + unsure_v + beyond, 9.0)
    below = find_observed_limits(0.0, MIDDLE - unsure_v - beyond)
    assert observed.disagrees_with(above) == disagrees
    assert observed.disagrees_with(below) == disagrees
    assert (observed.propose_correction(above) is not None) == disagrees


def test_five_readings_make_a_range_and_four_do_not() -> None:
    assert observe_values(*VOLTS[:5]).to_limits() is not None
    few = observe_values(*VOLTS[:4])
    assert few.to_limits() is None
    assert not few.disagrees_with(find_observed_limits(8.0, 9.0))
    assert few.range_words == "no range yet: 4 readings of good sets, 5 needed"
    assert observe_values(3.0).range_words == "one shop only: no range"


def test_an_outlier_needs_eight_readings_and_9_7_deviations_then() -> None:
    """5.2 + 36 / 8 scaled deviations. The median deviation of ±0.1 V is 0.148 V, scaled."""
    around = (2.9, 2.9, 2.9, 3.0, 3.1, 3.1, 3.1)
    scaled_v = 1.4826 * 0.1
    centre_v = 3.05
    inside, outside = (centre_v + z * scaled_v for z in (9.6, 9.8))
    assert observe_values(*around, inside).outliers == ()
    (outlier,) = observe_values(*around, outside).outliers
    assert outlier.value == pytest.approx(outside)
    assert observe_values(*around[:6], 30.0).outliers == ()


def test_what_cannot_be_negative_has_no_range_below_zero() -> None:
    small = (0.01, 0.02, 0.05, 0.08, 0.1, 0.12)
    assert observe_values(*small, name="vpp").low == 0.0
    low_v = observe_values(*small).low
    assert low_v is not None
    assert low_v < 0


@pytest.mark.parametrize(
    ("name", "unit", "values", "words"),
    [
        ("dc", "V", (3.1416, 3.1416, 3.1417, 3.1415, 3.1416, 3.1416), "3.14 V"),
        ("frequency", "Hz", (15625.4, 15625.4, 15625.3, 15625.5, 15625.4, 15625.4), "15.6254 kHz"),
    ],
)
def test_voltages_have_three_digits_and_frequencies_six(
    name: str, unit: str, values: tuple[float, ...], words: str
) -> None:
    observed = observe_values(*values, name=name, step=0.1 if unit == "Hz" else 1e-4)
    assert observed.value_words == words
    proposed = observed.propose_correction(find_observed_limits(1e6, 2e6, name, unit))
    assert proposed is not None
    assert parse_quantity(proposed, unit).nominal == pytest.approx(
        parse_quantity(words, unit).nominal
    )


@pytest.mark.parametrize(
    ("written", "step"),
    [("3.4 V", 0.1), ("3.40 V", 0.01), ("34 mV", 1e-3), ("3 V", 1.0), ("0 V", 0.0)],
)
def test_the_last_digit_written_shows_the_rounding(written: str, step: float) -> None:
    (sample,) = compute_observed_ranges([note(0, dc=written)], "bars")["dc"].kept
    assert sample.step == pytest.approx(step)


def test_the_coarsest_rounding_is_the_least_spread() -> None:
    """Equal readings: the interval is as wide as a last digit of 0.5 V makes it."""
    fine, coarse = observe_values(*[3.0] * 6, step=0.01), observe_values(*[3.0] * 6, step=0.5)
    assert fine.high is not None
    assert coarse.high is not None
    assert coarse.high - 3.0 > 1.645 * 0.5 / math.sqrt(12)
    assert coarse.high - 3.0 == pytest.approx(50 * (fine.high - 3.0), rel=1e-4)


class TestBesideTheCatalogue:
    @pytest.fixture
    def pin(self) -> Pin:
        bars = {"condition": "bars", "dc": "5 V", "source": {"id": "sheet"}}
        fields = {"number": 1, "symbol": "OUT", "function": "output", "role": "output"}
        return Pin.model_validate({**fields, "expectations": [bars]})

    @pytest.fixture
    def bars(self, pin: Pin) -> Expectation:
        return pin.expectations[0]

    @pytest.fixture
    def notes(self) -> list[Note]:
        return [note(number, dc=f"{volts} V") for number, volts in enumerate(VOLTS)]

    def test_good_sets_that_contradict_it_propose_another_value(
        self, pin: Pin, bars: Expectation, notes: list[Note]
    ) -> None:
        (beside,) = compare_with_catalogue(pin, bars, notes)
        assert beside.catalogue is not None
        assert beside.catalogue.typ == 5.0
        assert beside.correction is not None
        assert parse_quantity(beside.correction, "V").nominal == pytest.approx(MIDDLE)

    def test_enough_readings_are_judged_by_and_few_are_not(
        self, pin: Pin, bars: Expectation, notes: list[Note]
    ) -> None:
        preferred, reasons = prefer_observed_limits(pin, bars, notes)
        assert preferred["dc"].typ == pytest.approx(MIDDLE)
        assert preferred["dc"].observed == "observed in 6 sets of 3 shops"
        assert reasons["dc"].startswith("good sets of 3 shops read 2.")
        assert reasons["dc"].endswith("contradict the chip file, 4.5 V to 5.5 V")
        preferred, reasons = prefer_observed_limits(pin, bars, notes[:1])
        assert preferred["dc"].typ == 5.0
        assert reasons["dc"] == "one shop only: no range; held against the chip file"
        assert prefer_observed_limits(pin, bars, [])[1] == {}

    def test_a_range_twice_as_wide_as_the_limits_of_the_catalogue_is_not_judged_by(
        self, pin: Pin, bars: Expectation
    ) -> None:
        wide = [note(number, dc=f"{volts} V") for number, volts in enumerate((3, 5, 7, 4, 5, 6))]
        preferred, reasons = prefer_observed_limits(pin, bars, wide)
        assert preferred["dc"].typ == 5.0
        assert reasons["dc"] == "good sets differ widely; held against the chip file"

    def test_notes_of_other_pins_do_not_count(
        self, pin: Pin, bars: Expectation, notes: list[Note]
    ) -> None:
        others = [one.model_copy(update={"at": "pin 2"}) for one in notes]
        assert prefer_observed_limits(pin, bars, others)[0]["dc"].typ == 5.0
