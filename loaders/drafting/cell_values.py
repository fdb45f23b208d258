"""Read single cells: a voltage with its limits, pin numbers, a footnote mark."""

from __future__ import annotations

import re
from typing import Final

from ...schema.quantities import Quantity, QuantityError, parse_quantity
from ...schema.quantities.grammar import NUMBER, normalise

_NOTHING: Final = frozenset({"", "-", "--", "---", "—", "n.a.", "n/a", "na", "nil", "…", "..."})
# A mark is the last thing in its cell, so the ² of I²C is none.
_RAISED: Final = re.compile(r"\s*(?:([¹²³⁴-⁹⁰]+)\)?|([*†‡§]{1,3}))$")
_ON_THE_LINE: Final = re.compile(r"\s+(?:\(?([0-9])\)|\(notes? ([0-9, ]+)\))$")
_SUPERSCRIPTS: Final = str.maketrans("¹²³⁴⁵⁶⁷⁸⁹⁰", "1234567890")
_BARE: Final = re.compile(rf"(?<![\w.])({NUMBER})(?!\s*[a-zA-ZΩµ%°\d.])")
# Programs write 1.0 or 01 for 1.
_PIN_RANGE: Final = re.compile(
    r"0{0,2}([1-9][0-9]{0,2})(?:\.0)?(?:\s*(?:-|to|\.{2,3})\s*0{0,2}([1-9][0-9]{0,2}))?"
)
_LONGEST_QUANTITY: Final = 60
_LONGEST_PIN_LIST: Final = 400
_LIMIT_WORDS: Final = {
    "min": r"(?:≥|>=?|min\.?|from|above)",
    "max": r"(?:≤|<=?|max\.?|up to|below)",
}
_LIGATURES: Final = {
    "ﬀ": "ff", "ﬁ": "fi", "ﬂ": "fl", "ﬃ": "ffi", "ﬄ": "ffl", "ﬅ": "st", "ﬆ": "st",
    "μ": "µ", "\u2126": "Ω", "\u00a0": " ", "\u00ad": "", "\u200b": "", "\ufeff": "",
}  # fmt: skip


def clean_cell(cell: str) -> str:
    """Return the cell with ligatures split, one spelling of micro and ohm, and single spaces."""
    return " ".join("".join(_LIGATURES.get(sign, sign) for sign in cell).split())


def is_blank(cell: str) -> bool:
    """Return True if the cell is empty or holds a dash, "n.a." or other filler."""
    return normalise(cell).lower() in _NOTHING or not re.search(r"\w", cell)


def split_mark(cell: str, *, of_number: bool = False) -> tuple[str, str]:
    """Return the cell without its footnote mark, and the mark (empty if there is none).

    A mark is a superscript or a star; after a number ``1)`` and ``(note 1)`` are marks too.

    >>> split_mark("4.2 V 1)", of_number=True)
    ('4.2 V', '1')
    """
    match = _RAISED.search(cell) or (_ON_THE_LINE.search(cell) if of_number else None)
    if match is None or match.start() == 0:
        return cell, ""
    mark = next(group for group in match.groups() if group)
    return cell[: match.start()].rstrip(), normalise_mark(mark)


def normalise_mark(mark: str) -> str:
    """Return a footnote mark with ordinary digits in place of superscripts."""
    return mark.translate(_SUPERSCRIPTS).strip()


def parse_pin_numbers(cell: str) -> tuple[int, ...] | None:
    """Return the pins a cell names: ``13``, ``Pin 13``, ``7, 39``, ``10 to 12``; None if none.

    >>> parse_pin_numbers("7, 39 and 41-43")
    (7, 39, 41, 42, 43)
    """
    if len(cell) > _LONGEST_PIN_LIST:
        return None
    words = re.sub(r"^(?:pins?|terminals?|no\.?)\s*", "", normalise(cell), flags=re.IGNORECASE)
    numbers: list[int] = []
    for part in re.split(r"\s*(?:,|;|&|/|\band\b)\s*", words.rstrip(".")):
        ends = _PIN_RANGE.fullmatch(part)
        if ends is None:
            return None
        numbers += range(int(ends[1]), int(ends[2] or ends[1]) + 1)
    return tuple(numbers) if numbers else None


def replace_decimal_commas(text: str, comma: bool) -> str:
    """Return the text with decimal points if ``comma``: the table is written with commas."""
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text) if comma else text


def read_quantity(cell: str, unit: str, comma: bool, base_unit: str) -> Quantity:
    """Return the cell as a quantity in ``base_unit`` ("V", "Ω", "F"); bare numbers are in ``unit``.

    Reads ``4.2``, ``4.0-4.6``, ``4,2 ± 5 %``, ``< 0.4``, ``4.0/4.2/4.6``; raises QuantityError.
    """
    words = replace_decimal_commas(normalise(cell), comma)
    try:
        return parse_quantity(words, base_unit)
    except QuantityError:
        if len(words) > _LONGEST_QUANTITY:
            raise
        return parse_quantity(_to_quantity_text(words, unit), base_unit)


def _to_quantity_text(words: str, unit: str) -> str:
    """Return the cell in the grammar of quantities: a unit after each number, limits in words."""
    words = words.replace("~", "").replace("≈", "") if words[:1] in "~≈" else words
    tolerance = re.fullmatch(rf"({NUMBER})\s*±\s*({NUMBER}\s*%)", words)
    if tolerance:
        return f"{tolerance[1]} {unit} ± {tolerance[2]}"
    parts = re.split(r"\s*/\s*", words)
    # Three values between slashes are minimum, typical and maximum (common practice).
    if len(parts) == len(_LIMIT_WORDS) + 1 and not all(map(is_blank, parts)):
        return join_limits(parts[0], parts[1], parts[2], unit)
    span = rf"({NUMBER})(\s*[a-zA-ZµΩ]+)?\s*(?:-|to|\.{{2,3}}|~)\s*({NUMBER})(\s*[a-zA-ZµΩ]+)?"
    ends = re.fullmatch(span, words)
    if ends:
        shared = (ends[4] or f" {unit}").strip()
        return f"{ends[1]} {(ends[2] or shared).strip()} .. {ends[3]} {shared}"
    for word, signs in _LIMIT_WORDS.items():
        match = re.fullmatch(rf"{signs}\s*(.+)|(.+?)\s*{word}\.?", words, re.IGNORECASE)
        if match:
            return f"{word} {_add_unit(match[1] or match[2], unit)}"
    return _add_unit(words, unit)


def join_limits(low: str, typ: str, high: str, unit: str) -> str:
    """Return minimum, typical and maximum, any of them blank, in the grammar of quantities."""
    cells = (("min", low), ("typ", typ), ("max", high))
    limits = [(word, _add_unit(text, unit)) for word, text in cells if not is_blank(text)]
    words = [word for word, _ in limits]
    if words == ["typ"]:
        return limits[0][1]
    if words == ["min", "max"]:
        return f"{limits[0][1]} .. {limits[1][1]}"
    return " ".join(f"{word} {text}" for word, text in limits)


def _add_unit(text: str, unit: str) -> str:
    return _BARE.sub(rf"\1 {unit}", text.strip())
