"""Every demonstration chip's circuit, healthy and with each failure, against ngspice."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_file import load_chip
from pinfolio.plugins.faultfinding.circuit import (
    Network,
    ac_network,
    dc_network,
    signal_frequencies,
)
from pinfolio.plugins.faultfinding.elements import Element
from pinfolio.plugins.faultfinding.failures import failures
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
