"""The way into fault finding: the symptom, and the chips in the folio that can cause it."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ...drawing.symptom_pictures import draw_symptom
from ...search.symptom_chips import PICTURED, find_chips_for_symptom, find_pictured
from ..page_context import ask, render_page


async def hunts(datasette: Datasette, request: Request) -> Response:
    """Return the chips that can show ``?symptom=``; without one, all symptoms and chips."""
    symptom = request.args.get("symptom") or ""
    pictured = find_pictured(symptom)
    wanted = symptom if pictured else ""
    suspects = await ask(datasette, lambda folio: find_chips_for_symptom(folio, wanted))
    return await render_page(
        datasette,
        request,
        "hunts.html",
        symptom=symptom,
        pictured=pictured,
        all_pictured=PICTURED,
        suspects=suspects,
        draw=draw_symptom,
    )


VIEWS: Final = (hunts,)
