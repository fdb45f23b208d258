"""Take back what an ended key of the shop had signed, as an older copy of the folder brings it.

Such notes are set aside, since anybody who found the ended key could have written them. Somebody
who has looked at them signs all of them again at once.
"""

from __future__ import annotations

from typing import NamedTuple

from ...schema.note import Note
from ..system.folder_changes import change_together
from .note_lists import load_lists, stage_lists_again
from .received_notes import list_senders
from .shop_folder import Shop, ShopError
from .signed_notes import (
    RECEIVED_LIST,
    list_notes_signed_by,
    read_digests_signed_by,
    remember_signatures,
    stage_signed_again,
)


class EndedSignatures(NamedTuple):
    """What one ended key signed in the folder."""

    key: str
    reason: str
    """Why the key may not sign any more."""
    notes: tuple[Note, ...]
    """Own revisions, sorted by date."""
    received: int
    """How many revisions of other shops are in lists that the key signed."""


def list_ended_signatures(shop: Shop) -> list[EndedSignatures]:
    """Return what the shop's earlier keys and revoked devices signed in the folder.

    Raises ShopError.
    """
    keys = shop.load_keys()
    listed = []
    for key in dict.fromkeys((*keys.chain, *(one.key for one in keys.revocations))):
        reason = keys.explain_refusal(key)
        if not reason:
            continue
        public = bytes.fromhex(key)
        notes = [*list_notes_signed_by(shop, public), *load_lists(shop, [], [public])]
        notes.sort(key=lambda note: (note.date, note.digest))
        received = sum(
            len(read_digests_signed_by(shop.received / handle / RECEIVED_LIST, public))
            for handle in list_senders(shop)
        )
        if notes or received:
            listed.append(EndedSignatures(key, reason, tuple(notes), received))
    return listed


def sign_ended_again(shop: Shop, ended: list[EndedSignatures]) -> None:
    """Sign again everything that these keys signed, with the key of this computer.

    Raises ShopError when the folder cannot be written or holds no key that may sign.
    """
    private = shop.load_private_key(to_share=True)
    try:
        with change_together(shop.folder) as staging:
            for one in ended:
                stage_signed_again(shop, staging, bytes.fromhex(one.key), private)
                stage_lists_again(shop, staging, bytes.fromhex(one.key), private)
    except OSError as error:
        raise ShopError(f"{shop.folder}: nothing can be signed again: {error.strerror}") from None
    remember_signatures(shop)
