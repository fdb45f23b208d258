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
        # A low ceiling drops most branches at once; few markings need a higher one.
        for ceiling in CEILINGS:
            keys, costs = self.find_within(typed, ceiling)
            if len(keys) >= enough:
                break
            if len(keys):
                promised_cost = min(int(costs.min()) + spread, CEILINGS[-1])
                if promised_cost > ceiling:
                    keys, costs = self.find_within(typed, promised_cost)
                break
        nearest_first = np.lexsort((keys, costs))
        return keys[nearest_first], costs[nearest_first]

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
        self._ceiling = ceiling
        typed_count = len(typed)
        counts = np.arange(typed_count + 1, dtype=np.int16)  # characters typed so far
        rest = counts[::-1]  # characters typed but not reached yet
        read_costs = [
            [compare_characters(character, printed) for character in typed] for printed in alphabet
        ]
        # Characters of the alphabet x characters typed.
        self._read = np.array(read_costs, np.int16).reshape(len(alphabet), typed_count)
        self._extra: _Costs = counts * np.int16(EXTRA)
        self._missing = np.full(typed_count + 1, MISSING, np.int16)
        self._missing[0], self._missing[typed_count] = AT_THE_START, AT_THE_END
        self._left: _Costs = rest * np.int16(AT_THE_END)
        # Least cost of the characters ahead, by the code of ``_Level.ahead``: those too many on
        # either side are missing or extra.
        fewest, most = np.divmod(np.arange(depth * depth), depth)
        surplus = np.maximum(fewest[:, None] - rest, rest - most[:, None])
        self._ahead: _Costs = (np.maximum(surplus, 0) * AT_THE_END).astype(np.int16)
        self._costs: _Costs = (counts * np.int16(AT_THE_START))[None]
        self._before: _Costs | None = None  # ``_costs`` one character earlier
        self._character: _Numbers = np.zeros(1, np.intp)
        self._branches: _Numbers = np.zeros(1, np.intp)
        self._children: NDArray[np.int32] | None = None

    def descend(self, level: _Level) -> bool:
        """Follow the branches to the next level; return whether any is left."""
        parents, branches = self._list_children(level)
        characters = level.character[branches].astype(np.intp)
        # Branches x (characters typed + 1), and branches x characters typed.
        above = self._costs.take(parents, axis=0)
        read = self._read.take(characters, axis=0)
        costs = self._extend(above, read, parents)
        least_total = (costs + self._ahead.take(level.ahead[branches], axis=0)).min(axis=1)
        is_near = least_total <= self._ceiling
        # A swap may begin with this character, and shows in the costs only after the next one.
        if read.shape[1] > 1:
            is_near |= (above[:, :-2] + read[:, 1:]).min(axis=1) <= self._ceiling - SWAPPED
        followed = np.flatnonzero(is_near)
        self._before, self._costs = above[followed], costs[followed]
        self._character, self._branches = characters[followed], branches[followed]
        self._children = level.children
        return bool(len(followed))

    def _list_children(self, level: _Level) -> tuple[_Numbers, _Numbers]:
        """Return for each child of the branches followed its parent's row, and the child."""
        if self._children is None:
            return np.zeros(len(level.character), np.intp), np.arange(len(level.character))
        first_child = self._children[self._branches]
        child_count = self._children[self._branches + 1] - first_child
        parents = np.repeat(np.arange(len(first_child)), child_count)
        # Children of one parent are neighbours: numbered on from its first.
        rows_before = np.cumsum(child_count) - child_count
        children = np.arange(len(parents)) + np.repeat(first_child - rows_before, child_count)
        return parents, children

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
        key_at_branch = key[self._branches]
        is_end = key_at_branch >= 0
        costs = (self._costs[is_end] + self._left).min(axis=1)
        is_near = costs <= self._ceiling
        return key_at_branch[is_end][is_near], costs[is_near]


def _encode_keys(keys: Sequence[str]) -> tuple[NDArray[np.uint16], str]:
    """Return the characters of each key as indices into the alphabet, and the alphabet.

    The table has shape (keys, longest key); 0 fills the rows behind their ends.
    """
    # All keys as one array of code points, each key ended by a 0.
    codes = np.frombuffer("".join(f"{key}\0" for key in keys).encode("utf-32-le"), np.uint32)
    alphabet = np.flatnonzero(np.bincount(codes))
    index_of_code = np.zeros(int(alphabet.max(initial=0)) + 1, np.uint16)
    index_of_code[alphabet] = np.arange(len(alphabet))

    ends = np.flatnonzero(codes == 0)
    starts = np.append(0, ends[:-1] + 1)[: len(ends)]
    lengths = ends - starts
    longest = int(lengths.max(initial=0))
    # Each row is read on beyond its end, and blanked there.
    columns = np.arange(longest)
    padded = np.append(index_of_code[codes], np.zeros(longest, np.uint16))
    table = padded[starts[:, None] + columns]
    table[columns >= lengths[:, None]] = 0
    return table, "".join(map(chr, alphabet.tolist()))


def _build_levels(table: NDArray[np.uint16]) -> list[_Level]:
    """Return the levels of the tree; ``table`` holds the sorted markings, one to a row."""
    lengths = np.count_nonzero(table, axis=1)
    begins_branch = np.arange(len(table)) == 0  # rows whose prefix differs from the row above
    branch_of_row = np.zeros(len(table), np.intp)
    rows_of_level, parents_of_level, ahead_of_level = [], [], []
    for depth, column in enumerate(table.T, start=1):
        begins_branch[1:] |= column[1:] != column[:-1]
        first_rows = np.flatnonzero(begins_branch)
        goes_on = column[first_rows] > 0  # a marking that ended above has no branch here
        fewest = np.minimum.reduceat(lengths, first_rows)[goes_on] - depth
        most = np.maximum.reduceat(lengths, first_rows)[goes_on] - depth
        branch_rows = first_rows[goes_on]
        rows_of_level.append(branch_rows)
        parents_of_level.append(branch_of_row[branch_rows])
        ahead_of_level.append((fewest * table.shape[1] + most).astype(np.int16))
        branch_of_row = np.cumsum(begins_branch & (column > 0)) - 1
    parents_of_level.append(np.zeros(0, np.intp))  # the last level has no children

    levels = []
    for depth, rows in enumerate(rows_of_level):
        # Parents are in ascending order, so that each one's children are between two places.
        children = np.searchsorted(parents_of_level[depth + 1], np.arange(len(rows) + 1))
        level = _Level(
            children=children.astype(np.int32),
            character=table[rows, depth],
            key=np.where(lengths[rows] == depth + 1, rows, -1).astype(np.int32),
            ahead=ahead_of_level[depth],
        )
        levels.append(level)
    return levels
