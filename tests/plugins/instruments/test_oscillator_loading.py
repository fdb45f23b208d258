"""A probe on a crystal: the shift of frequency, against the formula of IEC 60122-1.

A crystal with series resonance fs, motional capacitance C1 and holder capacitance C0 oscillates
at fs sqrt(1 + C1 / (C0 + CL)) with a load CL; two capacitors to ground are in series across it.
"""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from pinfolio.plugins.instruments.oscillator_loading import (
    compute_pull_hz,
    describe_oscillator_loading,
    sum_capacitance_f,
)
from pinfolio.schema import Chip, parse_quantity
from pinfolio.schema.instruments import Probe
from pinfolio.schema.instruments.ordinary import BUILT_IN

CRYSTAL_HZ = 4.43361875e6
C1_F, C0_F, CL_F = 16e-15, 5e-12, 20e-12  # an ordinary crystal; common practice, from memory
X1 = BUILT_IN.probes["x1 probe"]
X10 = BUILT_IN.probes["x10 probe"]


def compute_frequency_hz(load_f: float) -> float:
    """Of a crystal that is on frequency with its own load of 20 pF."""
    return CRYSTAL_HZ * math.sqrt((1 + C1_F / (C0_F + load_f)) / (1 + C1_F / (C0_F + CL_F)))


def join_in_series_f(one_f: float, other_f: float) -> float:
    return 1 / (1 / one_f + 1 / other_f)


def make_oscillator(*parts: dict[str, Any], capacitance: str | None = None) -> Chip:
    """A chip of eight pins with the given parts, of which pins 1 and 2 are the oscillator."""
    pin = {"function": "oscillator", "role": "oscillator"}
    unused = {"function": "not connected", "role": "unused"}
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1",
            "part": "QZ1",
            "maker": "Nobody",
            "kind": "chroma/luma processor",
            "summary": "Invented for this test.",
            "invented": True,
            "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "9 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "colour bars", "means": "Bars."}],
            "pins": [
                {"number": 1, "symbol": "XIN", "capacitance": capacitance, **pin},
                {"number": 2, "symbol": "XOUT", **pin},
                *({"number": n, "symbol": f"NC{n}", **unused} for n in range(3, 7)),
                {"number": 7, "symbol": "GND", "function": "ground", "role": "ground"},
                {"number": 8, "symbol": "VCC", "function": "supply", "role": "supply"},
            ],
            "application": {
                "parts": [{"purpose": "clock", **part} for part in parts],
                "nodes": [{"id": "middle", "name": "between two parts"}],
            },
        }
    )


def part(ref: str, kind: str, value: str, *joins: str) -> dict[str, Any]:
    return {"ref": ref, "kind": kind, "value": value, "joins": list(joins)}


CRYSTAL = part("X1", "crystal", "4.43361875 MHz", "pin 1", "pin 2")
LOADS = (
    part("C1", "capacitor", "47 pF", "pin 1", "ground"),
    part("C2", "trimmer capacitor", "33 pF", "pin 2", "ground"),
)


def read_remark(chip: Chip, probe: Probe) -> str:
    (sentence,) = describe_oscillator_loading(chip, chip.pins[0], probe)
    return sentence


def shift_hz(sentence: str) -> float:
    """The shift that a sentence names, which has two digits; lower is negative."""
    named = re.search(r"about (.*Hz) low", sentence)
    assert named is not None
    return -parse_quantity(named[1], "Hz").nominal


def test_without_capacitors_the_probe_adds_to_the_specified_load() -> None:
    expected_hz = compute_frequency_hz(CL_F + 15e-12) - CRYSTAL_HZ
    found_hz = shift_hz(read_remark(make_oscillator(CRYSTAL), X10))
    assert found_hz == pytest.approx(expected_hz, rel=0.05)


def test_with_capacitors_at_both_ends_the_probe_adds_to_one_of_them() -> None:
    """The pin's own 10 pF is part of the load at its end."""
    before_f = join_in_series_f(57e-12, 33e-12)
    after_f = join_in_series_f(57e-12 + 15e-12, 33e-12)
    expected_hz = compute_frequency_hz(after_f) - compute_frequency_hz(before_f)
    chip = make_oscillator(CRYSTAL, *LOADS, capacitance="10 pF")
    assert shift_hz(read_remark(chip, X10)) == pytest.approx(expected_hz, rel=0.05)
    assert shift_hz(read_remark(chip, X10)) > shift_hz(
        read_remark(make_oscillator(CRYSTAL, *LOADS), X10)
    )


def test_a_capacitor_at_one_end_only_is_not_a_known_load() -> None:
    one_end = read_remark(make_oscillator(CRYSTAL, LOADS[0]), X10)
    assert one_end == read_remark(make_oscillator(CRYSTAL), X10)


def test_the_part_and_the_capacitance_are_named() -> None:
    assert read_remark(make_oscillator(CRYSTAL), X10).startswith(
        "The x10 probe adds 15 pF to X1: the oscillator runs about "
    )
    assert read_remark(make_oscillator(CRYSTAL), X10).endswith("Hz low.")


@pytest.mark.parametrize(("capacitance", "stops"), [("40 pF", False), ("41 pF", True)])
def test_more_than_twice_the_specified_load_may_stop_it(capacitance: str, stops: bool) -> None:
    """Common practice; the crystal is specified for 20 pF."""
    probe = Probe.model_validate(X10.model_dump(mode="json") | {"capacitance": capacitance})
    assert ("may stop" in read_remark(make_oscillator(CRYSTAL), probe)) == stops


def test_only_a_x1_probe_can_be_bettered() -> None:
    assert "use the x10 probe" in read_remark(make_oscillator(CRYSTAL), X1)
    assert "use the x10 probe" not in read_remark(make_oscillator(CRYSTAL), X10)


@pytest.mark.parametrize(("probe_pf", "mentioned"), [(0.075, False), (0.085, True)])
def test_a_shift_of_one_part_in_a_million_is_the_least_mentioned(
    probe_pf: float, mentioned: bool
) -> None:
    """By the pulling sensitivity of IEC 60122-1, C1 / (2 (C0 + CL)²): 12.8 ppm for a picofarad."""
    hardly = Probe.model_validate(X10.model_dump(mode="json") | {"capacitance": f"{probe_pf} pF"})
    assert (12.8 * probe_pf > 1) == mentioned
    chip = make_oscillator(CRYSTAL)
    assert bool(describe_oscillator_loading(chip, chip.pins[0], hardly)) == mentioned


def test_the_shift_is_an_estimate_of_two_digits() -> None:
    expected_hz = CRYSTAL_HZ - compute_frequency_hz(CL_F + 100e-12)
    assert f"about {expected_hz / 1e3:.2g} kHz low" in read_remark(make_oscillator(CRYSTAL), X1)


@pytest.mark.parametrize(
    "other",
    [
        part("R1", "resistor", "1 kΩ", "pin 1", "pin 2"),
        part("X1", "crystal", "4.43361875 MHz", "pin 2", "ground"),
    ],
    ids=["no resonator", "on another pin"],
)
def test_a_pin_without_a_resonator_has_no_remark(other: dict[str, Any]) -> None:
    chip = make_oscillator(other)
    assert describe_oscillator_loading(chip, chip.pins[0], X1) == []


def test_the_pull_is_negative_and_nothing_without_a_resonator_or_its_frequency() -> None:
    chip = make_oscillator(CRYSTAL)
    expected_hz = compute_frequency_hz(CL_F + 15e-12) - CRYSTAL_HZ
    assert compute_pull_hz(chip, chip.pins[0], X10) == pytest.approx(expected_hz)
    assert compute_pull_hz(chip, chip.pins[2], X10) == 0.0
    nameless = make_oscillator({**CRYSTAL, "value": None})
    assert compute_pull_hz(nameless, nameless.pins[0], X10) == 0.0
    assert describe_oscillator_loading(nameless, nameless.pins[0], X10) == []


def test_both_leads_of_a_resonator_on_one_pin_make_no_oscillator() -> None:
    chip = make_oscillator(part("X1", "crystal", "4.43361875 MHz", "pin 1", "pin 2"))
    crystal = chip.application.parts[0].model_copy(update={"joins": ("pin 1", "pin 1")})
    shorted = chip.application.model_copy(update={"parts": (crystal,)})
    found = chip.model_copy(update={"application": shorted})
    assert compute_pull_hz(found, found.pins[0], X10) == 0.0


def test_capacitors_to_ground_add_up_and_others_do_not_count() -> None:
    chip = make_oscillator(
        *LOADS,
        part("C3", "capacitor", "10 pF", "ground", "pin 1"),
        part("C4", "capacitor", "100 pF", "pin 1", "pin 2"),
        part("R1", "resistor", "1 kΩ", "pin 1", "ground"),
    )
    assert sum_capacitance_f(chip, "pin 1") == pytest.approx(57e-12)
    assert sum_capacitance_f(chip, "pin 2") == pytest.approx(33e-12)
    assert sum_capacitance_f(chip, "pin 3") == 0.0


@pytest.mark.parametrize(("capacitance", "pin_f"), [("100 pF", 100e-12), (None, 20e-12)])
def test_behind_a_small_series_capacitor_the_probe_adds_to_the_pin(
    capacitance: str | None, pin_f: float
) -> None:
    """22 pF in series with the pin's are the load; the probe's 15 pF lie beside the pin's.

    A pin of unknown capacitance has 20 pF. Common practice.
    """
    behind = (
        part("C1", "capacitor", "22 pF", "pin 1", "middle"),
        part("X1", "crystal", "4.43361875 MHz", "middle", "ground"),
    )
    chip = make_oscillator(*behind, capacitance=capacitance)
    loads_f = [join_in_series_f(pin_f + probe_f, 22e-12) for probe_f in (15e-12, 0.0)]
    expected_hz = compute_frequency_hz(loads_f[0]) - compute_frequency_hz(loads_f[1])
    assert shift_hz(read_remark(chip, X10)) == pytest.approx(expected_hz, rel=0.05)


def test_behind_a_resistor_there_is_no_oscillator_to_load() -> None:
    chip = make_oscillator(
        part("R1", "resistor", "1 kΩ", "pin 1", "middle"),
        part("X1", "crystal", "4.43361875 MHz", "middle", "ground"),
    )
    assert compute_pull_hz(chip, chip.pins[0], X10) == 0.0


def test_a_capacitor_to_ground_beside_a_far_crystal_is_not_in_series_with_it() -> None:
    apart = (
        part("C1", "capacitor", "22 pF", "pin 1", "ground"),
        part("X1", "crystal", "4.43361875 MHz", "pin 2", "ground"),
    )
    assert (
        describe_oscillator_loading(make_oscillator(*apart), make_oscillator(*apart).pins[0], X10)
        == []
    )
