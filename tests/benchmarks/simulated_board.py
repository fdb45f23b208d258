"""Boards with one fault each: what every point truly shows.

What is simulated by what:

- The parts around the chip, each drawn within 5 %, with the injected failure: ngspice, DC and
  every signal frequency.
- What the chip makes of upset pins, and failures of stages and supplies: the plain rules of
  ``Board``, certain where the reasoning under test has probabilities. No simulator knows these
  chips.

Faults are drawn by the usual odds among those that can be simulated: not joints of the chip's own
pins, nor parts that amplify or wind.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final

import numpy as np
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding import out_of_circuit
from pinfolio.plugins.faultfinding.circuit import (
    Network,
    ac_network,
    dc_network,
    expectations_in,
    signal_frequencies,
)
from pinfolio.plugins.faultfinding.elements import Element
from pinfolio.plugins.faultfinding.failures import FaultDictionary, failures, fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import WITHOUT_ELEMENTS, Hypothesis, hypotheses
from pinfolio.plugins.faultfinding.other_tests import with_tests_at
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.outside import reached
from pinfolio.plugins.faultfinding.points import Point
from pinfolio.plugins.faultfinding.set_off import set_off
from pinfolio.plugins.faultfinding.worked_out import working_condition
from pinfolio.plugins.readings.checks import find_test_point
from pinfolio.schema import Chip, Expectation
from pinfolio.schema.chips.limits import Limits, find_limits

Simulate = Callable[[Sequence[tuple[Network, Sequence[Element]]]], list[dict[str, complex]]]

SPREAD: Final = 0.05  # of each part's value
LOST: Final = 0.1  # of an amplitude: what is left of a signal that is gone
_SHIFTED: Final = 0.15


@dataclass(frozen=True, eq=False)
class Bench:
    """One chip with all that is worked out about it once."""

    chip: Chip
    condition: str
    dictionary: FaultDictionary
    predicted: Predictions
    networks: tuple[Network, ...]

    @cached_property
    def expected(self) -> dict[str, Expectation]:
        return dict(expectations_in(self.chip, self.condition))

    @cached_property
    def on(self) -> list[Point]:
        """What is measured with the set on."""
        return [point for point in self.predicted.points if not point.is_passive]

    @cached_property
    def behind_ohm(self) -> dict[str, float]:
        """The resistance that a meter sees behind each point."""
        network = self.networks[0]
        ohm = {}
        for at, name in enumerate(network.names):
            one_ampere = np.zeros(len(network.names), dtype=np.complex128)
            one_ampere[at] = 1.0
            quiet = [replace(element, drop_v=0.0) for element in network.elements]
            ohm[name] = abs(replace(network, injected=one_ampere).volts(quiet)[name])
        return ohm


def bench_of(path: Path) -> Bench:
    chip = load_chip(path)
    condition = working_condition(chip)
    dictionary = fault_dictionary(chip, condition)
    predicted = predictions(chip, dictionary, hypotheses(chip, dictionary))
    lifted = list(out_of_circuit.points(chip))
    predicted = with_tests_at(chip, set_off(chip), predicted, lifted)
    networks = [dc_network(chip, condition)]
    networks += [ac_network(chip, condition, hz) for hz in signal_frequencies(chip, condition)]
    return Bench(chip, condition, dictionary, predicted, tuple(networks))


class Board:
    """One board with one fault: what every point truly shows."""

    def __init__(
        self, bench: Bench, fault: Hypothesis, solved: Sequence[dict[str, complex]],
        chance: np.random.Generator,
    ) -> None:  # fmt: skip
        self.bench, self.fault, self.chance = bench, fault, chance
        self.dc_v = self._dc(solved[0])
        self.share = self._shares(solved)  # of the healthy amplitude
        self.pitch = dict.fromkeys(bench.expected, 1.0)  # of the healthy frequency
        self._oscillators()
        self._stages()
        self.hum = self._hum() if chance.random() < 0.6 else set()

    def _dc(self, solved: dict[str, complex]) -> dict[str, float]:
        healthy = self.bench.dictionary.healthy
        network_v = self.bench.networks[0].volts()
        highest_v = max(abs(effect.dc_v or 0) for effect in healthy.values())
        return {
            name: float(
                np.clip(v.real + (healthy[name].dc_v or 0) - network_v[name].real,
                        -highest_v, highest_v)
            )
            for name, v in solved.items()
        }  # fmt: skip

    def _shares(self, solved: Sequence[dict[str, complex]]) -> dict[str, float]:
        shares = {}
        for name, expectation in self.bench.expected.items():
            if expectation.waveform is None or not expectation.waveform.amplitude_hz:
                continue
            hz = round(expectation.waveform.amplitude_hz, 3)
            at = [round(network.frequency_hz, 3) for network in self.bench.networks].index(hz)
            right_v = abs(self.bench.networks[at].volts()[name])
            shares[name] = min(abs(solved[at][name]) / right_v, 3.0) if right_v else 0.0
        return shares

    def _dc_share(self, name: str) -> float:
        right_v = self.bench.dictionary.healthy[name].dc_v or 0.0
        return self.dc_v[name] / right_v if abs(right_v) > 0.05 else 1.0

    def _oscillators(self) -> None:
        """One whose parts are off runs off, one without its resonator or amplitude stands still."""
        parts = {part.ref: part for part in self.bench.chip.application.parts}
        part = parts.get(self.fault.what) if self.fault.sort == "part" else None
        resonators = [p for p in parts.values() if p.kind in ("crystal", "ceramic resonator")]
        resonating = {end for resonator in resonators for end in resonator.joins}
        resonator = part in resonators
        for pin in self.bench.chip.pins:
            name = f"pin {pin.number}"
            if pin.role != "oscillator" or name not in self.share:
                continue
            joined = part is not None and name in part.joins
            moved = abs(self._dc_share(name) - 1)
            if joined:
                moved = max(moved, abs(self.share[name] - 1))
            if self.share[name] < 0.3 or (resonator and joined and self.fault.failure == "dead"):
                self.share[name] = 0.0
                continue
            if resonator and joined:
                self.pitch[name] = 1.02
            elif part is not None and moved > _SHIFTED:
                off = 0.005 if name in resonating else 0.05
                self.pitch[name] = 1 + math.copysign(off, self.chance.uniform(-1, 1))
            if self.share[name] > 0.5:
                self.share[name] = 1.0  # it limits itself

    def _stages(self) -> None:
        """Carry on along the block diagram what goes into each stage, until nothing changes."""
        chip, fault = self.bench.chip, self.fault
        if fault.sort == "supply" and fault.failure != "noisy":
            supply = next(s for s in chip.supplies if s.name == fault.what)
            left = 0.0 if fault.failure == "missing" else 0.7
            for name in (f"pin {number}" for number in supply.pins):
                self.dc_v[name] *= left
                if name in self.share:
                    self.share[name] *= left
        base = dict(self.share)
        shares, pitches = dict(base), dict(self.pitch)
        for _ in range(6):
            for block in chip.blocks:
                share, pitch = self._through(block.inputs, block.needs, shares, pitches)
                if fault.sort == "stage" and fault.what == block.id:
                    share *= 0.0 if fault.failure == "dead" else 0.4
                for end in (block.id, *block.outputs):
                    if end == block.id or end in base:
                        shares[end] = min(base.get(end, 1.0) * share, 3.0)
                        pitches[end] = pitch if pitch != 1 else pitches.get(end, 1.0)
        self.share = {name: shares[name] for name in base}
        self.pitch = pitches
        if fault.sort == "stage":
            block = next(b for b in chip.blocks if b.id == fault.what)
            for end in block.outputs:
                if end in self.dc_v and self.chance.random() < 0.5:
                    self.dc_v[end] *= self.chance.uniform(0.3, 1.4)

    def _hum(self) -> set[str]:
        """Where ripple shows: a noisy supply, or a dried-out electrolytic where one steadies."""
        if self.fault.failure == "noisy":
            supply = next(s for s in self.bench.chip.supplies if s.name == self.fault.what)
            return self._behind({f"pin {number}" for number in supply.pins})
        parts = {part.ref: part for part in self.bench.chip.application.parts}
        part = parts.get(self.fault.what)
        if part is None or self.fault.failure not in ("dried out", "open", "joint open"):
            return set()
        steadied = {
            f"pin {pin.number}"
            for pin in self.bench.chip.pins
            if pin.role in ("supply", "reference", "decoupling")
        }
        if part.kind != "electrolytic capacitor" or not steadied & set(part.joins):
            return set()
        return self._behind(set(part.joins))

    def _behind(self, ends: set[str]) -> set[str]:
        """What the stages put out that these ends go into."""
        needing = [b for b in self.bench.chip.blocks if ends & {*b.inputs, *b.needs}]
        return {end for block in needing for end in block.outputs if end in self.share}

    @cached_property
    def _controls(self) -> set[str]:
        """Stages that no signal enters: they set how much others pass on."""
        return {
            block.id
            for block in self.bench.chip.blocks
            if block.inputs and not any(e in self.share or "pin" not in e for e in block.inputs)
        }

    def _through(
        self, inputs: Sequence[str], needs: Sequence[str], shares: dict[str, float],
        pitches: dict[str, float],
    ) -> tuple[float, float]:  # fmt: skip
        """What a stage passes on: the mean of its signals, less where it lacks what it needs."""
        signals = [shares[end] for end in inputs if end in shares]
        share = float(np.mean(signals)) if signals else 1.0
        pitch = next((pitches[e] for e in inputs if pitches.get(e, 1.0) != 1), 1.0)
        for end in (*inputs, *needs):
            if end in needs and (shares.get(end, 1.0) < LOST or end in self._controls):
                share *= shares.get(end, 1.0)
            if end in shares or end not in self.dc_v:
                continue
            dc_share = self._dc_share(end)  # a supply, control or filter pin
            pin = self.bench.chip.pin(end.removeprefix("pin "))
            if pin is not None and pin.role == "supply":
                share *= 0.0 if dc_share < 0.5 else min(dc_share, 1.0)
            elif abs(dc_share - 1) > _SHIFTED:
                filtering = pin is not None and pin.role == "filter"
                pitch = 1 + 0.05 * (dc_share - 1) if filtering else pitch
                share *= 1.0 if filtering else float(np.clip(dc_share, 0.2, 1.5))
        return share, pitch

    @cached_property
    def wrong(self) -> list[Point]:
        """The points whose true values lie outside their limits; where none do, nothing shows."""
        return [
            point
            for point in self.bench.on
            if (point.at in self.hum and point.quantity == "vpp")
            or not (limits := self.limits(point)).low <= self.true(point) <= limits.high
        ]

    def limits(self, point: Point) -> Limits:
        place = find_test_point(self.bench.chip, point.at)
        return find_limits(place, self.bench.expected[point.at])[point.quantity]

    def true(self, point: Point) -> float:
        if point.quantity == "dc":
            return self.dc_v[point.at]
        wave = self.bench.expected[point.at].waveform
        assert wave is not None
        if point.quantity == "vpp":
            return wave.vpp_v * self.share.get(point.at, 1.0)
        return wave.frequency_hz * self.pitch[point.at]


def boards(bench: Bench, simulate: Simulate, seed: int, count: int) -> list[Board]:
    """Boards with faults drawn by their odds, solved by ngspice all at once."""
    chance = np.random.default_rng(seed)
    faults = [h for h in bench.predicted.hypotheses if _is_simulated(bench.chip, h)]
    odds = np.array([fault.odds for fault in faults])
    drawn = [faults[at] for at in chance.choice(len(faults), count, p=odds / odds.sum())]
    built = [_elements(bench, fault, chance) for fault in drawn]
    solved = [
        simulate([(_silenced(bench, network, fault), elements)
                  for fault, elements in zip(drawn, built, strict=True)])
        for network in bench.networks
    ]  # fmt: skip
    return [
        Board(bench, fault, each, chance)
        for fault, *each in zip(drawn, *solved, strict=True)
    ]  # fmt: skip


def _is_simulated(chip: Chip, fault: Hypothesis) -> bool:
    kinds = {part.ref: part.kind for part in chip.application.parts}
    return fault.sort not in ("none", "joint") and kinds.get(fault.what) not in WITHOUT_ELEMENTS


def _elements(bench: Bench, fault: Hypothesis, chance: np.random.Generator) -> list[Element]:
    """The parts as this board has them, the broken one among them."""
    spread = [_drawn(element, chance) for element in bench.networks[0].elements]
    for failure, broken in failures(spread):
        if fault.sort == "part" and (failure.ref, failure.mode) == (fault.what, fault.failure):
            return [broken.get(at, element) for at, element in enumerate(spread)]
    return spread


def _drawn(element: Element, chance: np.random.Generator) -> Element:
    by = chance.uniform(1 - SPREAD, 1 + SPREAD, 3).tolist()
    if element.kind in ("crystal", "ceramic resonator"):
        return element
    return replace(
        element, series_ohm=element.series_ohm * by[0], inductance_h=element.inductance_h * by[1],
        capacitance_f=element.capacitance_f * by[2],
    )  # fmt: skip


def _silenced(bench: Bench, network: Network, fault: Hypothesis) -> Network:
    """Without the signal from outside that is missing."""
    if fault.sort != "outside" or network.frequency_hz == 0:
        return network
    sending = {f"pin {p.number}" for p in bench.chip.pins if p.role in ("output", "oscillator")}
    joined = reached(bench.chip, {fault.what}) - sending
    kept = np.array([name not in joined for name in network.names])
    return replace(network, injected=network.injected * kept)
