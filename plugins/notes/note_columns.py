"""The meaning of a table's columns: the field of a note that each heading names.

Headings are understood by the trade's words, the unit in them included: ``DC (mV)`` holds DC
voltages in millivolts.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ...schema.errors import Unusable
from ...schema.text import find_nearest_word

LEFT_OUT: Final = ""
LONGEST_VALUE: Final = 80
SKIP: Final = "skip"
"""How a user says that a column is left out."""

# Common practice: headings of repair logs. The first word of each line is the field's own name.
_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "chip": ("ic", "ic type", "chip type", "device", "part number", "part no", "marking"),
    "pin": ("pin no", "pin nr", "pin number", "leg", "terminal"),
    "symbol": ("pin symbol", "pin name", "signal name"),
    "at": ("place", "where", "point", "test point", "tp", "location", "node", "block"),
    "kind": ("kind of note", "note kind", "category"),
    "condition": ("state", "state of the set", "mode", "set state"),
    "dc": ("dc voltage", "voltage", "volts", "v dc", "vdc", "u"),
    "vpp": ("vp p", "p p", "pp", "peak to peak", "signal peak to peak", "amplitude"),
    "freq": ("frequency", "f"),
    "ohms": ("resistance", "resistance to ground", "ohm", "r"),
    "seen": ("observation", "appearance"),
    "chassis": ("chassis type", "set model", "model"),
    "set-name": ("set", "job", "job no", "job number", "job nr", "ticket", "set name", "set_name"),
    "sets": ("number of sets", "count", "how many sets", "qty"),
    "confidence": ("how often",),
    "symptom": ("fault", "complaint", "problem", "fault symptom"),
    "part": ("component", "failed part", "faulty part", "defective part", "reference", "ref"),
    "failure": ("cause", "defect", "how it failed", "found"),
    "proof": ("proved", "how proved", "proved by", "evidence"),
    "cure": ("remedy", "repair", "fix", "solution", "action"),
    "after": ("readings after", "read after", "after repair"),
    "text": ("note", "notes", "remark", "remarks", "comment", "comments", "free text"),
    "reason": ("right because",),
    "meter": (),
    "probe": (),
    "scope": ("oscilloscope",),
    "author": (),
    "date": ("day", "repaired on", "date of repair"),
}
REJECT_HEADINGS: Final = ("line", "not taken because")
"""Headings before those of a table of rejects, which are left out when it is read again."""
FIELDS: Final = tuple(_WORDS)
"""The fields that a column can hold, as users write them."""
_FIELD_OF: Final = {
    word: field for field, words in _WORDS.items() for word in (field.replace("-", " "), *words)
}
_UNIT_FIELDS: Final = {"Vpp": "vpp", "Vp-p": "vpp", "V": "dc", "Hz": "freq"}
"""The field of a heading that is a unit and no more; any other unit is that of a resistance."""
_WITH_UNIT: Final = ("dc", "vpp", "freq", "ohms")
_UNIT: Final = r"[nuµmkMG]?(Vpp|Vp-p|V|Hz|Ω|ohms?|R)"
_SMALL_UNITS: Final = {
    unit.casefold(): unit for unit in ("V", "mV", "Vpp", "mVpp", "Hz", "kHz", "MHz", "kΩ")
} | {"kohm": "kΩ"}
"""Units as headings in small letters have them: ``dc_mv``."""
_BRACKETED: Final = re.compile(r"(.*?)[\s_]*[\[(]\s*([^\])]*)\s*[\])]\s*")
_TRAILING_UNIT: Final = re.compile(rf"(.+?)[\s_]+({_UNIT})")


class UnclearColumns(Unusable):
    """Columns are not understood, or two have one meaning; the message names the option."""


@dataclass(frozen=True)
class Column:
    """One column: its heading, the field it holds, and the unit of its bare figures."""

    heading: str
    field: str
    """One of ``FIELDS``; ``LEFT_OUT`` for a column that is not used."""
    unit: str = ""


def understand_heading(heading: str) -> Column | None:
    """Return the column of a heading; None for one that is not understood."""
    only_unit = re.fullmatch(_UNIT, heading.strip())
    if only_unit is not None:
        return Column(heading, _UNIT_FIELDS.get(only_unit[1], "ohms"), heading.strip())
    if heading in REJECT_HEADINGS:
        return Column(heading, LEFT_OUT)
    name, unit = _split_unit(heading)
    for text in (heading, name):
        field = _FIELD_OF.get(_simplify(text))
        if field is not None:
            return Column(heading, field, unit if field in _WITH_UNIT else "")
    return None


def choose_columns(
    headings: Sequence[str], chosen: Mapping[int, str]
) -> tuple[tuple[Column, ...], tuple[str, ...]]:
    """Return the columns of a table, and the headings that are not understood.

    ``chosen`` are the fields that the user gave to columns, by index from 0.

    Raises UnclearColumns when two columns hold one field.
    """
    columns, unknown = [], []
    for index, heading in enumerate(headings):
        understood = understand_heading(heading)
        if index in chosen:
            unit = _split_unit(heading)[1] if chosen[index] in _WITH_UNIT else ""
            columns.append(Column(heading, chosen[index], unit))
        elif understood is not None:
            columns.append(understood)
        else:
            columns.append(Column(heading, LEFT_OUT))
            unknown.append(heading)
    _require_single(columns)
    return tuple(columns), tuple(unknown)


def parse_choices(options: Iterable[str], headings: Sequence[str]) -> dict[int, str]:
    """Return the field that options such as ``dc=Spannung`` or ``dc=3`` give to each column.

    Columns are named by their heading, or by their number from 1; ``skip=3`` leaves one out.

    Raises UnclearColumns.
    """
    chosen: dict[int, str] = {}
    for option in options:
        field, equals, column = option.partition("=")
        if not equals or not column.strip():
            raise UnclearColumns(
                f"--map {option!r} names no column; write a field and a heading or number: dc=3"
            )
        chosen[_find_column(column.strip(), headings)] = parse_field(field.strip())
    return chosen


def parse_values(options: Iterable[str]) -> dict[str, str]:
    """Return the value of each field in options such as ``chip=TQZ5752``. Raises UnclearColumns."""
    values: dict[str, str] = {}
    for option in options:
        field, equals, text = option.partition("=")
        if not equals or field.strip() == SKIP or len(text) > LONGEST_VALUE:
            raise UnclearColumns(
                f"--value {option!r} has no value of up to {LONGEST_VALUE} signs: chip=TQZ5752"
            )
        values[parse_field(field.strip())] = text.strip()
    return values


def parse_field(text: str) -> str:
    """Return the field of a word, ``LEFT_OUT`` for ``skip``. Raises UnclearColumns."""
    if text == SKIP:
        return LEFT_OUT
    field = _FIELD_OF.get(_simplify(text))
    if field is None:
        nearest = find_nearest_word(text, FIELDS)
        hint = f"did you mean {nearest!r}?" if nearest else f"write one of {', '.join(FIELDS)}"
        raise UnclearColumns(f"{text!r} is no field of a note; {hint}")
    return field


def _find_column(text: str, headings: Sequence[str]) -> int:
    matches = [i for i, heading in enumerate(headings) if heading.casefold() == text.casefold()]
    if len(matches) == 1:
        return matches[0]
    if text.isascii() and text.isdecimal() and 1 <= int(text[:6]) <= len(headings):
        return int(text) - 1
    listed = ", ".join(f"{number} {name!r}" for number, name in enumerate(headings, start=1))
    raise UnclearColumns(f"{text!r} names no single column; there are {listed}")


def _require_single(columns: Iterable[Column]) -> None:
    """Raise UnclearColumns when several columns hold one field."""
    columns = list(columns)
    counts = Counter(column.field for column in columns if column.field != LEFT_OUT)
    for field, count in counts.items():
        if count > 1:
            numbers = [i for i, column in enumerate(columns, start=1) if column.field == field]
            names = " and ".join(f"{i} {columns[i - 1].heading!r}" for i in numbers)
            skip = " ".join(f"--map skip={i}" for i in numbers[1:])
            raise UnclearColumns(
                f"columns {names} both hold {field}; leave one out, such as {skip}"
            )


def _split_unit(heading: str) -> tuple[str, str]:
    """Return a heading without its unit, and the unit: ``DC (mV)`` is ``DC`` and ``mV``."""
    bracketed = _BRACKETED.fullmatch(heading)
    if bracketed is not None:
        unit = bracketed[2] if re.fullmatch(_UNIT, bracketed[2]) else ""
        return bracketed[1], unit
    words = re.split(r"[\s_]+", heading)
    if len(words) > 1 and words[-1] in _SMALL_UNITS:
        return " ".join(words[:-1]), _SMALL_UNITS[words[-1]]
    trailing = _TRAILING_UNIT.fullmatch(heading)
    return (trailing[1], trailing[2]) if trailing is not None else (heading, "")


def _simplify(text: str) -> str:
    """Return a heading in small letters, its words parted by single blanks."""
    return " ".join(re.sub(r"[^\w]+|_", " ", text.casefold()).split())
