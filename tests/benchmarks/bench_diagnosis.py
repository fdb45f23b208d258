"""Fault finding followed to its end on simulated boards: how many readings, how often right.

Run by hand: ``pytest tests/benchmarks/bench_diagnosis.py -s``; PINFOLIO_BOARDS sets the boards per
chip. What is simulated by what:

- The parts around the chip, each drawn within 5 %, with the injected failure: ngspice, DC and
  every signal frequency.
- The meter's load: the resistance behind each point in our own network; noise of meter, probe and
  oscilloscope: drawn from their accuracy.
- The complaint that starts a hunt: a symptom, else one wrong reading.
- What the chip makes of upset pins, and failures of stages and supplies: the plain rules of
  ``Board``, certain where the reasoning under test has probabilities. No simulator knows these
  chips.

Faults are drawn by the usual odds. Readings are judged by ``check_pin``, as on the bench.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_file import load_chip
from pinfolio.plugins.faultfinding.circuit import (
    Network,
    ac_network,
    dc_network,
    expectations_in,
    signal_frequencies,
)
from pinfolio.plugins.faultfinding.elements import Element
from pinfolio.plugins.faultfinding.failures import FaultDictionary, failures, fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import Hypothesis, hypotheses
from pinfolio.plugins.faultfinding.job import working_condition
from pinfolio.plugins.faultfinding.next_probe import proposals
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.outside import reached
from pinfolio.plugins.faultfinding.points import OUTCOMES, Point
from pinfolio.plugins.faultfinding.suspects import Observation, Posterior, posterior
from pinfolio.plugins.faultfinding.symptoms import observed_by, symptoms_of
from pinfolio.plugins.readings.checks import check_pin, find_place
from pinfolio.plugins.readings.corrected import corrected_vpp
from pinfolio.plugins.readings.expected import Limits, limits_of
from pinfolio.plugins.readings.reading import Reading
from pinfolio.schema import Chip, Expectation
from pinfolio.schema.ordinary_instruments import BUILT_IN

Simulate = Callable[[Sequence[tuple[Network, Sequence[Element]]]], list[dict[str, complex]]]

BOARDS = int(os.environ.get("PINFOLIO_BOARDS", "25"))
SEED = 2718  # none of the seeds that the chances of the predictions were looked at with
SPREAD = 0.05
MOST_READINGS = 30
INSTRUMENTS = BUILT_IN.choose(scope="digitising 50 MHz")
SURE = 0.9
_LOST, _SHIFTED = 0.1, 0.15


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
        if fault.sort == "supply":
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
        """Where ripple shows when an electrolytic at a supply or reference has dried out."""
        parts = {part.ref: part for part in self.bench.chip.application.parts}
        part = parts.get(self.fault.what)
        if part is None or self.fault.failure not in ("dried out", "open"):
            return set()
        steadied = {
            f"pin {pin.number}"
            for pin in self.bench.chip.pins
            if pin.role in ("supply", "reference", "decoupling")
        }
        if part.kind != "electrolytic capacitor" or not steadied & set(part.joins):
            return set()
        needing = [b for b in self.bench.chip.blocks if set(part.joins) & {*b.inputs, *b.needs}]
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
            if end in needs and (shares.get(end, 1.0) < _LOST or end in self._controls):
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

    def observed(self, point: Point) -> Observation | None:
        """A point measured with noise and judged; None where the instruments cannot tell."""
        place, expectation = find_place(self.bench.chip, point.at), self.bench.expected[point.at]
        reading = self._reading(point, expectation)
        if "hum" in reading.seen:
            return Observation(point, "distorted")
        if "missing" in reading.seen:
            return Observation(Point(point.at, "vpp"), "missing")
        judged = check_pin(self.bench.chip, place, reading, INSTRUMENTS, self.bench.condition)
        for result in judged.results:
            if result.expected.quantity == point.quantity and result.verdict in OUTCOMES:
                return Observation(point, result.verdict)
        return None

    def _reading(self, point: Point, expectation: Expectation) -> Reading:
        noise = self.chance.normal
        if point.quantity == "dc":
            meter = INSTRUMENTS.meter
            meter_ohm = meter.input_ohm(self.dc_v[point.at])
            loaded_v = self.dc_v[point.at] * meter_ohm
            loaded_v /= meter_ohm + self.bench.behind_ohm[point.at]
            return Reading(dc_v=loaded_v + noise(0, meter.dc_half_width_v(loaded_v) / 2))
        wave = expectation.waveform
        assert wave is not None
        share = self.share.get(point.at, 1.0)
        scope = INSTRUMENTS.scope
        if point.quantity == "vpp":
            place = find_place(self.bench.chip, point.at)
            if point.at in self.hum:
                return Reading(seen=("hum",))
            gain = 1 / corrected_vpp(1.0, place, expectation, INSTRUMENTS).value
            spread = scope.gain_percent.nominal / 200
            return Reading(vpp_v=wave.vpp_v * share * gain * (1 + noise(0, spread)))
        if share < _LOST:
            return Reading(seen=("missing",))
        hz = wave.frequency_hz * self.pitch[point.at]
        return Reading(frequency_hz=hz * (1 + noise(0, scope.timebase_percent.nominal / 200)))

    @cached_property
    def wrong(self) -> list[Point]:
        """The points whose true values lie outside their limits; where none do, nothing shows."""
        return [
            point
            for point in self.bench.predicted.points
            if (point.at in self.hum and point.quantity == "vpp")
            or not (limits := self._limits(point)).low <= self._true(point) <= limits.high
        ]

    def _limits(self, point: Point) -> Limits:
        place = find_place(self.bench.chip, point.at)
        return limits_of(place, self.bench.expected[point.at])[point.quantity]

    def _true(self, point: Point) -> float:
        if point.quantity == "dc":
            return self.dc_v[point.at]
        wave = self.bench.expected[point.at].waveform
        assert wave is not None
        if point.quantity == "vpp":
            return wave.vpp_v * self.share.get(point.at, 1.0)
        return wave.frequency_hz * self.pitch[point.at]

    def complaint(self) -> list[Observation]:
        """What the hunt starts from: a symptom, else a wrong reading, at an output first."""
        for symptom in symptoms_of(self.bench.chip):
            told = observed_by(self.bench.chip, symptom, self.bench.predicted)
            seen = [self.observed(o.point) for o in told]
            if told and all(s is not None and s.outcome == o.outcome
                            for s, o in zip(seen, told, strict=True)):  # fmt: skip
                return told
        outputs = {f"pin {pin.number}" for pin in self.bench.chip.pins if pin.role == "output"}
        for point in sorted(self.wrong, key=lambda point: point.at not in outputs):
            seen = self.observed(point)
            if seen is not None and seen.outcome != "as expected":
                return [seen]
        return []


def boards(bench: Bench, simulate: Simulate, seed: int) -> list[Board]:
    """Boards with faults drawn by their odds, solved by ngspice all at once."""
    chance = np.random.default_rng(seed)
    faults = [h for h in bench.predicted.hypotheses if h.sort != "none"]
    odds = np.array([fault.odds for fault in faults])
    drawn = [faults[at] for at in chance.choice(len(faults), BOARDS, p=odds / odds.sum())]
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


@dataclass(frozen=True)
class Hunt:
    """How one hunt went."""

    hypotheses: int
    shows: bool
    readings: int
    rank: int
    probability: float
    """Of the first suspect."""
    by_order: dict[str, int]
    """Readings until the true fault was among the first three, by how points were chosen."""
    slipped: bool
    """A wrong suspect held for sure after one wrong reading."""
    slipped_again: bool
    """The same, with the readings in doubt taken again."""

    @property
    def is_first(self) -> bool:
        return self.rank == 1


def to_replace(fault: Hypothesis) -> tuple[str, str]:
    """What the remedy is about: all stages are the chip."""
    return ("chip", "") if fault.sort == "stage" else (fault.sort, fault.what)


def suspects(found: Posterior) -> list[tuple[tuple[str, str], float]]:
    """What may have to be replaced, the ways of each together, the likeliest first."""
    together: dict[tuple[str, str], float] = {}
    for hypothesis, share in found.ranked(len(found.predictions.hypotheses)):
        key = to_replace(hypothesis)
        together[key] = together.get(key, 0.0) + share
    return sorted(together.items(), key=lambda pair: -pair[1])


def rank_of(board: Board, found: Posterior) -> int:
    names = [name for name, _ in suspects(found)]
    return 1 + names.index(to_replace(board.fault))


Chooser = Callable[[Posterior, set[Point]], Point | None]


def followed(board: Board, choose: Chooser, slip_at: int = 0) -> tuple[Posterior, int, int]:
    """The end of a hunt: what is left, readings taken, readings until among the first three.

    The reading number ``slip_at`` is a wrong one.
    """
    taken = board.complaint()
    tried: set[Point] = set()
    found = posterior(board.bench.predicted, taken)
    among_three = 0 if rank_of(board, found) <= 3 else MOST_READINGS
    while len(tried) < MOST_READINGS and (point := choose(found, tried)) is not None:
        tried.add(point)
        seen = board.observed(point)
        if seen is not None and len(tried) == slip_at:
            seen = wrongly_read(seen, board.chance)
        if seen is not None and seen.point not in {o.point for o in taken}:
            taken = [*taken, seen]
        found = posterior(board.bench.predicted, taken)
        if among_three == MOST_READINGS and rank_of(board, found) <= 3:
            among_three = len(tried)
    return found, len(tried), among_three


def as_proposed(bench: Bench) -> Chooser:
    def choose(found: Posterior, tried: set[Point]) -> Point | None:
        offered = proposals(bench.chip, found, most=1, tried=tried)
        return offered[0].point if offered else None

    return choose


def in_turn(points: Sequence[Point]) -> Chooser:
    return lambda found, tried: next((point for point in points if point not in tried), None)


def hunted(board: Board) -> Hunt:
    points = list(board.bench.predicted.points)
    found, readings, proposed = followed(board, as_proposed(board.bench))
    by_order = {"proposed": proposed}
    if board.wrong:
        by_order["pin order"] = followed(board, in_turn(points))[2]
        board.chance.shuffle(points)  # type: ignore[arg-type]
        by_order["random"] = followed(board, in_turn(points))[2]
    count = len({str(hypothesis) for hypothesis in found.predictions.hypotheses})
    first = suspects(found)[0][1]
    rank = rank_of(board, found)
    return Hunt(count, bool(board.wrong), readings, rank, first, by_order, *slipped(board))


def slipped(board: Board) -> tuple[bool, bool]:
    """With the second reading a wrong one: is a wrong suspect held for sure at the end, and is it
    still when the readings in doubt were taken again?"""
    found, _, _ = followed(board, as_proposed(board.bench), slip_at=2)
    before = wrong_for_sure(board, found)
    doubted = {*found.contradictions, found.rests_on}
    again = [board.observed(o.point) if o in doubted else o for o in found.observations]
    found = posterior(board.bench.predicted, [o for o in again if o is not None])
    return before, wrong_for_sure(board, found)


def wrong_for_sure(board: Board, found: Posterior) -> bool:
    return rank_of(board, found) > 1 and suspects(found)[0][1] > SURE


def wrongly_read(seen: Observation, chance: np.random.Generator) -> Observation:
    """Another pin's reading, a probe left at x10, a slip of the pen: any other verdict."""
    verdicts = ["as expected", "too low", "too high", "missing"]
    if seen.point.quantity == "frequency":
        verdicts = ["as expected", "off frequency"]
    others = [verdict for verdict in verdicts if verdict != seen.outcome]
    return Observation(seen.point, str(chance.choice(others)))


def reliability(hunts: Sequence[Hunt]) -> Iterator[tuple[float, float, int]]:
    """Mean probability of the first suspect, share of hits and count, by fifths."""
    for low in np.arange(0, 1, 0.2):
        within = [h for h in hunts if low <= h.probability < low + 0.2 + (low > 0.7)]
        if within:
            said = float(np.mean([h.probability for h in within]))
            yield said, float(np.mean([h.is_first for h in within])), len(within)


def calibration_error(hunts: Sequence[Hunt]) -> float:
    return sum(n * abs(said - hit) for said, hit, n in reliability(hunts)) / len(hunts)


def summary(hunts: Sequence[Hunt]) -> dict[str, float]:
    """The figures of the report, of faults that show at some point."""
    shown = [hunt for hunt in hunts if hunt.shows]
    figures = {
        "boards": len(hunts),
        "shown": len(shown),
        "readings": float(np.mean([h.readings for h in shown])),
        "log2 of hypotheses": float(np.mean([math.log2(h.hypotheses) for h in shown])),
        "first": float(np.mean([h.is_first for h in shown])),
        "first three": float(np.mean([h.rank <= 3 for h in shown])),
        "calibration error": calibration_error(shown),
        "wrong for sure after a slip": float(np.mean([h.slipped for h in shown])),
        "the same, taken again": float(np.mean([h.slipped_again for h in shown])),
    }
    for order in ("proposed", "pin order", "random"):
        figures[f"until three, {order}"] = float(np.mean([h.by_order[order] for h in shown]))
    return figures


_ALL: dict[str, list[Hunt]] = {}


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_hunts(path: Path, simulate: Simulate) -> None:
    bench = bench_of(path)
    hunts = [hunted(board) for board in boards(bench, simulate, SEED)]
    _ALL[path.stem] = hunts
    if any(hunt.shows for hunt in hunts):
        print(path.stem, json.dumps({k: round(v, 2) for k, v in summary(hunts).items()}))


def test_all_together() -> None:
    hunts = [hunt for each in _ALL.values() for hunt in each]
    print(json.dumps({name: round(value, 3) for name, value in summary(hunts).items()}, indent=1))
    for said, hit, count in reliability([hunt for hunt in hunts if hunt.shows]):
        print(f"said {said:.2f}, was {hit:.2f}, {count} hunts")
