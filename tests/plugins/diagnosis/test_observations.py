"""Readings as observations: the effect of the chosen instruments on a figure and its doubt.

An error of so many percent is taken as a rectangle: its standard uncertainty is that over √3
(JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.evidence.observations import Observation, gather_evidence
from pinfolio.plugins.readings.checks import check_pin
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments import Instruments
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

CHIPS = {path.stem: path for path in chip_files()}
PAL_HZ = 4.43361875e6


def observed(stem: str, line: str, chosen: Instruments) -> Observation:
    chip = load_chip(CHIPS[stem])
    (one,) = gather_evidence(chip, "colour bars", [read_line(line)], chosen).observations
    return one


@pytest.mark.parametrize(
    ("counter", "percent"), [("counter", 1e-3), ("oven counter", 1e-5), ("meter with counter", 0.1)]
)
def test_the_chosen_counter_bounds_a_frequency(counter: str, percent: float) -> None:
    """Written to 0.1 Hz at the subcarrier output, where no probe pulls anything."""
    one = observed("tqz5752", "45 freq=4433618.7Hz", BUILT_IN.choose(counter=counter))
    digits_hz = 0.05 / math.sqrt(3)
    instrument_hz = percent / 100 * PAL_HZ / math.sqrt(3)
    assert one.value == pytest.approx(4433618.7)
    assert one.uncertainty == pytest.approx(math.hypot(instrument_hz, digits_hz), rel=1e-6)


def test_a_coarse_counter_does_not_gain_by_the_digits_that_are_written() -> None:
    fine = observed("tqz5752", "45 freq=4433618.7Hz", BUILT_IN.choose(counter="meter with counter"))
    assert fine.uncertainty > 2000


def test_without_a_counter_many_digits_speak_of_an_ordinary_one_and_few_of_the_screen() -> None:
    chosen = BUILT_IN.choose()
    counted = observed("tqz5752", "45 freq=4433619Hz", chosen)
    by_counter = observed("tqz5752", "45 freq=4433619Hz", BUILT_IN.choose(counter="counter"))
    assert counted.uncertainty == pytest.approx(by_counter.uncertainty)
    assert observed("tqz5752", "45 freq=4.43MHz", chosen).uncertainty > 0.01 * PAL_HZ


@pytest.mark.parametrize(("probe", "probe_f"), [("x10 probe", 15e-12), ("x1 probe", 100e-12)])
def test_the_probe_pulls_a_crystal_down_and_the_reading_is_put_right(
    probe: str, probe_f: float
) -> None:
    """KYE4728, pin 4: 22 pF and the pin's 100 pF in series; C1 16 fF, C0 5 pF (common practice).

    df / f = C1/2 (1/(C0+CL') - 1/(C0+CL)), the first order of the Butterworth-Van Dyke circuit.
    """
    chosen = BUILT_IN.choose(probe=probe, counter="oven counter")
    one = observed("kye4728", "4 freq=4433300.0Hz", chosen)
    before, after = (22e-12 * pin / (22e-12 + pin) for pin in (100e-12, 100e-12 + probe_f))
    pull_hz = PAL_HZ * 8e-15 * (1 / (5e-12 + after) - 1 / (5e-12 + before))
    assert pull_hz < -20
    assert one.value == pytest.approx(4433300 - pull_hz, abs=abs(0.01 * pull_hz))
    assert one.uncertainty == pytest.approx(0.3 * abs(pull_hz) / math.sqrt(3), rel=0.05)


def test_in_lock_the_loop_holds_the_crystal_against_the_probe() -> None:
    """Read on frequency, it is on frequency: the burst sets it, and the loop makes up the pull."""
    one = observed("kye4728", "4 freq=4433618.7Hz", BUILT_IN.choose(counter="oven counter"))
    assert one.value == pytest.approx(4433618.7)


def test_an_oscillator_that_runs_wild_is_not_held_by_its_crystal() -> None:
    one = observed("kye4728", "4 freq=1.0500MHz", BUILT_IN.choose(counter="counter"))
    assert one.value == 1.05e6


@pytest.mark.parametrize(
    ("line", "reading"),
    [
        ("4 freq=4.433300MHz", Reading(frequency_hz=4.4333e6)),
        ("4 vpp=0.3Vpp", Reading(vpp_v=0.3)),
    ],
)
def test_the_hunt_puts_a_reading_right_as_the_card_does(line: str, reading: Reading) -> None:
    chosen = BUILT_IN.choose(counter="oven counter", probe="x1 probe")
    chip = load_chip(CHIPS["kye4728"])
    judged = check_pin(chip, chip.pins[3], reading, chosen, "colour bars")
    (result,) = judged.results
    assert result.corrected.value == pytest.approx(observed("kye4728", line, chosen).value)
