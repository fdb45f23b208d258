"""For all tests: the circuits around chips solved by ngspice, and property tests untimed.

Without ngspice what asks for it is skipped; with PINFOLIO_REQUIRE_NGSPICE=1 its absence fails.
"""

from __future__ import annotations

import cmath
import math
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from pinfolio.plugins.faultfinding.circuit import Network
from pinfolio.plugins.faultfinding.elements import Element

# The secret that authenticates unfinished changes of a folder; never in the home of who tests.
os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="pinfolio-state-")

# No test passes or fails by time. Where a change is judged, by the same examples each time; a
# developer's own runs try new ones.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same examples", deadline=None, derandomize=True)
judged = os.environ.get("PINFOLIO_SAME_EXAMPLES") == "1"
settings.load_profile("same examples" if judged else "untimed")

Circuit = tuple[Network, Sequence[Element]]
Simulate = Callable[[Sequence[Circuit]], list[dict[str, complex]]]

WIRE_OHM, FLOAT_SIEMENS = 1e-3, 1e-9


@pytest.fixture
def simulate(tmp_path: Path) -> Simulate:
    """The volts at every node of circuits of one frequency, side by side in a single netlist.

    The netlist is written resistor by resistor and capacitor by capacitor, with the sources as
    currents; ``.op`` solves it at 0 Hz, ``.ac`` at any other frequency.
    """
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")

    def volts(circuits: Sequence[Circuit]) -> list[dict[str, complex]]:
        hz = circuits[0][0].frequency_hz
        lines = [line for at, circuit in enumerate(circuits) for line in _netlist(*circuit, at)]
        deck, raw = tmp_path / "circuit.cir", tmp_path / "circuit.raw"
        analysis = f".ac lin 1 {hz!r} {hz!r}" if hz else ".op"
        deck.write_text("\n".join(["* chips", *lines, analysis, ".end\n"]))
        subprocess.run(
            [ngspice, "-b", str(deck), "-r", str(raw)], capture_output=True, timeout=120, check=True
        )
        found = dict(_read_raw(raw.read_bytes()))
        return [
            {name: found[f"v({copy}_{at})"] for at, name in enumerate(network.names)}
            for copy, (network, _) in enumerate(circuits)
        ]

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


def _netlist(network: Network, elements: Sequence[Element], copy: int) -> Iterator[str]:
    """The network with these elements as SPICE lines; its nodes are ``<copy>_<number>``."""
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
