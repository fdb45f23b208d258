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
EVERYWHERE: Final = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)
"""Headers of every answer, refusals and errors included."""


def with_security_headers(app: App, is_ours_at: Callable[[str], bool] = lambda _: True) -> App:
    """Return an ASGI application whose answers carry security headers that they lack.

    Answers to paths for which ``is_ours_at`` is false are left as they are.
    """

    async def wrapped(scope: Message, receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", []))
                names = {bytes(name).lower() for name, _ in headers}
                wanted = ((b"content-security-policy", _POLICY_OF_DATASETTE.encode()), *EVERYWHERE)
                headers += [(name, value) for name, value in wanted if name not in names]
                message = {**message, "headers": headers}
            await send(message)

        is_ours = scope["type"] == "http" and is_ours_at(scope["path"])
        await app(scope, receive, send_with_headers if is_ours else send)

    return wrapped
