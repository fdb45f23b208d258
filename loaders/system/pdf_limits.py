"""Limits for reading PDFs: a small file can unpack to more than the memory holds.

The parser has no limits of its own. Here streams are measured before it unpacks them, and
characters and strokes are counted while it lays out a page. Needs pdfplumber.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from pdfminer import pdftypes
from pdfminer.ascii85 import ascii85decode, asciihexdecode
from pdfminer.lzw import LZWDecoder
from pdfminer.pdfinterp import PDFPageInterpreter
from pdfminer.pdftypes import PDFStream
from pdfminer.runlength import rldecode
from pdfplumber.page import Page, PDFPageAggregatorWithMarkedContent

MOST_UNPACKED: Final = 64_000_000
"""Bytes that a data sheet may unpack to: pages, fonts and object lists; images stay packed."""

MOST_DRAWN: Final = 40_000
"""Characters, strokes and images on a page."""

_CHUNK_BYTES: Final = 4096
_RUN_LENGTH_GROWTH: Final = 64  # two bytes become at most 128 (ISO 32000-1, 7.4.5)
_MOST_ROW_VALUES: Final = 100_000  # values in a row of predicted data


class UnpackLimitError(Exception):
    """The streams of a PDF unpack to more bytes than allowed."""


class PageLimitError(Exception):
    """A page has more on it than any table of pins."""


@contextmanager
def limit_unpacking(most: int = MOST_UNPACKED) -> Iterator[None]:
    """Limit the streams unpacked in this block to ``most`` bytes, for all PDFs of the process.

    Beyond that, reading raises UnpackLimitError.
    """
    remaining_bytes = most
    original_decode = PDFStream.decode

    def decode_measured(stream: PDFStream) -> None:
        nonlocal remaining_bytes
        remaining_bytes -= _measure_unpacked(stream, remaining_bytes)
        original_decode(stream)

    # The parser offers no hook, so its method is replaced while the block runs.
    PDFStream.decode = decode_measured  # type: ignore[assignment, method-assign]
    try:
        yield
    finally:
        PDFStream.decode = original_decode  # type: ignore[method-assign]


def _measure_unpacked(stream: PDFStream, most: int) -> int:
    """Return the greatest length of a stream in bytes, after any of its filters.

    Raises UnpackLimitError for more than ``most`` bytes.
    """
    data = stream.rawdata or b""
    decipher = stream.decipher  # only in an encrypted file
    if decipher is not None and stream.objid is not None and stream.genno is not None:
        data = decipher(stream.objid, stream.genno, data, stream.attrs)
    # Filters are chained, and a later one may shrink the data again: the peak counts.
    longest_bytes = len(data)
    for filter_name, settings in stream.get_filters():
        data = _filter(filter_name, data, most)
        longest_bytes = max(longest_bytes, len(data))
        # The parser allocates a row of predicted data as long as stated, however short the data.
        if isinstance(settings, dict) and _list_row_values(settings) > _MOST_ROW_VALUES:
            raise UnpackLimitError
    if longest_bytes > most:
        raise UnpackLimitError
    return longest_bytes


def _filter(name: object, data: bytes, most: int) -> bytes:
    """Return the data after one filter (ISO 32000-1, 7.4); image filters are left alone.

    Raises UnpackLimitError when it might be more than ``most`` bytes.
    """
    if name in pdftypes.LITERALS_FLATE_DECODE:
        return _inflate(data, most)
    if name in pdftypes.LITERALS_LZW_DECODE:
        return _join(LZWDecoder(io.BytesIO(data)).run(), most)
    # Text grows fourfold at most (a z in ASCII85), so checking the result is enough.
    if name in pdftypes.LITERALS_ASCII85_DECODE:
        return ascii85decode(data)
    if name in pdftypes.LITERALS_ASCIIHEX_DECODE:
        return asciihexdecode(data)
    if name in pdftypes.LITERALS_RUNLENGTH_DECODE and len(data) * _RUN_LENGTH_GROWTH <= most:
        return rldecode(data)
    # The growth of a fax page cannot be known beforehand, so it is refused.
    if name in (*pdftypes.LITERALS_RUNLENGTH_DECODE, *pdftypes.LITERALS_CCITTFAX_DECODE):
        raise UnpackLimitError
    return data


def _inflate(data: bytes, most: int) -> bytes:
    """Return the inflated data, up to where it is damaged."""
    unpacker, pieces = zlib.decompressobj(), range(0, len(data), _CHUNK_BYTES)

    def unpacked() -> Iterator[bytes]:
        for start in pieces:
            try:
                yield unpacker.decompress(data[start : start + _CHUNK_BYTES], most + 1)
            except zlib.error:
                return

    return _join(unpacked(), most)


def _join(pieces: Iterator[bytes], most: int) -> bytes:
    joined = bytearray()
    for piece in pieces:
        joined += piece
        if len(joined) > most:
            raise UnpackLimitError
    return bytes(joined)


def _list_row_values(settings: dict[Any, Any]) -> int:
    """Return the number of values in a row of predicted data."""
    colours, columns = (settings.get(key, 1) for key in ("Colors", "Columns"))
    return int(colours) * int(columns) if isinstance(columns, int) else 1


class BoundedPage(Page):
    """A page; laying it out raises PageLimitError beyond MOST_DRAWN characters and strokes."""

    @property
    def layout(self) -> Any:
        """The layout of everything drawn on the page."""
        if not hasattr(self, "_layout"):
            device = _CountingDevice(
                self.pdf.rsrcmgr, pageno=self.page_number, laparams=self.pdf.laparams
            )
            PDFPageInterpreter(self.pdf.rsrcmgr, device).process_page(self.page_obj)
            self._layout = device.get_result()
        return self._layout


class _CountingDevice(PDFPageAggregatorWithMarkedContent):
    """Counts while laying out."""

    drawn = 0

    def _count(self) -> None:
        self.drawn += 1
        if self.drawn > MOST_DRAWN:
            raise PageLimitError

    def render_char(self, *args: Any, **named: Any) -> float:
        self._count()
        return super().render_char(*args, **named)

    def paint_path(self, *args: Any, **named: Any) -> None:
        self._count()
        super().paint_path(*args, **named)

    def begin_figure(self, *args: Any, **named: Any) -> None:
        self._count()
        super().begin_figure(*args, **named)
