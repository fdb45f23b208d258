"""One question, one ranked and grouped answer: chips, pins, functions, stages and notes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from ...loaders import Folio
from ...loaders.folio.chip_search import ANY, Only
from ...loaders.folio.word_search import Shared
from ...loaders.words.full_text_query import as_beginning, as_phrase, words
from .answer import NoteMatch, PinMatch, SearchAnswer, SharedMatch
from .closeness import Terms, explain_relevance, score_relevance
from .marking_lookup import MarkingMatch, convert_guess, find_marking, find_printed, guess_damaged

if TYPE_CHECKING:
    from ...schema.note import Note

# Words of a question that say nothing about the pin asked for.
_STOP_WORDS: Final = frozenset(
    word
    for line in ("a an the of for on in at to is are what", "which where pin pins chip chips ic")
    for word in line.split()
)
_LONGEST_QUERY: Final = 300
_CERTAIN_SCORE: Final = 0.5
_MOST_NAMED_CHIPS: Final = 20
_QUOTES: Final = re.compile('["“”]')
_MOST_SECONDARY: Final = 8  # functions, stages and notes: beside the pins, not instead of them


def find(
    folio: Folio, text: str, limit: int = 20, only: Only = ANY, *, typing: bool = False
) -> SearchAnswer:
    """What answers a marking, words, or both (``5752 sync input``); words in ``"..."`` as a phrase.

    Whatever is typed is a question; nothing in it is a command to the search. ``only`` keeps the
    answer to what else can be seen: the package, the kind of chip, the role of the pin.
    ``typing`` says that the last word may not be finished.
    """
    asked = text[:_LONGEST_QUERY]
    marking = _QUOTES.sub(" ", asked)
    printed = find_printed(folio, marking, limit, only)
    if printed and printed[0].score >= _CERTAIN_SCORE:
        return SearchAnswer(text, tuple(printed))
    guessed = [] if printed else guess_damaged(folio, marking, limit, only)
    if guessed:
        from .distinguishing_marks import find_distinguishing_marks

        chips = tuple(convert_guess(guess) for guess in guessed)
        return SearchAnswer(text, chips, settles=find_distinguishing_marks(folio, guessed))
    meant, rest = _find_named_chips(folio, asked, only)
    if meant and rest:
        parts = [found.chip.part for found in meant]
        pins = _search_pins(folio, _extract_terms(rest, typing), limit, only, parts)
        return SearchAnswer(text, tuple(meant[:limit]), pins, marked=True)
    said = _search_words(folio, _extract_terms(asked, typing), limit, only)
    known = {found.chip.part for found in printed}
    chips = (*printed, *(found for found in said.chips if found.chip.part not in known))
    found = replace(said, query=text, chips=chips[:limit])
    return found if found else replace(found, nearest=folio.nearest_parts(marking))


def _find_named_chips(folio: Folio, text: str, only: Only) -> tuple[list[MarkingMatch], str]:
    """The chips that words with a digit in them stand for, and the words that are left."""
    meant: dict[str, MarkingMatch] = {}
    typed = text.split()
    for word in dict.fromkeys(typed):
        marked = re.fullmatch(r"[^\"]{3,}", word) and re.search(r"\d", word)
        found = find_marking(folio, word, _MOST_NAMED_CHIPS, only) if marked else []
        for match in found:
            meant.setdefault(match.chip.part, match)
        typed = [other for other in typed if other != word] if found else typed
    return list(meant.values()), " ".join(typed)


def _extract_terms(text: str, typing: bool) -> list[list[str]]:
    """The terms of a question with their other wordings; what stands in quotes as it is."""
    terms = _split_terms(text)
    if typing and terms and text[-1:].isalnum():
        terms[-1].append(as_beginning(terms[-1][0]))
    return terms


def _split_terms(text: str) -> list[list[str]]:
    from ...loaders.words.thesaurus import load as load_thesaurus

    thesaurus = load_thesaurus()
    terms: list[list[str]] = []
    for place, piece in enumerate(_QUOTES.split(text)):
        if place % 2:  # between one quote and the next, or the end
            terms += [[as_phrase(piece)]] if words(piece) else []
        else:
            telling = [word for word in words(piece) if word.lower() not in _STOP_WORDS]
            terms += thesaurus.expand(" ".join(telling))
    return _remove_repeats(terms or thesaurus.expand(_QUOTES.sub(" ", text)))


def _remove_repeats(terms: list[list[str]]) -> list[list[str]]:
    """Each term once, where it comes last: that one may not be finished."""
    found: dict[tuple[str, ...], list[str]] = {}
    for term in terms:
        said = tuple(wording.lower() for wording in term)
        found[said] = found.pop(said, term)
    return list(found.values())


def _search_words(folio: Folio, terms: Terms, limit: int, only: Only) -> SearchAnswer:
    """All that says the words."""
    if not terms:
        return SearchAnswer("")
    beside = min(limit, _MOST_SECONDARY)
    return SearchAnswer(
        "",
        _search_chips(folio, terms, limit, only),
        _search_pins(folio, terms, limit, only),
        _score_shared(terms, folio.functions(terms, beside, only)),
        _score_shared(terms, folio.search_blocks(terms, beside, only)),
        () if only else _search_notes(folio, terms, beside),  # a note is about no kind of chip
    )


def _search_chips(folio: Folio, terms: Terms, limit: int, only: Only) -> tuple[MarkingMatch, ...]:
    found = []
    for chip in folio.search_chips(terms, limit, only):
        texts = {
            "part": chip.part,
            "kind": chip.kind,
            "maker": chip.maker,
            "summary": chip.summary,
        }
        score = score_relevance(terms, texts.values())
        found.append(MarkingMatch(chip, explain_relevance(terms, texts), score))
    return tuple(found)


def _search_pins(
    folio: Folio, terms: Terms, limit: int, only: Only, parts: Sequence[str] | None = None
) -> tuple[PinMatch, ...]:
    found = []
    for pin in folio.search_pins(terms, limit, parts, only):
        texts = {
            "symbol": pin.symbol,
            "function": pin.function,
            "stage": pin.blocks,
            "role": pin.role,
        }
        score = score_relevance(terms, (pin.symbol, pin.function))
        found.append(PinMatch(pin, explain_relevance(terms, texts), score))
    return tuple(found)


def _score_shared(terms: Terms, found: Sequence[Shared]) -> tuple[SharedMatch, ...]:
    return tuple(SharedMatch(said, score_relevance(terms, (said.text,))) for said in found)


def _search_notes(folio: Folio, terms: Terms, limit: int) -> tuple[NoteMatch, ...]:
    found = folio.search_notes(terms, limit)
    if not found:
        return ()
    from ..notes.note_view import RevisionView

    return tuple(
        NoteMatch(note, RevisionView(note).sentence, score_relevance(terms, _collect_texts(note)))
        for note in found
    )


def _collect_texts(note: Note) -> list[str]:
    return [text for text in (note.symptom, note.part, note.failure, note.cure, note.text) if text]
