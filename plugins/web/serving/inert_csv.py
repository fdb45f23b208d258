"""Make CSV inert in spreadsheets, which run a cell that begins with one of a few signs.

Source: OWASP, "CSV Injection": a cell that begins with ``= + - @``, a tab or a carriage return gets
an apostrophe before it, within quotes. Numbers stay as they are.
"""

from __future__ import annotations

import re
from typing import Final

from ..headers import Message, Send

_CELL: Final = re.compile(
    r'(?P<before>^|,|(?<=\n))(?:"(?P<quoted>(?:[^"]|"")*)"|(?P<bare>[^",\r\n]+))'
)
_RUNS: Final = ("=", "+", "-", "@", "\t", "\r")
_NUMBER: Final = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")


def make_inert(rows: str) -> str:
    """Return whole rows of CSV with an apostrophe before each cell that a spreadsheet would run."""
    return _CELL.sub(_guard_cell, rows)


def _guard_cell(match: re.Match[str]) -> str:
    text = match["bare"] if match["quoted"] is None else match["quoted"]
    if not text.startswith(_RUNS) or _NUMBER.fullmatch(text):
        return match[0]
    return f'{match["before"]}"\'{text}"'


def send_inert(send: Send) -> Send:
    """Return a ``send`` that makes CSV inert; its messages hold whole rows, as Datasette's do."""

    async def send_guarded(message: Message) -> None:
        if message["type"] == "http.response.body" and message.get("body"):
            rows = bytes(message["body"]).decode("utf-8", "surrogateescape")
            message = {**message, "body": make_inert(rows).encode("utf-8", "surrogateescape")}
        await send(message)

    return send_guarded
