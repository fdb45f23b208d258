"""List the damages of a shop's folder: settings, keys, notes and attachments. Writes nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import Final, NamedTuple

from ...schema.note import Attachment, Note
from ..errors import Fault
from ..keys.key_statements import ShopKeys
from ..keys.statement_files import KEYS, load_keys
from ..shop.attachment_check import MOST_BYTES
from ..shop.conflict_copies import find_conflict_copies
from ..shop.known_shops import KnownShop, load_known_shops
from ..shop.note_files import load_own_notes, locate_attachment
from ..shop.received_notes import list_senders, load_received_notes
from ..shop.shop_folder import KEY_FILE, Shop, ShopError, open_shop
from ..shop.shop_place import FILE
from ..shop.signed_notes import RECEIVED_LIST
from ..system.folder_changes import has_unfinished_change
from ..system.links import find_link
from ..system.regular_files import read_regular

_PLACES: Final = (FILE, KEY_FILE, "notes/signed")
"""Any one of them tells a shop's folder, even if another is lost."""


class ShopState(NamedTuple):
    """The faults of a shop's folder, and how much of it was read."""

    faults: list[Fault]
    notes: int
    attachments: int


class _ReadOnlyShop(Shop):
    """A shop whose statements about keys are judged, but not remembered on this computer."""

    def load_keys(self, faults: list[Fault] | None = None) -> ShopKeys:
        return load_keys(
            self.folder / KEYS, self.public_key.hex(), to_remember=False, faults=faults
        )


def is_shop_folder(folder: Path) -> bool:
    """Return whether a folder is or was a shop's, even if its settings are lost."""
    return any((folder / place).exists() for place in _PLACES)


def inspect_shop(folder: Path) -> ShopState:
    """Return the faults of the shop in ``folder`` and the numbers of notes and attachments read.

    Nothing is written, neither there nor in the user's folders. Raises OSError.
    """
    if link := find_link(folder):
        expected = "the file itself, since links are not followed here; put the file there"
        return ShopState([Fault(str(link), 1, 1, "a link", expected)], 0, 0)
    settings = folder / FILE
    if not settings.exists():
        expected = "the shop's settings; restore the file from a copy of the folder"
        return ShopState([Fault(str(settings), 1, 1, "no file", expected)], 0, 0)
    try:
        shop = _ReadOnlyShop(*open_shop(folder))
    except ShopError as error:
        return ShopState([_describe_error(settings, error)], 0, 0)
    faults = _find_faults_of_key(shop)
    faults += [copy.to_fault() for copy in find_conflict_copies(folder)]
    if has_unfinished_change(folder):
        expected = "a finished change; the next note or merge finishes it: pinfolio note add"
        faults.append(Fault(str(folder), 1, 1, "an interrupted change", expected))
    notes = load_own_notes(shop, faults) + _load_received(shop, faults)
    attachments = _find_attachments(shop, notes)
    for path, (note, attachment) in attachments.items():
        faults += _check_attachment(path, note, attachment, is_own=note.shop == shop.handle)
    return ShopState(faults, len({note.digest for note in notes}), len(attachments))


def _describe_error(path: Path, error: ShopError) -> Fault:
    """Return an error whose message begins with a path and ends with a remedy as a fault."""
    found_text, _, remedy = str(error).removeprefix(f"{path}: ").partition("; ")
    remedy = remedy or "restore the file from a copy of the folder"
    return Fault(str(path), 1, 1, found_text, f"a sound file; {remedy}")


def _find_faults_of_key(shop: Shop) -> list[Fault]:
    """Return the faults of the private key, if the folder has one, and of the statements."""
    faults: list[Fault] = []
    shop.load_keys(faults)
    if shop.has_private_key():
        try:
            shop.load_private_key()
        except ShopError as error:
            faults.append(_describe_error(shop.folder / KEY_FILE, error))
    return faults


def _load_received(shop: Shop, faults: list[Fault]) -> list[Note]:
    """Return the notes of all other shops, muted ones too; append the faults to ``faults``."""
    try:
        known: dict[str, KnownShop] = load_known_shops(shop)
    except ShopError as error:
        faults.append(_describe_error(shop.known_shops, error))
        known = {}
    for handle, one in known.items():
        folder = shop.received / handle / KEYS
        load_keys(folder, one.public_key, to_remember=False, faults=faults)
    # The notes themselves may be lost: then the signed list of them is left.
    listed = {path.parent.name for path in shop.received.glob(f"*/{RECEIVED_LIST}")}
    notes = []
    for handle in sorted(list_senders(shop) | listed):
        try:
            notes += load_received_notes(shop, handle, faults)
        except ShopError as error:
            faults.append(_describe_error(shop.received / handle, error))
    return notes


def _find_attachments(shop: Shop, notes: Iterable[Note]) -> dict[Path, tuple[Note, Attachment]]:
    """Return every attachment by its path, with the first note that names it."""
    places: dict[Path, tuple[Note, Attachment]] = {}
    for note in notes:
        for attachment in note.attachments:
            places.setdefault(locate_attachment(shop, note, attachment), (note, attachment))
    return places


def _check_attachment(
    path: Path, note: Note, attachment: Attachment, *, is_own: bool
) -> list[Fault]:
    """Return the fault of an attachment's file: missing, unreadable or changed."""
    expected = f"{attachment.name} of note {note.id}; merge the latest bundle of {note.shop} again"
    if is_own:
        command = f"pinfolio note edit {note.id} --attach FILE --detach {attachment.name}"
        expected = f"{attachment.name} of note {note.id}; attach it again: {command}"
    try:
        data = read_regular(path, MOST_BYTES)
    except FileNotFoundError:
        return [Fault(str(path), 1, 1, "no file of an attachment", expected)]
    except OSError as error:
        return [Fault(str(path), 1, 1, error.strerror or "an unreadable file", expected)]
    if hashlib.sha256(data).hexdigest() != attachment.sha256:
        return [Fault(str(path), 1, 1, "an attachment that was changed", expected)]
    return []
