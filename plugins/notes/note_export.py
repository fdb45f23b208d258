"""Notes as the rows of a table, which ``note_import`` reads again."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final, NamedTuple

from ...schema.note import Note
from .note_columns import FIELDS, REJECT_HEADINGS
from .note_form import fill_form
from .note_import import NoteImport
from .revisions import StoredNote

_DEFAULTS: Final = {"sets": "1", "confidence": "once"}
_NAMES: Final = {"set_name": "set-name"}
_START_BYTES: Final = 100


class NoteRows(NamedTuple):
    """A table of notes, and how much of them it does not hold."""

    headings: tuple[str, ...]
    rows: tuple[dict[str, str], ...]
    attachments: int
    """Attached files, which a table cannot hold."""
    conflicts: int
    """Notes in conflict, of which the first newest revision is in the table."""


def build_rows(notes: Iterable[StoredNote]) -> NoteRows:
    """Return a row for each note that is not withdrawn, by chip, place and date."""
    stored = [note for note in notes if not note.is_withdrawn]
    heads = [note.heads[0] for note in stored]
    heads.sort(key=lambda note: (note.chip, note.at, note.date, note.id))
    rows = tuple(map(_fill_row, heads))
    used = {name for row in rows for name in row}
    headings = dict.fromkeys(("chip", "at", *(name for name in FIELDS if name in used)))
    return NoteRows(
        tuple(headings),
        rows,
        sum(len(note.attachments) for note in heads),
        sum(len(note.heads) > 1 for note in stored),
    )


def build_reject_rows(
    headings: Iterable[str], planned: NoteImport
) -> tuple[tuple[str, ...], list[dict[str, str]]]:
    """Return headings and rows of the table of rejects: line and reason before the row's cells."""
    headings = tuple(headings)
    rows = [
        dict(zip(headings, reject.row.cells, strict=False))
        | dict(zip(REJECT_HEADINGS, (str(reject.row.line), reject.reason), strict=True))
        for reject in planned.rejects
    ]
    return (*REJECT_HEADINGS, *headings), rows


def is_note_table(path: Path) -> bool:
    """Return whether a file is a table as ``build_rows`` makes them, which may be replaced."""
    return _read_start(path).startswith(("\ufeffchip,at", '{"chip":'))


def is_reject_table(path: Path) -> bool:
    """Return whether a file is a table as ``build_reject_rows`` makes them."""
    return _read_start(path).startswith("\ufeff" + ",".join(REJECT_HEADINGS))


def _read_start(path: Path) -> str:
    with path.open("rb") as file:
        return file.read(_START_BYTES).decode("utf-8", "replace")


def _fill_row(note: Note) -> dict[str, str]:
    form = fill_form(note)
    texts = {_NAMES.get(name, name): text for name, text in form.items()}
    first = {name: texts.pop(name) for name in ("chip", "at")}
    kept = {name: text for name, text in texts.items() if _DEFAULTS.get(name) != text}
    return first | kept
