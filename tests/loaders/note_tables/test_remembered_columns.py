"""The columns of a table are remembered in the shop's folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.note_tables.remembered_columns import (
    RememberedTable,
    find_remembered,
    format_columns,
    load_columns,
    locate_columns,
)
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=80)
TABLE = RememberedTable(("Pin", "Spannung"), ("pin", "dc"), {"chip": "TQZ5752"})


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return init_shop(tmp_path_factory.mktemp("shops") / "a", "bench-a")


@given(st.lists(st.tuples(TEXTS, TEXTS), max_size=5), st.dictionaries(TEXTS, TEXTS, max_size=3))
def test_they_read_back_whatever_the_headings(
    shop: Shop, columns: list[tuple[str, str]], values: dict[str, str]
) -> None:
    headings, fields = tuple(h for h, _ in columns), tuple(f for _, f in columns)
    table = RememberedTable(headings, fields, values)
    locate_columns(shop).write_text(format_columns(table, []), encoding="utf-8", newline="\n")
    assert load_columns(shop) == [table]


def test_the_latest_replaces_the_one_of_the_same_headings() -> None:
    other = RememberedTable(("Pin",), ("pin",))
    newer = RememberedTable(TABLE.headings, ("pin", ""))
    text = format_columns(newer, [other, TABLE])
    assert text.count("[[table]]") == 2
    assert find_remembered([newer, other], TABLE.headings) == newer
    assert find_remembered([other], TABLE.headings) is None


@pytest.mark.parametrize(
    "text",
    [
        *("table = 3", "[[table]]\n", "[[table]]\nheadings = ['a']\nfields = []", "table = [3]"),
        *("\xff", "[[table]]\nheadings = [1]\nfields = [2]", "[[table]]\nheadings = 'a'"),
    ],
)
def test_a_faulty_file_is_named_with_its_remedy(shop: Shop, text: str) -> None:
    locate_columns(shop).write_text(text, encoding="latin-1")
    with pytest.raises(ShopError, match=r"import-columns.toml: .*; remove the file, and the"):
        load_columns(shop)


def test_without_a_file_nothing_is_remembered(tmp_path: Path) -> None:
    assert load_columns(init_shop(tmp_path / "b", "bench-b")) == []
