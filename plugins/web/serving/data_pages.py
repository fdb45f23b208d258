"""Keep Datasette's own pages, which run SQL from the address, within bounds.

One of them is answered at a time, so that however many are asked for, the pages at the bench stay
quick; one that takes too long ends with status 503.
"""

from __future__ import annotations

import asyncio
import re
from contextvars import ContextVar
from typing import Final

from ..headers import App, Message, Receive, Send
from ..plain_page import send_plain_page
from .inert_csv import send_inert

ANSWER_S: Final = 8.0
"""Longest time from the request to the last byte of its answer."""

IS_DATA_PAGE: Final[ContextVar[bool]] = ContextVar("is_data_page", default=False)
"""Whether the current request is answered by one of Datasette's own pages."""

_WAIT: Final = (
    f"The tables took more than {ANSWER_S:.0f} seconds. Ask for less, or again in a moment."
)


def bound_data_pages(app: App) -> App:
    """Return an ASGI application that answers data pages of ``app`` one at a time."""
    from ..pages import find_routes

    own_pages = [re.compile(path) for path in (*(path for path, _ in find_routes()), "^/-/")]
    turn = asyncio.Semaphore(1)

    async def bounded(scope: Message, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or any(p.match(scope["path"]) for p in own_pages):
            await app(scope, receive, send)
        else:
            await _answer_in_turn(app, turn, scope, receive, send)

    return bounded


async def _answer_in_turn(
    app: App, turn: asyncio.Semaphore, scope: Message, receive: Receive, send: Send
) -> None:
    """Answer a data page when its turn comes; with status 503 if that takes too long."""
    has_begun = False

    async def send_noted(message: Message) -> None:
        nonlocal has_begun
        has_begun = True
        await send(message)

    IS_DATA_PAGE.set(True)
    is_csv = scope["path"].endswith(".csv") or b"_format=csv" in scope.get("query_string", b"")
    try:
        async with asyncio.timeout(ANSWER_S), turn:
            await app(scope, receive, send_inert(send_noted) if is_csv else send_noted)
    except TimeoutError:
        # Of an answer under way nothing more is sent, and the connection is closed before its end.
        if not has_begun:
            await send_plain_page(send, 503, "One moment", _WAIT, {"retry-after": "10"})
