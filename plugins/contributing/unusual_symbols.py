"""Pins that are called otherwise than on every other chip that has a pin for the same.

Two functions are the same when their words are, in any order, as far as the thesaurus goes:
``CVBS input`` is ``composite video input``. Comparing needs other chips, so this is the one piece
of advice that a file cannot be given alone.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from ...loaders.words import thesaurus
from ...schema import Chip, Finding
from ...schema.text import part_key

_LITTLE_WORDS: Final = frozenset({"a", "an", "and", "for", "from", "of", "on", "the", "to", "with"})
_LEAST_CHIPS: Final = 2  # how many others must agree on a symbol before one is called unusual

Meaning = tuple[str, frozenset[frozenset[str]]]
"""A role, and the words of a function, each with all wordings that may stand for it."""


@dataclass(frozen=True)
class Naming:
    """What one pin of a chip is called, and for what; ``file`` is where the chip is from."""

    file: str
    part: str
    index: int
    symbol: str
    function: str
    meaning: Meaning


def namings(chip: Chip, file: str) -> tuple[Naming, ...]:
    """What each pin of the chip is called."""
    return tuple(
        Naming(file, chip.part, index, pin.symbol, pin.function, (pin.role, _meaning(pin.function)))
        for index, pin in enumerate(chip.pins)
        if pin.role != "unused"
    )


def unusual_symbols(known: Iterable[Naming]) -> Iterator[tuple[Naming, Finding]]:
    """Advice on each pin whose symbol no other chip uses, where the others agree on one."""
    alike: dict[Meaning, list[Naming]] = defaultdict(list)
    for naming in known:
        alike[naming.meaning].append(naming)
    for group in alike.values():
        parts: dict[str, set[str]] = defaultdict(set)
        for naming in group:
            parts[_stem(naming.symbol)].add(naming.part)
        symbols = {_stem(naming.symbol): naming.symbol for naming in reversed(group)}
        usual = max(parts, key=lambda stem: len(parts[stem]))
        times = len(parts[usual])
        for naming in group:
            if times >= _LEAST_CHIPS and parts[_stem(naming.symbol)] == {naming.part}:
                yield naming, _finding(naming, symbols[usual], times)


def _finding(naming: Naming, usual: str, times: int) -> Finding:
    at = ("pins", naming.index, "symbol")
    problem = f"symbol {naming.symbol} is unusual for '{naming.function}'"
    remedy = f"use {usual}, as on {times} other chips"
    return Finding("symbol-unusual", at, problem, remedy, usual)


def _meaning(function: str) -> frozenset[frozenset[str]]:
    """The words of a function up to the first comma or colon, plurals and little words aside."""
    words = re.split("[,;:(]", function)[0].split()
    text = " ".join(word for word in words if word.lower() not in _LITTLE_WORDS)
    return frozenset(
        frozenset(wording.lower().rstrip("s") for wording in term)
        for term in thesaurus.load().expand(text)
    )


def _stem(symbol: str) -> str:
    """A symbol without spaces, signs and the number that tells it from its like."""
    return re.sub("[0-9]+$", "", part_key(symbol))
