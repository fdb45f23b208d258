"""Divide detected lines of text at wide gaps, and find single characters that were not detected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from .ink import Mask, Rule, list_runs

_COLUMN_GAP: Final = 0.8  # wider gaps, in heights of the text, lie between columns
_LEAST_HEIGHT: Final = 0.55  # of the usual height of a line: a digit without its margin
_MOST_HEIGHT: Final = 1.4
_LEAST_INK: Final = 0.12  # of its box: a rim of dust or the edge of a stain has less
_NARROWEST: Final = 0.12  # width to height of a "1"
_WIDEST: Final = 14.0
_LEAST_SPECK: Final = 2  # pixels of ink in a column that belong to a character
_CLEARLY_LONG: Final = 2.0
_MOST_BLOTS: Final = 150


@dataclass(frozen=True)
class PixelBox:
    """A rectangle in pixels; right and bottom are outside."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def height(self) -> int:
        """Number of rows."""
        return self.bottom - self.top

    @property
    def width(self) -> int:
        """Number of columns."""
        return self.right - self.left


def are_sideways(boxes: Sequence[PixelBox]) -> bool:
    """Return True if most of the text runs down the page, by the shapes of its lines."""
    down = sum(box.height for box in boxes if box.height > _CLEARLY_LONG * box.width)
    across = sum(box.width for box in boxes if box.width > _CLEARLY_LONG * box.height)
    return down > across


def divide_boxes(ink: Mask, boxes: Sequence[PixelBox], down: Sequence[Rule] = ()) -> list[PixelBox]:
    """Return the boxes divided between columns, tight around their ink.

    Columns are divided by gaps as wide as those between columns, and by the rules down the page.
    """
    divided: list[PixelBox] = []
    for box in boxes:
        part = ink[box.top : box.bottom, box.left : box.right]
        runs = list_runs(part.sum(axis=0) >= _LEAST_SPECK)
        middle = (box.top + box.bottom) / 2
        places = [rule.place - box.left for rule in down if rule.start < middle < rule.end]
        start = 0
        for index, (_, last) in enumerate(runs):
            following = runs[index + 1][0] if index + 1 < len(runs) else None
            if (
                following is None
                or following - last > _COLUMN_GAP * box.height
                or any(last < place < following for place in places)
            ):
                tight = _tighten(ink, box, runs[start][0], last)
                divided += [tight] if tight else []
                start = index + 1
    return divided


def _tighten(ink: Mask, box: PixelBox, first: int, last: int) -> PixelBox | None:
    """Return the part of a box from one column to another, without empty rows; None if empty."""
    part = ink[box.top : box.bottom, box.left + first : box.left + last + 1]
    rows = np.flatnonzero(part.any(axis=1))
    if rows.size == 0:
        return None
    return PixelBox(
        box.left + first,
        box.top + int(rows[0]),
        box.left + last + 1,
        box.top + int(rows[-1]) + 1,
    )


def find_missed_blots(ink: Mask, boxes: Sequence[PixelBox]) -> list[PixelBox]:
    """Return blots of ink as high as characters on lines of text, outside all boxes.

    Detectors overlook single digits; a lone pin number is one. Only lines that have other text
    are looked at, so that stains and drawings are left alone.
    """
    if not boxes:
        return []
    usual = float(np.median([box.height for box in boxes]))
    free = ink.copy()
    for box in boxes:
        margin = box.height // 4
        left, top = max(0, box.left - margin), max(0, box.top - margin)
        free[top : box.bottom + margin, left : box.right + margin] = False
    blots: list[PixelBox] = []
    for top, bottom in _list_lines(boxes, usual):
        band = PixelBox(0, top, ink.shape[1], bottom)
        blots += [blot for blot in _list_blots(free, band, usual) if blot not in blots]
    return blots if len(blots) <= _MOST_BLOTS else []


def _list_lines(boxes: Sequence[PixelBox], usual: float) -> list[tuple[int, int]]:
    """Return top and bottom of each line of text."""
    lines: list[list[int]] = []
    for box in sorted(boxes, key=lambda box: (box.top + box.bottom) / 2):
        middle = (box.top + box.bottom) / 2
        if lines and middle < (lines[-1][0] + lines[-1][1]) / 2 + usual / 2:
            continue
        lines.append([int(middle - 0.8 * usual), int(middle + 0.8 * usual) + 1])
    return [(max(0, top), bottom) for top, bottom in lines]


def _list_blots(free: Mask, band: PixelBox, usual: float) -> list[PixelBox]:
    """Return the blots of a line that have height and shape of one or a few characters."""
    part = free[band.top : band.bottom]
    gap = max(2, round(0.3 * usual))
    runs: list[tuple[int, int]] = []
    inked_columns: Mask = np.any(part, axis=0)
    for first, last in list_runs(inked_columns):
        if runs and first - runs[-1][1] <= gap:
            runs[-1] = (runs[-1][0], last)
        else:
            runs.append((first, last))
    blots = []
    for first, last in runs:
        tight = _tighten(free, band, first, last)
        if tight is None:
            continue
        shape = tight.width / tight.height
        filled = float(free[tight.top : tight.bottom, tight.left : tight.right].mean())
        is_high = _LEAST_HEIGHT * usual <= tight.height <= _MOST_HEIGHT * usual
        if is_high and _NARROWEST <= shape <= _WIDEST and filled >= _LEAST_INK:
            blots.append(tight)
    return blots
