"""Find tables without rules: words become cells by the white gaps between the columns.

A heading line names the columns. A row begins at a pin number in its column, a row of ratings or
characteristics at one of its limits; lines without continue the nearer row.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from ..scans.scanned_page import ScannedCell, ScannedWord
from .cell_values import is_blank, parse_pin_numbers, split_mark
from .column_headings import match_headings
from .heading_words import Column, is_complete_heading
from .table_reader import group_columns_by_pin
from .text_table import Grid, Place

_SAME_CELL: Final = 0.55  # wider gaps, in type sizes, lie between columns; a space is about 0.28
_SAME_WORD: Final = 0.1
_SAME_LINE: Final = 0.5  # lines less than this apart, in type sizes, are one
_NEAR: Final = 2.2  # lines farther apart than this, in type sizes, do not belong together
_NEAR_HEADING: Final = 3.5
_HEADED_BY: Final = 3  # lines of a heading above and below the one that names the columns


@dataclass(frozen=True)
class Piece:
    """Words close together on a line, with their place in points from the left and the top."""

    text: str
    x0: float
    x1: float
    top: float
    size: float
    scan: tuple[ScannedWord, ...] = ()
    """The words as they were recognised; empty unless the page was scanned."""


Line = tuple[Piece, ...]

_LIMIT: Final = re.compile(r"[-+±<>≤≥~]? ?\.?[0-9]")
_LIMITS: Final = ("dc", "dc_min", "dc_typ", "dc_max", "value", "absolute_maximum")

# The second line of a heading: a limit, a unit, number, a state of the set.
_BELOW: Final = re.compile(
    r"(min|typ|max|nom)(imum|ical|inal)?\.?|no\.?|[\[(]?m?V[\])]?|off|stand-?by"
    r"|(\S+ ){0,3}(signal|bars|mode|playback|recording)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Layout:
    """The extent of the columns of a table in points, and their headings."""

    spans: tuple[tuple[float, float], ...]
    headings: tuple[tuple[str, ...], ...]
    groups: tuple[tuple[int, ...], ...]
    """The columns of each pin that shares a row."""
    anchors: tuple[int, ...]
    """The column of each group that holds the pin numbers; empty if limits begin the rows."""
    limits: tuple[int, ...] = ()
    """The columns of minimum, typical and maximum, where they begin the rows."""
    name: int = -1
    """The column of the names of ratings and characteristics, which may head other rows."""

    def column(self, piece: Piece) -> int:
        """Return the column of a piece: the one it overlaps most, else the nearest."""

        def fit(index: int) -> tuple[float, float]:
            x0, x1 = self.spans[index]
            overlap = min(piece.x1, x1) - max(piece.x0, x0)
            return max(overlap, 0.0), -abs((piece.x0 + piece.x1) - (x0 + x1))

        return max(range(len(self.spans)), key=fit)


def group_into_lines(pieces: Sequence[Piece]) -> list[Line]:
    """Return the words as lines from the top, each line as pieces from the left."""
    rows: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda piece: piece.top):
        if rows and piece.top - rows[-1][0].top < _SAME_LINE * piece.size:
            rows[-1].append(piece)
        else:
            rows.append([piece])
    return [_join_pieces(sorted(row, key=lambda piece: piece.x0)) for row in rows]


def join_line(line: Line) -> str:
    """Return the words of a line."""
    return " ".join(piece.text for piece in line)


def find_unruled_tables(
    lines: Sequence[Line], page: int, previous: Layout | None
) -> tuple[list[Grid], Layout | None]:
    """Return the tables of a page, and the layout that the next page may continue.

    ``previous`` is the layout of the page before: rows that fit it need no heading.
    """
    heads = [index for index, line in enumerate(lines) if _classify_line(line)]
    grids: list[Grid] = []
    layout = previous
    if previous is not None and (not heads or _count_rows(lines[: heads[0]], previous) > 1):
        grids += _build_grids(lines[: heads[0] if heads else None], previous, page, "")
    for place, head in enumerate(heads):
        end = heads[place + 1] if place + 1 < len(heads) else len(lines)
        first, last = _find_heading_lines(lines, head)
        layout = _find_layout(lines, first, last, head, end)
        if layout is not None:
            title = " ".join(map(join_line, lines[max(first - 2, 0) : first]))
            grids += _build_grids(lines[last + 1 : end], layout, page, title)
    return grids, layout


def _join_pieces(row: list[Piece]) -> Line:
    """Return a line with words closer than columns are joined into one piece."""
    pieces: list[Piece] = []
    for piece in row:
        last = pieces[-1] if pieces else None
        if last is not None and piece.x0 - last.x1 < _SAME_CELL * piece.size:
            gap = " " if piece.x0 - last.x1 > _SAME_WORD * piece.size else ""
            text = f"{last.text}{gap}{piece.text}"
            right = max(piece.x1, last.x1)
            pieces[-1] = Piece(text, last.x0, right, last.top, last.size, last.scan + piece.scan)
        else:
            pieces.append(piece)
    return tuple(pieces)


def _classify_line(line: Line) -> str | None:
    """Return "limits" or "pins" if a line names columns of ratings and characteristics, or of pins,
    else None."""
    if len(line) < 2:
        return None
    cells = tuple(piece.text for piece in line)
    headings = match_headings(Grid((cells,), (Place(1),)))
    keys = headings.keys if headings else frozenset()
    is_ratings = "parameter" in keys and bool(keys & {"dc_max", "absolute_maximum"})
    if is_ratings or (headings is not None and headings.is_of_characteristics):
        return "limits"
    return "pins" if "number" in keys else None


def _find_heading_lines(lines: Sequence[Line], head: int) -> tuple[int, int]:
    """Return the first and last line of a heading, of which line ``head`` is known."""
    first = last = head
    while first > 0 and head - first < _HEADED_BY - 1 and _is_upper(lines, first - 1, head):
        first -= 1
    while last + 1 < len(lines) and last - head < _HEADED_BY - 1 and _is_lower(lines, last + 1):
        last += 1
    return first, last


def _is_upper(lines: Sequence[Line], index: int, head: int) -> bool:
    """Return True if a line spans columns above the heading: near, short, not over its first."""
    line, below = lines[index], lines[index + 1]
    is_near = below[0].top - line[0].top < _NEAR_HEADING * line[0].size
    return is_near and len(line) < len(lines[head]) and line[0].x0 > lines[head][0].x1


def _is_lower(lines: Sequence[Line], index: int) -> bool:
    """Return True if a line below the heading holds only min, typ, max, units or states."""
    line, above = lines[index], lines[index - 1]
    is_near = line[0].top - above[0].top < _NEAR_HEADING * line[0].size
    return is_near and all(_BELOW.fullmatch(piece.text) for piece in line)


def _find_layout(
    lines: Sequence[Line], first: int, last: int, head: int, end: int
) -> Layout | None:
    """Return the columns by the gaps that are white in the heading and all rows with a number."""
    widest = max(range(head, last + 1), key=lambda index: len(lines[index]))
    kind = _classify_line(lines[head])
    rows = [line for line in lines[last + 1 : end] if len(line) > 1 and _has_number(line)]
    pieces = [*lines[widest], *(piece for row in rows for piece in row)]
    spans = _merge_spans(pieces)
    # Headings over a column whose cells are all blank are columns of their own.
    apart = [p for p in lines[head] if not any(p.x0 < x1 and x0 < p.x1 for x0, x1 in spans)]
    spans = _merge_spans([*pieces, *apart])
    unnamed = Layout(tuple(spans), (), (), ())
    heading_rows = _build_heading_rows(lines[first : last + 1], unnamed)
    places = tuple(Place(0) for _ in heading_rows)
    headings = match_headings(Grid(heading_rows, places, headings_repeated=True))
    if headings is None:
        return None
    columns: Sequence[Column] = headings.columns
    if kind == "limits":
        limits = tuple(c.index for c in columns if c.key in _LIMITS)
        names = [c.index for c in columns if c.key in ("parameter", "function", "symbol")]
        name = min(names, default=-1)
        everything = (tuple(range(len(spans))),)
        return Layout(unnamed.spans, heading_rows, everything, (), limits, name) if limits else None
    if not any(column.key == "number" for column in columns):
        return None
    groups = group_columns_by_pin(columns)
    anchors = tuple(next(c.index for c in group if c.key == "number") for group in groups)
    indexes = _add_unnamed([tuple(c.index for c in group) for group in groups], len(spans))
    return Layout(unnamed.spans, heading_rows, indexes, anchors)


def _add_unnamed(groups: list[tuple[int, ...]], width: int) -> tuple[tuple[int, ...], ...]:
    """Return the groups with the unnamed columns between and beside them."""
    if len(groups) == 1:
        return (tuple(range(width)),)
    starts = [0, *(min(group) for group in groups[1:])]
    ends = [*starts[1:], width]
    return tuple(tuple(range(start, end)) for start, end in zip(starts, ends, strict=True))


def _has_number(line: Line) -> bool:
    return any(re.search("[0-9]", piece.text) for piece in line)


def _merge_spans(pieces: Sequence[Piece]) -> list[tuple[float, float]]:
    """Return the horizontal extents covered by any piece, from left to right."""
    spans: list[tuple[float, float]] = []
    for x0, x1 in sorted((piece.x0, piece.x1) for piece in pieces):
        if spans and x0 < spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], max(x1, spans[-1][1]))
        else:
            spans.append((x0, x1))
    return spans


def _build_heading_rows(lines: Sequence[Line], layout: Layout) -> tuple[tuple[str, ...], ...]:
    """Return heading lines as cells; the nearest piece of an upper line spans a lower heading."""
    rows: list[tuple[str, ...]] = []
    headed_columns: set[int] = set()
    for line in reversed(lines):
        cells = [""] * len(layout.spans)
        for piece in line:
            index = layout.column(piece)
            cells[index] = f"{cells[index]} {piece.text}".strip()
        line_columns = {index for index, cell in enumerate(cells) if cell}
        for index in headed_columns - line_columns if rows else ():
            if is_complete_heading(rows[-1][index]):
                continue
            middle = sum(layout.spans[index])
            cells[index] = min(line, key=lambda p: abs(p.x0 + p.x1 - middle)).text
        headed_columns |= line_columns
        rows.append(tuple(cells))
    return tuple(reversed(rows))


def _count_rows(lines: Sequence[Line], layout: Layout) -> int:
    """Return how many lines begin a row of this layout, with text beside the number."""
    return sum(len(line) > 1 and bool(_begins_row(line, layout, 0)) for line in lines)


def _begins_row(line: Line, layout: Layout, group: int) -> bool:
    """Return True if a line has the beginning of a row in the anchor column of the group."""
    inside = [piece for piece in line if layout.column(piece) in layout.groups[group]]
    if len(inside) < 2:
        return False
    if layout.limits:
        limits = (piece.text for piece in inside if layout.column(piece) in layout.limits)
        return any(_LIMIT.match(text) for text in limits)
    heads = [piece for piece in line if layout.column(piece) == layout.anchors[group]]
    if len(heads) != 1:
        return False
    return parse_pin_numbers(split_mark(heads[0].text, of_number=True)[0]) is not None


def _build_grids(lines: Sequence[Line], layout: Layout, page: int, title: str) -> list[Grid]:
    """Return the table as grids, one for each of the pins that share a row."""
    return [_build_grid(lines, layout, group, page, title) for group in range(len(layout.groups))]


def _build_grid(lines: Sequence[Line], layout: Layout, group: int, page: int, title: str) -> Grid:
    """Return the rows of one group of columns; lines without a pin number continue a row."""
    chosen = layout.groups[group]
    mine = [tuple(piece for piece in line if layout.column(piece) in chosen) for line in lines]
    starts = [index for index, line in enumerate(mine) if line and _begins_row(line, layout, group)]
    rows: list[list[str]] = [[head[column] for column in chosen] for head in layout.headings]
    places = [Place(0, page)] * len(rows)
    if not starts:
        return Grid((), ())
    owner = _assign_lines(mine, starts, layout, group)
    row_cells: dict[int, tuple[list[str], Place]] = {}
    for number, start in enumerate(starts, start=1):
        own = [piece for index in sorted(owner) if owner[index] == start for piece in mine[index]]
        row_cells[start] = _split_by_column(own, layout, chosen, Place(number, page))
    # A line above the first row may head it, but only where limits begin the rows.
    for index in range(0 if layout.limits else starts[0], starts[-1]):
        if mine[index] and index not in owner:
            number = sum(start <= index for start in starts)
            row_cells[index] = _split_by_column(mine[index], layout, chosen, Place(number, page))
    for _, (cells, place) in sorted(row_cells.items()):
        rows.append(cells)
        places.append(place)
    return Grid(tuple(map(tuple, rows)), tuple(places), title, headings_repeated=True)


def _split_by_column(
    pieces: Sequence[Piece], layout: Layout, chosen: tuple[int, ...], place: Place
) -> tuple[list[str], Place]:
    """Return the pieces as cells of a row, and its place, with the words of a scanned page."""
    cells = [""] * len(chosen)
    scan = [ScannedCell(page=place.page or 0)] * len(chosen)
    for piece in pieces:
        index = chosen.index(layout.column(piece))
        cells[index] = join_cell_lines(cells[index], piece.text)
        scan[index] = scan[index].join(ScannedCell(piece.scan))
    is_scanned = any(piece.scan for piece in pieces)
    return cells, replace(place, scan=tuple(scan)) if is_scanned else place


def _assign_lines(
    mine: Sequence[Line], starts: list[int], layout: Layout, group: int
) -> dict[int, int]:
    """Return, for each line of the table, the line that its row begins with.

    A line continues the nearer of its neighbours, the upper one if both are equally near. A line
    with words in the column of numbers continues none, nor does one that heads rows.
    """
    known = [index for index, line in enumerate(mine) if line]
    owner = {start: start for start in starts}
    loose = [i for i in known if i not in owner and not _is_apart(mine[i], layout, group)]
    for _ in range(len(loose)):
        gaps = {}
        for index in loose:
            position = known.index(index)
            neighbours = known[max(position - 1, 0) : position] + known[position + 1 : position + 2]
            for neighbour in neighbours:
                if index not in owner and neighbour in owner:
                    gap = abs(mine[index][0].top - mine[neighbour][0].top)
                    gaps[(round(gap, 1), neighbour > index, index)] = owner[neighbour]
        if not gaps or min(gaps)[0] > _NEAR * mine[min(gaps)[2]][0].size:
            break
        owner[min(gaps)[2]] = gaps[min(gaps)]
    return owner


def _is_apart(line: Line, layout: Layout, group: int) -> bool:
    """Return True if a line continues no row: it has a number or a limit, or it heads rows."""
    columns = {layout.column(piece) for piece in line}
    if not layout.limits:
        return layout.anchors[group] in columns
    is_heading = columns == {layout.name} and not re.match(r"[a-z(\[]", line[0].text)
    return is_heading or bool(columns & {*layout.limits})


def join_cell_lines(before: str, after: str) -> str:
    """Return two lines of one cell as one text; a hyphen at the end joins the parts of a word."""
    if is_blank(before) or not before:
        return after if not before else f"{before} {after}"
    return f"{before}{after}" if before.endswith("-") else f"{before} {after}"
