"""Diodes and transistors in straight pieces."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.devices import (
    BREAKDOWN,
    OFF,
    ON,
    SATURATED,
    Diode,
    Transistor,
    list_devices,
    make_clamp,
)
from pinfolio.plugins.diagnosis.board.network import Stamp
from pinfolio.schema import Part


def state(device: Diode | Transistor, *volts: float, before: int = OFF) -> int:
    return int(device.next_state(np.array([before]), np.array([[*volts, 0.0]]))[0])


@pytest.mark.parametrize(
    ("anode_v", "cathode_v", "wanted"), [(0.7, 0.0, ON), (0.5, 0.0, OFF), (-3.0, 2.0, BREAKDOWN)]
)
def test_a_zener_diode_of_four_volts(anode_v: float, cathode_v: float, wanted: int) -> None:
    assert state(Diode("ZD1", 0, 1, zener_v=4.0), anode_v, cathode_v) == wanted


@pytest.mark.parametrize(
    ("base_v", "collector_v", "wanted"),
    [(0.3, 12.0, OFF), (0.7, 12.0, ON), (0.75, 0.05, SATURATED)],
)
def test_an_npn_transistor(base_v: float, collector_v: float, wanted: int) -> None:
    assert state(Transistor("Q1", 0, 1, 2), base_v, collector_v, 0.0) == wanted


def test_a_pnp_transistor_conducts_with_its_base_low() -> None:
    switch = Transistor("Q1", 0, 1, 2, sign=-1)
    assert state(switch, 11.2, 0.0, 12.0) == ON
    assert state(switch, 12.0, 0.0, 12.0) == OFF


@pytest.mark.parametrize(
    ("purpose", "leads"),
    [
        ("line driver, base collector emitter", (0, 1, 2)),
        ("emitter follower, base collector emitter", (0, 1, 2)),
        ("emitter, base, collector", (1, 2, 0)),
        (None, (0, 1, 2)),
    ],
)
def test_leads_by_their_names(purpose: str | None, leads: tuple[int, int, int]) -> None:
    part = Part(ref="Q1", kind="transistor", joins=("a", "b", "c"), purpose=purpose)
    (transistor,) = list_devices(part, {"a": 0, "b": 1, "c": 2})
    assert isinstance(transistor, Transistor)
    assert (transistor.base, transistor.collector, transistor.emitter) == leads


def solve_circuit(
    nodes: int, conductances: list[tuple[int, int, float]], device: Diode | Transistor, state: int
) -> np.ndarray:
    """Return the volts of a circuit whose node 0 is held at 12 V; the last number is ground."""
    stamp = Stamp(1, nodes)
    stamp.add((0, nodes), 1e4, -1e4 * 12.0)
    for one, other, ohm in conductances:
        stamp.add((one, other), 1 / ohm)
    for out, siemens, amperes, sense in device.list_terms(state):
        stamp.add(out, siemens, amperes, sense)
    return np.einsum("dij,dj->di", stamp.invert().matrix, stamp.amperes)[0]


def test_the_collector_current_is_the_gain_times_the_base_current() -> None:
    """NPN, 1 MΩ from 12 V to the base, 4.7 kΩ to the collector, emitter grounded: every textbook.

    Ib = (12 V - 0.62 V) / 1 MΩ = 11.4 µA, Ic = 120 Ib = 1.37 mA, Vce = 12 V - 6.4 V.
    """
    volts = solve_circuit(3, [(0, 1, 1e6), (0, 2, 4.7e3)], Transistor("Q1", 1, 2, 3), ON)
    base_a, collector_a = (12 - volts[1]) / 1e6, (12 - volts[2]) / 4.7e3
    assert volts[1] == pytest.approx(0.62, abs=0.05)
    assert collector_a / base_a == pytest.approx(120, rel=0.01)
    assert volts[2] == pytest.approx(12 - 4.7e3 * 120 * (12 - 0.62) / 1e6, abs=0.15)


def test_a_saturated_transistor_leaves_a_tenth_of_a_volt() -> None:
    """A switch of small signals: some 0.1 V from collector to emitter (data books)."""
    volts = solve_circuit(3, [(0, 1, 22e3), (0, 2, 4.7e3)], Transistor("Q1", 1, 2, 3), SATURATED)
    assert volts[2] == pytest.approx(0.1, abs=0.05)
    assert 0.6 < volts[1] < 0.72
    collector_a, base_a = (12 - volts[2]) / 4.7e3, (12 - volts[1]) / 22e3
    assert collector_a < 120 * base_a


def test_an_emitter_follower_stays_a_junction_below_its_base() -> None:
    """Base at half of 12 V by two resistors of 1 kΩ, 2.2 kΩ from emitter to ground."""
    volts = solve_circuit(
        3, [(0, 1, 1e3), (1, 3, 1e3), (2, 3, 2.2e3)], Transistor("Q1", 1, 0, 2), ON
    )
    assert volts[1] - volts[2] == pytest.approx(0.65, abs=0.05)
    assert volts[2] == pytest.approx(5.35, abs=0.1)


def test_a_pnp_transistor_is_the_mirror_of_an_npn() -> None:
    """Emitter at 12 V, 1 MΩ from base to ground, 4.7 kΩ from collector to ground.

    The meter's 10 MΩ, which the network has at every node, takes a tenth of the base current.
    """
    volts = solve_circuit(3, [(1, 3, 1e6), (2, 3, 4.7e3)], Transistor("Q1", 1, 2, 0, sign=-1), ON)
    assert 12 - volts[1] == pytest.approx(0.62, abs=0.05)
    base_a = volts[1] * (1 / 1e6 + 1 / 10e6)
    assert volts[2] / 4.7e3 == pytest.approx(120 * base_a, rel=0.01)


def test_a_zener_diode_holds_its_voltage_and_some_ohms() -> None:
    """5.1 V behind 1 kΩ from 12 V: some 7 mA, and a few ohms raise it by a tenth of a volt."""
    volts = solve_circuit(2, [(0, 1, 1e3)], Diode("ZD1", 2, 1, zener_v=5.1), BREAKDOWN)
    assert volts[1] == pytest.approx(5.1 + 15 * (12 - 5.1) / 1015, abs=0.02)


@pytest.mark.parametrize("device", [Diode("D1", 1, 2), Transistor("Q1", 1, 0, 2)])
def test_nothing_flows_through_a_device_that_is_off(device: Diode | Transistor) -> None:
    assert list(device.list_terms(OFF)) == []


@pytest.mark.parametrize(
    ("kind", "value", "found"),
    [("diode", None, (np.inf, 0.6)), ("zener diode", "4.7 V", (4.7, 0.6))],
)
def test_a_diode_part_is_a_device_of_its_leads_and_voltage(
    kind: str, value: str | None, found: tuple[float, float]
) -> None:
    part = Part(ref="D1", kind=kind, value=value, joins=("a", "b"))  # type: ignore[arg-type]
    (diode,) = list_devices(part, {"a": 0, "b": 1})
    assert isinstance(diode, Diode)
    assert (diode.anode, diode.cathode, diode.zener_v, diode.drop_v) == (0, 1, *found)


def test_the_junction_of_a_switched_transistor_points_from_base_to_emitter() -> None:
    npn, pnp = (
        Transistor("Q1", 0, 1, 2).make_junction(),
        Transistor("Q1", 0, 1, 2, sign=-1).make_junction(),
    )
    assert (npn.anode, npn.cathode) == (0, 2)
    assert (pnp.anode, pnp.cathode) == (2, 0)


def test_the_clamp_of_a_pin_conducts_upwards() -> None:
    diode = make_clamp("head of pin 3", 0, 1)
    assert (diode.anode, diode.cathode) == (0, 1)
    assert state(diode, 0.7, 0.0) == ON
    assert state(diode, 0.6, 0.0) == OFF
