"""A part number or marking typed whole: the answer in one line, without anything heavy imported.

It is what ``find`` gives and prints as well; here is only what of it such a question needs.
"""

from __future__ import annotations

from ...loaders.exact_marking import MARKING, exact_rows, why_exact
from ...loaders.folio_file import FolioError, connect_folio
from ...loaders.which_folio import demo_place, named_folio
from ...schema.text import part_key, visible

TYPE_CHECKING = False  # as typing has it, which takes as long to import as Python to start
if TYPE_CHECKING:
    from collections.abc import Iterable

    from .marking import MarkingMatch

MOST_CHIPS = 20
"""How many chips an answer lists when nobody says."""


def exact_lines(text: str, folio: str | None = None) -> list[str] | None:
    """A line for each chip that bears ``text``; None when it takes more to find the answer.

    ``folio`` is the file to ask, when one was named.
    """
    try:
        connection = connect_folio(named_folio(folio) or demo_place())
        key = "" if "?" in text or "\n" in text else part_key(text)
        rows = exact_rows(connection, key)[:MOST_CHIPS]
        connection.close()
    except FolioError:
        return None  # whoever is asked next says what is wrong with it, or builds it
    found = [
        (why_exact(part, marking, key), _Named(part, maker, kind, package, bool(invented)))
        for part, maker, kind, _, package, _, invented, marking, _ in rows
    ]
    found.sort(key=lambda one: -one[0][1])
    return [_line(chip, why) for (why, _), chip in found] or None


def lines_of(chips: Iterable[MarkingMatch]) -> list[str] | None:
    """The same of chips that were found; None when any bears something else than was asked."""
    found = list(chips)
    if all(match.score >= MARKING for match in found):
        return [_line(match.chip, match.match) for match in found] or None
    return None
