"""Readings that would fit after a slip: the next pin, the probe's switch.

A wrong reading is compared with the result of a common slip on a good board. Common practice:
such a reading is taken again before it counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from ....schema import Chip
from ....schema.chips.limits import Limits, find_limits
from ....schema.chips.usual_faults import describe_endpoint
from ...readings.verdict import AS_EXPECTED, CANNOT_TELL, FigureVerdict, PinVerdict
from ..evidence.observations import Evidence

_PROBE: Final = 10.0  # what the switch of a probe multiplies by
_COUNT: Final = "count again, from the notch"


@dataclass(frozen=True)
class MixUp:
    """A slip that would explain readings as they are, and which ones."""

    said: str
    points: tuple[tuple[str, str], ...]
    """(place, quantity) of the readings that would be mixed up."""


def find_mix_ups(chip: Chip, judged: Sequence[PinVerdict]) -> tuple[MixUp, ...]:
    """Return the slips that would explain the readings of a chip's points; most often none.

    A reading taken twice is no slip. Of several readings of a point the last counts.
    """
    times = Counter(point for one in judged for point, _ in _list_figures(one))
    last_verdicts = {_name_place(one): one for one in judged}
    read_once = {
        at: one
        for at, one in last_verdicts.items()
        if all(times[point] == 1 for point, _ in _list_figures(one))
    }
    return (
        *_find_probe_slips(chip, read_once.values()),
        *_find_exchanged_pins(read_once),
        *_find_next_pin_reads(chip, read_once),
    )


def doubt_readings(evidence: Evidence, mix_ups: Iterable[MixUp], chance: float) -> Evidence:
    """Return the evidence; a reading of a mix-up says nothing of its point with this chance."""
    points = {point for mix_up in mix_ups for point in mix_up.points}
    return replace(
        evidence,
        observations=tuple(
            replace(observation, slip=chance)
            if (observation.point, observation.quantity) in points
            else observation
            for observation in evidence.observations
        ),
    )


def _find_probe_slips(chip: Chip, judged: Iterable[PinVerdict]) -> Iterator[MixUp]:
    """Yield amplitudes that are wrong by the factor of a probe."""
    for one in judged:
        for point, result in _list_figures(one):
            if point[1] != "vpp" or not _is_off(result):
                continue
            name = describe_endpoint(chip, point[0])
            if _is_within(result.corrected.value * _PROBE, result.expected):
                yield MixUp(
                    f"{name} reads a tenth of what it should: that fits if the probe was at x10 and"
                    " the oscilloscope counted it as x1. Check the switch and take it again.",
                    (point,),
                )
            elif _is_within(result.corrected.value / _PROBE, result.expected):
                yield MixUp(
                    f"{name} reads ten times what it should: that fits if the probe was at x1 and"
                    " the oscilloscope counted it as x10. Check the switch and take it again.",
                    (point,),
                )


def _find_exchanged_pins(judged: Mapping[str, PinVerdict]) -> Iterator[MixUp]:
    """Yield neighbouring pins that each read the other's expected figures."""
    for one in judged.values():
        other = judged.get(f"pin {one.pin.number + 1}") if one.pin.number else None
        if other is None or not (_has_wrong_figure(one) and _has_wrong_figure(other)):
            continue
        first, second = dict(_list_by_quantity(one)), dict(_list_by_quantity(other))
        both = first.keys() & second.keys()
        if both and all(
            _is_within(first[q].corrected.value, second[q].expected)
            and _is_within(second[q].corrected.value, first[q].expected)
            for q in both
        ):
            numbers = f"{one.pin.number} and {other.pin.number}"
            yield MixUp(
                f"Pins {numbers} seem to be exchanged, each reads what the other should: {_COUNT}.",
                tuple(point for each in (one, other) for point, _ in _list_figures(each)),
            )


def _find_next_pin_reads(chip: Chip, judged: Mapping[str, PinVerdict]) -> Iterator[MixUp]:
    """Yield wrong pins that read the expected figures of a neighbour, itself not read."""
    for one in judged.values():
        figures = dict(_list_by_quantity(one))
        if not one.pin.number or not _has_wrong_figure(one):
            continue
        for number in (one.pin.number - 1, one.pin.number + 1):
            pin = chip.pin(str(number))
            expectation = pin.expectation(one.condition) if pin is not None else None
            if pin is None or expectation is None or f"pin {number}" in judged:
                continue
            limits = find_limits(pin, expectation)
            if any(limits[q].low <= 0 for q in figures.keys() & limits.keys()):
                continue  # nothing there is what anything that failed reads
            if figures.keys() <= limits.keys() and all(
                _is_within(result.corrected.value, limits[q]) for q, result in figures.items()
            ):
                yield MixUp(
                    f"Pin {one.pin.number} reads what pin {number} should: {_COUNT}, and take it"
                    " again.",
                    tuple(point for point, _ in _list_figures(one)),
                )
                break


def _name_place(judged: PinVerdict) -> str:
    return f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol


def _list_figures(judged: PinVerdict) -> Iterator[tuple[tuple[str, str], FigureVerdict]]:
    for result in judged.results:
        if result.expected.quantity != "resistance" and result.verdict != CANNOT_TELL:
            yield (_name_place(judged), result.expected.quantity), result


def _list_by_quantity(judged: PinVerdict) -> Iterator[tuple[str, FigureVerdict]]:
    return ((point[1], result) for point, result in _list_figures(judged))


def _has_wrong_figure(judged: PinVerdict) -> bool:
    return any(_is_off(result) for _, result in _list_figures(judged))


def _is_off(result: FigureVerdict) -> bool:
    return result.verdict not in (AS_EXPECTED, CANNOT_TELL)


def _is_within(value: float, limits: Limits) -> bool:
    return limits.low <= value <= limits.high
