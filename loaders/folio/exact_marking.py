"""Chips that bear a marking exactly: one look into the index, with next to nothing imported.

The commonest question is a part number typed whole, and its answer takes SQLite a tenth of a
millisecond. So this module, and all that it imports, does without what takes longer to import than
Python takes to start: typing, dataclasses, pathlib, re.
"""

from __future__ import annotations

import sqlite3

from ...schema.text import part_key
from .folio_file import FolioError, build_command

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from typing import Any, Final

CHIP_COLUMNS: Final = (
    "chip.part, chip.maker, chip.kind, chip.summary, chip.package, chip.pin_count, chip.invented"
)
PART_NUMBER: Final = 1.0
"""How sure a chip is when its part number was given."""
MARKING: Final = 0.95
"""How sure when it was another marking that the chip bears; whatever is less sure is not exact."""


def ask(connection: sqlite3.Connection, sql: str, *values: str | int | None) -> list[Any]:
    """The rows that a folio answers; raise FolioError when it cannot."""
    try:
        return connection.execute(sql, values).fetchall()
    except sqlite3.Error as fault:
        raise FolioError(
            f"the folio is damaged ({fault}); build it again: {build_command()}"
        ) from fault


def marked_rows(
    connection: sqlite3.Connection, where: str, values: tuple[str | int, ...], limit: int
) -> list[Any]:
    """Rows of ``CHIP_COLUMNS`` and the shortest marking that fits, one a chip, shortest first.

    Markings are looked through before chips, hence ``CROSS JOIN``.
    """
    return ask(
        connection,
        f"SELECT {CHIP_COLUMNS}, marking.text, min(length(marking.key)) AS size"
        f" FROM marking CROSS JOIN chip ON chip.part = marking.chip WHERE {where}"
        " GROUP BY chip.part ORDER BY size, chip.part_key LIMIT ?",
        *values,
        limit,
    )


def exact_rows(connection: sqlite3.Connection, key: str) -> list[Any]:
    """As ``marked_rows``, of the chips with a marking whose ``part_key`` is ``key``."""
    return marked_rows(connection, "marking.key = ?", (key,), -1)


def explain_exact(part: str, marking: str, key: str) -> tuple[str, float]:
    """Why a chip that bears ``key`` exactly is in the answer, in words, and how sure that is."""
    if part_key(part) == key:
        return "part number", PART_NUMBER
    return f"marking {marking}", MARKING
