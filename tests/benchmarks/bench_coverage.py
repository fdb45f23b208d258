"""How often the figures of a capture are within their stated uncertainty, and how wide that is.

Run it with ``pytest -s tests/benchmarks/bench_coverage.py``. Captures of composite video are made
from the numbers of the standards by ``captures``; truth is what the oscilloscope's gain and clock
made of these numbers. Of normal errors 95.4 % are within twice the standard uncertainty, and the
median error is 0.67 of it, so that the last column is 1.48 where an uncertainty is exact.
PINFOLIO_CAPTURES_SEED chooses the captures (1 when not set), PINFOLIO_COVERAGE their number (400),
PINFOLIO_CAPTURES names a file for one line of JSON a figure.
"""

from __future__ import annotations

import cmath
import json
import math
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np
from captures.composite import Composite, Samples
from captures.instrument import Recording, record
from captures.judging import SIZES
from captures.places import PLACES, Place
from captures.standards import BARS, LUMA, NTSC, U_OF_B_Y, V_OF_R_Y
from pinfolio.plugins.readings.video.composite import measure_composite
from pinfolio.plugins.readings.video.figure import Figure, Record
from pinfolio.plugins.readings.video.sync_pulses import NoSync

SEED = int(os.environ.get("PINFOLIO_CAPTURES_SEED", "1"))
COUNT = int(os.environ.get("PINFOLIO_COVERAGE", "400"))
NAMES = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
VIDEO = tuple(place for place in PLACES if place.sort == "composite")


@dataclass(frozen=True)
class Row:
    """A figure of one capture beside its truth."""

    figure: Figure
    truth: float
    how: Recording

    @property
    def error(self) -> float:
        off = self.figure.value - self.truth
        return math.remainder(off, 360) if self.figure.unit == "°" else off


def test_clean_captures() -> None:
    rows = list(_measure_all(SEED, COUNT))
    _report("clean captures", rows)
    assert rows


def test_captures_with_jitter() -> None:
    rows = list(_measure_all(SEED, COUNT // 2, jitter=True))
    _report("lines that jitter by 20 to 300 ns", [r for r in rows if "jitter" in r.figure.name])
    assert rows


def test_captures_with_hum() -> None:
    rows = list(_measure_all(SEED, COUNT // 2, hum=True))
    _report("hum of 2 to 30 %", [row for row in rows if row.figure.name.startswith("hum at")])
    assert rows


def _measure_all(
    seed: int, count: int, *, jitter: bool = False, hum: bool = False
) -> Iterator[Row]:
    chance = Random(f"coverage {seed} {jitter} {hum}")
    for number in range(count):
        place = VIDEO[number % len(VIDEO)]
        size = SIZES[-1] if hum else chance.choice(SIZES)
        how = Recording(
            samples=int(size * chance.uniform(1.0, 2.0)),
            rate_hz=chance.choice((2.5e6, 5e6)) if hum else chance.choice(place.rates[size]),
            start_s=chance.uniform(0.0, 0.08),
            seed=chance.randrange(2**32),
            noise_share=10 ** (-chance.uniform(42.0, 60.0) / 20),
            bits=chance.choice((8, 8, 10, 12)),
            gain_error=chance.uniform(-0.015, 0.015),
            clock_error=chance.uniform(-20e-6, 20e-6),
            hum_share=chance.uniform(0.02, 0.3) if hum else 0.0,
            hum_hz=chance.choice((50.0, 60.0, 100.0, 120.0)) if hum else 50.0,
        )
        jitter_s = chance.uniform(20e-9, 300e-9) if jitter else 0.0
        yield from _measure(place, how, jitter_s)


def _measure(place: Place, how: Recording, jitter_s: float) -> Iterator[Row]:
    signal = place.signal
    assert isinstance(signal, Composite)
    volts = _make_jittery(signal, jitter_s, how.seed)
    capture = record(volts, place.find_offset_v(signal), place.vpp, how)
    system = "NTSC-M" if signal.system is NTSC else "PAL-B/G"
    try:
        found = measure_composite(Record(capture.channels[0], capture.interval_s), system, 75.0)
    except NoSync:
        return
    codes = np.unique(capture.channels[0])
    truths = list_truths(place, signal, how, float(np.diff(codes).min()))
    if jitter_s:
        truths["line jitter, rms"] = jitter_s
    for name, figure in found.figures.items():
        if name in truths:
            yield Row(figure, truths[name], how)


def _make_jittery(signal: Composite, jitter_s: float, seed: int) -> Callable[[Samples], Samples]:
    """Return a signal whose lines are early or late, each from its front porch on."""
    chance = np.random.default_rng(seed)

    def volts(t_s: Samples) -> Samples:
        line = np.floor((t_s + signal.system.front_porch_s / 2) / signal.system.line_s)
        number = (line - line.min()).astype(int)
        return signal.volts(t_s + chance.normal(0.0, jitter_s, number.max() + 1)[number])

    return volts if jitter_s else signal.volts


def list_truths(place: Place, signal: Composite, how: Recording, step_v: float) -> dict[str, float]:
    """Return the true figures by their names, as an oscilloscope with such errors shows them."""
    system, gain, clock = signal.system, signal.gain * (1 + how.gain_error), 1 + how.clock_error
    noise_v = math.hypot(how.noise_share * place.vpp * (1 + how.gain_error), step_v / 12**0.5)
    white_v = gain * system.white_v
    truths = {
        "sync amplitude": gain * signal.sync * system.sync_v,
        "sync width": system.sync_s / clock,
        "sync rise time": system.rise_s / clock,
        "back porch over front porch": 0.0,
        "burst amplitude": gain * signal.burst * system.burst_vpp,
        "burst cycles": float(system.burst_cycles),
        "burst start after sync": system.burst_start_s / clock,
        "subcarrier": system.subcarrier_hz * clock,
        "line frequency": system.line_hz * clock,
        "chroma over luminance": 100 * signal.chroma,
        "colours against burst": 0.0,
        "chroma to luminance delay": 0.0,
        "differential gain": 0.0,
        "differential phase": 0.0,
        "noise": noise_v,
        "signal to noise": 20 * math.log10(white_v / noise_v),
        f"hum at {how.hum_hz:g} Hz": how.hum_share * place.vpp * (1 + how.gain_error),
    }
    if system.has_pal_switch:
        truths["burst swing from line to line"] = 90.0
    return truths | _list_bars(signal, gain)


def _list_bars(signal: Composite, gain: float) -> dict[str, float]:
    system, truths = signal.system, dict[str, float]()
    span = system.white_v * (1 - system.setup)
    for name, rgb in zip(NAMES, BARS, strict=True):
        shown = [system.white_bar if rgb == (1, 1, 1) else 0.75 * part for part in rgb]
        luma = sum(a * b for a, b in zip(LUMA, shown, strict=True))
        level = gain * (system.white_v * system.setup + span * luma)
        chroma = span * complex(U_OF_B_Y * (shown[2] - luma), V_OF_R_Y * (shown[0] - luma))
        ends = {"white": "white bar", "black": "black level over blanking"}
        truths[ends.get(name, f"{name} luminance")] = level
        truths[f"{name} chroma"] = 2 * abs(chroma) * gain * signal.chroma
        truths[f"{name} phase"] = math.degrees(cmath.phase(chroma))
    return truths


def _report(title: str, rows: list[Row]) -> None:
    print(f"\n{title}: within twice the standard uncertainty; medians of error and uncertainty")
    for name in dict.fromkeys(row.figure.name for row in rows):
        mine = [row for row in rows if row.figure.name == name]
        errors = np.abs([row.error for row in mine])
        uncertainties = np.array([row.figure.uncertainty for row in mine])
        within = float(np.mean(errors <= 2 * uncertainties))
        error, uncertainty = float(np.median(errors)), float(np.median(uncertainties))
        ratio = uncertainty / error if error else math.inf
        unit = mine[0].figure.unit
        print(
            f"  {name:30} {within:6.1%} of {len(mine):3}  {error:9.3g} {uncertainty:9.3g} {unit:6}"
            f" uncertainty {ratio:5.2f} x error"
        )
    if path := os.environ.get("PINFOLIO_CAPTURES"):
        with Path(path).open("a", encoding="utf-8") as file:
            for row in rows:
                found = [row.figure.name, row.figure.value, row.figure.uncertainty, row.truth]
                file.write(json.dumps([title, *found, vars(row.how)]) + "\n")
