"""Choose oscilloscope settings that show an expected signal well.

The screen has 10 x 8 divisions, and the knobs have steps of 1, 2 and 5. Common practice:

* volts per division: the most sensitive step that keeps the signal within seven divisions, which
  makes it nearly three to seven divisions high;
* time per division: the fastest step that fits the time of interest into ten divisions;
* DC coupling where signal and zero volts fit on the screen with the signal still three divisions
  high; otherwise AC coupling, which removes a large DC voltage under a small signal;
* a x10 probe, which loads a circuit least; x1 only for a slow signal too small for x10; x100
  where an ordinary x10 probe is not rated for the voltage.
"""

from __future__ import annotations

import math
from typing import Final, Literal, NamedTuple

from ...schema.chips.expectation import Expectation
from ...schema.instruments.ordinary import BUILT_IN
from ...schema.measuring.ratings import find_exceeded_rating
from ...schema.quantities import print_value

DIVISIONS_ACROSS: Final = 10
DIVISIONS_UP: Final = 8

_MOST_FILLED: Final = 7
_LEAST_FILLED: Final = 3
# Ordinary oscilloscopes have 5 mV per division at best. An ordinary x1 probe, which loads the pin
# with about 100 pF, can be used up to about 1 MHz. Common practice.
_FINEST_INPUT_V: Final = 5e-3
_FINEST_X10_V: Final = 10 * _FINEST_INPUT_V
_X1_FASTEST_HZ: Final = 1e6
_STEADY_TIME_S: Final = 1e-3
_ALMOST: Final = 1 - 1e-9  # rounding error of an exact fit
_NO_TRIGGER: Final = "none needed: free-running sweep"


class ScopeSettings(NamedTuple):
    """Settings of an oscilloscope and its probe."""

    volts_per_div: float
    """Volts per division at the probe tip."""
    time_per_div_s: float
    """Seconds per division."""
    coupling: Literal["DC", "AC"]
    """Coupling of the input."""
    trigger: str
    """Trigger source in words."""
    probe: str
    """Attenuation of the probe: ``x1``, ``x10``, ``x100``."""

    @property
    def input_volts_per_div(self) -> float:
        """Volts per division on the knob of an oscilloscope that does not account for the probe."""
        return self.volts_per_div / int(self.probe.removeprefix("x"))

    @property
    def sentence(self) -> str:
        """The settings in one sentence.

        >>> ScopeSettings(1.0, 1e-5, "DC", "line sync (TV line)", "x10").sentence
        '1 V and 10 µs per division, DC coupled, x10 probe; trigger: line sync (TV line).'
        """
        return (
            f"{self._volts} and {self._time} per division, {self.coupling} coupled, "
            f"{self.probe} probe; trigger: {self.trigger}."
        )

    @property
    def lines(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each setting."""
        knob = f" (knob at {print_value(self.input_volts_per_div, 'V')} if it ignores the probe)"
        return (
            ("Volts", f"{self._volts} per division{knob if self.probe != 'x1' else ''}"),
            ("Time", f"{self._time} per division"),
            ("Coupling", self.coupling),
            ("Trigger", self.trigger),
            ("Probe", self.probe),
        )

    @property
    def words(self) -> tuple[tuple[str, str], ...]:
        """Name and shortest value of each setting, for a label that is read from afar."""
        return (
            ("Volts", f"{self._volts}/div"),
            ("Time", f"{self._time}/div"),
            ("Coupling", self.coupling),
            ("Probe", self.probe),
            ("Trigger", self.trigger.removeprefix("the ").partition(" (")[0].partition(", ")[0]),
        )

    @property
    def _volts(self) -> str:
        return print_value(self.volts_per_div, "V")

    @property
    def _time(self) -> str:
        return print_value(self.time_per_div_s, "s")


def round_up_to_step(least: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20 ... (and 0.5, 0.2 ...) not below ``least`` > 0.

    >>> round_up_to_step(0.21), round_up_to_step(2.0), round_up_to_step(6e-6)
    (0.5, 2.0, 1e-05)
    """
    power = math.floor(math.log10(least)) - 1
    steps = (float(f"{digit}e{power + up}") for up in range(4) for digit in (1, 2, 5))
    return next(step for step in steps if step >= least * _ALMOST)


def choose_scope_settings(expectation: Expectation) -> ScopeSettings | None:
    """Return settings that show the expectation; None without a waveform and a DC voltage.

    A DC voltage alone gets settings that show its level above or below zero volts.
    """
    waveform = expectation.waveform
    if waveform is None or waveform.period_s == 0:
        return _choose_steady_settings(expectation)
    low_v, high_v, _ = (level_v + expectation.offset_v for level_v in waveform.extremes_v)
    volts_per_div, coupling = _choose_vertical(low_v, high_v)
    peak_v, swing_v = max(abs(low_v), abs(high_v)), waveform.vpp_v / 2
    factor = _choose_probe_factor(peak_v, swing_v, waveform.frequency_hz)
    # A x10 probe would leave too little of a small signal; a x1 probe passes only a slow one.
    if volts_per_div < _FINEST_X10_V and waveform.fastest_hz <= _X1_FASTEST_HZ:
        factor = 1
    return ScopeSettings(
        volts_per_div=max(volts_per_div, _FINEST_INPUT_V * factor),
        time_per_div_s=round_up_to_step(waveform.view_s / DIVISIONS_ACROSS),
        coupling=coupling,
        trigger=waveform.trigger,
        probe=f"x{factor}",
    )


def _choose_probe_factor(peak_v: float, swing_v: float, frequency_hz: float) -> int:
    """Return the attenuation of the ordinary x10 probe where its rating allows, else 100.

    Ratings fall with frequency.
    """
    ordinary = BUILT_IN.choose()
    if find_exceeded_rating(peak_v, swing_v, frequency_hz, ordinary.probe, ordinary.scope) is None:
        return ordinary.probe.factor
    return 100


def adapt_to_instrument(settings: ScopeSettings, factor: int, fastest_s: float) -> ScopeSettings:
    """Return the settings for a probe of another factor, on an oscilloscope of limited speed.

    ``fastest_s`` is its fastest time per division in seconds.
    """
    return settings._replace(
        volts_per_div=max(settings.volts_per_div, _FINEST_INPUT_V * factor),
        time_per_div_s=max(settings.time_per_div_s, round_up_to_step(fastest_s)),
        probe=f"x{factor}",
    )


def _choose_vertical(low_v: float, high_v: float) -> tuple[float, Literal["DC", "AC"]]:
    """Return volts per division and coupling for a signal between two levels to ground."""
    with_zero = round_up_to_step((max(high_v, 0.0) - min(low_v, 0.0)) / _MOST_FILLED)
    # With zero volts on the screen the signal must still be high enough to read.
    if high_v - low_v >= _LEAST_FILLED * with_zero * _ALMOST:
        return with_zero, "DC"
    return round_up_to_step((high_v - low_v) / _MOST_FILLED), "AC"


def _choose_steady_settings(expectation: Expectation) -> ScopeSettings | None:
    """Return settings for a DC voltage; None without one."""
    if expectation.waveform is not None:
        level_v = expectation.waveform.mean_v
    elif expectation.dc is not None:
        level_v = expectation.dc.nominal
    else:
        return None
    volts_per_div = round_up_to_step(max(abs(level_v) / _MOST_FILLED, _FINEST_X10_V))
    probe = f"x{_choose_probe_factor(abs(level_v), swing_v=0.0, frequency_hz=0.0)}"
    return ScopeSettings(volts_per_div, _STEADY_TIME_S, "DC", _NO_TRIGGER, probe)
