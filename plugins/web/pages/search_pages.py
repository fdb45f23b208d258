"""The start page, and search results as a page and as JSON."""

from __future__ import annotations

import re
from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio
from ....loaders.folio.chip_search import Only
from ...drawing.symptom_pictures import draw_symptom
from ...search.answer import SearchAnswer
from ...search.find import find
from ...search.symptom_chips import PICTURED
from ..page_context import ask, render_page, respond_json

_NUMBER: Final = re.compile(r"[1-9][0-9]{0,4}", re.ASCII)
_LONGEST: Final = 80


async def home(datasette: Datasette, request: Request) -> Response:
    """Return the start page: the search box, symptoms as pictures, the chips of the folio."""
    info, parts = await ask(datasette, lambda folio: (folio.info, folio.parts(100)))
    return await render_page(
        datasette,
        request,
        "home.html",
        info=info,
        parts=parts,
        pictured=PICTURED,
        draw=draw_symptom,
    )


async def answer(datasette: Datasette, request: Request) -> Response:
    """Return the results for ``?q=``; with ``&typing=1`` the last word may be incomplete."""
    text = request.args.get("q") or ""
    only, typing = _parse_filter(request), bool(request.args.get("typing"))

    def question(folio: Folio) -> tuple[SearchAnswer, dict[str, list[tuple[str, int]]]]:
        return find(folio, text, only=only, typing=typing), folio.facets()

    found, facets = await ask(datasette, question)
    if request.url_vars["format"]:
        return respond_json(found.document())
    return await render_page(
        datasette, request, "found.html", found=found, facets=facets, typed=text, only=only
    )


def _parse_filter(request: Request) -> Only:
    """Return the search filter in the address; an invalid number is ignored."""

    def word(name: str) -> str | None:
        return (request.args.get(name) or "").strip()[:_LONGEST] or None

    def number(name: str) -> int | None:
        typed = (request.args.get(name) or "").strip()
        return int(typed) if _NUMBER.fullmatch(typed) else None

    kind, package, system, role = map(word, ("kind", "package", "system", "role"))
    return Only(kind, package, system, role, number("pins"), number("supply"))


VIEWS: Final = (home, answer)
