"""Time limits for connections, so that slow or silent visitors do not block others.

uvicorn limits the pause between requests, but neither the arrival of a request nor the reading of
its answer.
"""

from __future__ import annotations

import asyncio
import ipaddress
from typing import Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from ..headers import EVERYWHERE

REQUEST_S: Final = 10.0
"""From the first byte of a request, or from connecting, to its last byte."""
READING_S: Final = 30.0
"""Longest pause in the reading of an answer."""
MOST_FROM_ONE_ADDRESS: Final = 64
"""Simultaneous connections of one visitor; this machine itself is not limited."""


class PatientProtocol(H11Protocol):
    """uvicorn's HTTP/1.1 protocol with time limits."""

    _coming: asyncio.TimerHandle | None = None
    _leaving: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the time limit for the first request."""
        super().connection_made(transport)
        if self._comes_too_often():
            transport.abort()
        self._await_request()

    def data_received(self, data: bytes) -> None:
        """Keep the time limit running until the whole request has arrived."""
        super().data_received(data)
        self._await_request()

    def pause_writing(self) -> None:
        """Start the time limit for reading, since the answer is read too slowly."""
        super().pause_writing()
        self._await_reading()

    def resume_writing(self) -> None:
        """Stop the time limit for reading, since enough of the answer was read."""
        super().resume_writing()
        self._leaving = _cancel(self._leaving)

    def on_response_complete(self) -> None:
        """Limit the time for reading the rest of the answer if the connection then closes."""
        super().on_response_complete()
        if self.transport.is_closing():
            self._await_reading()

    def send_400_response(self, msg: str) -> None:
        """Answer a malformed request; uvicorn's own answer lacks our headers."""
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
        start = h11.Response(
            status_code=400, headers=[*headers, *EVERYWHERE], reason=b"Bad Request"
        )
        for event in (start, h11.Data(data=msg.encode("ascii")), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event))
        self.transport.close()

    def timeout_keep_alive_handler(self) -> None:
        """Close the connection, since no further request came."""
        super().timeout_keep_alive_handler()
        self._await_reading()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop all time limits."""
        self._coming, self._leaving = _cancel(self._coming), _cancel(self._leaving)
        super().connection_lost(exc)

    def _await_request(self) -> None:
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._coming = _cancel(self._coming)
        elif self._coming is None:
            self._coming = self.loop.call_later(REQUEST_S, self.transport.abort)

    def _await_reading(self) -> None:
        if self._leaving is None:
            self._leaving = self.loop.call_later(READING_S, self.transport.abort)

    def _comes_too_often(self) -> bool:
        if self.client is None or ipaddress.ip_address(self.client[0]).is_loopback:
            return False
        same = sum(
            isinstance(other, H11Protocol)
            and other.client is not None
            and other.client[0] == self.client[0]
            for other in self.connections
        )
        return same > MOST_FROM_ONE_ADDRESS


def _cancel(clock: asyncio.TimerHandle | None) -> asyncio.TimerHandle | None:
    """Stop a timer, if there is one, and return None."""
    if clock is not None:
        clock.cancel()
    return None
