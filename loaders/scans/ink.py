"""Find the ink of a page, its skew, its rules, and blots of the size of characters; with numpy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from .page_pictures import PIXELS_PER_POINT

Mask = npt.NDArray[np.bool_]

_MOST_SKEW_DEG: Final = 5.0
_COARSE_DEG: Final = 0.5
_FINE_DEG: Final = 0.05
_SKEW_PIXELS: Final = 1000  # of the longer side, for the search
_BACKGROUND_STEP: Final = 16  # pixels to a sample of the paper's brightness
_PAPER_FILTER: Final = 7  # samples; wider than a line of text is high
_INK_SHARE: Final = 0.38  # of the contrast between paper and the darkest ink
_DARKEST_PERCENT: Final = 99.5
_LEAST_CONTRAST: Final = 40.0
_RULE_LENGTH: Final = round(70 * PIXELS_PER_POINT)  # longer than words whose serifs touch
_RULE_FILLED: Final = 0.96
_THICKEST_RULE: Final = round(3 * PIXELS_PER_POINT)
_RULE_MARGIN: Final = 2


@dataclass(frozen=True)
class Rule:
    """A straight line in pixels: its place across its direction, and its two ends along it."""

    place: float
    start: int
    end: int


def find_ink(page: Image.Image) -> Mask:
    """Return True where a grey page has ink: pixels clearly darker than the paper around them."""
    small = (max(1, page.width // _BACKGROUND_STEP), max(1, page.height // _BACKGROUND_STEP))
    paper = page.resize(small, Image.Resampling.BOX).filter(ImageFilter.MaxFilter(_PAPER_FILTER))
    paper = paper.filter(ImageFilter.BoxBlur(2)).resize(page.size, Image.Resampling.BILINEAR)
    darkness = np.asarray(paper, dtype=np.int16) - np.asarray(page, dtype=np.int16)
    contrast = max(float(np.percentile(darkness, _DARKEST_PERCENT)), _LEAST_CONTRAST)
    mask: Mask = darkness > _INK_SHARE * contrast
    return mask


def find_skew(ink: Mask) -> float:
    """Return the angle in degrees, counter-clockwise, that makes the lines of text level.

    It is the angle at which the sums along the rows differ most from row to row.
    """
    step = max(1, max(ink.shape) // _SKEW_PIXELS)
    rows, columns = np.nonzero(ink[::step, ::step])
    if rows.size == 0:
        return 0.0

    def measure(angle_deg: float) -> float:
        level = rows + np.round(columns * np.tan(np.radians(-angle_deg))).astype(np.int64)
        sums = np.bincount(level - level.min())
        return float(np.square(np.diff(sums.astype(np.float64))).sum())

    coarse = np.arange(-_MOST_SKEW_DEG, _MOST_SKEW_DEG + _COARSE_DEG / 2, _COARSE_DEG)
    best = float(max(coarse, key=measure))
    fine = np.arange(best - _COARSE_DEG, best + _COARSE_DEG + _FINE_DEG / 2, _FINE_DEG)
    return float(max(fine, key=measure))


def find_rules(ink: Mask) -> tuple[list[Rule], list[Rule]]:
    """Return the rules across the page from the top, and those down the page from the left."""
    return _find_level_rules(ink), _find_level_rules(ink.T)


def _find_level_rules(ink: Mask) -> list[Rule]:
    """Return the long level lines: rows of pixels that are inked almost all along."""
    thick = ink.copy()
    thick[1:] |= ink[:-1]
    thick[:-1] |= ink[1:]
    sums = np.cumsum(np.pad(thick, ((0, 0), (1, 0))), axis=1, dtype=np.int32)
    filled = sums[:, _RULE_LENGTH:] - sums[:, :-_RULE_LENGTH] >= _RULE_FILLED * _RULE_LENGTH
    open_runs: list[list[int]] = []  # first row, last row, start, end
    closed: list[list[int]] = []
    for row in np.flatnonzero(filled.any(axis=1)):
        open_runs, ended = _split_by_age(open_runs, int(row))
        closed += ended
        for start, end in list_runs(filled[row]):
            _join_run(open_runs, int(row), start, end + _RULE_LENGTH)
    rules = [
        Rule((first + last) / 2, start, end)
        for first, last, start, end in closed + open_runs
        if last - first <= _THICKEST_RULE
    ]
    return sorted(rules, key=lambda rule: (rule.place, rule.start))


def _split_by_age(runs: list[list[int]], row: int) -> tuple[list[list[int]], list[list[int]]]:
    """Return the runs that may go on in this row, and those that ended above."""
    recent = [run for run in runs if row - run[1] <= _RULE_MARGIN]
    return recent, [run for run in runs if row - run[1] > _RULE_MARGIN]


def list_runs(flags: Mask) -> list[tuple[int, int]]:
    """Return first and last index of each run of True."""
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return [(int(start), int(end) - 1) for start, end in zip(starts, ends, strict=True)]


def _join_run(runs: list[list[int]], row: int, start: int, end: int) -> None:
    """Add a run of this row to the one that it touches, else as a new one."""
    for run in runs:
        if start <= run[3] and end >= run[2]:
            run[1], run[2], run[3] = row, min(run[2], start), max(run[3], end)
            return
    runs.append([row, row, start, end])


def erase_rules(page: Image.Image, across: list[Rule], down: list[Rule]) -> Image.Image:
    """Return the page with white in place of its rules, so that they touch no character."""
    values = np.array(page)
    white = np.uint8(np.percentile(values[::8, ::8], 90))
    half = _RULE_MARGIN + 1
    for rule in across:
        top = max(0, round(rule.place) - half)
        values[top : round(rule.place) + half + 1, max(0, rule.start) : rule.end] = white
    for rule in down:
        left = max(0, round(rule.place) - half)
        values[max(0, rule.start) : rule.end, left : round(rule.place) + half + 1] = white
    return Image.fromarray(values)
