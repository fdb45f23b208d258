"""A shop's notes as files: each revision once, never changed, so version control never conflicts.

The shop's own are YAML, ``notes/ID-DIGEST.yaml``, to be read and searched by people. Those of
other shops are kept as they came, one JSON document a line in ``received/HANDLE/notes.jsonl``.
"""

from __future__ import annotations

import base64
import secrets
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from ...schema.note import Attachment, Note
from ..chip_files.validation import validate_located
from ..chip_files.yaml_output import dump_yaml
from ..chip_files.yaml_positions import MOST_BYTES, read_yaml
from ..errors import ChipFileError, Fault, InvalidFileError
from ..system.folder_changes import change_together
from .known_shops import muted_shops
from .note_lines import read_lines
from .shop_folder import Shop, ShopError

RECEIVED: Final = "notes.jsonl"
ATTACHMENTS: Final = "attachments"
_FIRST: Final = "file_format: pinfolio note 1"


class NoteFileError(InvalidFileError):
    """The faults of note files."""


def new_id() -> str:
    """The id of a new note: sixteen letters and digits, drawn at random (80 bits)."""
    return base64.b32encode(secrets.token_bytes(10)).decode().lower()


def all_notes(shop: Shop) -> list[Note]:
    """Every revision the shop holds, its own and those of shops it has not muted, each once.

    In the order of id and digest. Raises NoteFileError or ShopError.
    """
    known = {note.digest: note for note in own_notes(shop)}
    for handle in sorted(senders(shop) - muted_shops(shop)):
        known |= {note.digest: note for note in received_notes(shop, handle)}
    return in_order(known.values())


def own_notes(shop: Shop) -> list[Note]:
    """The revisions in the shop's own notes, in the order of id and digest."""
    notes: list[Note] = []
    faults: list[Fault] = []
    for path in sorted(shop.notes.glob("*.yaml")):
        try:
            note = load_note(path)
            if note.shop != shop.handle:
                expected = "a note of this shop; others' come by merging"
                found = f"a note of '{note.shop}'"
                faults.append(Fault(str(path), 1, 1, found, expected, shop.handle))
            notes.append(note)
        except NoteFileError as refused:
            faults += refused.faults
    if faults:
        raise NoteFileError(tuple(faults))
    return in_order({note.digest: note for note in notes}.values())


def received_notes(shop: Shop, handle: str) -> list[Note]:
    """The revisions that came from another shop; none when nothing came."""
    path = shop.received / handle / RECEIVED
    try:
        with path.open("rb") as file:
            return list(read_lines(file, str(path)))
    except FileNotFoundError:
        return []
    except OSError as refused:
        raise ShopError(f"{path}: {refused.strerror}") from None


def senders(shop: Shop) -> set[str]:
    """Handles of the shops that something came from."""
    return {path.parent.name for path in shop.received.glob(f"*/{RECEIVED}")}


def in_order(notes: Iterable[Note]) -> list[Note]:
    """Revisions in the order of id and digest."""
    return sorted(notes, key=lambda note: (note.id, note.digest))


def load_note(path: Path) -> Note:
    """The revision in the file at ``path``; raises NoteFileError with all its faults."""
    try:
        with path.open("rb") as opened:
            return read_note(opened.read(MOST_BYTES + 1), str(path))
    except OSError as refused:
        fault = Fault(str(path), 1, 1, refused.strerror or "an error", "a readable note")
        raise NoteFileError((fault,)) from None


def read_note(data: bytes, name: str) -> Note:
    """The revision in ``data``; ``name`` stands for the file in messages."""
    try:
        located = read_yaml(data, name, "a note", _FIRST)
    except ChipFileError as refused:
        raise NoteFileError(refused.faults) from None
    return validate_located(Note, located, NoteFileError, _FIRST)


def write_note(note: Note) -> str:
    """The revision as a note file: keys in the order of the model, quantities as written."""
    document = note.model_dump(mode="json", exclude_defaults=True)
    return dump_yaml({"file_format": note.file_format, **document})


def add_note(shop: Shop, note: Note, attached: Iterable[bytes] = ()) -> Path:
    """Keep a revision among the shop's own, with the bytes of its attachments: all or nothing.

    ``attached`` are in the order of ``note.attachments``; none when they are kept already.
    Returns the note's file. Raises ValueError for a note of another shop, NoteFileError for one
    that could not be read again, ShopError when the folder cannot be written.
    """
    if note.shop != shop.handle:
        raise ValueError(f"a note of {note.shop} cannot be added to the own notes of {shop.handle}")
    try:
        with change_together(shop.folder) as new:
            notes = new / shop.notes.relative_to(shop.folder)
            (notes / ATTACHMENTS).mkdir(parents=True)
            name = write_own(notes, [note])[0]
            for attachment, data in zip(note.attachments, attached, strict=False):
                (notes / ATTACHMENTS / kept_as(attachment)).write_bytes(data)
    except OSError as refused:
        raise ShopError(f"{shop.notes}: the note cannot be kept: {refused.strerror}") from None
    return shop.notes / name


def write_own(folder: Path, notes: Iterable[Note]) -> list[str]:
    """Write each revision to its own file in ``folder``; gives the names of the files.

    Raises NoteFileError when one could not be read again, OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = []
    for note in notes:
        names.append(f"{note.id}-{note.digest[:8]}.yaml")
        text = write_note(note)
        read_note(text.encode(), names[-1])
        (folder / names[-1]).write_text(text, encoding="utf-8", newline="\n")
    return names


def kept_as(attachment: Attachment) -> str:
    """Name of the file an attachment's bytes are kept in, in ``attachments/``: SHA-256, ending."""
    return f"{attachment.sha256}{Path(attachment.name).suffix}"


def attachment_path(shop: Shop, note: Note, attachment: Attachment) -> Path:
    """Where the bytes of an attachment are: beside the shop's own notes, or the sender's."""
    folder = shop.notes if note.shop == shop.handle else shop.received / note.shop
    return folder / ATTACHMENTS / kept_as(attachment)
