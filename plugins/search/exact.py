"""A part number or marking typed whole: answered in one line, with nothing heavy imported.

It is what ``find`` gives and prints as well; here is only what of it such a question needs.
"""

from __future__ import annotations

from ...loaders.folio.exact_marking import exact_rows, explain_exact
from ...loaders.folio.folio_choice import demo_folio_path, find_named_folio
from ...loaders.folio.folio_file import FolioError, connect_folio
from ...schema.text import part_key, visible

MOST_CHIPS = 20
"""How many chips an answer lists when nobody says."""

_MOST_SIGNS = 100


def exact_lines(text: str, folio: str | None = None) -> list[str]:
    """A line for each chip that bears ``text``; none when it takes more to find the answer.

    ``folio`` is the file to ask, when one was named.
    """
    if "?" in text or len(text) > _MOST_SIGNS or len(text.splitlines()) != 1:
        return []
    try:
        connection = connect_folio(find_named_folio(folio) or demo_folio_path())
        key = part_key(text)
        rows = exact_rows(connection, key)[:MOST_CHIPS]
        connection.close()
    except FolioError:
        return []  # whoever is asked next says what is wrong with it, or builds it
    found = []
    for part, maker, kind, _, package, _, invented, marking, _ in rows:
        why, score = explain_exact(part, marking, key)
        found.append((score, exact_line(part, maker, kind, package, bool(invented), why)))
    return [line for _, line in sorted(found, key=lambda one: -one[0])]


def exact_line(part: str, maker: str, kind: str, package: str, invented: bool, why: str) -> str:
    """The answer about one chip, safe to print."""
    whose = f"{maker} (invented)" if invented else maker
    return visible(f"{part} ({why}): {kind}, {package}, {whose}")
