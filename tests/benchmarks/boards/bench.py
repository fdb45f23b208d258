"""A board under a technician's instruments, answered in the words that the command takes."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from .board import Board
from .drawn_chip import DrawnPart
from .faults import Failure

# Common practice: a good meter, an oscilloscope read off the screen, a counter.
_METER_SPREAD, _METER_OFFSET_V = 0.015, 0.003
_SCREEN_SPREAD, _OHMMETER_SPREAD, _COUNTER_SPREAD = 0.03, 0.015, 4e-6
_JITTER_SPREAD = 0.01  # of a frequency that does not hold
_NOISE_V, _RIPPLE_V = 0.003, 0.02  # what a screen shows of no signal, and of a good rail
_MOST_OHM = 2e7  # the end of the meter's range


@dataclass(frozen=True)
class Shown:
    """The state of a board with a fault, as instruments and the set show it.

    ``signals`` by point and quantity (vpp, ripple: volts peak to peak; frequency: hertz);
    ``words`` by point: unstable, distorted, missing; ``symptoms`` of the set, each as the
    names it may go by, the likeliest first; ``meter_v`` where a meter shows other than the board's
    DC, on points whose shape makes the average.
    """

    board: Board
    signals: Mapping[tuple[str, str], float]
    words: Mapping[str, Sequence[str]] = field(default_factory=dict)
    symptoms: Sequence[tuple[str, ...]] = ()
    meter_v: Mapping[str, float] = field(default_factory=dict)


class Bench:
    """Takes readings of a board; the same seed gives the same readings."""

    def __init__(self, shown: Shown, seed: int) -> None:
        self._shown, self._chance = shown, random.Random(seed + 999)

    def read(self, at: str, quantity: str) -> str:
        """Return a reading as the command takes it.

        Raises KeyError for a quantity that no instrument of the bench reads.
        """
        take = {
            "dc": self._read_dc,
            "vpp": self._read_vpp,
            "ripple": self._read_ripple,
            "frequency": self._read_frequency,
            "resistance": self._read_resistance,
            "out of circuit": self._measure_part,
        }
        if quantity not in take:
            raise KeyError(f"the bench cannot read {quantity!r} at {at!r}")
        return take[quantity](at)

    def _near(self, value: float, spread: float) -> float:
        return value * (1 + self._chance.gauss(0, spread))

    def _read_dc(self, at: str) -> str:
        volts = self._shown.meter_v.get(at)
        volts = self._shown.board.meter_dc(at) if volts is None else volts
        volts = self._near(volts, _METER_SPREAD) + self._chance.gauss(0, _METER_OFFSET_V)
        return f"{_name(at)} dc={volts:.4g}V"

    def _read_vpp(self, at: str) -> str:
        volts = max(self._shown.signals.get((at, "vpp"), 0.0), _NOISE_V)
        words = sorted(self._shown.words.get(at, ()))
        seen = f" seen={words[0]}" if words else ""
        return f"{_name(at)} vpp={self._near(volts, _SCREEN_SPREAD):.4g}Vpp{seen}"

    def _read_ripple(self, at: str) -> str:
        volts = self._shown.signals.get((at, "ripple"), _RIPPLE_V)
        return f"{_name(at)} vpp={self._near(volts, _SCREEN_SPREAD):.4g}Vpp"

    def _read_frequency(self, at: str) -> str:
        hertz = self._shown.signals.get((at, "frequency"), 0.0)
        if not hertz:
            return f"{_name(at)} seen=missing"
        hertz = self._near(hertz, _COUNTER_SPREAD)
        if "unstable" not in self._shown.words.get(at, ()):
            return f"{_name(at)} freq={hertz:.8g}Hz"
        return f"{_name(at)} freq={self._near(hertz, _JITTER_SPREAD):.8g}Hz seen=unstable"

    def _read_resistance(self, at: str) -> str:
        parts = self._shown.board.electrics.chip.parts
        ends = parts[at].joins[:2] if at in parts else (at, "ground")
        ohms = self._near(self._shown.board.ohms(*ends), _OHMMETER_SPREAD)
        return f"{_name(at)} ohms={min(ohms, _MOST_OHM):.1f}Ω"

    def _measure_part(self, ref: str) -> str:
        board = self._shown.board
        failure = board.fault.failure(ref)
        if failure is None:
            return f"{ref}: good"
        return _measured_out_of_circuit(board.electrics.chip.parts[ref], failure, self._near)


def _measured_out_of_circuit(
    part: DrawnPart, failure: Failure, near: Callable[[float, float], float]
) -> str:
    if failure.mode in ("leaky", "off"):
        return f"{part.ref}: " + {"leaky": "leaky", "off": "off frequency"}[failure.mode]
    if failure.mode != "value":
        return f"{part.ref}: " + ("shorted" if "short" in failure.mode else "open")
    if part.kind in ("resistor", "potentiometer"):
        return f"{part.ref} measures {near(failure.figure, 0.01):.4g}Ω"
    scale, unit = (1e6, "uH") if part.kind == "coil" else (1e12, "pF")
    return f"{part.ref} measures {near(failure.figure, 0.03) * scale:.4g}{unit}"


def _name(at: str) -> str:
    return at.removeprefix("pin ")
