"""Read and write a shop's notes: one unchanging file a revision, so version control merges them.

Its own are readable YAML, ``notes/ID-DIGEST.yaml``. Those of other shops stay as received, one
JSON document a line in ``received/HANDLE/notes.jsonl``.
"""

from __future__ import annotations

import base64
import re
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
from .known_shops import list_muted_shops
from .note_lines import read_lines
from .shop_folder import Shop, ShopError

RECEIVED: Final = "notes.jsonl"
ATTACHMENTS: Final = "attachments"
_FIRST: Final = "file_format: pinfolio note 1"


class NoteFileError(InvalidFileError):
    """The faults of note files."""


def draw_note_id() -> str:
    """Return the id of a new note: sixteen random letters and digits (80 bits)."""
    return base64.b32encode(secrets.token_bytes(10)).decode().lower()


def load_all_notes(shop: Shop, set_aside: list[Fault] | None = None) -> list[Note]:
    """Return the shop's own revisions and those received from shops that are not muted.

    Each is present once; they are sorted by id and digest. With ``set_aside``, revisions that
    cannot be read, or were changed since they were written, are left out and their faults appended
    to it. Otherwise raises NoteFileError, NoteLinesError. Raises ShopError.
    """
    known = {note.digest: note for note in load_own_notes(shop, set_aside)}
    for handle in sorted(list_senders(shop) - list_muted_shops(shop)):
        known |= {note.digest: note for note in load_received_notes(shop, handle, set_aside)}
    return sort_notes(known.values())


def load_own_notes(shop: Shop, set_aside: list[Fault] | None = None) -> list[Note]:
    """Return the shop's own revisions, sorted by id and digest; otherwise as ``load_all_notes``."""
    notes: list[Note] = []
    faults: list[Fault] = []
    for path in sorted(shop.notes.glob("*.yaml")):
        try:
            note = load_note(path)
        except NoteFileError as error:
            faults += error.faults
            continue
        if note.shop != shop.handle:
            expected = "a note of this shop; others' come by merging"
            found = f"a note of '{note.shop}'"
            faults.append(Fault(str(path), 1, 1, found, expected, shop.handle))
        elif _was_changed(path, note):
            expected = "the revision as it was written; change it with: pinfolio note edit"
            faults.append(Fault(str(path), 1, 1, "a note changed by hand", expected))
        else:
            notes.append(note)
    if faults and set_aside is None:
        raise NoteFileError(tuple(faults))
    if set_aside is not None:
        set_aside += faults
    return sort_notes({note.digest: note for note in notes}.values())


def _was_changed(path: Path, note: Note) -> bool:
    """Return whether a file named by a revision's digest holds another revision."""
    name = re.fullmatch(r"[a-z2-7]{16}-([0-9a-f]{8})", path.stem)
    return name is not None and not note.digest.startswith(name[1])


def load_received_notes(
    shop: Shop, handle: str, set_aside: list[Fault] | None = None
) -> list[Note]:
    """Return the revisions received from another shop; otherwise as ``load_all_notes``."""
    path = shop.received / handle / RECEIVED
    try:
        with path.open("rb") as file:
            return list(read_lines(file, str(path), set_aside))
    except FileNotFoundError:
        return []
    except OSError as error:
        raise ShopError(f"{path}: cannot be read: {error.strerror}") from None


def list_senders(shop: Shop) -> set[str]:
    """Return the handles of the shops that sent notes."""
    return {path.parent.name for path in shop.received.glob(f"*/{RECEIVED}")}


def sort_notes(notes: Iterable[Note]) -> list[Note]:
    """Return revisions sorted by id and digest."""
    return sorted(notes, key=lambda note: (note.id, note.digest))


def load_note(path: Path) -> Note:
    """Return the revision in the file at ``path``; raises NoteFileError with all its faults."""
    try:
        with path.open("rb") as file:
            return read_note(file.read(MOST_BYTES + 1), str(path))
    except OSError as error:
        fault = Fault(str(path), 1, 1, error.strerror or "an error", "a readable note")
        raise NoteFileError((fault,)) from None


def read_note(data: bytes, name: str) -> Note:
    """Return the revision in ``data``; raises NoteFileError. ``name`` is the file for messages."""
    try:
        located = read_yaml(data, name, "a note", _FIRST)
    except ChipFileError as error:
        raise NoteFileError(error.faults) from None
    return validate_located(Note, located, NoteFileError, _FIRST)


def format_note(note: Note) -> str:
    """Return the text of a note file: keys in model order, quantities as written."""
    document = note.model_dump(mode="json", exclude_defaults=True)
    return dump_yaml({"file_format": note.file_format, **document})


def add_note(shop: Shop, note: Note, attached: Iterable[bytes] = ()) -> Path:
    """Add a revision, with the bytes of its attachments, to the shop's own; return its file.

    ``attached`` is in the order of ``note.attachments``, empty if they are stored already. Either
    everything is written or nothing.

    Raises ValueError for a note of another shop, NoteFileError for one that could not be read
    again, ShopError when the folder cannot be written.
    """
    if note.shop != shop.handle:
        raise ValueError(f"a note of {note.shop} cannot be added to the own notes of {shop.handle}")
    try:
        with change_together(shop.folder) as staging:
            notes = staging / shop.notes.relative_to(shop.folder)
            (notes / ATTACHMENTS).mkdir(parents=True)
            name = write_own_notes(notes, [note])[0]
            for attachment, data in zip(note.attachments, attached, strict=False):
                (notes / ATTACHMENTS / format_stored_name(attachment)).write_bytes(data)
    except OSError as error:
        raise ShopError(f"{shop.notes}: the note cannot be saved: {error.strerror}") from None
    return shop.notes / name


def write_own_notes(folder: Path, notes: Iterable[Note]) -> list[str]:
    """Write each revision to its own file in ``folder``; return the names of the files.

    Raises NoteFileError when one could not be read again, OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = []
    for note in notes:
        names.append(f"{note.id}-{note.digest[:8]}.yaml")
        text = format_note(note)
        read_note(text.encode(), names[-1])
        (folder / names[-1]).write_text(text, encoding="utf-8", newline="\n")
    return names


def format_stored_name(attachment: Attachment) -> str:
    """Return the name of an attachment's file in ``attachments/``: its SHA-256 and ending."""
    return f"{attachment.sha256}{Path(attachment.name).suffix}"


def locate_attachment(shop: Shop, note: Note, attachment: Attachment) -> Path:
    """Return the path of an attachment's bytes, beside the shop's own or the sender's notes."""
    folder = shop.notes if note.shop == shop.handle else shop.received / note.shop
    return folder / ATTACHMENTS / format_stored_name(attachment)
