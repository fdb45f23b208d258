"""A reading of 10 V from 9 V to 11 V on a pin of no resistance: where one verdict ends.

The standard uncertainty of a digital meter's reading is its half-width over sqrt(3) (GUM, 4.3.7):
0.5 % and two counts of 10 mV make 65 mV at 9 V, and 38 mV.
"""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.plugins.readings.checks import NoExpectation, check_pin, choose_expectation
from pinfolio.plugins.readings.verdict import PinVerdict
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

ORDINARY = BUILT_IN.choose()
SINE = {"kind": "sine", "frequency": "1 kHz", "vpp": "2 Vpp"}
FAST = {"kind": "sine", "frequency": "1 MHz", "vpp": "2 Vpp"}


@pytest.fixture
def chip() -> Chip:
    def shown(condition: str, **figures: Any) -> dict[str, Any]:
        return {"condition": condition, "source": {"id": "sheet"}, **figures}

    pins: list[dict[str, Any]] = [
        {"symbol": "DC", "role": "output", "expectations": [shown("bars", dc="9 V to 11 V")]},
        {"symbol": "SINE", "role": "output", "expectations": [shown("bars", waveform=SINE)]},
        {
            "symbol": "BOTH", "role": "output",
            "expectations": [shown("idle", dc="5 V"), shown("bars", dc="6 V", waveform=SINE)],
        },
        {
            "symbol": "FAST", "role": "output", "resistance": "10 kΩ",
            "expectations": [shown("bars", waveform=FAST)],
        },
        *({"symbol": f"NC{n}", "role": "unused"} for n in range(5, 7)),
        {"symbol": "GND", "role": "ground"},
        {"symbol": "VCC", "role": "supply"},
    ]  # fmt: skip
    fields = [{"number": n, "function": pin["symbol"], **pin} for n, pin in enumerate(pins, 1)]
    conditions = ({"name": name, "means": name} for name in ("idle", "bars"))
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
            "conditions": list(conditions), "pins": fields,
            "application": {"parts": [{
                "ref": "C1", "kind": "capacitor", "value": "1 nF", "purpose": "filter",
                "joins": ["pin 4", "ground"],
            }]},
        }
    )  # fmt: skip


def judge(chip: Chip, pin: int, reading: Reading, **names: str) -> PinVerdict:
    return check_pin(chip, chip.pins[pin - 1], reading, BUILT_IN.choose(**names))


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        (9.07, "as expected"),  # 1.85 uncertainties inside: 97 %
        (9.055, "cannot tell"),  # 1.45: 93 %
        (8.945, "cannot tell"),
        (8.93, "too low"),
        (1.1, "too low"),  # more than a tenth of 10 V
        (0.9, "missing"),
        (0.0, "missing"),
        (-0.9, "missing"),
        (-1.1, "too low"),
        (10.92, "as expected"),
        (11.1, "too high"),
    ],
)
def test_the_verdict_on_a_voltage(chip: Chip, volts: float, verdict: str) -> None:
    """95 % is 1.645 uncertainties (JCGM 106); a tenth of the voltage counts as missing."""
    assert judge(chip, 1, Reading(dc_v=volts)).verdict == verdict


@pytest.mark.parametrize(
    ("volts", "needed"), [(9.04, "20 mV"), (9.0, "3.8 mV"), (10.98, "10 mV"), (8.96, "20 mV")]
)
def test_an_instrument_good_to_half_the_way_would_settle_it(
    chip: Chip, volts: float, needed: str
) -> None:
    """To the nearer limit, but no better than a tenth of the uncertainty there is."""
    (why,) = judge(chip, 1, Reading(dc_v=volts)).why
    assert why.endswith(
        f"cannot be told apart from 9 V to 11 V; an instrument good to {needed} would settle it"
    )


def test_the_interval_in_words_has_two_uncertainties(chip: Chip) -> None:
    (why,) = judge(chip, 1, Reading(dc_v=9.0)).why
    assert why.startswith("DC: 9 V ± 75 mV cannot be told apart")


def test_a_signal_may_be_missing_and_a_frequency_only_off(chip: Chip) -> None:
    assert judge(chip, 2, Reading(vpp_v=0.1)).verdict == "missing"
    assert judge(chip, 2, Reading(vpp_v=0.4)).verdict == "too low"
    assert judge(chip, 2, Reading(frequency_hz=70.0)).verdict == "off frequency"


def test_the_worst_figure_is_the_verdict_on_the_pin(chip: Chip) -> None:
    judged = judge(chip, 3, Reading(dc_v=6.0, vpp_v=0.05))
    assert [result.verdict for result in judged.results] == ["as expected", "missing"]
    assert judged.verdict == "missing"
    assert judged.why[0].startswith("Amplitude: ")
    assert not judged.is_right


def test_a_word_counts_beside_the_figures(chip: Chip) -> None:
    hums = judge(chip, 1, Reading(dc_v=10.0, seen=("hum",)))
    assert hums.verdict == "distorted"
    assert hums.why == ("hum on it: mains ripple from a supply, or an open ground", hums.why[1])


def test_figures_without_limits_are_not_judged(chip: Chip) -> None:
    judged = judge(chip, 1, Reading(vpp_v=1.0, frequency_hz=50.0))
    assert judged.verdict == "cannot tell"
    assert judged.results == ()
    assert judged.why == (
        "vpp: nothing to hold it against", "frequency: nothing to hold it against",
    )  # fmt: skip


def test_capacitors_at_the_pin_count_as_the_probe_loads_it(chip: Chip) -> None:
    """1 nF beside the pin: the 15 pF of a tip take 1.5 % of a fast signal, not 70 %."""
    (result,) = judge(chip, 4, Reading(vpp_v=2.0)).results
    assert result.corrected.value == pytest.approx(2.0, rel=0.02)
    assert result.corrected.value > 2.02


def test_a_telltale_ratio_is_named_for_a_wrong_figure_only(chip: Chip) -> None:
    assert "half the amplitude" in judge(chip, 2, Reading(vpp_v=1.0)).why[0]
    assert "half" not in judge(chip, 2, Reading(vpp_v=2.0)).why[0]


def test_the_condition_that_answers_most_of_the_reading_is_chosen(chip: Chip) -> None:
    both = chip.pins[2]
    assert choose_expectation(chip, both, Reading(dc_v=5.0, vpp_v=2.0), None).condition == "bars"
    assert choose_expectation(chip, both, Reading(dc_v=5.0), "idle").condition == "idle"
    with pytest.raises(NoExpectation, match=r"pin 1 DC in 'idle'; it is known for bars$"):
        choose_expectation(chip, chip.pins[0], Reading(dc_v=5.0), "idle")
    with pytest.raises(NoExpectation, match=r"pin 7 GND$"):
        choose_expectation(chip, chip.pins[6], Reading(dc_v=5.0), None)
