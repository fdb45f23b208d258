"""Compare a pin of one chip with the same pin of another: function, role, levels, signal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from ...schema import Expectation, Pin, print_value
from ...schema.chips.limits import Limits, find_limits
from ...schema.waveforms import Waveform
from .difference import Difference
from .same_function import compare_functions
from .value_differences import (
    compare_impedances,
    compare_output_limits,
    compare_thresholds,
    compare_waveform_values,
)

# Pins that a board ties to its rails: any other pin there burns.
_RAILS: Final = ("supply", "ground")
# Roles that differ only in the parts the board has at the pin.
_STORES: Final = frozenset({"filter", "decoupling", "reference", "control"})
# Fields that turn a waveform over, and those that make it another signal.
_TURNING: Final = ("polarity", "direction", "sync")
_CHOOSING: Final = ("axis", "colour", "line")
_DRAWN: Final = ("polyline", "control voltage")  # only levels and repetition can be compared

_MEND_DC: Final = {
    "input": "couple it by a capacitor, or set the bias anew",
    "output": "couple it by a capacitor, or shift the level",
    "control": "a divider or a shift, so that the control covers its range",
    "bus": "level shifting on the bus line",
    "oscillator": "the parts at this pin from the other data sheet",
}
_PARTS: Final = "the parts at this pin from the other data sheet"


def compare_pins(fitted: Pin, other: Pin) -> tuple[Difference, ...]:
    """Return the differences at one pin, function first; ``other`` is to replace ``fitted``."""
    differences = [*_compare_uses(fitted, other)]
    # Levels of a pin with another function mean nothing.
    if not any(difference.weight == "stops" for difference in differences):
        differences += [*_compare_levels(fitted, other), *_compare_maximum(fitted, other)]
        differences += [*compare_impedances(fitted, other), *compare_thresholds(fitted, other)]
        differences += compare_output_limits(fitted, other)
    return tuple(replace(d, pin=fitted.number, symbol=fitted.symbol) for d in differences)


def _compare_uses(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield differences of function and role."""
    if "unused" in (fitted.role, other.role):
        yield from _compare_unused(fitted, other)
        return
    has_same_role = fitted.role == other.role
    likeness = compare_functions(fitted, other)
    # Of pins with different roles, only the very same words mean the same function.
    if not has_same_role and likeness != "same":
        likeness = "another"
    sides = (fitted.function, other.function)
    # Supplies and grounds are often named after the stages they feed.
    if has_same_role and fitted.role in _RAILS:
        if likeness != "same":
            yield Difference("mind", "function", sides, f"see that the {fitted.role} suits both")
    elif likeness == "another":
        yield Difference("stops", "function", sides, "another chip: this pin does something else")
    elif not has_same_role:
        yield _compare_roles(fitted, other)
    elif likeness == "perhaps":
        yield Difference("mind", "function", sides, "read both data sheets: the words differ")


def _compare_unused(fitted: Pin, other: Pin) -> Iterator[Difference]:
    if fitted.role == other.role:
        return
    sides = (f"{fitted.role}, {fitted.function}", f"{other.role}, {other.function}")
    if fitted.role in _RAILS:
        yield Difference("change", "role", sides, "cut the rail off this pin unless it may stay")
    elif other.role == "unused":
        yield Difference("stops", "function", sides, "another chip: this function is missing")
    else:
        yield Difference("change", "role", sides, f"{_PARTS}; see what the board joins here")


def _compare_roles(fitted: Pin, other: Pin) -> Difference:
    sides = (fitted.role, other.role)
    if {fitted.role, other.role} <= _STORES:
        return Difference("change", "role", sides, _PARTS)
    return Difference("stops", "role", sides, "another chip: what drives this pin is turned round")


def _compare_levels(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield differences of DC and waveform in every condition that both pins state."""
    for expected in fitted.expectations:
        offered = other.expectation(expected.condition)
        if offered is not None:
            differences = [*_compare_figures(fitted, other, expected, offered)]
            if expected.waveform is not None and offered.waveform is not None:
                differences += _compare_shapes(expected.waveform, offered.waveform)
            elif expected.waveform is not None or offered.waveform is not None:
                differences += _note_single_signal(expected, offered)
            yield from (replace(d, condition=expected.condition) for d in differences)


def _compare_figures(
    fitted: Pin, other: Pin, expected: Expectation, offered: Expectation
) -> Iterator[Difference]:
    """Yield DC, peak to peak and frequency whose limits do not overlap."""
    limits_here, limits_there = find_limits(fitted, expected), find_limits(other, offered)
    for quantity in ("dc", "vpp", "frequency"):
        here, there = limits_here.get(quantity), limits_there.get(quantity)
        if here is None or there is None or _overlap(here, there):
            continue
        sides = (_print_limits(here), _print_limits(there))
        if quantity == "frequency":
            yield _describe_frequency(fitted, expected, offered, sides)
        elif quantity == "vpp":
            # Too much from an output is divided; too little, as an input finds it, is amplified.
            is_too_much = (there.typ > here.typ) == (fitted.role == "output")
            needs = "a divider" if is_too_much else "an amplifier"
            yield Difference("change", "peak to peak", sides, f"{needs} for the signal")
        elif fitted.role not in _RAILS:  # those are compared with the supplies
            yield Difference("change", "DC", sides, _MEND_DC.get(fitted.role, _PARTS))


def _describe_frequency(
    fitted: Pin, expected: Expectation, offered: Expectation, sides: tuple[str, str]
) -> Difference:
    """Return the difference of two frequencies, by who sets them."""
    if _find_system(expected) != _find_system(offered):
        return Difference("mind", "frequency", sides, "stated for another television system")
    if fitted.role == "oscillator":
        return Difference("change", "frequency", sides, _PARTS)
    return Difference("stops", "frequency", sides, "another chip: the frequency is its own")


def _find_system(expectation: Expectation) -> str | None:
    return getattr(expectation.waveform, "system", None)


def _overlap(one: Limits, other: Limits) -> bool:
    return one.low <= other.high and other.low <= one.high


def _print_limits(limits: Limits) -> str:
    low, high = (print_value(value, limits.unit) for value in (limits.low, limits.high))
    assumed = "" if limits.stated else ", tolerance assumed"
    return f"{print_value(limits.typ, limits.unit)} ({low} to {high}{assumed})"


def _compare_shapes(expected: Waveform, offered: Waveform) -> Iterator[Difference]:
    """Yield differences of kind, of polarity, and of fields that make it another signal."""
    if expected.kind != offered.kind:
        if expected.kind not in _DRAWN and offered.kind not in _DRAWN:
            sides = (expected.kind, offered.kind)
            yield Difference("change", "signal", sides, "a stage that makes one of the other")
        return
    for name in (*_TURNING, *_CHOOSING):
        here, there = getattr(expected, name, None), getattr(offered, name, None)
        if here == there:
            continue
        sides = (f"{expected.kind}, {name} {here}", str(there))
        if name in _CHOOSING:
            yield Difference("stops", "signal", sides, "another chip: it is another signal")
        else:
            yield Difference("change", "polarity", sides, "an inverting stage")
    yield from compare_waveform_values(expected, offered)


def _note_single_signal(expected: Expectation, offered: Expectation) -> Iterator[Difference]:
    """Yield a signal that only one file states: it may be missing, or not written down."""
    here = expected.waveform.describe() if expected.waveform else "no signal stated"
    there = offered.waveform.describe() if offered.waveform else "no signal stated"
    signals = [e.waveform for e in (expected, offered) if e.waveform is not None]
    if all(signal.period_s for signal in signals):
        yield Difference("mind", "signal", (here, there), "look with the oscilloscope")


def _compare_maximum(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Yield an absolute maximum of the other chip below the highest voltage of the board."""
    maximum = other.absolute_maximum
    if maximum is None or fitted.role == "supply":
        return
    highest_v = max((_find_highest_v(e) for e in fitted.expectations), default=0.0)
    if highest_v > maximum.nominal:
        sides = (f"up to {print_value(highest_v, 'V')} on the board", f"never above {maximum}")
        yield Difference("change", "limit", sides, "a divider or a clamp, before it is fitted")


def _find_highest_v(expectation: Expectation) -> float:
    """Return the highest good DC reading or the peak of the signal, in volts."""
    limits = expectation.dc_limits_v()
    highest_v = limits[1] if limits is not None else 0.0
    if expectation.waveform is not None:
        highest_v = max(highest_v, expectation.waveform.extremes_v[1] + expectation.offset_v)
    return highest_v
