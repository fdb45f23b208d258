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
    # A comparison needs two parts; a person gets the form, a program the reason.
    if not (fitted and other):
        if wants_json:
            return respond_json({"error": "give two parts: ?a=PART&b=PART"}, status=400)
        return await _page(datasette, request, fitted, other, None)

    def compare_in_folio(folio: Folio) -> Comparison:
        return compare_chips(find_chip(folio, fitted), find_chip(folio, other))

    try:
        comparison = await ask(datasette, compare_in_folio)
    except UnknownPart as error:
        message = str(error)
        if wants_json:
            return respond_json({"error": message, "nearest": list(error.nearest)}, status=404)
        sentence = f"{message[:1].upper()}{message[1:]}."
        return await respond_nothing_here(datasette, request, sentence, error.part)
    if wants_json:
        return respond_json(comparison.document())
    return await _page(datasette, request, fitted, other, comparison)


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
