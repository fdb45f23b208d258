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
def load_look_alikes() -> dict[str, int]:
    """Cost of reading the one sign of a pair for the other, by both signs in order."""
    text = files(__package__).joinpath("look_alikes.yaml").read_text(encoding="utf-8")
    given = {pair: round(100 * cost) for pair, cost in yaml.safe_load(text).items()}
    return {**given, **{pair[::-1]: cost for pair, cost in given.items()}}


def compare_characters(typed: str, printed: str) -> int:
    """Cost of having read one sign for another."""
    if typed == printed:
        return 0
    return UNREAD_COST if typed == UNREAD else load_look_alikes().get(typed + printed, WRONG)


@dataclass(frozen=True)
class Misreading:
    """The cheapest way from what is printed to what was read."""

    cost: int
    """In hundredths of a wrong sign."""
    reasons: tuple[str, ...]


def explain_misreading(typed: str, key: str) -> Misreading:
    """How a marking, given by its key, may have been read as ``typed``: sign by sign.

    This is the plain way to the cost that ``marking_tree`` finds for all markings at once.
    """
    table = _fill_cost_table(typed, key)
    at, told = (len(typed), len(key)), []
    while at != (0, 0):
        before, said = _trace_last_step(typed, key, table, *at)
        told += [said] if said else []
        at = before
    return Misreading(table[-1][-1], _merge_reasons(told[::-1]))


def _merge_reasons(told: list[str]) -> tuple[str, ...]:
    """Each reason once, and all that could not be read in one."""
    unread = [said.removesuffix(_NOT_READ) for said in told if said.endswith(_NOT_READ)]
    joined = ", ".join(unread) + _NOT_READ
    reasons = dict.fromkeys(joined if said.endswith(_NOT_READ) else said for said in told)
    return tuple(reasons) or ("as printed",)


Costs = list[list[int]]


def _fill_cost_table(typed: str, key: str) -> Costs:
    """Least cost of having read so many signs (row) where so many are printed (column)."""
    table = [[j * AT_THE_START for j in range(len(key) + 1)]]
    for i, sign in enumerate(typed, start=1):
        above, row = table[-1], [i * AT_THE_START]
        missing = AT_THE_END if i == len(typed) else MISSING
        for j, printed in enumerate(key, start=1):
            extra = AT_THE_END if j == len(key) else EXTRA
            best = min(
                above[j - 1] + compare_characters(sign, printed),
                row[j - 1] + missing,
                above[j] + extra,
            )
            if i > 1 and j > 1:
                best = min(best, table[i - 2][j - 2] + _compute_swap_cost(typed, key, i, j))
            row.append(best)
        table.append(row)
    return table


def _compute_swap_cost(typed: str, key: str, i: int, j: int) -> int:
    """Cost of having read the last two signs the other way round."""
    last, first = (
        compare_characters(typed[i - 1], key[j - 2]),
        compare_characters(typed[i - 2], key[j - 1]),
    )
    return SWAPPED + last + first


def _trace_last_step(
    typed: str, key: str, table: Costs, i: int, j: int
) -> tuple[tuple[int, int], str]:
    """Where the cheapest way came from to ``i`` signs read of ``j``, and what happened there."""
    cost = table[i][j]
    if i and j:
        sign, printed = typed[i - 1], key[j - 1]
        if cost == table[i - 1][j - 1] + compare_characters(sign, printed):
            read = _NOT_READ if sign == UNREAD else f" read as {sign}"
            return (i - 1, j - 1), f"{printed}{read}" if sign != printed else ""
        if min(i, j) > 1 and cost == table[i - 2][j - 2] + _compute_swap_cost(typed, key, i, j):
            return (i - 2, j - 2), f"{key[j - 2]} and {key[j - 1]} swapped"
    end, start = i == len(typed), i == 0
    if j and cost == table[i][j - 1] + (AT_THE_START if start else AT_THE_END if end else MISSING):
        said = "prefix missing" if start else "suffix missing" if end else f"{key[j - 1]} missing"
        return (i, j - 1), said
    if j in (0, len(key)):
        return (i - 1, j), f"suffix {typed[i - 1]} left aside" if j else "prefix left aside"
    return (i - 1, j), f"{typed[i - 1]} too many"
