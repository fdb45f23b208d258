"""A crystal starting in ngspice's transient analysis, against the board model.

The decoder's own circuit: L1, C1, R1 beside C0 (Butterworth and Van Dyke, IEC 60122-1), the series
capacitor, and the pin with its resistance and capacitance. An amplifier sends a current back into
the pin: a swing grows where it exceeds the losses of the circuit, which is where the model's
loop gain exceeds one.
"""

from __future__ import annotations

import math
import os
import shutil
import subprocess
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Hypothesis
from pinfolio.plugins.diagnosis.board.elements import Element
from pinfolio.plugins.diagnosis.board.good_board import GoodBoard, build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import Fault, list_faults
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.paths import Paths
from pinfolio.plugins.diagnosis.board.resonators import Drive, find_drive
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.topology import Topology

PAL_HZ = 4.43361875e6
NEAR_SIEMENS = (1.2e-3, 1.9e-3)  # about what the circuit loses, on either side
CYCLES, STEPS_A_CYCLE = 250, 150
BAND_OHM, BAND_Q = 1e3, 5.0
OTHER_F = 10e-12


@dataclass(frozen=True)
class Start:
    """Where a swing neither grows nor dies: the amplifier's conductance, and the frequency."""

    siemens: float
    hertz: float


@cache
def build_board() -> GoodBoard:
    chip = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))
    return build_good_board(Topology(chip, "colour bars"), Draws(1, seed=3))


def find_element(ref: str) -> tuple[int, Element]:
    return next(
        (number, one) for number, one in enumerate(build_board().elements) if one.ref == ref
    )


@cache
def model_drive() -> Drive:
    """The model's crystal with the other series capacitor, beside the good board's."""
    number, capacitor = find_element("C406")
    other = replace(capacitor, farad=np.array([OTHER_F]))
    fault = Fault(Hypothesis("part", "C406", "exchanged", "", 0.0), replaced={number: other})
    return find_drive(
        Paths(Boards(build_board(), [list_faults(build_board())[0], fault])),
        "X401",
        ["pin 4"],
        PAL_HZ,
    )


def write_deck(series_f: float, siemens: float) -> str:
    """The circuit with half a volt's worth of current already in the motional arm."""
    _, crystal = find_element("X401")
    _, capacitor = find_element("C406")
    pin = build_board().topology.pin_at["pin 4"]
    source = next(one for one in build_board().sources if one.at == "pin 4")
    assert pin.capacitance is not None
    step_s, omega = 1 / PAL_HZ / STEPS_A_CYCLE, 2 * math.pi * PAL_HZ
    henry = BAND_Q * BAND_OHM / omega
    return "\n".join(
        [
            "* crystal behind a series capacitor, with an amplifier at the pin",
            f"L1 n a {float(crystal.henry[0])!r} ic=1e-3",
            f"C1 a b {float(crystal.farad[0])!r} ic=0",
            f"R1 b 0 {float(crystal.series_ohm[0])!r}",
            f"C0 n 0 {float(crystal.parallel_farad[0])!r} ic=0",
            f"Cs n d {series_f!r} ic=0",
            f"Rs d p {float(capacitor.series_ohm[0])!r}",
            f"Rp p 0 {1 / float(source.signal_siemens[0])!r}",
            f"Cp p 0 {pin.capacitance.nominal!r} ic=0",
            # In its band only: the pin's own resistance and capacitance are not to swing alone.
            "Eband k 0 p 0 1",
            f"Lband k l {henry!r} ic=0",
            f"Cband l o {1 / (omega**2 * henry)!r} ic=0",
            f"Rband o 0 {BAND_OHM!r}",
            f"Ggain 0 p o 0 {siemens!r}",
            ".options method=trap reltol=1e-5 abstol=1e-12 vntol=1e-9",
            f".tran {step_s!r} {CYCLES / PAL_HZ!r} 0 {step_s!r} uic",
            ".save v(n)",
            ".end\n",
        ]
    )


def fit_growth_and_hertz(series_f: float, siemens: float, folder: Path) -> tuple[float, float]:
    """How fast the swing grows, per second, and at which frequency it goes on."""
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")
    deck, raw = folder / "start.cir", folder / "start.raw"
    deck.write_text(write_deck(series_f, siemens))
    subprocess.run(
        [ngspice, "-b", str(deck), "-r", str(raw)], capture_output=True, timeout=120, check=True
    )
    _, _, body = raw.read_bytes().partition(b"Binary:\n")
    seconds, volts = np.frombuffer(body).reshape(-1, 2).T
    late = seconds > 0.2 * seconds[-1]  # the first swings charge the capacitors
    seconds, volts = seconds[late], volts[late]
    rises = np.flatnonzero((volts[:-1] < 0) & (volts[1:] >= 0))
    share = volts[rises] / (volts[rises] - volts[rises + 1])
    crossings = seconds[rises] + share * (seconds[rises + 1] - seconds[rises])
    hertz = (len(crossings) - 1) / (crossings[-1] - crossings[0])
    power = [np.mean(volts[a:b] ** 2) for a, b in pairwise(rises)]  # of each whole cycle
    growth = np.polyfit(crossings[:-1], 0.5 * np.log(power), 1)[0]
    return float(growth), float(hertz)


def start_of(series_f: float, folder: Path) -> Start:
    """Where the growth passes through nothing, between two conductances."""
    runs = [fit_growth_and_hertz(series_f, siemens, folder) for siemens in NEAR_SIEMENS]
    (slow, _), (fast, _) = runs
    assert slow < fast, "the more the amplifier gives, the faster a swing grows"
    share = -slow / (fast - slow)
    low, high = NEAR_SIEMENS
    return Start(low + share * (high - low), runs[0][1] + share * (runs[1][1] - runs[0][1]))


def test_start_and_pull_against_a_transient(tmp_path: Path) -> None:
    marked_f = float(find_element("C406")[1].farad[0])
    good, other = start_of(marked_f, tmp_path), start_of(OTHER_F, tmp_path)
    assert float(model_drive().strength[1]) == pytest.approx(good.siemens / other.siemens, rel=0.05)
    pulled_ppm = (other.hertz / good.hertz - 1) * 1e6
    assert float(model_drive().pull[1]) * 1e6 == pytest.approx(pulled_ppm, abs=5.0)
