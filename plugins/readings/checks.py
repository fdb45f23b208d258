"""Check readings of one or more pins; the command, the page and the JSON all call this."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from ...schema import Chip, Expectation, Pin
from ...schema.chips.limits import find_limits
from ...schema.chips.lookup import find_condition, find_pin, rank_expectation
from ...schema.errors import Unknown
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.reading import Reading
from .joint_findings import describe_supply_scaling
from .verdict import PinVerdict, judge_reading


class NoExpectation(Unknown):
    """The chip file states nothing about the pin that the reading could be compared with."""


@dataclass(frozen=True)
class PinReading:
    """A reading, the name of its pin as typed, and its condition if one was given."""

    pin: str
    reading: Reading
    condition: str | None = None


@dataclass(frozen=True)
class PinChecks:
    """The verdicts on several pins, and the finding that only all of them together show."""

    pins: tuple[PinVerdict, ...]
    together: str | None

    @property
    def is_right(self) -> bool:
        """Whether every pin is as expected."""
        return all(judged.is_right for judged in self.pins)

    def document(self) -> dict[str, Any]:
        """Return the document of each pin, and the joint finding."""
        return {"pins": [judged.document() for judged in self.pins], "together": self.together}


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


def find_test_point(chip: Chip, name: str) -> Pin:
    """Return the pin with this number or symbol, or the node with this id as a pin numbered 0.

    Raises UnknownPin.
    """
    wanted = name.strip().casefold()
    for node in chip.application.nodes:
        if wanted in (node.id, node.name.casefold()):
            return Pin.model_construct(
                number=0, symbol=node.id, function=node.name, role="output",
                expectations=node.expectations,
            )  # fmt: skip
    return find_pin(chip, name.removeprefix("pin "))


def check_pins(
    chip: Chip,
    readings: Iterable[PinReading],
    chosen: Instruments,
    good: Sequence[Note] | None = None,
) -> PinChecks:
    """Return the verdicts on readings of several pins, each as ``check_pin`` gives it.

    Raises UnknownPin, UnknownCondition and NoExpectation.
    """
    verdicts = tuple(
        check_pin(
            chip, find_test_point(chip, taken.pin), taken.reading, chosen, taken.condition, good
        )
        for taken in readings
    )
    return PinChecks(verdicts, describe_supply_scaling(verdicts))


def choose_expectation(
    chip: Chip, pin: Pin, reading: Reading, condition: str | None
) -> Expectation:
    """Return the named condition's expectation, else the one that covers most of the reading.

    Raises UnknownCondition and NoExpectation.
    """
    name = find_condition(chip, condition) if condition else None
    candidates = [e for e in pin.expectations if name is None or e.condition == name]
    if not candidates:
        conditions = ", ".join(e.condition for e in pin.expectations)
        hint = f"; it is known for {conditions}" if conditions else ""
        where = f" in {name!r}" if name else ""
        raise NoExpectation(
            f"nothing is known of {chip.part} pin {pin.number} {pin.symbol}{where}{hint}"
        )
    return max(candidates, key=lambda e: (_count_answered(pin, e, reading), rank_expectation(e)))


def _count_answered(pin: Pin, expectation: Expectation, reading: Reading) -> int:
    """Return how many of the figures read this expectation has limits for."""
    limited: Sequence[str] = tuple(find_limits(pin, expectation))
    read = {
        "dc": reading.dc_v,
        "vpp": reading.vpp_v,
        "frequency": reading.frequency_hz,
        "resistance": reading.resistance_ohm,
    }
    return sum(value is not None and name in limited for name, value in read.items())
