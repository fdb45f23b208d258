"""A prefix tree of all markings of a folio, searched for a damaged one exactly, in milliseconds.

Markings with the same beginning share branches. The tree is walked level by level, all branches
of a level at once. Each branch carries the least cost so far for every number of typed characters
(see ``misreading``), and is dropped when no continuation can stay below the limit; so nothing near
is missed. Sources: the cost table is Wagner and Fischer (1974), with swaps after Lowrance and
Wagner (1975); pruning a tree with it is Shang and Merrett (1996).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .misreading import AT_THE_END, AT_THE_START, EXTRA, MISSING, SWAPPED, compare_characters

_Costs = NDArray[np.int16]
_Numbers = NDArray[np.intp]

CEILINGS: Final = (40, 80, 120, 160, 200, 260)
"""Limits of cost, tried in order until enough markings are found."""


@dataclass(frozen=True, eq=False)
class _Level:
    """The branches at one depth, in the order of their markings."""

    children: NDArray[np.int32]
    """Shape (branches + 1): where the children of each branch begin on the next level."""
    character: NDArray[np.uint16]
    """Last character of each branch, as an index into the alphabet."""
    key: NDArray[np.int32]
    """Index of the marking that ends here, or -1."""
    ahead: NDArray[np.int16]
    """Fewest and most characters that may follow, as fewest x depth of the tree + most."""


class MarkingTree:
    """The prefix tree of a folio's markings; about ten bytes a branch."""

    def __init__(self, keys: Sequence[str]) -> None:
        self.keys = tuple(sorted(dict.fromkeys(keys)))
        table, self._alphabet = _encode_keys(self.keys)
        self._levels = _build_levels(table)

    def find_nearest(
        self, typed: str, enough: int, spread: int
    ) -> tuple[NDArray[np.int32], _Costs]:
        """Return indices into ``keys`` and costs of the nearest markings, nearest first.

        They include every marking that costs no more than the nearest one plus ``spread``, until
        ``enough`` are found within one of ``CEILINGS``; none costs more than the last of these.
        Markings of equal cost keep their order.
        """
        keys, costs = _NO_MATCHES
        for ceiling in CEILINGS:
            keys, costs = self.find_within(typed, ceiling)
            if len(keys) >= enough:
                break
            if len(keys):
                furthest = min(int(costs.min()) + spread, CEILINGS[-1])
                if furthest > ceiling:
                    keys, costs = self.find_within(typed, furthest)
                break
        order = np.lexsort((keys, costs))
        return keys[order], costs[order]

    def find_within(self, typed: str, ceiling: int) -> tuple[NDArray[np.int32], _Costs]:
        """Return indices into ``keys`` and costs of all markings that cost at most ``ceiling``."""
        walk = _TreeWalk(typed, self._alphabet, len(self._levels), ceiling)
        matches = [_NO_MATCHES]
        for level in self._levels:
            if not walk.descend(level):
                break
            matches.append(walk.collect_ends(level.key))
        keys, costs = zip(*matches, strict=True)
        return np.concatenate(keys), np.concatenate(costs)


_NO_MATCHES: Final = (np.zeros(0, np.int32), np.zeros(0, np.int16))


class _TreeWalk:
    """One walk down the tree: the branches still followed, with their costs.

    ``_costs`` has a row for each branch and a column for each number of typed characters.
    """

    def __init__(self, typed: str, alphabet: str, depth: int, ceiling: int) -> None:
        count, signs = len(typed), np.arange(len(typed) + 1, dtype=np.int16)
        self._ceiling = ceiling
        self._read = np.array(
            [
                [compare_characters(character, printed) for character in typed]
                for printed in alphabet
            ],
            np.int16,
        ).reshape(len(alphabet), count)
        self._extra: _Costs = signs * np.int16(EXTRA)
        self._missing = np.full(count + 1, MISSING, np.int16)
        self._missing[0], self._missing[count] = AT_THE_START, AT_THE_END
        self._left: _Costs = signs[::-1] * np.int16(AT_THE_END)
        fewest, most = np.divmod(np.arange(depth * depth), depth)
        off = np.maximum(fewest[:, None] - signs[::-1], signs[::-1] - most[:, None])
        self._ahead: _Costs = (np.maximum(off, 0) * AT_THE_END).astype(np.int16)
        self._costs: _Costs = (signs * np.int16(AT_THE_START))[None]
        self._before: _Costs | None = None  # ``_costs`` one character earlier
        self._character: _Numbers = np.zeros(1, np.intp)
        self._branches: _Numbers = np.zeros(1, np.intp)
        self._children: NDArray[np.int32] | None = None

    def descend(self, level: _Level) -> bool:
        """Follow the branches to the next level; return whether any is left."""
        parents, branches = self._list_children(level)
        character = level.character[branches].astype(np.intp)
        above = self._costs.take(parents, axis=0)
        read = self._read.take(character, axis=0)
        costs = self._extend(above, read, parents)
        least_total = (costs + self._ahead.take(level.ahead[branches], axis=0)).min(axis=1)
        is_near = least_total <= self._ceiling
        # A swap may begin with this character, and shows in the costs only after the next one.
        if read.shape[1] > 1:
            is_near |= (above[:, :-2] + read[:, 1:]).min(axis=1) <= self._ceiling - SWAPPED
        near = np.flatnonzero(is_near)
        self._before, self._costs = above[near], costs[near]
        self._character, self._branches = character[near], branches[near]
        self._children = level.children
        return bool(len(near))

    def _list_children(self, level: _Level) -> tuple[_Numbers, _Numbers]:
        """Return for each child of the branches followed its parent's row, and the child."""
        if self._children is None:
            return np.zeros(len(level.character), np.intp), np.arange(len(level.character))
        first = self._children[self._branches]
        count = self._children[self._branches + 1] - first
        parents = np.repeat(np.arange(len(first)), count)
        return parents, np.arange(len(parents)) + np.repeat(
            first - (np.cumsum(count) - count), count
        )

    def _extend(self, above: _Costs, read: _Costs, parents: _Numbers) -> _Costs:
        """Return the costs with one more printed character: read, swapped or missing."""
        costs = above + self._missing
        np.minimum(costs[:, 1:], above[:, :-1] + read, out=costs[:, 1:])
        if self._before is not None and read.shape[1] > 1:
            crossed = self._before.take(parents, axis=0)[:, :-2] + read[:, :-1]
            crossed += self._read.take(self._character[parents], axis=0)[:, 1:]
            crossed += np.int16(SWAPPED)
            np.minimum(costs[:, 2:], crossed, out=costs[:, 2:])
        # Extra characters: a running minimum, after their cost in proportion to the column is off.
        costs -= self._extra
        np.minimum.accumulate(costs, axis=1, out=costs)
        costs += self._extra
        return costs

    def collect_ends(self, key: NDArray[np.int32]) -> tuple[NDArray[np.int32], _Costs]:
        """Return the markings that end at the branches followed, and their costs."""
        ends = key[self._branches]
        costs = (self._costs[ends >= 0] + self._left).min(axis=1)
        near = costs <= self._ceiling
        return ends[ends >= 0][near], costs[near]


def _encode_keys(keys: Sequence[str]) -> tuple[NDArray[np.uint16], str]:
    """Return the characters of each key as indices into the alphabet, and the alphabet.

    The table has shape (keys, longest key); 0 fills the rows behind their ends.
    """
    codes = np.frombuffer("".join(f"{key}\0" for key in keys).encode("utf-32-le"), np.uint32)
    alphabet = np.flatnonzero(np.bincount(codes))
    index_of_code = np.zeros(int(alphabet.max(initial=0)) + 1, np.uint16)
    index_of_code[alphabet] = np.arange(len(alphabet))
    ends = np.flatnonzero(codes == 0)
    starts = np.append(0, ends[:-1] + 1)[: len(ends)]
    longest = int((ends - starts).max(initial=0))
    table = np.append(index_of_code[codes], np.zeros(longest, np.uint16))[
        starts[:, None] + np.arange(longest)
    ]
    table[np.arange(longest) >= (ends - starts)[:, None]] = 0
    return table, "".join(map(chr, alphabet.tolist()))


def _build_levels(table: NDArray[np.uint16]) -> list[_Level]:
    """Return the levels of the tree; ``table`` holds the sorted markings, one to a row."""
    lengths = np.count_nonzero(table, axis=1)
    begins = np.arange(len(table)) == 0  # rows whose prefix differs from the row above
    branch_of = np.zeros(len(table), np.intp)
    rows, parents, aheads = [], [], []
    for depth, column in enumerate(table.T, start=1):
        begins[1:] |= column[1:] != column[:-1]
        first, goes_on = np.flatnonzero(begins), column[begins] > 0
        fewest, most = (
            which.reduceat(lengths, first)[goes_on] - depth for which in (np.minimum, np.maximum)
        )
        rows.append(first[goes_on])
        parents.append(branch_of[rows[-1]])
        aheads.append((fewest * table.shape[1] + most).astype(np.int16))
        branch_of = np.cumsum(begins & (column > 0)) - 1
    parents.append(np.zeros(0, np.intp))
    return [
        _Level(
            children=np.searchsorted(parents[depth + 1], np.arange(len(first) + 1)).astype(
                np.int32
            ),
            character=table[first, depth],
            key=np.where(lengths[first] == depth + 1, first, -1).astype(np.int32),
            ahead=aheads[depth],
        )
        for depth, first in enumerate(rows)
    ]
