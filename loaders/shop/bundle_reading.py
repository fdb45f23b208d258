"""Read and verify a bundle, which may be hostile.

Sizes are bounded before anything is read, any fault raises BundleError, and no name from the file
becomes a path.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

from pydantic import ValidationError

from ...schema.errors import PinfolioError
from ...schema.note import Note
from ...schema.text import visible
from ..keys.key_statements import MOST_STATEMENTS, Statement
from ..keys.signing_key import SIGNATURE_BYTES, is_signed
from .attachment_check import MOST_BYTES as MOST_ATTACHMENT_BYTES
from .attachment_check import AttachmentError, check_attachment
from .bundle_writing import (
    FORMAT,
    FORMAT_WITH_KEYS,
    MANIFEST,
    MOST_ATTACHMENTS,
    MOST_NOTES_BYTES,
    NOTE_FORMAT,
    NOTES,
    SIGNATURE,
    STATEMENTS,
    Manifest,
    Member,
)
from .note_files import format_stored_name
from .note_lines import MOST_NOTES, NoteLinesError, read_lines

_MOST_BYTES: Final = 500_000_000
_MOST_LISTED_BYTES: Final = 200_000  # central directory of the zip
_LOCATOR_BYTES: Final = 20  # zip64 end of central directory locator, APPNOTE.TXT 4.3.15
_END: Final = struct.Struct("<4s4H2LH")  # end of central directory record, APPNOTE.TXT 4.3.16
_END_SIGNATURE, _LOCATOR_SIGNATURE = b"PK\x05\x06", b"PK\x06\x07"
_UNIX_MODE_SHIFT: Final = 16  # the mode is the upper half of the external attributes
_LONGEST_SHOWN, _LONGEST_FORMAT = 100, 60  # characters quoted in messages
_MOST_MEMBERS: Final = MOST_ATTACHMENTS + 4  # besides manifest, signature, notes, statements
_ATTACHMENT: Final = re.compile(r"attachments/([0-9a-f]{64})\.(csv|png|jpg)")
_MOST_OF: Final = {
    MANIFEST: 400_000,
    SIGNATURE: 200,
    NOTES: MOST_NOTES_BYTES,
    STATEMENTS: 1_000 * MOST_STATEMENTS,
}
_UTF8, _STREAMED = 0x800, 0x8  # the only flags a member may have
_LINK, _KIND_OF_FILE = 0o120000, 0o170000
_BROKEN: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    KeyError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    ValueError,
)


class BundleError(PinfolioError):
    """The file is no bundle, or was altered since its shop signed it; the message says how."""


@dataclass(frozen=True)
class Bundle:
    """A verified bundle: its signature and all its digests are correct."""

    path: Path
    manifest: Manifest
    notes: tuple[Note, ...]
    """Its revisions, sorted by id and digest."""
    statements: tuple[Statement, ...] = ()
    """What the shop states about its keys."""

    @property
    def is_complete(self) -> bool:
        """Whether it holds every revision that the shop had written."""
        return len(self.notes) == self.manifest.revisions

    def read_attachment(self, name: str) -> bytes:
        """Return the attachment stored as ``name``, verified again; raises BundleError."""
        with _open_archive(self.path) as archive:
            members = {member.name: member for member in self.manifest.members}
            return _read_verified(archive, members[f"attachments/{name}"])


def read_bundle(path: Path) -> Bundle:
    """Return the bundle at ``path``, fully verified; raises BundleError."""
    with _open_archive(path) as archive:
        names = _check_members(archive)
        manifest_bytes = archive.read(MANIFEST)
        manifest = _parse_manifest(manifest_bytes)
        _check_signature(manifest, archive.read(SIGNATURE), manifest_bytes)
        if [member.name for member in manifest.members] != names[2:]:
            raise BundleError("its members are not those that its manifest lists")
        notes = _parse_notes(_read_verified(archive, manifest.members[0]), manifest)
        statements, attachments = _read_statements(archive, manifest)
        _check_attachments(archive, attachments, notes)
    return Bundle(path, manifest, notes, statements)


@contextmanager
def _open_archive(path: Path) -> Iterator[zipfile.ZipFile]:
    """Yield the zip archive of a file; raises BundleError, with the path, for any fault in it."""
    shown = visible(str(path))
    try:
        if path.exists() and not path.is_file():
            raise BundleError("not a file")
        with path.open("rb") as file:
            _check_end(file)
            with zipfile.ZipFile(file) as archive:
                yield archive
    except BundleError as error:
        raise BundleError(f"{shown}: {error}") from None
    except FileNotFoundError:
        raise BundleError(f"{shown}: no such file") from None
    except _BROKEN as error:
        raise BundleError(f"{shown}: not a whole zip file ({visible(str(error))})") from None


def _check_end(file: BinaryIO) -> None:
    """Bound the zip's central directory before it is read; raises BundleError."""
    file_bytes = file.seek(0, io.SEEK_END)
    if file_bytes > _MOST_BYTES:
        raise BundleError(f"{file_bytes:,} bytes; a bundle has at most {_MOST_BYTES:,}")
    file.seek(max(0, file_bytes - _END.size - _LOCATOR_BYTES))
    tail = file.read()
    end_record = tail[-_END.size :]
    if len(tail) < _END.size or not end_record.startswith(_END_SIGNATURE):
        raise BundleError("not a bundle: it is no zip file, or bytes follow it")
    (
        _, disk, directory_disk, members_on_disk, member_count, directory_bytes,
        directory_offset, comment_bytes,
    ) = _END.unpack(end_record)  # fmt: skip
    is_split = disk or directory_disk or members_on_disk != member_count
    if tail.startswith(_LOCATOR_SIGNATURE) or is_split or comment_bytes:
        raise BundleError("not a bundle: a zip file of several parts, of 64 bits or with a comment")
    if member_count > _MOST_MEMBERS or directory_bytes > _MOST_LISTED_BYTES:
        raise BundleError(f"{member_count:,} members; a bundle has at most {_MOST_MEMBERS:,}")
    # Other zip readers could take bytes that no member owns for other members.
    if directory_offset + directory_bytes + _END.size != file_bytes:
        raise BundleError("not a bundle: bytes before or within it belong to no member")


def _check_members(archive: zipfile.ZipFile) -> list[str]:
    """Return the names of the members; raises BundleError unless all are permitted and stored."""
    names: list[str] = []
    for info in archive.infolist():
        name = info.orig_filename  # as it was written: zipfile cuts its own copy at a null
        if name not in _MOST_OF and not _ATTACHMENT.fullmatch(name):
            raise BundleError(f"'{visible(name)[:_LONGEST_SHOWN]}' is no member of a bundle")
        if name in names:
            raise BundleError(f"'{name}' is in it twice")
        names.append(name)
        unix_mode = info.external_attr >> _UNIX_MODE_SHIFT
        if unix_mode & _KIND_OF_FILE == _LINK:
            raise BundleError(f"'{name}' is a link, not a file")
        if info.compress_type != zipfile.ZIP_STORED or info.compress_size != info.file_size:
            raise BundleError(f"'{name}' is compressed; the members of a bundle are stored")
        if info.flag_bits & ~(_UTF8 | _STREAMED):
            raise BundleError(f"'{name}' is encrypted or patched")
        most_bytes = _MOST_OF.get(name, MOST_ATTACHMENT_BYTES)
        if info.file_size > most_bytes:
            raise BundleError(
                f"'{name}' has {info.file_size:,} bytes; at most {most_bytes:,} are read"
            )
    # One order only, so that the same notes always make the same bundle.
    required = [MANIFEST, SIGNATURE, NOTES]
    if names[: len(required)] != required or STATEMENTS in names[len(required) + 1 :]:
        missing = next((name for name in required if name not in names), None)
        raise BundleError(f"'{missing}' is missing" if missing else "its members are out of order")
    return names


def _parse_manifest(data: bytes) -> Manifest:
    """Return the manifest of a bundle. Raises BundleError for an unknown or broken one."""
    try:
        document: Any = json.loads(data)
    except (ValueError, RecursionError):
        raise BundleError(f"'{MANIFEST}' is not JSON") from None
    document = document if isinstance(document, dict) else {}
    # The formats come first: of another version every field could be faulty.
    readable_formats = {"format": (FORMAT, FORMAT_WITH_KEYS), "note_format": (NOTE_FORMAT,)}
    for key, readable in readable_formats.items():
        stated = document.get(key)
        if stated not in readable:
            found_text = f"its {key} is '{visible(str(stated))[:_LONGEST_FORMAT]}'"
            names = " and ".join(f"'{name}'" for name in readable)
            raise BundleError(f"{found_text}, this pinfolio reads {names}: a newer one may read it")
    try:
        return Manifest.model_validate_json(data)
    except ValidationError as error:
        first_error = error.errors()[0]
        place = visible(".".join(str(step) for step in first_error["loc"]))
        message = visible(first_error["msg"])
        raise BundleError(f"'{MANIFEST}' is faulty at {place}: {message}") from None


def _check_signature(manifest: Manifest, signature: bytes, signed: bytes) -> None:
    if not re.fullmatch(rb"[0-9a-f]{%d}\n" % (2 * SIGNATURE_BYTES), signature):
        raise BundleError(f"its signature is not {2 * SIGNATURE_BYTES} hexadecimal digits")
    if not is_signed(bytes.fromhex(manifest.public_key), bytes.fromhex(signature.decode()), signed):
        raise BundleError("its signature is wrong: it was altered after the shop signed it")


def _read_verified(archive: zipfile.ZipFile, member: Member) -> bytes:
    """Return the bytes of a member, its size and digest checked against the manifest."""
    data = archive.read(member.name)
    if len(data) != member.size or hashlib.sha256(data).hexdigest() != member.sha256:
        raise BundleError(f"'{member.name}' does not match the manifest: its digest is wrong")
    return data


def _parse_notes(data: bytes, manifest: Manifest) -> tuple[Note, ...]:
    """Return the notes of a bundle, all by its shop. Raises BundleError."""
    # Counted before they are parsed, which takes far longer.
    line_count = data.count(b"\n")
    if line_count > MOST_NOTES:
        raise BundleError(f"{line_count:,} notes; a bundle has at most {MOST_NOTES:,}")
    try:
        notes = tuple(read_lines(io.BytesIO(data), NOTES))
    except NoteLinesError as error:
        raise BundleError(str(error)) from None
    for note in notes:
        if note.shop != manifest.shop:
            raise BundleError(f"the note {note.id} is by {note.shop}, not by {manifest.shop}")
    if len(notes) > manifest.revisions:
        raise BundleError(f"{len(notes)} revisions, but the manifest says {manifest.revisions}")
    return notes


def _read_statements(
    archive: zipfile.ZipFile, manifest: Manifest
) -> tuple[tuple[Statement, ...], tuple[Member, ...]]:
    """Return the statements in a bundle, and its members after them. Raises BundleError."""
    members = manifest.members[1:]
    has_statements = bool(members) and members[0].name == STATEMENTS
    if not (has_statements == (manifest.format == FORMAT_WITH_KEYS) == bool(manifest.shop_key)):
        raise BundleError(f"'{STATEMENTS}' and shop_key belong to format '{FORMAT_WITH_KEYS}' only")
    if not has_statements:
        return (), members
    lines = _read_verified(archive, members[0]).splitlines()
    if len(lines) > MOST_STATEMENTS:
        raise BundleError(f"{len(lines):,} statements about keys; at most {MOST_STATEMENTS:,}")
    try:
        statements = tuple(map(Statement.model_validate_json, lines))
    except ValidationError:
        raise BundleError(f"'{STATEMENTS}' holds a line that is no statement about a key") from None
    if not all(s.shop_key == manifest.shop_key and s.is_signed for s in statements):
        raise BundleError(f"'{STATEMENTS}' holds a statement of another shop, or a changed one")
    return statements, members[1:]


def _check_attachments(
    archive: zipfile.ZipFile, members: tuple[Member, ...], notes: tuple[Note, ...]
) -> None:
    """Raise BundleError unless the attachments are those the notes name, byte for byte."""
    named = {
        f"attachments/{format_stored_name(attachment)}"
        for note in notes
        for attachment in note.attachments
    }
    present = {member.name for member in members}
    unmatched = sorted(named ^ present)  # in one of the two only
    if unmatched:
        fault = "which no note names" if unmatched[0] in present else "which is missing"
        raise BundleError(f"the attachment '{unmatched[0]}', {fault}")
    for member in members:
        match = _ATTACHMENT.fullmatch(member.name)
        data = _read_verified(archive, member)
        if match is None or match[1] != member.sha256:
            raise BundleError(f"'{member.name}' is not named by its own digest")
        try:
            check_attachment(data, match[2])
        except AttachmentError as error:
            raise BundleError(f"'{member.name}': {error}") from None
