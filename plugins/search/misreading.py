"""Cost of reading a printed marking as another text, and the misreadings that explain it.

Markings are compared character by character. Look-alikes cost little, and a ``?`` next to
nothing; a swap, a missing or an extra character costs about as much as a wrong one; prefixes and
suffixes, which makers and sellers add or drop, cost less. Costs are whole hundredths of a wrong
character, so that sums do not depend on their order. Sources: Damerau (1964) and Levenshtein
(1966) for the method; ``look_alikes.yaml`` for look-alikes; common practice for the other weights,
fitted in ``tests/benchmarks/bench_search.py``.
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
MISSING: Final = 90  # a printed character was not read
EXTRA: Final = 90  # a character was read that is not printed
SWAPPED: Final = 70
AT_THE_END: Final = 25  # each character of a missing or extra suffix
AT_THE_START: Final = 35  # each character of a missing or extra prefix

_NOT_READ: Final = " could not be read"


@cache
def load_look_alikes() -> dict[str, int]:
    """Return the cost of reading one character of a pair for the other, by both in either order."""
    text = files(__package__).joinpath("look_alikes.yaml").read_text(encoding="utf-8")
    costs = {
        pair: round(100 * cost) for pair, cost in yaml.load(text, Loader=yaml.CSafeLoader).items()
    }
    return {**costs, **{pair[::-1]: cost for pair, cost in costs.items()}}


def compare_characters(typed: str, printed: str) -> int:
    """Return the cost of reading a printed character as the one typed."""
    if typed == printed:
        return 0
    return UNREAD_COST if typed == UNREAD else load_look_alikes().get(typed + printed, WRONG)


@dataclass(frozen=True)
class Misreading:
    """The cheapest sequence of misreadings from a printed marking to the typed text."""

    cost: int
    """In hundredths of a wrong character."""
    reasons: tuple[str, ...]


def explain_misreading(typed: str, key: str) -> Misreading:
    """Return the cheapest misreading of a marking, given by its key, as ``typed``.

    The cost equals the one that ``marking_tree`` computes for all markings at once.
    """
    table = _fill_cost_table(typed, key)
    place, reasons = (len(typed), len(key)), []
    while place != (0, 0):
        earlier_place, reason = _trace_last_step(typed, key, table, *place)
        reasons += [reason] if reason else []
        place = earlier_place
    return Misreading(table[-1][-1], _merge_reasons(reasons[::-1]))


def _merge_reasons(steps: list[str]) -> tuple[str, ...]:
    """Return each reason once, with all unreadable characters in one reason."""
    unread = [step.removesuffix(_NOT_READ) for step in steps if step.endswith(_NOT_READ)]
    merged = ", ".join(unread) + _NOT_READ
    reasons = dict.fromkeys(merged if step.endswith(_NOT_READ) else step for step in steps)
    return tuple(reasons) or ("as printed",)


Costs = list[list[int]]
"""Row i, column j: least cost of reading the first j printed characters as the first i typed."""


def _fill_cost_table(typed: str, key: str) -> Costs:
    """Return the cost table, shape (len(typed) + 1, len(key) + 1)."""
    table = [[j * AT_THE_START for j in range(len(key) + 1)]]
    for i, character in enumerate(typed, start=1):
        above, row = table[-1], [i * AT_THE_START]
        # Past the last typed character all that is printed is a suffix, and the other way round.
        missing_cost = AT_THE_END if i == len(typed) else MISSING
        for j, printed in enumerate(key, start=1):
            extra_cost = AT_THE_END if j == len(key) else EXTRA
            least_cost = min(
                above[j - 1] + compare_characters(character, printed),
                row[j - 1] + missing_cost,
                above[j] + extra_cost,
            )
            if i > 1 and j > 1:
                swapped_cost = table[i - 2][j - 2] + _compute_swap_cost(typed, key, i, j)
                least_cost = min(least_cost, swapped_cost)
            row.append(least_cost)
        table.append(row)
    return table


def _compute_swap_cost(typed: str, key: str, i: int, j: int) -> int:
    """Return the cost of having read the last two characters in reverse order."""
    last_cost = compare_characters(typed[i - 1], key[j - 2])
    first_cost = compare_characters(typed[i - 2], key[j - 1])
    return SWAPPED + last_cost + first_cost


def _trace_last_step(
    typed: str, key: str, table: Costs, i: int, j: int
) -> tuple[tuple[int, int], str]:
    """Return the cell that the cheapest path reached (i, j) from, and the reason for that step."""
    cost = table[i][j]
    if i and j:
        character, printed = typed[i - 1], key[j - 1]
        if cost == table[i - 1][j - 1] + compare_characters(character, printed):
            misread = _NOT_READ if character == UNREAD else f" read as {character}"
            return (i - 1, j - 1), f"{printed}{misread}" if character != printed else ""
        if min(i, j) > 1 and cost == table[i - 2][j - 2] + _compute_swap_cost(typed, key, i, j):
            return (i - 2, j - 2), f"{key[j - 2]} and {key[j - 1]} swapped"
    if j:
        missing_cost, reason = _explain_missing(typed, key, i, j)
        if cost == table[i][j - 1] + missing_cost:
            return (i, j - 1), reason
    # Only a typed character that is not printed is left.
    if j == 0:
        return (i - 1, j), "prefix left aside"
    if j == len(key):
        return (i - 1, j), f"suffix {typed[i - 1]} left aside"
    return (i - 1, j), f"{typed[i - 1]} too many"


def _explain_missing(typed: str, key: str, i: int, j: int) -> tuple[int, str]:
    """Return the cost of not having read a printed character after ``i`` typed ones, in words."""
    if i == 0:
        return AT_THE_START, "prefix missing"
    if i == len(typed):
        return AT_THE_END, "suffix missing"
    return MISSING, f"{key[j - 1]} missing"
