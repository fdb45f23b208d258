"""Names of pages as files, and the links between them.

Names hold only characters that servers, browsers and file systems leave unchanged.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from html import escape, unescape
from typing import Final
from urllib.parse import parse_qs, quote, unquote, urlsplit

HOME: Final = "index.html"

FileOf = Callable[[str], str | None]
"""Returns the file name for an address; None for one that needs a server."""

# Text and attributes of our pages hold no < or >, so a tag is the text between two of them.
_TAG: Final = re.compile(r"<(?:a|link|script|img)\s[^<>]*>")
_LEADS: Final = re.compile(r'\s(href|src)="([^"]*)"')
_NAMED: Final = re.compile(r"/-/static-plugins/[^/]+/(?P<name>[a-z]+\.(css|js))")
_ATTACHED: Final = re.compile(r"/notes/attachment/(?P<name>[0-9a-f]{64}\.[a-z]+)")
_CHIP: Final = re.compile(r"/chip/(?P<part>[^/]+)(/(?P<pin>[0-9]+))?")
_LONGEST: Final = 120


def choose_file_name(address: str, part_of: Callable[[str], str | None]) -> str | None:
    """Return the file name for an address; None for a page that needs a server.

    ``part_of`` returns the part number for a chip name in an address, or None.
    """
    split = urlsplit(address)
    fields = {name: values[0] for name, values in parse_qs(split.query).items()}
    if split.path in ("/", "/parts"):
        number = fields.pop("page", "1")
        # Any other field asks a server a question.
        if fields:
            return None
        return HOME if number == "1" else f"parts-{_make_plain(number)}.html"
    if split.path == "/notes" and not fields:
        return "notes.html"
    if match := _NAMED.fullmatch(split.path):
        return match["name"]
    if match := _ATTACHED.fullmatch(split.path):
        return f"attachments/{match['name']}"
    match = _CHIP.fullmatch(split.path)
    part = part_of(unquote(match["part"])) if match else None
    if not match or part is None:
        return None
    condition = fields.pop("condition", None)
    return None if fields else _name_chip_file(part, match["pin"], condition)


def _name_chip_file(part: str, pin: str | None, condition: str | None) -> str:
    name = (
        f"{pin or 'sheet'}" if condition is None else f"{pin or 'sheet'}-{_make_plain(condition)}"
    )
    return f"chip/{_make_plain(part)}/{name}.html"


def _make_plain(text: str) -> str:
    """Return a text as part of a file name, different for different texts."""
    spelt = quote(text, safe="").replace("~", "%7E").replace(".", "%2E").replace("%", "~")
    if len(spelt) <= _LONGEST:
        return spelt
    import hashlib

    return f"{spelt[:60]}~{hashlib.sha256(text.encode()).hexdigest()[:32]}"


def convert_page(html: str, at: str, file_for: FileOf) -> tuple[str, list[str]]:
    """Return a page as the file ``at``, and the addresses it links to, each once.

    Links become relative; those that need a server become plain text.
    """
    linked_addresses: dict[str, None] = {}  # a set in order
    up_to_root = "../" * at.count("/")

    def convert_link(match: re.Match[str]) -> str:
        attribute, (address, hash_sign, fragment) = match[1], unescape(match[2]).partition("#")
        # Links within the page, and to other sites, stay.
        if not address.startswith("/") or address.startswith("//"):
            return match[0]
        file_name = file_for(address)
        if file_name is None:
            return ""
        linked_addresses[address] = None
        return f' {attribute}="{escape(up_to_root + file_name + hash_sign + fragment)}"'

    converted = _TAG.sub(lambda tag: _LEADS.sub(convert_link, tag[0]), html)
    return converted, list(linked_addresses)
