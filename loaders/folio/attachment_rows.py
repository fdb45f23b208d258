"""The files that notes name as attached, as the rows of table ``attachment``."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Final

from ...schema.note import Attachment, Note
from ..errors import Fault
from ..shop.attachment_check import MOST_BYTES, AttachmentError, check_attachment
from ..shop.note_files import NoteFileError, format_stored_name
from .chip_rows import Row

MEDIA: Final = {"csv": "text/csv", "png": "image/png", "jpg": "image/jpeg"}
"""Media type by the ending of an attachment's name."""


def attachment_rows(notes: Iterable[Note], files: Mapping[str, Path]) -> Iterator[Row]:
    """A row for each attachment of ``notes`` in the order of SHA-256, read one after another.

    ``files`` says where the bytes are, by the name they are kept under; what it does not name is
    left out. Raises NoteFileError, with all that are missing or not what was attached.
    """
    named = {format_stored_name(each): (each, note) for note in notes for each in note.attachments}
    faults: list[Fault] = []
    for name in sorted(named.keys() & files.keys()):
        attachment, note = named[name]
        try:
            yield _row(attachment, files[name])
        except AttachmentError as refused:
            wanted = f"the attachment {attachment.name} of note {note.id}"
            faults.append(Fault(str(files[name]), 1, 1, str(refused), wanted))
    if faults:
        raise NoteFileError(tuple(faults))


def _row(attachment: Attachment, path: Path) -> Row:
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as refused:
        raise AttachmentError((refused.strerror or "an error").lower()) from None
    if len(data) <= MOST_BYTES and hashlib.sha256(data).hexdigest() != attachment.sha256:
        raise AttachmentError("bytes changed since it was attached")
    ending = path.suffix.removeprefix(".")
    width, height = check_attachment(data, ending) or (None, None)
    return {
        "sha256": attachment.sha256,
        "media": MEDIA[ending],
        "width": width,
        "height": height,
        "bytes": data,
    }
