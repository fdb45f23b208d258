"""The document of a chip, as a folio keeps it: its JSON packed by zlib.

Documents say the same keys and phrases over and over, so packing begins with those known. The
phrases belong to the folio's format: with others no document could be unpacked.
"""

from __future__ import annotations

import zlib
from functools import cache
from pathlib import Path

_LEVEL = 6  # nine takes twice the time for a thirtieth less
_MOST_BYTES = 50_000_000  # unpacked; a chip with three hundred pins has a hundred thousand


def pack_document(document: bytes) -> bytes:
    """A document, as UTF-8, in fewer bytes."""
    packing = _begun().copy()  # to take the phrases in costs as much as a tenth of the packing
    return packing.compress(document) + packing.flush()


def unpack_document(data: bytes) -> str:
    """What ``pack_document`` made; raises ValueError for anything else."""
    unpacking = zlib.decompressobj(-15, zdict=_phrases())
    try:
        document = unpacking.decompress(data, _MOST_BYTES)
    except zlib.error as refused:
        raise ValueError(str(refused)) from None
    if not unpacking.eof:
        raise ValueError("cut short")
    return document.decode()


@cache
def _begun() -> zlib._Compress:
    """Packing that knows the phrases and has seen nothing yet."""
    return zlib.compressobj(_LEVEL, zlib.DEFLATED, -15, 8, zdict=_phrases())


@cache
def _phrases() -> bytes:
    return Path(__file__).with_name("folio_phrases.txt").read_bytes()
