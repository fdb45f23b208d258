"""What stands in one cell: a voltage with its limits, a pin number, a footnote mark."""

from __future__ import annotations

import re
from typing import Final

from ...schema.quantities import Quantity, QuantityError, parse_quantity
from ...schema.quantities.grammar import NUMBER, normalise

_NOTHING: Final = frozenset({"", "-", "--", "---", "—", "n.a.", "n/a", "na", "nil", "…", "..."})
# A mark stands at the end of the cell: I²C keeps its two.
_RAISED: Final = re.compile(r"\s*(?:([¹²³⁴-⁹⁰]+)\)?|([*†‡§]{1,3}))$")
_ON_THE_LINE: Final = re.compile(r"\s+(?:\(?([0-9])\)|\(notes? ([0-9, ]+)\))$")
_SUPERSCRIPTS: Final = str.maketrans("¹²³⁴⁵⁶⁷⁸⁹⁰", "1234567890")
_BARE: Final = re.compile(rf"(?<![\w.])({NUMBER})(?!\s*[a-zA-ZΩµ%°\d.])")
_LONGEST: Final = 60
_LIMIT_WORDS: Final = {
    "min": r"(?:≥|>=?|min\.?|from|above)",
    "max": r"(?:≤|<=?|max\.?|up to|below)",
}
_LIGATURES: Final = {
    "ﬀ": "ff", "ﬁ": "fi", "ﬂ": "fl", "ﬃ": "ffi", "ﬄ": "ffl", "ﬅ": "st", "ﬆ": "st",
    "μ": "µ", "\u2126": "Ω", "\u00a0": " ", "\u00ad": "", "\u200b": "", "\ufeff": "",
}  # fmt: skip


def plain(cell: str) -> str:
    """The cell with ligatures taken apart, one micro, one ohm, and single blanks."""
    return " ".join("".join(_LIGATURES.get(sign, sign) for sign in cell).split())


def is_blank(cell: str) -> bool:
    """Whether a cell says that there is nothing to say."""
    return normalise(cell).lower() in _NOTHING or not re.search(r"\w", cell)


def without_mark(cell: str, *, of_number: bool = False) -> tuple[str, str]:
    """The cell without its footnote mark, and the mark (empty when there is none).

    A mark is raised or a star; behind a number ``1)`` and ``(note 1)`` are marks too.

    >>> without_mark("4.2 V 1)", of_number=True)
    ('4.2 V', '1')
    """
    match = _RAISED.search(cell) or (_ON_THE_LINE.search(cell) if of_number else None)
    if match is None or match.start() == 0:
        return cell, ""
    mark = next(group for group in match.groups() if group)
    return cell[: match.start()].rstrip(), plain_mark(mark)


def plain_mark(mark: str) -> str:
    """A footnote mark with its digits on the line."""
    return mark.translate(_SUPERSCRIPTS).strip()


def pin_numbers(cell: str) -> tuple[int, ...] | None:
    """The pins a cell names: ``13``, ``Pin 13``, ``7, 39``, ``10 to 12``; None when it is no pin.

    >>> pin_numbers("7, 39 and 41-43")
    (7, 39, 41, 42, 43)
    """
    words = re.sub(r"^(?:pins?|terminals?|no\.?)\s*", "", normalise(cell), flags=re.IGNORECASE)
    numbers: list[int] = []
    for part in re.split(r"\s*(?:,|;|&|/|\band\b)\s*", words.rstrip(".")):
        ends = re.fullmatch(r"([1-9][0-9]{0,2})(?:\s*(?:-|to|\.{2,3})\s*([1-9][0-9]{0,2}))?", part)
        if ends is None:
            return None
        numbers += range(int(ends[1]), int(ends[2] or ends[1]) + 1)
    return tuple(numbers) if numbers else None


def with_points(text: str, comma: bool) -> str:
    """Decimal points for decimal commas, where the table is written with commas."""
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text) if comma else text


def read_quantity(cell: str, unit: str, comma: bool, of: str) -> Quantity:
    """The cell as a quantity of sort ``of`` ("V", "Ω", "F"); bare numbers are in ``unit``.

    Knows ``4.2``, ``4.0-4.6``, ``4,2 ± 5 %``, ``< 0.4``, ``4.0/4.2/4.6``; raises QuantityError.
    """
    words = with_points(normalise(cell), comma)
    try:
        return parse_quantity(words, of)
    except QuantityError:
        if len(words) > _LONGEST:
            raise
        return parse_quantity(_spelt_out(words, unit), of)


def _spelt_out(words: str, unit: str) -> str:
    """The cell in the grammar of quantities: units behind bare numbers, limits in words."""
    words = words.replace("~", "").replace("≈", "") if words[:1] in "~≈" else words
    share = re.fullmatch(rf"({NUMBER})\s*±\s*({NUMBER}\s*%)", words)
    if share:
        return f"{share[1]} {unit} ± {share[2]}"
    three = re.split(r"\s*/\s*", words)
    if len(three) == 3 and not all(map(is_blank, three)):
        return spelt_limits(three[0], three[1], three[2], unit)
    span = rf"({NUMBER})(\s*[a-zA-ZµΩ]+)?\s*(?:-|to|\.{{2,3}}|~)\s*({NUMBER})(\s*[a-zA-ZµΩ]+)?"
    ends = re.fullmatch(span, words)
    if ends:
        shared = (ends[4] or f" {unit}").strip()
        return f"{ends[1]} {(ends[2] or shared).strip()} .. {ends[3]} {shared}"
    for word, signs in _LIMIT_WORDS.items():
        match = re.fullmatch(rf"{signs}\s*(.+)|(.+?)\s*{word}\.?", words, re.IGNORECASE)
        if match:
            return f"{word} {_with_unit(match[1] or match[2], unit)}"
    return _with_unit(words, unit)


def spelt_limits(low: str, typ: str, high: str, unit: str) -> str:
    """Minimum, typical and maximum, any of them blank, in the grammar of quantities."""
    named = (("min", low), ("typ", typ), ("max", high))
    given = [(word, _with_unit(text, unit)) for word, text in named if not is_blank(text)]
    if [word for word, _ in given] == ["typ"]:
        return given[0][1]
    if [word for word, _ in given] == ["min", "max"]:
        return f"{given[0][1]} .. {given[1][1]}"
    return " ".join(f"{word} {text}" for word, text in given)


def _with_unit(text: str, unit: str) -> str:
    return _BARE.sub(rf"\1 {unit}", text.strip())
