"""Every part of the folio, some hundreds to a page: works as a plain file as well."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import NotFound, Request, Response

from ..web import ask, page

PARTS_A_PAGE: Final = 500


async def parts(datasette: Datasette, request: Request) -> Response:
    """The parts in their order; ``?page=`` counts from 1."""
    typed = request.args.get("page") or "1"
    at = int(typed) if typed.isascii() and typed.isdecimal() and len(typed) < 9 else 0
    info, rows = await ask(datasette, lambda folio: (folio.info, folio.parts()))
    pages = max(1, -(-len(rows) // PARTS_A_PAGE))
    if not 1 <= at <= pages:
        raise NotFound("no such page of parts")
    return await page(
        datasette,
        request,
        "all_parts.html",
        info=info,
        parts=rows[(at - 1) * PARTS_A_PAGE : at * PARTS_A_PAGE],
        at=at,
        pages=[rows[number * PARTS_A_PAGE].part for number in range(pages)] if pages > 1 else [],
        narrow_script=datasette.urls.static_plugins("pinfolio", "narrow.js"),
    )
