"""What a folio is built from: chip files, JSON Lines, folders of both, and shops with notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ...schema.note import Note
from ..chip_files.chip_file import find_chip_files, find_yaml_files, is_note_file
from ..chip_files.chip_stream import is_json_lines
from ..shop.note_files import (
    ATTACHMENTS,
    format_stored_name,
    load_all_notes,
    load_note,
    locate_attachment,
)
from ..shop.shop_folder import Shop, ShopError, is_shop, open_shop
from .folio_file import FolioError


@dataclass(frozen=True)
class Sources:
    """The files with chips, every revision of the notes, and where what is attached to them is."""

    chip_files: tuple[Path, ...]
    notes: tuple[Note, ...]
    attached: dict[str, Path]
    """Path of an attachment by the name it is kept under; the file itself may be missing."""


def find_sources(paths: Iterable[Path]) -> Sources:
    """Sort out what ``paths`` hold: a shop's chips and notes, else files of both.

    Raises ChipFileError, NoteFileError, or FolioError where a shop cannot be read.
    """
    chips: list[Path] = []
    notes: list[Note] = []
    attached: dict[str, Path] = {}
    for path in paths:
        if is_shop(path):
            shop = _shop(path)
            chips += [shop.chips] if shop.chips.is_dir() else []
            found = _notes_of_shop(shop)
        else:
            chips += [] if is_note_file(path) else [path]
            found = _notes_at(path)
        for note, places in found:
            notes.append(note)
            for name, place in places.items():
                if name not in attached or place.is_file():
                    attached[name] = place
    return Sources(tuple(_with_chips(chips)), tuple(notes), attached)


def _with_chips(paths: Iterable[Path]) -> Iterator[Path]:
    """The chip files and the files of JSON Lines; of folders all that are in them, sorted."""
    for path in paths:
        yield from find_chip_files([path])
        if path.is_dir():
            yield from sorted(file for file in path.rglob("*") if is_json_lines(file))


NoteWithFiles = tuple[Note, dict[str, Path]]
"""A note, and where its attachments should be, by the names they are kept under."""


def _shop(path: Path) -> Shop:
    try:
        return open_shop(path)
    except ShopError as fault:
        raise FolioError(str(fault)) from None


def _notes_of_shop(shop: Shop) -> Iterator[NoteWithFiles]:
    try:
        for note in load_all_notes(shop):
            yield (
                note,
                {format_stored_name(a): locate_attachment(shop, note, a) for a in note.attachments},
            )
    except ShopError as fault:
        raise FolioError(str(fault)) from None


def _notes_at(path: Path) -> Iterator[NoteWithFiles]:
    """The note in a file, or the notes in a folder that is no shop's."""
    for file in find_yaml_files(path) if path.is_dir() else [path]:
        if is_note_file(file):
            note = load_note(file)
            names = map(format_stored_name, note.attachments)
            yield note, {name: file.parent / ATTACHMENTS / name for name in names}
