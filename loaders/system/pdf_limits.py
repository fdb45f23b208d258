"""PDFs read within bounds: a small file can unpack to more than the machine can hold.

The parser itself has no bound. Streams are measured here before it unpacks them, and signs and
strokes are counted while it draws them. Needs pdfplumber.
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
"""Bytes that a sheet may unpack to: pages, fonts and lists of objects; pictures stay packed."""

MOST_DRAWN: Final = 40_000
"""Signs, strokes and pictures of a page."""

_PIECE: Final = 4096
_RUN: Final = 64  # times as long at most: two bytes stand for up to 128 (ISO 32000-1, 7.4.5)
_WIDEST: Final = 100_000  # values in a row of what a predictor undoes


class UnpacksTooMuch(Exception):  # noqa: N818  it says what the file does
    """A stream unpacks to more bytes than are left."""


class TooFull(Exception):  # noqa: N818  it says what the page is
    """A page has more on it than a table of pins could."""


@contextmanager
def unpacking_at_most(most: int = MOST_UNPACKED) -> Iterator[None]:
    """Within this, UnpacksTooMuch is raised once streams would come to more than ``most`` bytes.

    It holds for every PDF that the process reads meanwhile.
    """
    left = most
    decode = PDFStream.decode

    def measured(stream: PDFStream) -> None:
        nonlocal left
        left -= _unpacked(stream, left)
        decode(stream)

    PDFStream.decode = measured  # type: ignore[assignment, method-assign]
    try:
        yield
    finally:
        PDFStream.decode = decode  # type: ignore[method-assign]


def _unpacked(stream: PDFStream, most: int) -> int:
    """The bytes that the stream has where it is longest, filter after filter."""
    data = stream.rawdata or b""
    if stream.decipher is not None and stream.objid is not None and stream.genno is not None:
        data = stream.decipher(stream.objid, stream.genno, data, stream.attrs)
    longest = len(data)
    for name, settings in stream.get_filters():
        data = _filtered(name, data, most)
        longest = max(longest, len(data))
        if isinstance(settings, dict) and _row(settings) > _WIDEST:
            raise UnpacksTooMuch
    if longest > most:
        raise UnpacksTooMuch
    return longest


def _filtered(name: object, data: bytes, most: int) -> bytes:
    """What one filter makes of the data; those of pictures make no text."""
    if name in pdftypes.LITERALS_FLATE_DECODE:
        return _inflated(data, most)
    if name in pdftypes.LITERALS_LZW_DECODE:
        return _joined(LZWDecoder(io.BytesIO(data)).run(), most)
    if name in pdftypes.LITERALS_ASCII85_DECODE:
        return ascii85decode(data)
    if name in pdftypes.LITERALS_ASCIIHEX_DECODE:
        return asciihexdecode(data)
    if name in pdftypes.LITERALS_RUNLENGTH_DECODE and len(data) * _RUN <= most:
        return rldecode(data)
    if name in (*pdftypes.LITERALS_RUNLENGTH_DECODE, *pdftypes.LITERALS_CCITTFAX_DECODE):
        raise UnpacksTooMuch
    return data


def _inflated(data: bytes, most: int) -> bytes:
    """What comes before the data end or are damaged."""
    unpacker, pieces = zlib.decompressobj(), range(0, len(data), _PIECE)

    def unpacked() -> Iterator[bytes]:
        for start in pieces:
            try:
                yield unpacker.decompress(data[start : start + _PIECE], most + 1)
            except zlib.error:
                return

    return _joined(unpacked(), most)


def _joined(pieces: Iterator[bytes], most: int) -> bytes:
    joined = bytearray()
    for piece in pieces:
        joined += piece
        if len(joined) > most:
            raise UnpacksTooMuch
    return bytes(joined)


def _row(settings: dict[Any, Any]) -> int:
    """The values in a row of data that a predictor undoes."""
    colours, columns = (settings.get(key, 1) for key in ("Colors", "Columns"))
    return int(colours) * int(columns) if isinstance(columns, int) else 1


class BoundedPage(Page):
    """A page; raises TooFull where it is looked at if more than MOST_DRAWN things are on it."""

    @property
    def layout(self) -> Any:
        """All that is drawn on the page."""
        if not hasattr(self, "_layout"):
            device = _Counting(
                self.pdf.rsrcmgr, pageno=self.page_number, laparams=self.pdf.laparams
            )
            PDFPageInterpreter(self.pdf.rsrcmgr, device).process_page(self.page_obj)
            self._layout = device.get_result()
        return self._layout


class _Counting(PDFPageAggregatorWithMarkedContent):
    """Draws until there is too much."""

    drawn = 0

    def _count(self) -> None:
        self.drawn += 1
        if self.drawn > MOST_DRAWN:
            raise TooFull

    def render_char(self, *args: Any, **named: Any) -> float:
        self._count()
        return super().render_char(*args, **named)

    def paint_path(self, *args: Any, **named: Any) -> None:
        self._count()
        super().paint_path(*args, **named)

    def begin_figure(self, *args: Any, **named: Any) -> None:
        self._count()
        super().begin_figure(*args, **named)
