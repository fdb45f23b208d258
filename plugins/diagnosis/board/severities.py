"""Variation from board to board: tolerances, severities, and unknown traits of a chip.

All is drawn once for each draw, so that the same draw of every fault is made on the same board.
Spreads are common practice unless a source is named.
"""

from __future__ import annotations

from typing import Final
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

# Standard deviation of a value about its mark, by kind of part; marked tolerances are about twice.
TOLERANCE_OF: Final = {
    "resistor": 0.025,
    "potentiometer": 0.08,
    "capacitor": 0.05,
    "electrolytic capacitor": 0.12,
    "trimmer capacitor": 0.05,
    "coil": 0.04,
    "crystal": 5e-6,
    "ceramic resonator": 1e-3,
    "ceramic filter": 2e-3,
    "delay line": 0.02,
    "zener diode": 0.02,
}


class Draws:
    """Numbers drawn for a number of boards, the same whenever they are asked for by one name."""

    def __init__(self, count: int, seed: int) -> None:
        self.count = count
        self._seed = seed
        self._drawn: dict[str, Numbers] = {}

    def _draw_shuffled(self, name: str) -> Numbers:
        """Return evenly spread numbers between 0 and 1 in an order of their own, shape (draws,).

        Stratified: so few draws would otherwise leave gaps in the range of a severity.
        """
        if name not in self._drawn:
            self._drawn[name] = self._shuffle(name)
        return self._drawn[name]

    def _shuffle(self, name: str) -> Numbers:
        random = np.random.default_rng([self._seed, crc32(name.encode())])
        return (random.permutation(self.count) + random.random(self.count)) / self.count

    def draw_uniform(self, name: str, low: float, high: float) -> Numbers:
        """Draw evenly between two ends."""
        return low + (high - low) * self._draw_shuffled(name)

    def draw_log_uniform(self, name: str, low: float, high: float) -> Numbers:
        """Draw evenly in the logarithm between two ends."""
        return np.exp(self.draw_uniform(name, float(np.log(low)), float(np.log(high))))

    def draw_deviation(self, name: str, least: float, most: float) -> Numbers:
        """Draw deviations evenly in the logarithm, with the sign of ``most``, added to 1.

        Parts drift by tenths of their value more often than by tens of it. Common practice.
        """
        way = 1.0 if most > 0 else -1.0
        return 1 + way * self.draw_log_uniform(name, abs(least), abs(most))

    def draw_drift(self, name: str, least: float, most: float) -> Numbers:
        """Draw values that drifted up by ``least`` to ``most`` of the marked one, as shares of it.

        Half are even in the logarithm of the deviation, half in that of the value: where a resistor
        drops little, only one that is several times its value is noticed.
        """
        near = self.draw_deviation(name, least, most)
        far = self.draw_log_uniform(f"{name}, far", 1 + least, 1 + most)
        return np.where(self.draw_event(f"{name}, noticed when far", 0.5), far, near)

    def spread(self, name: str, share: float) -> Numbers:
        """Draw factors about 1 with a standard deviation, lognormal, none beyond 2.5 of them."""
        share_below = np.clip(self._draw_shuffled(name), 0.006, 0.994)
        return np.exp(share * _compute_normal_quantile(share_below))

    def draw_event(self, name: str, chance: float) -> NDArray[np.bool_]:
        """Draw yes or no."""
        return self._draw_shuffled(name) < chance

    def draw_part_value(self, ref: str, kind: str, tolerance_percent: float | None) -> Numbers:
        """Draw a part's measured value, as a share of its marked one."""
        share = TOLERANCE_OF.get(kind, 0.05)
        if tolerance_percent is not None:
            share = min(share, tolerance_percent / 200)
        return self.spread(f"value of {ref}", share)


def _compute_normal_quantile(share_below: Numbers) -> Numbers:
    """Return standard normal quantiles, good to 5e-4.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23.
    """
    tail = np.minimum(share_below, 1 - share_below)
    t = np.sqrt(-2 * np.log(tail))
    above = t - (2.515517 + 0.802853 * t + 0.010328 * t**2) / (
        1 + 1.432788 * t + 0.189269 * t**2 + 0.001308 * t**3
    )
    return np.asarray(np.where(share_below < 0.5, -above, above))


def find_leak_span_ohm(usual: tuple[float, float], across_ohm: float) -> tuple[float, float]:
    """Return the least and the most leak thought of where the good board has so many ohms.

    A leak is looked for because it moves something. Where the board has few ohms, as at a supply,
    only one of few ohms does, and one of a hundred times the board's own is never noticed.
    """
    low = max(_LEAST_LEAK_OHM, min(usual[0], across_ohm / 2))
    return low, float(np.clip(_UNNOTICED * across_ohm, 10 * low, usual[1]))


# The severity of each way to fail, as (low, high) of a draw: log-uniform where it spans decades.
LEAK_OHM: Final = (100.0, 2e6)
LEAK_OHM_SMALL_CAPACITOR: Final = (1e3, 5e6)
DEVICE_LEAK_OHM: Final = (300.0, 100e3)
_LEAST_LEAK_OHM: Final = 5.0  # less is a short
_UNNOTICED: Final = 25.0  # times the board's own resistance: moves a voltage by a few per cent
SHORT_OHM: Final = (0.05, 5.0)
LOST_TO: Final = (0.01, 0.6)  # of its capacitance, what a dried-out electrolytic keeps
LOST_CAPACITANCE: Final = (-0.07, -0.88)
DRIFTED_UP_BY: Final = (0.08, 19.0)
DRIFTED_DOWN_BY: Final = (-0.07, -0.7)
DRIED_ESR_OHM: Final = (3.0, 80.0)
SHORTED_TURNS_LOSE: Final = (-0.07, -0.85)
CORE_MOVED_BY: Final = (0.05, 0.5)  # of a coil's inductance: common practice
LOW_RAIL_AT: Final = (0.45, 0.88)
LOW_SIGNAL_AT: Final = (0.08, 0.6)
WEAK_STAGE_AT: Final = (0.1, 0.65)
GROUND_JOINT_OHM: Final = (5.0, 3e3)
OFF_FREQUENCY_BY: Final = (8e-5, 1.5e-3)
STARVED_PIN_OHM: Final = (1e3, 20e3)  # a protection diode into a chip without its supply
LOSS_TIMES: Final = (3.0, 15.0)  # the good loss of a filter or delay line that has gone weak
MISSING_RAIL_AT: Final = (0.0, 0.05)  # of its voltage
NOISY_RAIL_AT: Final = (0.96, 1.0)
RAIL_HUM_TIMES: Final = (15.0, 120.0)  # the good ripple
GONE_AT: Final = (0.0, 0.003)  # of its signal, or voltage, a source outside that is gone
DEAD_SENDER_AT: Final = (0.0, 1.3)  # of its standing voltage
LOW_LEVEL_AT: Final = (0.0, 0.8)
HIGH_LEVEL_AT: Final = (1.2, 2.0)
WRONG_ORDER_AT: Final = (0.2, 1.0)  # of the highest supply, at a node that should lie at ground
