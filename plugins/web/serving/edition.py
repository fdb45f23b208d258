"""One version of a folio, open and serving; a request finishes on the version it began with.

Each edition has its own Datasette, threads and connections, so that no answer mixes two versions.
A replaced edition lives until its last answer is sent; then its threads end and its files close.
"""

from __future__ import annotations

import asyncio
import os
import secrets
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final, NamedTuple, Self

from ....loaders.folio.folio_file import (
    FolioError,
    build_command,
    check_folio_file,
    write_obtain_hint,
)
from ..folio_database import Catalogue, FolioDatabase
from .data_pages import bound_data_pages

if TYPE_CHECKING:
    from datasette.app import Datasette

    from ..headers import App

SETTINGS: Final[dict[str, Any]] = {
    "suggest_facets": False,  # guessing facets takes longer than the page itself
    "sql_time_limit_ms": 1000,
    "facet_time_limit_ms": 200,
    "max_returned_rows": 1000,
    "max_csv_mb": 20,
    "allow_download": False,
    "default_cache_ttl": 0,  # a rebuilt folio must show at the next visit
}

_OFTEN: Final = 5
"""How often a folio may be replaced while it is being opened before we give up."""


class Stamp(NamedTuple):
    """The identity of a file and of its contents: a rewritten file has another stamp."""

    device: int
    inode: int
    size: int
    written_ns: int

    @classmethod
    def of(cls, state: os.stat_result) -> Self:
        """Return the stamp of a file, open or by path."""
        return cls(state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns)


class Edition:
    """The folio now at ``path``. Raises FolioError if it is missing or damaged.

    ``afresh`` verifies the whole file; otherwise a verification from the last day is enough.
    """

    def __init__(self, path: Path, *, afresh: bool = False, **settings: Any) -> None:
        for _ in range(_OFTEN):
            self._file = _open(path)
            self.stamp = Stamp.of(os.fstat(self._file.fileno()))
            try:
                with ThreadPoolExecutor(1) as beside:  # reading takes as long as importing
                    check = beside.submit(check_folio_file, path, afresh=afresh)
                    self.datasette = _make_datasette(settings)
                    check.result()
                self._database = _attach(self.datasette, path)
            except FolioError:
                self._file.close()
                raise
            if _stamp_file(path) == self.stamp:  # so this very file was checked and attached
                break
            self.close()
        else:
            raise FolioError(f"{path}: is being replaced again and again; serve it when it stays")
        self._answering = 0
        self._replaced = False

    async def start(self) -> None:
        """Start serving. Raises FolioError, and closes the edition, if its first page fails."""
        await self.datasette.invoke_startup()
        self._app: App = bound_data_pages(self.datasette.app())
        status = await _read_status(self._app, self.datasette.urls.path("/"))
        if status != 200:
            await asyncio.to_thread(self.close)
            raise FolioError(f"{self._database.path}: the folio does not answer (status {status})")

    @property
    def is_spoilt(self) -> bool:
        """Return whether the open file was written into instead of replaced."""
        return Stamp.of(os.fstat(self._file.fileno())) != self.stamp

    @contextmanager
    def answering(self) -> Iterator[App]:
        """Yield the ASGI application of a started edition, which stays open meanwhile."""
        self._answering += 1
        try:
            yield self._app
        finally:
            self._answering -= 1
            self._close_if_done()

    def retire(self) -> None:
        """Close once the last answer is sent."""
        self._replaced = True
        self._close_if_done()

    def _close_if_done(self) -> None:
        if self._replaced and not self._answering:
            # Threads may still be at work on an answer that nobody waits for any more.
            asyncio.get_running_loop().run_in_executor(None, self.close)

    def close(self) -> None:
        """End the threads and close the files."""
        if self.datasette.executor is not None:
            self.datasette.executor.shutdown(wait=True)
        self.datasette.databases["_internal"].end()
        self._database.close()
        self._file.close()


async def _read_status(app: App, address: str) -> int:
    import httpx

    transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
        return (await client.get(address)).status_code


def _open(path: Path) -> BinaryIO:
    try:
        return path.open("rb")
    except FileNotFoundError:
        raise FolioError(f"{path}: no such file; {write_obtain_hint(path)}") from None
    except OSError as fault:
        raise FolioError(
            f"{path}: cannot be read ({fault.strerror}); build a folio: {build_command()}"
        ) from None


def _stamp_file(path: Path) -> Stamp | None:
    try:
        return Stamp.of(path.stat())
    except OSError:
        return None


def _make_datasette(settings: dict[str, Any]) -> Datasette:
    from datasette.app import Datasette

    datasette = Datasette([], settings={**SETTINGS, **settings})
    for comes_along in ("_memory", "_internal"):
        datasette.remove_database(comes_along)
    datasette.add_database(Catalogue(datasette, memory_name=secrets.token_hex()), name="_internal")
    return datasette


def _attach(datasette: Datasette, path: Path) -> FolioDatabase:
    from datasette.app import DatasetteClient

    database = FolioDatabase(datasette, path)
    datasette.add_database(database)
    datasette.client = DatasetteClient(datasette)  # the first one knows of no folio
    return database
