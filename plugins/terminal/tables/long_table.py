"""Tables as long as a chip has pins, in the look of the other tables.

``rich.table`` measures and wraps each cell several times over: the pins of a chip take it longer
than all else that ``pinfolio chip`` does. Here each column is measured once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest
from operator import add, sub
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.console import Console

_GAP: Final = "   "
_EDGE: Final = " "
_INSIDE, _OUTSIDE = 2, 1  # spaces beside a cell, without the edge
_NARROWEST: Final = 10
"""The width, with its spaces, that a wrapped column keeps on a narrow terminal."""


def print_long_table(
    console: Console, heading: Sequence[str], rows: Sequence[Sequence[str]], unwrapped: int = 0
) -> None:
    """Print rows below a heading; all columns but the first ``unwrapped`` wrap between words."""
    from rich.cells import cell_len

    columns = zip(heading, *rows, strict=True)
    text_widths = [max(map(cell_len, column)) for column in columns]
    spaces = [_INSIDE] * len(text_widths)
    spaces[0] = spaces[-1] = _OUTSIDE
    padded_widths = [*map(add, text_widths, spaces)]
    edges = len(_EDGE) * (len(text_widths) + 1)
    room = console.width - edges - sum(padded_widths[:unwrapped])
    padded_widths[unwrapped:] = _shrink_widest(padded_widths[unwrapped:], room)
    text_widths = [*map(sub, padded_widths, spaces)]
    table_width = sum(text_widths) + len(_GAP) * (len(text_widths) - 1)
    blank_line = f"{_EDGE}{' ' * table_width}{_EDGE}"
    rule = f"{_EDGE}{'─' * table_width}{_EDGE}"
    heading_lines = _lay_out(heading, text_widths, -1)  # a short heading is close to the rule
    console.out(blank_line, highlight=False)
    console.out("\n".join(heading_lines), style="table.header", highlight=False)
    body = [line for row in rows for line in _lay_out(row, text_widths)]
    console.out("\n".join([rule, *body, blank_line]), highlight=False)


def _shrink_widest(widths: Sequence[int], room: int) -> list[int]:
    """Return the widths with the widest made narrower, as alike as they can be, until all fit."""
    shrunk = list(widths)
    while (excess := sum(shrunk) - room) > 0 and max(shrunk) > _NARROWEST:
        widest = max(shrunk)
        step = widest - max((width for width in shrunk if width < widest), default=_NARROWEST)
        columns = [column for column, width in enumerate(shrunk) if width == widest]
        for left, column in zip(range(len(columns), 0, -1), columns, strict=True):
            cut = min(step, round(excess / left))
            shrunk[column] -= cut
            excess -= cut
    return shrunk


def _lay_out(cells: Sequence[str], widths: Sequence[int], step: int = 1) -> Iterable[str]:
    """Yield the lines of a row, as many as its longest cell takes; -1 fills cells from below."""
    from rich.cells import set_cell_size

    wrapped = [_wrap(cell, width)[::step] for cell, width in zip(cells, widths, strict=True)]
    for line in [*zip_longest(*wrapped, fillvalue="")][::step]:
        yield f"{_EDGE}{_GAP.join(map(set_cell_size, line, widths))}{_EDGE}"


def _wrap(text: str, width: int) -> list[str]:
    """Return a text in lines, broken between words, or inside a word that is too long."""
    from rich.cells import cell_len, chop_cells

    if cell_len(text) <= width:
        return [text]
    lines = [""]
    for word in text.split():
        longer_line = f"{lines[-1]} {word}".lstrip()
        if cell_len(longer_line) <= width:
            lines[-1] = longer_line
        else:
            lines += chop_cells(word, width)
    return list(filter(None, lines))
