"""Invented parts to print: pins with symbols, functions and resting voltages, from a seed."""

from __future__ import annotations

import random
from dataclasses import dataclass

from sheets.languages import DECIMAL_COMMA, FUNCTIONS, HEADINGS, Language
from sheets.sheet import Grid, Kind, Level, Pin, Value

# Resting voltages with a 9 V supply: common practice, from memory.
_DC_V = {
    "VCC": 9.0,
    "GND": 0.0,
    "VIN": 2.6,
    "VOUT": 3.1,
    "CIN": 3.4,
    "SCO": 1.4,
    "HOUT": 0.7,
    "VDR": 2.2,
    "XTAL": 2.9,
    "LPF": 4.7,
    "CON": 3.8,
    "SAT": 3.6,
    "AOUT": 4.2,
    "REF": 5.1,
}
_STEPS = 7  # of 0.1 V, by which the parts of different seeds differ


@dataclass(frozen=True)
class Made:
    """A pin of an invented part before it is printed."""

    number: int
    symbol: str
    function: str
    dc_v: float

    def as_pin(
        self, dc: dict[str, Value] | None = None, *stated: tuple[str, str], named: bool = True
    ) -> Pin:
        """Return the truth about the pin; ``named=False`` for a table without functions."""
        return Pin(self.number, self.symbol, self.function if named else None, dc or {}, stated)


class Part:
    """An invented part, and the manner of one language to print it."""

    def __init__(self, seed: int, language: Language, kind: Kind) -> None:
        chance = random.Random(seed)
        keys = ["VCC", "GND", *chance.sample([*FUNCTIONS][2:], chance.randint(6, 11))]
        chance.shuffle(keys)
        self.language, self.kind, self.chance = language, kind, chance
        # Comma-separated text keeps the point, or else each number would need quotes.
        self.has_comma = kind == "semicolon" or (language in DECIMAL_COMMA and kind != "csv")
        self.pins = [self.make_pin(number, key) for number, key in enumerate(keys, 1)]

    def make_pin(self, number: int, key: str) -> Made:
        """Return a pin with the function of ``key``."""
        offset_v = 0.0 if key in ("VCC", "GND") else self.chance.randrange(_STEPS) / 10
        return Made(number, key, FUNCTIONS[key][self.language], round(_DC_V[key] + offset_v, 1))

    def word(self, key: str) -> str:
        """Return a heading in the language of the sheet."""
        return HEADINGS[key][self.language]

    def words(self, *keys: str) -> list[str]:
        """Return several headings."""
        return [self.word(key) for key in keys]

    def number(self, value: float, digits: int = 1) -> str:
        """Return a number as the language prints it."""
        text = f"{value:.{digits}f}"
        return text.replace(".", ",") if self.has_comma else text

    def volts(self, heading: str = "dc") -> str:
        """Return a heading with the unit volt."""
        return f"{self.word(heading)} (V)"

    def typical(self, value_v: float, heading: str = "") -> Value:
        """Return the truth of a cell with one voltage."""
        return Value(Level(typ=value_v), (self.number(value_v),), (heading or self.volts(),))

    def plain_rows(self) -> list[list[str]]:
        """Return rows of pin, symbol, function and DC voltage, below their headings."""
        heads = [*self.words("pin", "symbol", "function"), self.volts()]
        return [heads, *(self.plain_row(pin) for pin in self.pins)]

    def plain_row(self, pin: Made) -> list[str]:
        """Return the row of a pin."""
        return [str(pin.number), pin.symbol, pin.function, self.number(pin.dc_v)]

    def plain_truth(self) -> dict[int, Pin]:
        """Return the truth of ``plain_rows``."""
        return {pin.number: pin.as_pin({"": self.typical(pin.dc_v)}) for pin in self.pins}

    def plain_grid(self) -> Grid:
        """Return the table that a quirk disturbs."""
        return Grid(self.plain_rows())
