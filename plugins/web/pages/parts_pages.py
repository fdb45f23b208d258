"""The list of all parts, some hundreds on a page, which also works as a plain file."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import NotFound, Request, Response

from ....loaders import Folio
from ....loaders.folio.chip_search import ChipRow
from ....loaders.folio.folio import FolioInfo
from ..page_context import ask, render_page

PARTS_A_PAGE: Final = 500


async def parts(datasette: Datasette, request: Request) -> Response:
    """Return a page of the list of parts; ``?page=`` counts from 1."""
    typed = request.args.get("page") or "1"
    at = int(typed) if typed.isascii() and typed.isdecimal() and len(typed) < 9 else 0
    if at < 1:
        raise NotFound("no such page of parts")

    def listed(folio: Folio) -> tuple[FolioInfo, list[ChipRow], dict[str, list[str]], list[str]]:
        rows = folio.parts(PARTS_A_PAGE, (at - 1) * PARTS_A_PAGE)
        markings = folio.other_markings([row.part for row in rows])
        return folio.info, rows, markings, folio.every_part(PARTS_A_PAGE)

    info, rows, markings, pages = await ask(datasette, listed)
    if at > max(1, len(pages)):
        raise NotFound("no such page of parts")
    return await render_page(
        datasette,
        request,
        "all_parts.html",
        info=info,
        parts=rows,
        markings=markings,
        at=at,
        pages=pages if len(pages) > 1 else [],
    )


VIEWS: Final = (parts,)
