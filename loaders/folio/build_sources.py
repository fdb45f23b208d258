"""Sort the sources of a build: chip files, JSON Lines, note files, folders, and shop folders."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ...schema.note import Note
from ..chip_files.chip_file import find_chip_files, find_yaml_files, is_note_file
from ..chip_files.chip_stream import is_json_lines
from ..errors import Fault
from ..shop.note_files import (
    ATTACHMENTS,
    format_stored_name,
    load_all_notes,
    load_note,
    locate_attachment,
)
from ..shop.shop_folder import Shop, ShopError, open_shop
from ..shop.shop_place import is_shop
from .folio_file import FolioError


@dataclass(frozen=True)
class Sources:
    """The inputs of a build."""

    chip_files: tuple[Path, ...]
    notes: tuple[Note, ...]
    """Every revision of every note."""
    attachments: dict[str, Path]
    """Path of each attachment by its stored name; the file may be missing."""


NoteWithFiles = tuple[Note, dict[str, Path]]
"""A note and the expected paths of its attachments, by stored name."""


def find_sources(paths: Iterable[Path], set_aside: list[Fault] | None = None) -> Sources:
    """Return the chips and notes in ``paths``.

    Notes of a shop that cannot be read are ``set_aside``, as in ``load_all_notes``.

    Raises ChipFileError, NoteFileError; FolioError when a shop cannot be read.
    """
    chip_paths: list[Path] = []
    notes: list[Note] = []
    attachments: dict[str, Path] = {}
    for path in paths:
        if is_shop(path):
            shop = _open_shop(path)
            if shop.chips.is_dir():  # a shop may keep notes only
                chip_paths.append(shop.chips)
            notes_with_files = _read_shop_notes(shop, set_aside)
        else:
            if not is_note_file(path):
                chip_paths.append(path)
            notes_with_files = _read_notes(path)
        for note, file_of in notes_with_files:
            notes.append(note)
            for stored_name, file in file_of.items():
                # The same attachment may belong to several notes, and be missing beside some.
                if stored_name not in attachments or file.is_file():
                    attachments[stored_name] = file
    return Sources(tuple(_find_chips(chip_paths)), tuple(notes), attachments)


def _find_chips(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield the chip files and JSON Lines files, for each folder all below it, sorted."""
    for path in paths:
        yield from find_chip_files([path])
        if path.is_dir():
            yield from sorted(file for file in path.rglob("*") if is_json_lines(file))


def _open_shop(path: Path) -> Shop:
    try:
        return open_shop(path)
    except ShopError as error:
        raise FolioError(str(error)) from None


def _read_shop_notes(shop: Shop, set_aside: list[Fault] | None) -> Iterator[NoteWithFiles]:
    try:
        for note in load_all_notes(shop, set_aside):
            attachments = note.attachments
            files = {format_stored_name(a): locate_attachment(shop, note, a) for a in attachments}
            yield note, files
    except ShopError as error:
        raise FolioError(str(error)) from None


def _read_notes(path: Path) -> Iterator[NoteWithFiles]:
    """Yield the note in a file, or the notes in a folder that is not a shop's."""
    for file in find_yaml_files(path) if path.is_dir() else [path]:
        if is_note_file(file):
            note = load_note(file)
            names = map(format_stored_name, note.attachments)
            yield note, {name: file.parent / ATTACHMENTS / name for name in names}
