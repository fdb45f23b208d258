"""One file of a form, read from the body of a request and never kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from email.policy import HTTP
from typing import Final, NamedTuple

from datasette.utils.asgi import Request

_MOST_PARTS: Final = 12
_BLANK_LINE: Final = b"\r\n\r\n"
_ROOM_BYTES: Final = 20_000  # of the form's other fields and the borders between them


class UploadRefused(Exception):  # noqa: N818  an answer, not a failure
    """The reason why there is no file to read, as a sentence."""


@dataclass(frozen=True)
class Upload:
    """The file of a form, and its other fields."""

    name: str
    data: bytes
    fields: dict[str, str] = field(default_factory=dict)


async def read_upload(request: Request, file_field: str, most_bytes: int) -> Upload:
    """Return the file in ``file_field`` of a multipart form (RFC 7578). Raises UploadRefused.

    No more than ``most_bytes`` and the room of the other fields are taken from the connection.
    """
    kind = request.headers.get("content-type", "")
    if not kind.casefold().startswith("multipart/form-data"):
        raise UploadRefused("Choose a file first.")
    body = await _read_body(request, most_bytes + _ROOM_BYTES)
    parts = _split_parts(body, _read_head(f"content-type: {kind}".encode("latin-1", "replace")))
    file = next((part for part in parts if part.name == file_field), None)
    if file is None or not file.content:
        raise UploadRefused("Choose a file first.")
    fields = {
        part.name: part.content.decode("utf-8", "replace").strip()
        for part in parts
        if part.name and part is not file
    }
    return Upload(str(file.head.get_filename() or "the file"), file.content, fields)


class _Part(NamedTuple):
    """One field of a form."""

    head: Message
    content: bytes

    @property
    def name(self) -> str:
        """Name of the field."""
        return str(self.head.get_param("name", "", header="content-disposition"))


def _split_parts(body: bytes, head: Message) -> list[_Part]:
    """Return the first few parts of a form, cut at its borders.

    The content of a capture may be long: nothing looks for lines in it.
    """
    border = (head.get_boundary() or "").encode("latin-1", "replace")
    if not border:
        return []
    pieces = (b"\r\n" + body).split(b"\r\n--" + border, _MOST_PARTS + 1)
    parts = []
    for piece in pieces[1 : _MOST_PARTS + 1]:
        lines, blank_line, content = piece.partition(_BLANK_LINE)
        if blank_line:
            parts.append(_Part(_read_head(lines.lstrip(b"\r\n")), content))
    return parts


def _read_head(lines: bytes) -> Message:
    """Return the header fields of a form or of one of its parts."""
    return message_from_bytes(lines + _BLANK_LINE, policy=HTTP)


async def _read_body(request: Request, most_bytes: int) -> bytes:
    body = bytearray()
    while True:
        message = await request.receive()
        body += message.get("body", b"")
        if len(body) > most_bytes:
            raise UploadRefused(f"The file is larger than {most_bytes // 1_000_000} MB.")
        if not message.get("more_body"):
            return bytes(body)
