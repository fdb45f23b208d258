"""Sign the notes kept in a shop's folder, so that a change made at rest is noticed.

``notes/signed/ID-DIGEST.signed`` holds an own revision once more, in its one spelling, and on the
second line the shop's signature over it. ``received/HANDLE/notes.signed`` holds the shop's
signature over the list of digests received from another shop, and that list.

A folder of version 0.1 has no signatures. Its notes count as they are, and the first change signs
them all; from then on a note without signature is set aside. That a folder has signatures is also
remembered on this computer, so that removing them all does not turn it back into an old one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Final

from platformdirs import user_state_path
from pydantic import ValidationError

from ...schema.note import Note
from ..errors import Fault
from ..keys.signing_key import is_signed, sign
from ..system.regular_files import read_regular
from .conflict_copies import is_conflict_copy
from .note_lines import LONGEST_LINE, MOST_NOTES
from .shop_folder import Shop

SIGNED: Final = "signed"
LISTS: Final = "lists"
"""Subfolder of the lists of own notes, see ``note_lists``."""
RECEIVED_LIST: Final = "notes.signed"
SIGNED_ENDING: Final = ".signed"
_NOTE: Final = b"pinfolio note 1\n"
"""Begins every signed text, so that no signature can serve for another kind of text."""
_LIST: Final = "pinfolio received notes 1"
_SIGNATURE_DIGITS: Final = 128
_MOST_LIST_BYTES: Final = 65 * (MOST_NOTES + 4)  # 64 digits and a newline each


def has_signatures(shop: Shop) -> bool:
    """Return whether the shop's notes are signed, so that an unsigned one cannot be trusted."""
    return (
        any(any((shop.notes / kind).glob(f"*{SIGNED_ENDING}")) for kind in (SIGNED, LISTS))
        or any(shop.received.glob(f"*/{RECEIVED_LIST}"))
        or _find_memory(shop).exists()
    )


def remember_signatures(shop: Shop) -> None:
    """Remember on this computer that the folder has signatures, if it is one that can sign.

    Never raises OSError.
    """
    if not shop.has_private_key():
        return
    with suppress(OSError):
        memory = _find_memory(shop)
        memory.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        memory.touch()


def _find_memory(shop: Shop) -> Path:
    name = hashlib.sha256(f"{shop.folder.resolve()}\n{shop.public_key.hex()}".encode()).hexdigest()
    return user_state_path("pinfolio", appauthor=False) / "signing-shops" / name


def load_signed_notes(shop: Shop, faults: list[Fault]) -> dict[str, Note]:
    """Return the own revisions whose signature is right, by the stem of their file's name.

    The faults of the others are appended to ``faults``.
    """
    notes: dict[str, Note] = {}
    signers = list(shop.list_signers())
    for path in _list_signed(shop):
        note = read_signed_note(shop, path, signers)
        if note is None or path.stem != name_revision(note):
            faults.append(_describe_fault(shop, path))
        else:
            notes[path.stem] = note
    return notes


def _describe_fault(shop: Shop, path: Path) -> Fault:
    """Return the fault of a signed note that does not count; name the ended key that signed it."""
    sign_command = f"pinfolio note edit {path.stem.partition('-')[0]}"
    keys = shop.load_keys()
    waiting_device_of = {statement.key: statement.name for statement in keys.waiting}
    ended_keys = (statement.key for statement in keys.revocations)
    for key in (*keys.chain, *waiting_device_of, *ended_keys):
        reason = keys.explain_refusal(key)
        if not reason or read_signed_note(shop, path, [bytes.fromhex(key)]) is None:
            continue
        found_text = f"a signature that does not count: {reason}"
        expected = (
            f"a signature by a certified key; if the note is right, sign it with: {sign_command}"
        )
        if key in waiting_device_of:
            device = waiting_device_of[key]
            expected = f"a certified device: pinfolio shop device certify {device}"
        return Fault(str(path), 1, 1, found_text, expected)
    expected = (
        f"the revision as the shop signed it; if the note is right, sign it with: {sign_command}"
    )
    return Fault(str(path), 1, 1, "a signature that does not fit", expected)


def _list_signed(shop: Shop) -> list[Path]:
    """Return the files of signed notes, without the copies that synchronisation leaves."""
    paths = sorted((shop.notes / SIGNED).glob(f"*{SIGNED_ENDING}"))
    return [path for path in paths if not is_conflict_copy(path)]


def read_signed_note(shop: Shop, path: Path, signers: list[bytes]) -> Note | None:
    """Return the own note in a file that one of ``signers`` signed; else None."""
    try:
        document, signature, end = read_regular(path, LONGEST_LINE + 200).split(b"\n")
        signed = bytes.fromhex(signature.decode())
        if end or find_signer(signers, signed, _NOTE + document) is None:
            return None
        note = Note.model_validate_json(document)
    except (OSError, ValueError, ValidationError):
        return None
    fits = note.document().encode() == document and note.shop == shop.handle
    return note if fits else None


def find_signer(signers: list[bytes], signature: bytes, message: bytes) -> bytes | None:
    """Return which of ``signers`` signed a message, and move it to the front of them.

    Most texts of a folder are signed by one device, so most are verified once.
    """
    for place, public in enumerate(signers):
        if is_signed(public, signature, message):
            signers.insert(0, signers.pop(place))
            return public
    return None


def name_revision(note: Note) -> str:
    """Return the stem of the names of a revision's files."""
    return f"{note.id}-{note.digest[:8]}"


def stage_signed_notes(
    shop: Shop, notes_folder: Path, notes: Iterable[Note], private_key: bytes | None = None
) -> None:
    """Write the signed copy of each revision below ``notes_folder``.

    Raises ShopError when the private key is missing, OSError.
    """
    key, folder = private_key or shop.load_private_key(), notes_folder / SIGNED
    folder.mkdir(parents=True, exist_ok=True)
    for note in notes:
        document = note.document().encode()
        signature = sign(key, _NOTE + document).hex().encode()
        name = f"{name_revision(note)}{SIGNED_ENDING}"
        (folder / name).write_bytes(document + b"\n" + signature + b"\n")


def load_signed_list(shop: Shop, handle: str) -> frozenset[str] | None:
    """Return the digests of the revisions received from a shop; None if they were never signed.

    Raises ValueError when the list is not as it was signed, OSError.
    """
    path = shop.received / handle / RECEIVED_LIST
    if not path.exists():
        return None
    return _read_list(path, handle, list(shop.list_signers()))


def read_signed_digests(shop: Shop, path: Path) -> frozenset[str]:
    """Return the digests of the list in a file; none where its signature does not count."""
    try:
        return _read_list(path, path.parent.name, list(shop.list_signers()))
    except (OSError, ValueError):
        return frozenset()


def _read_list(path: Path, handle: str, signers: list[bytes]) -> frozenset[str]:
    """Return the digests of a list that one of ``signers`` signed; raises ValueError, OSError."""
    text = read_regular(path, _MOST_LIST_BYTES)
    signature, signed = text[:_SIGNATURE_DIGITS].decode(), text[_SIGNATURE_DIGITS + 1 :]
    if find_signer(signers, bytes.fromhex(signature), signed) is None:
        raise ValueError("the signature does not fit")
    head, sender, *digests = signed.decode().splitlines()
    if (head, sender) != (_LIST, handle):
        raise ValueError("the list of another shop")
    return frozenset(digests)


def stage_signed_list(shop: Shop, folder: Path, handle: str, notes: Iterable[Note]) -> None:
    """Write the signed list of all revisions received from a shop to its ``folder``.

    Raises ShopError when the private key is missing, OSError.
    """
    digests = sorted(note.digest for note in notes)
    _write_list(folder, handle, digests, shop.load_private_key())


def _write_list(folder: Path, handle: str, digests: Iterable[str], private_key: bytes) -> None:
    text = "\n".join([_LIST, handle, *digests, ""]).encode()
    folder.mkdir(parents=True, exist_ok=True)
    signature = sign(private_key, text).hex().encode()
    (folder / RECEIVED_LIST).write_bytes(signature + b"\n" + text)


def list_notes_signed_by(shop: Shop, public_key: bytes) -> list[Note]:
    """Return the own revisions, each in a file of its own, that a key signed."""
    notes = (read_signed_note(shop, path, [public_key]) for path in _list_signed(shop))
    return [note for note in notes if note is not None]


def read_digests_signed_by(path: Path, public_key: bytes) -> frozenset[str]:
    """Return the digests of a list of received notes if a key signed it, else none."""
    try:
        return _read_list(path, path.parent.name, [public_key])
    except (OSError, ValueError):
        return frozenset()


def stage_signed_again(shop: Shop, staging: Path, public_key: bytes, private_key: bytes) -> None:
    """Sign with ``private_key`` all that ``public_key`` signed, in the staging folder.

    So notes written before a key ended still count. Raises ShopError, OSError.
    """
    notes = list_notes_signed_by(shop, public_key)
    own_notes = staging / shop.notes.relative_to(shop.folder)
    stage_signed_notes(shop, own_notes, notes, private_key)
    for path in sorted(shop.received.glob(f"*/{RECEIVED_LIST}")):
        handle = path.parent.name
        with suppress(ValueError):  # a list that another key signed
            digests = _read_list(path, handle, [public_key])
            _write_list(staging / "received" / handle, handle, sorted(digests), private_key)
