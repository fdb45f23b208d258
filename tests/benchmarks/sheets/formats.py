"""Grids as files: separated text, Markdown, HTML, a workbook, text from a clipboard."""

from __future__ import annotations

import csv
import html
import io
import unicodedata
from collections.abc import Callable, Iterable

import openpyxl

from sheets.sheet import Grid, Kind

SUFFIXES: dict[Kind, str] = {
    "csv": ".csv",
    "tsv": ".tsv",
    "semicolon": ".csv",
    "markdown": ".md",
    "html": ".html",
    "xlsx": ".xlsx",
    "text": ".txt",
}
_GAP = "   "


def render(grids: Iterable[Grid], kind: Kind, encoding: str = "utf-8") -> bytes:
    """Return the bytes of a file with these grids one below another; workbooks: a sheet each."""
    if kind == "xlsx":
        return _render_workbook(grids)
    text = "\n".join(_WRITERS[kind](grid) for grid in grids)
    if kind == "html":
        text = (
            f'<!DOCTYPE html>\n<html><head><meta charset="utf-8"></head>\n<body>\n{text}</body>\n'
        )
    return text.encode(encoding)


def _separate(separator: str) -> Callable[[Grid], str]:
    def write(grid: Grid) -> str:
        out = io.StringIO()
        writer = csv.writer(out, delimiter=separator, lineterminator="\n")
        writer.writerows([line] for line in grid.before)
        writer.writerows(grid.rows)
        writer.writerows([line] for line in grid.after)
        return out.getvalue()

    return write


def _write_markdown(grid: Grid) -> str:
    lines = [
        "| " + " | ".join(cell.replace("|", r"\|") for cell in row) + " |" for row in grid.rows
    ]
    lines.insert(1, "|" + "---|" * len(grid.rows[0]))
    return "\n".join([*grid.before, "", *lines, "", *grid.after, ""])


def _write_html(grid: Grid) -> str:
    spans = {(row, column): (rows, columns) for row, column, rows, columns in grid.spans}
    covered = {
        (row + down, column + right)
        for row, column, rows, columns in grid.spans
        for down in range(rows)
        for right in range(columns)
        if down or right
    }
    lines = [f"<p>{html.escape(line)}</p>" for line in grid.before] + ["<table>"]
    for row, cells in enumerate(grid.rows):
        tag = "th" if row == 0 else "td"
        parts = []
        for column, cell in enumerate(cells):
            if (row, column) in covered:
                continue
            rows, columns = spans.get((row, column), (1, 1))
            size = (f' rowspan="{rows}"' if rows > 1 else "") + (
                f' colspan="{columns}"' if columns > 1 else ""
            )
            parts.append(f"<{tag}{size}>{html.escape(cell)}</{tag}>")
        lines.append("<tr>" + "".join(parts) + "</tr>")
    lines += ["</table>"] + [f"<p>{html.escape(line)}</p>" for line in grid.after]
    return "\n".join(lines) + "\n"


def _write_aligned(grid: Grid) -> str:
    count = max(map(len, grid.rows))
    rows = [row + [""] * (count - len(row)) for row in grid.rows]
    # A group row may run over the columns beside it, so it does not widen its own.
    widths = [
        max([_measure(row[column]) for row in rows if sum(map(bool, row)) > 1], default=0)
        for column in range(count)
    ]
    lines = [
        _GAP.join(
            cell + " " * (width - _measure(cell)) for cell, width in zip(row, widths, strict=True)
        ).rstrip()
        for row in rows
    ]
    return "\n".join([*grid.before, *lines, *grid.after, ""])


def _measure(text: str) -> int:
    """Return columns on a screen: East Asian wide characters take two (Unicode Annex 11)."""
    return sum(2 if unicodedata.east_asian_width(each) in "WF" else 1 for each in text)


def _render_workbook(grids: Iterable[Grid]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for number, grid in enumerate(grids, 1):
        page = book.create_sheet(f"Sheet{number}")
        for line in grid.before:
            page.append([line])
        for row in grid.rows:
            page.append([_as_number(cell) for cell in row])
        for line in grid.after:
            page.append([line])
        top = len(grid.before) + 1
        for row_number, column, rows, columns in grid.spans:
            page.merge_cells(
                start_row=top + row_number,
                start_column=column + 1,
                end_row=top + row_number + rows - 1,
                end_column=column + columns,
            )
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _as_number(cell: str) -> str | int | float | None:
    """Return plain numbers as a workbook keeps them; a decimal comma is only its display."""
    try:
        number = float(cell.replace(",", "."))
    except ValueError:
        return cell or None
    return int(number) if number.is_integer() and "." not in cell and "," not in cell else number


_WRITERS: dict[Kind, Callable[[Grid], str]] = {
    "csv": _separate(","),
    "tsv": _separate("\t"),
    "semicolon": _separate(";"),
    "markdown": _write_markdown,
    "html": _write_html,
    "text": _write_aligned,
}
