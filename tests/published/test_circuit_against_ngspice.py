"""Every demonstration chip's circuit, healthy and with each failure, against ngspice."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.circuit import (
    Network,
    ac_network,
    dc_network,
    signal_frequencies,
)
from pinfolio.plugins.faultfinding.elements import Element
from pinfolio.plugins.faultfinding.failures import failures, joined_pins
from pinfolio.plugins.faultfinding.set_off import off_network, set_off
from pinfolio.schema import Chip

Circuit = tuple[Network, Sequence[Element]]
Simulate = Callable[[Sequence[Circuit]], list[dict[str, complex]]]

RELATIVE, ABSOLUTE_V = 1e-3, 1e-6


def networks(chip: Chip) -> Iterable[Network]:
    """At DC and at every signal's frequency, in the condition that has the most signals."""
    names = [condition.name for condition in chip.conditions]
    condition = max(names, key=lambda name: len(signal_frequencies(chip, name)))
    yield dc_network(chip, condition)
    for frequency_hz in signal_frequencies(chip, condition):
        yield ac_network(chip, condition, frequency_hz)


def circuits(network: Network) -> Iterator[Circuit]:
    """The healthy elements, then those of each failure."""
    yield network, network.elements
    for _, broken in failures(network.elements):
        yield network, [broken.get(at, element) for at, element in enumerate(network.elements)]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_failure_of_every_part(simulate: Simulate, path: Path) -> None:
    for network in networks(load_chip(path)):
        cases = list(circuits(network))
        for (_, elements), simulated in zip(cases, simulate(cases), strict=True):
            ours = network.volts(elements)
            assert ours.keys() == simulated.keys()
            np.testing.assert_allclose(
                list(ours.values()), list(simulated.values()), rtol=RELATIVE, atol=ABSOLUTE_V
            )


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_resistances_with_the_set_off(simulate: Simulate, path: Path) -> None:
    """An ampere into each point, the sources at rest: its volts are the ohms to ground there, and
    between two points ohms are the volts of each with an ampere into it, less twice the other's."""
    chip = load_chip(path)
    network = off_network(chip)
    ohms = network.ohms().real
    sources = [np.eye(len(network.names), dtype=np.complex128)[at] for at in range(len(ohms))]
    cases = [(replace(network, injected=source), network.elements) for source in sources]
    simulated = np.array(
        [[volts[name].real for name in network.names] for volts in simulate(cases)]
    )
    np.testing.assert_allclose(ohms, simulated, rtol=RELATIVE, atol=ABSOLUTE_V)
    names = list(network.names)
    for point, ohm in zip(set_off(chip).points, set_off(chip).healthy, strict=True):
        if point.at in names:
            at = names.index(point.at)
            assert ohm == pytest.approx(simulated[at, at], rel=RELATIVE)


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_pin_without_its_joint(simulate: Simulate, path: Path) -> None:
    """The pin's source and its resistance taken out of the netlist, one pin at a time."""
    chip = load_chip(path)
    for network in networks(chip):
        pins = joined_pins(chip)
        cases = [(_without(network, pin), network.elements) for pin in pins]
        for pin, simulated in zip(pins, simulate(cases), strict=True):
            ours = network.volts(lifted=pin)
            np.testing.assert_allclose(
                list(ours.values()), list(simulated.values()), rtol=RELATIVE, atol=ABSOLUTE_V
            )


def _without(network: Network, pin: str) -> Network:
    internal = {name: siemens for name, siemens in network.internal.items() if name != pin}
    injected = np.array([0 if n == pin else amperes for n, amperes in
                         zip(network.names, network.injected.tolist(), strict=True)])  # fmt: skip
    return replace(network, internal=internal, injected=injected)
