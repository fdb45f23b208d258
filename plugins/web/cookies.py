"""Choices kept in a cookie of this browser, and the page to go back to after choosing."""

from __future__ import annotations

from typing import Final

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

_A_YEAR_S: Final = 365 * 24 * 3600


def keep_in_cookie(datasette: Datasette, answer: Response, name: str, value: str) -> None:
    """Keep a value in a cookie of this site; an empty value removes it."""
    answer.set_cookie(
        name,
        value,
        max_age=_A_YEAR_S if value else 0,
        path=datasette.setting("base_url"),
        httponly=True,
        samesite="lax",
    )


def return_address(request: Request) -> str:
    """Return the page ``?back=``; the start page for an address that leads elsewhere."""
    back = request.args.get("back") or "/"
    # Browsers read "//host" and "/\host" as another site.
    is_ours = back.startswith("/") and back[1:2] not in ("/", "\\") and back.isascii()
    return back if is_ours and back.isprintable() else "/"
