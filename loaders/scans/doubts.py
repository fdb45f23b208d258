"""Doubt the cells of scanned tables: proofs are the sense of columns, never confidence alone.

Pin numbers run in steps of one; minimum, typical and maximum rise; two readings of a place agree. A
doubted cell becomes a blank with its text beside it, for a person to compare with the page.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from typing import Final

from .scanned_page import Box, ScannedCell, ScannedWord

NUMBER: Final = "number"
SYMBOL: Final = "symbol"
VALUE: Final = "value"
LOWEST: Final = "minimum"
HIGHEST: Final = "maximum"
UNIT: Final = "unit"
WORDS: Final = "words"
UNKNOWN: Final = "unknown"
"""Meanings of columns, as far as proofs depend on them."""

Row = tuple[ScannedCell, ...]

_VALUES: Final = (LOWEST, VALUE, HIGHEST)
_LEAST_CONFIDENCE: Final = 0.85
_MOST_DOUBTED: Final = 0.05  # of the symbols and values of a table that is not poorly printed
_FEWEST_DOUBTED: Final = 3
_LEAST_IF_POOR: Final = 0.99
_LEAST_OF_SYMBOL: Final = 0.6
_LEAST_OF_WORDS: Final = 0.6
_LEAST_OF_LONE_DIGIT: Final = 0.95
_LARGEST_RATIO: Final = 20.0  # of a value without a decimal point to its neighbour
_NEXT_LINE: Final = 0.7  # of the height of the text
_FIGURE: Final = re.compile(r"[-+−]?[0-9]+(?:[.,][0-9]+)?")
_LOST_POINT: Final = re.compile(r"[-+−]?0[0-9]+")
_LIKE_DIGITS: Final = frozenset("IlO|")
_STRANGE_SIGN: Final = re.compile(r"[^\w +\-−–/.,()*#&'~±]|\([^)]*$|^[^(]*\)")
_PIN_NUMBER: Final = re.compile(r"[1-9][0-9]{0,2}")


def judge_rows(rows: Sequence[Row], meanings: Sequence[str]) -> list[Row]:
    """Return the rows below the headings of a table, with doubts and proofs in their cells.

    ``meanings`` has NUMBER, SYMBOL, VALUE, LOWEST, HIGHEST, UNIT or WORDS for each column, and
    UNKNOWN for one whose heading is not known.
    """
    judged = [
        tuple(_judge_cell(cell, meaning) for cell, meaning in zip(row, meanings, strict=False))
        for row in rows
    ]
    if _is_poor(judged, meanings):
        judged = [tuple(map(_judge_poor_cell, row, meanings[: len(row)])) for row in judged]
    judged = [_judge_limits(row, meanings) for row in judged]
    judged = [_judge_unknown(row, meanings) for row in judged]
    for index, meaning in enumerate(meanings):
        if meaning == NUMBER:
            judged = _judge_numbers(judged, index)
        elif meaning in _VALUES and UNIT not in meanings:
            judged = _judge_points(judged, index)
    return judged


def list_doubtful_symbols(symbols: Mapping[int, str]) -> list[int]:
    """Return the pins whose symbol ends in a letter where others of its series have a digit.

    ``IFINI`` beside ``IFIN2`` is probably ``IFIN1``.
    """
    stems = {symbol[:-1] for symbol in symbols.values() if symbol[-1:].isdigit()}
    return [
        pin
        for pin, symbol in symbols.items()
        if symbol[-1:] in _LIKE_DIGITS and symbol[:-1] in stems
    ]


def _judge_cell(cell: ScannedCell, meaning: str) -> ScannedCell:
    """Return the cell with the doubt that it raises by itself."""
    if not cell.words or cell.is_confirmed or meaning == NUMBER:
        return cell
    if meaning in (WORDS, UNKNOWN):
        is_faint = cell.confidence < _LEAST_OF_WORDS
        return replace(cell, doubt="hard to read") if is_faint else cell
    if meaning == UNIT:
        differs = next(filter(None, map(_compare_readings, cell.words)), "")
        is_one_letter = len(cell.text) == 1 and differs.casefold().count(cell.text.casefold()) > 1
        return replace(cell, doubt=differs) if differs and not is_one_letter else cell
    for word in cell.words:
        if differs := _compare_readings(word):
            return replace(cell, doubt=differs)
    least = _LEAST_OF_LONE_DIGIT if len(cell.text) == 1 else _LEAST_CONFIDENCE
    # The model wavers between VCC and Vcc; two readings that agree settle it.
    if meaning == SYMBOL and all(word.other_reading == word.text for word in cell.words):
        least = _LEAST_OF_SYMBOL
    if cell.confidence < least:
        return replace(cell, doubt="hard to read")
    if meaning == SYMBOL and _STRANGE_SIGN.search(cell.text):
        return replace(cell, doubt="signs that symbols do not have")
    if meaning in _VALUES and _LOST_POINT.fullmatch(cell.text):
        return replace(cell, doubt="a decimal point may be lost")
    return cell


def _is_poor(rows: Sequence[Row], meanings: Sequence[str]) -> bool:
    """Return True if so many symbols and values are doubted that the others are not safe either."""
    cells = [
        cell
        for row in rows
        for cell, meaning in zip(row, meanings, strict=False)
        if cell.words and meaning in (SYMBOL, *_VALUES)
    ]
    doubted = sum(bool(cell.doubt) for cell in cells)
    return doubted >= _FEWEST_DOUBTED and doubted > _MOST_DOUBTED * len(cells)


def _judge_poor_cell(cell: ScannedCell, meaning: str) -> ScannedCell:
    """Return a symbol or value of a poorly printed table, doubted unless it is very clear."""
    is_judged = meaning in (SYMBOL, *_VALUES) and not (cell.doubt or cell.is_confirmed)
    if is_judged and cell.words and cell.confidence < _LEAST_IF_POOR:
        return replace(cell, doubt="hard to read, in a table that is poorly printed")
    return cell


def _compare_readings(word: ScannedWord) -> str:
    """Return the doubt if a second reading is another text; spaces do not count."""
    other = word.other_reading
    if not other or _squeeze(other) == _squeeze(word.text) or word.is_confirmed:
        return ""
    return f"read as '{word.text}' and as '{other}'"


def _squeeze(text: str) -> str:
    return "".join(text.split())


def _judge_limits(row: Row, meanings: Sequence[str]) -> Row:
    """Return the row; minimum, typical and maximum that do not rise doubt each other."""
    for first in range(len(row)):
        group = _list_limits(row, meanings, first)
        figures = [(index, _read_figure(row[index].text)) for index in group]
        known = [(index, figure) for index, figure in figures if figure is not None]
        doubt = _find_limit_doubt(row, known)
        if doubt:
            row = _doubt(row, [index for index, _ in known], doubt)
    return row


def _judge_unknown(row: Row, meanings: Sequence[str]) -> Row:
    """Return the row; a figure under an unknown heading may be a limit that is missing beside."""
    unknown = [
        cell.text
        for cell, meaning in zip(row, meanings, strict=False)
        if meaning == UNKNOWN and _read_figure(cell.text) is not None
    ]
    if not unknown:
        return row
    values = [index for index in range(len(row)) if meanings[index] in _VALUES]
    return _doubt(row, values, f"'{unknown[0]}' beside it is under a heading that is not known")


def _list_limits(row: Row, meanings: Sequence[str], first: int) -> list[int]:
    """Return the columns from a minimum to its maximum, if a minimum is at ``first``."""
    if meanings[first] != LOWEST:
        return []
    group = [first]
    for index in range(first + 1, min(first + len(_VALUES), len(row))):
        if meanings[index] not in (VALUE, HIGHEST):
            break
        group.append(index)
    return group


def _find_limit_doubt(row: Row, known: Sequence[tuple[int, float]]) -> str:
    for (left, low), (right, high) in pairwise(known):
        if low > high:
            return f"'{row[left].text}' before '{row[right].text}' does not rise"
        lacks_point = "." not in row[right].text and "." in row[left].text
        if lacks_point and low > 0 and high > _LARGEST_RATIO * low:
            return "a decimal point may be lost"
    return ""


def _judge_points(rows: list[Row], index: int) -> list[Row]:
    """Return the rows; a value without a point that is far above all others is doubted."""
    figures = [_read_figure(row[index].text) if index < len(row) else None for row in rows]
    pointed = [
        abs(figure)
        for row, figure in zip(rows, figures, strict=True)
        if figure is not None and re.search("[.,]", row[index].text)
    ]
    if 2 * len(pointed) < len([figure for figure in figures if figure is not None]):
        return rows
    highest = max(pointed, default=0.0)
    return [
        _doubt(row, [index], "a decimal point may be lost")
        if figure is not None and _is_far_above(row, index, figure, highest)
        else row
        for row, figure in zip(rows, figures, strict=True)
    ]


def _is_far_above(row: Row, index: int, figure: float, highest: float) -> bool:
    """Return True for a value that only a lost point explains, unless its neighbours are alike."""
    if re.search("[.,]", row[index].text) or abs(figure) <= 10 * highest / 2 or figure == 0:
        return False
    others = [_read_figure(cell.text) for cell in row[max(0, index - 2) : index + 3]]
    alike = [other for other in others if other and 0.3 < abs(other / figure) < 3.0]
    return len(alike) < 2


def _judge_numbers(rows: list[Row], index: int) -> list[Row]:
    """Return the rows with pin numbers proved by their neighbours, or doubted.

    A number between two that differ by two is proved whatever was read there.
    """
    numbers = [_read_number(row, index) for row in rows]
    step = _find_step(numbers)
    judged = []
    for place, row in enumerate(rows):
        if index >= len(row) or row[index].is_confirmed:
            judged.append(row)
            continue
        before = numbers[place - 1] if place > 0 else None
        after = numbers[place + 1] if place + 1 < len(rows) else None
        judged.append(_judge_number(row, index, numbers[place], before, after, step))
    return _doubt_merged_rows(judged, index, numbers)


def _find_step(numbers: Sequence[int | None]) -> int:
    """Return 1 or -1: the step that most pairs of numbers in the column agree with."""
    known = [(place, number) for place, number in enumerate(numbers) if number is not None]
    votes = Counter(
        (right - left) // (later - place)
        for (place, left), (later, right) in combinations(known, 2)
        if abs(right - left) == later - place
    )
    return 1 if votes[1] >= votes[-1] else -1


def _judge_number(
    row: Row, index: int, number: int | None, before: int | None, after: int | None, step: int
) -> Row:
    cell = row[index]
    expected = _find_expected(before, after, step)
    is_in_sequence = number is not None and number in (
        before + step if before is not None else None,
        after - step if after is not None else None,
    )
    if expected is not None and number != expected:
        # Both neighbours leave one number only; a row without any text is not one of pins.
        if not any(other.words for other in row[index + 1 :]):
            return row
        return _prove(row, index, str(expected))
    if number is None and cell.words and not _is_list(cell.text):
        return _doubt(row, [index], "not a number in the sequence")
    if number is None or is_in_sequence:
        return row
    differs = next(filter(None, map(_compare_readings, cell.words)), "")
    is_lone = len(cell.text) == 1 and (before is not None or after is not None)
    if differs or is_lone or cell.confidence < _LEAST_CONFIDENCE:
        return _doubt(row, [index], differs or "not in the sequence of pin numbers")
    return row


def _find_expected(before: int | None, after: int | None, step: int) -> int | None:
    """Return the only number between two neighbours; None if they leave several or none."""
    if before is None or after is None or after - before != 2 * step:
        return None
    return before + step


def _is_list(text: str) -> bool:
    """Return True for several pins in a cell: ``7, 39`` or ``10-12``."""
    return len(re.findall("[0-9]+", text)) > 1


def _prove(row: Row, index: int, number: str) -> Row:
    """Return the row with the number that its neighbours prove in place of the one read."""
    cell = row[index]
    words = cell.words or (ScannedWord("", 0.0, _box_beside(row, index)),)
    read = cell.text
    proof = f"{number} by the sequence; read as '{read}'"
    confidence = min(word.confidence for word in words)
    proved = ScannedWord(number, confidence, words[0].box)
    new = replace(cell, words=(proved,), proof=proof, doubt="")
    return (*row[:index], new, *row[index + 1 :])


def _box_beside(row: Row, index: int) -> Box:
    """Return a box left of the first words of a row, for a number that was not read."""
    first = next(cell.box for cell in row[index + 1 :] if cell.box is not None)
    width = first.bottom - first.top
    return Box(max(0.0, first.x0 - 4 * width), first.top, first.x0 - width, first.bottom)


def _doubt_merged_rows(rows: list[Row], index: int, numbers: Sequence[int | None]) -> list[Row]:
    """Return the rows; beside a gap in the numbers, cells of several lines may be two rows."""
    judged = list(rows)
    for place, (left, right) in enumerate(pairwise(numbers)):
        if left is None or right is None or abs(right - left) < 2:
            continue
        for near in (place, place + 1):
            row = judged[near]
            several = [at for at, cell in enumerate(row) if at != index and _has_lines(cell)]
            judged[near] = _doubt(row, several, "two rows may be joined here")
    return judged


def _has_lines(cell: ScannedCell) -> bool:
    tops = [word.box.top for word in cell.words]
    height = max((word.box.bottom - word.box.top for word in cell.words), default=0.0)
    return len(tops) > 1 and max(tops) - min(tops) > _NEXT_LINE * height


def _doubt(row: Row, indexes: Sequence[int], reason: str) -> Row:
    return tuple(
        replace(cell, doubt=cell.doubt or reason)
        if at in indexes and not cell.is_confirmed
        else cell
        for at, cell in enumerate(row)
    )


def _read_number(row: Row, index: int) -> int | None:
    text = row[index].text if index < len(row) else ""
    return int(text) if _PIN_NUMBER.fullmatch(text) else None


def _read_figure(text: str) -> float | None:
    text = _squeeze(text)
    if not _FIGURE.fullmatch(text):
        return None
    return float(text.replace("−", "-").replace(",", "."))
