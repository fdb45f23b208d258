"""One question, one ranked answer: chips by what is printed on them, chips and pins by words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from ...loaders import Folio
from ...loaders.folio import ChipRow, PinRow
from ...loaders.thesaurus import load as load_thesaurus
from ...loaders.word_search import words
from .marking import MarkingMatch, find_marking

# Words of a question that say nothing about the pin asked for.
_EMPTY_WORDS: Final = frozenset(
    word
    for line in ("a an the of for on in at to is are what", "which where pin pins chip chips ic")
    for word in line.split()
)
_MOST_TEXT: Final = 300
_WORDS_SCORE: Final = 0.5
_MOST_CHIPS_MEANT: Final = 20
_MOST_KEPT_FROM: Final = 200


@dataclass(frozen=True)
class Only:
    """What an answer is kept to; what is None does not count."""

    kind: str | None = None
    package: str | None = None
    system: str | None = None
    role: str | None = None

    def __bool__(self) -> bool:
        return self != Only()


@dataclass(frozen=True)
class PinMatch:
    """A pin in the answer, and why."""

    pin: PinRow
    match: str


@dataclass(frozen=True)
class Found:
    """The answer: chips and pins, each best first, and the nearest parts when there are none."""

    query: str
    chips: tuple[MarkingMatch, ...]
    pins: tuple[PinMatch, ...]
    nearest: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.chips or self.pins)

    def document(self) -> dict[str, Any]:
        """The answer as plain data, for ``--json`` and the page's ``.json``."""
        return {
            "query": self.query,
            "chips": [_chip_document(found) for found in self.chips],
            "pins": [_pin_document(found) for found in self.pins],
            "nearest": list(self.nearest),
        }


def find(folio: Folio, text: str, limit: int = 20, only: Only | None = None) -> Found:
    """Chips and pins for a marking, for words, or for both (``5752 sync input``).

    Whatever is typed is a question; nothing in it is a command to the search. ``only`` keeps the
    answer to what else can be seen: the package, the kind of chip, the role of the pin.
    """
    if only:
        return _kept(folio, find(folio, text, _MOST_KEPT_FROM), only, limit)
    asked = text[:_MOST_TEXT]
    chips = find_marking(folio, asked, limit)
    pins: list[PinMatch] = []
    if not chips or chips[0].score < _WORDS_SCORE:
        meant, rest = _chips_meant(folio, asked)
        if meant and rest:
            chips = meant
            pins = _pins(folio, rest, limit, [found.chip.part for found in meant])
        else:
            chips += _chips_by_words(folio, rest or asked, limit, chips)
            pins = _pins(folio, rest or asked, limit)
    nearest = () if chips or pins else folio.nearest_parts(asked)
    return Found(text, tuple(chips[:limit]), tuple(pins), nearest)


def _kept(folio: Folio, found: Found, only: Only, limit: int) -> Found:
    """The part of an answer that is as it must be, its chips made surer by what they leave out."""
    parts = folio.parts_where(only.kind, only.package, only.system)
    chips = tuple(match for match in found.chips if match.chip.part in parts)[:limit]
    pins = tuple(
        match
        for match in found.pins
        if match.pin.part in parts and only.role in (None, match.pin.role)
    )[:limit]
    nearest = tuple(part for part in found.nearest if part in parts)
    return Found(found.query, chips, pins, nearest)


def _chips_meant(folio: Folio, text: str) -> tuple[list[MarkingMatch], str]:
    """The chips that words with a digit in them stand for, and the words that are left."""
    rest: list[str] = []
    meant: list[MarkingMatch] = []
    for word in text.split():
        found = find_marking(folio, word, _MOST_CHIPS_MEANT) if _looks_marked(word) else []
        if found:
            meant += found
        else:
            rest.append(word)
    return meant, " ".join(rest)


def _looks_marked(word: str) -> bool:
    """Three characters or more with a digit among them: a piece of a marking."""
    return len(word) >= 3 and re.search(r"\d", word) is not None


def _chips_by_words(
    folio: Folio, text: str, limit: int, already: Sequence[MarkingMatch]
) -> list[MarkingMatch]:
    terms, seen = _terms(text), {found.chip.part for found in already}
    return [
        MarkingMatch(chip, _why(terms, _chip_texts(chip)), _WORDS_SCORE * 0.99**place)
        for place, chip in enumerate(folio.search_chips(terms, limit))
        if chip.part not in seen
    ]


def _pins(
    folio: Folio, text: str, limit: int, parts: Sequence[str] | None = None
) -> list[PinMatch]:
    terms = _terms(text)
    return [
        PinMatch(pin, _why(terms, _pin_texts(pin)))
        for pin in folio.search_pins(terms, limit, parts)
    ]


def _terms(text: str) -> list[list[str]]:
    """The terms of a question with their other wordings; empty words only if nothing else is."""
    telling = [word for word in words(text) if word.lower() not in _EMPTY_WORDS]
    return load_thesaurus().expand(" ".join(telling) or text)


def _chip_texts(chip: ChipRow) -> dict[str, str]:
    return {"part": chip.part, "kind": chip.kind, "maker": chip.maker, "summary": chip.summary}


def _pin_texts(pin: PinRow) -> dict[str, str]:
    return {
        "symbol": pin.symbol,
        "function": pin.function,
        "stage": pin.blocks,
        "role": pin.role,
    }


def _why(terms: Sequence[Sequence[str]], texts: dict[str, str]) -> str:
    """For each term, where it stands, and which other wording of it when it is not as typed."""
    reasons = [_reason(term, texts) for term in terms]
    return "; ".join(dict.fromkeys(reason for reason in reasons if reason)) or "words"


def _reason(term: Sequence[str], texts: dict[str, str]) -> str:
    for wording in term:
        for place, text in texts.items():
            if _says(text, wording):
                typed = term[0].casefold() == wording.casefold()
                return f"{place}: {wording}" + ("" if typed else f" (= {term[0]})")
    return ""


def _says(text: str, wording: str) -> bool:
    """Every word of the wording begins a word of the text."""
    known = [word.casefold() for word in words(text)]
    return all(
        any(word.startswith(wanted.casefold()) for word in known) for wanted in words(wording)
    )


def _chip_document(found: MarkingMatch) -> dict[str, Any]:
    chip = found.chip
    return {
        "part": chip.part,
        "maker": chip.maker,
        "kind": chip.kind,
        "match": found.match,
        "score": round(found.score, 3),
    }


def _pin_document(found: PinMatch) -> dict[str, Any]:
    pin = found.pin
    return {
        "part": pin.part,
        "pin": pin.number,
        "symbol": pin.symbol,
        "function": pin.function,
        "match": found.match,
    }
