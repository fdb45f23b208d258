"""Turn typed words into a full-text query without syntax of their own.

Only letters and digits reach the query, and every term is quoted, so quotes, stars, dashes, NEAR
or NUL in the input have no effect. Source: SQLite FTS5, section 3, "Full-text Query
Syntax" (https://www.sqlite.org/fts5.html).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from typing import Final

_MOST_TERMS: Final = 16
_LONGEST_TERM: Final = 64
_SHORTEST_PREFIX: Final = 3  # "sync" also finds "synchronisation", but "IF" not "iffy"
_NEAR: Final = 3  # words between: "line output" also finds "output to the line driver"

CompleteWord = Callable[[str], Sequence[str] | None]
"""Returns the words to look up for a prefix, itself included; None looks up all of them."""


def split_words(text: str) -> list[str]:
    """Return the runs of letters and digits in a text, as the word index splits it.

    >>> split_words("H-out (line drive)")
    ['H', 'out', 'line', 'drive']
    """
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text))


def quote_phrase(text: str) -> str:
    """Return a wording whose words must occur side by side and complete."""
    return f'"{text}'


def is_phrase(wording: str) -> bool:
    """Return whether a wording was made by ``quote_phrase``."""
    return wording.startswith('"')


def quote_beginning(text: str) -> str:
    """Return a wording whose last word is a prefix, however short: it is still being typed."""
    return f"{text}*"


def build_match_query(
    terms: Sequence[Sequence[str]], complete: CompleteWord | None = None
) -> str | None:
    """Return the FTS5 query for every term, each in any of its wordings; None if it is empty.

    ``terms`` holds the wordings of each term (see ``Thesaurus.expand``). The words of a wording
    must occur near each other, and a last word of three letters or more matches as a prefix.
    Terms after the sixteenth are ignored.

    >>> build_match_query([["color killer", "ACK"], ["IF"], [quote_phrase("burst key")]])
    '(NEAR("color" "killer"*, 3) OR "ACK"*) AND ("IF") AND ("burst key")'
    >>> build_match_query([[quote_beginning("b")]])
    '("b"*)'
    """
    alternatives_of_terms: list[str] = []
    for wordings in terms:
        queries = [query for text in wordings for query in _make_queries(text, complete)]
        if queries:  # a term of punctuation alone asks for nothing
            alternatives_of_terms.append(f"({' OR '.join(dict.fromkeys(queries))})")
    return " AND ".join(alternatives_of_terms[:_MOST_TERMS]) or None


def _make_queries(text: str, complete: CompleteWord | None) -> list[str]:
    """Return the alternative queries for a wording."""
    words = [word[:_LONGEST_TERM] for word in split_words(text)[:_MOST_TERMS]]
    if not words:
        return []
    if is_phrase(text):
        return [f'"{" ".join(words)}"']
    *first_words, last_word = words
    last_queries = [f'"{last_word}"']
    # The last word may still be being typed; one or two letters would match half the index.
    if len(last_word) >= _SHORTEST_PREFIX or text.endswith("*"):
        completions = complete(last_word) if complete is not None else None
        if completions is None:
            last_queries = [f'"{last_word}"*']
        else:
            last_queries = [f'"{word}"' for word in completions]
    if not first_words:
        return last_queries
    first_query = " ".join(f'"{word}"' for word in first_words)
    return [f"NEAR({first_query} {last_query}, {_NEAR})" for last_query in last_queries]
