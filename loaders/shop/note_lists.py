"""Many own notes in one signed file, as an import or a large merge brings them.

``notes/lists/DIGEST.signed`` holds, on its first line, the shop's signature over the lines that
follow: one revision a line, sorted by id and digest. The name is the beginning of their SHA-256, so
the same notes make the same file on every computer of the shop, and a file never changes.

A file for each revision would take minutes to write and read for ten thousand of them.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Final

from ...schema.note import Note
from ..errors import Fault
from ..keys.signing_key import sign
from ..system.regular_files import read_regular
from .conflict_copies import is_conflict_copy
from .note_lines import NoteLinesError, format_lines, read_lines
from .shop_folder import Shop
from .signed_notes import LISTS, SIGNED_ENDING, find_signer

_HEAD: Final = b"pinfolio own notes 1\n"
"""Begins the signed text, so that no signature can serve for another kind of text."""
_NAME_DIGITS: Final = 20
_MOST_BYTES: Final = 64_000_000  # as many as the notes of a bundle may have


def stage_list(shop: Shop, notes_folder: Path, notes: Iterable[Note]) -> Path:
    """Write the file of these revisions below ``notes_folder`` and return its path in there.

    Raises ShopError when the private key is missing, OSError.
    """
    ordered = sorted(notes, key=lambda note: (note.id, note.digest))
    name, data = _sign_lines(b"".join(format_lines(ordered)), shop.load_private_key())
    _write(notes_folder / LISTS, name, data)
    return Path(LISTS) / name


def load_lists(shop: Shop, faults: list[Fault], signers: list[bytes] | None = None) -> list[Note]:
    """Return the revisions in all lists whose signature counts; append the faults of the others.

    Only those of ``signers`` count, by default the shop's own.
    """
    signers = list(shop.list_signers()) if signers is None else signers
    notes: list[Note] = []
    for path in _list_files(shop):
        try:
            lines = _read_signed(path, signers)
            notes += read_lines(io.BytesIO(lines), str(path))
        except (OSError, ValueError, NoteLinesError):
            expected = "the list as the shop signed it; restore the file, or import its table again"
            faults.append(Fault(str(path), 1, 1, "a list of notes that was changed", expected))
    return [note for note in notes if note.shop == shop.handle]


def is_sound_list(path: Path, signers: list[bytes]) -> bool:
    """Return whether one of ``signers`` signed the list in a file."""
    try:
        _read_signed(path, signers)
    except (OSError, ValueError):
        return False
    return True


def stage_lists_again(shop: Shop, staging: Path, public_key: bytes, private_key: bytes) -> None:
    """Sign with ``private_key`` every list that ``public_key`` signed. Raises OSError."""
    folder = staging / shop.notes.relative_to(shop.folder) / LISTS
    for path in _list_files(shop):
        with suppress(ValueError):  # a list that another key signed
            _write(folder, *_sign_lines(_read_signed(path, [public_key]), private_key))


def _list_files(shop: Shop) -> list[Path]:
    """Return the lists, without the copies that synchronisation leaves."""
    paths = sorted((shop.notes / LISTS).glob(f"*{SIGNED_ENDING}"))
    return [path for path in paths if not is_conflict_copy(path)]


def _sign_lines(lines: bytes, private_key: bytes) -> tuple[str, bytes]:
    name = f"{hashlib.sha256(lines).hexdigest()[:_NAME_DIGITS]}{SIGNED_ENDING}"
    signature = sign(private_key, _HEAD + lines).hex().encode()
    return name, signature + b"\n" + lines


def _read_signed(path: Path, signers: list[bytes]) -> bytes:
    """Return the lines of a list that one of ``signers`` signed. Raises ValueError, OSError."""
    signature, _, lines = read_regular(path, _MOST_BYTES).partition(b"\n")
    if find_signer(signers, bytes.fromhex(signature.decode()), _HEAD + lines) is None:
        raise ValueError("the signature does not fit")
    return lines


def _write(folder: Path, name: str, data: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)
