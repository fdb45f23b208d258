"""Mend headings of scanned tables that were recognised with a wrong letter.

A heading is no value: it names a column, whose values have to make sense under it. Words are mended
only on a line that has two headings recognised rightly.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from rapidfuzz import fuzz, process

from .scanned_page import ScannedCell, ScannedPage, ScannedTable, ScannedWord

_WORDS: Final = (
    "pin", "symbol", "name", "function", "description", "parameter", "characteristic", "item",
    "conditions", "unit", "units", "min", "typ", "max", "nom", "dc", "voltage", "value", "type",
    "rating", "signal", "no", "terminal", "resistance", "frequency",
)  # fmt: skip
_UNITS: Final = {"(y)": "(V)", "(v)": "(V)", "(u)": "(V)", "[y]": "[V]", "[v]": "[V]"}
_CLOSE: Final = 66  # of 100, rapidfuzz ratio: one letter of three
_FEWEST_KNOWN: Final = 2
_SAME_LINE: Final = 0.6  # of the height of the text
_LONGEST: Final = 30
_IN_BRACKETS: Final = re.compile(r"[(\[].*")
_WORD: Final = re.compile(r"[^\W\d_]+")


_Row = tuple[ScannedCell, ...]


def mend_headings(page: ScannedPage) -> ScannedPage:
    """Return the page with the words of its headings mended, in tables and outside."""
    tables = tuple(
        ScannedTable(table.box, _name_number_column(list(map(_mend_row, table.rows))))
        for table in page.tables
    )
    mended: list[ScannedWord] = []
    for line in _group_lines(page.words):
        mended += _mend_words(line)
    return replace(page, words=tuple(mended), tables=tables)


def _mend_row(row: tuple[ScannedCell, ...]) -> tuple[ScannedCell, ...]:
    words = _mend_words([word for cell in row for word in cell.words])
    mended = iter(words)
    return tuple(replace(cell, words=tuple(next(mended) for _ in cell.words)) for cell in row)


def _name_number_column(rows: list[_Row]) -> tuple[_Row, ...]:
    """Return the rows; a first column that counts pins and lost its heading has one again."""
    head, below = rows[0], [row[0].text for row in rows[1:]]
    counts = sum(text == str(number) for number, text in enumerate(below, start=1))
    is_headed = bool(head[0].words) or sum(bool(cell.words) for cell in head) < _FEWEST_KNOWN
    if is_headed or 2 * counts < len(below) or not below:
        return tuple(rows)
    box = next(cell.box for cell in head if cell.box is not None)
    word = ScannedWord("Pin", 1.0, box)
    return ((replace(head[0], words=(word,)), *head[1:]), *rows[1:])


def _mend_words(line: Sequence[ScannedWord]) -> list[ScannedWord]:
    """Return the words of a line, mended if it is one of headings."""
    known = sum(_is_heading(word.text) for word in line)
    if known < _FEWEST_KNOWN or any(re.search("[0-9]", word.text) for word in line):
        return list(line)
    return [word if _is_heading(word.text) else _mend(word) for word in line]


def _is_heading(text: str) -> bool:
    words = _WORD.findall(_IN_BRACKETS.sub("", text.lower()))
    return bool(words) and len(text) <= _LONGEST and all(word in _WORDS for word in words)


def _mend(word: ScannedWord) -> ScannedWord:
    """Return a word with each part that is nearly a heading in its right spelling."""
    if len(word.text) > _LONGEST:
        return word
    text = _UNITS.get(word.text.lower()[-3:], word.text[-3:])
    text = word.text[:-3] + text if len(word.text) > len(text) else word.text
    text = _WORD.sub(lambda match: _find_near(match[0]), text)
    return replace(word, text=text, other_reading=text)


def _find_near(part: str) -> str:
    if len(part) <= 1 or part.lower() in _WORDS:
        return part
    near = process.extract(
        part.lower(), _WORDS, scorer=fuzz.ratio, score_cutoff=_CLOSE, limit=_FEWEST_KNOWN
    )
    # A word as near to "min" as to "max" is left alone.
    is_clear = len(near) == 1 or (len(near) > 1 and near[0][1] > near[1][1])
    return near[0][0] if is_clear else part


def _group_lines(words: Iterable[ScannedWord]) -> list[list[ScannedWord]]:
    """Return the words as lines from the top."""
    lines: list[list[ScannedWord]] = []
    for word in sorted(words, key=lambda word: word.box.top + word.box.bottom):
        middle, height = (word.box.top + word.box.bottom) / 2, word.box.bottom - word.box.top
        last = lines[-1][0].box if lines else None
        if last is not None and middle - (last.top + last.bottom) / 2 < _SAME_LINE * height:
            lines[-1].append(word)
        else:
            lines.append([word])
    return lines
