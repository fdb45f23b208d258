"""Rows about shops and their notes as a table."""

from __future__ import annotations

from collections.abc import Sequence

from ..command_common import open_console


def print_rows(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    """Print rows under their heads; nothing without rows."""
    from rich.box import SIMPLE
    from rich.table import Table

    from ....schema.text import visible

    if not rows:
        return
    table = Table(*heads, box=SIMPLE, pad_edge=False)
    for row in rows:
        table.add_row(*map(visible, row))
    open_console().print(table)
