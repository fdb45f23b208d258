"""Cells that a spreadsheet shows and never runs, and back.

Source: OWASP, "CSV Injection": a cell that begins with ``= + - @``, a tab or a carriage return is
written with an apostrophe before it. So is one that begins with an apostrophe, so that reading
takes away exactly what writing put there.
"""

from __future__ import annotations

from typing import Final

_RUNS: Final = ("=", "+", "-", "@", "\t", "\r", "'")
_MARK: Final = "'"


def write_inert(text: str) -> str:
    """Return a cell with an apostrophe before it if a spreadsheet would run it."""
    return f"{_MARK}{text}" if text.startswith(_RUNS) else text


def read_inert(cell: str) -> str:
    """Return a cell without the apostrophe that ``write_inert`` put before it."""
    return cell[1:] if cell.startswith(_MARK) and cell[1:].startswith(_RUNS) else cell
