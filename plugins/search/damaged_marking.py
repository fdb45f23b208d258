"""Guess the parts that a scorched, ground or half-legible marking may name, with probabilities."""

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

# How fast a part's probability falls with the cost of the misreading, which is in hundredths of a
# wrong character. Fitted to randomly damaged markings, on the cautious side:
# tests/benchmarks/bench_search.py compares the probabilities with how often the guess is right.
_SHARPNESS: Final = 0.05
_UNKNOWN_PART_COST: Final = 120  # at this cost a part missing from the folio is as likely
_LEAST_KNOWN_SHARE: Final = 0.2  # with less probability on known parts, none is offered
_COST_SPREAD: Final = 80  # a marking this much dearer than the nearest is fifty times less likely
_FEWEST_MARKINGS: Final = 30  # more than parts, since a part may have several similar markings
_MARKINGS_A_GUESS: Final = 3  # looked up for each chip wanted, for the same reason
_MOST_TREES: Final = 4


@dataclass(frozen=True)
class Guess:
    """A chip that may carry the damaged marking, its probability, and the assumed misreadings."""

    chip: ChipRow
    marking: str
    probability: float
    """Of this chip; the rest of the total is for parts that the folio does not hold."""
    reasons: tuple[str, ...]


def guess_chips(folio: Folio, text: str, most: int = 10, only: Only = ANY) -> list[Guess]:
    """Return the chips that a damaged marking may name, most probable first, each chip once.

    ``most`` bounds their number; ``only`` restricts them. Empty when the marking is more
    probably on a chip that the folio does not hold.
    """
    answers = [_guess_one_reading(folio, typed, most, only) for typed in interpret_marking(text)]
    return min(answers, key=lambda answer: answer[0])[1]


def _guess_one_reading(
    folio: Folio, typed: TypedMarking, most: int, only: Only
) -> tuple[int, list[Guess]]:
    """Return the cost of the nearest marking, in hundredths of a wrong character, and guesses."""
    if not typed.key.strip(UNREAD):
        return _UNKNOWN_PART_COST, []
    tree = _load_tree(folio, only)
    places, costs = tree.find_nearest(typed.key, _FEWEST_MARKINGS, _COST_SPREAD)
    weights = [_weigh_cost(cost) for cost in costs.tolist()]
    looked_up = max(_FEWEST_MARKINGS, _MARKINGS_A_GUESS * most)
    keys = [tree.keys[place] for place in places[:looked_up].tolist()]
    # The nearest marking of a part is its best one: nearer ones come first.
    chips_of_key = folio.find_chips_by_keys(keys, only)
    best_of_part: dict[str, tuple[ChipRow, str, str, float]] = {}
    for key, weight in zip(keys, weights[:looked_up], strict=True):
        for marked in chips_of_key.get(key, ()):
            best_of_part.setdefault(marked.chip.part, (marked.chip, marked.marking, key, weight))
    # Markings too far away to be looked up still take their share of the probability.
    known_weight = sum(weight for *_, weight in best_of_part.values()) + sum(weights[looked_up:])
    total_weight = known_weight + _weigh_cost(_UNKNOWN_PART_COST)
    if known_weight / total_weight < _LEAST_KNOWN_SHARE:
        return _UNKNOWN_PART_COST, []
    guesses = [
        Guess(
            chip=chip,
            marking=marking,
            probability=weight / total_weight,
            reasons=(*explain_misreading(typed.key, key).reasons, *typed.reasons),
        )
        for chip, marking, key, weight in list(best_of_part.values())[:most]
    ]
    return int(costs[0]), guesses


def _weigh_cost(cost: int) -> float:
    """Return the relative probability of a misreading of this cost, 1 for a cost of 0."""
    return math.exp(-_SHARPNESS * cost)


_trees: dict[tuple[str, Only], MarkingTree] = {}
_trees_lock = Lock()


def _load_tree(folio: Folio, only: Only) -> MarkingTree:
    """Return the tree of a folio's markings, restricted by ``only``; the last few are cached."""
    cache_key = (folio.info.digest, only)
    with _trees_lock:
        if cache_key not in _trees:
            while len(_trees) >= _MOST_TREES:
                del _trees[next(iter(_trees))]
            _trees[cache_key] = MarkingTree(folio.list_marking_keys(only))
        return _trees[cache_key]
