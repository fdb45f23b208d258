"""Split a table in plain text into cells: detect encoding, delimiter and quotes.

RFC 4180 describes comma-separated values. Spreadsheets also write semicolons (where the comma is
the decimal sign) and tabs, in UTF-8 with or without byte order mark, UTF-16, or a code page of
Western Europe (CP1252), Russia (CP1251), Japan (Shift-JIS) or China (GBK). Text recognised from a
scan has two or more spaces between its columns.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

from ..errors import Fault, InvalidFileError
from ..scans.doubts import UNKNOWN, judge_rows
from ..scans.scanned_page import ScannedCell

MOST_BYTES: Final = 5_000_000
"""The most bytes of a table in text."""
_MOST_ROWS: Final = 5_000
_MOST_CELLS: Final = 100
_LONGEST_LINE: Final = 11_000
_DELIMITERS: Final = {"\t": "tab", ";": "semicolon", "|": "upright bar", ",": "comma"}
_ALIGNED_CELL: Final = re.compile(r"[^ ]+(?: [^ ]+)*")
_WIDE: Final = re.compile(r"[\u1100-\u115f\u2e80-\ua4cf\uac00-\ud7a3\uf900-\ufaff\uff01-\uff60]")
_FIGURE: Final = re.compile(r"[-+±<>≤≥~]?\s*[0-9]")
_DECIMAL_COMMA: Final = re.compile(r"(?<=[0-9]),(?=[0-9])")
_FEWEST_HEADINGS: Final = 3
_LONGEST_CELL_LINES: Final = 10  # times _LONGEST_LINE stays below the limit of the csv module
_BYTES_LOOKED_AT: Final = 64
_HEAD_BYTES: Final = 2048
_CHARSET: Final = re.compile(rb"<meta[^>]{0,200}charset=[\"']?([\w-]{1,30})", re.IGNORECASE)
_FEWEST_BYTES: Final = 4
_OTHER_FILES: Final = {
    b"\x89PNG": ("a picture", "save it under a name that ends in .png"),
    b"\xff\xd8\xff": ("a picture", "save it under a name that ends in .jpg"),
}


class DraftError(InvalidFileError):
    """A table or data sheet that cannot be drafted, with every fault found in it."""


@dataclass(frozen=True)
class Place:
    """A row of a file, or of one page or one table of it."""

    row: int
    page: int | None = None
    table: str = ""
    scan: tuple[ScannedCell, ...] = field(default=(), compare=False, repr=False)
    """The cells of the row as they were recognised, by column; empty unless it was scanned."""

    def __str__(self) -> str:
        page = "" if self.page is None else f"page {self.page}, "
        return f"{page}{self.row_words}"

    @property
    def row_words(self) -> str:
        """The row without its page: ``row 5``, or ``'Pins', row 5`` of a named table."""
        return f"'{self.table}', row {self.row}" if self.table else f"row {self.row}"

    def find_doubt(self, columns: Iterable[int]) -> str:
        """Return the first doubt of these cells of a scanned row; empty if there is none."""
        doubts = (self.scan[column].doubt for column in columns if column < len(self.scan))
        return next(filter(None, doubts), "")


@dataclass(frozen=True)
class Unread:
    """Text that is not used in the draft: its place, the text, and the reason."""

    place: Place | None
    text: str
    reason: str

    def __str__(self) -> str:
        place = f"{self.place}: " if self.place else ""
        return f"{place}{self.text!r}: {self.reason}"


@dataclass(frozen=True)
class Grid:
    """A table as cells, with the place of each row."""

    rows: tuple[tuple[str, ...], ...]
    places: tuple[Place, ...]
    title: str = ""
    """The words above the table; empty if there are none."""
    headings_repeated: bool = False
    """True if a spanning heading is already repeated in every column that it spans."""

    @property
    def width(self) -> int:
        """Number of cells in the widest row."""
        return max(map(len, self.rows), default=0)

    def judge_scan(self, meanings: Mapping[int, str], first_row: int) -> Grid:
        """Return the grid with scanned cells doubted, or proved, by the sense of their columns.

        ``meanings`` are those of ``doubts`` by column; rows above ``first_row`` are headings.
        """
        scans = [place.scan for place in self.places[first_row:]]
        if not any(scans):
            return self
        by_column = [meanings.get(column, UNKNOWN) for column in range(self.width)]
        rows, places = list(self.rows), list(self.places)
        for index, scan in enumerate(judge_rows(scans, by_column), start=first_row):
            places[index] = replace(places[index], scan=scan)
            rows[index] = tuple(
                scan[column].text if column < len(scan) and scan[column].proof else text
                for column, text in enumerate(rows[index])
            )
        return replace(self, rows=tuple(rows), places=tuple(places))


@dataclass(frozen=True)
class TableText:
    """The cells of a text file, its encoding and delimiter, and rows with an unclosed quote."""

    grid: Grid
    encoding: str
    delimiter: str
    unread: tuple[Unread, ...]


def table_error(
    name: str, found: str, expected: str, write: str | None = None, line: int = 1
) -> DraftError:
    """Return the error that refuses a whole file."""
    return DraftError((Fault(name, line, 1, found, expected, write),))


def read_table_text(data: bytes, name: str) -> TableText:
    """Return the cells of the table in ``data``; ``name`` is the file's name in messages.

    Raises DraftError if the file is empty, too large, or not text.
    """
    _check_is_text(data, name)
    text, encoding = decode_text(data, name)
    lines = text.splitlines()
    if not any(line.strip() for line in lines):
        raise table_error(name, "an empty file", "a table of pins")
    if len(lines) > _MOST_ROWS:
        raise table_error(name, f"{len(lines)} lines", f"a table of at most {_MOST_ROWS} lines")
    if faults := tuple(_list_long_lines(lines, name)):
        raise DraftError(faults)
    delimiter = _find_delimiter(lines)
    unread: list[Unread] = []
    rows = list(_split_records(lines, delimiter, unread))
    grid = Grid(tuple(row for _, row in rows), tuple(Place(line) for line, _ in rows))
    if grid.width > _MOST_CELLS:
        raise table_error(name, f"{grid.width} cells in a row", f"at most {_MOST_CELLS} to a row")
    delimiter_name = _DELIMITERS.get(delimiter or "", "two or more spaces")
    return TableText(grid, encoding, delimiter_name, tuple(unread))


def _list_long_lines(lines: list[str], name: str) -> Iterator[Fault]:
    """Yield a fault for each line that is too long to be a row."""
    for number, line in enumerate(lines, start=1):
        if len(line) > _LONGEST_LINE:
            found = f"{len(line):,} characters in a line"
            expected = f"a line of at most {_LONGEST_LINE:,} characters"
            yield Fault(name, number, 1, found, expected)


def _check_is_text(data: bytes, name: str) -> None:
    if len(data) > MOST_BYTES:
        found_text = f"{len(data) / 1e6:.0f} MB"
        raise table_error(name, found_text, f"a table of at most {MOST_BYTES / 1e6:.0f} MB")
    for start, (found_text, expected) in _OTHER_FILES.items():
        if data.startswith(start):
            raise table_error(name, found_text, f"a table as text; {expected}")


def decode_text(data: bytes, name: str) -> tuple[str, str]:
    """Return the text and the name of its encoding; a page in HTML may name it itself.

    Raises DraftError for bytes that are no text.
    """
    utf16 = _find_utf16_order(data)
    if utf16 is not None:
        try:
            return data.decode(utf16).removeprefix("\ufeff"), "UTF-16"
        except UnicodeDecodeError:
            raise table_error(name, "broken UTF-16", "a table as text") from None
    if b"\x00" in data:
        raise table_error(name, "bytes that are not text", "a table as text, such as CSV")
    named = _CHARSET.search(data[:_HEAD_BYTES])
    own = [named[1].decode("ascii")] if named and is_encoding(named[1].decode("ascii")) else []
    for encoding, encoding_name in (
        ("utf-8-sig", "UTF-8"),
        *((code, code.upper()) for code in own),
    ):
        try:
            return data.decode(encoding), encoding_name
        except UnicodeDecodeError:
            continue
    return _decode_code_page(data, name)


def _decode_code_page(data: bytes, name: str) -> tuple[str, str]:
    """Return the text in the code page that makes ordinary words of it, and the page's name.

    Raises DraftError if there is none, or if two are as likely.
    """
    likely: list[tuple[float, str, str]] = []
    for encoding, (encoding_name, measure) in _CODE_PAGES.items():
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        likely.append((measure(text), encoding_name, text))
    likely.sort(key=lambda candidate: -candidate[0])
    if not likely:
        expected = "a table in UTF-8, CP1252, CP1251, Shift-JIS or GBK"
        raise table_error(name, "bytes that are no text in a known encoding", expected, "UTF-8")
    (share, best, text), rest = likely[0], likely[1:]
    # Signs of measure, such as µ and °, are the same in several pages.
    rest = [candidate for candidate in rest if candidate[2] != text]
    # Accents and signs that each are between letters of ASCII are no Chinese or Japanese words.
    certain = {encoding_name: text for share, encoding_name, text in likely if share == 1.0}
    if "CP1252" in certain and certain.get("CP1251", certain["CP1252"]) == certain["CP1252"]:
        return certain["CP1252"], "CP1252"
    if rest and (share - rest[0][0] < _CLEAR_LEAD or share < _LEAST_SHARE):
        found = f"text that may be {best} or {rest[0][1]}"
        raise table_error(name, found, "--encoding with the right one", f"--encoding {best}")
    return text, best


# Characters of Windows' Western page that tables of that part of the world contain.
_WESTERN: Final = re.compile(
    r"(?<![^\x00-\x7f])[À-ÿµ°±²³·«»§ºª×÷½¼¾ŒœŸ€–—‘’“”„…•™®©\xa0¹¿¡£¥´¨]{1,2}(?![^\x00-\x7f])"
)
# Words in Cyrillic with capitals at the start, or throughout, and signs of measure.
_CYRILLIC: Final = re.compile(r"\b[А-ЯЁ]?[а-яё]{2,}\b|\b[А-ЯЁ]{2,}\b|[µ°±№–—«»…·\xa0]")
# Ideographic punctuation and full-width signs, and the same with kana.
_WIDE_SIGN: Final = re.compile(r"[\u3001-\u3017\uff01-\uff5e]")
_KANA: Final = re.compile(r"[\u3001-\u30ff\uff01-\uff5e]")


def _measure_western(text: str) -> float:
    """Return the share of the characters beyond ASCII that are accents or signs by themselves."""
    return _measure_share(text, sum(len(word) for word in _WESTERN.findall(text)))


def _measure_cyrillic(text: str) -> float:
    return _measure_share(text, sum(len(word) for word in _CYRILLIC.findall(text)))


def _measure_japanese(text: str) -> float:
    """Return the share of kana, full-width signs and first-level kanji of JIS X 0208."""
    return _measure_share(text, _count_frequent(text, _KANA, "cp932", _JIS_FREQUENT))


def _measure_chinese(text: str) -> float:
    """Return the share of punctuation and first-level characters of GB/T 2312."""
    return _measure_share(text, _count_frequent(text, _WIDE_SIGN, "gbk", _GB_FREQUENT))


def _count_frequent(text: str, signs: re.Pattern[str], encoding: str, leads: range) -> int:
    codes = (char.encode(encoding, "ignore") for char in text if ord(char) > _LAST_ASCII)
    return len(signs.findall(text)) + sum(len(code) > 1 and code[0] in leads for code in codes)


def _measure_share(text: str, count: int) -> float:
    others = sum(ord(char) > _LAST_ASCII for char in text)
    return count / others if others else 1.0


_LAST_ASCII: Final = 0x7F
_CLEAR_LEAD: Final = 0.1
_LEAST_SHARE: Final = 0.6
# First-level kanji are in rows 16 to 47 of JIS X 0208, characters of level 1 in rows 16 to 55 of
# GB/T 2312: the first bytes of their codes.
_JIS_FREQUENT: Final = range(0x88, 0x99)
_GB_FREQUENT: Final = range(0xB0, 0xD8)
_CODE_PAGES: Final = {
    "cp1252": ("CP1252", _measure_western),
    "cp1251": ("CP1251", _measure_cyrillic),
    "cp932": ("Shift-JIS", _measure_japanese),
    "gbk": ("GBK", _measure_chinese),
}


def is_encoding(name: str) -> bool:
    """Return True if a name is that of an encoding of text, and not of a transformation."""
    try:
        return bool(codecs.lookup(name)._is_text_encoding)
    except LookupError:
        return False


def _find_utf16_order(data: bytes) -> str | None:
    """Return the UTF-16 codec by byte order mark, else by zeros in every other byte, or None."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    start = data[:_BYTES_LOOKED_AT]
    for half, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if len(start) >= _FEWEST_BYTES and not any(start[half::2]) and any(start):
            return encoding
    return None


def _find_delimiter(lines: list[str]) -> str | None:
    """Return the delimiter that most lines contain equally often; None for spaces."""
    best_delimiter, most_alike = None, 0
    cells = [len(_ALIGNED_CELL.findall(line)) for line in lines if line.strip()]
    # In columns divided by spaces a comma between digits is a decimal comma.
    if 2 * sum(count >= _FEWEST_HEADINGS for count in cells) > len(cells):
        lines = [_DECIMAL_COMMA.sub(".", line) for line in lines]
    for delimiter in _DELIMITERS:
        counts = Counter(line.count(delimiter) for line in lines if delimiter in line)
        alike = max(counts.values(), default=0)
        # A comma inside the prose of a few rows is no delimiter: most lines have to contain it.
        is_common = 2 * sum(counts.values()) > sum(bool(line.strip()) for line in lines)
        if alike > most_alike and is_common:
            best_delimiter, most_alike = delimiter, alike
    return best_delimiter


def _split_records(
    lines: list[str], delimiter: str | None, unread: list[Unread]
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield line number and cells of each row; a quoted cell may span several lines."""
    if delimiter is None:
        yield from enumerate(_split_aligned(lines, unread), start=1)
        return
    usual = Counter(line.count(delimiter) for line in lines).most_common(1)[0][0]
    index = 0
    while index < len(lines):
        length = _count_record_lines(lines[index:], delimiter, usual)
        text, quoted = "\n".join(lines[index : index + max(length, 1)]), length > 0
        if not quoted:
            unread.append(Unread(Place(index + 1), lines[index], "a quote that is not closed"))
        yield index + 1, _split_cells(text, delimiter, quoted)
        index += max(length, 1)


def _split_aligned(lines: Sequence[str], unread: list[Unread]) -> Iterator[tuple[str, ...]]:
    """Yield the cells of each line; those of a row with blanks by their place under the headings.

    A row with figures in no column by their place is listed in ``unread``.
    """
    spans = _find_spans(lines)
    heads = list(_find_aligned_headings(lines, spans))
    # Wide characters take one place or two, as the program that wrote the text counts them.
    measures = [spans, _find_spans([_WIDE.sub(r"\g<0>\g<0>", line) for line in lines])]
    columns = [_measure_tables(measure, heads) for measure in measures]
    for index, (line, head) in enumerate(zip(lines, heads, strict=True)):
        cells = tuple(re.split(r" {2,}|\t", line.strip()))
        is_short = head is not None and 1 < len(cells) < len(spans[head])
        if head is None or not is_short or len(cells) != len(spans[index]):
            yield cells
            continue
        pairs = zip(measures, columns, strict=True)
        likely = [_place_cells(measure[index], tables[head]) for measure, tables in pairs]
        different = {tuple(each) for each in likely if each is not None}
        places = different.pop() if len(different) == 1 else None
        if places is not None:
            placed = dict(zip(places, cells, strict=True))
            yield tuple(placed.get(column, "") for column in range(len(spans[head])))
            continue
        if any(map(_FIGURE.match, cells[1:])):
            reason = "fewer cells than headings, and not each below one"
            unread.append(Unread(Place(index + 1), " | ".join(cells), reason))
        yield cells


def _find_spans(lines: Sequence[str]) -> list[list[tuple[int, int]]]:
    """Return the first and last place of each cell of each line."""
    return [[match.span() for match in _ALIGNED_CELL.finditer(line)] for line in lines]


def _measure_tables(
    spans: Sequence[Sequence[tuple[int, int]]], heads: Sequence[int | None]
) -> dict[int, list[tuple[int, int]]]:
    """Return the columns of each table by the index of its headings."""
    full: dict[int, list[Sequence[tuple[int, int]]]] = defaultdict(list)
    for cells, head in zip(spans, heads, strict=True):
        if head is not None and len(cells) == len(spans[head]):
            full[head].append(cells)
    return {head: _measure_columns(rows) for head, rows in full.items()}


def _find_aligned_headings(
    lines: Sequence[str], spans: Sequence[Sequence[tuple[int, int]]]
) -> Iterator[int | None]:
    """Yield for each line the index of the headings above it, or its own; None before any."""
    head: int | None = None
    for index, (line, cells) in enumerate(zip(lines, spans, strict=True)):
        has_figures = any(_FIGURE.match(line[start:end]) for start, end in cells)
        is_first = index == 0 or not lines[index - 1].strip()
        is_wider = head is None or is_first or len(cells) > len(spans[head])
        if len(cells) >= _FEWEST_HEADINGS and not has_figures and is_wider:
            head = index
        yield head


def _measure_columns(rows: Sequence[Sequence[tuple[int, int]]]) -> list[tuple[int, int]]:
    """Return the first and last place of each column of rows without blanks; none if they mix."""
    columns = [
        (min(s for s, _ in spans), max(e for _, e in spans)) for spans in zip(*rows, strict=True)
    ]
    mixed = any(end > start for (_, end), (start, _) in pairwise(columns))
    return [] if mixed else columns


def _place_cells(
    cells: Sequence[tuple[int, int]], columns: Sequence[tuple[int, int]]
) -> list[int] | None:
    """Return the column below which each cell is printed; None unless each has its own."""
    places: list[int] = []
    for first, last in cells:
        below = [k for k, (start, end) in enumerate(columns) if first < end and start < last]
        if len(below) != 1 or below[0] in places:
            return None
        places += below
    return places


def _count_record_lines(lines: list[str], delimiter: str, usual: int) -> int:
    """Return how many lines the first row spans; 0 if its quote is not closed.

    A quote that would swallow a complete row counts as not closed.
    """
    quotes = 0
    for count, line in enumerate(lines[:_LONGEST_CELL_LINES], start=1):
        is_complete_row = line.count(delimiter) == usual and line.count('"') % 2 == 0
        if count > 1 and is_complete_row and usual > 0:
            return 0
        quotes += line.count('"')
        if quotes % 2 == 0:
            return count
    return 0


def _split_cells(text: str, delimiter: str, quoted: bool) -> tuple[str, ...]:
    if not quoted:
        return tuple(" ".join(cell.replace('"', " ").split()) for cell in text.split(delimiter))
    rows = csv.reader(text.splitlines(keepends=True), delimiter=delimiter)
    return tuple(" ".join(cell.split()) for row in rows for cell in row)
