"""Begin a chip at the bench: a few pins as they were read in one set make a whole chip file.

Unknown facts are marked as unknown, so that card, sheet and notes work with five pins. A pasted
table becomes a draft as ``pinfolio draft`` makes one, with what it does not say marked in the same
way.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from pydantic import ValidationError

from ...loaders.chip_files.chip_file import chip_to_yaml, read_chip
from ...loaders.chip_files.part_name import check_part, make_file_name
from ...loaders.drafting.chip_draft import Origin, draft_chip
from ...loaders.drafting.draft_identity import Identity, suggest_identity
from ...loaders.drafting.pin_table import PinTable, TablePin
from ...loaders.drafting.role_guesses import suggest_role
from ...loaders.drafting.table_reader import read_pin_table
from ...loaders.drafting.text_table import DraftError, Place
from ...loaders.errors import ChipFileError
from ...schema import Chip, print_value
from ...schema.chip import ChipRuleError
from ...schema.errors import Unusable
from ...schema.reading import BadReading
from ...schema.rules.rule import Finding
from ..readings.written_figures import read_figure
from .new_chip import check_kind, read_package

LONGEST_TABLE: Final = 6000
"""Characters of a pasted table: what an address carries."""
NOT_KNOWN: Final = "not known yet"
"""Text in place of a fact that nobody knows yet."""
GUESSED_ROLE: Final = "input"  # the role from which nothing else is concluded
_NEEDED: Final = {
    "ground": "no pin is a ground yet; name one GND, with 0 volts",
    "supply": "no pin is a supply yet; name one VCC, with the volts that were read",
}
CONDITION_AS_FOUND: Final = "as found"
BEYOND_SUPPLY: Final = "beyond_supply"
NOT_EXPLAINED: Final = "Read beyond the supply; not explained yet."
_PIN_LINE: Final = re.compile(r"  - (?:\{)?number: (\d+)")


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
    doubts: tuple[str, ...] = ()
    """Readings to take again, each with its pin."""

    @property
    def commands(self) -> tuple[str, ...]:
        """Commands that take the file in, once it is saved: into a folio of its own name, so that
        none that is there is replaced."""
        checks = (f"pinfolio lint {self.name}",) if self.blanks else ()
        own_folio = f"{self.name.removesuffix('.yaml')}.db"
        return (
            *checks,
            f"pinfolio build {self.name} -o {own_folio}",
            f"pinfolio serve {own_folio}",
        )


def count_pins(part: str, package: str, kind: str) -> int:
    """Return the number of pins of a package. Raises CannotBegin for an unusable package name."""
    try:
        check_part(part)
        check_kind(kind)
        return read_package(package).pins
    except Unusable as refused:
        raise CannotBegin(str(refused)) from None


def begin_from_pins(
    part: str, package: str, kind: str, pins: list[TypedPin], maker: str = ""
) -> BegunFile:
    """Return the file of a chip with the pins that are known. Raises CannotBegin."""
    count_pins(part, package, kind)
    part, body = check_part(part), read_package(package)
    typed_pins = {pin.number: pin for pin in pins if pin and pin.number <= body.pins}
    if not typed_pins:
        raise CannotBegin("no pin has a symbol or a reading yet; fill in one at least")
    numbers = range(1, body.pins + 1)
    all_pins = [_describe_pin(typed_pins.get(number, TypedPin(number))) for number in numbers]
    supplies = _list_supplies(all_pins)
    for role, advice in _NEEDED.items():
        if all(pin["role"] != role for pin in all_pins):
            raise CannotBegin(advice)
    fields = {
        "file_format": "pinfolio chip 1",
        "part": part,
        "maker": maker or NOT_KNOWN,
        "kind": kind,
        "summary": f"Begun at the bench: {len(typed_pins)} of {body.pins} pins are known.",
        "package": {"family": body.family, "pins": body.pins},
        "supplies": supplies,
        "sources": [{"id": "bench", "kind": "measured", "title": "Read in one set"}],
        "conditions": [{"name": CONDITION_AS_FOUND, "means": "Set on, in the state it came in"}],
        "pins": all_pins,
    }
    doubts = _excuse_beyond_supply(fields)
    try:
        text = chip_to_yaml(Chip.model_validate(fields))
    except ValidationError as refused:
        raise CannotBegin(_describe_findings(refused, all_pins)) from None
    return BegunFile(make_file_name(part), text, len(typed_pins), 0, doubts)


def _excuse_beyond_supply(fields: dict[str, Any]) -> tuple[str, ...]:
    """Mark readings beyond the supply as not explained; return a sentence for each.

    A bench reads what is there: another supply may be missing, or the reading is wrong.
    """
    try:
        Chip.model_validate(fields)
    except ValidationError as refused:
        findings = _find_rule_findings(refused)
    else:
        return ()
    doubts = []
    for finding in findings:
        if BEYOND_SUPPLY in finding.remedy and finding.at[0] == "pins":
            pin = fields["pins"][int(finding.at[1])]
            pin["expectations"][0][BEYOND_SUPPLY] = NOT_EXPLAINED
            doubts.append(_word_doubt(f"{pin['number']} {pin['symbol']}", finding.problem))
    return tuple(doubts)


def _word_doubt(where: str, problem: str) -> str:
    return f"Pin {where}: {problem}. Read it again, or name the supply pin that is missing"


def _find_rule_findings(refused: ValidationError) -> Sequence[Finding]:
    """Return the findings of the whole-chip rules; none where a field itself was refused."""
    error = refused.errors()[0].get("ctx", {}).get("error")
    return error.findings if isinstance(error, ChipRuleError) else ()


def _describe_findings(refused: ValidationError, pins: list[dict[str, Any]]) -> str:
    """Return each fault with the pin that it is at."""
    findings = _find_rule_findings(refused)
    if not findings:
        return str(refused.errors()[0]["msg"]).removeprefix("Value error, ")
    return "; ".join(
        f"pin {pins[int(finding.at[1])]['number']}: {finding.message}"
        if finding.at[:1] == ("pins",)
        else finding.message
        for finding in findings
    )


def begin_from_table(part: str, package: str, kind: str, table: str, maker: str = "") -> BegunFile:
    """Return a draft of the chip whose pins are in a pasted table. Raises CannotBegin."""
    if len(table) > LONGEST_TABLE:
        raise CannotBegin(
            f"the table has {len(table)} characters, at most {LONGEST_TABLE}"
            " are read here; save it as a file and use: pinfolio draft FILE"
        )
    try:
        body = read_package(package)
        identity = Identity(check_part(part), maker or NOT_KNOWN, kind or None, body)
        pasted_table = read_pin_table(table.encode(), "the table")
        full_table = _complete_pins(pasted_table, body.pins)
        origin = Origin("table", "data sheet", "Pasted table")
        draft = draft_chip(full_table, suggest_identity(identity, full_table, ""), origin)
    except (DraftError, Unusable) as refused:
        raise CannotBegin(str(refused)) from None
    name, text = make_file_name(part), draft.text
    doubts: tuple[str, ...] = ()
    # Rules of the whole chip hold only once no blank is left.
    if not draft.blanks:
        text, doubts = _excuse_in_text(text, name)
    return BegunFile(name, text, len(pasted_table.pins), draft.blanks, doubts)


def _complete_pins(table: PinTable, count: int) -> PinTable:
    """Return the table with a role for each pin, and pins that are not in it as not known yet."""
    pins = {pin.number: pin for pin in table.pins}
    for number in range(1, count + 1):
        pin = pins.setdefault(number, TablePin(number, Place(0)))
        symbol, function = pin.texts.get("symbol", ""), pin.texts.get("function", "")
        is_known = bool(symbol or function or pin.dc)
        if suggest_role(symbol, function, pin.texts.get("role", "")) is None:
            pin.texts["role"] = GUESSED_ROLE if is_known else "unused"
        pin.texts["symbol"] = symbol or f"?{number}"
        pin.texts["function"] = function or NOT_KNOWN
    return replace(table, pins=tuple(pins[number] for number in sorted(pins)))


def _excuse_in_text(text: str, name: str) -> tuple[str, tuple[str, ...]]:
    """Return a draft without blanks, readings beyond the supply marked, and a sentence for each.

    Raises CannotBegin with the pin of each other fault.
    """
    try:
        read_chip(text.encode(), name)
    except ChipFileError as refused:
        faults = refused.faults
    else:
        return text, ()
    lines, doubts = text.splitlines(), list[str]()
    for fault in faults:
        index = fault.line - 1
        # The pin of a line is the nearest one that begins above it.
        pin_lines = (_PIN_LINE.match(line) for line in lines[index::-1])
        number = next((match[1] for match in pin_lines if match), "")
        if BEYOND_SUPPLY not in fault.expected:
            raise CannotBegin(f"pin {number}: {fault.message}" if number else fault.message)
        excuse = rf"\1, {BEYOND_SUPPLY}: {NOT_EXPLAINED}"
        lines[index] = re.sub(r"(dc: [^,}]+)", excuse, lines[index])
        doubts.append(_word_doubt(number, fault.found))
    return "\n".join(lines) + "\n", tuple(doubts)


def _describe_pin(pin: TypedPin) -> dict[str, Any]:
    """Return a pin as a chip file has it. Raises CannotBegin for a figure that is none."""
    function = " ".join(pin.function.split())
    symbol = " ".join(pin.symbol.split()) or f"?{pin.number}"
    # Rules ask nothing of an unused pin, so that one nobody measured breaks none.
    role = (suggest_role(symbol, function) or GUESSED_ROLE) if pin else "unused"
    described: dict[str, Any] = {
        "number": pin.number,
        "symbol": symbol,
        "function": function or NOT_KNOWN,
        "role": role,
    }
    if pin.dc:
        try:
            figure = read_figure(pin.dc, "V")
        except BadReading as refused:
            raise CannotBegin(f"pin {pin.number}: {refused}") from None
        volts = figure.text if figure.is_range else print_value(figure.value, "V", None)
        described["expectations"] = [
            {"condition": CONDITION_AS_FOUND, "dc": volts, "source": {"id": "bench", "sets": 1}}
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
            pin["role"] = GUESSED_ROLE
    return supplies
