"""How near a text comes to what was asked, and where it says it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from ...loaders.words.full_text_query import is_phrase, words

Terms = Sequence[Sequence[str]]
"""The wordings of each term, the one typed first (see ``Thesaurus.expand``)."""

_LEAST_SCORE: Final = 0.4
_SYNONYM_WEIGHT: Final = 0.9  # said in another wording than the one typed


def score_relevance(terms: Terms, texts: Iterable[str]) -> float:
    """From 0.4, said somewhere, to 0.9: one of the texts says just what was typed and no more."""
    return _LEAST_SCORE + 0.5 * max((_compute_coverage(terms, text) for text in texts), default=0.0)


def explain_relevance(terms: Terms, texts: Mapping[str, str]) -> str:
    """For each term, where it stands, and which other wording of it when it is not as typed."""
    found = [_explain_term(term, texts) for term in terms]
    return "; ".join(dict.fromkeys(reason for reason in found if reason)) or "words"


def _explain_term(term: Sequence[str], texts: Mapping[str, str]) -> str:
    for wording in term:
        for place, text in texts.items():
            if _match_words(text, wording):
                plain = " ".join(words(wording))
                typed = term[0].casefold() == wording.casefold()
                return f"{place}: {plain}" + ("" if typed else f" (= {term[0]})")
    return ""


def _compute_coverage(terms: Terms, text: str) -> float:
    """How many of the terms the text says, times how much of the text says them."""
    covered: set[str] = set()
    said = 0.0
    for term in terms:
        for wording in term:
            if found := _match_words(text, wording):
                said += 1.0 if wording == term[0] else _SYNONYM_WEIGHT
                covered.update(found)
                break
    known = {word.casefold() for word in words(text)}
    return said / len(terms) * len(covered) / len(known) if covered else 0.0


def _match_words(text: str, wording: str) -> list[str]:
    """The words of the text that the words of the wording begin; none unless all of them do.

    A phrase must stand there word for word.
    """
    known = [word.casefold() for word in words(text)]
    wanted = [word.casefold() for word in words(wording)]
    if is_phrase(wording):
        starts = range(len(known) - len(wanted) + 1)
        return wanted if any(known[at : at + len(wanted)] == wanted for at in starts) else []
    begun = [[word for word in known if word.startswith(want)] for want in wanted]
    return [word for found in begun for word in found] if all(begun) else []
