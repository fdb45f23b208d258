"""Make the rows of table ``attachment`` from the files attached to notes."""

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
"""Media type by file name extension."""


def make_attachment_rows(notes: Iterable[Note], files: Mapping[str, Path]) -> Iterator[Row]:
    """Yield a row for each attachment of ``notes``, ordered by SHA-256, one file at a time.

    ``files`` gives paths by stored name; attachments not in it are skipped.

    Raises NoteFileError with all files that are missing or changed.
    """
    named = {format_stored_name(each): (each, note) for note in notes for each in note.attachments}
    faults: list[Fault] = []
    for name in sorted(named.keys() & files.keys()):
        attachment, note = named[name]
        try:
            yield _make_row(attachment, files[name])
        except AttachmentError as error:
            expected = f"the attachment {attachment.name} of note {note.id}"
            faults.append(Fault(str(files[name]), 1, 1, str(error), expected))
    if faults:
        raise NoteFileError(tuple(faults))


def _make_row(attachment: Attachment, path: Path) -> Row:
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise AttachmentError((error.strerror or "an error").lower()) from None
    if len(data) <= MOST_BYTES and hashlib.sha256(data).hexdigest() != attachment.sha256:
        raise AttachmentError("bytes changed since it was attached")
    extension = path.suffix.removeprefix(".")
    width, height = check_attachment(data, extension) or (None, None)
    return {
        "sha256": attachment.sha256,
        "media": MEDIA[extension],
        "width": width,
        "height": height,
        "bytes": data,
    }
