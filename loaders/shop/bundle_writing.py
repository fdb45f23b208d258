"""Write a bundle: a shop's notes in one signed file. README.md in this folder has the format.

The same notes give the same bytes on every machine: members are stored uncompressed, in a fixed
order and with a fixed date.
"""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, Literal

from ...schema.model import Model, Whole
from ...schema.note import Digest, Handle, Note
from ...schema.text import part_key
from ..errors import Fault
from ..keys.signing_key import derive_public_key, sign
from ..system.atomic_write import replace_atomically
from ..system.regular_files import read_regular
from .attachment_check import MOST_BYTES as MOST_ATTACHMENT_BYTES
from .note_files import format_stored_name, load_own_notes, locate_attachment, sort_notes
from .note_lines import MOST_NOTES, format_lines
from .shop_folder import Shop, ShopError

FORMAT: Final = "pinfolio bundle 1"
FORMAT_WITH_KEYS: Final = "pinfolio bundle 2"
"""Of a shop that has made statements about its keys."""
NOTE_FORMAT: Final = "pinfolio note 1"
MANIFEST: Final = "manifest.json"
SIGNATURE: Final = "signature"
NOTES: Final = "notes.jsonl"
STATEMENTS: Final = "keys.jsonl"

MOST_NOTES_BYTES: Final = 64_000_000
MOST_ATTACHMENTS: Final = 1_000
_MEMBER_DATE: Final = (1980, 1, 1, 0, 0, 0)  # the earliest date a zip can hold
_PLAIN_FILE: Final = 0o100644 << 16
_UNIX: Final = 3
_FIRST_BYTES: Final = re.compile(rb"PK\x03\x04.{26}" + re.escape(MANIFEST.encode()), re.DOTALL)
"""The local header of a zip file's first member, and its name (APPNOTE.TXT 4.3.7)."""


class Member(Model):
    """A file within a bundle."""

    name: str
    size: Whole
    sha256: Digest


class Manifest(Model):
    """The table of contents of a bundle; its bytes are signed."""

    format: Literal["pinfolio bundle 1", "pinfolio bundle 2"] = "pinfolio bundle 1"
    note_format: Literal["pinfolio note 1"] = "pinfolio note 1"
    shop: Handle
    shop_key: Digest | None = None
    """The shop's first key, which names the shop; None in format 1, where it signs itself."""
    public_key: Digest
    """The key that signs the bundle."""
    revisions: Whole
    """Number of revisions the signing device had; it only grows, so it dates the bundle."""
    members: tuple[Member, ...]

    @property
    def first_key(self) -> str:
        """The shop's first key, which names the shop."""
        return self.shop_key or self.public_key


@dataclass(frozen=True)
class _Content:
    """The source of a member's bytes."""

    name: str
    data: bytes | Path

    def read(self) -> bytes:
        """Return the bytes; raises OSError."""
        if isinstance(self.data, bytes):
            return self.data
        return read_regular(self.data, MOST_ATTACHMENT_BYTES)


def select_notes_to_share(
    shop: Shop,
    chip: str | None = None,
    since: str | None = None,
    set_aside: list[Fault] | None = None,
) -> list[Note]:
    """Return the shop's own notes with all revisions: of one chip, or changed since a day.

    ``since`` is a day as year-month-day. Other shops share their notes themselves.

    Revisions that cannot be read are ``set_aside``, as in ``load_all_notes``, and so are those
    of which an attachment is missing or changed. Raises NoteFileError, ShopError.
    """
    revisions = load_own_notes(shop, set_aside)
    if set_aside is not None:
        revisions = [note for note in revisions if _has_its_attachments(shop, note, set_aside)]
    ids_of_chip = {
        note.id for note in revisions if chip is None or part_key(note.chip) == part_key(chip)
    }
    changed_ids = {note.id for note in revisions if since is None or note.date >= since}
    # All revisions of a chosen note: the receiver needs the earlier ones to see the order.
    shared_ids = ids_of_chip & changed_ids
    return [note for note in revisions if note.id in shared_ids]


def _has_its_attachments(shop: Shop, note: Note, set_aside: list[Fault]) -> bool:
    """Return whether a bundle can hold the note; otherwise append the faults to ``set_aside``."""
    faults = []
    for attachment in note.attachments:
        path = locate_attachment(shop, note, attachment)
        try:
            _describe_content(_Content(attachment.name, path))
        except ShopError as error:
            reason = str(error).removeprefix(f"{path}: ")
            expected = f"{attachment.name} of note {note.id} as attached; attach it again with:"
            expected += f" pinfolio note edit {note.id} --attach FILE --detach {attachment.name}"
            faults.append(Fault(str(path), 1, 1, reason, expected))
    set_aside += faults
    return not faults


def write_bundle(
    shop: Shop, notes: Iterable[Note], out: Path, written: int | None = None
) -> Manifest:
    """Write a bundle of some of the shop's own notes atomically; return its manifest.

    ``written`` is the number of revisions the shop has written in all, counted if None.

    Raises ShopError when the notes exceed a bundle's limits, an attachment is missing or changed,
    or the file cannot be written.
    """
    key = shop.load_private_key(to_share=True)
    sorted_notes = sort_notes(notes)
    statements = shop.load_keys().counting
    note_lines = b"".join(format_lines(sorted_notes))
    contents = [_Content(NOTES, note_lines)]
    if statements:
        statement_lines = "".join(f"{statement.document()}\n" for statement in statements)
        contents.append(_Content(STATEMENTS, statement_lines.encode()))
    contents += _collect_attachments(shop, sorted_notes)
    if len(sorted_notes) > MOST_NOTES or len(note_lines) > MOST_NOTES_BYTES:
        raise ShopError(f"{out}: too many notes for one bundle; share them by --chip or --since")
    if len(contents) - 2 > MOST_ATTACHMENTS:
        raise ShopError(f"{out}: more than {MOST_ATTACHMENTS} attachments; share them by --chip")
    manifest = Manifest(
        format=FORMAT_WITH_KEYS if statements else FORMAT,
        shop=shop.handle,
        shop_key=shop.public_key.hex() if statements else None,
        public_key=derive_public_key(key).hex(),
        revisions=len(load_own_notes(shop, [])) if written is None else written,
        members=tuple(_describe_content(content) for content in contents),
    )
    manifest_bytes = _format_manifest(manifest)
    signature = sign(key, manifest_bytes).hex().encode() + b"\n"
    signed_head = [_Content(MANIFEST, manifest_bytes), _Content(SIGNATURE, signature)]
    try:
        _write(out, [*signed_head, *contents])
    except OSError as error:
        reason = f"the bundle cannot be written: {error.strerror}; name another file"
        raise ShopError(f"{out}: {reason}") from None
    return manifest


def _collect_attachments(shop: Shop, notes: Iterable[Note]) -> list[_Content]:
    paths = {
        format_stored_name(attachment): locate_attachment(shop, note, attachment)
        for note in notes
        for attachment in note.attachments
    }
    return [_Content(f"attachments/{name}", path) for name, path in sorted(paths.items())]


def _describe_content(content: _Content) -> Member:
    """Return the manifest entry of a member; raises ShopError for a changed attachment."""
    try:
        data = content.read()
    except OSError as error:
        raise ShopError(f"{content.data!s}: cannot be read: {error.strerror}") from None
    digest = hashlib.sha256(data).hexdigest()
    if isinstance(content.data, Path) and digest != content.data.stem:
        raise ShopError(f"{content.data}: the attachment was changed since it was attached")
    return Member(name=content.name, size=len(data), sha256=digest)


def _format_manifest(manifest: Manifest) -> bytes:
    text = json.dumps(
        manifest.model_dump(mode="json", exclude_none=True), indent=1, ensure_ascii=False
    )
    return f"{text}\n".encode()


def is_bundle_file(path: Path) -> bool:
    """Return whether a file begins as a bundle does; raises OSError."""
    with path.open("rb") as file:
        return _FIRST_BYTES.match(file.read(100)) is not None


def _write(out: Path, contents: list[_Content]) -> None:
    with replace_atomically(out, is_bundle_file) as temporary, temporary.open("xb") as file:
        _write_zip(file, contents)


def _write_zip(file: BinaryIO, contents: list[_Content]) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED, allowZip64=False) as archive:
        for content in contents:
            info = zipfile.ZipInfo(content.name, _MEMBER_DATE)
            info.create_system, info.external_attr = _UNIX, _PLAIN_FILE
            archive.writestr(info, content.read())
