"""One file of a form, read from the body of a request and never kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from email.policy import HTTP
from typing import Final

from datasette.utils.asgi import Request

_MOST_PARTS: Final = 12
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
    head = f"content-type: {kind}\r\n\r\n".encode("latin-1", "replace")
    form = message_from_bytes(head + body, policy=HTTP)
    parts = [part for part in form.walk() if not part.is_multipart()][:_MOST_PARTS]
    by_name = {_read_field_name(part): part for part in parts}
    file = by_name.get(file_field)
    data = _read_bytes(file) if file is not None else b""
    if file is None or not data:
        raise UploadRefused("Choose a file first.")
    fields = {
        name: _read_bytes(part).decode("utf-8", "replace").strip()
        for name, part in by_name.items()
        if name and name != file_field
    }
    return Upload(str(file.get_filename() or "the file"), data, fields)


async def _read_body(request: Request, most_bytes: int) -> bytes:
    body: bytes = b""
    while True:
        message = await request.receive()
        body += message.get("body", b"")
        if len(body) > most_bytes:
            raise UploadRefused(f"The file is larger than {most_bytes // 1_000_000} MB.")
        if not message.get("more_body"):
            return body


def _read_field_name(part: Message) -> str:
    return str(part.get_param("name", "", header="content-disposition"))


def _read_bytes(part: Message) -> bytes:
    payload = part.get_payload(decode=True)
    return payload if isinstance(payload, bytes) else b""
