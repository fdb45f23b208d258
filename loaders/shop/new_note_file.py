"""A note in a file that a page made: without id, shop, author and date, which are put in here."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from ...schema.note import Note
from ..chip_files.validation import validate_located
from ..chip_files.yaml_output import dump_yaml
from ..chip_files.yaml_positions import MOST_BYTES, read_yaml
from ..errors import ChipFileError, Fault
from ..system.regular_files import open_regular, read_regular
from .note_files import NoteFileError

_FIRST: Final = "file_format: pinfolio note 1"
_END: Final = "...\n"
"""Ends a document (YAML 1.2.2, 9.1.2), so that a half-written file is known as one."""
_END_BYTES: Final = 8
_PUT_IN: Final = ("id", "shop", "author", "date")
_NEVER: Final = ("id", "shop", "follows", "withdrawn", "attachments")


def format_new_note(note: Note) -> str:
    """Return the text of a file that ``read_new_note`` takes: keys in model order."""
    document = note.model_dump(mode="json", exclude_defaults=True)
    kept = {key: value for key, value in document.items() if key not in _PUT_IN}
    return dump_yaml({"file_format": note.file_format, **kept}) + _END


def has_end(path: Path) -> bool:
    """Return whether a file ends as ``format_new_note`` ends it; a missing one does not."""
    try:
        with open_regular(path) as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - _END_BYTES))
            return file.read().replace(b"\r\n", b"\n").endswith(f"\n{_END}".encode())
    except OSError:
        return False


def load_new_note(path: Path, fields: Mapping[str, str]) -> Note:
    """Return the note in the file at ``path``, with ``fields`` put in; raises NoteFileError."""
    try:
        return read_new_note(read_regular(path, MOST_BYTES), str(path), fields)
    except OSError as error:
        fault = Fault(str(path), 1, 1, error.strerror or "an error", "a readable note")
        raise NoteFileError((fault,)) from None


def read_new_note(data: bytes, name: str, fields: Mapping[str, str]) -> Note:
    """Return the note in ``data`` with ``fields``: id, shop, author and date.

    Author and date in the file go before those in ``fields``. Raises NoteFileError with all
    faults, also for a note that has an id or a shop already: those come by merging a bundle.
    """
    try:
        located = read_yaml(data, name, "a note", _FIRST)
    except ChipFileError as error:
        raise NoteFileError(error.faults) from None
    if isinstance(located.data, dict):
        faults = [
            Fault(name, *located.place((key,), of_key=True), f"the key {key}", expected)
            for key in _NEVER
            if key in located.data
            for expected in ["a note of this shop's own, without it; others' come by merging"]
        ]
        if faults:
            raise NoteFileError(tuple(faults))
        located = replace(located, data={**fields, **located.data})
    return validate_located(Note, located, NoteFileError, _FIRST)
