"""The page to begin at, and the answers to a search, as pages and as JSON."""

from __future__ import annotations

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ..web import as_json, ask, page
from .find import Only, find

FILTERS = ("kind", "package", "system", "role")


async def home(datasette: Datasette, request: Request) -> Response:
    """The search box, and what the folio holds."""
    info, parts = await ask(datasette, lambda folio: (folio.info, folio.parts()[:100]))
    return await page(datasette, request, "home.html", info=info, parts=parts)


async def answer(datasette: Datasette, request: Request) -> Response:
    """What was found for ``?q=``."""
    text = request.args.get("q") or ""
    only = Only(**{name: request.args.get(name) or None for name in FILTERS})
    found = await ask(datasette, lambda folio: find(folio, text, only=only))
    if request.url_vars["format"]:
        return as_json(found.document())
    return await page(datasette, request, "found.html", found=found, typed=text, only=only)
