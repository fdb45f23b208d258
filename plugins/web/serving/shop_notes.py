"""Serve a folio with the notes that a shop's folder has now; a change shows on the next page.

The notes are laid over a copy of the folio in a folder of our own, so that neither the shop's
folder nor the folio is ever written to.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

from ....loaders.errors import Fault
from ....loaders.folio.shop_overlay import write_with_shop_notes
from ....loaders.shop.shop_folder import open_shop
from ....schema.errors import PinfolioError
from ..headers import Message, Receive, Send
from .newest_folio import NewestFolio

_WATCHED: Final = ("keys", "notes", "notes/*", "received", "received/*", "received/*/keys")
"""The folders of a shop whose entries change with every change: files are only renamed there."""
_MOST_LISTED: Final = 5


class ShopNotes:
    """An ASGI application that answers from a folio with a shop's notes over it.

    Raises FolioError and ShopError if there is no valid folio or shop at the start. ``folder``
    takes the copies; ``tell`` receives a line for each change and for each note set aside.
    """

    def __init__(
        self,
        folio: Path,
        shop: Path,
        folder: Path,
        tell: Callable[[str], None] = lambda line: None,
        **settings: Any,
    ) -> None:
        self._folio, self._shop, self._tell = folio, shop, tell
        self._out = folder / folio.name
        self._lock = asyncio.Lock()
        self._told = frozenset[str]()
        self._seen = self._list_stamps()
        self._lay_notes_over()
        self._newest = NewestFolio(self._out, lambda line: None, **settings)

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer a request from the notes and the folio as they are at its arrival."""
        if scope["type"] == "http":
            await self.refresh()
        await self._newest(scope, receive, send)

    async def __aenter__(self) -> ShopNotes:
        await self._newest.__aenter__()
        return self

    async def __aexit__(self, *error: object) -> None:
        await self._newest.__aexit__(*error)

    async def refresh(self) -> None:
        """Take up a change of the shop's folder or the folio; a faulty one leaves the pages."""
        async with self._lock:
            stamps = await asyncio.to_thread(self._list_stamps)
            if stamps == self._seen:
                return
            self._seen = stamps
            try:
                await asyncio.to_thread(self._lay_notes_over)
            except PinfolioError as refused:
                self._tell(f"Not taken up: {refused}. The pages before it stay.")
                return
            if await self._newest.look():
                self._tell(f"{self._shop}: changed; its notes are shown as they are now.")

    def _lay_notes_over(self) -> None:
        set_aside: list[Fault] = []
        write_with_shop_notes(self._folio, open_shop(self._shop), self._out, set_aside)
        lines = frozenset(map(str, set_aside))
        news = sorted(lines - self._told)
        for line in news[:_MOST_LISTED]:
            self._tell(f"Set aside: {line}")
        if len(news) > _MOST_LISTED:
            self._tell(f"... and {len(news) - _MOST_LISTED} more are set aside")
        self._told = lines

    def _list_stamps(self) -> dict[Path, tuple[int, int]]:
        return dict(self._yield_stamps())

    def _yield_stamps(self) -> Iterator[tuple[Path, tuple[int, int]]]:
        folders = (path for pattern in _WATCHED for path in sorted(self._shop.glob(pattern)))
        for path in (self._folio, self._shop, *folders):
            try:
                state = path.stat()
            except OSError:  # renamed just now
                continue
            yield path, (state.st_ino, state.st_mtime_ns)
