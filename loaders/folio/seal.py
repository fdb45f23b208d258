"""The seal at the end of a folio: a SHA-256 that detects any changed byte.

SQLite reads text with a flipped bit without complaint, and misses a truncated end until it needs a
page from there. A seal is a mark followed by the SHA-256 of all bytes before it. It lies beyond
SQLite's last page, where SQLite does not look: the header of a database states the number of
pages (https://www.sqlite.org/fileformat2.html, section 1.3.7).
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import BinaryIO, Final

_MARK: Final = b"PFolSeal"
SEAL_SIZE: Final = len(_MARK) + 32
_CHUNK_BYTES: Final = 2**20


def add_seal(path: Path) -> None:
    """Append the seal to a finished database, which must not change afterwards. Raises OSError."""
    with path.open("r+b") as file:
        digest = _digest(file, file.seek(0, os.SEEK_END))
        file.write(_MARK + digest)


def verify_seal(file: BinaryIO) -> bool:
    """Return whether every byte of a folio is as it was when it was sealed. Raises OSError."""
    body_size = file.seek(0, os.SEEK_END) - SEAL_SIZE
    return body_size >= 0 and _MARK + _digest(file, body_size) == file.read()


def _digest(file: BinaryIO, size: int) -> bytes:
    """Return the SHA-256 of the first ``size`` bytes, leaving the file position behind them."""
    digest = hashlib.sha256()
    file.seek(0)
    while size > 0 and (chunk := file.read(min(size, _CHUNK_BYTES))):
        digest.update(chunk)
        size -= len(chunk)
    return digest.digest()
