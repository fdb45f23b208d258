"""A bundle: the notes a shop hands to others, in one signed file. DEVELOPERS.md has the format.

The same notes make the same bytes on every machine: members are stored, never compressed, in one
order and with one date, and nothing tells when the file was made.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, Literal

from ...schema.model import Model, Whole
from ...schema.note import Digest, Handle, Note
from ...schema.text import part_key
from .attachment_check import MOST_BYTES as MOST_ATTACHMENT_BYTES
from .note_files import attachment_path, in_order, kept_as, own_notes
from .note_lines import MOST_NOTES, write_lines
from .shop_folder import Shop, ShopError
from .signing_key import sign

FORMAT: Final = "pinfolio bundle 1"
NOTE_FORMAT: Final = "pinfolio note 1"
MANIFEST: Final = "manifest.json"
SIGNATURE: Final = "signature"
NOTES: Final = "notes.jsonl"

MOST_NOTES_BYTES: Final = 64_000_000
MOST_ATTACHMENTS: Final = 1_000
_LONG_AGO: Final = (1980, 1, 1, 0, 0, 0)  # the earliest date a zip can hold
_PLAIN_FILE: Final = 0o100644 << 16
_UNIX: Final = 3


class Member(Model):
    """One file within a bundle."""

    name: str
    size: Whole
    sha256: Digest


class Manifest(Model):
    """What a bundle says it is; its bytes are what is signed."""

    format: Literal["pinfolio bundle 1"] = "pinfolio bundle 1"
    note_format: Literal["pinfolio note 1"] = "pinfolio note 1"
    shop: Handle
    public_key: Digest
    revisions: Whole
    """How many revisions the shop had written in all; grows only, so it tells old from new."""
    members: tuple[Member, ...]


@dataclass(frozen=True)
class _Content:
    """A member to be written: where its bytes are."""

    name: str
    data: bytes | Path

    def read(self) -> bytes:
        return self.data if isinstance(self.data, bytes) else self.data.read_bytes()


def notes_to_share(shop: Shop, chip: str | None = None, since: str | None = None) -> list[Note]:
    """The shop's own notes with all their revisions: on one chip, or changed since a day.

    ``since`` is a day as year-month-day. Notes of others are theirs to share.
    """
    revisions = own_notes(shop)
    of_chip = {
        note.id for note in revisions if chip is None or part_key(note.chip) == part_key(chip)
    }
    changed = {note.id for note in revisions if since is None or note.date >= since}
    return [note for note in revisions if note.id in of_chip & changed]


def write_bundle(
    shop: Shop, notes: Iterable[Note], out: Path, written: int | None = None
) -> Manifest:
    """Write a bundle of some of the shop's own notes, whole or not at all.

    ``written`` is how many revisions the shop has written in all; else they are counted.
    Raises ShopError when there is too much for one bundle, an attachment is not there as it was
    attached, or the file cannot be written.
    """
    key, kept = shop.private_key(), in_order(notes)
    contents = [_Content(NOTES, b"".join(write_lines(kept))), *_attachments(shop, kept)]
    if len(kept) > MOST_NOTES or len(contents[0].read()) > MOST_NOTES_BYTES:
        raise ShopError(f"{out}: too many notes for one bundle; share them by --chip or --since")
    if len(contents) - 1 > MOST_ATTACHMENTS:
        raise ShopError(f"{out}: more than {MOST_ATTACHMENTS} attachments; share them by --chip")
    manifest = Manifest(
        shop=shop.handle,
        public_key=shop.public_key.hex(),
        revisions=len(own_notes(shop)) if written is None else written,
        members=tuple(_described(content) for content in contents),
    )
    said = _manifest_bytes(manifest)
    signature = sign(key, said).hex().encode() + b"\n"
    first = [_Content(MANIFEST, said), _Content(SIGNATURE, signature)]
    try:
        _write(out, [*first, *contents])
    except OSError as refused:
        raise ShopError(f"{out}: the bundle cannot be written: {refused.strerror}") from None
    return manifest


def _attachments(shop: Shop, notes: Iterable[Note]) -> list[_Content]:
    paths = {
        kept_as(attachment): attachment_path(shop, note, attachment)
        for note in notes
        for attachment in note.attachments
    }
    return [_Content(f"attachments/{name}", path) for name, path in sorted(paths.items())]


def _described(content: _Content) -> Member:
    """Name, size and digest; the bytes of an attachment must still be those its name tells."""
    try:
        data = content.read()
    except OSError as refused:
        raise ShopError(f"{content.data!s}: {refused.strerror}") from None
    digest = hashlib.sha256(data).hexdigest()
    if isinstance(content.data, Path):
        if digest != content.data.stem:
            raise ShopError(f"{content.data}: the attachment was changed since it was attached")
        if len(data) > MOST_ATTACHMENT_BYTES:
            raise ShopError(f"{content.data}: the attachment is larger than a bundle may hold")
    return Member(name=content.name, size=len(data), sha256=digest)


def _manifest_bytes(manifest: Manifest) -> bytes:
    text = json.dumps(manifest.model_dump(mode="json"), indent=1, ensure_ascii=False)
    return f"{text}\n".encode()


def _write(out: Path, contents: list[_Content]) -> None:
    new = out.with_name(f".{out.name}.{secrets.token_hex(4)}")
    try:
        with new.open("xb") as file:
            _write_zip(file, contents)
            file.flush()
            os.fsync(file.fileno())
        new.replace(out)
    finally:
        new.unlink(missing_ok=True)


def _write_zip(file: BinaryIO, contents: list[_Content]) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED, allowZip64=False) as archive:
        for content in contents:
            info = zipfile.ZipInfo(content.name, _LONG_AGO)
            info.create_system, info.external_attr = _UNIX, _PLAIN_FILE
            archive.writestr(info, content.read())
