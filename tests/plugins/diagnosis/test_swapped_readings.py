"""Readings that look like a slip: the slips reported, and the readings accepted."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.swapped_readings import (
    MixUp,
    doubt_readings,
    find_mix_ups,
)
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, Observation
from pinfolio.plugins.readings.checks import check_list
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

MONITOR = load_chip(next(path for path in chip_files() if path.stem == "mdq3724"))
DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
GREEN, DRIVE = "pin 2", "17"  # a 0.7 Vpp input, and the output that it becomes


def find_slips(*lines: str) -> tuple[MixUp, ...]:
    taken = [read_line(line) for line in lines]
    return find_mix_ups(MONITOR, check_list(MONITOR, taken, DIGITISING, "colour bars").pins)


def read_nominal(pin: str) -> tuple[float, float]:
    """Volts DC and peak to peak that a pin should show."""
    expectation = MONITOR.pin(pin).expectation("colour bars")
    return expectation.dc.nominal, expectation.waveform.vpp_v


@pytest.mark.parametrize(("factor", "said"), [(0.1, "probe was at x10"), (10, "probe was at x1 ")])
def test_a_factor_of_ten_is_the_probe(factor: float, said: str) -> None:
    _, vpp_v = read_nominal(DRIVE)
    (mix_up,) = find_slips(f"{DRIVE} vpp={factor * vpp_v:.4g}Vpp")
    assert said in mix_up.said
    assert mix_up.points == ((f"pin {DRIVE}", "vpp"),)


def test_what_reads_right_is_not_mixed_up() -> None:
    dc_v, vpp_v = read_nominal(DRIVE)
    assert find_slips(f"{DRIVE} dc={dc_v}V vpp={vpp_v}Vpp") == ()


def test_what_was_taken_again_and_agrees_is_no_slip() -> None:
    _, vpp_v = read_nominal(DRIVE)
    line = f"{DRIVE} vpp={vpp_v / 10:.4g}Vpp"
    assert find_slips(line, line) == ()


def test_two_pins_that_read_what_the_other_should_are_exchanged() -> None:
    """Any two neighbours of the chip whose voltages differ."""
    pins = {pin.number: pin.expectation("colour bars") for pin in MONITOR.pins}
    first = next(
        number
        for number, e in pins.items()
        if e is not None and e.dc is not None and (other := pins.get(number + 1)) is not None
        and other.dc is not None and min(e.dc.nominal, other.dc.nominal) > 0.5
        and not 0.5 < e.dc.nominal / other.dc.nominal < 2
    )  # fmt: skip
    volts = pins[first].dc.nominal, pins[first + 1].dc.nominal
    told = find_slips(f"{first} dc={volts[1]}V", f"{first + 1} dc={volts[0]}V")
    assert f"Pins {first} and {first + 1} seem to be exchanged" in told[0].said
    assert len(told[0].points) == 2


def test_one_pin_that_reads_what_its_neighbour_should() -> None:
    pins = {pin.number: pin.expectation("colour bars") for pin in MONITOR.pins}
    number = next(
        n
        for n, e in pins.items()
        if e is not None and e.dc is not None and (other := pins.get(n + 1)) is not None
        and other.dc is not None and min(e.dc.nominal, other.dc.nominal) > 0.5
        and not 0.5 < e.dc.nominal / other.dc.nominal < 2
    )  # fmt: skip
    (mix_up,) = find_slips(f"{number} dc={pins[number + 1].dc.nominal}V")
    assert f"Pin {number} reads what pin {number + 1} should: count again" in mix_up.said


def test_only_what_is_mixed_up_is_doubted() -> None:
    one, other = (Observation(at, "vpp", verdict="too low") for at in ("pin 1", "pin 2"))
    told = doubt_readings(Evidence((one, other)), [MixUp("...", (("pin 2", "vpp"),))], 0.3)
    assert [seen.slip for seen in told.observations] == [one.slip, 0.3]


def test_a_job_says_so_and_names_nothing_to_replace() -> None:
    _, vpp_v = read_nominal(DRIVE)
    job = find_fault(MONITOR, [], [read_line(f"{DRIVE} vpp={vpp_v / 10:.4g}Vpp")], DIGITISING)
    assert "Check the switch" in job.contradictions[0]
    assert (f"pin {DRIVE}", "vpp") in job.again
    assert "again" in job.conclusion
