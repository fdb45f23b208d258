"""What a ratio gives away: half amplitude, a harmonic, mains ripple, an alias of the right one."""

from __future__ import annotations

from typing import Final

from ...schema.instruments import Scope
from ...schema.measuring.sampling import aliased_frequency_hz, sample_rate_hz
from ...schema.quantities import print_value

_CLOSE: Final = 0.03  # as near as two figures off a screen can be told apart
_MAINS_HZ: Final = (50.0, 60.0, 100.0, 120.0)
_FEWEST_CYCLES: Final = 0.8  # across the screen, of an alias that anybody would take for a signal
_STEPS: Final = tuple(float(f"{d}e{p}") for p in range(-9, 1) for d in (1, 2, 5))


def is_near(value: float, wanted: float, share: float = _CLOSE) -> bool:
    """Whether two positive figures agree within a share of the second."""
    return abs(value - wanted) <= share * abs(wanted)


def explain_amplitude_ratio(vpp_v: float, expected_v: float) -> str | None:
    """What a telling ratio of amplitudes means, if it is one."""
    if is_near(vpp_v, expected_v / 2, 0.08):
        return "half the amplitude: one of two halves is missing, or the load is doubled"
    if is_near(vpp_v, 2 * expected_v, 0.08):
        return "twice the amplitude: the load or the termination is missing"
    return None


def explain_frequency_ratio(frequency_hz: float, expected_hz: float) -> str | None:
    """What a telling ratio of frequencies means, if it is one."""
    for mains_hz in _MAINS_HZ:
        if is_near(frequency_hz, mains_hz) and not is_near(expected_hz, mains_hz, 0.3):
            return f"{mains_hz:g} Hz is the mains or its ripple, not the signal"
    for times in (2, 3, 4):
        if is_near(frequency_hz, expected_hz / times, 0.01):
            return (
                f"a {_ORDINAL[times]} of the right frequency: a divider or a trigger counts double"
            )
        if is_near(frequency_hz, expected_hz * times, 0.01):
            return (
                f"{times} times the right frequency: a harmonic, or a divider that does not divide"
            )
    return None


_ORDINAL: Final = {2: "half", 3: "third", 4: "quarter"}


def explain_alias(frequency_hz: float, expected_hz: float, scope: Scope) -> str | None:
    """The timebase at which this oscilloscope would show the right frequency as the one read."""
    if scope.sample_rate is None or scope.record_length is None:
        return None
    for time_s in _STEPS:
        sampled_hz = sample_rate_hz(time_s, scope.sample_rate.nominal, scope.record_length)
        cycles = frequency_hz * 10 * time_s
        if sampled_hz >= 2 * expected_hz or cycles < _FEWEST_CYCLES:
            continue
        if is_near(frequency_hz, aliased_frequency_hz(expected_hz, sampled_hz), 0.01):
            return (
                f"at {print_value(time_s, 's')} per division the {scope.name} shows the right"
                f" {print_value(expected_hz, 'Hz', 5)} as {print_value(frequency_hz, 'Hz')}"
            )
    return None
