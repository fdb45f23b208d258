"""Begin a chip at the bench: a few pins as they were read in one set make a whole chip file.

Unknown facts are marked as unknown, so that card, sheet and notes work with five pins. A pasted
table becomes a draft with blanks instead, as ``pinfolio draft`` makes one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from pydantic import ValidationError

from ...loaders.chip_files.chip_file import chip_to_yaml
from ...loaders.chip_files.part_name import check_part, file_name
from ...loaders.drafting.chip_draft import Origin, draft_chip
from ...loaders.drafting.draft_identity import Identity, suggest_identity
from ...loaders.drafting.role_guesses import suggest_role
from ...loaders.drafting.table_reader import read_pin_table
from ...loaders.drafting.text_table import DraftError
from ...schema import Chip, print_value
from ...schema.errors import Unusable
from ...schema.reading import BadReading
from ..readings.written_figures import read_figure
from .new_chip import check_kind, read_package

LONGEST_TABLE: Final = 6000
"""Characters of a pasted table: what an address carries."""
_NOT_KNOWN: Final = "not known yet"
_GUESSED_ROLE: Final = "input"  # the role from which nothing else is concluded
_NEEDED: Final = {
    "ground": "no pin is a ground yet; name one GND, with 0 volts",
    "supply": "no pin is a supply yet; name one VCC, with the volts that were read",
}
_CONDITION: Final = "as found"


class CannotBegin(Unusable):
    """The fields make no chip file; the message says why, and gives an example that would."""


@dataclass(frozen=True)
class TypedPin:
    """A pin as it was typed while measuring; any text may be empty."""

    number: int
    symbol: str = ""
    dc: str = ""
    function: str = ""

    def __bool__(self) -> bool:
        return bool(self.symbol or self.dc or self.function)


@dataclass(frozen=True)
class BegunFile:
    """A chip file to keep, and how much of the chip is in it."""

    name: str
    text: str
    pins: int
    blanks: int

    @property
    def commands(self) -> tuple[str, ...]:
        """Commands that take the file in, once it is saved."""
        checks = (f"pinfolio lint {self.name}",) if self.blanks else ()
        return (*checks, f"pinfolio build {self.name} -o folio.db", "pinfolio serve folio.db")


def count_pins(part: str, package: str, kind: str) -> int:
    """Return the number of pins of a package. Raises CannotBegin for an unusable package name."""
    try:
        check_part(part)
        check_kind(kind)
        return read_package(package).pins
    except Unusable as refused:
        raise CannotBegin(str(refused)) from None


def begin_from_pins(part: str, package: str, kind: str, pins: list[TypedPin]) -> BegunFile:
    """Return the file of a chip with the pins that are known. Raises CannotBegin."""
    count_pins(part, package, kind)
    part, body = check_part(part), read_package(package)
    known = [pin for pin in pins if pin and pin.number <= body.pins]
    if not known:
        raise CannotBegin("no pin has a symbol or a reading yet; fill in one at least")
    typed = {pin.number: pin for pin in known}
    listed = [
        _describe_pin(typed.get(number, TypedPin(number))) for number in range(1, body.pins + 1)
    ]
    fields = {
        "file_format": "pinfolio chip 1",
        "part": part,
        "maker": _NOT_KNOWN,
        "kind": kind,
        "summary": f"Begun at the bench: {len(known)} of {body.pins} pins are known.",
        "package": {"family": body.family, "pins": body.pins},
        "supplies": _list_supplies(listed),
        "sources": [{"id": "bench", "kind": "measured", "title": "Read in one set"}],
        "conditions": [{"name": _CONDITION, "means": "Set on, in the state it came in"}],
        "pins": listed,
    }
    for role, advice in _NEEDED.items():
        if all(pin["role"] != role for pin in listed):
            raise CannotBegin(advice)
    try:
        text = chip_to_yaml(Chip.model_validate(fields))
    except ValidationError as refused:
        message = refused.errors()[0]["msg"].removeprefix("Value error, ")
        raise CannotBegin(message) from None
    return BegunFile(file_name(part), text, len(known), 0)


def begin_from_table(part: str, package: str, kind: str, table: str) -> BegunFile:
    """Return a draft of the chip whose pins are in a pasted table. Raises CannotBegin."""
    if len(table) > LONGEST_TABLE:
        raise CannotBegin(
            f"the table has {len(table)} characters, at most {LONGEST_TABLE}"
            " are read here; save it as a file and use: pinfolio draft FILE"
        )
    try:
        identity = Identity(part=check_part(part), kind=kind or None, package=read_package(package))
        pins = read_pin_table(table.encode(), "the table")
        draft = draft_chip(
            pins,
            suggest_identity(identity, pins, ""),
            Origin("table", "data sheet", "Pasted table"),
        )
    except (DraftError, Unusable) as refused:
        raise CannotBegin(str(refused)) from None
    return BegunFile(file_name(part), draft.text, len(pins.pins), draft.blanks)


def _describe_pin(pin: TypedPin) -> dict[str, Any]:
    """Return a pin as a chip file has it. Raises CannotBegin for a figure that is none."""
    function = " ".join(pin.function.split())
    symbol = " ".join(pin.symbol.split()) or f"?{pin.number}"
    role = (suggest_role(symbol, function) or _GUESSED_ROLE) if pin else "unused"
    described: dict[str, Any] = {
        "number": pin.number,
        "symbol": symbol,
        "function": function or _NOT_KNOWN,
        "role": role,
    }
    if pin.dc:
        try:
            figure = read_figure(pin.dc, "V")
        except BadReading as refused:
            raise CannotBegin(f"pin {pin.number}: {refused}") from None
        volts = figure.text if figure.is_range else print_value(figure.value, "V", None)
        described["expectations"] = [
            {"condition": _CONDITION, "dc": volts, "source": {"id": "bench", "sets": 1}}
        ]
    return described


def _list_supplies(pins: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return a supply for each supply pin that was read; one not read is no supply yet."""
    supplies = []
    for pin in pins:
        if pin["role"] == "supply" and "expectations" in pin:
            voltage = pin["expectations"][0]["dc"]
            supplies.append({"name": pin["symbol"], "pins": [pin["number"]], "voltage": voltage})
        elif pin["role"] == "supply":
            pin["role"] = _GUESSED_ROLE
    return supplies
