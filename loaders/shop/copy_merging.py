"""Merge what the copies left by synchronisation add, and move them to ``set-aside/``.

Nothing is lost: every copy stays there as it was.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from ...schema.note import Note
from ..keys.statement_files import KEYS, read_statement, stage_statements
from ..system.folder_changes import change_together
from ..system.regular_files import open_regular
from .conflict_copies import ConflictCopy, find_conflict_copies
from .known_shops import KnownShop, State, format_known_shops, load_known_shops, read_known_shops
from .note_files import NoteFileError, load_note, sort_notes
from .note_lines import format_lines, read_lines
from .note_lists import is_sound_list
from .received_notes import RECEIVED
from .shop_folder import Shop, ShopError
from .signed_notes import (
    LISTS,
    RECEIVED_LIST,
    SIGNED,
    SIGNED_ENDING,
    has_signatures,
    name_revision,
    read_signed_digests,
    read_signed_note,
    remember_signatures,
    stage_signed_list,
)

_SET_ASIDE: Final = "set-aside"
_STRICTNESS: Final[tuple[State, ...]] = ("known", "trusted", "muted")


def merge_conflict_copies(shop: Shop) -> list[ConflictCopy]:
    """Merge every conflict copy in the folder, move it to ``set-aside/``, and return them.

    Raises ShopError when the folder cannot be written or holds no private key.
    """
    try:
        with change_together(shop.folder) as staging:
            copies = find_conflict_copies(shop.folder)
            for merge in (
                *(_merge_known_shops, _merge_statements, _merge_signed),
                *(_merge_lists, _merge_received),
            ):
                merge(shop, copies, staging)
            _merge_own_files(copies, staging / "notes")
            for copy in copies:
                _keep(copy.path, staging / _SET_ASIDE)
        for copy in copies:
            copy.path.unlink(missing_ok=True)
    except OSError as error:
        raise ShopError(f"{shop.folder}: the copies cannot be merged: {error.strerror}") from None
    remember_signatures(shop)
    return copies


def _keep(path: Path, folder: Path) -> None:
    """Write the bytes of a copy to ``folder``, under a name that no other copy has."""
    folder.mkdir(parents=True, exist_ok=True)
    data = path.read_bytes()
    name = re.sub(r"[^A-Za-z0-9.-]+", "-", path.name)
    (folder / f"{hashlib.sha256(data).hexdigest()[:8]}-{name}").write_bytes(data)


def _select(copies: Iterable[ConflictCopy], name: str | Callable[[Path], bool]) -> Iterator[Path]:
    """Yield the paths of the copies of a file, by its name or by a test of its path."""
    for copy in copies:
        if name(copy.original) if callable(name) else copy.original.name == name:
            yield copy.path


def _merge_known_shops(shop: Shop, copies: list[ConflictCopy], staging: Path) -> None:
    """Add the shops that only a copy knows; of two states the stricter counts."""
    paths = list(_select(copies, shop.known_shops.name))
    if not paths:
        return
    known = load_known_shops(shop)
    for path in paths:
        for name, other in read_known_shops(path).items():
            mine = known.get(name, other)
            if mine.public_key == other.public_key:
                known[name] = _merge_known_shop(mine, other)
    text = format_known_shops(known)
    (staging / shop.known_shops.name).write_text(text, encoding="utf-8", newline="\n")


def _merge_known_shop(mine: KnownShop, other: KnownShop) -> KnownShop:
    merged = replace(
        mine,
        state=max(mine.state, other.state, key=_STRICTNESS.index),
        current_key=mine.current_key or other.current_key,
    )
    for key, count in {other.public_key: other.revisions, **other.devices}.items():
        merged = merged.record_bundle(key, count) if count else merged
    return merged


def _merge_statements(shop: Shop, copies: list[ConflictCopy], staging: Path) -> None:
    """Give every sound statement in a copy the file of its own name."""
    for path in _select(copies, lambda original: original.parent.name == KEYS):
        statement = read_statement(path)
        if statement is not None:
            stage_statements(staging / path.parent.relative_to(shop.folder), [statement])


def _merge_signed(shop: Shop, copies: list[ConflictCopy], staging: Path) -> None:
    """Give a signed revision in a copy its own file, unless that one is sound already."""
    signers = list(shop.list_signers())
    for path in _select(copies, lambda original: original.parent.name == SIGNED):
        note = read_signed_note(shop, path, signers)
        if note is None:
            continue
        place = path.with_name(f"{name_revision(note)}{SIGNED_ENDING}")
        if not place.exists() or read_signed_note(shop, place, signers) is None:
            folder = staging / "notes" / SIGNED
            folder.mkdir(parents=True, exist_ok=True)
            (folder / place.name).write_bytes(path.read_bytes())


def _merge_lists(shop: Shop, copies: list[ConflictCopy], staging: Path) -> None:
    """Give a sound list of notes its own file, unless that one is sound already."""
    signers = list(shop.list_signers())
    for copy in copies:
        place = copy.original
        if place.parent.name != LISTS or is_sound_list(place, signers):
            continue
        if is_sound_list(copy.path, signers):
            folder = staging / "notes" / LISTS
            folder.mkdir(parents=True, exist_ok=True)
            (folder / place.name).write_bytes(copy.path.read_bytes())


def _merge_own_files(copies: list[ConflictCopy], folder: Path) -> None:
    """Give a note in a copy the file of its own name; one without signature stays to be signed."""
    for path in _select(copies, lambda original: original.suffix == ".yaml"):
        try:
            note = load_note(path)
        except NoteFileError:
            continue
        name = f"{name_revision(note)}.yaml"
        if not (path.parent / name).exists():
            folder.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(path.read_bytes())


def _merge_received(shop: Shop, copies: list[ConflictCopy], staging: Path) -> None:
    """Unite the received notes of each shop: every line that one of the signed lists has."""
    folders = {p.parent for name in (RECEIVED, RECEIVED_LIST) for p in _select(copies, name)}
    for folder in sorted(folders):
        beside = [copy for copy in copies if copy.path.parent == folder]
        lists = [folder / RECEIVED_LIST, *_select(beside, RECEIVED_LIST)]
        files = [folder / RECEIVED, *_select(beside, RECEIVED)]
        digests = frozenset[str]().union(*(read_signed_digests(shop, path) for path in lists))
        notes: dict[str, Note] = {}
        for path in filter(Path.exists, files):
            with open_regular(path) as file:
                # A folder of version 0.1 has no lists, and all its lines count.
                expected = digests if has_signatures(shop) else None
                notes |= {one.digest: one for one in read_lines(file, str(path), [], expected)}
        united = sort_notes(notes.values())
        target = staging / folder.relative_to(shop.folder)
        target.mkdir(parents=True, exist_ok=True)
        (target / RECEIVED).write_bytes(b"".join(format_lines(united)))
        if has_signatures(shop):
            stage_signed_list(shop, target, folder.name, united)
