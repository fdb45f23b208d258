"""Tables without rules: words on a page become cells by the white gaps between the columns.

A heading line names the columns; a row begins where a pin number (or, of ratings, a limit) stands
in its column; lines without one go on the row they are nearer to.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .cell_values import is_blank, pin_numbers, without_mark
from .column_headings import Column, named_headings, names_column
from .pin_table import pins_beside
from .text_table import Grid, Place

_SAME_CELL: Final = 0.55  # wider gaps, in type sizes, lie between columns; a space is about 0.28
_SAME_LINE: Final = 0.5  # lines less than this apart, in type sizes, are one
_NEAR: Final = 2.2  # lines farther apart than this, in type sizes, do not belong together
_NEAR_HEADING: Final = 3.5
_HEADED_BY: Final = 3  # lines of a heading above and below the one that names the columns


@dataclass(frozen=True)
class Piece:
    """Words that stand together on a line, in points from the left and from the top."""

    text: str
    x0: float
    x1: float
    top: float
    size: float


Line = tuple[Piece, ...]

# What stands below a heading: a limit, a unit, number, a state of the set.
_BELOW: Final = re.compile(
    r"(min|typ|max|nom)(imum|ical|inal)?\.?|no\.?|[\[(]?m?V[\])]?|off|stand-?by"
    r"|(\S+ ){0,3}(signal|bars|mode|playback|recording)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Layout:
    """Where the columns of a table lie, and what heads them."""

    spans: tuple[tuple[float, float], ...]
    headings: tuple[tuple[str, ...], ...]
    groups: tuple[tuple[int, ...], ...]
    """Columns of each pin in a row."""
    anchors: tuple[int, ...]
    """The column of each group that a row begins with."""

    def column(self, piece: Piece) -> int:
        """The column a piece lies in: the one it covers most of, else the nearest."""

        def fit(index: int) -> tuple[float, float]:
            x0, x1 = self.spans[index]
            overlap = min(piece.x1, x1) - max(piece.x0, x0)
            return max(overlap, 0.0), -abs((piece.x0 + piece.x1) - (x0 + x1))

        return max(range(len(self.spans)), key=fit)


def lines_of(pieces: Sequence[Piece]) -> list[Line]:
    """Words as lines from the top, each line as pieces from the left."""
    rows: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda piece: piece.top):
        if rows and piece.top - rows[-1][0].top < _SAME_LINE * piece.size:
            rows[-1].append(piece)
        else:
            rows.append([piece])
    return [_joined(sorted(row, key=lambda piece: piece.x0)) for row in rows]


def text_of(line: Line) -> str:
    """The words of a line."""
    return " ".join(piece.text for piece in line)


def unruled_tables(
    lines: Sequence[Line], page: int, before: Layout | None
) -> tuple[list[Grid], Layout | None]:
    """The tables of a page, and the layout that the next page may go on with.

    ``before`` is the layout of the page before: rows that stand in it need no heading again.
    """
    heads = [index for index, line in enumerate(lines) if _kind_of_heading(line)]
    grids: list[Grid] = []
    layout = before
    if before is not None and (not heads or _numbered(lines[: heads[0]], before) > 1):
        grids += _grids(lines[: heads[0] if heads else None], before, page, "")
    for place, head in enumerate(heads):
        end = heads[place + 1] if place + 1 < len(heads) else len(lines)
        first, last = _heading_lines(lines, head)
        layout = _layout(lines, first, last, head, end)
        if layout is not None:
            title = " ".join(map(text_of, lines[max(first - 2, 0) : first]))
            grids += _grids(lines[last + 1 : end], layout, page, title)
    return grids, layout


def _joined(row: list[Piece]) -> Line:
    """Words nearer to each other than columns are, as one piece."""
    joined: list[Piece] = []
    for piece in row:
        last = joined[-1] if joined else None
        if last is not None and piece.x0 - last.x1 < _SAME_CELL * piece.size:
            gap = " " if piece.x0 - last.x1 > 0.1 * piece.size else ""
            text = f"{last.text}{gap}{piece.text}"
            joined[-1] = Piece(text, last.x0, max(piece.x1, last.x1), last.top, last.size)
        else:
            joined.append(piece)
    return tuple(joined)


def _kind_of_heading(line: Line) -> str | None:
    """Whether a line names the columns of pins, or of ratings."""
    if len(line) < 2:
        return None
    cells = tuple(piece.text for piece in line)
    found = named_headings(Grid((cells,), (Place(1),)))
    keys = {column.key for column in found.columns} if found else set()
    if "number" in keys:
        return "pins"
    return "ratings" if "parameter" in keys and keys & {"dc_max", "absolute_maximum"} else None


def _heading_lines(lines: Sequence[Line], head: int) -> tuple[int, int]:
    """The first and last line of a heading of which one line is known."""
    first = last = head
    while first > 0 and head - first < _HEADED_BY - 1 and _is_upper(lines, first - 1, head):
        first -= 1
    while last + 1 < len(lines) and last - head < _HEADED_BY - 1 and _is_lower(lines, last + 1):
        last += 1
    return first, last


def _is_upper(lines: Sequence[Line], index: int, head: int) -> bool:
    """Whether a line spans columns above the heading: near, short, and not over its first."""
    line, below = lines[index], lines[index + 1]
    near = below[0].top - line[0].top < _NEAR_HEADING * line[0].size
    return near and len(line) < len(lines[head]) and line[0].x0 > lines[head][0].x1


def _is_lower(lines: Sequence[Line], index: int) -> bool:
    """Whether a line of min, typ, max, units or states stands below the heading."""
    line, above = lines[index], lines[index - 1]
    near = line[0].top - above[0].top < _NEAR_HEADING * line[0].size
    return near and all(_BELOW.fullmatch(piece.text) for piece in line)


def _layout(lines: Sequence[Line], first: int, last: int, head: int, end: int) -> Layout | None:
    """Columns by the gaps that stay white in the heading and in all rows that have a number."""
    widest = max(range(head, last + 1), key=lambda index: len(lines[index]))
    kind = _kind_of_heading(lines[head])
    rows = [line for line in lines[last + 1 : end] if len(line) > 1 and _has_number(line)]
    pieces = [*lines[widest], *(piece for row in rows for piece in row)]
    spans = _covered(pieces)
    apart = [p for p in lines[head] if not any(p.x0 < x1 and x0 < p.x1 for x0, x1 in spans)]
    spans = _covered([*pieces, *apart])
    plain = Layout(tuple(spans), (), (), ())
    headings = _heading_rows(lines[first : last + 1], plain)
    grid = Grid(headings, tuple(Place(0) for _ in headings), spread=True)
    found = named_headings(grid)
    if found is None:
        return None
    columns: Sequence[Column] = found.columns
    if kind == "ratings":
        limits = [c.index for c in columns if c.key in ("dc_max", "absolute_maximum")]
        return Layout(plain.spans, headings, (tuple(range(len(spans))),), tuple(limits[:1]))
    if not any(column.key == "number" for column in columns):
        return None
    groups = pins_beside(columns)
    anchors = tuple(next(c.index for c in group if c.key == "number") for group in groups)
    beside = _with_unnamed([tuple(c.index for c in group) for group in groups], len(spans))
    return Layout(plain.spans, headings, beside, anchors)


def _with_unnamed(groups: list[tuple[int, ...]], width: int) -> tuple[tuple[int, ...], ...]:
    """Groups of columns with the unnamed columns between and beside them."""
    if len(groups) == 1:
        return (tuple(range(width)),)
    starts = [0, *(min(group) for group in groups[1:])]
    ends = [*starts[1:], width]
    return tuple(tuple(range(start, end)) for start, end in zip(starts, ends, strict=True))


def _has_number(line: Line) -> bool:
    return any(re.search("[0-9]", piece.text) for piece in line)


def _covered(pieces: Sequence[Piece]) -> list[tuple[float, float]]:
    """The stretches from left to right that some piece covers."""
    spans: list[tuple[float, float]] = []
    for x0, x1 in sorted((piece.x0, piece.x1) for piece in pieces):
        if spans and x0 < spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], max(x1, spans[-1][1]))
        else:
            spans.append((x0, x1))
    return spans


def _heading_rows(lines: Sequence[Line], layout: Layout) -> tuple[tuple[str, ...], ...]:
    """Heading lines as cells; above a heading, the nearest piece of the line stands over it."""
    rows: list[tuple[str, ...]] = []
    headed: set[int] = set()
    for line in reversed(lines):
        cells = [""] * len(layout.spans)
        for piece in line:
            at = layout.column(piece)
            cells[at] = f"{cells[at]} {piece.text}".strip()
        here = {at for at, cell in enumerate(cells) if cell}
        for at in headed - here if rows else ():
            if names_column(rows[-1][at]):
                continue
            middle = sum(layout.spans[at])
            cells[at] = min(line, key=lambda p: abs(p.x0 + p.x1 - middle)).text
        headed |= here
        rows.append(tuple(cells))
    return tuple(reversed(rows))


def _numbered(lines: Sequence[Line], layout: Layout) -> int:
    """How many lines begin a row of this layout, with something beside the number."""
    return sum(len(line) > 1 and bool(_begins(line, layout, 0)) for line in lines)


def _begins(line: Line, layout: Layout, group: int) -> bool:
    """Whether a line has, in the first column of the group, what a row begins with."""
    anchor = layout.anchors[group]
    heads = [piece for piece in line if layout.column(piece) == anchor]
    inside = [piece for piece in line if layout.column(piece) in layout.groups[group]]
    if len(heads) != 1 or len(inside) < 2:
        return False
    text = without_mark(heads[0].text, of_number=True)[0]
    ratings = len(layout.anchors) == 1 and not _heads_numbers(layout, anchor)
    return bool(re.match(r"[-+]?[0-9]", text)) if ratings else pin_numbers(text) is not None


def _heads_numbers(layout: Layout, anchor: int) -> bool:
    found = named_headings(Grid(layout.headings, tuple(Place(0) for _ in layout.headings)))
    return found is not None and any(c.index == anchor and c.key == "number" for c in found.columns)


def _grids(lines: Sequence[Line], layout: Layout, page: int, title: str) -> list[Grid]:
    """The table as grids, one for each pin that a row holds side by side."""
    return [_grid(lines, layout, group, page, title) for group in range(len(layout.groups))]


def _grid(lines: Sequence[Line], layout: Layout, group: int, page: int, title: str) -> Grid:
    chosen = layout.groups[group]
    mine = [tuple(piece for piece in line if layout.column(piece) in chosen) for line in lines]
    starts = [index for index, line in enumerate(mine) if line and _begins(line, layout, group)]
    rows: list[list[str]] = [[head[column] for column in chosen] for head in layout.headings]
    places = [Place(0, page)] * len(rows)
    if not starts:
        return Grid((), ())
    owner = _owners(mine, starts, layout, group)
    for number, start in enumerate(starts, start=1):
        cells = [""] * len(chosen)
        for index in sorted(owner):
            if owner[index] == start:
                for piece in mine[index]:
                    at = chosen.index(layout.column(piece))
                    cells[at] = joined_text(cells[at], piece.text)
        rows.append(cells)
        places.append(Place(number, page))
    for index in range(starts[0], starts[-1]):
        if mine[index] and index not in owner:
            rows.append(_by_column(mine[index], layout, chosen))
            places.append(Place(sum(start <= index for start in starts), page))
    return Grid(tuple(map(tuple, rows)), tuple(places), title, spread=True)


def _by_column(line: Line, layout: Layout, chosen: tuple[int, ...]) -> list[str]:
    cells = [""] * len(chosen)
    for piece in line:
        at = chosen.index(layout.column(piece))
        cells[at] = joined_text(cells[at], piece.text)
    return cells


def _owners(mine: Sequence[Line], starts: list[int], layout: Layout, group: int) -> dict[int, int]:
    """For each line of the table, the line that its row begins with.

    A line goes on the nearer of its neighbours, the one above when they are equally near; one
    that has words in the column of numbers is no continuation.
    """
    known = [index for index, line in enumerate(mine) if line]
    owner = {start: start for start in starts}
    anchor = layout.anchors[group]
    loose = [
        index
        for index in known
        if index not in owner and all(layout.column(p) != anchor for p in mine[index])
    ]
    for _ in range(len(loose)):
        gaps = {}
        for index in loose:
            at = known.index(index)
            for beside in known[max(at - 1, 0) : at] + known[at + 1 : at + 2]:
                if index not in owner and beside in owner:
                    gap = abs(mine[index][0].top - mine[beside][0].top)
                    gaps[(round(gap, 1), beside > index, index)] = owner[beside]
        if not gaps or min(gaps)[0] > _NEAR * mine[min(gaps)[2]][0].size:
            break
        owner[min(gaps)[2]] = gaps[min(gaps)]
    return owner


def joined_text(before: str, after: str) -> str:
    """Two lines of one cell as one text; a word divided by a hyphen is joined."""
    if is_blank(before) or not before:
        return after if not before else f"{before} {after}"
    return f"{before}{after}" if before.endswith("-") else f"{before} {after}"
