"""The file, its lines and its columns while a capture is read: errors quote them."""

from __future__ import annotations

import io
from dataclasses import dataclass

from .capture import CaptureError, CaptureFault
from .number_dialect import decode_line


@dataclass(frozen=True)
class ReadingPlace:
    """The text of one capture and the line that its numbers begin on."""

    file: str
    text: bytes
    start: int
    """Byte offset of the first line of numbers."""

    def error_at(
        self, row: int, found: str, expected: str, write: str | None = None
    ) -> CaptureError:
        """Return the error at a row of the table, with that line and the one before it."""
        number = self.line_of(row)
        return build_error(self.file, number, found, expected, self.quote(number), write)

    def line_of(self, row: int) -> int:
        """Return the line number in the file of a row of the table, from 0.

        Without text, as in a container, it is the number of the sample.
        """
        if not self.text:
            return row + 1
        above = self.text.count(b"\n", 0, self.start)
        rows = (n for n, line in enumerate(io.BytesIO(self.text[self.start :])) if line.strip())
        return above + 1 + next(n for place, n in enumerate(rows) if place == row)

    def quote(self, number: int) -> tuple[tuple[int, str], ...]:
        """Return a line and the nearest one above it that is not blank, with their numbers."""
        if not self.text:
            return ()
        lines = self.text.split(b"\n", number)[:number]
        quoted = [(number, decode_line(lines[-1]).strip())]
        for n in range(len(lines) - 1, 0, -1):
            if lines[n - 1].strip():
                return ((n, decode_line(lines[n - 1]).strip()), *quoted)
        return tuple(quoted)


def build_error(
    file: str,
    number: int,
    found: str,
    expected: str,
    lines: tuple[tuple[int, str], ...] = (),
    write: str | None = None,
) -> CaptureError:
    """Return the error of one fault in a capture."""
    return CaptureError((CaptureFault(file, number, 1, found, expected, write, lines=lines),))
