"""Compare values of a pin of two chips: levels of the waveform, impedance, threshold, load."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ...schema import Pin, Quantity, print_value
from ...schema.chips.expectation import (
    ASSUMED_DC_PERCENT,
    ASSUMED_WAVEFORM_PERCENT,
    Expectation,
)
from ...schema.waveforms import Waveform
from .difference import Difference

# Edges are rarely measured, and a slow one does no harm below the width of its pulse.
_EDGES: Final = ("rise", "fall")
# Common practice: an input that loads its source three times as much, or an output three times as
# weak, changes the signal by more than its spread.
_WORSE_BY: Final = 3.0
# Below this an input terminates the line or filter in front of it: common practice.
_TERMINATING_OHM: Final = 2000.0
_THRESHOLD_V: Final = 0.1  # narrowest spread of a threshold
_BUFFER: Final = "an emitter follower or buffer behind the output"
_ROUNDING: Final = 1e-9


def compare_waveform_values(expected: Waveform, offered: Waveform) -> Iterator[Difference]:
    """Yield levels and durations of two waveforms of one kind whose limits do not overlap."""
    for name in type(expected).model_fields:
        here, there = getattr(expected, name), getattr(offered, name, None)
        unit = next((side.unit for side in (here, there) if isinstance(side, Quantity)), None)
        if unit not in ("V", "s") or name in _EDGES or here == there:
            continue
        is_level = unit == "V"
        aspect = "waveform levels" if is_level else "waveform timing"
        sides = _print_pair(name, here, there)
        if here is None or there is None:
            # A level that one chip lacks changes the number of levels: two for three.
            if is_level:
                yield Difference("change", aspect, sides, "a stage that adds or removes this level")
        elif not _overlap(here, there):
            needs = "a divider, shift or amplifier" if is_level else "a stage that times it anew"
            yield Difference("change", aspect, sides, needs)


def _print_pair(name: str, here: Quantity | None, there: Quantity | None) -> tuple[str, str]:
    words = name.replace("_", " ")
    return f"{words} {here or 'none'}", f"{words} {there or 'none'}"


def _overlap(here: Quantity, there: Quantity) -> bool:
    """Return whether the limits, stated or assumed, have a value in common."""
    percent = ASSUMED_DC_PERCENT if here.unit == "V" else ASSUMED_WAVEFORM_PERCENT
    (low, high), (other_low, other_high) = here.limits(percent), there.limits(percent)
    # A share of a level near ground would leave no room at all.
    least = _THRESHOLD_V if here.unit == "V" else 0.0
    low, high = min(low, here.nominal - least), max(high, here.nominal + least)
    return low <= other_high + _ROUNDING and other_low <= high + _ROUNDING


def compare_impedances(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield an impedance that loads the board more, drives it less, or no longer terminates it."""
    if fitted.resistance is None or other.resistance is None:
        return
    here_ohm, there_ohm = fitted.resistance.nominal, other.resistance.nominal
    is_much_higher = there_ohm > here_ohm * _WORSE_BY
    is_much_lower = there_ohm * _WORSE_BY < here_ohm
    sides = (f"{fitted.role} of {fitted.resistance}", f"{other.resistance}")
    # An output of less resistance drives the same load as well.
    if fitted.role == "output":
        if is_much_higher:
            yield Difference("change", "impedance", sides, _BUFFER)
        return
    is_termination = fitted.role == "input" and here_ohm < _TERMINATING_OHM
    if is_much_lower:
        yield Difference("change", "impedance", sides, "a buffer between the source and this pin")
    elif is_much_higher and is_termination:
        needs = f"a resistor of {fitted.resistance} to ground, which terminates the source"
        yield Difference("change", "impedance", sides, needs)
    elif is_much_higher:
        yield Difference("mind", "impedance", sides, "it loads less: see what the board adds")


def compare_thresholds(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield a switching threshold that the other chip has elsewhere."""
    here, there = fitted.threshold, other.threshold
    if here is not None and there is not None and not _overlap(here, there):
        sides = (f"switches at {here}", f"at {there}")
        yield Difference("change", "threshold", sides, "a divider or a shift in front of this pin")


def compare_output_limits(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield an output that does not reach the levels which the fitted chip gives the board."""
    limits = other.output_limits
    if limits is None:
        return
    lowest_v, highest_v = _find_used_range_v(fitted)
    if lowest_v is None or highest_v is None:
        return
    # Good chips of one part already differ by this much.
    tolerance_v = max(abs(highest_v) * ASSUMED_DC_PERCENT / 100, _THRESHOLD_V)
    if limits.high is not None and limits.high.nominal < highest_v - tolerance_v:
        sides = (f"reaches {print_value(highest_v, 'V')}", f"no higher than {limits.high}")
        yield Difference("change", "load", sides, "an amplifier behind the output")
    if limits.low is not None and limits.low.nominal > lowest_v + tolerance_v:
        sides = (f"reaches {print_value(lowest_v, 'V')}", f"no lower than {limits.low}")
        yield Difference("change", "load", sides, "a shift behind the output")


def _find_used_range_v(pin: Pin) -> tuple[float | None, float | None]:
    """Return the lowest and highest volts that a pin gives the board in any condition."""
    levels_v = [level_v for e in pin.expectations for level_v in _list_levels_v(e)]
    return (min(levels_v), max(levels_v)) if levels_v else (None, None)


def _list_levels_v(expectation: Expectation) -> list[float]:
    if expectation.waveform is not None:
        lowest_v, highest_v, _ = expectation.waveform.extremes_v
        return [lowest_v + expectation.offset_v, highest_v + expectation.offset_v]
    return [] if expectation.dc is None else [expectation.dc.nominal]
