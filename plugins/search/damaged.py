"""A marking that is scorched, ground or half gone: which parts can it be, and why?

Every known marking is compared by a weighted edit distance: look-alikes cost little, a character
marked ``?`` next to nothing, two neighbours swapped, one missing or one too many about as much as
a wrong one, letters before and behind that makers and sellers add or drop less. Source of the
method: Damerau (1964) and Levenshtein (1966); of the weights, ``look_alikes.yaml``.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Final

import numpy as np
import yaml
from numpy.typing import NDArray

from ...loaders import Folio
from ...schema.text import part_key

Costs = NDArray[np.float32]

UNREAD: Final = "?"
_UNREAD_COST: Final = 0.08
_WRONG: Final = 1.0
_MISSING: Final = 0.9  # a character of the marking that was not read
_EXTRA: Final = 0.9  # one read that the marking has not
_SWAPPED: Final = 0.7
_AT_THE_END: Final = 0.25  # a suffix letter more or less
_AT_THE_START: Final = 0.35  # a letter of the maker's prefix more or less
_MOST_COST: Final = 2.6
_SHARPNESS: Final = 2.5  # how quickly a part grows unlikely with its cost
_ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LONGEST: Final = 24
# Date and lot codes as they stand on the line below: week codes, letter and week, lot numbers.
_DATE_CODE: Final = re.compile(r"(?:19|20)?[0-9]{2}[0-5][0-9][A-Z]{0,2}|[A-Z]{1,2}[0-9]{3,4}[A-Z]?")


@dataclass(frozen=True)
class Guess:
    """A part that the damaged marking may be, and why."""

    part: str
    marking: str
    probability: float
    """Among the parts of this folio, if it is one of them."""
    reasons: tuple[str, ...]


def has_unread(text: str) -> bool:
    """Whether a marking has a character that could not be read."""
    return UNREAD in text and any(sign.isalnum() for sign in text)


def damaged_key(text: str) -> str:
    """The marking as it is compared: capitals, digits and ``?``."""
    return UNREAD.join(part_key(piece) for piece in text.split(UNREAD))[:_LONGEST]


def guesses(folio: Folio, text: str, most: int = 10) -> list[Guess]:
    """The parts that a damaged marking may be, likeliest first; each part once."""
    lines = _without_date_codes(text)
    typed, known = damaged_key(lines), _known(folio)
    if not typed.strip(UNREAD) or not len(known.parts):
        return []
    cost = _distances(typed, known)
    order = np.argsort(cost, kind="stable")
    best: dict[str, tuple[int, float]] = {}
    for at in order.tolist():
        if cost[at] > _MOST_COST or len(best) >= most:
            break
        best.setdefault(known.parts[at], (at, float(cost[at])))
    weights = {part: math.exp(-_SHARPNESS * c) for part, (_, c) in best.items()}
    total = sum(weights.values()) + math.exp(-_SHARPNESS * _MOST_COST)  # it may be none of them
    aside = ("date code left aside",) if lines != text else ()
    return [
        Guess(part, known.markings[at], weights[part] / total,
              (*_reasons(typed, known.keys[at]), *aside))
        for part, (at, _) in best.items()
    ]  # fmt: skip


def _without_date_codes(text: str) -> str:
    """The text without words that are date or lot codes, as long as something else is left."""
    words = text.split()
    left = [word for word in words if not _DATE_CODE.fullmatch(word.upper())]
    return " ".join(left) if left and len(left) < len(words) else text


@dataclass(frozen=True, eq=False)
class _Known:
    """All markings of a folio, ready to be compared at once."""

    markings: tuple[str, ...]
    parts: tuple[str, ...]
    keys: tuple[str, ...]
    codes: NDArray[np.intp]
    """Shape (markings, longest): index into the alphabet, its length behind the end."""
    lengths: NDArray[np.intp]


def _known(folio: Folio) -> _Known:
    return _of_digest(folio.info.digest, tuple(folio.markings()))


@lru_cache(maxsize=4)
def _of_digest(digest: str, rows: tuple[tuple[str, str], ...]) -> _Known:
    keys = tuple(part_key(text)[:_LONGEST] for text, _ in rows)
    longest = max(map(len, keys), default=1)
    codes = np.full((len(keys), longest), len(_ALPHABET), dtype=np.intp)
    for row, key in enumerate(keys):
        for column, sign in enumerate(key):
            found = _ALPHABET.find(sign)
            codes[row, column] = found if found >= 0 else len(_ALPHABET)
    lengths = np.array([len(key) for key in keys], dtype=np.intp)
    texts, parts = (tuple(column) for column in zip(*rows, strict=True)) if rows else ((), ())
    return _Known(texts, parts, keys, codes, lengths)


@cache
def look_alikes() -> dict[str, float]:
    """Cost of reading the one character of a pair for the other, by both characters in order."""
    text = files(__package__).joinpath("look_alikes.yaml").read_text(encoding="utf-8")
    given: dict[str, float] = yaml.safe_load(text)
    return {**given, **{pair[::-1]: cost for pair, cost in given.items()}}


def _cost(typed: str, known: str) -> float:
    if typed == known:
        return 0.0
    return _UNREAD_COST if typed == UNREAD else look_alikes().get(typed + known, _WRONG)


@cache
def _row_of(sign: str) -> Costs:
    """Cost of having read ``sign`` for each character of the alphabet, and for the end."""
    return np.array([_cost(sign, known) for known in _ALPHABET] + [_WRONG], dtype=np.float32)


def _distances(typed: str, known: _Known) -> Costs:
    """Weighted distance from what was typed to every marking, all markings at once."""
    count, longest = known.codes.shape
    previous = np.zeros((longest + 1, count), dtype=np.float32)
    previous[1:] = (np.arange(1, longest + 1, dtype=np.float32) * _AT_THE_START)[:, None]
    before = previous
    for at, sign in enumerate(typed, start=1):
        row = _row_of(sign)
        current = np.empty_like(previous)
        current[0] = at * _AT_THE_START
        last = at == len(typed)
        swap = _row_of(typed[at - 2]) if at > 1 else None
        for column in range(1, longest + 1):
            here = known.codes[:, column - 1]
            missing = np.where(last, _AT_THE_END, _MISSING)
            best = np.minimum(previous[column - 1] + row[here], current[column - 1] + missing)
            behind = column >= known.lengths
            best = np.minimum(best, previous[column] + np.where(behind, _AT_THE_END, _EXTRA))
            if swap is not None and column > 1:
                there = known.codes[:, column - 2]
                swapped = before[column - 2] + _SWAPPED + swap[here] + row[there]
                best = np.minimum(best, swapped)
            current[column] = best
        before, previous = previous, current
    return np.asarray(previous[known.lengths, np.arange(count)])


def _reasons(typed: str, key: str) -> tuple[str, ...]:
    """What would have had to happen to the marking for it to be read like this."""
    from rapidfuzz.distance import Levenshtein

    told = [_said(op.tag, typed, op.src_pos, key, op.dest_pos)
            for op in Levenshtein.editops(typed, key)]  # fmt: skip
    return tuple(dict.fromkeys(told)) or ("as printed",)


def _said(kind: str, typed: str, at: int, key: str, to: int) -> str:
    if kind == "replace":
        if typed[at] == UNREAD:
            return f"{key[to]} could not be read"
        return f"{key[to]} read as {typed[at]}"
    if kind == "insert":
        if at >= len(typed):
            return "suffix missing"
        return "prefix missing" if at == 0 else f"{key[to]} missing"
    if at >= len(typed) - 1:
        return f"suffix {typed[at]} left aside"
    return "prefix left aside" if at == 0 else f"{typed[at]} too many"
