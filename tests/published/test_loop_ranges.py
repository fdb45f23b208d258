"""Ranges of the board model's phase-locked loops against the textbook's second-order loop.

Names are Gardner's (Phaselock Techniques, chapters on tracking and acquisition): K0 in hertz a
volt, natural frequency wn, damping zeta. Formulas from memory, and checked here against the loop's
own equation, which scipy integrates. Hold-in: K0 times the volts at which the detector ends.
Lock-in: 2 zeta wn, within one cycle. Pull-in with a passive lag-lead filter and a sinusoidal
detector: (4 sqrt(2) / pi) sqrt(zeta wn K), from Best, Phase-Locked Loops.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Hypothesis
from pinfolio.plugins.diagnosis.board.good_board import GoodBoard, build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import Fault, list_faults
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.settling import Settled, settle
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.topology import Topology
from pinfolio.schema.waveforms.kinds.control_voltage import ControlVoltage
from scipy.integrate import solve_ivp

NEAR_THE_END: Final = 0.1  # of the range: resonators spread, and stated ranges are round numbers
DRAWS: Final = 12


@dataclass(frozen=True)
class Loop:
    """A loop of a demo chip, by its filter pin; ``divided``: oscillator cycles a comparison."""

    chip: str
    pin: str
    oscillator: str
    resonator: str
    nominal_hz: float
    divided: int


LINE = Loop("tqz5752", "pin 16", "line-oscillator", "X701", 500e3, 32)
COLOUR = Loop("kye4728", "pin 5", "subcarrier-oscillator", "X401", 4.43361875e6, 1)


@cache
def build_board(chip: str) -> GoodBoard:
    path = next(path for path in chip_files() if path.stem == chip)
    return build_good_board(Topology(load_chip(path), "colour bars"), Draws(DRAWS, seed=3))


def read_filter(loop: Loop) -> tuple[float, float]:
    """The statements of the chip file: hertz a volt, and volts from the middle to an end."""
    expectation = build_board(loop.chip).topology.expectations[loop.pin]
    assert isinstance(expectation.waveform, ControlVoltage)
    match = re.search(r"by about ([0-9.]+) (k?)Hz", expectation.note or "")
    assert match is not None
    low, high = expectation.waveform.low, expectation.waveform.high
    assert low is not None
    assert high is not None
    slope_hz = float(match[1]) * (1e3 if match[2] else 1.0)
    return slope_hz, (high.nominal - low.nominal) / 2


def settle_off(loop: Loop, off_hz: float, board: GoodBoard | None = None) -> Settled:
    """The board with a resonator whose motional arm is so far off; row 0 is the good board."""
    board = board or build_board(loop.chip)
    at = next(n for n, e in enumerate(board.elements) if e.ref == loop.resonator)
    own = board.elements[at]
    other = replace(own, henry=own.henry / (1 + off_hz / loop.nominal_hz) ** 2)
    hypothesis = Hypothesis("part", loop.resonator, "exchanged", "exchanged", 0.0)
    return settle(Boards(board, [list_faults(board)[0], Fault(hypothesis, replaced={at: other})]))


def share_locked(loop: Loop, off_hz: float) -> float:
    """The share of boards whose oscillator runs at the reference's rate."""
    detune = settle_off(loop, off_hz).out[loop.oscillator].detune[DRAWS:]
    return float((np.abs(detune) < 1e-9).mean())


@pytest.mark.parametrize("loop", [LINE, COLOUR], ids=["line", "colour"])
@pytest.mark.parametrize("way", [-1, 1])
def test_hold_in_is_the_slope_times_the_detector_s_swing(loop: Loop, way: int) -> None:
    slope_hz, half_v = read_filter(loop)
    hold_in_hz = slope_hz * half_v
    assert share_locked(loop, way * (1 - NEAR_THE_END) * hold_in_hz) > 0.9
    assert share_locked(loop, way * (1 + NEAR_THE_END) * hold_in_hz) < 0.1


@dataclass(frozen=True)
class SecondOrder:
    """A loop with a sinusoidal detector behind a resistance, and a filter of R and C in series.

    ``gain``: the detector's end voltage as a multiple of the swing that the pin allows.
    """

    swing_rad_s: float
    source_ohm: float
    filter_ohm: float
    filter_farad: float
    gain: float = 1.0

    @property
    def natural_rad_s(self) -> float:
        lag_s = (self.source_ohm + self.filter_ohm) * self.filter_farad
        return math.sqrt(self.swing_rad_s * self.gain / lag_s)

    @property
    def damping(self) -> float:
        lead_s = self.filter_ohm * self.filter_farad + 1 / (self.swing_rad_s * self.gain)
        return self.natural_rad_s * lead_s / 2

    @property
    def lock_in_rad_s(self) -> float:
        return 2 * self.damping * self.natural_rad_s

    @property
    def pull_in_rad_s(self) -> float:
        """Best's formula for a passive lag-lead filter and high gain."""
        product = self.damping * self.natural_rad_s * self.swing_rad_s * self.gain
        return 4 * math.sqrt(2) / math.pi * math.sqrt(product)

    def acquires(self, off_rad_s: float, seconds: float = 3.0) -> bool:
        """Whether the loop, switched on at rest so far off, slips no more cycles at the end."""
        sum_ohm = self.source_ohm + self.filter_ohm

        def slope(_: float, state: np.ndarray) -> list[float]:
            phase, stored = state
            detector = self.gain * math.sin(phase)
            pin = (detector * self.filter_ohm + stored * self.source_ohm) / sum_ohm
            charging = (detector - stored) / (sum_ohm * self.filter_farad)
            if abs(stored) >= 1 and charging * stored > 0:
                charging = 0.0
            return [off_rad_s - self.swing_rad_s * min(max(pin, -1.0), 1.0), charging]

        way = solve_ivp(slope, (0, seconds), [0.0, 0.0], rtol=1e-5, max_step=0.6 / off_rad_s)
        late = way.y[0][way.t > 0.9 * seconds]
        return float(np.ptp(late)) < 0.5


def build_line_loop(gain: float = 1.0) -> SecondOrder:
    """The line loop with its drawn filter R710, C717 and the pin's own resistance."""
    board = build_board(LINE.chip)
    parts = {part.ref: part for part in board.topology.chip.application.parts}
    resistor, capacitor = parts["R710"].quantity, parts["C717"].quantity
    source = board.topology.pin_at[LINE.pin].resistance
    assert resistor is not None
    assert capacitor is not None
    assert source is not None
    slope_hz, half_v = read_filter(LINE)
    swing_rad_s = 2 * math.pi * slope_hz * half_v / LINE.divided
    return SecondOrder(swing_rad_s, source.nominal, resistor.nominal, capacitor.nominal, gain)


@pytest.mark.parametrize(("share", "acquires"), [(0.85, True), (1.2, False)])
def test_pull_in_of_a_passive_filter_by_its_equation(share: float, acquires: bool) -> None:
    loop = build_line_loop()
    assert loop.acquires(share * loop.pull_in_rad_s) == acquires


def test_lock_in_is_less_than_pull_in_is_less_than_the_model_s_range() -> None:
    """Where the detector gives no more than the swing, a loop holds more than it pulls in."""
    loop = build_line_loop()
    assert loop.lock_in_rad_s < loop.pull_in_rad_s < loop.swing_rad_s
    pull_in_hz = loop.pull_in_rad_s * LINE.divided / (2 * math.pi)
    assert share_locked(LINE, pull_in_hz) == 1.0


@pytest.mark.parametrize(("share", "acquires"), [(0.95, True), (1.1, False)])
def test_a_detector_with_gain_to_spare_pulls_in_all_that_it_holds(
    share: float, acquires: bool
) -> None:
    """So one range serves the model: a chip's detector is a current source into its filter, and
    the end of the control voltage is its only limit (Gardner: the loop of high gain)."""
    loop = build_line_loop(gain=10.0)
    assert loop.pull_in_rad_s > loop.swing_rad_s
    assert loop.acquires(share * loop.swing_rad_s) == acquires
    assert (share_locked(LINE, share * 6e3) > 0.5) == acquires


@pytest.mark.parametrize("times", [1.3, 2.0, 3.5])
def test_out_of_lock_the_beat_leaves_a_mean_voltage(times: float) -> None:
    """Of a first-order loop the beat's mean is x - sqrt(x squared - 1) of the swing (Gardner; it is
    the mean of the detector's sine over a cycle slipped). The model's boards spread about it."""
    slope_hz, half_v = read_filter(LINE)
    volts = settle_off(LINE, times * slope_hz * half_v).read_volts(LINE.pin)
    moved = np.abs(volts[DRAWS:] - volts[:DRAWS]) / half_v
    assert moved.min() < times - math.sqrt(times**2 - 1) < moved.max()


def test_where_a_higher_voltage_slows_the_oscillator_a_fast_one_raises_it() -> None:
    """Negative feedback: the filter's voltage goes the way that brings the frequency back."""
    chip = build_board(COLOUR.chip).topology.chip
    slows = {"purpose": "APC filter; a higher voltage slows the oscillator"}
    parts = tuple(
        part.model_copy(update=slows) if COLOUR.pin in part.joins else part
        for part in chip.application.parts
    )
    application = chip.application.model_copy(update={"parts": parts})
    told = chip.model_copy(update={"application": application})
    board = build_good_board(Topology(told, "colour bars"), Draws(DRAWS, seed=3))
    for way in (1, -1):
        volts = settle_off(COLOUR, way * 240.0, board).read_volts(COLOUR.pin)
        assert (way * (volts[DRAWS:] - volts[:DRAWS]) > 0.2).all()
