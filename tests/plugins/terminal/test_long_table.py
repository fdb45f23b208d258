"""A long table is printed as rich prints a table, which serves as the outside reference."""

from __future__ import annotations

from io import StringIO

from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.plugins.terminal.tables.long_table import print_long_table
from rich import box
from rich.console import Console
from rich.table import Table

WORDS = ("to", "input", "composite", "4.2 V", "µs", "stabilised", "同期", "oscillator,", "")
CELL = st.lists(st.sampled_from(WORDS), max_size=8).map(
    lambda words: " ".join(" ".join(words).split())
)
NAME = st.sampled_from(("Pin", "Function", "DC, colour bars", "Test condition, note"))


def open_page(columns: int) -> Console:
    return Console(file=StringIO(), width=columns, highlight=False, markup=False, emoji=False)


def print_with_rich(
    console: Console, heading: list[str], rows: list[list[str]], unwrapped: int
) -> None:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    for column, name in enumerate(heading):
        table.add_column(name, no_wrap=column < unwrapped, overflow="fold")
    for row in rows:
        table.add_row(*row)
    console.print(table)


@settings(max_examples=60, deadline=None)
@given(st.data(), st.integers(2, 5), st.integers(80, 130))
def test_a_long_table_looks_as_rich_prints_it(data: st.DataObject, width: int, page: int) -> None:
    heading = data.draw(st.lists(NAME, min_size=width, max_size=width))
    row = st.lists(CELL, min_size=width, max_size=width)
    rows = [[str(number), *cells[1:]] for number, cells in enumerate(data.draw(st.lists(row)))]
    ours, reference = open_page(page), open_page(page)
    print_long_table(ours, heading, rows, unwrapped=1)
    print_with_rich(reference, heading, rows, unwrapped=1)
    assert ours.file.getvalue() == reference.file.getvalue()


def test_a_word_wider_than_its_column_is_broken_and_stays_whole() -> None:
    console = open_page(30)
    print_long_table(console, ["Pin", "Function"], [["1", "a" * 40]], unwrapped=1)
    printed = console.file.getvalue()
    assert printed.count("a") == 40
    assert all(len(line) == 30 for line in printed.splitlines())


def test_on_a_narrow_terminal_columns_keep_a_readable_width() -> None:
    console = open_page(20)
    print_long_table(console, ["Pin", "Function", "Signal"], [["1", "to " * 9, "of " * 9]], 1)
    assert any("to to to   of of of" in line for line in console.file.getvalue().splitlines())
