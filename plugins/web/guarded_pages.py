"""Guard the pages of a folio under any Datasette, and leave those of other databases alone."""

from __future__ import annotations

import re
from contextvars import ContextVar
from typing import Final

from datasette.app import Datasette

from .headers import App, Message, Receive, Send, with_security_headers
from .page_context import folio_database, is_of_another_database
from .pages import find_routes
from .plain_page import send_plain_page
from .serving.this_machine import names_this_machine

_IS_IN_OUR_FRAME: Final[ContextVar[bool]] = ContextVar("is_in_our_frame", default=True)


def is_in_our_frame() -> bool:
    """Return whether the page being answered is ours or Datasette's of the folio, for templates."""
    return _IS_IN_OUR_FRAME.get()


def guard_folio_pages(datasette: Datasette, app: App) -> App:
    """Return an ASGI application that guards our pages and those of the folio's tables.

    All but other databases' pages carry security headers. Over a loopback address ours are shown
    only under a name of this machine, as ``pinfolio serve`` does (DNS rebinding).
    """
    database = folio_database(datasette)
    if database is None:
        return app
    routes = [re.compile(path) for path, _ in find_routes()]
    routes.append(re.compile(rf"/{re.escape(database.route or database.name)}(?:[/.]|$)"))

    def is_ours_at(path: str) -> bool:
        return any(route.match(path) for route in routes)

    def is_of_no_other(path: str) -> bool:
        return not is_of_another_database(datasette, path)

    async def guarded(scope: Message, receive: Receive, send: Send) -> None:
        _IS_IN_OUR_FRAME.set(scope["type"] != "http" or is_of_no_other(scope["path"]))
        if scope["type"] == "http" and is_ours_at(scope["path"]) and _is_rebound(scope):
            message = "Found another name in the address, expected localhost or 127.0.0.1."
            await send_plain_page(send, 421, "Not by this name", message)
        else:
            await app(scope, receive, send)

    return with_security_headers(guarded, is_of_no_other)


def _is_rebound(scope: Message) -> bool:
    """Return whether a request came to a loopback address under the name of another machine."""
    server = (scope.get("server") or ("",))[0]
    host = next((value for name, value in scope["headers"] if name.lower() == b"host"), b"")
    return names_this_machine(str(server)) and not names_this_machine(host.decode("latin-1"))
