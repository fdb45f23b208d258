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
from ..system.regular_files import TooLargeError, read_regular
from .chip_rows import Row

MEDIA: Final = {"csv": "text/csv", "png": "image/png", "jpg": "image/jpeg"}
"""Media type by file name extension."""


def make_attachment_rows(
    notes: Iterable[Note], files: Mapping[str, Path], set_aside: list[Fault] | None = None
) -> Iterator[Row]:
    """Yield a row for each attachment of ``notes``, ordered by SHA-256, one file at a time.

    ``files`` gives paths by stored name; attachments not in it are skipped. With ``set_aside``,
    files that are missing or changed are left out and their faults appended to it; otherwise
    raises NoteFileError with all of them.
    """
    # A stored name begins with the SHA-256: the same file on several notes makes one row.
    attached = {
        format_stored_name(attachment): (attachment, note)
        for note in notes
        for attachment in note.attachments
    }
    faults: list[Fault] = []
    for stored_name in sorted(attached.keys() & files.keys()):
        attachment, note = attached[stored_name]
        path = files[stored_name]
        try:
            yield _make_row(attachment, path)
        except AttachmentError as error:
            problem, semicolon, remedy = str(error).partition("; ")
            expected = f"the attachment {attachment.name} of note {note.id}{semicolon}{remedy}"
            faults.append(Fault(str(path), 1, 1, problem, expected))
    if faults and set_aside is None:
        raise NoteFileError(tuple(faults))
    if set_aside is not None:
        set_aside += faults


def _make_row(attachment: Attachment, path: Path) -> Row:
    """Return the row of an attached file. Raises AttachmentError if it is missing or changed."""
    try:
        data = read_regular(path, MOST_BYTES)
    except TooLargeError:
        raise AttachmentError(f"more than {MOST_BYTES:,} bytes") from None
    except OSError as error:
        raise AttachmentError((error.strerror or "an error").lower()) from None
    if hashlib.sha256(data).hexdigest() != attachment.sha256:
        raise AttachmentError("bytes changed since it was attached")
    extension = path.suffix.removeprefix(".")
    # Only pictures have a size; text leaves both columns empty.
    width, height = check_attachment(data, extension) or (None, None)
    return {
        "sha256": attachment.sha256,
        "media": MEDIA[extension],
        "width": width,
        "height": height,
        "bytes": data,
    }
