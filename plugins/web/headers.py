"""Add security headers to every answer.

Our own pages hold no inline script or style, so their Content-Security-Policy allows none.
Datasette's own pages need both; their policy blocks everything else from outside.
Source: Content Security Policy Level 3, W3C.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

STRICT_POLICY: Final = (
    "default-src 'none'; img-src 'self' data:; style-src 'self'; script-src 'self';"
    " connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_POLICY_OF_DATASETTE: Final = (
    "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline';"
    " script-src 'self' 'unsafe-inline'; form-action 'self'; base-uri 'none';"
    " frame-ancestors 'none'"
)
_EVERYWHERE: Final = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)


def with_security_headers(app: App) -> App:
    """Return an ASGI application whose answers carry a Content-Security-Policy."""

    async def wrapped(scope: Message, receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", []))
                if all(name.lower() != b"content-security-policy" for name, _ in headers):
                    headers.append((b"content-security-policy", _POLICY_OF_DATASETTE.encode()))
                message = {**message, "headers": [*headers, *_EVERYWHERE]}
            await send(message)

        await app(scope, receive, send_with_headers)

    return wrapped
