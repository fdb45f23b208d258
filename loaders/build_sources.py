"""What a folio is built from: chip files, folders of them, and shops with their notes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ..schema.note import Note
from .chip_file import find_chip_files, is_note_file, yaml_files
from .folio_file import FolioError
from .note_file import all_notes, load_note
from .shop import ShopError, is_shop, open_shop


@dataclass(frozen=True)
class Sources:
    """The chip files, and every revision of the notes that stand in shops."""

    chip_files: tuple[Path, ...]
    notes: tuple[Note, ...]


def find_sources(paths: Iterable[Path]) -> Sources:
    """Sort out what ``paths`` hold: of a shop's folder its chips and notes, else files of both.

    Raises ChipFileError, NoteFileError, or FolioError where a shop cannot be read.
    """
    chips: list[Path] = []
    notes: list[Note] = []
    for path in paths:
        if is_shop(path):
            shop_chips, shop_notes = _of_shop(path)
            chips += shop_chips
            notes += shop_notes
        else:
            chips.append(path)
            notes += _notes_below(path)
    return Sources(tuple(find_chip_files(chips)), tuple(notes))


def _of_shop(path: Path) -> tuple[list[Path], list[Note]]:
    try:
        shop = open_shop(path)
        return [shop.chips] if shop.chips.is_dir() else [], all_notes(shop)
    except ShopError as fault:
        raise FolioError(str(fault)) from None


def _notes_below(path: Path) -> list[Note]:
    """The notes in a folder that is no shop's."""
    files = yaml_files(path) if path.is_dir() else []
    return [load_note(file) for file in files if is_note_file(file)]
