"""The comparison of two chips as a page and as JSON."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ...contributing.comparison import Comparison
from ...contributing.comparison import compare as compare_chips
from ...contributing.difference import WEIGHTS
from ...search.marking_lookup import find_chip
from ..page_context import ask, render_page, respond_json, respond_nothing_here


async def compare(datasette: Datasette, request: Request) -> Response:
    """Return the comparison of ``?a=`` with its replacement ``?b=``; without both, the form."""
    fitted, other = (request.args.get(name) or "" for name in ("a", "b"))
    wants_json = bool(request.url_vars["format"])
    if not (fitted and other):
        if wants_json:
            return respond_json({"error": "give two parts: ?a=PART&b=PART"}, status=400)
        return await _page(datasette, request, fitted, other, None)

    def compared(folio: Folio) -> Comparison:
        return compare_chips(find_chip(folio, fitted), find_chip(folio, other))

    try:
        made = await ask(datasette, compared)
    except UnknownPart as unknown:
        message = str(unknown)
        if wants_json:
            return respond_json({"error": message, "nearest": list(unknown.nearest)}, status=404)
        said = f"{message[:1].upper()}{message[1:]}."
        return await respond_nothing_here(datasette, request, said, unknown.part)
    if wants_json:
        return respond_json(made.document())
    return await _page(datasette, request, fitted, other, made)


async def _page(
    datasette: Datasette, request: Request, fitted: str, other: str, made: Comparison | None
) -> Response:
    """Return the page of a comparison; a form alone without one."""
    return await render_page(
        datasette,
        request,
        "comparison.html",
        made=made,
        fitted=fitted,
        other=other,
        weights=WEIGHTS,
    )


VIEWS: Final = (compare,)
