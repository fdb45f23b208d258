"""Write the pages of a folio as files, by requesting the served views one after another."""

from __future__ import annotations

import asyncio
import hashlib
from collections import deque
from functools import cache
from pathlib import Path
from typing import Any, Final

from ....loaders import Folio, UnknownPart, open_folio
from ....loaders.folio.build import Progress
from ....loaders.publishing.published_folder import PublishError
from ..page_context import Addresses
from ..serving.server import open_datasette
from .static_names import choose_file_name, convert_page

_HTML: Final = "text/html"
_PROGRAM: Final = Path(__file__).parents[3]
_DRAWING: Final = {".py", ".html", ".css", ".js", ".yaml"}


def write_pages(folio: Path, folder: Path, progress: Progress | None = None) -> None:
    """Write all pages of ``folio`` into ``folder``; ``progress`` counts chips.

    Raises FolioError, PublishError, OSError.
    """
    with open_folio(folio) as opened:
        asyncio.run(_Writer(opened, folio, folder, progress).write())


def hash_page_sources(program: Path = _PROGRAM) -> str:
    """Return the SHA-256 of all files of this program that contribute to a page."""
    digest = hashlib.sha256()
    for folder in ("schema", "loaders", "plugins"):
        for path in sorted((program / folder).rglob("*.*")):
            if path.suffix in _DRAWING:
                digest.update(f"{path.relative_to(program).as_posix()}\0".encode())
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


class _Writer:
    """Requests and writes pages, then the pages they link to."""

    def __init__(self, folio: Folio, path: Path, folder: Path, progress: Progress | None) -> None:
        self._folio, self._folder, self._progress = folio, folder, progress
        self._site = open_datasette(path)
        self._site.pinfolio_published = True
        self._written: set[str] = set()
        self._file_of = cache(lambda address: choose_file_name(address, self._part_of))
        self._part_of = cache(self._look_up)

    async def write(self) -> None:
        addresses = Addresses(self._site)
        parts = [row.part for row in self._folio.parts()]
        await self._write_from(addresses.parts(), beyond_chips=False)
        for done, part in enumerate(parts, start=1):
            await self._write_from(addresses.chip(part), beyond_chips=True)
            if self._progress is not None:
                self._progress(done, len(parts), part)

    async def _write_from(self, address: str, *, beyond_chips: bool) -> None:
        """Write a page and the pages it links to, except those of other chips."""
        waiting = deque([address])
        while waiting:
            asked = waiting.popleft()
            name = self._file_of(asked)
            if name is None or name in self._written:
                continue
            if name.startswith("chip/") and not beyond_chips:
                continue
            self._written.add(name)
            waiting.extend(await self._write_one(asked, name))

    async def _write_one(self, address: str, name: str) -> list[str]:
        """Write one file and return the addresses that its page links to."""
        answer: Any = await self._site.client.get(address)
        if answer.status_code != 200:
            raise PublishError(f"the page {address} answers with status {answer.status_code}")
        place = self._folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if not answer.headers["content-type"].startswith(_HTML):
            place.write_bytes(answer.content)
            return []
        html, led = convert_page(answer.text, name, self._file_of)
        place.write_text(html, encoding="utf-8", newline="\n")
        return led

    def _look_up(self, name: str) -> str | None:
        """Return the part number of a chip in this folio; None for any other."""
        try:
            return self._folio.chip(name).part
        except UnknownPart:
            return None
