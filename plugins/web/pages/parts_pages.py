"""The list of all parts, some hundreds on a page, which also works as a plain file."""

from __future__ import annotations

from typing import Final, NamedTuple

from datasette.app import Datasette
from datasette.utils.asgi import NotFound, Request, Response

from ....loaders import Folio
from ....loaders.folio.chip_search import ChipRow
from ....loaders.folio.folio import FolioInfo
from ..page_context import ask, render_page

PARTS_A_PAGE: Final = 500
_MOST_DIGITS: Final = 8


class _PartsPage(NamedTuple):
    """A page of the list of parts, read from the folio at one time."""

    info: FolioInfo
    rows: list[ChipRow]
    markings: dict[str, list[str]]
    """Other markings of the parts in ``rows``."""
    first_parts: list[str]
    """The first part of every page."""


async def parts(datasette: Datasette, request: Request) -> Response:
    """Return a page of the list of parts; ``?page=`` counts from 1.

    Raises NotFound for a page beyond the last.
    """
    number = _read_page_number(request.args.get("page") or "1")

    def list_parts(folio: Folio) -> _PartsPage:
        rows = folio.parts(PARTS_A_PAGE, (number - 1) * PARTS_A_PAGE)
        return _PartsPage(
            info=folio.info,
            rows=rows,
            markings=folio.other_markings([row.part for row in rows]),
            first_parts=folio.every_part(PARTS_A_PAGE),
        )

    page = await ask(datasette, list_parts)
    page_count = len(page.first_parts)
    # The list of a folio without parts has one page, which is empty.
    if number > max(1, page_count):
        raise NotFound("no such page of parts")
    return await render_page(
        datasette,
        request,
        "all_parts.html",
        info=page.info,
        parts=page.rows,
        markings=page.markings,
        at=number,
        pages=page.first_parts if page_count > 1 else [],
    )


def _read_page_number(text: str) -> int:
    """Return a page number typed in an address. Raises NotFound for other text, and for 0."""
    is_number = text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS
    if not is_number or int(text) < 1:
        raise NotFound("no such page of parts")
    return int(text)


VIEWS: Final = (parts,)
