"""What a technician at a simulated board reads, noise and slips included, judged as on the bench.

The meter's load comes from the resistance behind each point in our own network; the noise of meter,
probe and oscilloscope from their accuracy. Readings are judged by ``check_pin``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

from pinfolio.plugins.faultfinding.out_of_circuit import upset_by
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT, OUTCOMES, Point
from pinfolio.plugins.faultfinding.suspects import Observation
from pinfolio.plugins.faultfinding.symptoms import observed_by, symptoms_of
from pinfolio.plugins.readings.checks import check_pin, find_test_point
from pinfolio.plugins.readings.correction import correct_vpp
from pinfolio.plugins.readings.verdict import PinVerdict
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading
from simulated_board import LOST, Board

INSTRUMENTS: Final = BUILT_IN.choose(scope="digitising 50 MHz")


@dataclass(frozen=True)
class Seen:
    """One measurement: what was read, and what it says."""

    judged: PinVerdict | None
    observation: Observation


@dataclass(eq=False)
class Technician:
    """Measures points of a board, with a slip if one is given.

    The slip lasts until a reading is taken again: then the pins are counted afresh and the probe's
    switch is looked at.
    """

    board: Board
    slip: Slip | None = None
    taken: list[Point] = field(default_factory=list)

    def measure(self, point: Point, carefully: bool = False) -> Seen | None:
        """A point measured with noise and judged; None where the instruments cannot tell."""
        self.taken.append(point)
        self.slip = None if carefully else self.slip
        if point.quantity == OUT_OF_CIRCUIT:
            return Seen(None, Observation(point, self.lifted(point)))
        reading = self.reading(point)
        if self.slip is not None:
            slipped = self.slip(self, point, reading)
            if slipped is None or isinstance(slipped, Observation):
                return slipped and Seen(None, slipped)
            reading = slipped
        return self.judged(point, reading)

    def judged(self, point: Point, reading: Reading) -> Seen | None:
        bench = self.board.bench
        if "hum" in reading.seen:
            return Seen(None, Observation(point, "distorted"))
        if "missing" in reading.seen:
            return Seen(None, Observation(Point(point.at, "vpp"), "missing"))
        place = find_test_point(bench.chip, point.at)
        judged = check_pin(bench.chip, place, reading, INSTRUMENTS, bench.condition)
        for result in judged.results:
            if result.expected.quantity == point.quantity and result.verdict in OUTCOMES:
                return Seen(judged, Observation(point, result.verdict))
        return None

    def lifted(self, point: Point) -> str:
        """What a part shows out of circuit."""
        upset = upset_by(self.board.fault).get(point, {"good": 1.0})
        return str(self.board.chance.choice(list(upset), p=list(upset.values())))

    def reading(self, point: Point) -> Reading:
        """What the instrument shows of a point."""
        board, noise = self.board, self.board.chance.normal
        expectation = board.bench.expected[point.at]
        if point.quantity == "dc":
            meter = INSTRUMENTS.meter
            meter_ohm = meter.input_ohm(board.dc_v[point.at])
            loaded_v = board.dc_v[point.at] * meter_ohm
            loaded_v /= meter_ohm + board.bench.behind_ohm[point.at]
            return Reading(dc_v=loaded_v + noise(0, meter.dc_half_width_v(loaded_v) / 2))
        wave, scope = expectation.waveform, INSTRUMENTS.scope
        if wave is None or not wave.frequency_hz:  # of another pin, by a slip: a flat line
            return Reading(vpp_v=0.0) if point.quantity == "vpp" else Reading(seen=("missing",))
        share = board.share.get(point.at, 1.0)
        if point.quantity == "vpp":
            place = find_test_point(board.bench.chip, point.at)
            if point.at in board.hum:
                return Reading(seen=("hum",))
            gain = 1 / correct_vpp(1.0, place, expectation, INSTRUMENTS).value
            spread = scope.gain_percent.nominal / 200
            return Reading(vpp_v=wave.vpp_v * share * gain * (1 + noise(0, spread)))
        if share < LOST:
            return Reading(seen=("missing",))
        hz = wave.frequency_hz * board.pitch[point.at]
        return Reading(frequency_hz=hz * (1 + noise(0, scope.timebase_percent.nominal / 200)))

    def complaint(self) -> list[Observation]:
        """What the hunt starts from: a symptom, else a wrong reading, at an output first."""
        bench = self.board.bench
        for symptom in symptoms_of(bench.chip):
            told = observed_by(bench.chip, symptom, bench.predicted)
            if told and all(self._shows(observation) for observation in told):
                return told
        outputs = {f"pin {pin.number}" for pin in bench.chip.pins if pin.role == "output"}
        for point in sorted(self.board.wrong, key=lambda point: point.at not in outputs):
            seen = self.judged(point, self.reading(point))
            if seen is not None and seen.observation.outcome != "as expected":
                return [seen.observation]
        return []

    def _shows(self, told: Observation) -> bool:
        seen = self.judged(told.point, self.reading(told.point))
        return seen is not None and seen.observation.outcome == told.outcome


Slip = Callable[[Technician, Point, Reading], Reading | Observation | None]
"""What is read instead of a point's reading: another reading, or straight a wrong outcome."""


def nth(number: int, slip: Slip) -> Slip:
    """The slip at one measurement of the hunt only."""
    return lambda who, point, reading: (
        slip(who, point, reading) if len(who.taken) == number else reading
    )


def any_outcome(who: Technician, point: Point, reading: Reading) -> Observation | None:
    """A slip of the pen, a probe in another state of the set: any other verdict."""
    seen = who.judged(point, reading)
    verdicts = ["as expected", "too low", "too high", "missing"]
    if point.quantity == "frequency":
        verdicts = ["as expected", "off frequency"]
    others = [v for v in verdicts if seen is None or v != seen.observation.outcome]
    return Observation(point, str(who.board.chance.choice(others)))


def cannot_tell(who: Technician, point: Point, reading: Reading) -> None:
    """No reading: the point cannot be reached, or nothing can be said of it."""


def times(factor: float) -> Slip:
    """Amplitudes read with the probe's switch in the wrong position."""
    return lambda who, point, reading: (
        reading if reading.vpp_v is None else replace(reading, vpp_v=factor * reading.vpp_v)
    )


def swapped(who: Technician, point: Point, reading: Reading) -> Reading:
    """The second pin measured and the next one taken for each other, throughout."""
    pins = list(dict.fromkeys(p.at for p in who.taken if p.at.startswith("pin ")))
    if len(pins) < 2:
        return reading
    number = int(pins[1].removeprefix("pin "))
    known = who.board.bench.expected
    other = next((n for n in (number + 1, number - 1) if f"pin {n}" in known), None)
    instead = {f"pin {number}": f"pin {other}", f"pin {other}": f"pin {number}"}
    if other is None or point.at not in instead:
        return reading
    return who.reading(Point(instead[point.at], point.quantity))
