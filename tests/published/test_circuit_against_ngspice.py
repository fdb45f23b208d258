"""Every demonstration chip's circuit, healthy and with each failure, against ngspice.

The netlist is written from the same elements, resistor by resistor and capacitor by capacitor, with
the sources as currents; every failure is a copy of the whole circuit beside the others, so that one
``.op`` or ``.ac`` solves them all. Without ngspice these tests are skipped; with
PINFOLIO_REQUIRE_NGSPICE=1 its absence fails.
"""

from __future__ import annotations

import cmath
import math
import os
import shutil
import subprocess
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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

Volts = Mapping[str, complex]
Solve = Callable[[str, float], Volts]

WIRE_OHM, FLOAT_SIEMENS = 1e-3, 1e-9
RELATIVE, ABSOLUTE_V = 1e-3, 1e-6


@pytest.fixture
def solve(tmp_path: Path) -> Solve:
    """Solve a netlist at a frequency, 0 for DC: the volts at every node."""
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")

    def volts(netlist: str, frequency_hz: float) -> Volts:
        deck, raw = tmp_path / "circuit.cir", tmp_path / "circuit.raw"
        analysis = f".ac lin 1 {frequency_hz!r} {frequency_hz!r}" if frequency_hz else ".op"
        deck.write_text(f"* chip\n{netlist}{analysis}\n.end\n")
        subprocess.run(
            [ngspice, "-b", str(deck), "-r", str(raw)], capture_output=True, timeout=60, check=True
        )
        return dict(_read_raw(raw.read_bytes()))

    return volts


def _read_raw(data: bytes) -> Iterator[tuple[str, complex]]:
    """The one point of ngspice's raw file: names in its header, then doubles or pairs of them."""
    header, _, body = data.partition(b"Binary:\n")
    lines = header.decode().splitlines()
    start = lines.index("Variables:") + 1
    names = [line.split()[1] for line in lines[start:]]
    kind = np.complex128 if any("complex" in line for line in lines[:start]) else np.float64
    found = np.frombuffer(body, dtype=kind, count=len(names))
    yield from zip(names, found.tolist(), strict=True)


def netlist(network: Network, elements: Sequence[Element], copy: int) -> Iterator[str]:
    """The network with these elements as SPICE lines; nodes are ``v(<copy>_<number>)``."""
    nodes = {name: f"{copy}_{at}" for at, name in enumerate(network.names)} | {"ground": "0"}
    dc = network.frequency_hz == 0
    for at, (name, amperes) in enumerate(
        zip(network.names, network.injected.tolist(), strict=True)
    ):
        node = nodes[name]
        yield f"Rfloat{copy}_{at} {node} 0 {1 / FLOAT_SIEMENS!r}"
        if name in network.internal:
            yield f"Rin{copy}_{at} {node} 0 {1 / network.internal[name]!r}"
        if amperes:
            alternating = f"ac {abs(amperes)!r} {math.degrees(cmath.phase(amperes))!r}"
            yield f"I{copy}_{at} 0 {node} {repr(amperes.real) if dc else alternating}"
    for at, element in enumerate(elements):
        yield from _lines(element, f"{copy}_{at}", [nodes[end] for end in element.ends], dc)


def _lines(element: Element, tag: str, ends: list[str], dc: bool) -> Iterator[str]:
    """One element: what is in series through nodes of its own, what is parallel beside it."""
    here, there = ends
    if math.isfinite(element.parallel_ohm):
        yield f"Rp{tag} {here} {there} {element.parallel_ohm!r}"
    if element.parallel_f:
        yield f"Cp{tag} {here} {there} {element.parallel_f!r}"
    if math.isinf(element.series_ohm):
        return
    chain = [f"R{{}} {max(element.series_ohm, WIRE_OHM)!r}"]
    if element.inductance_h:
        chain.append(f"L{{}} {element.inductance_h!r}")
    if math.isfinite(element.capacitance_f):
        chain.append(f"C{{}} {element.capacitance_f!r}")
    if element.drop_v and dc:
        chain.append(f"V{{}} dc {element.drop_v!r}")
    between = [here, *(f"{tag}_{step}" for step in range(1, len(chain))), there]
    for step, line in enumerate(chain):
        yield line.format(f"{tag}_{step} {between[step]} {between[step + 1]}")


def networks(chip: Chip) -> Iterable[Network]:
    """In the condition that has the most signals."""
    names = [condition.name for condition in chip.conditions]
    condition = max(names, key=lambda name: len(signal_frequencies(chip, name)))
    yield dc_network(chip, condition)
    for frequency_hz in signal_frequencies(chip, condition):
        yield ac_network(chip, condition, frequency_hz)


def _copies(network: Network) -> Iterator[list[Element]]:
    """The healthy elements, then those of each failure."""
    yield list(network.elements)
    for _, broken in failures(network.elements):
        yield [broken.get(at, element) for at, element in enumerate(network.elements)]


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_failure_of_every_part(solve: Solve, path: Path) -> None:
    for network in networks(load_chip(path)):
        copies = list(_copies(network))
        lines = [
            line for at, elements in enumerate(copies) for line in netlist(network, elements, at)
        ]
        simulated = solve("\n".join(lines) + "\n", network.frequency_hz)
        for at, elements in enumerate(copies):
            ours = list(network.volts(elements).values())
            spice = [simulated[f"v({at}_{node})"] for node in range(len(ours))]
            np.testing.assert_allclose(ours, spice, rtol=RELATIVE, atol=ABSOLUTE_V)
