"""A chip made ready for the folio: its rows, its packed document, and what is worked out of it.

Making ready is most of the work of a build, needs nothing but the chip, and is what several
processes share and the cache of chips keeps.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ...schema import Chip
from ..chip_files.chip_stream import Record, Refused
from ..errors import ChipFileError, Fault
from .chip_rows import Values, chip_rows
from .packed_document import pack_document

Extra = Callable[[Chip], bytes | None]
"""What is worked out of a chip and kept beside it, its fault dictionary; None keeps nothing."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A chip as the folio takes it."""

    file: str
    """The file, or other place, that it comes from."""
    line: int
    """Its line there, where the file has many chips; else 0."""
    digest: bytes
    """SHA-256 of its document."""
    document: bytes
    extra: bytes | None
    rows: dict[str, list[Values]]

    @property
    def place(self) -> str:
        """For messages: the file, with the line where it has many chips."""
        return f"{self.file}:{self.line}" if self.line else self.file

    @property
    def part(self) -> str:
        """Its part number."""
        return str(self.rows["chip"][0][0])

    @property
    def key(self) -> str:
        """Its part number as it is compared."""
        return str(self.rows["chip"][0][1])

    @property
    def invented(self) -> bool:
        """Whether it is an example."""
        return bool(self.rows["chip"][0][5])


def prepare(record: Record, extra: Extra | None = None) -> Prepared | Refused:
    """Read and validate a chip, and make it ready."""
    try:
        chip, document = record.chip()
    except ChipFileError as refused:
        return Refused(refused.faults)
    return prepare_chip(chip, document, record.file, record.line, extra)


def prepare_chip(
    chip: Chip, document: str, file: str, line: int = 0, extra: Extra | None = None
) -> Prepared | Refused:
    """Make a chip ready; ``document`` is ``chip.document()``."""
    try:
        text = document.encode()
    except UnicodeEncodeError as fault:
        found = f"part {chip.part} with half a character ({fault.reason})"
        return Refused((Fault(file, max(1, line), 1, found, "text that UTF-8 can write"),))
    made = extra(chip) if extra is not None else None
    digest = hashlib.sha256(text).digest()
    return Prepared(file, line, digest, pack_document(text), made, chip_rows(chip))


def to_bytes(prepared: Prepared) -> bytes:
    """All but the file, for the cache of chips; the check value that zlib adds shows damage."""
    made = None if prepared.extra is None else _text(prepared.extra)
    held = [_text(prepared.digest), _text(prepared.document), made, prepared.rows]
    return zlib.compress(json.dumps(held, separators=(",", ":")).encode(), 1)


def from_bytes(data: bytes, file: str) -> Prepared:
    """What ``to_bytes`` made, as the chip in ``file``; raises ValueError where it is damaged."""
    try:
        digest, document, extra, rows = json.loads(zlib.decompress(data))
    except zlib.error as fault:
        raise ValueError(str(fault)) from None
    made = None if extra is None else base64.b64decode(extra)
    tuples = {table: [_tuple(row) for row in found] for table, found in rows.items()}
    return Prepared(file, 0, base64.b64decode(digest), base64.b64decode(document), made, tuples)


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _tuple(row: list[Any]) -> Values:
    """JSON knows lists only; values that are shared are looked up, so they are tuples."""
    return tuple(tuple(value) if isinstance(value, list) else value for value in row)
