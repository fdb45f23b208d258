"""Measures, run by hand: ``pytest tests/benchmarks/bench_*.py``. None passes or fails by time.

Each measure compares the package with plain sqlite3 doing the same reads or writes, or
against the plain work that its name says, and gives their ratio: ratios travel between machines,
seconds do not. They are printed, and written as JSON to the file named in PINFOLIO_BENCHMARKS
when that is set.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pinfolio.schema import Chip

sys.path.insert(0, str(Path(__file__).parent))  # for what measures share: `catalogue`

CHIPS = int(os.environ.get("PINFOLIO_BENCHMARK_CHIPS", "1000"))
PINS = 40

_RESULTS: dict[str, dict[str, float]] = {}


@pytest.fixture(scope="session")
def made_chips() -> Callable[[], Iterator[Chip]]:
    """The same invented chips of forty pins at every call, one by one."""

    def make() -> Iterator[Chip]:
        chance = random.Random(1956)
        return (Chip.model_validate(_fields(number, chance)) for number in range(CHIPS))

    return make


@pytest.fixture(scope="session")
def ngspice() -> None:
    """Without ngspice its tests are skipped; PINFOLIO_REQUIRE_NGSPICE=1 makes them fail."""
    if shutil.which("ngspice") is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")


@pytest.fixture(scope="session")
def seconds() -> Callable[..., float]:
    """Call it with some work: seconds for one go, the best of three rounds of ``times`` goes."""

    def measure(work: Callable[[], object], times: int = 1) -> float:
        rounds = []
        for _ in range(3):
            start = time.perf_counter()
            for _ in range(times):
                work()
            rounds.append((time.perf_counter() - start) / times)
        return min(rounds)

    return measure


@pytest.fixture(scope="session")
def seconds_in_turn() -> Callable[..., list[float]]:
    """Call it with several works: seconds for each, the best of three rounds.

    Each round does one after the other, so that other load meets them all.
    """

    def measure(*works: Callable[[], object]) -> list[float]:
        rounds = []
        for _ in range(3):
            starts = [time.perf_counter()]
            for work in works:
                work()
                starts.append(time.perf_counter())
            rounds.append([after - before for before, after in pairwise(starts)])
        return [min(taken) for taken in zip(*rounds, strict=True)]

    return measure


@pytest.fixture(scope="session")
def report() -> Iterator[Callable[..., None]]:
    """Call it with the name of a measure, our seconds and the plain seconds."""

    def note(name: str, ours_s: float, plain_s: float, **more: float) -> None:
        _RESULTS[name] = {"ours_s": ours_s, "plain_s": plain_s, "ratio": ours_s / plain_s, **more}

    yield note
    if path := os.environ.get("PINFOLIO_BENCHMARKS"):
        Path(path).write_text(json.dumps(_RESULTS, indent=2) + "\n", encoding="utf-8")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """A line for each measure, after pytest's own."""
    for name, result in _RESULTS.items():
        ours_ms, plain_ms = result["ours_s"] * 1e3, result["plain_s"] * 1e3
        more = "".join(f", {key} {value:,.0f}" for key, value in list(result.items())[3:])
        terminalreporter.write_line(
            f"{name}: {ours_ms:.3f} ms, plain {plain_ms:.3f} ms, ratio {result['ratio']:.2f}{more}"
        )


_STAGES = ("sync separator", "burst gate", "killer detector", "line oscillator", "field divider")
_SIGNALS = ("input", "output", "filter", "reference", "control voltage", "feedback")


def _fields(number: int, chance: random.Random) -> dict[str, Any]:
    return {
        "part": f"QZ{10_000 + number}",
        "maker": f"Maker {number % 7}",
        "kind": chance.choice(["jungle", "comb filter", "sound IF"]),
        "summary": "Invented for measuring.",
        "invented": True,
        "package": {"family": "SDIP", "pins": PINS},
        "markings": [f"QZ{10_000 + number}N", f"{chance.randrange(10**6):06}"],
        "supplies": [{"name": "VCC", "pins": [1], "voltage": "9 V"}],
        "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
        "conditions": [{"name": name, "means": name} for name in ("no signal", "colour bars")],
        "blocks": [
            {"id": f"stage-{n}", "name": name, "inputs": [f"pin {chance.randint(3, PINS)}"]}
            for n, name in enumerate(_STAGES)
        ],
        "pins": [_pin(pin, chance) for pin in range(1, PINS + 1)],
    }


def _pin(number: int, chance: random.Random) -> dict[str, Any]:
    """A pin with DC in two conditions; a third of them carry a signal, as on most chips."""
    role = {1: "supply", 2: "ground"}.get(number, "input")
    dc = {1: "9 V", 2: "0 V"}.get(number, f"{chance.uniform(0.6, 8):.2f} V")
    quiet: dict[str, Any] = {"condition": "no signal", "dc": dc, "source": {"id": "sheet"}}
    bars = quiet | {"condition": "colour bars"}
    if number % 3 == 0:
        bars["waveform"] = {"kind": "sine", "frequency": "15.625 kHz", "vpp": "0.5 Vpp"}
    return {
        "number": number,
        "symbol": f"P{number}",
        "function": f"{chance.choice(_STAGES)} {chance.choice(_SIGNALS)}",
        "role": role,
        "expectations": [quiet, bars],
    }
