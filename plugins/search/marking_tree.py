"""Every marking of a folio at once against one that is damaged: exact, in a few milliseconds.

The markings stand as a tree in which those that begin alike share their beginning. It is walked
level by level, all branches of a level in one go: each carries, for every number of signs typed,
the least cost so far (see ``misreading``), and is left when whatever may follow must cost too
much. So nothing near is missed. Source: the table is Wagner and Fischer (1974), with swaps after
Lowrance and Wagner (1975); leaving branches of a tree by it, Shang and Merrett (1996).
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
"""Costs up to which markings are looked for, one after the other until enough are found."""


@dataclass(frozen=True, eq=False)
class _Level:
    """The branches at one depth, in the order of their markings."""

    children: NDArray[np.int32]
    """Shape (branches + 1): where the branches of each begin on the next level."""
    sign: NDArray[np.uint16]
    """Last sign of each branch, as a place in the alphabet."""
    key: NDArray[np.int32]
    """The marking that ends here, or -1."""
    ahead: NDArray[np.int16]
    """Fewest and most signs that follow, as fewest x depth of the tree + most."""


class MarkingTree:
    """The markings of a folio, ready to be asked; about ten bytes for each branch."""

    def __init__(self, keys: Sequence[str]) -> None:
        self.keys = tuple(sorted(dict.fromkeys(keys)))
        table, self._alphabet = _encode_keys(self.keys)
        self._levels = _build_levels(table)

    def nearest(self, typed: str, enough: int, spread: int) -> tuple[NDArray[np.int32], _Costs]:
        """Places in ``keys`` and costs of the nearest markings, nearest first, then in order.

        All that cost no more than the dearest of the first ``enough``, or than the nearest and
        ``spread`` more, whichever is less; none beyond the last of ``CEILINGS``.
        """
        found = _NO_MATCHES
        for ceiling in CEILINGS:
            found = self.within(typed, ceiling)
            if len(found[0]) >= enough:
                break
            if len(found[0]):
                furthest = min(int(found[1].min()) + spread, CEILINGS[-1])
                found = self.within(typed, furthest) if furthest > ceiling else found
                break
        order = np.lexsort((found[0], found[1]))
        return found[0][order], found[1][order]

    def within(self, typed: str, ceiling: int) -> tuple[NDArray[np.int32], _Costs]:
        """Places in ``keys`` of all markings that cost at most ``ceiling``, and their costs."""
        asked = _TreeWalk(typed, self._alphabet, len(self._levels), ceiling)
        found = [_NO_MATCHES]
        for level in self._levels:
            if not asked.step(level):
                break
            found.append(asked.ending(level.key))
        keys, costs = zip(*found, strict=True)
        return np.concatenate(keys), np.concatenate(costs)


_NO_MATCHES: Final = (np.zeros(0, np.int32), np.zeros(0, np.int16))


class _TreeWalk:
    """One walk down the tree: the branches still followed, with their costs.

    ``costs`` has a row for each branch and a column for each number of signs typed.
    """

    def __init__(self, typed: str, alphabet: str, depth: int, ceiling: int) -> None:
        count, signs = len(typed), np.arange(len(typed) + 1, dtype=np.int16)
        self._ceiling = ceiling
        self._read = np.array(
            [[compare_characters(sign, printed) for sign in typed] for printed in alphabet],
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
        self._before: _Costs | None = None  # the same, one sign earlier
        self._sign: _Numbers = np.zeros(1, np.intp)
        self._branches: _Numbers = np.zeros(1, np.intp)
        self._children: NDArray[np.int32] | None = None

    def step(self, level: _Level) -> bool:
        """Go on to the next sign; whether any branch is still worth following."""
        parents, branches = self._spread(level)
        sign = level.sign[branches].astype(np.intp)
        above = self._costs.take(parents, axis=0)
        read = self._read.take(sign, axis=0)
        costs = self._next(above, read, parents)
        worth = (costs + self._ahead.take(level.ahead[branches], axis=0)).min(axis=1)
        kept = worth <= self._ceiling
        if read.shape[1] > 1:  # a swap may begin with this sign, and be told by the next only
            kept |= (above[:, :-2] + read[:, 1:]).min(axis=1) <= self._ceiling - SWAPPED
        kept = np.flatnonzero(kept)
        self._before, self._costs = above[kept], costs[kept]
        self._sign, self._branches = sign[kept], branches[kept]
        self._children = level.children
        return bool(len(kept))

    def _spread(self, level: _Level) -> tuple[_Numbers, _Numbers]:
        """The branches of this level below those followed, and which of those each is below."""
        if self._children is None:
            return np.zeros(len(level.sign), np.intp), np.arange(len(level.sign))
        first = self._children[self._branches]
        count = self._children[self._branches + 1] - first
        parents = np.repeat(np.arange(len(first)), count)
        return parents, np.arange(len(parents)) + np.repeat(
            first - (np.cumsum(count) - count), count
        )

    def _next(self, above: _Costs, read: _Costs, parents: _Numbers) -> _Costs:
        """Costs with one more sign printed: read, swapped with the one before, or missing."""
        costs = above + self._missing
        np.minimum(costs[:, 1:], above[:, :-1] + read, out=costs[:, 1:])
        if self._before is not None and read.shape[1] > 1:
            crossed = self._before.take(parents, axis=0)[:, :-2] + read[:, :-1]
            crossed += self._read.take(self._sign[parents], axis=0)[:, 1:]
            crossed += np.int16(SWAPPED)
            np.minimum(costs[:, 2:], crossed, out=costs[:, 2:])
        costs -= self._extra  # signs too many: the cheapest so far, and so much for each
        np.minimum.accumulate(costs, axis=1, out=costs)
        costs += self._extra
        return costs

    def ending(self, key: NDArray[np.int32]) -> tuple[NDArray[np.int32], _Costs]:
        """The markings that end at the branches followed, and what they cost."""
        ends = key[self._branches]
        costs = (self._costs[ends >= 0] + self._left).min(axis=1)
        near = costs <= self._ceiling
        return ends[ends >= 0][near], costs[near]


def _encode_keys(keys: Sequence[str]) -> tuple[NDArray[np.uint16], str]:
    """Shape (markings, longest): signs as places in the alphabet, 0 behind the end."""
    text = np.frombuffer("".join(f"{key}\0" for key in keys).encode("utf-32-le"), np.uint32)
    alphabet = np.flatnonzero(np.bincount(text))
    places = np.zeros(int(alphabet.max(initial=0)) + 1, np.uint16)
    places[alphabet] = np.arange(len(alphabet))
    ends = np.flatnonzero(text == 0)
    starts = np.append(0, ends[:-1] + 1)[: len(ends)]
    longest = int((ends - starts).max(initial=0))
    table = np.append(places[text], np.zeros(longest, np.uint16))[
        starts[:, None] + np.arange(longest)
    ]
    table[np.arange(longest) >= (ends - starts)[:, None]] = 0
    return table, "".join(map(chr, alphabet.tolist()))


def _build_levels(table: NDArray[np.uint16]) -> list[_Level]:
    """The tree of markings that stand in order, one to a row."""
    lengths = np.count_nonzero(table, axis=1)
    begins = np.arange(len(table)) == 0  # the rows that begin otherwise than the row above
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
            sign=table[first, depth],
            key=np.where(lengths[first] == depth + 1, first, -1).astype(np.int32),
            ahead=aheads[depth],
        )
        for depth, first in enumerate(rows)
    ]
