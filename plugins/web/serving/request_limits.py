"""Refuse requests that are too large to be genuine, or that a page from elsewhere has made.

Sources for the statuses: RFC 9110, 15.5 (400, 403, 405, 411, 413, 414).
"""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import parse_qsl

from ..headers import App, Message, Receive, Send
from ..plain_page import send_plain_page

_LONGEST_ADDRESS_BYTES: Final = 8000  # RFC 9112, section 3, asks for at least this much
_UPLOAD: Final = re.compile(rb"/chip/[^/]+/[^/]+/capture$")
_LARGEST_UPLOAD_BYTES: Final = 20_100_000  # a capture and the form around it
_MOST_FIELDS: Final = 200
_OWN_COOKIE: Final = re.compile(rb"(?:^|;) *(pinfolio-[a-z]+=[ -:<-~]*)(?=;|$)")
"""A choice kept in the browser: the look, the instruments."""
_NOT_IN_ADDRESS: Final = re.compile(rb"[^!-~]")
"""Bytes that must be percent-encoded: spaces, controls, and all beyond ASCII."""
_STATEMENTS: Final = frozenset({"sql", "_where"})
"""Fields whose text Datasette runs as SQL."""
_LONGEST_SEARCH: Final = 300
"""Characters in ``?q=``, as the box takes them."""

Refusal = tuple[int, str, str, dict[str, str]]


def within_limits(app: App) -> App:
    """Return an ASGI application that passes on only requests within the limits."""

    async def wrapped(scope: Message, receive: Receive, send: Send) -> None:
        refusal = _find_refusal(scope) if scope["type"] == "http" else None
        if refusal is None:
            await app(_keep_own_cookies(scope), receive, send)
        else:
            status, heading, message, headers = refusal
            await send_plain_page(send, status, heading, message, headers)

    return wrapped


def _keep_own_cookies(scope: Message) -> Message:
    """Return the request with no cookies but ours: no page uses others, and some cannot be read."""
    pairs = scope.get("headers", ())
    headers = [pair for pair in pairs if pair[0].lower() != b"cookie"]
    sent = b";".join(value for name, value in pairs if name.lower() == b"cookie")
    kept = b"; ".join(_OWN_COOKIE.findall(sent))
    return {**scope, "headers": [*headers, (b"cookie", kept)] if kept else headers}


def _find_refusal(scope: Message) -> Refusal | None:
    """Return status, heading, sentence and headers of a refusal; None within the limits."""
    path, query = scope.get("raw_path") or b"", scope["query_string"]
    if scope["method"] not in ("GET", "HEAD"):
        return _refuse_upload(scope, path)
    if len(path) + len(query) > _LONGEST_ADDRESS_BYTES:
        message = (
            f"Found {len(path) + len(query)} bytes, at most {_LONGEST_ADDRESS_BYTES} are read."
        )
        return 414, "The address is too long", message, {}
    if _NOT_IN_ADDRESS.search(path + query):
        message = "Characters other than ASCII must be percent-encoded in an address."
        return 400, "The address cannot be read", message, {}
    text = query.decode("ascii")
    return _refuse_site(scope, text) or _refuse_query(text)


def _refuse_upload(scope: Message, path: bytes) -> Refusal | None:
    """Return the refusal of a request with a body; None for a capture from one of our own pages.

    It is read and forgotten; a page of another site may not send one (Fetch standard, 3.2: the
    Origin field of a POST).
    """
    if scope["method"] != "POST" or not _UPLOAD.search(path):
        allow = {"allow": "GET, HEAD"}
        return 405, "Reading only", "Nothing can be changed here: pages are only read.", allow
    fields = {bytes(name).lower(): bytes(value) for name, value in scope["headers"]}
    length = fields.get(b"content-length", b"")
    if not length.isdigit():
        return 411, "The length is missing", "An upload must say how long it is.", {}
    if int(length) > _LARGEST_UPLOAD_BYTES:
        message = f"Found {int(length)} bytes, at most {_LARGEST_UPLOAD_BYTES} are read."
        return 413, "The file is too large", message, {}
    origin_host = fields.get(b"origin", b"").partition(b"://")[2]
    site = fields.get(b"sec-fetch-site")
    if site == b"same-origin" or (site is None and origin_host == fields.get(b"host", b"-")):
        return None
    return 403, "Not from another site", "A capture is taken from this site's own page alone.", {}


def _refuse_site(scope: Message, query: str) -> Refusal | None:
    """Refuse requests from pages of other sites, except a link that is followed to a page.

    Browsers say so in fields that pages cannot set (W3C Fetch Metadata Request Headers, 2.1-2.4).
    """
    fields = {bytes(name).lower(): bytes(value) for name, value in scope["headers"]}
    if fields.get(b"sec-fetch-site", b"none") in (b"none", b"same-origin"):
        return None
    is_link = (fields.get(b"sec-fetch-mode"), fields.get(b"sec-fetch-dest")) == (
        b"navigate",
        b"document",
    )
    if is_link and not _STATEMENTS & {name for name, _ in parse_qsl(query, keep_blank_values=True)}:
        return None
    message = "A page of another site asked for this. Open the address itself instead."
    return 403, "Not from another site", message, {}


def _refuse_query(query: str) -> Refusal | None:
    if query.count("&") >= _MOST_FIELDS:
        message = f"At most {_MOST_FIELDS} fields are read."
        return 400, "The address asks too many things at once", message, {}
    longest = max((len(text) for name, text in parse_qsl(query) if name == "q"), default=0)
    if longest > _LONGEST_SEARCH:
        message = f"Found {longest} characters, at most {_LONGEST_SEARCH} are looked for."
        return 400, "Too much to search for", message, {}
    return None
