"""Serve the newest folio at a path without a pause while it is replaced.

``pinfolio build`` and ``fetch-folio`` rename a folio into place. The new folio is verified and
tried out beside the serving one; only then do new requests get it. A damaged one is refused, and
the serving one continues.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Self

from ....loaders.folio.folio_file import FolioError
from ..headers import Message, Receive, Send
from ..plain_page import send_plain_page
from .edition import Edition, Stamp


class NewestFolio:
    """An ASGI application that answers from the newest valid folio at ``path``.

    ``tell`` receives a line for each folio accepted or refused. Raises FolioError without a valid
    folio at the start. Run it as an ASGI lifespan or as an asynchronous context manager.
    """

    def __init__(
        self,
        path: Path,
        tell: Callable[[str], None] = lambda line: None,
        look_every_s: float = 0.5,
        **settings: Any,
    ) -> None:
        self._path, self._tell, self._settings = path, tell, settings
        self._look_every_s = look_every_s
        self._edition = Edition(path, **settings)
        self._refused: Stamp | None = None
        self._is_gone = False
        self._watching: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Self:
        await self._edition.start()
        self._watching = asyncio.create_task(self._watch())
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._watching is not None
        self._watching.cancel()
        await asyncio.to_thread(self._edition.close)

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer a request from the newest edition at its arrival."""
        if scope["type"] == "lifespan":
            await self._live(receive, send)
        elif self._edition.is_spoilt:
            await send_plain_page(send, 503, "One moment", _WRITTEN_OVER, {"retry-after": "1"})
        else:
            with self._edition.answering() as app:
                await app(scope, receive, send)

    async def look(self) -> bool:
        """Switch to the folio at the path if it is new and valid; return whether it was."""
        stamp = self._stamp()
        if stamp is None or stamp in (self._edition.stamp, self._refused):
            return False
        try:
            new = await asyncio.to_thread(self._opened)
            # The templates are the same, and compiling them again would hold everybody up.
            new.datasette.jinja_env = self._edition.datasette.jinja_env
            await new.start()
        except FolioError as refused:
            self._refuse(stamp, refused)
            return False
        self._edition, old = new, self._edition
        old.retire()
        self._tell(f"{self._path}: was replaced; the new folio is shown from now on.")
        return True

    def _opened(self) -> Edition:
        return Edition(self._path, afresh=True, **self._settings)

    def _refuse(self, stamp: Stamp, why: FolioError) -> None:
        """Keep the present edition; report a file that is still growing only once."""
        if self._refused is None or self._refused.inode != stamp.inode:
            spoilt = self._edition.is_spoilt
            shown = "There are no pages until it is whole" if spoilt else "The one before it stays"
            self._tell(f"Not taken up: {why}. {shown}.")
        self._refused = stamp

    def _stamp(self) -> Stamp | None:
        try:
            stamp = Stamp.of(self._path.stat())
        except OSError as fault:
            if not self._is_gone:
                self._tell(f"{self._path}: {fault.strerror}. The folio goes on being shown.")
            self._is_gone = True
            return None
        self._is_gone = False
        return stamp

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(self._look_every_s)
            try:
                await self.look()
            except Exception as fault:
                self._tell(f"{self._path}: could not be looked at ({fault!r}); trying again.")

    async def _live(self, receive: Receive, send: Send) -> None:
        """Run as an ASGI lifespan. Source: ASGI specification, Lifespan Protocol, 2.0."""
        await receive()
        async with self:
            await send({"type": "lifespan.startup.complete"})
            await receive()
        await send({"type": "lifespan.shutdown.complete"})


_WRITTEN_OVER: Final = (
    "The folio's file is being written over. The pages are back as soon as it is whole."
    " A folio that is renamed into place causes no such pause."
)
