"""Resistances with the set off: from pins to ground, and between the leads of parts in circuit.

The sources are at rest and only the parts and the pins conduct. What each pin conducts is chosen
such that the healthy network shows the catalogue's resistance to ground; where the parts alone
conduct more than that, what a failure changes is taken in proportion.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, Expectation, Node, Pin
from ...schema.chips.limits import Limits, find_limits
from .circuit import GROUND, Network
from .elements import elements_of
from .failures import PIN_JOINT, Failure, failures, joined_pins
from .hypotheses import Hypothesis
from .outside import outside_nodes
from .points import Point, Upset

Numbers = NDArray[np.float64]

# What lies behind points that the catalogue says nothing of, the set off. Common practice.
_RAIL_OHM: Final = 3e3
_OUTSIDE_OHM: Final = 1e3
_PIN_OHM: Final = 100e3
_GROUND_PIN_OHM: Final = 1e-3
_LEAST_SIEMENS: Final = 1e-8
_ROUNDS: Final = 60
_STEP: Final = 0.5  # pins that a small resistance joins share what both are to show
_MOST_OHM: Final = 20e6  # beyond this an ordinary meter shows nothing
_BETWEEN_LEADS: Final = 0.3  # either way, of what the network shows between a part's leads


@dataclass(frozen=True)
class SetOff:
    """Ohms at every point that can be measured with the set off, healthy and with each failure."""

    points: tuple[Point, ...]
    limits: tuple[Limits, ...]
    healthy: tuple[float, ...]
    failed: Mapping[Failure, tuple[float, ...]]

    @cached_property
    def named(self) -> dict[tuple[str, str], Failure]:
        """The failures by reference and mode."""
        return {(failure.ref, failure.mode): failure for failure in self.failed}

    def outcome(self, failure: Failure, column: int) -> str | None:
        """How a point reads out of its limits with a failure; None within them, or unmoved."""
        known, healthy = self.limits[column], self.healthy[column]
        ohm = known.typ * self.failed[failure][column] / healthy
        if abs(ohm - known.typ) < 0.02 * known.typ or known.low <= ohm <= known.high:
            return None
        return "too low" if ohm < known.low else "too high"


def set_off(chip: Chip) -> SetOff:
    """Solve the network at rest, healthy and with every failure of every part and joint."""
    network = off_network(chip)
    index = {name: at for at, name in enumerate(network.names)} | {GROUND: -1}
    known = {Point(at, "resistance"): limits for at, limits in _catalogue(chip)}
    ends = {point: (index[point.at], -1) for point in known}
    leads = {
        Point(part.ref, "resistance"): (index[part.joins[0]], index[part.joins[1]])
        for part in chip.application.parts
        if len(part.joins) == 2 and part.ref in {e.ref for e in network.elements}
    }
    healthy = network.ohms().real
    for point, (first, second) in leads.items():
        ohm = _between(healthy, first, second)
        if 0 < ohm < _MOST_OHM:
            ends[point], known[point] = (first, second), _about(ohm)
    pairs = np.array(list(ends.values()), dtype=int).reshape(-1, 2)

    def read(ohms: Numbers) -> tuple[float, ...]:
        return tuple(_between(ohms, first, second) for first, second in pairs)

    failed = {failure: read(ohms) for failure, ohms in _failed(chip, network)}
    return SetOff(tuple(ends), tuple(known[point] for point in ends), read(healthy), failed)


def _failed(chip: Chip, network: Network) -> Iterator[tuple[Failure, Numbers]]:
    elements = network.elements
    for failure, broken in failures(elements):
        with_it = (broken.get(at, element) for at, element in enumerate(elements))
        yield failure, network.ohms(with_it).real
    for pin in joined_pins(chip):
        yield Failure(pin, PIN_JOINT, "joint open"), network.ohms(lifted=pin).real


def off_network(chip: Chip) -> Network:
    """The parts and what the pins conduct, without sources."""
    pins = {f"pin {pin.number}": pin for pin in chip.pins}
    names = (*pins, *(node.id for node in chip.application.nodes))
    elements = tuple(e for part in chip.application.parts for e in elements_of(part))
    internal = {
        name: 1 / (_GROUND_PIN_OHM if pin.role == "ground" else _PIN_OHM)
        for name, pin in pins.items()
    }
    rails = (name for name in names if name.startswith("rail"))
    internal |= dict.fromkeys(rails, 1 / _RAIL_OHM)
    internal |= dict.fromkeys(outside_nodes(chip), 1 / _OUTSIDE_OHM)
    at_rest = np.zeros(len(names), dtype=np.complex128)
    network = Network(names, elements, internal, at_rest, 0.0, {})
    return _calibrated(network, {at: limits.typ for at, limits in _catalogue(chip)})


def _calibrated(network: Network, wanted: Mapping[str, float]) -> Network:
    """With pins that conduct what it takes, or next to nothing where the parts conduct more."""
    index = {name: at for at, name in enumerate(network.names)}
    inside = {name: network.internal.get(name, 0.0) for name in wanted}
    for _ in range(_ROUNDS):
        network = replace(network, internal={**network.internal, **inside})
        ohms = network.ohms().real
        for name, ohm in wanted.items():
            short_by = 1 / ohm - 1 / float(ohms[index[name], index[name]])
            inside[name] = max(inside[name] + _STEP * short_by, _LEAST_SIEMENS)
    return replace(network, internal={**network.internal, **inside})


def _catalogue(chip: Chip) -> Iterator[tuple[str, Limits]]:
    """Pins and nodes with a known resistance to ground, grounds left out."""
    for pin in chip.pins:
        expectation = with_resistance(pin)
        if pin.role != "ground" and expectation is not None:
            yield f"pin {pin.number}", find_limits(pin, expectation)["resistance"]
    for node in chip.application.nodes:
        expectation = with_resistance(node)
        if expectation is not None:
            yield node.id, find_limits(node, expectation)["resistance"]


def with_resistance(place: Pin | Node) -> Expectation | None:
    """What a point should show in the condition that its resistance is known in."""
    for expectation in place.expectations:
        limits = find_limits(place, expectation).get("resistance")
        if limits is not None and limits.typ > 0:
            return expectation
    return None


def _between(ohms: Numbers, first: int, second: int) -> float:
    """Ohms between two nodes; -1 is ground."""
    if second < 0 or first < 0:
        at = max(first, second)
        return float(ohms[at, at])
    return float(ohms[first, first] + ohms[second, second] - 2 * ohms[first, second])


def _about(ohm: float) -> Limits:
    low, high = ohm * (1 - _BETWEEN_LEADS), ohm * (1 + _BETWEEN_LEADS)
    return Limits("resistance", "Ω", ohm, low, high, stated=False)


def upset_by(chip: Chip, off: SetOff, hypothesis: Hypothesis) -> Upset:
    """The resistances that a hypothesis upsets."""
    if hypothesis.sort == "supply" and hypothesis.failure in ("missing", "low"):
        pins = next(s.pins for s in chip.supplies if s.name == hypothesis.what)
        pulled = {"as expected": 0.6, "too low": 0.4}  # by a short across it, or fed by nothing
        return {Point(f"pin {number}", "resistance"): pulled for number in pins}
    failure = off.named.get((hypothesis.what, hypothesis.failure))
    if failure is None:
        return {}
    told = {point: off.outcome(failure, at) for at, point in enumerate(off.points)}
    return {point: {outcome: 1.0} for point, outcome in told.items() if outcome is not None}
