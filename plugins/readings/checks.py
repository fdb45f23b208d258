"""Check readings at one or more pins; the command, the page and the JSON all call this."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.limits import find_limits
from ...schema.chips.lookup import find_condition, rank_expectation
from ...schema.errors import Unknown
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.reading import Reading
from .joint_findings import describe_supply_scaling
from .pin_readings import convert_point
from .places import find_test_point, name_place
from .reading_syntax import PartReading, Taken
from .verdict import PinVerdict, judge_reading


class NoExpectation(Unknown):
    """The chip file states nothing about the pin that the reading could be compared with."""


class Unjudged(NamedTuple):
    """A reading of a list that ``check`` cannot compare with anything; a hunt can use it."""

    place: str
    why: str


class PinChecks(NamedTuple):
    """The verdicts on several pins, and the finding that only all of them together show."""

    pins: tuple[PinVerdict, ...]
    together: str | None
    unjudged: tuple[Unjudged, ...] = ()

    @property
    def is_right(self) -> bool:
        """Whether every pin is as expected."""
        return all(judged.is_right for judged in self.pins)

    def document(self) -> dict[str, Any]:
        """Return the document of each pin, the joint finding, and the readings not judged."""
        return {
            "pins": [judged.document() for judged in self.pins],
            "together": self.together,
            "not_judged": [one._asdict() for one in self.unjudged],
        }


def check_pin(
    chip: Chip,
    pin: Pin,
    reading: Reading,
    chosen: Instruments,
    condition: str | None = None,
    good: Iterable[Note] | None = None,
) -> PinVerdict:
    """Return the verdict on a reading, in the named condition or the one that covers most of it.

    With ``good``, notes on the chip, observed ranges replace the catalogue's limits where there
    are any. Raises UnknownCondition and NoExpectation.
    """
    expectation = choose_expectation(chip, pin, reading, condition)
    return judge_reading(chip, pin, expectation, reading, chosen, good)


def check_list(
    chip: Chip,
    readings: Iterable[Taken],
    chosen: Instruments,
    condition: str | None = None,
    good: Sequence[Note] | None = None,
) -> PinChecks:
    """Return the verdicts on a list of readings, each as ``check_pin`` gives it.

    ``condition`` is that of readings that name none. A part out of circuit, and a place about which
    the chip file states nothing, are listed as not judged. Raises UnknownPin and UnknownCondition.
    """
    verdicts: list[PinVerdict] = []
    unjudged: list[Unjudged] = []
    for taken in readings:
        if isinstance(taken, PartReading):
            unjudged.append(Unjudged(taken.ref, "a part out of circuit: for the hunt"))
            continue
        place, reading = find_test_point(chip, taken.place), convert_point(taken)
        # "17 skip" has a place, but no figure and no word to judge.
        if not reading:
            unjudged.append(Unjudged(name_place(place), "not read"))
            continue
        reading_condition = taken.condition or condition
        try:
            verdicts.append(check_pin(chip, place, reading, chosen, reading_condition, good))
        except NoExpectation as unknown:
            unjudged.append(Unjudged(name_place(place), str(unknown)))
    return PinChecks(tuple(verdicts), describe_supply_scaling(verdicts), tuple(unjudged))


def choose_expectation(
    chip: Chip, pin: Pin, reading: Reading, condition: str | None
) -> Expectation:
    """Return the named condition's expectation, else the one that covers most of the reading.

    Raises UnknownCondition and NoExpectation.
    """
    name = find_condition(chip, condition) if condition else None
    candidates = [
        expectation
        for expectation in pin.expectations
        if name is None or expectation.condition == name
    ]
    if not candidates:
        conditions = ", ".join(expectation.condition for expectation in pin.expectations)
        hint = f"; it is known for {conditions}" if conditions else ""
        where = f" in {name!r}" if name else ""
        raise NoExpectation(f"{chip.part} states nothing about {name_place(pin)}{where}{hint}")

    def rank(expectation: Expectation) -> tuple[object, ...]:
        return _count_answered(pin, expectation, reading), rank_expectation(expectation)

    return max(candidates, key=rank)


def _count_answered(pin: Pin, expectation: Expectation, reading: Reading) -> int:
    """Return how many of the figures read this expectation has limits for."""
    limits = find_limits(pin, expectation)
    figures = {
        "dc": reading.dc_v,
        "vpp": reading.vpp_v,
        "frequency": reading.frequency_hz,
        "resistance": reading.resistance_ohm,
    }
    return sum(value is not None and quantity in limits for quantity, value in figures.items())
