"""My instruments: chosen once by a GET form and kept in a cookie of this browser."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ...instruments.known_instruments import load_instruments
from ..cookies import keep_in_cookie, return_address
from ..own_instruments import INSTRUMENT_COOKIE, SORTS, is_known, read_own_names, write_own_names
from ..page_context import render_page

_NOUNS: Final = {
    "meter": ("Meter", "meters"),
    "probe": ("Probe", "probes"),
    "scope": ("Oscilloscope", "scopes"),
    "counter": ("Frequency counter", "counters"),
    "tester": ("Component tester", "testers"),
}
_NONE: Final = {
    "counter": "none: frequencies are read off the screen",
    "tester": "none: figures with the set off are not shown",
}
"""How the choice of no instrument is offered, for sorts that a bench may lack."""


async def instruments(datasette: Datasette, request: Request) -> Response:
    """Return the choice of instruments; with ``?keep=`` keep it and go back to ``?back=``."""
    if request.args.get("keep"):
        return _keep(datasette, request)
    known = load_instruments()
    choices = [
        (sort, noun, list(getattr(known, listed).values()), _NONE.get(sort, ""))
        for sort, (noun, listed) in _NOUNS.items()
    ]
    return await render_page(
        datasette,
        request,
        "own_instruments.html",
        choices=choices,
        own=read_own_names(request),
        back=return_address(request),
    )


def _keep(datasette: Datasette, request: Request) -> Response:
    """Keep the names that are known, and go back to where the choice was asked for."""
    names = {sort: request.args.get(sort) or "" for sort in SORTS}
    names = {sort: name if is_known(sort, name) else "" for sort, name in names.items()}
    answer = Response.redirect(datasette.urls.path(return_address(request)))
    keep_in_cookie(datasette, answer, INSTRUMENT_COOKIE, write_own_names(names))
    return answer


VIEWS: Final = (instruments,)
