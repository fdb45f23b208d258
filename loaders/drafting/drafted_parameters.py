"""Write the parameters of a draft, and suggest them as levels of the waveform of their pin."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ...schema.chips.level_words import find_stated_field
from ...schema.text import visible
from .pin_table import TableParameter, TablePin
from .text_table import Unread

_LONGEST: Final = {"name": 2000, "symbol": 80, "test_condition": 2000}
_SUPPLY_VOLTAGE: Final = re.compile(
    r"(?:.*: )?(?:positive |main )?supply voltage(?: range)?(?: \(.*\))?", re.IGNORECASE
)
_RATING: Final = "absolute maximum"


@dataclass(frozen=True)
class SupplyOfPin:
    """A supply of the draft: the pin it enters at, and its name if it has one."""

    pin: int
    name: str


def find_supply(parameter: TableParameter, supplies: Sequence[SupplyOfPin]) -> str | None:
    """Return the name of the supply that a parameter without pins is stated for, or None.

    It has the symbol of the supply, or is a supply's and there is only one.
    """
    if parameter.pins or not re.search(r"\bsuppl(?:y|ies)\b", parameter.name, re.IGNORECASE):
        return None
    named = [supply for supply in supplies if supply.name]
    by_symbol = [s for s in named if s.name.upper() == parameter.symbol.upper()]
    chosen = by_symbol or (named if len(supplies) == 1 else [])
    return chosen[0].name if chosen else None


def find_supply_voltage(
    supply: SupplyOfPin, supplies: Sequence[SupplyOfPin], parameters: Iterable[TableParameter]
) -> str | None:
    """Return the value of the one parameter that is the voltage of a supply, or None."""
    supply_voltages = {
        str(parameter.value)
        for parameter in parameters
        if parameter.value.unit == "V"
        and _SUPPLY_VOLTAGE.fullmatch(parameter.name)
        and not parameter.name.lower().startswith(_RATING)
        and (supply.pin in parameter.pins or find_supply(parameter, supplies) == supply.name)
    }
    return supply_voltages.pop() if len(supply_voltages) == 1 else None


def suggest_levels(
    kind: str, pin: TablePin, parameters: Iterable[TableParameter]
) -> dict[str, str]:
    """Return the fields of a waveform of this kind that the parameters of its pin state.

    A field that two parameters could fill is left out.
    """
    levels: dict[str, list[str]] = {}
    for parameter in parameters:
        field = find_stated_field(kind, parameter.name, parameter.value.unit)
        if field is not None and pin.number in parameter.pins:
            levels.setdefault(field, []).append(str(parameter.value))
    return {field: values[0] for field, values in levels.items() if len(values) == 1}


def describe_parameter(
    parameter: TableParameter, supply: str | None, source: dict[str, Any], note: str
) -> dict[str, Any]:
    """Return the keys of a parameter as a chip file has them."""
    keys: dict[str, Any] = {"name": visible(parameter.name)}
    if parameter.symbol:
        keys["symbol"] = visible(parameter.symbol)
    if parameter.pins:
        keys["pins"] = list(parameter.pins)
    if supply is not None:
        keys["supply"] = visible(supply)
    keys["value"] = str(parameter.value)
    if parameter.test_condition:
        keys["test_condition"] = visible(parameter.test_condition)
    keys["source"] = source
    if note:
        keys["note"] = visible(note)
    return keys


def select_writable(
    parameters: Iterable[TableParameter], pins: Iterable[int]
) -> Iterator[TableParameter | Unread]:
    """Yield each parameter that a chip with these pins can have, and the others as not used."""
    known = frozenset(pins)
    for parameter in parameters:
        strange = [str(number) for number in parameter.pins if number not in known]
        long = [
            key for key, most in _LONGEST.items() if len(visible(getattr(parameter, key))) > most
        ]
        if strange or long:
            reason = f"too long for a {long[0]}" if long else f"the chip has no pin {strange[0]}"
            words = f"{parameter.name[:60]} {parameter.value}"
            yield Unread(parameter.place, words, f"not used: {reason}")
        else:
            yield parameter
