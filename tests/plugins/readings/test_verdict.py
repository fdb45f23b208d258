"""Verdicts on the demo's pins: right, wrong, on the edge, and the cause that a ratio suggests."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.instruments.oscillator_loading import (
    compute_pull_hz,
    describe_oscillator_loading,
)
from pinfolio.plugins.readings.checks import NoExpectation, check_list, check_pin
from pinfolio.plugins.readings.pin_readings import read_fields
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.plugins.readings.verdict import PinVerdict
from pinfolio.schema import Chip, print_value
from pinfolio.schema.chips.limits import find_limits
from pinfolio.schema.chips.lookup import UnknownCondition, find_pin
from pinfolio.schema.instruments import Instruments
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import SEEN, BadReading, Reading

from ...demo_chips import DEMO

ORDINARY = BUILT_IN.choose()
DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
JUNGLE = DEMO["tqz5752"]


def judge_reading(
    pin: str, reading: Reading, chosen: Instruments = ORDINARY, condition: str | None = None
) -> PinVerdict:
    return check_pin(JUNGLE, find_pin(JUNGLE, pin), reading, chosen, condition)


@pytest.mark.parametrize(
    ("pin", "reading", "verdict"),
    [
        ("13", Reading(dc_v=3.4), "as expected"),
        ("13", Reading(dc_v=3.4, vpp_v=1.0), "as expected"),
        ("13", Reading(dc_v=2.0), "too low"),
        ("13", Reading(dc_v=7.9), "too high"),
        ("13", Reading(dc_v=0.05), "missing"),
        ("13", Reading(dc_v=3.4, vpp_v=0.4), "too low"),
        ("13", Reading(dc_v=3.07), "cannot tell"),
        ("13", Reading(dc_v=3.4, seen=("unstable",)), "unstable"),
        ("13", Reading(dc_v=3.4, seen=("clipped",)), "distorted"),
        ("13", Reading(seen=("missing",)), "missing"),
        ("17", Reading(frequency_hz=497e3), "cannot tell"),
        ("16", Reading(resistance_ohm=4700), "too low"),
    ],
)
def test_verdicts_on_the_jungle(pin: str, reading: Reading, verdict: str) -> None:
    assert judge_reading(pin, reading).verdict == verdict


def test_a_better_instrument_settles_it() -> None:
    """On an analogue screen 497 kHz may be 500; a digitising timebase knows better."""
    reading = Reading(frequency_hz=497e3)
    assert judge_reading("17", reading, DIGITISING).verdict == "off frequency"
    told = judge_reading("17", reading)
    assert "would settle it" in told.why[0]


def test_an_undersampled_oscillator_is_an_alias_not_a_fault() -> None:
    """At 500 µs per division the oscilloscope takes 500 kS/s and folds 4.43362 MHz to 66.4 kHz."""
    told = judge_reading("46", Reading(frequency_hz=66.4e3), DIGITISING)
    assert told.verdict == "cannot tell"
    assert "an alias; set a faster timebase" in told.why[0]
    assert judge_reading("46", Reading(frequency_hz=66.4e3)).verdict == "off frequency"  # analogue


def test_half_amplitude_and_half_frequency_are_said() -> None:
    assert "half the amplitude" in judge_reading("13", Reading(vpp_v=0.5)).why[0]
    assert (
        "a half of the right frequency" in judge_reading("17", Reading(frequency_hz=250e3)).why[0]
    )


def test_mains_ripple_is_recognised() -> None:
    assert (
        "mains or its ripple" in judge_reading("22", Reading(frequency_hz=100), DIGITISING).why[0]
    )


def test_the_meters_own_load_is_taken_out() -> None:
    """A pointer meter pulls the 10 kΩ pin from 3.4 V to 3.2 V or so: no fault of the pin."""
    pointer = BUILT_IN.choose(meter="pointer meter")
    result = judge_reading("13", Reading(dc_v=3.09), pointer).results[0]
    assert result.corrected.value == pytest.approx(3.09 * (10e3 + 100e3) / 100e3)
    assert result.verdict == "as expected"


def test_every_wrong_verdict_names_two_or_three_causes_at_most() -> None:
    told = judge_reading("16", Reading(dc_v=0.5))
    assert 1 <= len(told.likely) <= 3
    assert judge_reading("13", Reading(dc_v=3.4)).likely == ()


def test_a_low_supply_that_takes_everything_along_is_named() -> None:
    share = 0.85
    right = (("18", 7.9), ("13", 3.4), ("16", 3.6), ("21", 3.9))
    low = [read_line(f"{pin} dc={share * volts:.3f}") for pin, volts in right]
    told = check_list(JUNGLE, low, ORDINARY)
    assert told.together is not None
    assert "Pin 18 VCC2" in told.together
    assert "mend the supply first" in told.together
    healthy = [read_line(f"{pin} dc={volts}") for pin, volts in right]
    assert check_list(JUNGLE, healthy, ORDINARY).together is None


def test_a_list_says_which_readings_it_cannot_judge() -> None:
    lines = ("13 dc=3.4", "C712: leaky", "16 skip", "crystal node: none", "11: 3.4 V")
    told = check_list(JUNGLE, [read_line(line) for line in lines[:3]], ORDINARY)
    assert [one.place for one in told.unjudged] == ["C712", "pin 16 AFC"]
    assert told.is_right


def test_a_word_in_place_of_a_figure_is_a_verdict() -> None:
    assert judge_reading("13", read_fields({"dc": "ok"})).verdict == "as expected"
    assert judge_reading("13", read_fields({"dc": "ok", "vpp": "none"})).verdict == "missing"
    assert judge_reading("13", read_fields({"vpp": "too low", "seen": "hum"})).verdict == "too low"


def test_a_figure_that_wanders_is_unstable() -> None:
    assert judge_reading("13", read_fields({"freq": "15..16 kHz"})).verdict == "unstable"


def test_the_document_keeps_its_contract() -> None:
    document = judge_reading("13", Reading(dc_v=3.1, vpp_v=0.4)).document()
    assert {
        "part",
        "pin",
        "condition",
        "instruments",
        "results",
        "verdict",
        "why",
        "likely",
    } <= set(document)
    result = document["results"][0]
    assert set(result["expected"]) == {"typ", "min", "max", "unit", "tolerance"}
    assert set(result["reading"]) == {"value", "unit", "standard_uncertainty"}
    assert {"corrected", "probability_as_expected", "verdict"} <= set(result)


def test_an_unknown_condition_and_a_pin_without_values() -> None:
    with pytest.raises(UnknownCondition, match="no condition 'dark'"):
        judge_reading("13", Reading(dc_v=1.0), condition="dark")
    with pytest.raises(NoExpectation, match="it is known for"):
        judge_reading("13", Reading(dc_v=1.0), condition="standby")


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ({"dc": "three"}, "dc 'three': expected a voltage in V, such as .*; or one of the words"),
        ({"dc": "3.1 V ± 5 %"}, "expected one figure as it was read"),
        ({"vpp": "-1 Vpp"}, "not negative"),
        ({"seen": "odd"}, "expected one of missing, unstable"),
    ],
)
def test_a_reading_that_cannot_be_understood(written: dict[str, str], told: str) -> None:
    with pytest.raises(BadReading, match=told):
        read_fields(written)


CHIPS = [*DEMO.values()]


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_a_good_set_passes_and_a_dead_one_does_not(chip: Chip) -> None:
    """Every typical DC of the demo is as expected with an ideal pin; nought volts never is."""
    for pin in chip.pins:
        bare = pin.model_copy(update={"resistance": None})
        for expectation in pin.expectations:
            dc = find_limits(pin, expectation).get("dc")
            if dc is None or dc.typ < 0.5:
                continue
            condition = expectation.condition
            good = check_pin(chip, bare, Reading(dc_v=dc.typ), ORDINARY, condition)
            dead = check_pin(chip, bare, Reading(dc_v=0.0), ORDINARY, condition)
            assert good.verdict in ("as expected", "cannot tell"), good.why
            assert dead.verdict in ("missing", "too low") or dc.low <= 0, dead.why


@given(
    st.floats(-5, 20),
    st.floats(0, 10),
    st.floats(1, 1e7),
    st.lists(st.sampled_from(SEEN), max_size=2),
)
def test_any_reading_gets_one_verdict_with_a_reason(
    dc_v: float, vpp_v: float, frequency_hz: float, seen: list[str]
) -> None:
    told = judge_reading("13", Reading(dc_v, vpp_v, frequency_hz, None, tuple(seen)))
    assert told.why
    assert len(told.results) == 3
    assert all(0 <= result.probability <= 1 for result in told.results)
    assert told.is_right == all(r.verdict == "as expected" for r in told.results) or seen


def test_a_frequency_at_a_crystal_is_read_without_the_pull_of_the_probe() -> None:
    """Where the card says that the x10 probe pulls the oscillator low, the reading is put right."""
    pin = find_pin(JUNGLE, "46")
    pull_hz = compute_pull_hz(JUNGLE, pin, ORDINARY.probe)
    (told,) = describe_oscillator_loading(JUNGLE, pin, ORDINARY.probe)
    assert f"about {print_value(-pull_hz, 'Hz', 2)} low" in told
    (figure,) = judge_reading("46", Reading(frequency_hz=4.43361875e6 + pull_hz)).results
    assert figure.corrected.value == pytest.approx(4.43361875e6, abs=0.5)
    (wild,) = judge_reading(
        "46", Reading(frequency_hz=1.05e6)
    ).results  # the crystal does not hold it
    assert wild.corrected.value == 1.05e6
    (elsewhere,) = judge_reading("45", Reading(frequency_hz=4.43361875e6)).results
    assert elsewhere.corrected.value == 4.43361875e6


def test_where_it_cannot_be_told_no_chance_is_named() -> None:
    unclear, clear = judge_reading("46", Reading(vpp_v=0.47, frequency_hz=4.4336e6)).results[::-1]
    assert (unclear.verdict, unclear.chance_words) == ("cannot tell", "")
    assert (clear.verdict, clear.chance_words) == ("as expected", "100%")


@pytest.mark.parametrize(
    ("typed", "half_digit", "verdict"),
    [("3.1 V", 0.05, "cannot tell"), ("3.10 V", 0.005, "as expected"), ("3 V", 0.5, "cannot tell")],
)
def test_a_rounded_figure_tells_no_more_than_its_digits(
    typed: str, half_digit: float, verdict: str
) -> None:
    """Half a digit as the half-width of a rectangle: JCGM 100:2008 (GUM), F.2.2.1 and 4.3.7."""
    reading = read_fields({"dc": typed})
    in_full = judge_reading("13", reading).results[0]
    rounded = judge_reading("13", reading, ORDINARY._replace(is_typed_in_full=False)).results[0]
    expected = (in_full.corrected.uncertainty**2 + half_digit**2 / 3) ** 0.5
    assert rounded.corrected.uncertainty == pytest.approx(expected)
    assert rounded.verdict == verdict
    assert ("give one more digit" in rounded.why) == (verdict == "cannot tell")
