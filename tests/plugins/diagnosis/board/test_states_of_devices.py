"""Diodes and transistors come to rest in states that fit the voltages they make.

Random networks, seeded: where all devices at once would flip for ever, they are moved one by one.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.devices import Diode, Transistor
from pinfolio.plugins.diagnosis.board.elements import Element, make_element
from pinfolio.plugins.diagnosis.board.good_board import solve_held

Circuit = tuple[Any, list[Element], tuple[Diode | Transistor, ...]]
FEED = {"n0": 12.0}
FLIPPED = (117, 122, 376, 524, 557)
"""Circuits of diodes and transistors whose states, all moved at once, come back for ever."""


def make_circuit(seed: int, diodes: int, transistors: int) -> Circuit:
    """Resistors, diodes and transistors between nodes drawn by chance."""
    chance = np.random.default_rng(seed)
    nodes = int(chance.integers(4, 8))
    names = [*(f"n{at}" for at in range(nodes)), "ground"]
    resistors = []
    for number in range(2 * nodes):
        first, second = chance.choice(nodes + 1, 2, replace=False)
        ohm = float(10 ** chance.uniform(2, 5))
        ends = (names[first], names[second])
        resistors.append(make_element(f"R{number}", "resistor", ends, 1, series_ohm=ohm))
    devices: list[Diode | Transistor] = []
    for number in range(diodes):
        first, second = chance.choice(nodes + 1, 2, replace=False)
        devices.append(Diode(f"D{number}", int(first), int(second)))
    for number in range(transistors):
        base, collector, emitter = map(int, chance.choice(nodes + 1, 3, replace=False))
        sign = int(chance.choice([1, -1]))
        devices.append(Transistor(f"Q{number}", base, collector, emitter, sign))
    index = {name: at for at, name in enumerate(names)}
    return SimpleNamespace(points=tuple(names[:-1]), index=index), resistors, tuple(devices)


def fits(circuit: Circuit) -> bool:
    """Whether the states found are those that their own voltages ask for."""
    topology, resistors, devices = circuit
    off = np.zeros(len(devices), dtype=int)
    volts, states = solve_held(topology, 1, resistors, devices, off, FEED)
    again, wanted = solve_held(topology, 1, resistors, devices, states, FEED)
    return bool((wanted == states).all() and np.allclose(volts, again))


@pytest.mark.parametrize("seed", range(60))
def test_diodes_always_come_to_rest(seed: int) -> None:
    assert fits(make_circuit(seed, diodes=6, transistors=0))


@pytest.mark.parametrize("seed", FLIPPED)
def test_diodes_and_transistors_that_flip_together_are_moved_one_by_one(seed: int) -> None:
    assert fits(make_circuit(seed, diodes=3, transistors=2))
