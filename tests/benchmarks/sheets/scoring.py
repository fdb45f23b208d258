"""A draft held against the truth of its sheet: pins and values right, false, listed or lost."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import yaml
from pinfolio.schema.quantities import parse_quantity

from sheets.sheet import Level, Pin, Truth, Value

# The key of a truth whose sheet names no state: the draft may call it as it likes.
_ANY_STATE = ""
_LIMITS = ("low", "typ", "high")
_FOOTNOTE_MARK = re.compile(r"\s*(?:\d\)|\*+)$")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_PIN_START = re.compile(r"^  - number: (\d+)\b", re.MULTILINE)


@dataclass
class Score:
    """Counts of outcomes, and a line about each value that is not right."""

    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def add(self, sort: str, outcome: str, about: str = "") -> None:
        """Count an outcome of a sort: pin, value or other text."""
        self.counts[f"{sort} {outcome}"] += 1
        if outcome != "right":
            self.faults.append(f"{outcome} {sort}: {about}")


@dataclass(frozen=True)
class Draft:
    """A draft as its file states it, and all that is listed as not read or not used."""

    fields: dict[str, Any]
    listed: str
    blocks: dict[int, str]  # text of each pin with its comments

    @classmethod
    def read(cls, text: str, messages: str) -> Draft:
        """Return the draft printed as ``text`` with the program's ``messages``."""
        pins_text = text.partition("\npins:\n")[2]
        starts = [*_PIN_START.finditer(pins_text)]
        ends = [match.start() for match in starts[1:]] + [len(pins_text)]
        blocks = {
            int(match[1]): pins_text[match.start() : end]
            for match, end in zip(starts, ends, strict=True)
        }
        comments = "\n".join(line for line in text.splitlines() if line.startswith("#"))
        fields = yaml.safe_load(text)
        return cls(fields, f"{comments}\n{messages}", blocks)


def score_draft(draft: Draft, truth: Truth) -> Score:
    """Return the score of a draft against one truth."""
    score = Score()
    pins = {pin["number"]: pin for pin in draft.fields.get("pins") or []}
    for number, true in truth.pins.items():
        drafted = pins.get(number) or {}
        _score_pin(drafted, true, score)
        _score_dc(drafted, true, truth, draft, score)
        for text, heading in true.stated:
            is_kept = _is_beside(text, draft.blocks.get(number, ""))
            kept = is_kept or _is_listed(draft, true, (text,), (heading,))
            score.add("text", "right" if kept else "lost", f"pin {number} {text!r}")
    for number in pins.keys() - truth.pins.keys():
        if pins[number].get("symbol") or pins[number].get("expectations"):
            score.add("value", "false", f"pin {number} {pins[number].get('symbol')!r}")
    _score_parameters(draft, truth, score)
    for text in truth.listed:
        everything = draft.listed + "".join(draft.blocks.values())
        score.add("text", "right" if text in everything else "lost", repr(text))
    return score


def _is_beside(text: str, block: str) -> bool:
    """Return whether a cell is kept in the text of its pin, whose numbers have points."""
    numbers = {_spell(number) for number in _NUMBER.findall(text)}
    lines = [line for line in block.splitlines() if "dc:" not in line and "number:" not in line]
    return any(
        text in line or (numbers and numbers <= {*map(_spell, _NUMBER.findall(line))})
        for line in lines
    )


def _score_pin(drafted: dict[str, Any], true: Pin, score: Score) -> None:
    symbol, function = str(drafted.get("symbol") or ""), str(drafted.get("function") or "")
    about = f"pin {true.number} {true.symbol!r} {true.function!r} as {symbol!r} {function!r}"
    if symbol and symbol != true.symbol:
        score.add("pin", "false", about)
        return
    clean_function = _FOOTNOTE_MARK.sub("", function)
    is_right = symbol == true.symbol and true.function in (None, function, clean_function)
    score.add("pin", "right" if is_right else "missing", about)


def _score_dc(drafted: dict[str, Any], true: Pin, truth: Truth, draft: Draft, score: Score) -> None:
    stated = {
        str(each.get("condition")): str(each["dc"])
        for each in drafted.get("expectations") or []
        if each.get("dc") is not None
    }
    for condition, value in true.dc.items():
        names = [condition, truth.conditions.get(condition, condition)]
        name = next(iter(stated), "") if condition == _ANY_STATE else _choose(stated, names)
        text = stated.pop(name, "")
        about = f"pin {true.number} {true.symbol} {' '.join(value.printed)!r} as {text!r}"
        if text and not equals(text, value.level, partly=True):
            score.add("value", "false", about)
        elif text and equals(text, value.level):
            score.add("value", "right", about)
        else:
            missing = _list_missing_headings(text, value)
            is_listed = _is_listed(draft, true, value.printed, missing)
            score.add("value", "listed" if is_listed else "lost", about)
    for condition, text in stated.items():
        score.add("value", "false", f"pin {true.number} {condition!r} {text!r}: no such DC")


def _choose(stated: dict[str, str], names: list[str]) -> str:
    return next((name for name in stated if name in names), "")


def _score_parameters(draft: Draft, truth: Truth, score: Score) -> None:
    drafted = {str(each["name"]): each for each in draft.fields.get("parameters") or []}
    for true in truth.parameters:
        each = drafted.pop(true.name, {})
        text = str(each.get("value") or "")
        about = f"{true.name!r} {' '.join(true.value.printed)} as {text!r} {each.get('pins')}"
        has_pin = each.get("pins") in (None, [true.pin])
        if text and not (has_pin and equals(text, true.value.level, partly=True)):
            score.add("value", "false", about)
        elif text and equals(text, true.value.level):
            score.add("value", "right", about)
        else:
            missing = _list_missing_headings(text, true.value)
            is_listed = true.name in draft.listed or _are_columns_listed(draft, missing)
            score.add("value", "listed" if is_listed else "lost", about)
    known = [value for pin in truth.pins.values() for value in pin.dc.values()]
    for name, each in drafted.items():
        text = str(each.get("value") or "")
        is_kept = any(text and equals(text, value.level) for value in known) or any(
            name in (pin.symbol, pin.function) for pin in truth.pins.values()
        )
        if not is_kept:
            score.add("value", "false", f"parameter {name!r} {text!r}")


def equals(text: str, level: Level, partly: bool = False) -> bool:
    """Return whether a quantity as a draft writes it has the limits of the level.

    ``partly``: it may leave out some of them, but states no other.
    """
    try:
        quantity = parse_quantity(text, level.unit)
    except ValueError:
        return False
    pairs = zip(
        (quantity.low, quantity.typ, quantity.high), (level.low, level.typ, level.high), strict=True
    )
    return all(
        (read is None and partly) or read == true
        if read is None or true is None
        else math.isclose(float(read), true, rel_tol=1e-6, abs_tol=1e-9)
        for read, true in pairs
    )


def _is_listed(draft: Draft, pin: Pin, printed: tuple[str, ...], headings: tuple[str, ...]) -> bool:
    """Return whether the cells are named in a line about the pin, or their columns in one."""
    tokens = [_spell(cell) for cell in printed]
    for line in (draft.listed + "\n" + draft.blocks.get(pin.number, "")).splitlines():
        parts = [_spell(part) for part in re.split(r"\s*\|\s*|'|: ", line)]
        is_about = pin.symbol in parts or str(pin.number) in parts or f"pin {pin.number}" in line
        if is_about and all(token in parts or token in line for token in tokens):
            return True
    return _are_columns_listed(draft, headings)


def _are_columns_listed(draft: Draft, headings: tuple[str, ...]) -> bool:
    """Return whether each heading is in a line about a column, its end perhaps cut off."""
    lines = [line for line in draft.listed.splitlines() if "column" in line]
    quoted = [text for line in lines for text in re.findall(r"'([^']+)'", line)]
    return bool(headings) and all(
        any(heading.startswith(text) for text in quoted) or any(heading in line for line in lines)
        for heading in headings
    )


def _list_missing_headings(text: str, value: Value) -> tuple[str, ...]:
    """Return the headings of the limits that a draft leaves out; all when it has none."""
    columns = value.headings[-3:]
    if not text or len(columns) < len(_LIMITS):
        return value.headings
    quantity = parse_quantity(text, value.level.unit)
    return tuple(
        heading
        for heading, limit in zip(columns, _LIMITS, strict=True)
        if getattr(quantity, limit) is None and getattr(value.level, limit) is not None
    )


def _spell(cell: str) -> str:
    """Return a number without trailing zeros and with a point, so that "9,0" equals "9"."""
    try:
        return f"{float(cell.strip().replace(',', '.')):g}"
    except ValueError:
        return cell.strip()


def sum_values(truth: Truth) -> int:
    """Return how many values a draft of this truth can have."""
    values: list[Value] = [value for pin in truth.pins.values() for value in pin.dc.values()]
    return len(values) + len(truth.parameters)
