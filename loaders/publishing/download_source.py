"""Read a published folio from a web server or a folder, starting at any offset.

This is the only module that uses the network, and only on request. Servers are not trusted:
redirects never drop encryption, bodies are taken as stored, and slow or silent servers are cut
off. Source: HTTP semantics, RFC 9110 (range requests: section 14).
"""

from __future__ import annotations

import io
import re
import ssl
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final
from urllib.parse import urljoin, urlsplit
from urllib.request import url2pathname

import httpx

from ...schema.errors import PinfolioError
from ...schema.text import visible

SILENCE_S: Final = 30.0
"""Longest time without a single byte, in seconds."""
LEAST_BYTES_PER_S: Final = 1000
"""Slowest acceptable server, averaged over ``RATE_WINDOW_S``."""
RATE_WINDOW_S: Final = 60.0
_MANIFEST: Final = "manifest.json"
_SMALL_FILE_S: Final = 120.0
_CHUNK_BYTES: Final = 2**18
_MOST_REDIRECTS: Final = 5
_CONTENT_RANGE: Final = re.compile(r"bytes (\d+)-\d+/(\d+|\*)")
_LONGEST_REASON, _LONGEST_ENCODING = 80, 20  # characters of a server's words that are quoted
_FIRST_ERROR: Final = 400  # status codes from here on are errors (RFC 9110, section 15)
_GONE: Final = (404, 410)
_RETRIABLE: Final = (408, 429, 500, 502, 503, 504)


class SourceError(PinfolioError):
    """The source cannot be used; the message names the file and the reason."""


class ConnectionLostError(SourceError):
    """No connection, or it broke off; trying again may help."""


class SlowSourceError(SourceError):
    """The server sends so slowly that the folio would take days."""


class MissingFileError(SourceError):
    """The source has no such file."""


class Source:
    """A published folder, given by an http, https or file address or by a path."""

    def __init__(self, address: str, silence_s: float = SILENCE_S) -> None:
        """Accept the address of the folder or of its manifest; nothing is opened yet.

        A server is given by http or https, a folder by a file address or a path. ``address`` then
        ends in a slash, or is the folder's path. Raises SourceError for any other form.
        """
        self._silence_s = silence_s
        self._folder: Path | None = None
        try:
            url = urlsplit(address)
            is_web = url.scheme in ("http", "https") and bool(url.hostname)
        except ValueError:  # such as an IPv6 address without its closing bracket
            raise _explain_address(address) from None
        if is_web:
            # The address of the manifest itself, as copied from a browser, is good too.
            folder_address = url._replace(query="", fragment="").geturl()
            folder_address = folder_address.removesuffix(_MANIFEST)
            self.address = folder_address if folder_address.endswith("/") else f"{folder_address}/"
            return
        if url.scheme == "file":
            self._folder = Path(url2pathname(url.path))
        elif "://" not in address:
            self._folder = Path(address)
        else:
            raise _explain_address(address)
        if self._folder.name == _MANIFEST:
            self._folder = self._folder.parent
        self.address = str(self._folder)

    def read_small(self, name: str, most_bytes: int) -> bytes:
        """Return a whole file; raises SourceError, also when it exceeds ``most_bytes``."""
        data, deadline = b"", time.monotonic() + _SMALL_FILE_S
        with self.open_stream(name) as chunks:
            for chunk in chunks:
                data += chunk
                if len(data) > most_bytes:
                    raise SourceError(f"{name}: larger than the limit of {most_bytes:,} bytes")
                if time.monotonic() > deadline:
                    raise ConnectionLostError(f"{name}: took longer than {_SMALL_FILE_S:g} s")
        return data

    @contextmanager
    def open_stream(
        self, name: str, start: int = 0, size: int | None = None
    ) -> Iterator[Iterator[bytes]]:
        """Yield the bytes of a file from offset ``start`` on, in chunks of any length.

        ``size`` is the expected length of the whole file. If the server ignores the range and
        sends everything, the bytes before ``start`` are skipped.

        Raises SourceError, on opening and while the chunks are read.
        """
        with _translate_errors(name):
            if self._folder is not None:
                with (self._folder / name).open("rb") as file:
                    _check_size(name, file.seek(0, io.SEEK_END), size)
                    file.seek(start)
                    yield iter(lambda: file.read(_CHUNK_BYTES), b"")
                return
            # The certificates of the system, to which a shop may have added its own.
            with (
                httpx.Client(
                    timeout=self._silence_s, verify=ssl.create_default_context()
                ) as client,
                closing(_request(client, urljoin(self.address, name), start)) as response,
            ):
                chunks = _require_rate(response.iter_raw(), name)
                if _is_whole_file(response, name, start, size):
                    chunks = _skip(chunks, start, name)
                yield chunks


def _explain_address(address: str) -> SourceError:
    return SourceError(
        f"{visible(address)}: not a usable address; give http://, https://, file:// or a folder"
    )


def _request(client: httpx.Client, address: str, start: int) -> httpx.Response:
    """Return the final answer with its body unread, after following a few redirects."""
    # Unpacked, because offsets and sizes count the bytes of the file itself.
    headers = {"Accept-Encoding": "identity", "User-Agent": "pinfolio"}
    if start:
        headers["Range"] = f"bytes={start}-"
    request: httpx.Request | None = client.build_request("GET", address, headers=headers)
    for _ in range(_MOST_REDIRECTS + 1):
        assert request is not None
        response = client.send(request, stream=True)
        if not response.has_redirect_location:
            return response
        response.close()
        # Checked before it is followed: it must neither leave the web nor drop encryption.
        check_redirect(request.url, request.url.join(response.headers["Location"]))
        request = response.next_request
    raise SourceError(f"{visible(address)}: more than {_MOST_REDIRECTS} redirects")


def check_redirect(origin: httpx.URL, target: httpx.URL) -> None:
    """Raise SourceError for a redirect that leaves the web or drops encryption."""
    if target.scheme != "https" and (target.scheme != "http" or origin.scheme == "https"):
        raise SourceError(f"the redirect to {visible(str(target))[:100]} is refused")


def _is_whole_file(response: httpx.Response, name: str, start: int, size: int | None) -> bool:
    """Return whether the body is the whole file (status 200) or the requested rest (206).

    Raises SourceError for any other answer, a packed body, or a file of another size.
    """
    status = response.status_code
    if status >= _FIRST_ERROR:
        reason = visible(response.reason_phrase)[:_LONGEST_REASON]
        message = f"{name}: the server answered {status} {reason}"
        if status in _GONE:
            raise MissingFileError(message)
        raise ConnectionLostError(message) if status in _RETRIABLE else SourceError(message)
    encoding = response.headers.get("Content-Encoding", "identity").strip().lower()
    if encoding != "identity":
        shown_encoding = visible(encoding)[:_LONGEST_ENCODING]
        raise SourceError(f"{name}: packed as {shown_encoding}; it must come unpacked")
    if status == httpx.codes.PARTIAL_CONTENT:
        content_range = _CONTENT_RANGE.fullmatch(response.headers.get("Content-Range", "").strip())
        if not content_range or not start or int(content_range[1]) != start:
            raise SourceError(f"{name}: the server sent another range than requested")
        total_bytes = content_range[2]  # an asterisk if the server does not know it
        _check_size(name, None if total_bytes == "*" else int(total_bytes), size)
        return False
    if status != httpx.codes.OK:
        raise SourceError(f"{name}: the server answered {status} instead of 200 or 206")
    body_bytes = response.headers.get("Content-Length", "")  # absent from a chunked answer
    _check_size(name, int(body_bytes) if body_bytes.isdecimal() else None, size)
    return True


def _check_size(name: str, actual: int | None, expected: int | None) -> None:
    if expected is not None and actual is not None and actual != expected:
        raise SourceError(
            f"{name}: {actual:,} bytes long, but the manifest says {expected:,}"
            "; it may just have been republished, so fetch again in a while"
        )


def _require_rate(chunks: Iterable[bytes], name: str) -> Iterator[bytes]:
    """Yield the chunks; raise SlowSourceError when they come too slowly.

    A timeout between chunks alone would let a server send a byte now and then for ever.
    """
    window_start_s, received_bytes = time.monotonic(), 0
    for chunk in chunks:
        received_bytes += len(chunk)
        elapsed_s = time.monotonic() - window_start_s
        if elapsed_s >= RATE_WINDOW_S:
            if received_bytes < LEAST_BYTES_PER_S * elapsed_s:
                raise SlowSourceError(
                    f"{name}: too slow, {received_bytes:,} bytes in {elapsed_s:.0f} s, less than"
                    f" {LEAST_BYTES_PER_S:,} a second; run the same command to continue"
                )
            window_start_s, received_bytes = time.monotonic(), 0
        yield chunk


def _skip(chunks: Iterator[bytes], size: int, name: str) -> Iterator[bytes]:
    """Yield the chunks without their first ``size`` bytes."""
    for chunk in chunks:
        if len(chunk) > size:
            yield chunk[size:]
        size = max(0, size - len(chunk))
    if size:
        raise ConnectionLostError(f"{name}: ended before the part that is still missing")


@contextmanager
def _translate_errors(name: str) -> Iterator[None]:
    """Turn the errors of the block into SourceError.

    Those after which another attempt may succeed become its subclass ConnectionLostError.
    """
    try:
        yield
    except FileNotFoundError:
        raise MissingFileError(f"{name}: no such file in the folder") from None
    except httpx.TimeoutException:
        raise ConnectionLostError(f"{name}: no answer for a long time") from None
    except httpx.ConnectError as error:
        raise ConnectionLostError(f"{name}: cannot connect: {_explain(error)}") from None
    except httpx.TransportError as error:
        raise ConnectionLostError(f"{name}: the connection broke off: {_explain(error)}") from None
    except (httpx.InvalidURL, httpx.HTTPError, ImportError, ValueError) as error:
        # ImportError: the environment names a SOCKS proxy, which needs another package.
        raise SourceError(f"{name}: cannot be requested: {_explain(error)}") from None


def _explain(error: Exception) -> str:
    """Return the operating system's words for an error where it has any, else its own."""
    cause: BaseException | None = error
    while cause is not None and not (isinstance(cause, OSError) and cause.strerror):
        cause = cause.__cause__ or cause.__context__
    reason = cause.strerror.lower() if isinstance(cause, OSError) and cause.strerror else str(error)
    return visible(reason)[:200]
