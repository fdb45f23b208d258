"""Sign a note that was changed, or written, by hand in the shop's own folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ...schema.note import Note
from ..system.folder_changes import change_together
from .note_files import (
    inspect_own_notes,
    stage_missing_signatures,
    stage_own_notes,
)
from .shop_folder import Shop, ShopError
from .signed_notes import name_revision, remember_signatures

_MOST_FOLLOWED: Final = 16  # as many as a note may name


@dataclass(frozen=True)
class HandEdit:
    """A file in the shop's own notes that is not as the shop signed it."""

    path: Path
    written: Note
    """As the file has it now."""
    signed: Note | None
    """As it was signed; None if it never was."""

    @property
    def revision(self) -> Note:
        """The revision to be signed: it follows the signed one that the file held before."""
        if self.signed is None or self.signed.digest == self.written.digest:
            return self.written
        follows = dict.fromkeys([self.signed.digest, *self.written.follows])
        return self.written.model_copy(update={"follows": tuple(follows)[:_MOST_FOLLOWED]})


def find_hand_edit(shop: Shop, name: str) -> HandEdit | None:
    """Return the first changed or unsigned own note whose id begins with ``name``."""
    for own in inspect_own_notes(shop, []):
        if own.written is not None and not own.is_sound and own.written.id.startswith(name):
            return HandEdit(own.path, own.written, own.signed)
    return None


def sign_hand_edit(shop: Shop, edit: HandEdit) -> Path:
    """Add the edited text as a signed revision and return its file; the signed one is written back.

    Raises ShopError when the folder cannot be written or holds no private key.
    """
    shop.load_private_key()
    revision = Note.model_validate(edit.revision.model_dump(mode="json"))
    signed = [] if edit.signed is None else [edit.signed]
    try:
        with change_together(shop.folder) as staging:
            stage_missing_signatures(shop, staging)
            names = stage_own_notes(shop, staging, [*signed, revision])
        if edit.path.name not in names:
            edit.path.unlink()
    except OSError as error:
        raise ShopError(f"{shop.notes}: the note cannot be saved: {error.strerror}") from None
    remember_signatures(shop)
    return shop.notes / f"{name_revision(revision)}.yaml"
