"""Quantities as people write them: parsed once, at the border, into SI floats with a unit.

``parse_quantity("4.2 V ± 5 %", "V")`` knows the typical value and its limits; the text as
written is kept beside them. The grammar is closed: a number needs its unit, a comma is never
guessed at, and whatever is refused is refused with the right spelling.

Sources: prefixes, SI Brochure (BIPM, 9th edition) table 7; letter and digit codes for
resistors and capacitors, IEC 60062; the three-digit mark of capacitors (picofarad, the last
digit counts zeros), common practice.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, field
from typing import Annotated, Any, Final

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from .component_codes import read_capacitor_mark, read_letter_code

# What a unit is called in a message, and an example of the right spelling.
UNITS: Final[dict[str, tuple[str, str]]] = {
    "V": ("a voltage", "4.2 V"),
    "Vpp": ("a peak-to-peak voltage", "450 mVpp"),
    "A": ("a current", "12 mA"),
    "Ω": ("a resistance", "4.7 kΩ"),
    "F": ("a capacitance", "100 nF"),
    "H": ("an inductance", "10 µH"),
    "Hz": ("a frequency", "15.625 kHz"),
    "s": ("a time", "64 µs"),
    "W": ("a power", "0.25 W"),
    "m": ("a length", "1.778 mm"),
    "%": ("a percentage", "75 %"),
    "ppm": ("parts per million", "50 ppm"),
    "°": ("an angle", "135 °"),
    "dB": ("a level in decibels", "-20 dB"),
}

_SPELLINGS: Final[dict[str, str]] = {
    "V": "V|volts?",
    "Vpp": "V ?p-?p",
    "A": "A",
    "Ω": "Ω|[Oo]hms?|R",
    "F": "F",
    "H": "H",
    "Hz": "[Hh]z",
    "s": "s",
    "W": "W",
    "m": "m",
    "%": "%",
    "ppm": "ppm",
    "°": "°|deg",
    "dB": "dB",
}

_PREFIXES: Final[dict[str, float]] = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "µ": 1e-6,
    "m": 1e-3,
    "": 1.0,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "G": 1e9,
}
_PRINTED_PREFIXES: Final = ("p", "n", "µ", "m", "", "k", "M", "G")
_WITHOUT_PREFIX: Final = frozenset({"%", "ppm", "°", "dB"})
_MAY_DROP_UNIT: Final = frozenset({"Ω", "F", "H"})  # "4.7 k", "100n": how parts are marked

_Limits = tuple[float | None, float | None, float | None]  # typical, lowest, highest

_NUMBER = r"[+-]?(?:\d+(?:\.\d+)?|\.\d+)"
_LONGEST_TEXT = 80


class QuantityError(ValueError):
    """A text that is not the quantity asked for: what was found, what was expected, the fix."""

    def __init__(self, found: str, expected: str, write: str) -> None:
        self.found, self.expected, self.write = found, expected, write
        super().__init__(f"found {found!r}, expected {expected}; write {write!r}")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in SI units with its limits, and the text it was read from.

    ``typ``, ``low`` and ``high`` are in ``unit`` without prefix (percent, ppm, degrees and
    decibels stay as they are); a limit nobody stated is None. Two quantities are equal when
    their values are, however they were written.
    """

    unit: str
    typ: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if not self.text:
            object.__setattr__(self, "text", print_quantity(self))

    def __str__(self) -> str:
        return self.text

    @property
    def nominal(self) -> float:
        """The one number to compute with: typical, else the middle, else the limit there is."""
        if self.typ is not None:
            return self.typ
        if self.low is not None and self.high is not None:
            return _tidy((self.low + self.high) / 2)
        limit = self.low if self.low is not None else self.high
        assert limit is not None  # the parser gives at least one number
        return limit

    @property
    def tolerance_stated(self) -> bool:
        """True when the source gives at least one limit beside, or instead of, a typical value."""
        return self.low is not None or self.high is not None

    def limits(self, assumed_percent: float) -> tuple[float, float]:
        """Lowest and highest value; a missing limit is taken ``assumed_percent`` from nominal."""
        spread = abs(self.nominal) * assumed_percent / 100
        low = self.low if self.low is not None else _tidy(self.nominal - spread)
        high = self.high if self.high is not None else _tidy(self.nominal + spread)
        return low, high


def parse_quantity(text: str, unit: str) -> Quantity:
    """Read ``text`` as a quantity in ``unit`` (a key of ``UNITS``); raise QuantityError.

    >>> parse_quantity("4k7", "Ω").nominal
    4700.0
    >>> parse_quantity("4.2 V ± 5 %", "V").limits(10)
    (3.99, 4.41)
    """
    words = _normalise(text)
    if len(text) > _LONGEST_TEXT:
        raise _refusal(text[:20] + "…", unit)
    if "," in words:
        raise QuantityError(text, "a decimal point, not a comma", words.replace(",", "."))
    for reader in (_read_named_limits, _read_range, _read_with_tolerance):
        found = reader(words, unit)
        if found is not None:
            typ, low, high = found
            _check_order(text, unit, low, typ, high)
            return Quantity(unit, typ, low, high, text.strip())
    raise _refusal(text, unit)


def print_quantity(quantity: Quantity) -> str:
    """Write a quantity so that ``parse_quantity`` reads the same values back."""
    unit, typ, low, high = quantity.unit, quantity.typ, quantity.low, quantity.high
    if typ is None:
        if low is not None and high is not None:
            return f"{print_value(low, unit, None)} .. {print_value(high, unit, None)}"
    elif low is not None and high is not None and typ:
        percent = float(f"{(high - typ) / abs(typ) * 100:.4g}")
        if (low, high) == _around(typ, percent):
            return f"{print_value(typ, unit, None)} ± {percent:g} %"
    elif low is None and high is None:
        return print_value(typ, unit, None)
    named = (("min", low), ("typ", typ), ("max", high))
    return " ".join(f"{word} {print_value(v, unit, None)}" for word, v in named if v is not None)


def print_value(value: float, unit: str, figures: int | None = 3) -> str:
    """A number with the engineering prefix that fits; ``figures=None`` keeps every digit.

    >>> print_value(15625.0, "Hz"), print_value(0.00045, "V"), print_value(4700, "Ω")
    ('15.6 kHz', '450 µV', '4.7 kΩ')
    """
    gap = "" if unit == "°" else " "
    if unit in _WITHOUT_PREFIX or value == 0 or not math.isfinite(value):
        return f"{_digits(value, figures)}{gap}{unit}"
    rounded = value if figures is None else float(f"{value:.{figures}g}")
    step = math.floor(math.log10(abs(rounded)) / 3 + 1e-12)
    step = max(-4, min(3, step))
    prefix = _PRINTED_PREFIXES[step + 4]
    return f"{_digits(_tidy(rounded / 10.0 ** (3 * step)), figures)} {prefix}{unit}"


def _digits(value: float, figures: int | None) -> str:
    """Plain decimal digits, never an exponent, no needless zeros."""
    shortest = f"{value:.{figures or 12}g}"
    if "e" in shortest:
        shortest = f"{float(shortest):.15f}".rstrip("0").rstrip(".")
    return "0" if shortest == "-0" else shortest


def _normalise(text: str) -> str:
    """One spelling for signs, micro, ohm and space; nothing that changes a digit."""
    plain = unicodedata.normalize("NFKC", text)
    plain = plain.replace("μ", "µ").replace("−", "-").replace("–", "-").replace("…", "..")
    plain = re.sub(r"\+ ?/? ?-", "±", plain)
    return re.sub(r"\s+", " ", plain).strip()


def _tidy(value: float) -> float:
    """Twelve significant figures: enough for any part, and free of binary dust."""
    return float(f"{value:.12g}")


def _around(typ: float, percent: float) -> tuple[float, float]:
    spread = abs(typ) * percent / 100
    return _tidy(typ - spread), _tidy(typ + spread)


def _read_value(words: str, unit: str) -> float | None:
    """One number with prefix and unit, or a code of IEC 60062; None if it is not one."""
    spelling = _SPELLINGS[unit]
    prefixes = "" if unit in _WITHOUT_PREFIX else "[pnuµmkKMG]?"
    match = re.fullmatch(rf"({_NUMBER}) ?({prefixes})(?:{spelling})", words)
    if match is None and unit in _MAY_DROP_UNIT:
        match = re.fullmatch(rf"({_NUMBER}) ?([pnuµmkKMG])", words)
    if match is not None:
        return _tidy(float(match[1]) * _PREFIXES[match[2]])
    if unit in _MAY_DROP_UNIT:
        return read_letter_code(re.sub(rf" ?(?:{spelling})$", "", words) or words, unit)
    return None


def _read_named_limits(words: str, unit: str) -> _Limits | None:
    """``min 4 V typ 4.3 V max 4.8 V`` in any order, each at most once."""
    parts = re.split(r"\b(min|typ|max)\.?\b", words)
    if len(parts) < 3 or parts[0].strip():
        return None
    values: dict[str, float] = {}
    for name, value in zip(parts[1::2], parts[2::2], strict=True):
        number = _read_value(value.strip(" ,"), unit)
        if number is None or name in values:
            return None
        values[name] = number
    return values.get("typ"), values.get("min"), values.get("max")


def _read_range(words: str, unit: str) -> _Limits | None:
    """``4.0 .. 4.6 V``, ``4.0 V .. 4.6 V``, ``4.0 V to 4.6 V``."""
    ends = re.split(r" ?\.\. ?| to ", words)
    if len(ends) != 2:
        return None
    tail = re.fullmatch(rf"{_NUMBER}( ?\D.*)", ends[1])
    low = _read_value(ends[0], unit)
    if low is None and tail is not None and re.fullmatch(_NUMBER, ends[0]):
        low = _read_value(ends[0] + tail[1], unit)
    high = _read_value(ends[1], unit)
    return None if low is None or high is None else (None, low, high)


def _read_with_tolerance(words: str, unit: str) -> _Limits | None:
    """One value, alone or with ``± 5 %``, ``± 50 ppm``, ``± 0.2 V`` or ``+80/-20 %``."""
    skewed = re.fullmatch(rf"(.+?) ?\+({_NUMBER}) ?%? ?/ ?-({_NUMBER}) ?%", words)
    if skewed is not None:
        typ = _read_value(skewed[1], unit)
        if typ is None:
            return None
        up, down = float(skewed[2]), float(skewed[3])
        return typ, _around(typ, down)[0], _around(typ, up)[1]
    value, sign, tolerance = (part.strip() for part in words.partition("±"))
    mark = read_capacitor_mark(value) if unit == "F" and not sign else None
    if mark is not None:
        return mark
    typ = _read_value(value, unit)
    if typ is None or not sign:
        return None if typ is None else (typ, None, None)
    for share, scale in (("%", 1.0), ("ppm", 1e-4)):
        match = re.fullmatch(rf"({_NUMBER}) ?{share}", tolerance)
        if match is not None and unit != share:
            return typ, *_around(typ, float(match[1]) * scale)
    spread = _read_value(tolerance, unit)
    return None if spread is None else (typ, _tidy(typ - spread), _tidy(typ + spread))


def _check_order(text: str, unit: str, *low_typ_high: float | None) -> None:
    known = [value for value in low_typ_high if value is not None]
    if known != sorted(known):
        ordered = " .. ".join(print_value(value, unit) for value in sorted(known))
        raise QuantityError(text, "minimum, typical, maximum in rising order", ordered)


def _refusal(text: str, unit: str) -> QuantityError:
    """Say what is missing: the unit, or everything."""
    called, example = UNITS[unit]
    words = _normalise(text)
    bare = re.match(rf"({_NUMBER}) ?([pnuµmkKMG]?)(?![a-zA-Z])", words)
    if bare is not None:
        return QuantityError(
            text, f"{called} in {unit}, with its unit", f"{bare[1]} {bare[2]}{unit}"
        )
    other = re.fullmatch(rf"({_NUMBER}) ?.*", words)
    if other is not None:
        return QuantityError(text, f"{called} in {unit}", f"{other[1]} {unit}")
    return QuantityError(text, f"{called} in {unit}", example)


class _QuantityOf:
    """Pydantic annotation: the field holds a Quantity in one unit, written as text."""

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda quantity: quantity.text
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        called, example = UNITS[self.unit]
        return {
            "type": "string",
            "description": f"{called[0].upper()}{called[1:]} in {self.unit}, as people write it.",
            "examples": [example],
        }

    def _validate(self, value: Any) -> Quantity:
        if isinstance(value, Quantity) and value.unit == self.unit:
            return value
        try:
            return parse_quantity(value if isinstance(value, str) else str(value), self.unit)
        except QuantityError as refusal:
            raise PydanticCustomError(
                "quantity",
                "expected {expected}; write '{write}'",
                {"found": refusal.found, "expected": refusal.expected, "write": refusal.write},
            ) from None


Voltage = Annotated[Quantity, _QuantityOf("V")]
PeakToPeak = Annotated[Quantity, _QuantityOf("Vpp")]
Current = Annotated[Quantity, _QuantityOf("A")]
Resistance = Annotated[Quantity, _QuantityOf("Ω")]
Capacitance = Annotated[Quantity, _QuantityOf("F")]
Inductance = Annotated[Quantity, _QuantityOf("H")]
Frequency = Annotated[Quantity, _QuantityOf("Hz")]
Duration = Annotated[Quantity, _QuantityOf("s")]
Power = Annotated[Quantity, _QuantityOf("W")]
Length = Annotated[Quantity, _QuantityOf("m")]
Percent = Annotated[Quantity, _QuantityOf("%")]
Angle = Annotated[Quantity, _QuantityOf("°")]
