"""Read and write a shop's notes: one unchanging file a revision, so version control merges them.

Its own are readable YAML, ``notes/ID-DIGEST.yaml``. Those of other shops stay as received, one
JSON document a line in ``received/HANDLE/notes.jsonl``.
"""

from __future__ import annotations

import base64
import re
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ...schema.note import UNCOMPARED, Attachment, Note
from ..chip_files.validation import validate_located
from ..chip_files.yaml_output import dump_yaml
from ..chip_files.yaml_positions import MOST_BYTES, read_yaml
from ..errors import ChipFileError, Fault, InvalidFileError
from ..system.folder_changes import change_together
from ..system.regular_files import read_regular
from .conflict_copies import find_conflict_copies, is_conflict_copy
from .known_shops import load_known_shops
from .note_lists import load_lists, stage_list
from .received_notes import list_senders, load_received_notes
from .shop_folder import Shop, ShopError
from .signed_notes import (
    has_signatures,
    load_signed_notes,
    name_revision,
    remember_signatures,
    stage_signed_list,
    stage_signed_notes,
)

ATTACHMENTS: Final = "attachments"
_MOST_FILES: Final = 50  # written at once, before they are kept in one list
_FIRST: Final = "file_format: pinfolio note 1"


class NoteFileError(InvalidFileError):
    """The faults of note files."""


def draw_note_id() -> str:
    """Return the id of a new note: sixteen random letters and digits (80 bits)."""
    return base64.b32encode(secrets.token_bytes(10)).decode().lower()


def load_all_notes(shop: Shop, set_aside: list[Fault] | None = None) -> list[Note]:
    """Return the shop's own revisions and those received from shops that are not muted.

    Shops whose key was not compared are counted together as one.

    Each is present once; they are sorted by id and digest. With ``set_aside``, files and lines that
    cannot be read, or are not as they were signed, are left out and their faults appended to it.
    Otherwise raises NoteFileError, NoteLinesError. Raises ShopError.
    """
    known = {note.digest: note for note in load_own_notes(shop, set_aside)}
    if set_aside is not None:
        set_aside += [copy.to_fault() for copy in find_conflict_copies(shop.folder)]
    states = {handle: one.state for handle, one in load_known_shops(shop).items()}
    for handle in sorted(list_senders(shop)):
        state = states.get(handle, "known")
        if state == "muted":
            continue
        notes = load_received_notes(shop, handle, set_aside)
        if state == "known":
            notes = [note.count_as(UNCOMPARED) for note in notes]
        known |= {note.digest: note for note in notes}
    return sort_notes(known.values())


def load_own_notes(shop: Shop, set_aside: list[Fault] | None = None) -> list[Note]:
    """Return the shop's own revisions, sorted by id and digest; otherwise as ``load_all_notes``.

    Of a file that was changed, the revision as it was signed counts.
    """
    faults: list[Fault] = []
    counting = [own.counting for own in inspect_own_notes(shop, faults)]
    counting += load_lists(shop, faults)
    if faults and set_aside is None:
        raise NoteFileError(tuple(faults))
    if set_aside is not None:
        set_aside += faults
    return sort_notes({note.digest: note for note in counting if note is not None}.values())


@dataclass(frozen=True)
class OwnRevision:
    """A revision in the shop's own notes: its file, and the revision as the shop signed it."""

    path: Path
    written: Note | None
    """As the file has it now; None if it is missing, unreadable or another shop's."""
    signed: Note | None
    """As it was signed; None without a right signature."""
    is_sound: bool
    """Whether the file is as it was written."""

    @property
    def counting(self) -> Note | None:
        """The revision that counts, None if neither can be trusted."""
        return self.written if self.is_sound else self.signed


def inspect_own_notes(shop: Shop, faults: list[Fault]) -> list[OwnRevision]:
    """Return every own revision that has a file or a signature; append the faults to ``faults``."""
    signed_of = load_signed_notes(shop, faults)
    forged = {Path(fault.file).stem for fault in faults}
    is_signed_folder = has_signatures(shop)
    files = (path for path in shop.notes.glob("*.yaml") if not is_conflict_copy(path))
    stems = {path.stem for path in files} | signed_of.keys()
    revisions = []
    for stem in sorted(stems):
        path, signed = shop.notes / f"{stem}.yaml", signed_of.get(stem)
        written, faults_found = _load_own_file(shop, path)
        if written is not None:
            faults_found = _compare_with_signed(path, written, signed, is_signed_folder)
        faults += () if stem in forged else faults_found
        is_sound = not faults_found and stem not in forged
        revisions.append(OwnRevision(path, written, signed, is_sound))
    return revisions


def _load_own_file(shop: Shop, path: Path) -> tuple[Note | None, list[Fault]]:
    """Return the note in a file and the faults of the file; None for an unreadable note."""
    if not path.exists():
        expected = "its file, which the next note writes again; to take it back: pinfolio note"
        expected += f" withdraw {path.stem.partition('-')[0]}"
        return None, [Fault(str(path), 1, 1, "no file of a signed note", expected)]
    try:
        note = load_note(path)
    except NoteFileError as error:
        return None, list(error.faults)
    if note.shop != shop.handle:
        expected = "a note of this shop; others' come by merging"
        found_text = f"a note of '{note.shop}'"
        return None, [Fault(str(path), 1, 1, found_text, expected, shop.handle)]
    return note, []


def _compare_with_signed(
    path: Path, written: Note, signed: Note | None, is_signed_folder: bool
) -> list[Fault]:
    """Return the fault of a file whose revision is not the one that was signed or written."""
    accept = f"pinfolio note edit {written.id}"
    if (signed or written).digest != written.digest or _was_changed(path, written):
        kept = "the revision as it was written"
        kept += ", which still counts" if signed else ""
        expected = f"{kept}; to keep the change, sign it with: {accept}"
        return [Fault(str(path), 1, 1, "a note changed by hand", expected)]
    if signed is None and is_signed_folder:
        expected = f"a signed note; if it is yours, sign it with: {accept}"
        return [Fault(str(path), 1, 1, "a note without the shop's signature", expected)]
    return []


def _was_changed(path: Path, note: Note) -> bool:
    """Return whether a file named by a revision's digest holds another revision."""
    name = re.fullmatch(r"[a-z2-7]{16}-([0-9a-f]{8})", path.stem)
    return name is not None and not note.digest.startswith(name[1])


def sort_notes(notes: Iterable[Note]) -> list[Note]:
    """Return revisions sorted by id and digest."""
    return sorted(notes, key=lambda note: (note.id, note.digest))


def load_note(path: Path) -> Note:
    """Return the revision in the file at ``path``; raises NoteFileError with all its faults."""
    try:
        return read_note(read_regular(path, MOST_BYTES), str(path))
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
    everything is written or nothing. In a folder without the private key the note stays unsigned.

    Raises ValueError for a note of another shop, NoteFileError for one that could not be read
    again, ShopError when the folder cannot be written.
    """
    named = zip(map(format_stored_name, note.attachments), attached, strict=False)
    files = {shop.notes / ATTACHMENTS / name: data for name, data in named}
    return add_notes(shop, [note], files)


def add_notes(shop: Shop, notes: Sequence[Note], files: Mapping[Path, bytes] | None = None) -> Path:
    """Add revisions to the shop's own, and return the file of the last one.

    ``files`` are further files of the folder, written in the same step. Otherwise as ``add_note``.
    """
    for note in notes:
        if note.shop != shop.handle:
            raise ValueError(
                f"a note of {note.shop} cannot be added to the own notes of {shop.handle}"
            )
    try:
        with change_together(shop.folder) as staging:
            stage_missing_signatures(shop, staging)
            names = stage_own_notes(shop, staging, notes)
            for path, data in (files or {}).items():
                place = staging / path.relative_to(shop.folder)
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(data)
    except OSError as error:
        raise ShopError(f"{shop.notes}: the notes cannot be saved: {error.strerror}") from None
    remember_signatures(shop)
    return shop.notes / names[-1] if names else shop.notes


def stage_missing_signatures(shop: Shop, staging: Path) -> None:
    """Write missing signatures and the shop's own files to the staging folder.

    Only a folder that has no signatures yet is signed. Without the private key nothing is written.

    Raises NoteFileError, ShopError, OSError.
    """
    if not shop.has_private_key():
        return
    revisions = inspect_own_notes(shop, [])
    lost = [own.signed for own in revisions if own.signed and not own.path.exists()]
    stage_own_notes(shop, staging, lost)
    if has_signatures(shop):
        return
    own_notes = staging / shop.notes.relative_to(shop.folder)
    counting = [own.counting for own in revisions]
    stage_signed_notes(shop, own_notes, [note for note in counting if note is not None])
    for handle in list_senders(shop):
        notes = load_received_notes(shop, handle, [])
        stage_signed_list(shop, staging / "received" / handle, handle, notes)


def stage_own_notes(shop: Shop, staging: Path, notes: Iterable[Note]) -> list[str]:
    """Write each revision and its signed copy to the staging folder; return the names of the files.

    More than fifty are written to one list, if there is a key to sign it with.

    Raises NoteFileError when one could not be read again, ShopError, OSError.
    """
    notes, folder = list(notes), staging / shop.notes.relative_to(shop.folder)
    folder.mkdir(parents=True, exist_ok=True)
    if len(notes) > _MOST_FILES and shop.has_private_key():
        return [str(stage_list(shop, folder, notes))]
    names = []
    for note in notes:
        names.append(f"{name_revision(note)}.yaml")
        text = format_note(note)
        read_note(text.encode(), names[-1])
        (folder / names[-1]).write_text(text, encoding="utf-8", newline="\n")
    if shop.has_private_key():
        stage_signed_notes(shop, folder, notes)
    return names


def format_stored_name(attachment: Attachment) -> str:
    """Return the name of an attachment's file in ``attachments/``: its SHA-256 and ending."""
    return f"{attachment.sha256}{Path(attachment.name).suffix}"


def locate_attachment(shop: Shop, note: Note, attachment: Attachment) -> Path:
    """Return the path of an attachment's bytes, beside the shop's own or the sender's notes."""
    folder = shop.notes if note.shop == shop.handle else shop.received / note.shop
    return folder / ATTACHMENTS / format_stored_name(attachment)
