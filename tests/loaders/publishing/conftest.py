"""A published folio, and a server for each thing that goes wrong, on this machine."""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing import fetching
from pinfolio.loaders.publishing.published_folder import publish

PIECE = 2**16


class Server(ThreadingHTTPServer):
    """Serves a folder the way a test wants it: knows ranges, counts the bytes it sends."""

    daemon_threads = True

    def __init__(self, folder: Path) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.folder = folder
        self.asked: list[tuple[str, str | None]] = []
        """Path and range of each request."""
        self.ranges = True
        self.break_after: int | None = None
        """Bytes of the folio after which the connection is closed."""
        self.drip_after: int | None = None
        """Bytes of the folio after which the rest comes one by one."""
        self.headers: dict[str, str] = {}
        self.change: Callable[[str, bytes], bytes] = lambda name, data: data
        self.redirect: str | None = None

    def handle_error(self, *_: object) -> None:
        """Who was killed does not listen to the end."""

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/sub/path/"


class _Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        name = self.path.removeprefix("/sub/path/")
        wanted = self.headers.get("Range")
        self.server.asked.append((name, wanted))
        if self.server.redirect is not None:
            self.send_response(302)
            self.send_header("Location", self.server.redirect)
            self.end_headers()
            return
        file = self.server.folder / name
        if not file.is_file():
            self.send_error(404)
            return
        self._send(name, self.server.change(name, file.read_bytes()), wanted)

    def _send(self, name: str, data: bytes, wanted: str | None) -> None:
        start = 0
        if wanted and self.server.ranges:
            start = int(re.fullmatch(r"bytes=(\d+)-", wanted)[1])  # type: ignore[index]
            self.send_response(206)
            self.send_header("Content-Range", f"bytes {start}-{len(data) - 1}/{len(data)}")
        else:
            self.send_response(200)
        headers = {"Content-Length": str(len(data) - start), **self.server.headers}
        for key, value in headers.items():
            if value:
                self.send_header(key, value)
        self.end_headers()
        end = len(data)
        if self.server.break_after is not None and name.startswith("folio-"):
            end = min(end, start + self.server.break_after)
        if self.server.drip_after is not None and name.startswith("folio-"):
            self._drip(data[start:end], self.server.drip_after)
        else:
            self.wfile.write(data[start:end])
        self.close_connection = True

    def _drip(self, data: bytes, after: int) -> None:
        with suppress(ConnectionError):  # nobody waits for the end
            self.wfile.write(data[:after])
            for byte in data[after:]:
                self.wfile.write(bytes([byte]))
                time.sleep(0.05)

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="session")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folio of a single chip, built before the others."""
    path = tmp_path_factory.mktemp("first") / "folio.db"
    build_folio(chip_files()[:1], path)
    return path


@pytest.fixture(scope="session")
def folio(first: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("built") / "folio.db"
    build_folio(chip_files(), path)
    return path


@pytest.fixture
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pinfolio.loaders.publishing.manifest.PIECE_BYTES", PIECE)


@pytest.fixture
def published(folio: Path, tmp_path: Path, small_pieces: None) -> Path:
    folder = tmp_path / "public"
    publish(folio, folder)
    return folder


@pytest.fixture
def server(published: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    monkeypatch.setattr(fetching, "_PAUSE_S", 0.0)
    running = Server(published)
    threading.Thread(target=running.serve_forever, args=(0.02,), daemon=True).start()
    yield running
    running.shutdown()
    running.server_close()


@pytest.fixture
def old(first: Path, tmp_path: Path) -> Path:
    """A folio that is here already, of a single chip, older than the published one."""
    path = tmp_path / "here" / "folio.db"
    path.parent.mkdir()
    shutil.copy(first, path)
    return path
