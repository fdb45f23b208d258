"""Names of the content of notes, by which the same words given again are known."""

from __future__ import annotations

import hashlib
from typing import Final

from ...schema.note import Note

_CIRCUMSTANCES: Final = frozenset({"id", "follows", "author", "shop", "anchor", "attachments"})
"""Fields that say who wrote a note down, and where it is kept."""


def name_content(note: Note, *, with_date: bool) -> str:
    """Return a digest of a note's content; it does not depend on author or shop."""
    left_out = set(_CIRCUMSTANCES) if with_date else {*_CIRCUMSTANCES, "date"}
    document = note.model_dump_json(exclude_defaults=True, exclude=left_out)
    return hashlib.sha256(f"{with_date}\n{document}".encode()).hexdigest()
