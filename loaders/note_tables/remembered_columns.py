"""The columns of tables that were imported before, remembered in the shop's folder.

``import-columns.toml`` holds, for each row of headings, the field that each column was read as,
and values for fields without a column.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from ..shop.shop_folder import Shop, ShopError
from ..shop.toml_text import parse_toml
from ..system.regular_files import read_regular

FILE: Final = "import-columns.toml"
_MOST_BYTES: Final = 1_000_000
_MOST_TABLES: Final = 50
_HEAD: Final = "# How tables of notes were read: the field of each heading, '' for none.\n"


@dataclass(frozen=True)
class RememberedTable:
    """How one sort of table is read."""

    headings: tuple[str, ...]
    fields: tuple[str, ...]
    """The field of each column, empty for a column that is left out."""
    values: Mapping[str, str] = field(default_factory=dict)
    """Values of fields where the table has none."""


def locate_columns(shop: Shop) -> Path:
    """Return the path of the file, which need not exist."""
    return shop.folder / FILE


def load_columns(shop: Shop) -> list[RememberedTable]:
    """Return the remembered tables, the latest first. Raises ShopError for a faulty file."""
    path = locate_columns(shop)
    try:
        tables = parse_toml(read_regular(path, _MOST_BYTES).decode()).get("table", [])
        return [_read_table(table) for table in tables]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise ShopError(f"{path}: cannot be read: {error.strerror}") from None
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        remedy = "remove the file, and the columns are asked again"
        raise ShopError(f"{path}: not a list of columns ({error}); {remedy}") from None


def find_remembered(
    tables: Sequence[RememberedTable], headings: Sequence[str]
) -> RememberedTable | None:
    """Return how a table with these headings was read; None if never."""
    return next((table for table in tables if table.headings == tuple(headings)), None)


def format_columns(latest: RememberedTable, tables: Sequence[RememberedTable]) -> str:
    """Return the text of the file with ``latest`` first and without an older one like it."""
    others = [table for table in tables if table.headings != latest.headings]
    return _HEAD + "".join(map(_format_table, [latest, *others][:_MOST_TABLES]))


def _read_table(table: Mapping[str, Any]) -> RememberedTable:
    headings, fields, values = table["headings"], table["fields"], table.get("values", {})
    texts = [*headings, *fields, *values, *values.values()]
    if not all(isinstance(text, str) for text in texts) or len(headings) != len(fields):
        raise ValueError("headings and fields are lists of text of one length")
    return RememberedTable(tuple(headings), tuple(fields), dict(values))


def _format_table(table: RememberedTable) -> str:
    lists = (("headings", table.headings), ("fields", table.fields))
    lines = [f"{name} = [\n{_format_texts(texts)}]" for name, texts in lists]
    values = [f"{_quote(name)} = {_quote(text)}" for name, text in table.values.items()]
    return "\n".join(["", "[[table]]", *lines, "[table.values]", *values, ""])


def _format_texts(texts: Sequence[str]) -> str:
    """Return texts one to a line: ``parse_toml`` takes no line of many dots."""
    return "".join(f"  {_quote(text)},\n" for text in texts)


def _quote(text: str) -> str:
    """Return a basic string of TOML, which escapes as JSON does, and DEL besides."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
