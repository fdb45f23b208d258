"""Write the rows of a table of notes as CSV, inert in spreadsheets, or as JSON Lines."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from .inert_cells import write_inert

_BYTE_ORDER_MARK: Final = "\ufeff"  # by which spreadsheets know UTF-8


def format_csv(headings: Sequence[str], rows: Iterable[Mapping[str, str]]) -> str:
    """Return rows as CSV (RFC 4180) in UTF-8 with a byte order mark, no cell of which runs."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(map(write_inert, headings))
    writer.writerows([write_inert(row.get(name, "")) for name in headings] for row in rows)
    return _BYTE_ORDER_MARK + text.getvalue()


def format_json_lines(rows: Iterable[Mapping[str, str]]) -> str:
    """Return rows as JSON Lines: an object a line, empty values left out."""
    objects = ({name: text for name, text in row.items() if text} for row in rows)
    return "".join(json.dumps(each, ensure_ascii=False) + "\n" for each in objects)
