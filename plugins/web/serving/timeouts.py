"""How long a connection may take: a slow or silent visitor costs no other one his answer.

uvicorn bounds the pause between two requests, but neither how long a request takes to come nor how
long its answer takes to be read.
"""

from __future__ import annotations

import asyncio
import ipaddress
from typing import Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_S: Final = 10.0
"""From the first byte of a request, or from connecting, to its last byte."""
READING_S: Final = 30.0
"""How long an answer may stick with nothing of it being read."""
MOST_FROM_ONE_ADDRESS: Final = 64
"""Connections at the same time; from this machine itself as many as there are in all."""


class PatientProtocol(H11Protocol):
    """uvicorn's HTTP/1.1, with an end to its patience."""

    _coming: asyncio.TimerHandle | None = None
    _leaving: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A visitor connects, and has a while to say what he wants."""
        super().connection_made(transport)
        if self._comes_too_often():
            transport.abort()
        self._await_request()

    def data_received(self, data: bytes) -> None:
        """A piece of a request came; the clock runs until all of it is there."""
        super().data_received(data)
        self._await_request()

    def pause_writing(self) -> None:
        """The answer is not being read as fast as it is given."""
        super().pause_writing()
        self._await_reading()

    def resume_writing(self) -> None:
        """Enough of the answer was read."""
        super().resume_writing()
        self._leaving = _without(self._leaving)

    def on_response_complete(self) -> None:
        """The answer is given; where it ends the connection, what is left of it must be read."""
        super().on_response_complete()
        if self.transport.is_closing():
            self._await_reading()

    def timeout_keep_alive_handler(self) -> None:
        """No further request came."""
        super().timeout_keep_alive_handler()
        self._await_reading()

    def connection_lost(self, exc: Exception | None) -> None:
        """The visitor left."""
        self._coming, self._leaving = _without(self._coming), _without(self._leaving)
        super().connection_lost(exc)

    def _await_request(self) -> None:
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._coming = _without(self._coming)
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


def _without(clock: asyncio.TimerHandle | None) -> asyncio.TimerHandle | None:
    """No clock any more; the one that ran is stopped."""
    if clock is not None:
        clock.cancel()
    return None
