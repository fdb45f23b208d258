"""A written table is inert in spreadsheets and reads back as it was."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.note_tables.inert_cells import read_inert, write_inert
from pinfolio.loaders.note_tables.table_rows import read_table
from pinfolio.loaders.note_tables.table_writing import format_csv, format_json_lines

# OWASP, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection
RUNS = ("=", "+", "-", "@", "\t", "\r")
ATTACKS = (
    *("=1+1", "+1", "-2+3", "@SUM(1)", "\t=1", "\r=1", '=HYPERLINK("x")'),
    *("'=1", "''=1", "'", "'a"),
)
CELLS = st.sampled_from(ATTACKS) | st.text(
    st.characters(exclude_categories=["Cs", "Cc"]), max_size=12
).map(str.strip)
ROWS = st.lists(st.fixed_dictionaries({"pin": CELLS.filter(bool), "text": CELLS}), max_size=5)


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_cell_that_would_run_is_text(attack: str) -> None:
    assert not write_inert(attack).startswith(RUNS)
    assert read_inert(write_inert(attack)) == attack


def test_a_cell_of_another_program_keeps_its_apostrophe() -> None:
    assert read_inert("'t was warm") == "'t was warm"


@given(ROWS)
def test_no_cell_of_the_csv_runs(rows: list[dict[str, str]]) -> None:
    text = format_csv(("pin", "text"), rows).removeprefix("\ufeff")
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    assert not any(cell.startswith(RUNS) for cell in cells)


@given(ROWS)
def test_csv_and_json_lines_read_back_as_they_were(rows: list[dict[str, str]]) -> None:
    written = (format_csv(("pin", "text"), rows), format_json_lines(rows))
    for text in written if rows else ():
        table = read_table(text.encode(), "t")
        read = [dict(zip(table.headings, row.cells, strict=True)) for row in table.rows]
        expected = [{name: text.strip() for name, text in row.items()} for row in rows]
        assert [{"text": "", **row} for row in read] == expected
