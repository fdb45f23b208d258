"""Telltale ratios of a reading to its expected value: half, a harmonic, mains, an alias."""

from __future__ import annotations

from typing import Final

from ...schema.instruments import Scope
from ...schema.measuring.sampling import compute_aliased_frequency_hz, sample_rate_hz
from ...schema.quantities import print_value

_CLOSE: Final = 0.03  # two figures read from a screen cannot be told apart more closely
_CLOSE_AMPLITUDE: Final = 0.08  # the same for heights, which also have a tolerance
_CLOSE_FREQUENCY: Final = 0.01
_CLEAR_OF_MAINS: Final = 0.3  # expected frequencies nearer to the mains may be right
_MAINS_HZ: Final = (50.0, 60.0, 100.0, 120.0)
_FEWEST_CYCLES: Final = 0.8  # across the screen, for an alias to look like a signal
_DIVISIONS_ACROSS: Final = 10
_NYQUIST_RATIO: Final = 2  # samples a cycle (sampling theorem)
_STEPS_S: Final = tuple(float(f"{digit}e{power}") for power in range(-9, 1) for digit in (1, 2, 5))
"""Steps of a timebase per division, 1 ns to 5 s."""


def is_near(value: float, expected: float, share: float = _CLOSE) -> bool:
    """Return whether two positive figures agree within a share of the second."""
    return abs(value - expected) <= share * abs(expected)


def explain_amplitude_ratio(vpp_v: float, expected_v: float) -> str | None:
    """Return the common meaning of half or twice the amplitude, else None."""
    if is_near(vpp_v, expected_v / 2, _CLOSE_AMPLITUDE):
        return "half the amplitude: one of two halves is missing, or the load is doubled"
    if is_near(vpp_v, 2 * expected_v, _CLOSE_AMPLITUDE):
        return "twice the amplitude: the load or the termination is missing"
    return None


def explain_frequency_ratio(frequency_hz: float, expected_hz: float) -> str | None:
    """Return the common meaning of a mains frequency, a fraction or a harmonic, else None."""
    for mains_hz in _MAINS_HZ:
        if is_near(frequency_hz, mains_hz) and not is_near(expected_hz, mains_hz, _CLEAR_OF_MAINS):
            return f"{mains_hz:g} Hz is the mains or its ripple, not the signal"
    for factor, fraction in _FRACTIONS.items():
        if is_near(frequency_hz, expected_hz / factor, _CLOSE_FREQUENCY):
            return f"a {fraction} of the right frequency: a divider or a trigger counts double"
        if is_near(frequency_hz, expected_hz * factor, _CLOSE_FREQUENCY):
            return (
                f"{factor} times the right frequency: a harmonic, or a divider that does not divide"
            )
    return None


_FRACTIONS: Final = {2: "half", 3: "third", 4: "quarter"}


def explain_alias(frequency_hz: float, expected_hz: float, scope: Scope) -> str | None:
    """Return the timebase at which this oscilloscope shows the right frequency as the one read.

    None for an analogue oscilloscope, and where no timebase does so.
    """
    # An analogue oscilloscope does not sample.
    if scope.sample_rate is None or scope.record_length is None:
        return None
    for time_per_div_s in _STEPS_S:
        sampled_hz = sample_rate_hz(time_per_div_s, scope.sample_rate.nominal, scope.record_length)
        cycles_shown = frequency_hz * _DIVISIONS_ACROSS * time_per_div_s
        # Sampled fast enough there is no alias; less than a cycle looks like no signal.
        if sampled_hz >= _NYQUIST_RATIO * expected_hz or cycles_shown < _FEWEST_CYCLES:
            continue
        alias_hz = compute_aliased_frequency_hz(expected_hz, sampled_hz)
        if is_near(frequency_hz, alias_hz, _CLOSE_FREQUENCY):
            return (
                f"at {print_value(time_per_div_s, 's')} per division the {scope.name} shows the"
                f" right {print_value(expected_hz, 'Hz', 5)} as {print_value(frequency_hz, 'Hz')}"
            )
    return None
