"""Divide the words of a page by its rules into the cells of tables."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import Final

from .ink import Rule
from .page_pictures import PIXELS_PER_POINT
from .scanned_page import Box, ScannedCell, ScannedTable, ScannedWord

_SAME_PLACE_PT: Final = 3.0  # ends of rules less than this apart meet
_WIDEST_BREAK_PT: Final = 60  # a stain may hide so much of a rule
_UNEVEN: Final = 0.15  # of the usual height of a row
_FEWEST_RULES: Final = 3  # of each direction: two columns and two rows
_MOST_LINES: Final = 1.8  # lines of text to a row, above which the rules do not divide the rows
_SAME_LINE: Final = 0.6  # of the height of the text


def divide_by_rules(
    words: Sequence[ScannedWord], across: Sequence[Rule], down: Sequence[Rule], page: int
) -> tuple[tuple[ScannedWord, ...], tuple[ScannedTable, ...]]:
    """Return the words outside ruled tables, and the tables divided into cells.

    A table whose rules do not divide its rows is left to the gaps between the words.
    """
    free, tables = list(words), []
    for xs, ys in _find_frames(across, down):
        box = Box(xs[0], ys[0], xs[-1], ys[-1])
        inside = [word for word in free if box.contains_middle(word.box)]
        ys = _add_hidden_rules(ys, inside)
        if _count_lines(inside) > _MOST_LINES * (len(ys) - 1):
            continue
        rows = _fill_cells(inside, xs, ys, page)
        tables.append(ScannedTable(box, rows))
        free = [word for word in free if word not in inside]
    return tuple(free), tuple(tables)


def _find_frames(
    across: Sequence[Rule], down: Sequence[Rule]
) -> list[tuple[list[float], list[float]]]:
    """Return the places in points of the rules down and across of each table."""
    frames = []
    left = _join_fragments([_to_points(rule) for rule in across])
    while left:
        first = left.pop(0)
        # Rules across of one table begin and end at the same places.
        mine = [first, *(rule for rule in left if _is_alike(rule, first))]
        left = [rule for rule in left if rule not in mine]
        top, bottom = mine[0].place, mine[-1].place
        crossing = [
            rule
            for rule in map(_to_points, down)
            if first.start - _SAME_PLACE_PT <= rule.place <= first.end + _SAME_PLACE_PT
            and rule.start < bottom - _SAME_PLACE_PT
            and rule.end > top + _SAME_PLACE_PT
        ]
        xs = _merge_places([rule.place for rule in crossing])
        ys = _merge_places([rule.place for rule in mine])
        if len(xs) >= _FEWEST_RULES and len(ys) >= _FEWEST_RULES:
            frames.append((xs, ys))
    return frames


def _to_points(rule: Rule) -> Rule:
    scale = PIXELS_PER_POINT
    return Rule(rule.place / scale, round(rule.start / scale), round(rule.end / scale))


def _join_fragments(rules: Sequence[Rule]) -> list[Rule]:
    """Return the rules, those that continue each other at nearly the same place as one."""
    joined: list[Rule] = []
    for rule in rules:
        last = joined[-1] if joined else None
        is_same = last is not None and rule.place - last.place < _SAME_PLACE_PT
        if last is not None and is_same and rule.start - last.end < _WIDEST_BREAK_PT:
            start, end = min(last.start, rule.start), max(last.end, rule.end)
            joined[-1] = Rule(last.place, start, end)
        else:
            joined.append(rule)
    return joined


def _is_alike(rule: Rule, other: Rule) -> bool:
    most = 3 * _SAME_PLACE_PT
    return abs(rule.start - other.start) < most and abs(rule.end - other.end) < most


def _merge_places(places: Sequence[float]) -> list[float]:
    """Return the places in order, those close together as one."""
    merged: list[float] = []
    for place in sorted(places):
        if not merged or place - merged[-1] > _SAME_PLACE_PT:
            merged.append(place)
    return merged


def _add_hidden_rules(ys: list[float], words: Sequence[ScannedWord]) -> list[float]:
    """Return the places of the rules across, with those that a stain hid.

    A row as high as several others, with as many lines of text, is that many rows.
    """
    heights = [low - high for high, low in pairwise(ys)]
    usual = median(heights)
    added: list[float] = []
    for high, low in pairwise(ys):
        count = round((low - high) / usual)
        is_multiple = abs(low - high - count * usual) < _UNEVEN * usual
        inside = [word for word in words if high < _find_middle(word) < low]
        if count > 1 and is_multiple and _count_lines(inside) == count:
            added += [high + number * usual for number in range(1, count)]
    return sorted([*ys, *added])


def _fill_cells(
    words: Sequence[ScannedWord], xs: Sequence[float], ys: Sequence[float], page: int
) -> tuple[tuple[ScannedCell, ...], ...]:
    """Return the cells between the rules with their words in reading order."""
    rows = []
    for top, bottom in pairwise(ys):
        row = []
        for x0, x1 in pairwise(xs):
            cell = Box(x0, top, x1, bottom)
            own = [word for word in words if cell.contains_middle(word.box)]
            row.append(ScannedCell(tuple(sort_reading_order(own)), page))
        rows.append(tuple(row))
    return tuple(rows)


def sort_reading_order(words: Sequence[ScannedWord]) -> list[ScannedWord]:
    """Return words line by line from the top, each line from the left."""
    lines: list[list[ScannedWord]] = []
    for word in sorted(words, key=_find_middle):
        height = word.box.bottom - word.box.top
        if lines and _find_middle(word) - _find_middle(lines[-1][0]) < _SAME_LINE * height:
            lines[-1].append(word)
        else:
            lines.append([word])
    return [word for line in lines for word in sorted(line, key=lambda word: word.box.x0)]


def _find_middle(word: ScannedWord) -> float:
    return (word.box.top + word.box.bottom) / 2


def _count_lines(words: Sequence[ScannedWord]) -> int:
    """Return the number of lines of text that words make."""
    count, last = 0, None
    for word in sorted(words, key=_find_middle):
        height = word.box.bottom - word.box.top
        if last is None or _find_middle(word) - last > _SAME_LINE * height:
            count, last = count + 1, _find_middle(word)
    return count
