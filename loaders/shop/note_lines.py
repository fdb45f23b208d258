"""Read and format notes as JSON Lines: one revision a line, sorted by id and digest.

A revision has exactly one valid spelling: ``Note.document()``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import BinaryIO, Final

from pydantic import ValidationError

from ...schema.note import Note
from ..errors import Fault, InvalidFileError

MOST_NOTES: Final = 100_000
LONGEST_LINE: Final = 64_000  # bytes; a note with every text at its longest has fewer


class NoteLinesError(InvalidFileError):
    """The first fault of a file with one note a line."""


def read_lines(file: BinaryIO, name: str, set_aside: list[Fault] | None = None) -> Iterator[Note]:
    """Yield the revisions of an open file; ``name`` is the file's name for messages.

    With ``set_aside``, faulty lines are left out and their faults appended to it. Raises
    NoteLinesError at the first fault otherwise, and for too many or too long lines.
    """
    previous = ("", "")
    for number in range(1, MOST_NOTES + 2):
        line = file.readline(LONGEST_LINE + 1)
        if not line:
            return
        if number > MOST_NOTES:
            raise _error(name, number, "still more notes", f"at most {MOST_NOTES:,}")
        try:
            note = parse_line(line, name, number)
        except NoteLinesError as error:
            if set_aside is None or len(line) > LONGEST_LINE:
                raise
            set_aside += error.faults
            continue
        if (note.id, note.digest) <= previous:
            found = f"the note {note.id} out of its place, or twice"
            raise _error(name, number, found, "notes in the order of id and digest, each once")
        previous = (note.id, note.digest)
        yield note


def format_lines(notes: Iterable[Note]) -> Iterator[bytes]:
    """Yield the line of each revision; ``notes`` must be sorted already."""
    for note in notes:
        yield note.document().encode() + b"\n"


def parse_line(line: bytes, name: str, number: int) -> Note:
    """Return the revision on a line; raises NoteLinesError, also for any other spelling of it."""
    if len(line) > LONGEST_LINE:
        raise _error(name, number, "a very long line", f"at most {LONGEST_LINE:,} bytes a note")
    try:
        note = Note.model_validate_json(line)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(step) for step in first["loc"]) or "the line"
        message = first["msg"].removeprefix("Value error, ")
        raise _error(name, number, f"a faulty note ({place}: {message})", "a note") from None
    if note.document().encode() + b"\n" != line:
        expected = "keys in order, defaults left out, no blanks"
        raise _error(name, number, f"another spelling of the note {note.id}", expected)
    return note


def _error(name: str, line: int, found: str, expected: str) -> NoteLinesError:
    return NoteLinesError((Fault(name, line, 1, found, expected),))
