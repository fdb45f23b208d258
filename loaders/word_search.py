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
_NEAR: Final = 3  # words between: "line output" is also "output to the line driver"


def words(text: str) -> list[str]:
    """The runs of letters and digits in a text, as the word index cuts them.

    >>> words("H-out (line drive)")
    ['H', 'out', 'line', 'drive']
    """
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text))


def match_query(terms: Sequence[Sequence[str]]) -> str | None:
    """The FTS5 query that asks for every term, each in any of its wordings.

    ``terms`` is a list of alternatives for each term (see ``Thesaurus.expand``). The words of a
    wording must stand near each other; a last word of three letters or more may go on. The
    first sixteen terms count. None when no letter or digit is left to look for.

    >>> match_query([["color killer", "ACK"], ["IF"]])
    '(NEAR("color" "killer"*, 3) OR "ACK"*) AND ("IF")'
    """
    groups = [[_wording(found) for text in term if (found := words(text))] for term in terms]
    filled = [dict.fromkeys(group) for group in groups if group][:_MOST_TERMS]
    return " AND ".join(f"({' OR '.join(group)})" for group in filled) or None


def _wording(found: list[str]) -> str:
    """Quoted words, near each other when there are several."""
    quoted = [f'"{word[:_LONGEST_TERM]}"' for word in found[:_MOST_TERMS]]
    if len(found[-1]) >= _SHORTEST_PREFIX:
        quoted[-1] += "*"
    return quoted[0] if len(quoted) == 1 else f"NEAR({' '.join(quoted)}, {_NEAR})"
