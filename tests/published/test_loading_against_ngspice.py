"""Loading of a node by meter and probe against ngspice, which solves the same circuit.

Without ngspice these tests are skipped; with PINFOLIO_REQUIRE_NGSPICE=1 its absence fails.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pinfolio.schema.measuring.compensation import compute_step_response
from pinfolio.schema.measuring.loading import (
    compute_loaded_v,
    compute_loading_gain,
    compute_unloaded_v,
)

Solve = Callable[[str, str], list[float]]

FREQUENCIES_HZ = np.array([1e3, 15_734.2657, 4.43361875e6])
X10, X1 = (
    "RT node mid 9meg\nCT node mid 12.2p\nRI mid 0 1meg\nCI mid 0 110p\n",
    ("RT node 0 1meg\nCT node 0 110p\n"),
)


@pytest.fixture
def solve(tmp_path: Path) -> Solve:
    """Solve a circuit: the numbers that its ``print`` commands give, in their order."""
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")

    def numbers(circuit: str, commands: str) -> list[float]:
        deck = tmp_path / "circuit.cir"
        deck.write_text(
            f"* node\n{circuit}.control\nset numdgt=12\n{commands}\nquit 0\n.endc\n.end\n"
        )
        done = subprocess.run(
            [ngspice, "-b", str(deck)], capture_output=True, text=True, timeout=60, check=True
        )
        return [float(found) for found in re.findall(r"^[\w().]+ = (\S+)$", done.stdout, re.M)]

    return numbers


@pytest.mark.parametrize("source_ohm", [10e3, 100e3, 470e3, 1e6, 4.7e6])
def test_a_meter_of_ten_megohm(solve: Solve, source_ohm: float) -> None:
    circuit = f"V1 true 0 12\nRS true node {source_ohm}\nRM node 0 10meg\n"
    (read_v,) = solve(circuit, "op\nprint v(node)")
    assert compute_loaded_v(12.0, source_ohm, 10e6) == pytest.approx(read_v, rel=1e-6)
    assert compute_unloaded_v(read_v, source_ohm, 10e6) == pytest.approx(12.0, rel=1e-6)


def measure_ac_gains(solve: Solve, circuit: str) -> list[float]:
    """Amplitude at ``node`` for a source of 1 V, at each of the frequencies."""
    each = (f"ac lin 1 {hz} {hz}\nprint vm(node)" for hz in FREQUENCIES_HZ)
    return solve(circuit, "\n".join(each))


@pytest.mark.parametrize("node_f", [2e-12, 22e-12, 330e-12])
@pytest.mark.parametrize("source_ohm", [1e3, 100e3])
def test_a_x1_probe(solve: Solve, source_ohm: float, node_f: float) -> None:
    node = f"V1 true 0 dc 0 ac 1\nRS true node {source_ohm}\nCN node 0 {node_f}\n"
    share = np.array(measure_ac_gains(solve, node + X1)) / np.array(measure_ac_gains(solve, node))
    found = np.abs(compute_loading_gain(FREQUENCIES_HZ, source_ohm, node_f, 1e6, 110e-12))
    np.testing.assert_allclose(found, share, rtol=1e-6)


def test_a_x10_probe_is_its_resistance_and_its_tip_capacitance(solve: Solve) -> None:
    """The whole divider of an encyclopedia's probe against 10 MΩ and the series capacitance."""
    node = "V1 true 0 dc 0 ac 1\nRS true node 100k\nCN node 0 5p\n"
    share = np.array(measure_ac_gains(solve, node + X10)) / np.array(measure_ac_gains(solve, node))
    tip_f = 12.2e-12 * 110e-12 / (12.2e-12 + 110e-12)
    found = np.abs(compute_loading_gain(FREQUENCIES_HZ, 100e3, 5e-12, 10e6, tip_f))
    np.testing.assert_allclose(found, share, rtol=1e-3)  # 12.2 pF, and not 12.222, is a little off


@pytest.mark.parametrize(
    ("tip_ohm", "tip_f", "published"),
    [
        (10e6, 12.2e-12 * 110e-12 / 122.2e-12, (0.9900759, 0.9844278, 0.03266961)),
        (1e6, 110e-12, (0.9073017, 0.6464946, 0.003263370)),
    ],
)
def test_figures_that_need_no_simulator(
    tip_ohm: float, tip_f: float, published: tuple[float, ...]
) -> None:
    """A node of 100 kΩ under both probes, from ngspice 39 and checked with numpy."""
    found = np.abs(compute_loading_gain(FREQUENCIES_HZ, 100e3, 1e-18, tip_ohm, tip_f))
    np.testing.assert_allclose(found, published, rtol=2e-4)


@pytest.mark.parametrize("tip_pf", [8.0, 16.0])
def test_a_square_wave_through_a_trimmer_that_is_off(solve: Solve, tip_pf: float) -> None:
    circuit = (
        "V1 node 0 pulse(0 1 0 1n 1n 1 2)\n"
        f"RT node mid 9meg\nCT node mid {tip_pf}p\nRI mid 0 1meg\nCI mid 0 110p\n"
    )
    at_us = (5, 50, 200, 900)
    asked = "\n".join(f"meas tran v{us} find v(mid) at={us}u\nprint v{us}" for us in at_us)
    simulated = solve(circuit, f"tran 0.2u 1m 0 0.2u\n{asked}")
    at_s = np.array(at_us) * 1e-6
    found = compute_step_response(at_s, 9e6, tip_pf * 1e-12, 1e6, 110e-12)
    np.testing.assert_allclose(found, simulated[-len(at_us) :], rtol=1e-3)
