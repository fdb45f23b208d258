"""The three loops of a PAL decoder: gain of the chroma, phase of the oscillator, colour killer.

Each loop has a pin with a store: a source behind the pin's resistance, of which the board's parts
leave a share. Where a rule is a choice and not stated by a chip file it is common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

_GAIN_LIMIT = 4.0  # 12 dB more than with the usual burst: common practice for an ACC
_OVERLOAD = 1.6  # the most a chroma amplifier gives, in signals of a good set
_BISECTIONS = 40


@dataclass(frozen=True)
class Crystal:
    """Butterworth-Van Dyke: C1 of the series arm, C0 of the holder, and the load it is cut for."""

    nominal_hz: float
    load_f: float
    motional_f: float = 15e-15
    holder_f: float = 5e-12

    def pulled_hz(self, load_f: float, cut_off: float = 0.0) -> float:
        """Return how far it runs from nominal with another load, cut wrong by a relative part.

        fs sqrt(1 + C1 / (C0 + CL)), as any text on quartz crystals has it.
        """
        good = self._factor(self.load_f)
        return self.nominal_hz * ((1 + cut_off) * self._factor(load_f) / good - 1)

    def _factor(self, load_f: float) -> float:
        return math.sqrt(1 + self.motional_f / (self.holder_f + load_f))


@dataclass(frozen=True)
class GainLoop:
    """The ACC store: its source without burst and with bars, volts for a doubling of the gain."""

    quiet_v: float
    bars_v: float
    octave_v: float

    def settle(self, chroma: float, share: float, *, burst_measured: bool) -> tuple[float, float]:
        """Return the source's volts and the chroma behind the amplifier, 1 for a good set.

        ``chroma`` arrives, 1 for a good set; the board leaves a ``share`` of the source's volts.
        """
        if not burst_measured:
            return self.quiet_v, self._amplify(chroma, share * self.quiet_v)
        low_v, high_v = min(self.quiet_v, self.bars_v) - 9, max(self.quiet_v, self.bars_v) + 9
        for _ in range(_BISECTIONS):
            source_v = (low_v + high_v) / 2
            # The more volts the more gain, the more burst the fewer volts: one balance.
            if self._detect(self._amplify(chroma, share * source_v)) > source_v:
                low_v = source_v
            else:
                high_v = source_v
        return source_v, self._amplify(chroma, share * source_v)

    def _detect(self, burst: float) -> float:
        return self.quiet_v - (self.quiet_v - self.bars_v) * min(burst, _OVERLOAD)

    def _amplify(self, chroma: float, pin_v: float) -> float:
        gain = min(2 ** ((pin_v - self.bars_v) / self.octave_v), _GAIN_LIMIT)
        return min(chroma * gain, _OVERLOAD)


@dataclass(frozen=True)
class PhaseLoop:
    """The APC store: its volts at rest and with bars in lock, oscillator hertz for each volt."""

    rest_v: float
    bars_v: float
    hertz_per_volt: float
    pull_in_hz: float

    def settle(self, off_hz: float, share: float, *, burst: bool) -> tuple[float, float, bool]:
        """Return the source's volts, how far the oscillator then runs from nominal, and the lock.

        ``off_hz`` is how far it runs when the pin has its volts of a good set.
        """
        wanted_v = (self.bars_v - off_hz / self.hertz_per_volt) / max(share, 1e-3)
        swing_v = self.pull_in_hz / self.hertz_per_volt
        if burst and abs(off_hz) <= self.pull_in_hz and abs(wanted_v - self.rest_v) <= swing_v:
            return wanted_v, 0.0, True
        # Pulled as far as its range goes by a leak, and no further: the varactor's end.
        pulled_hz = (share * self.rest_v - self.bars_v) * self.hertz_per_volt
        limit_hz = 2 * self.pull_in_hz
        return self.rest_v, off_hz + max(-limit_hz, min(pulled_hz, limit_hz)), False


@dataclass(frozen=True)
class Killer:
    """The ident store: its volts without and with the burst, and the volts where colour comes."""

    quiet_v: float
    bars_v: float
    threshold_v: float

    def settle(self, burst: float, share: float, *, locked: bool) -> tuple[float, bool]:
        """Return the source's volts and whether colour is killed; ``burst`` 1 in a good set."""
        source_v = self.quiet_v
        if locked:
            source_v += (self.bars_v - self.quiet_v) * min(burst, 1.0)
        colour_is_above = self.bars_v > self.quiet_v
        return source_v, (share * source_v > self.threshold_v) != colour_is_above
