"""Text of an export as plain UTF-8: encodings, quotes, minus signs, units in cells, long lines."""

from __future__ import annotations

import codecs
import re
from typing import Final

from .capture_units import SECONDS, VOLTS, parse_unit

_BOM_BYTES: Final = 64  # enough to see whether every other byte is zero
_WIDE_BOMS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# The bytes of a micro sign before s or V, which tell the code page of a heading.
_MICRO_IN: Final = {
    "cp1252": rb"\xb5",
    "cp850": rb"\xe6",
    "cp932": rb"\x83\xca",
    "gb18030": rb"\xa6\xcc",
}
_WESTERN: Final = "cp1252"
_HEADER_BYTES: Final = 20_000
_TRUE_MINUS: Final = "\N{MINUS SIGN}".encode()
_QUOTED_LINE: Final = re.compile(rb'"[^"\n]*"(?:,"[^"\n]*")+,?\r?')
_CELL: Final = re.compile(r"\s*([+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*([a-zA-Zµμ]+)\s*")
_EXAMINED: Final = 20  # lines that tell how all are written
_EXAMINED_BYTES: Final = 200 * _EXAMINED
_LONG_LINE: Final = 30  # fields of a line that is a channel of its own
_MOST_CHANNEL_LINES: Final = 5 * _EXAMINED


def convert_to_utf8(data: bytes) -> bytes:
    """Return the text as UTF-8 without a byte order mark, lines ending in LF or CR LF.

    Raises UnicodeDecodeError for broken UTF-16.
    """
    # UTF-16 without a mark: the high bytes of plain text are zero, first or second of each pair.
    zero_half = next(
        (half for half in (0, 1) if len(data) > 3 and not any(data[half:_BOM_BYTES:2])), None
    )
    if data.startswith(_WIDE_BOMS):
        data = data.decode("utf-16").encode()
    elif zero_half is not None:
        data = data.decode("utf-16-be" if zero_half == 0 else "utf-16-le").encode()
    data = data.removeprefix(codecs.BOM_UTF8)
    if not data.isascii():
        data = _recode(data).replace(_TRUE_MINUS, b"-")
    return data.replace(b"\r", b"\n") if b"\n" not in data else data


def _recode(data: bytes) -> bytes:
    """Return the bytes of a code page as UTF-8; UTF-8 is left as it is."""
    try:
        data.decode()
    except UnicodeDecodeError:
        return data.decode(_find_code_page(data[:_HEADER_BYTES]), errors="replace").encode()
    return data


def _find_code_page(header: bytes) -> str:
    """Return the code page in which a heading has a micro sign before s or V; else Western."""
    for code_page, micro in _MICRO_IN.items():
        if re.search(rb"(?<![A-Za-z])" + micro + rb"[sSV](?![A-Za-z])", header):
            return code_page
    return _WESTERN


def simplify_cells(text: bytes) -> bytes:
    """Return the text with bare numbers in its cells: no quotes, no units, no lines of samples.

    Text that has none of these is returned as it is.
    """
    # The last line of the excerpt may be cut off.
    whole_lines = text[:_EXAMINED_BYTES].split(b"\n")[:-1] or [text]
    examined = [line for line in whole_lines if line.strip()][-_EXAMINED:]
    if examined and all(_QUOTED_LINE.fullmatch(line) for line in examined):
        text = text.replace(b'","', b'";"')
    # The first line may be the headings.
    rows = [line.decode(errors="replace") for line in examined[1:]]
    if rows and all(_has_units(row) for row in rows):
        return _strip_units(text)
    return _transpose_channels(text)


def _split(line: str) -> list[str]:
    return line.strip().rstrip(",;\t").split(_find_separator(line))


def _find_separator(line: str) -> str:
    return next((sign for sign in ("\t", ";") if sign in line), ",")


def _has_units(line: str) -> bool:
    """Return whether every cell is a number with a unit of time or volts."""
    cells = [_CELL.fullmatch(cell) for cell in _split(line)]
    return all(cell and parse_unit(cell[2]) in {**SECONDS, **VOLTS} for cell in cells)


def _strip_units(text: bytes) -> bytes:
    """Return the text with numbers in seconds and volts, and a line of these units above them."""
    rows: list[str] = []
    for line in text.decode(errors="replace").splitlines():
        if not line.strip() or not _has_units(line):
            rows.append(line)
            continue
        separator = _find_separator(line)
        cells = [cell for cell in map(_CELL.fullmatch, _split(line)) if cell]
        units = [parse_unit(cell[2]) for cell in cells]
        # The line of units is needed once, above the first numbers.
        if not any(_is_units_line(row) for row in rows):
            rows.append(separator.join("s" if unit in SECONDS else "V" for unit in units))
        figures = [float(cell[1].replace(",", ".")) for cell in cells]
        factors = [{**SECONDS, **VOLTS}[unit] for unit in units]
        scaled = [figure * factor for figure, factor in zip(figures, factors, strict=True)]
        rows.append(separator.join(f"{value:.12g}" for value in scaled))
    return ("\n".join(rows) + "\n").encode()


def _is_units_line(row: str) -> bool:
    return all(cell in ("s", "V") for cell in _split(row))


def _transpose_channels(text: bytes) -> bytes:
    """Return text with a line for each sample, where each channel is one long line.

    Other text, and channels of different lengths, are returned as they are.
    """
    line_count = text.count(b"\n")
    has_long_lines = line_count > 0 and len(text) >= line_count * _LONG_LINE
    if not has_long_lines or line_count > _MOST_CHANNEL_LINES:
        return text
    lines_above: list[str] = []
    channels: list[tuple[str, list[str]]] = []  # name and samples
    for line in text.decode(errors="replace").splitlines():
        first, *cells = _split(line)
        if len(cells) < _LONG_LINE or not all(_is_number(cell) for cell in cells):
            lines_above.append(line)
        elif _is_number(first):
            channels.append(("", [first, *cells]))
        else:
            channels.append((first, cells))
    names = [name for name, _ in channels]
    samples = [cells for _, cells in channels]
    if len({len(cells) for cells in samples}) != 1:
        return text
    rows = ["\t".join(row) for row in zip(*samples, strict=True)]
    return "\n".join([*lines_above, "\t".join(names), *rows, ""]).encode()


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
