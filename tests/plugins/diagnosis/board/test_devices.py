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
    devices_of,
)
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
    (transistor,) = devices_of(part, {"a": 0, "b": 1, "c": 2})
    assert isinstance(transistor, Transistor)
    assert (transistor.base, transistor.collector, transistor.emitter) == leads
