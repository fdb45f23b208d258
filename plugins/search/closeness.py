"""Score how well a text answers the terms of a query, and say in which field each term occurs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from ...loaders.words.full_text_query import is_phrase, split_words

Terms = Sequence[Sequence[str]]
"""The wordings of each term, as typed first, then its synonyms (see ``Thesaurus.expand``)."""

_LEAST_SCORE: Final = 0.4  # a text that the full-text index found, but no field of which matches
_COVERAGE_SCORE: Final = 0.5  # added when one field consists of exactly the words typed
_SYNONYM_WEIGHT: Final = 0.9  # of a term matched by a synonym, against one matched as typed


def score_relevance(terms: Terms, texts: Iterable[str]) -> float:
    """Return a score from 0.4, a match in some field, to 0.9, a field of just the words typed."""
    coverages = (_compute_coverage(terms, text) for text in texts)
    return _LEAST_SCORE + _COVERAGE_SCORE * max(coverages, default=0.0)


def explain_relevance(terms: Terms, texts: Mapping[str, str]) -> str:
    """Return for each term the field that contains it, and the synonym when it is not as typed.

    ``texts`` are the searched fields by name. The result is ``words`` when no field has a term.
    """
    reasons = [_explain_term(term, texts) for term in terms]
    return "; ".join(dict.fromkeys(reason for reason in reasons if reason)) or "words"


def _explain_term(term: Sequence[str], texts: Mapping[str, str]) -> str:
    """Return ``field: wording (= term as typed)`` for the first match, empty without one."""
    for wording in term:
        for field, text in texts.items():
            if _match_words(text, wording):
                matched_words = " ".join(split_words(wording))
                is_as_typed = term[0].casefold() == wording.casefold()
                return f"{field}: {matched_words}" + ("" if is_as_typed else f" (= {term[0]})")
    return ""


def _compute_coverage(terms: Terms, text: str) -> float:
    """Return the share of terms that the text contains, times the share of its words they cover."""
    covered_words: set[str] = set()
    weight = 0.0
    for term in terms:
        for wording in term:
            if matches := _match_words(text, wording):
                weight += 1.0 if wording == term[0] else _SYNONYM_WEIGHT
                covered_words.update(matches)
                break
    all_words = {word.casefold() for word in split_words(text)}
    return weight / len(terms) * len(covered_words) / len(all_words) if covered_words else 0.0


def _match_words(text: str, wording: str) -> list[str]:
    """Return the words of a text that begin with the words of a wording; empty unless all occur.

    A phrase must occur word for word.
    """
    text_words = [word.casefold() for word in split_words(text)]
    wanted_words = [word.casefold() for word in split_words(wording)]
    if is_phrase(wording):
        length = len(wanted_words)
        starts = range(len(text_words) - length + 1)
        is_there = any(text_words[start : start + length] == wanted_words for start in starts)
        return wanted_words if is_there else []
    matches_of_word = [
        [word for word in text_words if word.startswith(beginning)] for beginning in wanted_words
    ]
    if not all(matches_of_word):
        return []
    return [word for matches in matches_of_word for word in matches]
