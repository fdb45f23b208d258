"""Find pins whose symbol differs from that of the same function on all other chips.

Two functions are the same when their words are, in any order, as far as the thesaurus knows:
``CVBS input`` is ``composite video input``. This is the only advice that needs other chips.
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
_LEAST_CHIPS: Final = 2  # that agree on another symbol

Meaning = tuple[str, frozenset[frozenset[str]]]
"""A role, and the words of a function, each with its equivalent wordings."""


@dataclass(frozen=True)
class Naming:
    """Symbol and function of one pin, with the chip file it is from."""

    file: str
    part: str
    index: int
    symbol: str
    function: str
    meaning: Meaning


def list_namings(chip: Chip, file: str) -> tuple[Naming, ...]:
    """Return symbol and function of each used pin."""
    return tuple(
        Naming(
            file,
            chip.part,
            index,
            pin.symbol,
            pin.function,
            (pin.role, _find_meaning(pin.function)),
        )
        for index, pin in enumerate(chip.pins)
        if pin.role != "unused"
    )


def find_unusual_symbols(namings: Iterable[Naming]) -> Iterator[tuple[Naming, Finding]]:
    """Yield advice on each pin whose symbol no other chip uses, where the others agree."""
    alike: dict[Meaning, list[Naming]] = defaultdict(list)
    for naming in namings:
        alike[naming.meaning].append(naming)
    for group in alike.values():
        parts: dict[str, set[str]] = defaultdict(set)
        for naming in group:
            parts[_find_stem(naming.symbol)].add(naming.part)
        symbols = {_find_stem(naming.symbol): naming.symbol for naming in reversed(group)}
        usual = max(parts, key=lambda stem: len(parts[stem]))
        times = len(parts[usual])
        for naming in group:
            if times >= _LEAST_CHIPS and parts[_find_stem(naming.symbol)] == {naming.part}:
                yield naming, _build_finding(naming, symbols[usual], times)


def _build_finding(naming: Naming, usual: str, times: int) -> Finding:
    at = ("pins", naming.index, "symbol")
    problem = f"symbol {naming.symbol} is unusual for '{naming.function}'"
    remedy = f"use {usual}, as on {times} other chips"
    return Finding("symbol-unusual", at, problem, remedy, usual)


def _find_meaning(function: str) -> frozenset[frozenset[str]]:
    """Return the words of a function up to the first comma or colon, as singulars."""
    words = re.split("[,;:(]", function)[0].split()
    text = " ".join(word for word in words if word.lower() not in _LITTLE_WORDS)
    return frozenset(
        frozenset(wording.lower().rstrip("s") for wording in term)
        for term in thesaurus.load_thesaurus().expand(text)
    )


def _find_stem(symbol: str) -> str:
    """Return a symbol without spaces, signs and final number: ``R OUT 2`` gives ``ROUT``."""
    return re.sub("[0-9]+$", "", part_key(symbol))
