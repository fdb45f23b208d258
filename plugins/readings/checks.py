"""One pin or many, checked: the same for the command, the page and the JSON."""

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
    """The chip file says nothing of this pin that a reading could be held against."""


@dataclass(frozen=True)
class PinReading:
    """A reading, the pin it was taken at as it was written, and its condition if one was."""

    pin: str
    reading: Reading
    condition: str | None = None


@dataclass(frozen=True)
class PinChecks:
    """Several pins judged, and what they say together."""

    pins: tuple[PinVerdict, ...]
    together: str | None

    @property
    def is_right(self) -> bool:
        """True when every pin is as expected."""
        return all(judged.is_right for judged in self.pins)

    def document(self) -> dict[str, Any]:
        """As plain data: each pin's own document, and what shows only together."""
        return {"pins": [judged.document() for judged in self.pins], "together": self.together}


def check_pin(
    chip: Chip,
    pin: Pin,
    reading: Reading,
    chosen: Instruments,
    condition: str | None = None,
    good: Iterable[Note] | None = None,
) -> PinVerdict:
    """Judge a reading in the named condition, else in the one that says most about it.

    With ``good``, notes on the chip, against what good sets were seen to read, where that is
    known. Raises UnknownCondition and NothingKnown.
    """
    expectation = choose_expectation(chip, pin, reading, condition)
    return judge_reading(chip, pin, expectation, reading, chosen, good)


def find_test_point(chip: Chip, name: str) -> Pin:
    """The pin of this number or symbol, or the node of this id, as a pin with the number 0.

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
    """Judge readings of several pins, each as ``check_pin`` does.

    Raises UnknownPin, UnknownCondition, NothingKnown.
    """
    judged = tuple(
        check_pin(
            chip, find_test_point(chip, found.pin), found.reading, chosen, found.condition, good
        )
        for found in readings
    )
    return PinChecks(judged, describe_supply_scaling(judged))


def choose_expectation(
    chip: Chip, pin: Pin, reading: Reading, condition: str | None
) -> Expectation:
    """What a reading is held against: the named condition, else the one with most to say of it.

    Raises UnknownCondition and NothingKnown.
    """
    name = find_condition(chip, condition) if condition else None
    among = [e for e in pin.expectations if name is None or e.condition == name]
    if not among:
        known = ", ".join(e.condition for e in pin.expectations)
        hint = f"; it is known for {known}" if known else ""
        where = f" in {name!r}" if name else ""
        raise NoExpectation(
            f"nothing is known of {chip.part} pin {pin.number} {pin.symbol}{where}{hint}"
        )
    return max(among, key=lambda e: (_count_answered(pin, e, reading), rank_expectation(e)))


def _count_answered(pin: Pin, expectation: Expectation, reading: Reading) -> int:
    """How many of the figures read this expectation has limits for."""
    known: Sequence[str] = tuple(find_limits(pin, expectation))
    read = {
        "dc": reading.dc_v,
        "vpp": reading.vpp_v,
        "frequency": reading.frequency_hz,
        "resistance": reading.resistance_ohm,
    }
    return sum(value is not None and name in known for name, value in read.items())
