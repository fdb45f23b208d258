"""Admit visitors from this machine, and others with the password.

Requests from this machine must name it in their Host header; otherwise a page from outside whose
name is re-pointed here could read the folio through the visitor's browser (DNS rebinding). Other
visitors need a password, as in RFC 7617 (HTTP Basic authentication).
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import time
from base64 import b64decode
from binascii import Error as NoBase64
from collections import OrderedDict
from collections.abc import Callable
from typing import Final

from ..headers import App, Message, Receive, Send
from ..plain_page import send_plain_page
from .this_machine import names_this_machine

_TRIES: Final = 5
_WINDOW_S: Final = 60.0
_MOST_ADDRESSES: Final = 10_000
_ASK: Final = {"www-authenticate": 'Basic realm="pinfolio", charset="UTF-8"'}


class Door:
    """An ASGI application that admits visitors to another, or answers with the reason for refusal.

    Without a password it serves loopback only, and the Host header must name this machine.
    ``pause_s`` is the delay after a wrong password, in seconds.
    """

    def __init__(self, app: App, password: str | None = None, pause_s: float = 0.5) -> None:
        self._app, self._pause_s = app, pause_s
        self._password = None if password is None else _digest(password)
        self._wrong = WrongTries()

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Pass an admitted request on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
        elif self._password is not None:
            await self._ask_password(scope, receive, send)
        elif names_this_machine(host := _read_header(scope, b"host")):
            await self._app(scope, receive, send)
        else:
            message = f"Found {host!r} in the address, expected localhost or 127.0.0.1."
            await send_plain_page(send, 421, "Not by this name", message)

    async def _ask_password(self, scope: Message, receive: Receive, send: Send) -> None:
        """Refuse a visitor without the password, for a while after too many wrong ones."""
        try:
            who = _find_visitor(scope)
        except ValueError:
            message = "The proxy passed on an address of the visitor that is none."
            await send_plain_page(send, 400, "Not understood", message)
            return
        given = _read_password(_read_header(scope, b"authorization"))
        if wait_s := self._wrong.wait_s(who) if given is not None else 0:
            message = f"Too many wrong passwords came from your address. Try again in {wait_s} s."
            await send_plain_page(send, 429, "Wait", message, {"retry-after": str(wait_s)})
        elif given is not None and hmac.compare_digest(_digest(given), self._password or b""):
            await self._app(scope, receive, send)
        else:
            if given is not None:
                self._wrong.add(who)
                await asyncio.sleep(self._pause_s)
            message = "Any user name will do; ask the person who runs this folio for the password."
            await send_plain_page(send, 401, "This folio asks for a password", message, _ASK)


class WrongTries:
    """Wrong passwords by address: after five in a minute the address must wait for its end."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._at: OrderedDict[str, list[float]] = OrderedDict()

    def add(self, who: str) -> None:
        """Count a wrong password; the oldest address is dropped when there are too many."""
        self._at[who] = [*self._recent(who), self._clock()]
        self._at.move_to_end(who)
        while len(self._at) > _MOST_ADDRESSES:
            self._at.popitem(last=False)

    def wait_s(self, who: str) -> int:
        """Return the whole seconds until this address may try again; 0 if it may now."""
        recent = self._recent(who)
        if len(recent) < _TRIES:
            return 0
        return int(recent[-_TRIES] + _WINDOW_S - self._clock()) + 1

    def _recent(self, who: str) -> list[float]:
        since = self._clock() - _WINDOW_S
        return [at for at in self._at.get(who, ()) if at > since]


def _digest(password: str) -> bytes:
    """Return a digest, so that comparing takes equally long for every password."""
    return hashlib.sha256(password.encode("utf-8", "surrogateescape")).digest()


def _read_password(authorization: str) -> str | None:
    """Return the password of ``Basic dXNlcjpwYXNz``; None without one."""
    scheme, _, coded = authorization.partition(" ")
    if scheme.lower() != "basic":
        return None
    try:
        return b64decode(coded.strip(), validate=True).decode("utf-8").partition(":")[2]
    except (NoBase64, ValueError):
        return ""


def _find_visitor(scope: Message) -> str:
    """Return the address of a visitor; for IPv6 its network, which holds many.

    Raises ValueError if it is no address: a proxy may pass on anything.
    """
    client = scope.get("client")
    if client is None:  # a local socket
        return ""
    address = ipaddress.ip_address(client[0].partition("%")[0])
    return address.exploded[:19] if address.version == 6 else str(address)


def _read_header(scope: Message, name: bytes) -> str:
    header = next((value for key, value in scope["headers"] if key.lower() == name), b"")
    return str(header, "latin-1")
