"""The circuit around a chip: the healthy one reads the catalogue, a broken one reads possible."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.elements import Element, elements_of
from pinfolio.plugins.faultfinding.failures import (
    PIN_JOINT,
    Effect,
    FaultDictionary,
    fault_dictionary,
)
from pinfolio.schema import Chip, Part

Readings = Callable[[str, str, str], FaultDictionary]


@cache
def demo_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


@cache
def readings(stem: str, condition: str) -> FaultDictionary:
    return fault_dictionary(demo_chip(stem), condition)


def failed(stem: str, condition: str, failure: str) -> dict[str, Effect]:
    """What every point reads with ``C302 open``."""
    found = readings(stem, condition).failed
    return next(effects for name, effects in found.items() if str(name) == failure)


def in_use(stem: str) -> list[str]:
    """Conditions in which the chip has power: some pin shows a signal."""
    chip = demo_chip(stem)
    return [
        condition.name
        for condition in chip.conditions
        if any(
            (found := pin.expectation(condition.name)) and found.waveform is not None
            for pin in chip.pins
        )
    ]


EVERY_CHIP = sorted(path.stem for path in chip_files())
CASES = [(stem, condition) for stem in EVERY_CHIP for condition in in_use(stem)]


def known(stem: str, condition: str) -> Iterator[tuple[str, float | None, float | None]]:
    """Point, DC and peak-to-peak volts of every pin in the catalogue."""
    for pin in demo_chip(stem).pins:
        expectation = pin.expectation(condition)
        if expectation is not None:
            dc_v = expectation.dc.nominal if expectation.dc is not None else None
            wave = expectation.waveform
            alternating = wave is not None and wave.amplitude_hz > 0
            yield f"pin {pin.number}", dc_v, wave.vpp_v if wave and alternating else None


@pytest.mark.parametrize(("stem", "condition"), CASES)
def test_the_healthy_circuit_reads_the_catalogue(stem: str, condition: str) -> None:
    healthy = readings(stem, condition).healthy
    for point, dc_v, vpp_v in known(stem, condition):
        if dc_v is not None:
            assert healthy[point].dc_v == pytest.approx(dc_v, rel=1e-6, abs=1e-6), point
        if vpp_v is not None:
            assert healthy[point].vpp_v == pytest.approx(vpp_v, rel=1e-6), point


@pytest.mark.parametrize(("stem", "condition"), CASES)
def test_no_failure_reads_more_than_there_is(stem: str, condition: str) -> None:
    found = readings(stem, condition)
    supplies = [supply.voltage.nominal for supply in demo_chip(stem).supplies]
    shown = [abs(v) for effect in found.healthy.values() for v in (effect.dc_v,) if v is not None]
    waves = [e.waveform.vpp_v for p in demo_chip(stem).pins for e in p.expectations if e.waveform]
    highest_v = max(*supplies, *shown, *waves) * 1.001
    assert found.failed
    for failure, effects in found.failed.items():
        assert effects.keys() == found.healthy.keys(), failure
        for effect in effects.values():
            assert effect.dc_v is not None
            assert math.isfinite(effect.dc_v)
            assert abs(effect.dc_v) <= highest_v, failure
            assert effect.vpp_v is None or 0 <= effect.vpp_v <= highest_v, failure


@pytest.mark.parametrize("stem", EVERY_CHIP)
def test_every_part_with_a_value_can_fail(stem: str) -> None:
    """Parts that amplify or wind are not in a linear network; all the others are."""
    left_out = ("transistor", "transformer", "connector", "delay line")
    found = {f.ref for f in readings(stem, in_use(stem)[0]).failed if f.kind != PIN_JOINT}
    parts = demo_chip(stem).application.parts
    assert found == {part.ref for part in parts if part.kind not in left_out}


def test_an_open_coupling_capacitor_takes_the_signal_and_leaves_the_dc() -> None:
    """C302 couples green: open, pin 2 still reads its clamp voltage (chip file)."""
    right = readings("mdq3724", "colour bars").healthy["pin 2"]
    found = failed("mdq3724", "colour bars", "C302 open")["pin 2"]
    assert found.dc_v == pytest.approx(right.dc_v, rel=1e-3)
    assert found.vpp_v == pytest.approx(0, abs=1e-3)


def test_before_an_open_coupling_capacitor_the_signal_is_there() -> None:
    found = failed("mdq3724", "colour bars", "C302 open")["socket-a-green"]
    assert found.vpp_v == pytest.approx(0.7, rel=0.05)


def test_a_leaky_timing_capacitor_pulls_its_pin_down() -> None:
    """The more it leaks the lower; a megohm halves 6 V behind a megohm (Ohm)."""
    right_v = readings("kye2620", "no signal").healthy["pin 2"].dc_v
    leaks = [failed("kye2620", "no signal", f"C501 leaky, {k} kΩ")["pin 2"].dc_v for k in
             (1000, 100, 10)]  # fmt: skip
    assert right_v is not None
    assert leaks[0] == pytest.approx(right_v / 2, rel=1e-2)
    assert sorted([right_v, *leaks], reverse=True) == [right_v, *leaks]


def test_a_shorted_capacitor_to_ground_takes_dc_and_signal() -> None:
    found = failed("kye2620", "no signal", "C501 shorted")["pin 2"]
    assert found.dc_v == pytest.approx(0, abs=1e-3)
    assert found.vpp_v == pytest.approx(0, abs=1e-3)


def test_a_dried_out_electrolytic_changes_no_dc() -> None:
    """Whichever it is, in whichever chip: capacitance carries no direct current."""
    for stem, condition in CASES:
        found = readings(stem, condition)
        for failure, effects in found.failed.items():
            if failure.mode == "dried out":
                for point, effect in effects.items():
                    assert effect.dc_v == pytest.approx(found.healthy[point].dc_v, abs=1e-6)


def test_a_dried_out_electrolytic_earths_less() -> None:
    """C752 earths the foot of TQZ3609's DC feedback at field rate: dried out, pin 1 gets more."""
    right_v = readings("tqz3609", "colour bars").healthy["pin 1"].vpp_v
    dried_v = failed("tqz3609", "colour bars", "C752 dried out")["pin 1"].vpp_v
    assert right_v is not None
    assert dried_v is not None
    assert dried_v > 1.03 * right_v


def test_either_side_of_a_preset_can_open() -> None:
    """P301's slider feeds pin 22: open below it goes up, open above it goes down."""
    right_v = readings("mdq3724", "colour bars").healthy["pin 22"].dc_v
    above = failed("mdq3724", "colour bars", "P301 open, pin 12 to pin 22")["pin 22"].dc_v
    below = failed("mdq3724", "colour bars", "P301 open, pin 22 to ground")["pin 22"].dc_v
    assert above is not None
    assert right_v is not None
    assert below is not None
    assert above < right_v < below


def test_an_open_ceramic_filter_stops_what_it_passed() -> None:
    """F203 takes the 5.5 MHz sound to pin 16."""
    right = readings("ogx1524", "colour bars").healthy["pin 16"]
    found = failed("ogx1524", "colour bars", "F203 open")["pin 16"]
    assert right.vpp_v == pytest.approx(0.06)
    assert found.vpp_v == pytest.approx(0, abs=1e-4)
    assert found.dc_v == pytest.approx(right.dc_v, rel=1e-3)


@given(
    ohm=st.floats(1, 1e6), henry=st.floats(1e-9, 1), farad=st.floats(1e-12, 1e-3),
    hz=st.floats(10, 1e8),
)  # fmt: skip
def test_an_element_never_makes_power(ohm: float, henry: float, farad: float, hz: float) -> None:
    """The real part of a passive admittance is not negative."""
    element = Element("Z", "coil", ("a", "b"), ohm, henry, farad, parallel_ohm=1e9)
    assert element.siemens(hz).real >= 0


def test_a_crystal_is_purely_resistive_at_its_series_resonance() -> None:
    """Butterworth-Van Dyke: there L1 and C1 cancel, R1 is left beside the holder (IEC 60444-1)."""
    crystal = Part(ref="X1", kind="crystal", value="4.43361875 MHz", joins=("a", "b"))
    (element,) = elements_of(crystal)
    henry, farad = element.inductance_h, element.capacitance_f
    series_hz = 1 / (2 * math.pi * math.sqrt(henry * farad))
    assert element.siemens(series_hz).real == pytest.approx(1 / element.series_ohm, rel=1e-6)
