"""Read the notes received from other shops: ``received/HANDLE/notes.jsonl``."""

from __future__ import annotations

from typing import Final

from ...schema.note import Note
from ..errors import Fault
from ..system.regular_files import open_regular
from .note_lines import NoteLinesError, read_lines
from .shop_folder import Shop, ShopError
from .signed_notes import RECEIVED_LIST, has_signatures, load_signed_list

RECEIVED: Final = "notes.jsonl"


def list_senders(shop: Shop) -> set[str]:
    """Return the handles of the shops that sent notes."""
    return {path.parent.name for path in shop.received.glob(f"*/{RECEIVED}")}


def load_received_notes(
    shop: Shop, handle: str, set_aside: list[Fault] | None = None
) -> list[Note]:
    """Return the revisions received from another shop, as by the name that it has here.

    Otherwise as ``load_notes_as_received``.
    """
    return [note.attribute(handle) for note in load_notes_as_received(shop, handle, set_aside)]


def load_notes_as_received(
    shop: Shop, handle: str, set_aside: list[Fault] | None = None
) -> list[Note]:
    """Return the revisions received from another shop, as they were merged.

    With ``set_aside``, lines that cannot be read, or are not as they were merged, are left out and
    their faults appended to it. Otherwise raises NoteLinesError. Raises ShopError.
    """
    path = shop.received / handle / RECEIVED
    faults: list[Fault] = []
    notes: list[Note] = []
    digests = _load_list(shop, handle, faults)
    try:
        # Without a list to compare them with, none of the lines can be trusted.
        if not faults:
            with open_regular(path) as file:
                notes = list(read_lines(file, str(path), faults, digests))
    except FileNotFoundError:
        pass
    except OSError as error:
        raise ShopError(f"{path}: cannot be read: {error.strerror}") from None
    if digests is not None and not faults and len(notes) < len(digests):
        found_text = f"{len(notes)} notes"
        expected = f"the {len(digests)} that were merged; merge the latest bundle of {handle} again"
        faults.append(Fault(str(path), 1, 1, found_text, expected))
    if faults and set_aside is None:
        raise NoteLinesError(tuple(faults[:1]))
    if set_aside is not None:
        set_aside += faults
    return notes


def _load_list(shop: Shop, handle: str, faults: list[Fault]) -> frozenset[str] | None:
    """Return the digests as merged; None in a folder of version 0.1, where all notes count."""
    path = shop.received / handle / RECEIVED_LIST
    try:
        digests = load_signed_list(shop, handle)
        found_text = "no list of the notes as merged"
    except (OSError, ValueError):
        digests, found_text = None, "a list of notes that this shop did not sign"
    if digests is None and has_signatures(shop):
        expected = f"the signed list; merge the latest bundle of {handle} again"
        faults.append(Fault(str(path), 1, 1, found_text, expected))
    return digests
