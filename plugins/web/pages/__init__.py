"""The pages: each module here translates documents to HTML and JSON, and lists its ``VIEWS``.

A module is imported when one of its pages is first asked for: the first answer of a server need not
wait for the others.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from datasette.app import Datasette
    from datasette.utils.asgi import Request, Response

    View = Callable[[Datasette, Request], Awaitable[Response]]

ADDRESSES: Final = {
    "begin_pages": (r"^/begin(?P<file>\.yaml)?$",),
    "bench_sheet_pages": (r"^/chip/(?P<part>[^/]+)/bench-sheet(?P<format>)$",),
    "capture_pages": (r"^/chip/(?P<part>[^/]+)/(?P<pin>[^/]+)/capture$",),
    "check_pages": (r"^/chip/(?P<part>[^/]+)/(?P<pin>[^/]+)/check\.json$",),
    "chip_pages": (r"^/chip/(?P<part>[^/]+?)(?P<format>\.json)?$",),
    "comparison_pages": (r"^/compare(?P<format>\.json)?$",),
    "fault_finding_pages": (r"^/chip/(?P<part>[^/]+)/fault-finding(?P<format>\.json)?$",),
    "hunt_pages": (r"^/fault-finding$",),
    "instrument_pages": (r"^/instruments$",),
    "look_pages": (r"^/look$",),
    "new_note_pages": (r"^/note$", r"^/note\.yaml$"),
    "note_pages": (
        r"^/notes(?P<format>\.json)?$",
        r"^/notes/attachment/(?P<sha256>[0-9a-f]{64})\.(?P<ending>csv|png|jpg)$",
    ),
    "parts_pages": (r"^/parts$",),
    "pin_pages": (
        r"^/chip/(?P<part>[^/]+)/(?!(?:fault-finding|bench-sheet)(?:\.json)?$)"
        r"(?P<pin>[^/]+?)(?P<format>\.json)?$",
    ),
    "search_pages": (r"^/$", r"^/find(?P<format>\.json)?$"),
}
"""By module: a regular expression of the path of each of its ``VIEWS``, in the same order."""


def find_routes() -> list[tuple[str, View]]:
    """Return the routes of all pages: a regular expression of the path, and its view."""
    return [
        (address, _load_at_first_visit(module, place))
        for module, addresses in ADDRESSES.items()
        for place, address in enumerate(addresses)
    ]


def _load_at_first_visit(module_name: str, place: int) -> View:
    """Return a view that imports its module when it is first called."""
    view: View | None = None

    async def answer(datasette: Datasette, request: Request) -> Response:
        nonlocal view
        if view is None:
            # In a thread: importing the diagnosis would keep other visitors waiting.
            module = await asyncio.to_thread(import_module, f".{module_name}", __name__)
            view = module.VIEWS[place]
        return await view(datasette, request)

    return answer
