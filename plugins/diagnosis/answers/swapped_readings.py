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
    times_read = Counter(point for verdict in judged for point, _ in _list_figures(verdict))
    last_verdicts = {_name_place(verdict): verdict for verdict in judged}
    # Who read a point twice and found the same has not slipped twice.
    read_once = {
        place: verdict
        for place, verdict in last_verdicts.items()
        if all(times_read[point] == 1 for point, _ in _list_figures(verdict))
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
    for verdict in judged:
        for point, result in _list_figures(verdict):
            place, quantity = point
            if quantity != "vpp" or not _is_off(result):
                continue
            name, read_vpp = describe_endpoint(chip, place), result.corrected.value
            if _is_within(read_vpp * _PROBE, result.expected):
                yield MixUp(
                    f"{name} reads a tenth of what it should: that fits if the probe was at x10 and"
                    " the oscilloscope counted it as x1. Check the switch and take it again.",
                    (point,),
                )
            elif _is_within(read_vpp / _PROBE, result.expected):
                yield MixUp(
                    f"{name} reads ten times what it should: that fits if the probe was at x1 and"
                    " the oscilloscope counted it as x10. Check the switch and take it again.",
                    (point,),
                )


def _find_exchanged_pins(judged: Mapping[str, PinVerdict]) -> Iterator[MixUp]:
    """Yield neighbouring pins that each read the other's expected figures."""
    for verdict in judged.values():
        number = verdict.pin.number
        neighbour = judged.get(f"pin {number + 1}") if number else None
        if neighbour is None:
            continue
        if not (_has_wrong_figure(verdict) and _has_wrong_figure(neighbour)):
            continue
        first, second = dict(_list_by_quantity(verdict)), dict(_list_by_quantity(neighbour))
        read_at_both = first.keys() & second.keys()
        if read_at_both and all(
            _is_within(first[quantity].corrected.value, second[quantity].expected)
            and _is_within(second[quantity].corrected.value, first[quantity].expected)
            for quantity in read_at_both
        ):
            # Each must read the other's figure: one alone is chance.
            pins = f"{number} and {neighbour.pin.number}"
            yield MixUp(
                f"Pins {pins} seem to be exchanged, each reads what the other should: {_COUNT}.",
                tuple(p for each in (verdict, neighbour) for p, _ in _list_figures(each)),
            )


def _find_next_pin_reads(chip: Chip, judged: Mapping[str, PinVerdict]) -> Iterator[MixUp]:
    """Yield wrong pins that read the expected figures of a neighbour, itself not read."""
    for verdict in judged.values():
        pin_number = verdict.pin.number
        if not pin_number or not _has_wrong_figure(verdict):
            continue
        figures = dict(_list_by_quantity(verdict))
        # A probe slips to the next pin, on either side.
        for number in (pin_number - 1, pin_number + 1):
            neighbour = chip.pin(str(number))
            if neighbour is None or f"pin {number}" in judged:
                continue
            expectation = neighbour.expectation(verdict.condition)
            if expectation is not None and _fit_limits(
                figures, find_limits(neighbour, expectation)
            ):
                yield MixUp(
                    f"Pin {pin_number} reads what pin {number} should: {_COUNT}, and take it"
                    " again.",
                    tuple(point for point, _ in _list_figures(verdict)),
                )
                break


def _fit_limits(figures: Mapping[str, FigureVerdict], limits: Mapping[str, Limits]) -> bool:
    """Return whether all figures of a pin lie within another pin's limits.

    Limits that include zero prove nothing: anything that failed reads nothing.
    """
    if any(limits[quantity].low <= 0 for quantity in figures.keys() & limits.keys()):
        return False
    return figures.keys() <= limits.keys() and all(
        _is_within(result.corrected.value, limits[quantity]) for quantity, result in figures.items()
    )


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
