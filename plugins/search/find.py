"""Answer a query with chips, pins, functions, stages and notes, ranked and grouped."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from ...loaders import Folio
from ...loaders.folio.chip_search import ANY, Only
from ...loaders.folio.word_search import Shared
from ...loaders.words.full_text_query import quote_beginning, quote_phrase, split_words
from .answer import NoteMatch, PinMatch, SearchAnswer, SharedMatch
from .closeness import Terms, explain_relevance, score_relevance
from .marking_lookup import MarkingMatch, convert_guess, find_marking, find_printed, guess_damaged

if TYPE_CHECKING:
    from ...schema.note import Note
    from .damaged_marking import Guess

# Words of a query that do not describe a pin.
_STOP_WORDS: Final = frozenset(
    word
    for line in ("a an the of for on in at to is are what", "which where pin pins chip chips ic")
    for word in line.split()
)
_LONGEST_QUERY: Final = 300
_CERTAIN_SCORE: Final = 0.5
_MOST_NAMED_CHIPS: Final = 20
_QUOTES: Final = re.compile('["“”]')
_MOST_SECONDARY: Final = 8  # functions, stages and notes, so that they do not crowd out the pins


def find(
    folio: Folio, text: str, limit: int = 20, only: Only = ANY, *, typing: bool = False
) -> SearchAnswer:
    """Return the answer to a marking, to words, or to both (``5752 sync input``).

    Words in double quotes are a phrase; no other character has a meaning to the search. ``only``
    restricts the answer by package, kind of chip or role of the pin. ``typing`` means that the
    last word may be incomplete.
    """
    query = text[:_LONGEST_QUERY]
    marking = _QUOTES.sub(" ", query)
    printed_matches = find_printed(folio, marking, limit, only)
    # A marking printed on a chip answers the query; words would only add weaker matches.
    if printed_matches and printed_matches[0].score >= _CERTAIN_SCORE:
        return SearchAnswer(text, tuple(printed_matches))
    guesses = [] if printed_matches else guess_damaged(folio, marking, limit, only)
    if guesses:
        return _answer_by_guesses(folio, text, guesses)
    named_chips, rest = _find_named_chips(folio, query, only)
    if named_chips and rest:
        parts = [match.chip.part for match in named_chips]
        pins = _search_pins(folio, _extract_terms(rest, typing), limit, only, parts)
        return SearchAnswer(text, tuple(named_chips[:limit]), pins, is_by_marking=True)
    answer_by_words = _search_words(folio, _extract_terms(query, typing), limit, only)
    # A chip that matches in both ways is listed once, by its marking.
    printed_parts = {match.chip.part for match in printed_matches}
    other_matches = [
        match for match in answer_by_words.chips if match.chip.part not in printed_parts
    ]
    chips = (*printed_matches, *other_matches)[:limit]
    answer = replace(answer_by_words, query=text, chips=chips)
    return answer if answer else replace(answer, nearest=folio.nearest_parts(marking))


def _answer_by_guesses(folio: Folio, text: str, guesses: Sequence[Guess]) -> SearchAnswer:
    """Return the guesses at a damaged marking, and the features that would decide between them."""
    from .distinguishing_marks import find_distinguishing_marks

    matches = tuple(convert_guess(guess) for guess in guesses)
    marks = find_distinguishing_marks(folio, guesses)
    return SearchAnswer(text, matches, distinguishing_marks=marks)


def _find_named_chips(folio: Folio, text: str, only: Only) -> tuple[list[MarkingMatch], str]:
    """Return the chips that words with a digit in them name, and the remaining words."""
    match_of_part: dict[str, MarkingMatch] = {}
    words = text.split()
    naming_words = set()
    for word in dict.fromkeys(words):
        looks_like_marking = re.fullmatch(r"[^\"]{3,}", word) and re.search(r"\d", word)
        matches = find_marking(folio, word, _MOST_NAMED_CHIPS, only) if looks_like_marking else []
        for match in matches:
            match_of_part.setdefault(match.chip.part, match)
        if matches:
            naming_words.add(word)
    remaining_words = [word for word in words if word not in naming_words]
    return list(match_of_part.values()), " ".join(remaining_words)


def _extract_terms(text: str, typing: bool) -> list[list[str]]:
    """Return the terms of a query, each with its synonyms; quoted text has none."""
    terms = _split_terms(text)
    if typing and terms and text[-1:].isalnum():
        terms[-1].append(quote_beginning(terms[-1][0]))
    return terms


def _split_terms(text: str) -> list[list[str]]:
    """Return the terms without stop words; if that leaves none, with them."""
    from ...loaders.words.thesaurus import load_thesaurus

    thesaurus = load_thesaurus()
    terms: list[list[str]] = []
    for place, piece in enumerate(_QUOTES.split(text)):
        if place % 2:  # odd pieces are between quotes; an unclosed quote reaches to the end
            terms += [[quote_phrase(piece)]] if split_words(piece) else []
        else:
            content_words = [word for word in split_words(piece) if word.lower() not in _STOP_WORDS]
            terms += thesaurus.expand(" ".join(content_words))
    return _remove_repeats(terms or thesaurus.expand(_QUOTES.sub(" ", text)))


def _remove_repeats(terms: list[list[str]]) -> list[list[str]]:
    """Return each term once, at its last place, since the last term may be incomplete."""
    last_terms: dict[tuple[str, ...], list[str]] = {}
    for term in terms:
        term_key = tuple(wording.lower() for wording in term)
        last_terms[term_key] = last_terms.pop(term_key, term)
    return list(last_terms.values())


def _search_words(folio: Folio, terms: Terms, limit: int, only: Only) -> SearchAnswer:
    """Return every chip, pin, function, stage and note that contains the terms."""
    if not terms:
        return SearchAnswer("")
    secondary_limit = min(limit, _MOST_SECONDARY)
    return SearchAnswer(
        "",
        _search_chips(folio, terms, limit, only),
        _search_pins(folio, terms, limit, only),
        _score_shared(terms, folio.functions(terms, secondary_limit, only)),
        _score_shared(terms, folio.search_blocks(terms, secondary_limit, only)),
        # A note records no package and no kind of chip, so restrictions exclude all notes.
        () if only else _search_notes(folio, terms, secondary_limit),
    )


def _search_chips(folio: Folio, terms: Terms, limit: int, only: Only) -> tuple[MarkingMatch, ...]:
    """Return the chips whose part number, kind, maker or summary contains the terms."""
    matches = []
    for chip in folio.search_chips(terms, limit, only):
        texts = {
            "part": chip.part,
            "kind": chip.kind,
            "maker": chip.maker,
            "summary": chip.summary,
        }
        score = score_relevance(terms, texts.values())
        matches.append(MarkingMatch(chip, explain_relevance(terms, texts), score))
    return tuple(matches)


def _search_pins(
    folio: Folio, terms: Terms, limit: int, only: Only, parts: Sequence[str] | None = None
) -> tuple[PinMatch, ...]:
    """Return the pins that contain the terms, on the given parts or on all."""
    matches = []
    for pin in folio.search_pins(terms, limit, parts, only):
        texts = {
            "symbol": pin.symbol,
            "function": pin.function,
            "stage": pin.blocks,
            "role": pin.role,
        }
        score = score_relevance(terms, (pin.symbol, pin.function))
        matches.append(PinMatch(pin, explain_relevance(terms, texts), score))
    return tuple(matches)


def _score_shared(terms: Terms, entries: Sequence[Shared]) -> tuple[SharedMatch, ...]:
    """Return the stages or functions with their scores, in the same order."""
    return tuple(SharedMatch(entry, score_relevance(terms, (entry.text,))) for entry in entries)


def _search_notes(folio: Folio, terms: Terms, limit: int) -> tuple[NoteMatch, ...]:
    """Return the notes that contain the terms, each as one sentence."""
    notes = folio.search_notes(terms, limit)
    if not notes:
        return ()
    from ..notes.note_view import RevisionView

    return tuple(
        NoteMatch(note, RevisionView(note).sentence, score_relevance(terms, _collect_texts(note)))
        for note in notes
    )


def _collect_texts(note: Note) -> list[str]:
    """Return the texts of a note that are not empty."""
    return [text for text in (note.symptom, note.part, note.failure, note.cure, note.text) if text]
