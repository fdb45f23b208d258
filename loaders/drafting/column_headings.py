"""Which column of a table holds what: told by its heading, by what is in it, or by the user.

The headings are those that data sheets and bench notes use, in English and, where a spreadsheet
of the trade is likely to have them, German and French; common practice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rapidfuzz import process

from ...schema.errors import Unusable
from .cell_values import is_blank, pin_numbers, plain, without_mark
from .text_table import Grid

KEYS: Final = (
    "number", "symbol", "function", "role", "unit", "parameter", "absolute_maximum",
    "absolute_minimum", "dc", "dc_min", "dc_typ", "dc_max", "resistance", "capacitance", "skip",
)  # fmt: skip
_SORTS: Final = {"resistance": "Ω", "capacitance": "F"}
_MOST_HEADING_ROWS: Final = 3
_MOST_ROWS_ABOVE: Final = 200
_LONGEST_HEADING: Final = 200

# A heading holds a key when one of its words or phrases is there; the first key that fits counts.
_WORDS: Final = {
    "absolute_maximum": r"abs(olute)?\.? max\w*|limiting values?|maximum ratings?|max\.? ratings?",
    "role": r"i/?o|in/out|role|type|pin type|direction",
    "symbol": r"symbol|mnemonic|(pin |signal |terminal )?name|designation|label|abbreviation"
    r"|bezeichnung|nom|symbole",
    "number": r"(pin|terminal|lead)?\s*(no|nr|num|number|#)\.?|pins?|terminals?|broche"
    r"|anschlu(ss|ß)",
    "function": r"(pin )?functions?|(pin )?descriptions?|purpose|meaning|funktion|beschreibung"
    r"|fonction",
    "resistance": r"(in|out)put resistance|(in|out)put impedance|resistance|impedance",
    "capacitance": r"(input )?capacitance",
    "unit": r"units?|einheit|unité",
    "parameter": r"parameters?|characteristics?|ratings?|items?|quantity",
    "dc": r"(dc|terminal|pin|operating)?\s*(voltages?|potential|level|volts)|v?dc|spannung"
    r"|tension",
}  # fmt: skip
_LIMITS: Final = {
    "min": r"\b(min(imum)?)\b\.?",
    "typ": r"\b(typ(ical)?|nom(inal)?)\b\.?",
    "max": r"\b(max(imum)?)\b\.?",
}
# States of the set that a heading names, and what they are called in a chip file.
_CONDITIONS: Final = {
    "no signal": r"(no|without|w/o) (input |aerial )?signal|no[- ]signal|quiescent|ohne signal"
    r"|sans signal",
    "colour bars": r"colou?r bars?",
    "with signal": r"(with|w/) (an? )?(input )?signal|signal applied|mit signal|avec signal",
    "standby": r"stand-?by",
    "off": r"(set |power )?off",
    "recording": r"rec(ording)?|record mode",
    "playback": r"play(back)?|playback mode|pb",
}
_UNIT: Final = re.compile(r"[\[(]\s*([µumkM]?)(V|Ω|[Oo]hms?|F|A|Hz)(?:\s*dc)?\s*[\])]", re.I)
_LAST_UNIT: Final = re.compile(r"(?:/|\bin\b|,)?\s+([mµukM]?)(V|Ω|ohms?|pF|nF)$")


@dataclass(frozen=True)
class Column:
    """What one column holds; ``index`` counts from 0."""

    index: int
    key: str
    why: str
    heading: str = ""
    unit: str = ""
    conditions: tuple[str, ...] = ()
    """States of the set its values hold in; two when a cell holds two values."""

    def __str__(self) -> str:
        states = f" @ {', '.join(self.conditions)}" if self.conditions else ""
        unit = f" in {self.unit}" if self.unit else ""
        return f"column {self.index + 1} {self.heading!r}: {self.key}{states}{unit} ({self.why})"


@dataclass(frozen=True)
class Headings:
    """The columns of a grid, the row its data begin at, and headings that say nothing known."""

    columns: tuple[Column, ...]
    first_row: int
    unknown: tuple[Column, ...] = ()


Overrides = Mapping[str, int]
"""``{"dc_typ": 5, "dc@colour bars": 6}``: what the user says of columns, counted from 1."""


class UnknownColumnError(Unusable):
    """An override that names a key there is not."""


def check_overrides(overrides: Overrides) -> None:
    """Raise UnknownColumnError for a key that is not one of ``KEYS``, or a column below 1."""
    for name, number in overrides.items():
        key = name.partition("@")[0]
        if key not in KEYS:
            near = process.extractOne(key, KEYS, score_cutoff=60)
            hint = f"; write '{near[0]}'" if near else ""
            told = f"found column key {key!r}, expected one of {', '.join(KEYS)}{hint}"
            raise UnknownColumnError(told)
        if number < 1:
            raise UnknownColumnError(f"found column {number} for {name}, expected 1 or more")


def find_headings(
    grid: Grid, overrides: Overrides | None = None, *, at_top: bool = False
) -> Headings | None:
    """The columns of ``grid``; None when neither heading, content nor user tells of pins.

    ``at_top`` looks for headings in the first row only.
    """
    best = named_headings(grid, at_top=at_top) or _by_content(grid)
    best = _overridden(best, grid, overrides or {})
    return best if best and _tells_of_pins(best.columns) else None


def named_headings(grid: Grid, *, at_top: bool = False) -> Headings | None:
    """The heading rows that name the most columns, whatever the table is about."""
    best, most = None, (0, 0)
    for first in range(min(len(grid.rows), 1 if at_top else _MOST_ROWS_ABOVE)):
        for height in range(1, _MOST_HEADING_ROWS + 1):
            found = _headings_at(grid, first, height)
            told = found.columns if found else ()
            score = (len(told), len({(column.key, column.conditions) for column in told}))
            if score > most:
                best, most = found, score
    return best


def heads_another(grid: Grid, row: int) -> bool:
    """Whether another table of pins begins at this row."""
    found = _headings_at(grid, row, 1)
    return found is not None and any(column.key == "number" for column in found.columns)


def heads_again(row: Sequence[str], headings: Headings) -> bool:
    """Whether a row repeats the headings, as tables over several pages do."""
    told = [column for column in headings.columns if column.heading]
    last = [column.heading.split(" | ") for column in told]
    same = [
        plain(row[column.index]) in parts
        for column, parts in zip(told, last, strict=True)
        if column.index < len(row)
    ]
    return len(same) > 1 and sum(same) * 2 > len(same)


def column_named(heading: str) -> str | None:
    """The key that a heading alone stands for."""
    column = _told(0, [plain(heading)])
    return column.key if column else None


def names_column(heading: str) -> bool:
    """Whether a heading says by itself what its column holds; min, V and states need one above."""
    return _told(0, [plain(heading)], alone=True) is not None


def _tells_of_pins(columns: Sequence[Column]) -> bool:
    keys = {column.key for column in columns}
    values = {"symbol", "function", "dc", "dc_min", "dc_typ", "dc_max", "absolute_maximum"}
    return "number" in keys and bool(keys & values)


def _headings_at(grid: Grid, first: int, height: int) -> Headings | None:
    """The headings when these rows are the heading rows, and name at least two columns."""
    levels = [grid.rows[row] for row in range(first, min(first + height, len(grid.rows)))]
    if len(levels) < height or any(_looks_like_data(level) for level in levels):
        return None
    columns: list[Column] = []
    unknown: list[Column] = []
    for index, parts in enumerate(_combined(levels, grid)):
        column = _told(index, parts)
        if column is not None:
            columns.append(column)
        elif parts:
            why = "heading not known"
            unknown.append(Column(index, "skip", why, " | ".join(parts)))
    if len({c.key for c in columns}) < 2:
        return None
    columns = _by_what_is_in_them(columns, grid, first + height)
    return Headings(tuple(columns), first + height, tuple(unknown))


def _looks_like_data(row: Sequence[str]) -> bool:
    if any(len(cell) > _LONGEST_HEADING for cell in row):
        return True
    return any(pin_numbers(cell) for cell in row if not is_blank(cell)) or all(map(is_blank, row))


def _combined(levels: list[tuple[str, ...]], grid: Grid) -> list[list[str]]:
    """The heading of each column from the rows it goes over, a spanning one given to each."""
    parts: list[list[str]] = [[] for _ in range(grid.width)]
    for depth, level in enumerate(levels):
        carried = ""
        for index in range(grid.width):
            text = without_mark(plain(level[index]))[0] if index < len(level) else ""
            below = [row[index] for row in levels[depth + 1 :] if index < len(row) and row[index]]
            if text:
                carried = text
            elif not below or grid.spread or names_column(below[-1]):
                carried = ""
            spanning = text or carried
            if spanning and spanning not in parts[index]:
                parts[index].append(spanning)
    return parts


def _told(index: int, parts: list[str], *, alone: bool = False) -> Column | None:
    """What a heading says its column holds; ``alone`` wants a key that needs no heading above."""
    heading = " | ".join(parts)
    unit, words = _unit_of(heading)
    conditions = _own_condition(parts) or _conditions_of(words)
    for condition in conditions:
        if condition not in _CONDITIONS:
            words = words.replace(condition, " ")
            continue
        words = re.sub(rf"\b({_CONDITIONS[condition]})\b", " ", words, flags=re.I)
    limits = [name for name, sign in _LIMITS.items() if re.search(sign, words, re.I)]
    key = _key_of(words)
    if alone:
        key = None if key in (None, "dc") or limits or conditions else key
        return Column(index, key, "") if key else None
    if key is None and (limits or conditions or unit == "V"):
        key = "dc"
    if key is None:
        return None
    if key == "absolute_maximum" and limits == ["min"]:
        key = "absolute_minimum"
    if key in ("dc", "parameter") and len(limits) == 1:
        key = f"dc_{limits[0]}"
    conditions = conditions if key.startswith("dc") else ()
    return Column(index, key, "by its heading", heading, unit, conditions)


def _unit_of(heading: str) -> tuple[str, str]:
    """The unit in a heading, and the heading without it."""
    for pattern in (_UNIT, _LAST_UNIT):
        match = pattern.search(heading)
        if match:
            unit = re.sub("[Oo]hms?", "Ω", match[1] + match[2])
            return unit, heading.replace(match[0], " ").strip()
    return ("V", "") if heading.strip() == "V" else ("", heading)


def _conditions_of(words: str) -> tuple[str, ...]:
    """The states that the words name, in their order."""
    found = {
        match.start(): name
        for name, sign in _CONDITIONS.items()
        if (match := re.search(rf"(?<![\w/]){'(?:' + sign + ')'}(?![\w/])", words, re.I))
    }
    return tuple(found[at] for at in sorted(found))


def _own_condition(parts: list[str]) -> tuple[str, ...]:
    """A state of the set in the sheet's own words: behind ``DC,``, or below a heading ``DC``."""
    for part in parts:
        match = re.match(r"(?:dc|dc voltage|voltage)\s*[,:@]\s*([^(\[]+)", part, re.I)
        rest = match[1] if match else ""
        if not match and part != parts[0] and _key_of(_unit_of(parts[0])[1]) == "dc":
            rest = _unit_of(part)[1]
        for sign in _LIMITS.values():
            rest = re.sub(rf"\W*{sign}\W*", " ", rest, flags=re.I)
        if re.search(r"\w{2}", rest):
            return _known_conditions(rest.strip())
    return ()


def _known_conditions(words: str) -> tuple[str, ...]:
    """The states known by these words, when the words say nothing else; else the words."""
    names = _conditions_of(words)
    rest = words
    for name in names:
        rest = re.sub(_CONDITIONS[name], " ", rest, flags=re.I)
    return names if names and not re.search(r"\w", rest) else (words,)


def _key_of(words: str) -> str | None:
    """The key whose phrase the heading is, else begins or ends with."""
    small = " ".join(re.sub(r"[|:()\[\]]", " ", words).lower().split())
    for key, phrases in _WORDS.items():
        if re.fullmatch(phrases, small):
            return key
    for key, phrases in _WORDS.items():
        if key not in ("role", "number") and re.search(rf"(?<!\w)(?:{phrases})(?!\w)", small):
            return key
    if re.match(r"(?:pin|terminal)\b", small) and not re.search("volt|level", small):
        return "number"
    return None


def _by_what_is_in_them(columns: list[Column], grid: Grid, first_row: int) -> list[Column]:
    """A second column headed like the first is told apart by what is in it."""
    numbers = [column for column in columns if column.key == "number"]
    if len(numbers) < 2:
        return columns
    hold = {c.index: _share_of_pins(grid, c.index, first_row) for c in numbers}
    if max(hold.values()) < 0.5:
        return columns
    has_symbol = any(column.key == "symbol" for column in columns)
    changed: list[Column] = []
    for column in columns:
        if column.key == "number" and hold[column.index] < 0.5:
            key = "skip" if has_symbol else "symbol"
            column = replace(column, key=key, why="headed like a number, but holds none")
        changed.append(column)
    return changed


def _share_of_pins(grid: Grid, index: int, first_row: int) -> float:
    cells = [row[index] for row in grid.rows[first_row:] if index < len(row)]
    cells = [cell for cell in cells if not is_blank(cell)]
    return sum(pin_numbers(cell) is not None for cell in cells) / max(len(cells), 1)


def _by_content(grid: Grid) -> Headings | None:
    """A table without headings: whole numbers that do not repeat, short words, long words."""
    why = "by what is in it"
    columns: list[Column] = []
    for index in range(grid.width):
        cells = [row[index] for row in grid.rows if index < len(row) and not is_blank(row[index])]
        if len(cells) < 2:
            continue
        keys = {column.key for column in columns}
        whole = all(re.fullmatch("[1-9][0-9]{0,2}", cell) for cell in cells)
        once = max(Counter(cells).values()) == 1
        length = sum(map(len, cells)) / len(cells)
        numeric = sum(bool(re.match(r"[-+<>~]?\s*[0-9.]+", cell)) for cell in cells) / len(cells)
        if whole and once and "number" not in keys:
            columns.append(Column(index, "number", why))
        elif numeric > 0.8 and "dc" not in keys:
            columns.append(Column(index, "dc", why))
        elif numeric < 0.5 and once and length <= 10 and "symbol" not in keys:
            columns.append(Column(index, "symbol", why))
        elif numeric < 0.5 and length > 6 and "function" not in keys:
            columns.append(Column(index, "function", why))
    return Headings(tuple(columns), 0) if columns else None


def _overridden(headings: Headings | None, grid: Grid, overrides: Overrides) -> Headings | None:
    """The columns with what the user says of them in place of the guess."""
    if not overrides:
        return headings
    headings = headings or Headings((), 0)
    told: list[Column] = []
    for name, number in overrides.items():
        key, _, condition = name.partition("@")
        states: tuple[str, ...] = (condition.strip(),) if condition.strip() else ()
        known = (*headings.columns, *headings.unknown)
        guess = next((c for c in known if c.index == number - 1), None)
        if key.startswith("dc") and not states and guess is not None:
            states = guess.conditions
        heading, unit = (guess.heading, guess.unit) if guess else ("", "")
        told.append(Column(number - 1, key, "as you said", heading, unit, states))
    taken = {column.index for column in told}
    same = {(column.key, column.conditions) for column in told if column.key != "skip"}
    kept = [
        column
        for column in headings.columns
        if column.index not in taken and (column.key, column.conditions) not in same
    ]
    unknown = tuple(column for column in headings.unknown if column.index not in taken)
    columns = tuple(sorted((*kept, *told), key=lambda column: column.index))
    return Headings(columns, headings.first_row, unknown)
