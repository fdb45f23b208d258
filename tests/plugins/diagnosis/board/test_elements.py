"""Parts as admittances, against the impedances of circuit theory.

Sources: Z = R + j (omega L - 1 / (omega C)) in series, admittances in parallel, any circuit
textbook; the Butterworth-Van Dyke circuit of a crystal, IEC 60122-1. Losses are common practice.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.elements import (
    Element,
    estimate_coil_ohm,
    list_elements,
    list_windings,
    make_element,
    open_element,
    short_element,
)
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.schema import Part

DRAWS = 64


def make_part(kind: str, *joins: str, value: str | None = None, **fields: Any) -> Part:
    given = {"ref": "P1", "kind": kind, "joins": joins, "value": value, "purpose": "test"}
    return Part.model_validate({**given, **fields})


def make_elements(
    kind: str, *joins: str, value: str | None = None, **fields: Any
) -> tuple[Element, ...]:
    part = make_part(kind, *joins, value=value, **fields)
    return list_elements(part, Draws(DRAWS, 1), {})


def make_only_element(kind: str, value: str | None = None, **fields: Any) -> Element:
    (found,) = make_elements(kind, "pin 1", "ground", value=value, **fields)
    assert found.ends == ("pin 1", "ground")
    return found


def compute_typical_ohm(found: Element, frequency_hz: float) -> complex:
    """Impedance of the middle draw by size."""
    ohm = 1 / found.compute_siemens(frequency_hz)
    return complex(ohm[np.argsort(np.abs(ohm))[DRAWS // 2]])


def compute_plain_ohm(**figures: float) -> complex:
    """Impedance of one element at 1 kHz."""
    return complex(1 / make_element("P1", "test", ("a", "b"), 1, **figures).compute_siemens(1e3)[0])


OMEGA = 2 * math.pi * 1e3


def test_resistance_inductance_and_capacitance_are_in_series() -> None:
    reactance = OMEGA * 0.02 - 1 / (OMEGA * 1e-6)
    assert compute_plain_ohm(series_ohm=50.0, henry=0.02, farad=1e-6) == pytest.approx(
        50 + 1j * reactance
    )
    assert compute_plain_ohm(series_ohm=50.0, henry=0.02) == pytest.approx(50 + 1j * OMEGA * 0.02)


def test_what_lies_beside_them_is_in_parallel() -> None:
    beside = 1 / (1 / 50 + 1 / 200 + 1j * OMEGA * 1e-6)
    found = compute_plain_ohm(series_ohm=50.0, parallel_ohm=200.0, parallel_farad=1e-6)
    assert found == pytest.approx(beside)
    assert compute_plain_ohm(parallel_ohm=200.0) == pytest.approx(200)


def test_dc_passes_a_resistance_and_no_capacitor() -> None:
    through = make_element("P1", "test", ("a", "b"), 1, series_ohm=50.0, henry=1.0)
    blocked = make_element(
        "P1", "test", ("a", "b"), 1, series_ohm=50.0, farad=1e-6, parallel_ohm=1e6
    )
    assert through.compute_siemens(0.0)[0] == pytest.approx(0.02)
    assert blocked.compute_siemens(0.0)[0] == pytest.approx(1e-6)


def test_an_open_element_passes_nothing_and_a_shorted_one_all() -> None:
    whole = make_element(
        "P1", "test", ("a", "b"), 1, series_ohm=50.0, parallel_ohm=1e3, parallel_farad=1e-6
    )
    for hz in (0.0, 1e3):
        assert open_element(whole).compute_siemens(hz)[0] == 0
    assert short_element(whole, np.array([0.5])).compute_siemens(0.0)[0] == pytest.approx(
        1 / 50 + 2
    )


def test_a_resistor_has_its_value_within_its_tolerance() -> None:
    ohm = (1 / make_only_element("resistor", "1 kΩ").compute_siemens(0.0)).real
    assert np.median(ohm) == pytest.approx(1e3, rel=0.01)
    assert ohm.std() == pytest.approx(25, rel=0.2)
    narrow = (1 / make_only_element("resistor", "1 kΩ", tolerance="1 %").compute_siemens(0.0)).real
    assert narrow.std() == pytest.approx(5, rel=0.2)


def test_a_capacitor_has_its_reactance_and_an_electrolytic_its_losses() -> None:
    film = make_only_element("capacitor", "100 nF")
    assert compute_typical_ohm(film, 1e3).imag == pytest.approx(-1 / (OMEGA * 100e-9), rel=0.02)
    assert abs(compute_typical_ohm(film, 0.0)) > 1e10
    wet = make_only_element("electrolytic capacitor", "100 µF")
    assert compute_typical_ohm(wet, 1e5).real == pytest.approx(0.6, rel=0.05)
    assert compute_typical_ohm(make_only_element("capacitor", "100 µF"), 1e5).real == pytest.approx(
        0.05, rel=0.05
    )
    leakage_ohm = (1 / wet.compute_siemens(0.0)).real
    assert leakage_ohm.min() == pytest.approx(4e6, rel=0.15)
    assert leakage_ohm.max() == pytest.approx(100e6, rel=0.15)


@pytest.mark.parametrize(
    ("henry", "ohm"),
    [(1e-6, 0.15), (100e-6, 0.15 * 100**0.6), (1e-7, 0.1), (3e-3, 8.0), (0.1, 8.0)],
)
def test_a_coil_has_the_wire_of_its_turns(henry: float, ohm: float) -> None:
    """From 3 mH on it is a choke or a yoke."""
    assert estimate_coil_ohm(henry) == pytest.approx(ohm)


def test_a_coil_has_its_reactance() -> None:
    found = compute_typical_ohm(make_only_element("coil", "100 µH"), 1e6)
    assert found.imag == pytest.approx(2 * math.pi * 1e6 * 100e-6, rel=0.02)
    assert found.real == pytest.approx(0.15 * 100**0.6, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "hz", "c1_f", "c0_f", "load_f", "series_ohm"),
    [
        ("crystal", 4.43361875e6, 16e-15, 5e-12, 20e-12, 40.0),
        ("ceramic resonator", 500e3, 15e-12, 250e-12, 330e-12, 12.0),
    ],
)
def test_a_resonator_resonates_in_series_and_with_its_load(
    kind: str, hz: float, c1_f: float, c0_f: float, load_f: float, series_ohm: float
) -> None:
    """Series resonance below the mark by sqrt(1 + C1 / (C0 + CL)), where only R1 is left."""
    found = make_only_element(kind, f"{hz} Hz")
    series_hz = 1 / (2 * math.pi * np.sqrt(found.henry * found.farad))
    expected_hz = hz / math.sqrt(1 + c1_f / (c0_f + load_f))
    assert np.median(found.farad) == pytest.approx(c1_f, rel=0.05)
    tolerance = 2e-5 if kind == "crystal" else 5e-3
    assert np.median(series_hz) == pytest.approx(expected_hz, rel=tolerance)
    assert found.parallel_farad == pytest.approx(c0_f)
    assert found.series_ohm == pytest.approx(series_ohm)
    assert found.farad.std() / np.median(found.farad) == pytest.approx(0.3, rel=0.35)


def test_a_potentiometer_divides_where_its_slider_is() -> None:
    part = make_part("potentiometer", "pin 8", "pin 1", "ground", value="10 kΩ")
    upper, lower = list_elements(part, Draws(DRAWS, 1), {"P1": np.full(DRAWS, 0.25)})
    assert (upper.ends, lower.ends) == (("pin 8", "pin 1"), ("pin 1", "ground"))
    assert lower.series_ohm / upper.series_ohm == pytest.approx(3.0)
    assert np.median(upper.series_ohm + lower.series_ohm) == pytest.approx(10e3, rel=0.02)
    middle, _ = list_elements(part, Draws(DRAWS, 1), {})
    assert np.median(middle.series_ohm) == pytest.approx(5e3, rel=0.02)
    end, _ = list_elements(part, Draws(DRAWS, 1), {"P1": np.zeros(DRAWS)})
    assert end.series_ohm == pytest.approx(1.0)


def test_a_connector_joins_its_ends_by_wire() -> None:
    first, second = make_elements("connector", "pin 1", "pin 2", "pin 3")
    assert (first.ends, second.ends) == (("pin 1", "pin 2"), ("pin 2", "pin 3"))
    assert first.compute_siemens(0.0) == pytest.approx(50)  # 20 milliohms


def test_a_short_delay_line_passes_dc_and_a_glass_one_does_not() -> None:
    """Luminance is delayed by some hundred nanoseconds in a coil, a line of chroma in glass."""
    (coil,) = make_elements("delay line", "pin 1", "ground", "pin 2", value="330 ns")
    (glass,) = make_elements("delay line", "pin 1", "ground", "pin 2", value="64 µs")
    assert coil.ends == glass.ends == ("pin 1", "pin 2")
    assert (1 / coil.compute_siemens(0.0)).real == pytest.approx(40)
    assert glass.compute_siemens(0.0) == pytest.approx(0)
    loss_ohm = (1 / glass.compute_siemens(4.43e6)).real
    assert 120 * 0.9 < loss_ohm.min() < 140
    assert 540 < loss_ohm.max() < 600 * 1.1


def test_a_ceramic_filter_is_matched_at_its_frequency_and_blocks_dc() -> None:
    (found,) = make_elements("ceramic filter", "pin 1", "ground", "pin 2", value="5.5 MHz")
    assert found.ends == ("pin 1", "pin 2")
    assert compute_typical_ohm(found, 5.5e6).real == pytest.approx(330, rel=1e-3)
    assert compute_typical_ohm(found, 5.5e6).imag == pytest.approx(-33, rel=0.01)
    assert found.compute_siemens(0.0) == pytest.approx(0)


@pytest.mark.parametrize(
    ("joins", "ends"),
    [
        (("a", "b", "c", "d"), (("a", "b"), ("c", "d"))),
        (("a", "b", "c"), (("a", "b"), ("b", "c"))),
        (("a", "collector", "c"), (("a", "collector"),)),
        (("a", "b"), (("a", "b"),)),
    ],
)
def test_windings_by_their_leads(joins: tuple[str, ...], ends: tuple[tuple[str, str], ...]) -> None:
    part = make_part("transformer", "pin 1", "pin 2").model_copy(update={"joins": joins})
    assert list_windings(part) == ends


def test_the_windings_of_a_transformer_are_apart_and_those_of_a_tapped_coil_coupled() -> None:
    primary, secondary = make_elements("transformer", "pin 1", "pin 2", "pin 3", "pin 4")
    assert (1 / primary.compute_siemens(0.0)).real == pytest.approx(4.0)
    assert (1 / secondary.compute_siemens(0.0)).real == pytest.approx(0.8)
    assert compute_typical_ohm(primary, 1e3).imag == pytest.approx(OMEGA * 2e-3)
    upper, lower = make_elements("transformer", "pin 1", "pin 2", "pin 3")
    assert upper.series_ohm == pytest.approx(lower.series_ohm)
    assert 60 <= upper.series_ohm.min() < 75
    assert 400 < upper.series_ohm.max() <= 500
    assert np.all(upper.henry == 0)


@pytest.mark.parametrize(
    ("kind", "value"), [("resistor", None), ("diode", None), ("relay", "12 V")]
)
def test_a_part_without_a_value_or_that_is_not_linear_adds_nothing(
    kind: str, value: str | None
) -> None:
    part = make_part("resistor", "pin 1", "ground").model_copy(update={"kind": kind})
    assert list_elements(part, Draws(DRAWS, 1), {}) == ()
