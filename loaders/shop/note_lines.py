"""Read and format notes as JSON Lines: one revision a line, sorted by id and digest.

A revision has exactly one valid spelling: ``Note.document()``.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from typing import BinaryIO, Final

from pydantic import ValidationError

from ...schema.note import Note
from ..errors import Fault, InvalidFileError

MOST_NOTES: Final = 100_000
LONGEST_LINE: Final = 64_000  # bytes; a note with every text at its longest has fewer


class NoteLinesError(InvalidFileError):
    """The first fault of a file with one note a line."""


def read_lines(
    file: BinaryIO,
    name: str,
    set_aside: list[Fault] | None = None,
    expected_digests: Container[str] | None = None,
) -> Iterator[Note]:
    """Yield the revisions of an open file; ``name`` is the file's name for messages.

    With ``set_aside``, faulty lines are left out and their faults appended to it; otherwise raises
    NoteLinesError at the first fault. A line is faulty, too, when its revision is none of
    ``expected_digests``.
    """
    previous = ("", "")
    for number, line in enumerate(_split_lines(file), start=1):
        try:
            if number > MOST_NOTES:
                raise _build_error(name, number, "still more notes", f"at most {MOST_NOTES:,}")
            note = parse_line(line, name, number)
            _check_place(note, previous, name, number)
            if expected_digests is not None and note.digest not in expected_digests:
                found_text = f"the note {note.id}, changed or added since it was merged"
                raise _build_error(
                    name, number, found_text, "the notes as merged; merge their bundle again"
                )
        except NoteLinesError as error:
            if set_aside is None:
                raise
            set_aside += error.faults
            if number > MOST_NOTES:
                return
        else:
            previous = (note.id, note.digest)
            yield note


def _split_lines(file: BinaryIO) -> Iterator[bytes]:
    """Yield each line with its newline; of a very long one, one byte more than it may have."""
    while line := file.readline(LONGEST_LINE + 1):
        yield line
        while len(line) > LONGEST_LINE and not line.endswith(b"\n"):
            line = file.readline(LONGEST_LINE + 1)


def _check_place(note: Note, previous: tuple[str, str], name: str, number: int) -> None:
    if (note.id, note.digest) <= previous:
        found_text = f"the note {note.id} out of its place, or twice"
        raise _build_error(
            name, number, found_text, "notes in the order of id and digest, each once"
        )


def format_lines(notes: Iterable[Note]) -> Iterator[bytes]:
    """Yield the line of each revision; ``notes`` must be sorted already."""
    for note in notes:
        yield note.document().encode() + b"\n"


def parse_line(line: bytes, name: str, number: int) -> Note:
    """Return the revision on a line; raises NoteLinesError, also for any other spelling of it."""
    if len(line) > LONGEST_LINE:
        raise _build_error(
            name, number, "a very long line", f"at most {LONGEST_LINE:,} bytes a note"
        )
    try:
        note = Note.model_validate_json(line)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(step) for step in first["loc"]) or "the line"
        message = first["msg"].removeprefix("Value error, ")
        raise _build_error(name, number, f"a faulty note ({place}: {message})", "a note") from None
    if note.document().encode() + b"\n" != line:
        expected = "keys in order, defaults left out, no blanks"
        raise _build_error(name, number, f"another spelling of the note {note.id}", expected)
    return note


def _build_error(name: str, line: int, found: str, expected: str) -> NoteLinesError:
    return NoteLinesError((Fault(name, line, 1, found, expected),))
