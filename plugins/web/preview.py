"""Show a chip file as pages that are rebuilt after each save.

A faulty save shows its faults and keeps the last good pages. Each good save becomes a folio and a
Datasette of its own, because Datasette keeps connections by file name.
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, MutableMapping
from pathlib import Path
from typing import Any

from ...loaders.chip_files.chip_file import load_chip
from ...loaders.errors import ChipFileError
from ...loaders.folio.build import build_from_chips
from ...schema import Chip, Finding
from ...schema.rules import advise
from .headers import STRICT_POLICY
from .serving.edition import Edition

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

STATE_ADDRESS = "/-/preview.json"


class Preview:
    """The state of one chip file, and the ASGI application that shows it."""

    def __init__(self, path: Path, folder: Path) -> None:
        self.path, self._folder = path, folder
        self.version = 0
        """Counts the saves that were looked at, good or not."""
        self.faults: str = ""
        """The faults of the last save, empty when it was good."""
        self.chip: Chip | None = None
        self._findings: tuple[Finding, ...] = ()
        self._seen: tuple[int, int] | None = None
        self._edition: Edition | None = None

    @property
    def findings(self) -> tuple[str, ...]:
        """Return the advice on the whole chip."""
        return tuple(_write_finding(found) for found in self._findings if found.at[:1] != ("pins",))

    def beside(self, number: int) -> tuple[str, ...]:
        """Return the advice on one pin."""
        index = None
        if self.chip is not None:
            numbers = [pin.number for pin in self.chip.pins]
            index = numbers.index(number) if number in numbers else None
        return tuple(_write_finding(f) for f in self._findings if f.at[:2] == ("pins", index))

    async def refresh(self) -> None:
        """Rebuild the pages if the file has been saved since."""
        stamp = self._stamp()
        if stamp == self._seen:
            return
        self._seen = stamp
        self.version += 1
        try:
            chip = load_chip(self.path)
        except ChipFileError as refused:
            self.faults = str(refused)
            return
        self.faults, self.chip, self._findings = "", chip, advise(chip)
        folio = self._folder / f"preview-{self.version}.db"
        build_from_chips([chip], folio)
        new = Edition(folio)
        new.datasette.pinfolio_preview = self
        await new.start()
        self._edition, old = new, self._edition
        if old is not None:
            old.retire()

    def _stamp(self) -> tuple[int, int] | None:
        try:
            state = self.path.stat()
        except OSError:
            return None
        return state.st_mtime_ns, state.st_size

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer a request from the newest good save."""
        if scope["type"] != "http":
            return
        await self.refresh()
        if scope["path"] == STATE_ADDRESS:
            await _answer(send, json.dumps({"version": self.version}), "application/json")
        elif self._edition is None:
            text = f"{self.faults}\n\nThe pages appear here once the file is whole.\n"
            await _answer(send, text, "text/plain; charset=utf-8", refresh=True)
        else:
            with self._edition.answering() as app:
                await app(scope, receive, send)


def _write_finding(finding: Finding) -> str:
    return f"{finding.message} ({finding.rule})"


async def _answer(send: Send, text: str, sort: str, *, refresh: bool = False) -> None:
    headers = [
        (b"content-type", sort.encode()),
        (b"content-security-policy", STRICT_POLICY.encode()),
        (b"cache-control", b"no-store"),
    ]
    if refresh:
        headers.append((b"refresh", b"1"))
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
