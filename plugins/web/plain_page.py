"""A page that needs neither folio nor template, for refusals."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Final

from datasette.utils.asgi import Response

from ...schema.text import visible
from .headers import STRICT_POLICY, Message, Send

_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{heading} · pinfolio</title></head>
<body><main><h1>{heading}</h1><p>{said}</p></main></body>
</html>
"""


def plain_page(
    status: int, heading: str, said: str, headers: Mapping[str, str] | None = None
) -> Response:
    """Return the page; ``sentence`` may hold text from a stranger."""
    body = _PAGE.format(heading=escape(heading), said=escape(visible(said)))
    strict = {"content-security-policy": STRICT_POLICY, "cache-control": "no-store"}
    return Response.html(body, status=status, headers={**strict, **(headers or {})})


async def send_plain_page(
    send: Send, status: int, heading: str, said: str, headers: Mapping[str, str] | None = None
) -> None:
    """Answer an ASGI request with the page."""

    async def as_one_message(message: Message) -> None:
        await send(message)

    await plain_page(status, heading, said, headers).asgi_send(as_one_message)
