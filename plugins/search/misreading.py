"""What it costs to have read a marking as something else, and what must have happened to it.

A marking is compared sign by sign: look-alikes cost little, a sign given as ``?`` next to
nothing, two neighbours swapped, one missing or one too many about as much as a wrong one; signs
before and behind, which makers and sellers add or drop, less. Costs are hundredths of a wrong
sign, whole numbers, so that any two ways to add them up agree. Source of the method: Damerau
(1964) and Levenshtein (1966); of the look-alikes, ``look_alikes.yaml``; of the other weights,
common practice, fitted in ``tests/benchmarks/bench_search.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

import yaml

from .typed_marking import UNREAD

WRONG: Final = 100
UNREAD_COST: Final = 8
MISSING: Final = 90  # a sign of the marking that was not read
EXTRA: Final = 90  # one read that the marking has not
SWAPPED: Final = 70
AT_THE_END: Final = 25  # a sign of a suffix more or less
AT_THE_START: Final = 35  # a sign of a prefix more or less

_NOT_READ: Final = " could not be read"


@cache
def look_alikes() -> dict[str, int]:
    """Cost of reading the one sign of a pair for the other, by both signs in order."""
    text = files(__package__).joinpath("look_alikes.yaml").read_text(encoding="utf-8")
    given = {pair: round(100 * cost) for pair, cost in yaml.safe_load(text).items()}
    return {**given, **{pair[::-1]: cost for pair, cost in given.items()}}


def cost_of_sign(typed: str, printed: str) -> int:
    """Cost of having read one sign for another."""
    if typed == printed:
        return 0
    return UNREAD_COST if typed == UNREAD else look_alikes().get(typed + printed, WRONG)


@dataclass(frozen=True)
class Misreading:
    """The cheapest way from what is printed to what was read."""

    cost: int
    """In hundredths of a wrong sign."""
    reasons: tuple[str, ...]


def misreading(typed: str, key: str) -> Misreading:
    """How a marking, given by its key, may have been read as ``typed``: sign by sign.

    This is the plain way to the cost that ``marking_tree`` finds for all markings at once.
    """
    steps = _Steps(typed, key)
    told: list[str] = []
    at = (len(typed), len(key))
    while at != (0, 0):
        _, before, said = steps.best[at]
        told += [said] if said else []
        at = before
    return Misreading(steps.best[len(typed), len(key)][0], _joined(told[::-1]))


def _joined(told: list[str]) -> tuple[str, ...]:
    """Each reason once, and all that could not be read in one."""
    unread = [said.removesuffix(_NOT_READ) for said in told if said.endswith(_NOT_READ)]
    joined = ", ".join(unread) + _NOT_READ
    reasons = dict.fromkeys(joined if said.endswith(_NOT_READ) else said for said in told)
    return tuple(reasons) or ("as printed",)


_Place = tuple[int, int]
_Step = tuple[int, _Place, str]


class _Steps:
    """For so many signs typed and so many printed: cost, the place before, and what happened."""

    def __init__(self, typed: str, key: str) -> None:
        self._typed, self._key = typed, key
        self.best: dict[_Place, _Step] = {(0, 0): (0, (0, 0), "")}
        for i in range(len(typed) + 1):
            for j in range(len(key) + 1):
                if i or j:
                    self.best[i, j] = min(self._ways(i, j), key=lambda step: step[0])

    def _ways(self, i: int, j: int) -> list[_Step]:
        ways = []
        if i and j:
            ways.append(self._read(i, j))
        if i > 1 and j > 1:
            ways.append(self._swapped(i, j))
        if j:
            ways.append(self._missing(i, j))
        if i:
            ways.append(self._extra(i, j))
        return ways

    def _read(self, i: int, j: int) -> _Step:
        typed, printed = self._typed[i - 1], self._key[j - 1]
        said = f"{printed}{_NOT_READ}" if typed == UNREAD else f"{printed} read as {typed}"
        cost = self.best[i - 1, j - 1][0] + cost_of_sign(typed, printed)
        return cost, (i - 1, j - 1), said if typed != printed else ""

    def _swapped(self, i: int, j: int) -> _Step:
        one, other = self._key[j - 2], self._key[j - 1]
        crossed = cost_of_sign(self._typed[i - 2], other) + cost_of_sign(self._typed[i - 1], one)
        cost = self.best[i - 2, j - 2][0] + SWAPPED + crossed
        return cost, (i - 2, j - 2), f"{one} and {other} swapped"

    def _missing(self, i: int, j: int) -> _Step:
        printed = self._key[j - 1]
        cost, said = MISSING, f"{printed} missing"
        if i == 0:
            cost, said = AT_THE_START, "prefix missing"
        elif i == len(self._typed):
            cost, said = AT_THE_END, "suffix missing"
        return self.best[i, j - 1][0] + cost, (i, j - 1), said

    def _extra(self, i: int, j: int) -> _Step:
        typed = self._typed[i - 1]
        cost, said = EXTRA, f"{typed} too many"
        if j == 0:
            cost, said = AT_THE_START, "prefix left aside"
        elif j == len(self._key):
            cost, said = AT_THE_END, f"suffix {typed} left aside"
        return self.best[i - 1, j][0] + cost, (i - 1, j), said
