"""Where a published folio is fetched from: a web server or a folder, read at an offset.

This is the one place of the program that goes on the network, and only when it is asked to. What
answers is not trusted: redirects lead only to where no less is encrypted, bodies come as they are
stored, and nobody is waited for without end. Source: HTTP semantics, RFC 9110 (ranges: 14).
"""

from __future__ import annotations

import http.client
import io
import re
import ssl
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Final, Self
from urllib.parse import urljoin, urlsplit

from ...schema.text import visible

SILENCE_S: Final = 30.0
"""How long the other side may say nothing at all."""
_SMALL_S: Final = 120.0
LEAST_BYTES_S: Final = 1000
"""Whoever sends less than that, taken over a while, is not waited for."""
LOOKED_OVER_S: Final = 60.0
_SKIP: Final = 2**20
_RANGE: Final = re.compile(r"bytes (\d+)-\d+/(\d+|\*)")


class SourceError(Exception):
    """The other side cannot be used: the message says what it did."""


class BrokenOff(SourceError):  # noqa: N818  it is what the line did
    """It may work when it is tried again: nobody answered, or the line broke."""


class TooSlow(SourceError):  # noqa: N818  it is how it comes
    """It comes, but so slowly that it would take days."""


class NotThere(SourceError):  # noqa: N818  it is where the file is
    """There is no such file there."""


class Source:
    """A folder of published files, by its address: http, https, file, or a path."""

    def __init__(self, address: str, silence_s: float = SILENCE_S) -> None:
        split = urlsplit(address)
        self._silence_s = silence_s
        self._folder: Path | None = None
        if split.scheme in ("http", "https") and split.hostname:
            folder = split._replace(query="", fragment="").geturl().removesuffix("manifest.json")
            self.address = folder if folder.endswith("/") else f"{folder}/"
        elif split.scheme == "file":
            self._folder = Path(urllib.request.url2pathname(split.path))
        elif "://" not in address:
            self._folder = Path(address)
        else:
            raise SourceError(
                f"found the address {visible(address)}, expected http://, https://, file:// or a"
                " folder"
            )
        if self._folder is not None:
            if self._folder.name == "manifest.json":
                self._folder = self._folder.parent
            self.address = str(self._folder)

    def small(self, name: str, most: int) -> bytes:
        """All of a small file; raises SourceError, also when it has more than ``most`` bytes."""
        data, until = b"", time.monotonic() + _SMALL_S
        with self.opened(name) as body:
            while piece := body.read(min(65_536, most + 1 - len(data))):
                data += piece
                if len(data) > most:
                    raise SourceError(f"{name}: found more than {most:,} bytes, expected at most")
                if time.monotonic() > until:
                    raise BrokenOff(f"{name}: took longer than {_SMALL_S:g} s")
        return data

    @contextmanager
    def opened(self, name: str, start: int = 0, size: int | None = None) -> Iterator[BinaryIO]:
        """The bytes of a file from ``start`` on; ``size`` is what all of it must have.

        Reading from it raises SourceError like opening it. A server that does not know ranges
        sends all, of which the beginning is passed over.
        """
        with _explained(name):
            if self._folder is not None:
                body: BinaryIO = (self._folder / name).open("rb")
                _check_size(name, body.seek(0, io.SEEK_END), size)
                body.seek(start)
            else:
                body = _answered(urljoin(self.address, name), name, start, size, self._silence_s)
            with body:
                yield body


@contextmanager
def _explained(name: str) -> Iterator[None]:
    """What goes wrong below, as a SourceError that says so."""
    try:
        yield
    except urllib.error.HTTPError as refused:
        refused.close()
        said = f"{name}: the server answered {refused.code} {visible(str(refused.reason))[:80]}"
        if refused.code in (404, 410):
            raise NotThere(said) from None
        raise (BrokenOff if refused.code in (408, 429, 500, 502, 503, 504) else SourceError)(
            said
        ) from None
    except FileNotFoundError:
        raise NotThere(f"{name}: no such file there") from None
    except urllib.error.URLError as refused:
        raise BrokenOff(f"{name}: nobody answers ({visible(str(refused.reason))[:200]})") from None
    except TimeoutError:
        raise BrokenOff(f"{name}: nothing came for a long time") from None
    except http.client.IncompleteRead:
        raise BrokenOff(f"{name}: the connection broke off") from None
    except (http.client.HTTPException, ValueError) as refused:
        said = visible(f"{type(refused).__name__} {refused}")[:200]
        raise SourceError(f"{name}: found no proper answer ({said})") from None
    except (ConnectionError, EOFError, ssl.SSLError) as refused:
        raise BrokenOff(f"{name}: the connection broke off ({refused})") from None


def _answered(address: str, name: str, start: int, size: int | None, silence_s: float) -> BinaryIO:
    """What a web server answers, standing at ``start``."""
    asked = urllib.request.Request(address, headers={"Accept-Encoding": "identity"})
    asked.add_header("User-Agent", "pinfolio")
    if start:
        asked.add_header("Range", f"bytes={start}-")
    answer = _opener().open(asked, timeout=silence_s)
    body = _Watched(answer, name)
    try:
        if _begins_at_zero(answer, name, start, size):
            _pass_over(body.read, start)
    except BaseException:
        answer.close()
        raise
    return body  # type: ignore[return-value]  # what is read of it is as of a file


def _begins_at_zero(answer: Any, name: str, start: int, size: int | None) -> bool:
    """Whether the answer is all of the file instead of the rest; SourceError if it is neither."""
    coded = (answer.headers.get("Content-Encoding") or "identity").strip().lower()
    if coded != "identity":
        raise SourceError(f"{name}: comes packed as {visible(coded)[:20]}, expected it as it is")
    if answer.status == 206:
        found = _RANGE.fullmatch((answer.headers.get("Content-Range") or "").strip())
        if not found or not start or int(found[1]) != start:
            raise SourceError(f"{name}: found another part of it than was asked for")
        _check_size(name, None if found[2] == "*" else int(found[2]), size)
    elif answer.status == 200:
        length = answer.headers.get("Content-Length")
        _check_size(name, int(length) if length and length.isdecimal() else None, size)
    else:
        raise SourceError(f"{name}: the server answered {answer.status}, expected 200 or 206")
    return bool(answer.status == 200)


class _Watched:
    """What a server sends, as it comes: TooSlow when less comes than anybody would wait for."""

    def __init__(self, answer: Any, name: str) -> None:
        self._answer, self._name = answer, name
        self._since, self._came = time.monotonic(), 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._answer.close()

    def read(self, most: int) -> bytes:
        """What is there, at least a byte; nothing at the end."""
        data: bytes = self._answer.read1(most)
        if not data and self._answer.length:
            raise http.client.IncompleteRead(b"", self._answer.length)
        self._came += len(data)
        took_s = time.monotonic() - self._since
        if data and took_s >= LOOKED_OVER_S:
            if self._came < LEAST_BYTES_S * took_s:
                raise TooSlow(
                    f"{self._name}: {self._came:,} bytes came in {took_s:.0f} s, expected"
                    f" {LEAST_BYTES_S:,} a second or more; the same command goes on from here"
                )
            self._since, self._came = time.monotonic(), 0
        return data


def _check_size(name: str, found: int | None, expected: int | None) -> None:
    if expected is not None and found is not None and found != expected:
        raise SourceError(
            f"{name}: found {found:,} bytes there, the manifest says {expected:,};"
            " it may just be published anew, so fetch again in a while"
        )


def _pass_over(read: Callable[[int], bytes], size: int) -> None:
    while size > 0:
        piece = read(min(size, _SKIP))
        if not piece:
            raise EOFError("before where it broke off last time")
        size -= len(piece)


class Redirects(urllib.request.HTTPRedirectHandler):
    """A few redirects, to web addresses only, and never from https to http."""

    max_redirections = 5

    def redirect_request(  # type: ignore[no-untyped-def]
        self, req: urllib.request.Request, fp, code, msg, headers, newurl: str
    ) -> urllib.request.Request | None:
        """The request to send instead; SourceError where it would lead out of the web."""
        there = urlsplit(newurl).scheme
        if there not in ("http", "https") or (req.type == "https" and there != "https"):
            raise SourceError(f"the server sends on to {visible(newurl)[:100]}, which is refused")
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def _opener() -> urllib.request.OpenerDirector:
    """Opens http and https alone, through the proxies that the environment names."""
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPDefaultErrorHandler(),
        urllib.request.HTTPErrorProcessor(),
        urllib.request.UnknownHandler(),
        Redirects(),
    ):
        opener.add_handler(handler)
    return opener
