"""How the pin of one chip differs from the same pin of another: function, role, levels, signal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from ...schema import Expectation, Pin, print_value
from ...schema.chips.limits import Limits, find_limits
from ...schema.waveforms import Waveform
from .difference import Difference
from .same_function import same_function

# Pins that a board ties to its rails: put anything else there and something burns.
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


def differing_pins(fitted: Pin, other: Pin) -> tuple[Difference, ...]:
    """What differs at one pin, in the order of how much it says; ``other`` is to stand in."""
    found = [*_use(fitted, other)]
    if not any(difference.weight == "stops" for difference in found):
        found += [*_levels(fitted, other), *_most(fitted, other)]
    return tuple(replace(d, pin=fitted.number, symbol=fitted.symbol) for d in found)


def can_be_compared(fitted: Pin, other: Pin) -> bool:
    """True when there is a condition in which both are told of, or nothing to tell."""
    told, also = _lively(fitted), _lively(other)
    return bool(told & also) or not (told or also)


def _lively(pin: Pin) -> set[str]:
    """The conditions that a pin has levels for."""
    return {e.condition for e in pin.expectations if e.dc is not None or e.waveform is not None}


def _use(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """Function and role: whether the pin is there for the same thing."""
    if "unused" in (fitted.role, other.role):
        yield from _unused(fitted, other)
        return
    likeness = same_function(fitted, other)
    if fitted.role != other.role and likeness != "same":
        likeness = "another"
    told = (fitted.function, other.function)
    if fitted.role in _RAILS and fitted.role == other.role:
        if likeness != "same":
            yield Difference("mind", "function", told, f"see that the {fitted.role} suits both")
    elif likeness == "another":
        yield Difference("stops", "function", told, "another chip: this pin does something else")
    elif fitted.role != other.role:
        yield _role(fitted, other)
    elif likeness == "perhaps":
        yield Difference("mind", "function", told, "read both data sheets: the words differ")


def _unused(fitted: Pin, other: Pin) -> Iterator[Difference]:
    if fitted.role == other.role:
        return
    told = (f"{fitted.role}, {fitted.function}", f"{other.role}, {other.function}")
    if fitted.role in _RAILS:
        yield Difference("change", "role", told, "cut the rail off this pin unless it may stay")
    elif other.role == "unused":
        yield Difference("stops", "function", told, "another chip: this function is missing")
    else:
        yield Difference("change", "role", told, f"{_PARTS}; see what the board joins here")


def _role(fitted: Pin, other: Pin) -> Difference:
    told = (fitted.role, other.role)
    if {fitted.role, other.role} <= _STORES:
        return Difference("change", "role", told, _PARTS)
    return Difference("stops", "role", told, "another chip: what drives this pin is turned round")


def _levels(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """DC and waveform, in every condition that both are told of."""
    for expected in fitted.expectations:
        offered = other.expectation(expected.condition)
        if offered is not None:
            found = [*_figures(fitted, other, expected, offered)]
            if expected.waveform is not None and offered.waveform is not None:
                found += _shape(expected.waveform, offered.waveform)
            elif expected.waveform is not None or offered.waveform is not None:
                found += _half_told(expected, offered)
            yield from (replace(difference, condition=expected.condition) for difference in found)


def _figures(
    fitted: Pin, other: Pin, expected: Expectation, offered: Expectation
) -> Iterator[Difference]:
    """DC, peak to peak and frequency: limits that do not overlap differ."""
    here, there = find_limits(fitted, expected), find_limits(other, offered)
    for name in ("dc", "vpp", "frequency"):
        if name not in here or name not in there or _overlap(here[name], there[name]):
            continue
        if name == "dc" and fitted.role in _RAILS:
            continue  # told with the supplies
        told = (_limits(here[name]), _limits(there[name]))
        if name == "dc":
            needs = _MEND_DC.get(fitted.role, _PARTS)
            yield Difference("change", "DC", told, needs)
        elif name == "vpp":
            more = (there[name].typ > here[name].typ) == (fitted.role == "output")
            needs = "a divider" if more else "an amplifier"
            yield Difference("change", "peak to peak", told, f"{needs} for the signal")
        elif _system(expected) != _system(offered):
            yield Difference("mind", "frequency", told, "told for another television system")
        elif fitted.role == "oscillator":
            yield Difference("change", "frequency", told, _PARTS)
        else:
            yield Difference("stops", "frequency", told, "another chip: the frequency is its own")


def _system(expectation: Expectation) -> str | None:
    return getattr(expectation.waveform, "system", None)


def _overlap(one: Limits, other: Limits) -> bool:
    return one.low <= other.high and other.low <= one.high


def _limits(limits: Limits) -> str:
    low, high = (print_value(value, limits.unit) for value in (limits.low, limits.high))
    assumed = "" if limits.stated else ", tolerance assumed"
    return f"{print_value(limits.typ, limits.unit)} ({low} to {high}{assumed})"


def _shape(expected: Waveform, offered: Waveform) -> Iterator[Difference]:
    """Kind, then what turns the shape over or makes it another signal."""
    if expected.kind != offered.kind:
        if expected.kind not in _DRAWN and offered.kind not in _DRAWN:
            told = (expected.kind, offered.kind)
            yield Difference("change", "signal", told, "a stage that makes one of the other")
        return
    for name in (*_TURNING, *_CHOOSING):
        here, there = getattr(expected, name, None), getattr(offered, name, None)
        if here == there:
            continue
        told = (f"{expected.kind}, {name} {here}", str(there))
        if name in _CHOOSING:
            yield Difference("stops", "signal", told, "another chip: it is another signal")
        else:
            yield Difference("change", "polarity", told, "an inverting stage")


def _half_told(expected: Expectation, offered: Expectation) -> Iterator[Difference]:
    """A signal on one of the two only: it may be missing there, or nobody noted it."""
    here = expected.waveform.describe() if expected.waveform else "no signal told"
    there = offered.waveform.describe() if offered.waveform else "no signal told"
    signals = [e.waveform for e in (expected, offered) if e.waveform is not None]
    if all(signal.period_s for signal in signals):
        yield Difference("mind", "signal", (here, there), "look with the oscilloscope")


def _most(fitted: Pin, other: Pin) -> Iterator[Difference]:
    """The absolute maximum of the other chip against the highest that the board shows here."""
    most = other.absolute_maximum
    if most is None or fitted.role == "supply":
        return
    highest_v = max((_highest_v(e) for e in fitted.expectations), default=0.0)
    if highest_v > most.nominal:
        told = (f"up to {print_value(highest_v, 'V')} on the board", f"never above {most}")
        yield Difference("change", "limit", told, "a divider or a clamp, before it is fitted")


def _highest_v(expectation: Expectation) -> float:
    """The highest good DC reading, or the peak of the signal, in volts."""
    limits = expectation.dc_limits_v()
    highest_v = limits[1] if limits is not None else 0.0
    if expectation.waveform is not None:
        highest_v = max(highest_v, expectation.waveform.extremes_v[1] + expectation.offset_v)
    return highest_v
