"""A marking that is scorched, ground or half gone: which parts can it be, how likely, and why?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from threading import Lock
from typing import Final

from ...loaders import Folio
from ...loaders.folio.chip_search import ANY, ChipRow, Only
from .marking_tree import MarkingTree
from .misreading import explain_misreading
from .typed_marking import UNREAD, TypedMarking, interpret_marking

# How quickly a part grows unlikely with what the misreading would have cost, in hundredths of a
# wrong sign. Fitted to markings damaged by chance, and rather modest than bold: see
# tests/benchmarks/bench_search.py, which holds the probabilities against how often they are right.
_SHARPNESS: Final = 0.05
_UNKNOWN_PART_COST: Final = 120  # as likely to be a part that the folio does not hold
_LEAST_KNOWN_SHARE: Final = 0.2  # below this it is more likely none of them
_COST_SPREAD: Final = 80  # what costs so much more than the nearest is fifty times less likely
_FEWEST_MARKINGS: Final = 30  # markings, since a part may bear several that look alike
_MOST_TREES: Final = 4


@dataclass(frozen=True)
class Guess:
    """A chip that the damaged marking may be on, and why."""

    chip: ChipRow
    marking: str
    probability: float
    """Of this chip; all chips together leave some for one that the folio does not hold."""
    reasons: tuple[str, ...]


def guess_chips(folio: Folio, text: str, most: int = 10, only: Only = ANY) -> list[Guess]:
    """The parts that a damaged marking may be, likeliest first; each part once."""
    found = [_guess_one_reading(folio, typed, most, only) for typed in interpret_marking(text)]
    return min(found, key=lambda guessed: guessed[0])[1]


def _guess_one_reading(
    folio: Folio, typed: TypedMarking, most: int, only: Only
) -> tuple[int, list[Guess]]:
    """What the nearest marking costs, and the guesses."""
    if not typed.key.strip(UNREAD):
        return _UNKNOWN_PART_COST, []
    tree = _load_tree(folio, only)
    places, costs = tree.nearest(typed.key, _FEWEST_MARKINGS, _COST_SPREAD)
    looked = max(_FEWEST_MARKINGS, 3 * most)
    keys = [tree.keys[place] for place in places[:looked].tolist()]
    weights = [_weigh_cost(cost) for cost in costs.tolist()]
    best: dict[str, tuple[ChipRow, str, str, float]] = {}
    bearers = folio.chips_by_keys(keys, only)
    for key, weight in zip(keys, weights[:looked], strict=True):
        for marked in bearers.get(key, ()):
            best.setdefault(marked.chip.part, (marked.chip, marked.marking, key, weight))
    here = sum(weight for *_, weight in best.values()) + sum(weights[looked:])
    total = here + _weigh_cost(_UNKNOWN_PART_COST)
    if here / total < _LEAST_KNOWN_SHARE:
        return _UNKNOWN_PART_COST, []
    told = [
        Guess(
            chip,
            marking,
            weight / total,
            (*explain_misreading(typed.key, key).reasons, *typed.reasons),
        )
        for chip, marking, key, weight in list(best.values())[:most]
    ]
    return int(costs[0]), told


def _weigh_cost(cost: int) -> float:
    return math.exp(-_SHARPNESS * cost)


_trees: dict[tuple[str, Only], MarkingTree] = {}
_trees_lock = Lock()


def _load_tree(folio: Folio, only: Only) -> MarkingTree:
    """The markings of a folio, or of the chips an answer is kept to; made once, a few kept."""
    name = (folio.info.digest, only)
    with _trees_lock:
        if name not in _trees:
            while len(_trees) >= _MOST_TREES:
                del _trees[next(iter(_trees))]
            _trees[name] = MarkingTree(folio.marking_keys(only))
        return _trees[name]
