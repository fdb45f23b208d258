"""The look of the pages, chosen at their foot and kept in a cookie of this browser."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ..page_context import LOOK_COOKIE, LOOKS

_A_YEAR_S: Final = 365 * 24 * 3600


async def look(datasette: Datasette, request: Request) -> Response:
    """Keep ``?look=`` in a cookie and go back to the page ``?back=``, an address of this site."""
    answer = Response.redirect(datasette.urls.path(_return_address(request)))
    chosen = request.args.get("look") or ""
    answer.set_cookie(
        LOOK_COOKIE,
        chosen if chosen in LOOKS else "",
        max_age=_A_YEAR_S if chosen in LOOKS and chosen else 0,
        path=datasette.setting("base_url"),
        httponly=True,
        samesite="lax",
    )
    return answer


def _return_address(request: Request) -> str:
    """Return the page to go back to; the start page for an address that leads elsewhere."""
    back = request.args.get("back") or "/"
    # Browsers read "//host" and "/\host" as another site.
    is_ours = back.startswith("/") and back[1:2] not in ("/", "\\") and back.isascii()
    return back if is_ours and back.isprintable() else "/"


VIEWS: Final = (look,)
