"""Compress the JSON document of a chip for storage in the folio.

Documents repeat the same keys and phrases, so zlib starts with those as a preset dictionary. The
dictionary is part of the folio's format: with another, no document could be unpacked.
"""

from __future__ import annotations

import zlib
from functools import cache
from pathlib import Path
from typing import Final

_LEVEL: Final = 6  # level 9 takes twice as long and saves a thirtieth
_RAW_DEFLATE: Final = -15  # largest window, no header: https://docs.python.org/3/library/zlib.html
_MEMORY_LEVEL: Final = 8  # zlib's default
_MOST_BYTES: Final = 50_000_000  # a chip with three hundred pins has a hundred thousand


def pack_document(document: bytes) -> bytes:
    """Return the compressed document."""
    compressor = _load_compressor().copy()  # loading the dictionary anew would cost a tenth more
    return compressor.compress(document) + compressor.flush()


def unpack_document(data: bytes) -> str:
    """Return the document packed by ``pack_document``; raises ValueError for any other bytes."""
    decompressor = zlib.decompressobj(_RAW_DEFLATE, zdict=_read_phrases())
    try:
        document = decompressor.decompress(data, _MOST_BYTES)
    except zlib.error as error:
        raise ValueError(str(error)) from None
    if not decompressor.eof:
        raise ValueError("the document is cut short")
    return document.decode()


@cache
def _load_compressor() -> zlib._Compress:
    """Return a compressor that has loaded the dictionary; copy it before use."""
    return zlib.compressobj(
        _LEVEL, zlib.DEFLATED, _RAW_DEFLATE, _MEMORY_LEVEL, zdict=_read_phrases()
    )


@cache
def _read_phrases() -> bytes:
    return Path(__file__).with_name("folio_phrases.txt").read_bytes()
