"""Notes as JSON Lines: one revision a line in its one spelling, in the order of id and digest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import BinaryIO, Final

from pydantic import ValidationError

from ...schema.note import Note
from ..errors import Fault, InvalidFileError

MOST_NOTES: Final = 100_000
LONGEST_LINE: Final = 64_000  # bytes; a note with every text at its longest has fewer


class NoteLinesError(InvalidFileError):
    """What is wrong with a file of notes, one a line."""


def read_lines(file: BinaryIO, name: str) -> Iterator[Note]:
    """The revisions of an open file, one by one; raises NoteLinesError at the first fault."""
    before = ("", "")
    for number in range(1, MOST_NOTES + 2):
        line = file.readline(LONGEST_LINE + 1)
        if not line:
            return
        if number > MOST_NOTES:
            raise _error(name, number, "still more notes", f"at most {MOST_NOTES:,}")
        note = _read(line, name, number)
        if (note.id, note.digest) <= before:
            found = f"the note {note.id} out of its place, or twice"
            raise _error(name, number, found, "notes in the order of id and digest, each once")
        before = (note.id, note.digest)
        yield note


def write_lines(notes: Iterable[Note]) -> Iterator[bytes]:
    """The line of each revision; the notes must be in order already."""
    for note in notes:
        yield note.document().encode() + b"\n"


def _read(line: bytes, name: str, number: int) -> Note:
    if len(line) > LONGEST_LINE:
        raise _error(name, number, "a very long line", f"at most {LONGEST_LINE:,} bytes a note")
    try:
        note = Note.model_validate_json(line)
    except ValidationError as refused:
        first = refused.errors(include_url=False)[0]
        place = ".".join(str(step) for step in first["loc"]) or "the line"
        message = first["msg"].removeprefix("Value error, ")
        raise _error(name, number, f"a faulty note ({place}: {message})", "a note") from None
    if note.document().encode() + b"\n" != line:
        expected = "keys in order, defaults left out, no blanks"
        raise _error(name, number, f"another spelling of the note {note.id}", expected)
    return note


def _error(name: str, line: int, found: str, expected: str) -> NoteLinesError:
    return NoteLinesError((Fault(name, line, 1, found, expected),))
