"""The seal of a folio: its last bytes, by which any other byte that changed is noticed.

SQLite reads text with a flipped bit as happily as the text that was written, and a short file until
a page of the missing end is asked for. So a folio ends in a seal: a mark, and the SHA-256 of every
byte before it. It stands behind SQLite's last page, where SQLite itself does not look: the header
of a database says how many pages there are (https://www.sqlite.org/fileformat2.html, 1.3.7).
"""

from __future__ import annotations

import os

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO, Final

_MARK: Final = b"PFolSeal"
SEAL_SIZE: Final = len(_MARK) + 32
_PIECE: Final = 2**20


def seal(path: Path) -> None:
    """Put the seal behind a finished database, which nothing may change from now on."""
    with path.open("r+b") as file:
        digest = _digest(file, file.seek(0, os.SEEK_END))
        file.write(_MARK + digest)


def verify_seal(file: BinaryIO) -> bool:
    """Whether every byte of a folio is as it was when it was sealed. Raises OSError."""
    body = file.seek(0, os.SEEK_END) - SEAL_SIZE
    return body >= 0 and _MARK + _digest(file, body) == file.read()


def _digest(file: BinaryIO, size: int) -> bytes:
    """SHA-256 of the first ``size`` bytes; the file then stands behind them."""
    import hashlib  # here, because a folio that is known to be whole needs none

    digest = hashlib.sha256()
    file.seek(0)
    while size > 0 and (piece := file.read(min(size, _PIECE))):
        digest.update(piece)
        size -= len(piece)
    return digest.digest()
