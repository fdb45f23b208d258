"""List the values of two chips that could not be compared, and those that the verdict needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from ...schema import Chip, Pin
from ...schema.text import part_key
from .parameter_differences import pair_parameters


class Gap(NamedTuple):
    """A value that was not compared."""

    text: str
    decisive: bool
    """Whether the chip cannot be said to stand in without it."""


_PASSIVE: Final = ("ground", "supply", "unused")
_CARRYING: Final = ("input", "output")

Need = Callable[[Pin], bool]


class _Aspect(NamedTuple):
    """A value of a pin, and the pins for which a verdict needs it even if no file states it."""

    name: str
    is_stated: Need
    is_needed: Need


_ASPECTS: Final = (
    _Aspect("impedance", lambda p: p.resistance is not None, lambda p: p.role in _CARRYING),
    _Aspect("threshold", lambda p: p.threshold is not None, lambda p: False),
    _Aspect(
        "load (output limits)", lambda p: p.output_limits is not None, lambda p: p.role == "output"
    ),
)


def list_gaps(fitted: Chip, other: Chip) -> Iterator[Gap]:
    """Yield every value that was not compared, those of pins first."""
    pairs = [(p, q) for p in fitted.pins if (q := _find_pin(other, p.number)) is not None]
    pairs = [(p, q) for p, q in pairs if p.role not in _PASSIVE and q.role not in _PASSIVE]
    for aspect in _ASPECTS:
        yield from _list_pin_gaps(aspect, pairs, fitted, other)
    yield from _list_level_gaps(pairs)
    yield from _list_parameter_gaps(fitted, other)
    yield from _list_chip_gaps(fitted, other)


def _find_pin(chip: Chip, number: int) -> Pin | None:
    return next((pin for pin in chip.pins if pin.number == number), None)


def _list_pin_gaps(
    aspect: _Aspect, pairs: list[tuple[Pin, Pin]], fitted: Chip, other: Chip
) -> Iterator[Gap]:
    """Yield the pins of which a value is stated for one chip or for neither."""
    missing_there = f"not stated for {_name_chip(other, fitted, 'the other')}"
    missing_here = f"not stated for {_name_chip(fitted, other, 'the fitted')}"
    numbers_of_reason: dict[str, list[int]] = defaultdict(list)
    for here, there in pairs:
        is_stated_here, is_stated_there = aspect.is_stated(here), aspect.is_stated(there)
        if is_stated_here and not is_stated_there:
            numbers_of_reason[missing_there].append(here.number)
        elif is_stated_there and not is_stated_here:
            numbers_of_reason[missing_here].append(here.number)
        elif not is_stated_here and aspect.is_needed(here):
            numbers_of_reason[_NEITHER].append(here.number)
    for reason, numbers in sorted(numbers_of_reason.items()):
        # Two revisions of one chip share a value that neither writes down.
        is_decisive = reason != _NEITHER or not _is_same_part(fitted, other)
        yield Gap(f"{_name_pins(sorted(numbers))}: {aspect.name}, {reason}", is_decisive)


_NEITHER: Final = "stated for neither chip"


def _is_same_part(fitted: Chip, other: Chip) -> bool:
    return part_key(fitted.part) == part_key(other.part)


def _name_chip(chip: Chip, against: Chip, words: str) -> str:
    return f"{words} {chip.part}" if _is_same_part(chip, against) else chip.part


def _name_pins(numbers: list[int]) -> str:
    return f"pin{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"


def _list_level_gaps(pairs: list[tuple[Pin, Pin]]) -> Iterator[Gap]:
    """Yield pins whose DC, or whose waveform, no condition gives for both chips."""
    dc = [p.number for p, q in pairs if not _share_dc(p, q)]
    waveform = [p.number for p, q in pairs if not _share_waveform(p, q)]
    if dc:
        yield Gap(f"{_name_pins(dc)}: DC level, no condition in which both files state it", True)
    if waveform:
        reason = "no condition in which both files state one of the same kind"
        yield Gap(f"{_name_pins(waveform)}: waveform levels, {reason}", True)


def _share_dc(here: Pin, there: Pin) -> bool:
    """Return whether DC was compared; signals without DC are compared by their waveform."""
    stated = [{e.condition for e in pin.expectations if e.dc is not None} for pin in (here, there)]
    return bool(stated[0] & stated[1]) or (not any(stated) and _has_waveforms(here, there))


def _has_waveforms(*pins: Pin) -> bool:
    return all(any(e.waveform is not None for e in pin.expectations) for pin in pins)


def _share_waveform(here: Pin, there: Pin) -> bool:
    """Return whether each waveform of the fitted chip, or of the other, met one of its kind."""
    kinds = [
        {(e.condition, e.waveform.kind) for e in pin.expectations if e.waveform is not None}
        for pin in (here, there)
    ]
    return bool(kinds[0] & kinds[1]) or not any(kinds)


def _list_parameter_gaps(fitted: Chip, other: Chip) -> Iterator[Gap]:
    """Yield characteristics that only one of the two files states."""
    sides = ((fitted, other), (other, fitted))
    for chip, silent in sides:
        for parameter, same in pair_parameters(chip, silent):
            if same is None:
                place = _name_pins([*parameter.pins]) if parameter.pins else parameter.supply
                where = f"{place}: " if place else ""
                yield Gap(f"{where}{parameter.name}, stated only for {chip.part}", True)


def _list_chip_gaps(fitted: Chip, other: Chip) -> Iterator[Gap]:
    """Yield properties of the whole chip that are not stated for both."""
    if not other.systems and fitted.systems:
        yield Gap(f"television systems: the file of {other.part} names none", True)
    stated = [all(supply.current for supply in chip.supplies) for chip in (fitted, other)]
    if not all(stated):
        decisive = any(stated) or not _is_same_part(fitted, other)
        yield Gap("supply current (load of the supply): not stated for every supply", decisive)
    if fitted.package.pins == other.package.pins and not fitted.application.parts:
        yield Gap(f"parts around the chip: the file of {fitted.part} names none", False)
