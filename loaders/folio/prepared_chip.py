"""Prepare a chip for the folio: validate it, make its rows, pack its document.

This is most of the work of a build and needs only the chip itself, so worker processes share it and
a cache keeps the results.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from dataclasses import dataclass
from typing import Any

from ...schema import Chip
from ..chip_files.chip_stream import InvalidRecord, Record
from ..errors import ChipFileError, Fault
from .chip_rows import Values, make_chip_rows
from .packed_document import pack_document


@dataclass(frozen=True, slots=True)
class PreparedChip:
    """A chip in the form in which the folio stores it."""

    file: str
    """The chip file, or another origin, for messages."""
    line: int
    """Line in a file of many chips; otherwise 0."""
    digest: bytes
    """SHA-256 of the document."""
    document: bytes
    """The document, packed."""
    rows: dict[str, list[Values]]

    @property
    def place(self) -> str:
        """The file, with the line if it has one, for messages."""
        return f"{self.file}:{self.line}" if self.line else self.file

    @property
    def part(self) -> str:
        """The part number."""
        return str(self.rows["chip"][0][0])

    @property
    def key(self) -> str:
        """The part number in normal form, by which parts are compared."""
        return str(self.rows["chip"][0][1])

    @property
    def invented(self) -> bool:
        """Whether the chip is an invented example."""
        return bool(self.rows["chip"][0][5])


def prepare(record: Record) -> PreparedChip | InvalidRecord:
    """Read, validate and prepare the chip in ``record``."""
    try:
        chip, document = record.read_chip()
    except ChipFileError as error:
        return InvalidRecord(error.faults)
    return prepare_chip(chip, document, record.file, record.line)


def prepare_chip(
    chip: Chip, document: str, file: str, line: int = 0
) -> PreparedChip | InvalidRecord:
    """Prepare a chip; ``document`` is ``chip.document()``."""
    try:
        encoded = document.encode()
    except UnicodeEncodeError as error:  # JSON can escape half of a surrogate pair
        found_text = f"part {chip.part} with half a character ({error.reason})"
        return InvalidRecord(
            (Fault(file, max(1, line), 1, found_text, "text that UTF-8 can write"),)
        )
    digest = hashlib.sha256(encoded).digest()
    return PreparedChip(file, line, digest, pack_document(encoded), make_chip_rows(chip))


def to_bytes(prepared: PreparedChip) -> bytes:
    """Return a prepared chip, without its file, for the cache; zlib's checksum detects damage."""
    fields = [_to_text(prepared.digest), _to_text(prepared.document), prepared.rows]
    return zlib.compress(json.dumps(fields, separators=(",", ":")).encode(), 1)


def from_bytes(data: bytes, file: str) -> PreparedChip:
    """Return the chip stored by ``to_bytes``, as if read from ``file``; raises ValueError."""
    try:
        digest, document, rows = json.loads(zlib.decompress(data))
    except zlib.error as error:
        raise ValueError(str(error)) from None
    return PreparedChip(
        file,
        0,
        base64.b64decode(digest),
        base64.b64decode(document),
        {table: [_to_tuple(row) for row in table_rows] for table, table_rows in rows.items()},
    )


def _to_text(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _to_tuple(row: list[Any]) -> Values:
    """Return a row from JSON, which has only lists; shared values must be hashable."""
    return tuple(tuple(value) if isinstance(value, list) else value for value in row)
