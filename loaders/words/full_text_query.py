"""Words as people type them, turned into a full-text query that SQLite cannot misread.

Only letters and digits reach the query, every term is quoted, so that no quote, star, dash,
NEAR or NUL in what was typed means anything. Source: SQLite FTS5, section 3, "Full-text Query
Syntax" (https://www.sqlite.org/fts5.html).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from typing import Final

_MOST_TERMS: Final = 16
_LONGEST_TERM: Final = 64
_SHORTEST_PREFIX: Final = 3  # "sync" may go on to "synchronisation", "IF" not to "iffy"
_NEAR: Final = 3  # words between: "line output" is also "output to the line driver"

GoesOn = Callable[[str], Sequence[str] | None]
"""The words that begin with a word, itself among them; None to have all of them looked up."""


def words(text: str) -> list[str]:
    """The runs of letters and digits in a text, as the word index cuts them.

    >>> words("H-out (line drive)")
    ['H', 'out', 'line', 'drive']
    """
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text))


def as_phrase(text: str) -> str:
    """A wording whose words must stand side by side as they are, for a list of wordings."""
    return f'"{text}'


def is_phrase(wording: str) -> bool:
    """Whether a wording was made by ``as_phrase``."""
    return wording.startswith('"')


def as_beginning(text: str) -> str:
    """A wording whose last word may go on however short it is, since it is still being typed."""
    return f"{text}*"


def build_match_query(terms: Sequence[Sequence[str]], goes_on: GoesOn | None = None) -> str | None:
    """The FTS5 query that asks for every term, each in any of its wordings.

    ``terms`` is a list of alternatives for each term (see ``Thesaurus.expand``). The words of a
    wording must stand near each other; a last word of three letters or more may go on. The
    first sixteen terms count. None when no letter or digit is left to look for.

    >>> build_match_query([["color killer", "ACK"], ["IF"], [as_phrase("burst key")]])
    '(NEAR("color" "killer"*, 3) OR "ACK"*) AND ("IF") AND ("burst key")'
    >>> build_match_query([[as_beginning("b")]])
    '("b"*)'
    """
    groups = [[query for text in term for query in _wording(text, goes_on)] for term in terms]
    filled = [dict.fromkeys(group) for group in groups if group][:_MOST_TERMS]
    return " AND ".join(f"({' OR '.join(group)})" for group in filled) or None


def _wording(text: str, goes_on: GoesOn | None) -> list[str]:
    """What to look for, one or another: quoted words, near each other when there are several."""
    found = [word[:_LONGEST_TERM] for word in words(text)[:_MOST_TERMS]]
    if not found:
        return []
    if is_phrase(text):
        return [f'"{" ".join(found)}"']
    *first, last = found
    endings = [f'"{last}"']
    if len(last) >= _SHORTEST_PREFIX or text.endswith("*"):
        known = goes_on(last) if goes_on is not None else None
        endings = [f'"{last}"*'] if known is None else [f'"{word}"' for word in known]
    begun = " ".join(f'"{word}"' for word in first)
    return [f"NEAR({begun} {ending}, {_NEAR})" if first else ending for ending in endings]
