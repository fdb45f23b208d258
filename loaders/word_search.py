"""Words as people type them, turned into a full-text query that SQLite cannot misread.

Only letters and digits reach the query, every term is quoted, so that no quote, star, dash,
NEAR or NUL in what was typed means anything. Source: SQLite FTS5, section 3, "Full-text Query
Syntax" (https://www.sqlite.org/fts5.html).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import Final

_MOST_TERMS: Final = 16
_LONGEST_TERM: Final = 64
_SHORTEST_PREFIX: Final = 3  # "sync" may go on to "synchronisation", "IF" not to "iffy"


def words(text: str) -> list[str]:
    """The runs of letters and digits in a text, as the word index cuts them.

    >>> words("H-out (line drive)")
    ['H', 'out', 'line', 'drive']
    """
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text))


def match_query(terms: Sequence[Sequence[str]]) -> str | None:
    """The FTS5 query that asks for every term, each in any of its wordings.

    ``terms`` is a list of alternatives for each term (see ``Thesaurus.expand``); a wording of
    several words is looked for as a phrase, and its last word may go on. The first sixteen
    terms count. None when no letter or digit is left to look for.

    >>> match_query([["color killer", "colour killer"], ["IF"]])
    '("color killer" * OR "colour killer" *) AND ("IF")'
    """
    groups = [[_quoted(wording) for wording in term if words(wording)] for term in terms]
    filled = [dict.fromkeys(group) for group in groups if group][:_MOST_TERMS]
    return " AND ".join(f"({' OR '.join(group)})" for group in filled) or None


def _quoted(wording: str) -> str:
    found = [word[:_LONGEST_TERM] for word in words(wording)][:_MOST_TERMS]
    star = " *" if len(found[-1]) >= _SHORTEST_PREFIX else ""
    return f'"{" ".join(found)}"{star}'
