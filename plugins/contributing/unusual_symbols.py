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
    namings_of: dict[Meaning, list[Naming]] = defaultdict(list)
    for naming in namings:
        namings_of[naming.meaning].append(naming)
    for same_meaning in namings_of.values():
        parts_of_stem: dict[str, set[str]] = defaultdict(set)
        symbol_of_stem: dict[str, str] = {}
        for naming in same_meaning:
            stem = _find_stem(naming.symbol)
            parts_of_stem[stem].add(naming.part)
            symbol_of_stem.setdefault(stem, naming.symbol)
        usual_stem = max(parts_of_stem, key=lambda stem: len(parts_of_stem[stem]))
        usual_symbol, chip_count = symbol_of_stem[usual_stem], len(parts_of_stem[usual_stem])
        if chip_count < _LEAST_CHIPS:
            continue
        for naming in same_meaning:
            is_alone = parts_of_stem[_find_stem(naming.symbol)] == {naming.part}
            if is_alone:
                yield naming, _build_finding(naming, usual_symbol, chip_count)


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
