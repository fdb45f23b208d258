"""Pins measured at the bench, one after the other, into a chip file that is valid after each.

The file itself says how far it is: a pin that nobody has measured has the symbol ``?`` and its
number. Every value has a measurement in one set as its source.
"""

from __future__ import annotations

import re
from typing import Any, Final, NamedTuple

from ...loaders.chip_files.canonical_text import format_chip_file
from ...loaders.chip_files.chip_file import read_chip
from ...loaders.chip_files.value_edits import append_item, put_value
from ...loaders.chip_files.yaml_positions import Key
from ...loaders.drafting.role_guesses import suggest_role
from ...loaders.errors import ChipFileError
from ...schema import Chip, Pin, print_value
from ...schema.errors import Unusable
from ...schema.reading import BadReading
from ..readings.written_figures import read_figure
from .begun_chip import (
    BEYOND_SUPPLY,
    CONDITION_AS_FOUND,
    GUESSED_ROLE,
    NOT_EXPLAINED,
    TypedPin,
    begin_from_pins,
)
from .completeness import list_unmeasured
from .draft_into_chip import write_in_brackets

SOURCE: Final = {"id": "bench", "kind": "measured", "title": "Measured, one set"}
_SUMMARY: Final = re.compile(r"Begun at the bench: \d+ of \d+ pins are known\.")
_MEANS: Final = "As named while measuring; describe how to bring the set into it"


class CannotTake(Unusable):
    """A measured pin that the chip file cannot hold; the message says why."""


class MeasuredPin(NamedTuple):
    """A pin as it was measured; function and reading may be empty."""

    number: int
    symbol: str
    dc: str = ""
    condition: str = CONDITION_AS_FOUND
    function: str = ""


def begin_measured_chip(
    part: str, package: str, kind: str, ground: int, supply: MeasuredPin
) -> str:
    """Return the text of a chip file of which ground and one supply are measured.

    Raises CannotBegin.
    """
    pins = [TypedPin(ground, "GND", "0"), TypedPin(supply.number, supply.symbol, supply.dc)]
    text = begin_from_pins(part, package, kind, pins).text
    title = write_in_brackets(SOURCE["title"])
    return format_chip_file(put_value(text, ("sources", 0, "title"), title))


def add_measured_pin(text: str, name: str, measured: MeasuredPin) -> tuple[str, str]:
    """Return the chip file with a measured pin, and a doubt about it, empty without one.

    A reading beyond the supply is kept, marked as not explained yet. Raises CannotTake for a
    value that breaks another rule, ChipFileError if the file has faults of its own.
    """
    chip = read_chip(text.encode(), name)
    pin = chip.pin(measured.number)
    if pin is None:
        raise CannotTake(f"{chip.part} has no pin {measured.number}")
    expectation = _describe_reading(measured)
    try:
        return _write_pin(text, name, chip, pin, measured, expectation), ""
    except ChipFileError as refused:
        fault = refused.faults[0]
        if BEYOND_SUPPLY not in fault.expected:
            raise CannotTake(fault.message) from None
    # Another supply may not be measured yet, so that the reading may be right.
    expectation[BEYOND_SUPPLY] = NOT_EXPLAINED
    doubt = f"{fault.found}; read it again, or measure the supply pin that is missing"
    try:
        return _write_pin(text, name, chip, pin, measured, expectation), doubt
    except ChipFileError as refused:
        raise CannotTake(refused.faults[0].message) from None


def _describe_reading(measured: MeasuredPin) -> dict[str, Any]:
    """Return the reading as an expectation; empty without one. Raises CannotTake."""
    if not measured.dc:
        return {}
    try:
        figure = read_figure(measured.dc, "V")
    except BadReading as refused:
        raise CannotTake(str(refused)) from None
    volts = figure.text if figure.is_range else print_value(figure.value, "V", None)
    source = {"id": SOURCE["id"], "sets": "1"}
    return {"condition": measured.condition, "dc": volts, "source": source}


def _write_pin(
    text: str, name: str, chip: Chip, pin: Pin, measured: MeasuredPin, expectation: dict[str, Any]
) -> str:
    """Return the text with the pin; raises ChipFileError if that breaks a rule."""
    path: tuple[Key, ...] = ("pins", chip.pins.index(pin))
    function = measured.function or pin.function
    role = suggest_role(measured.symbol, measured.function) or GUESSED_ROLE
    # A supply that was not read has no voltage to be listed with.
    if role == "supply" and not expectation and pin.role != "supply":
        role = GUESSED_ROLE
    for key, value in (("symbol", measured.symbol), ("function", function), ("role", role)):
        text = put_value(text, (*path, key), write_in_brackets(value))
    is_listed_supply = any(pin.number in supply.pins for supply in chip.supplies)
    if role == "supply" and not is_listed_supply:
        text = _append_supply(text, chip, measured, expectation["dc"])
    if expectation:
        text = _put_expectation(text, chip, pin, path, expectation)
    # A summary that somebody wrote stays.
    if _SUMMARY.fullmatch(chip.summary):
        still_unmeasured = set(list_unmeasured(chip)) - {pin.number}
        known_count = len(chip.pins) - len(still_unmeasured)
        summary = f"Begun at the bench: {known_count} of {len(chip.pins)} pins are known."
        text = put_value(text, ("summary",), write_in_brackets(summary))
    read_chip(text.encode(), name)
    return format_chip_file(text, name)


def _append_supply(text: str, chip: Chip, measured: MeasuredPin, volts: str) -> str:
    taken = {supply.name for supply in chip.supplies}
    label = (
        measured.symbol if measured.symbol not in taken else f"{measured.symbol}{measured.number}"
    )
    supply = {"name": label, "pins": [measured.number], "voltage": volts}
    return append_item(text, ("supplies",), write_in_brackets(supply))


def _put_expectation(
    text: str, chip: Chip, pin: Pin, path: tuple[Key, ...], expectation: dict[str, Any]
) -> str:
    """Return the text with the reading in its condition, in place of an earlier reading there."""
    condition = expectation["condition"]
    if all(known.name != condition for known in chip.conditions):
        fields = {"name": condition, "means": _MEANS}
        text = append_item(text, ("conditions",), write_in_brackets(fields))
    if all(source.id != SOURCE["id"] for source in chip.sources):
        text = append_item(text, ("sources",), write_in_brackets(SOURCE))
    list_path = (*path, "expectations")
    for index, earlier in enumerate(pin.expectations):
        if earlier.condition != condition:
            continue
        # A figure of a data sheet is not overwritten by a reading of one set.
        if earlier.source.id != SOURCE["id"]:
            raise CannotTake(
                f"{condition!r} has a value from {earlier.source.id}; name another condition"
            )
        for key, value in expectation.items():
            text = put_value(text, (*list_path, index, key), write_in_brackets(value))
        return text
    item = write_in_brackets(expectation)
    if pin.expectations:
        return append_item(text, list_path, item)
    return put_value(text, list_path, f"[{item}]")
