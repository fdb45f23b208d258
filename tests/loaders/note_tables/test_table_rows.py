"""Tables of notes are read whatever program wrote them, and hostile ones refused."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.note_tables.note_table import NoteTableError
from pinfolio.loaders.note_tables.table_rows import load_table, read_table

HEADINGS = ("pin", "text")


def read_rows(data: bytes) -> list[tuple[int, tuple[str, ...]]]:
    table = read_table(data, "t.csv")
    assert table.headings == HEADINGS
    assert not any(row.fault for row in table.rows)
    return [(row.line, row.cells) for row in table.rows]


def make_workbook(*sheets: list[list[object]]) -> bytes:
    """A workbook as openpyxl writes it."""
    book, file = openpyxl.Workbook(), io.BytesIO()
    book.remove(book.active)
    for number, rows in enumerate(sheets, start=1):
        sheet = book.create_sheet(f"Sheet {number}")
        for row in rows:
            sheet.append(row)
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_delimiters_line_ends_and_encodings_are_detected(
    sign: str, end: str, encoding: str
) -> None:
    lines = [f"pin{sign}text", f"3{sign}5 µs late", "", f'4{sign}"a ""b""{sign}c"']
    data = end.join(lines).encode(encoding)
    assert read_rows(data) == [(2, ("3", "5 µs late")), (4, ("4", f'a "b"{sign}c'))]


def test_a_cell_may_have_several_lines_and_a_row_fewer_cells() -> None:
    data = b'\n\npin,text\n3,"Warm,\n- twice"\n4\n'
    assert read_rows(data) == [(4, ("3", "Warm,\n- twice")), (6, ("4", ""))]


def test_json_lines_have_an_object_a_line() -> None:
    lines = b'{"pin": 3, "text": "Warm."}\n\n{"text": null, "pin": "4"}\n'
    assert read_rows(lines) == [(1, ("3", "Warm.")), (3, ("4", ""))]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ('{"pin": [3]}', "'pin' is not text"),
        ('{"pin": 3, "pin": 4}', "a key is there twice"),
        ("[1]", "not an object"),
        ("{", "not JSON"),
        ("[" * 5_000, "not JSON"),
        ('{"pin": "\\ud800"}', "half a character"),
        ('{"pin": "' + "x" * 10_001 + '"}', "more than 10,000 characters"),
    ],
)
def test_a_faulty_line_of_json_is_a_fault_of_that_row(line: str, fault: str) -> None:
    table = read_table(f'{{"pin": 1}}\n{line}\n'.encode(), "t.jsonl")
    assert [bool(row.fault) for row in table.rows] == [False, True]
    assert table.rows[1].fault.startswith(fault) or fault in table.rows[1].fault


def test_a_workbook_gives_days_and_figures_as_people_write_them() -> None:
    rows: list[list[object]] = [["pin", "text"], [3, date(2026, 11, 25)], [4, 3.10], [5, True]]
    rows.append([6, datetime(2026, 11, 25, 10, 30)])
    assert [cells for _, cells in read_rows(make_workbook(rows))] == [
        ("3", "2026-11-25"), ("4", "3.1"), ("5", "yes"), ("6", "2026-11-25"),
    ]  # fmt: skip


def test_of_several_sheets_one_is_chosen() -> None:
    data = make_workbook([["pin", "text"], ["3", "Warm."]], [["pin", "text"], ["4", "Cold."]])
    with pytest.raises(NoteTableError, match="choose it with --sheet 'Sheet 1'"):
        read_table(data, "t.xlsx")
    assert read_table(data, "t.xlsx", "Sheet 2").rows[0].cells == ("4", "Cold.")
    with pytest.raises(NoteTableError, match="no sheet 'x': expected one of Sheet 1, Sheet 2"):
        read_table(data, "t.xlsx", "x")


def test_a_row_with_too_many_cells_is_not_shifted() -> None:
    (row,) = read_table(b"pin,text\n3,Warm, and wet\n", "t.csv").rows
    assert row.fault == "3 cells under 2 headings; put quotes around a cell with commas"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "an empty table"),
        (b"\n , \n", "an empty table"),
        (b'pin,text\n3,"Warm\n', "a broken row"),
        (b"pin\x00,text\n", "not text"),
        (b"," * 200 + b"x\n", "201 columns"),
        (b"PK\x03\x04" + bytes(50), "a damaged workbook"),
        (b"pin\n" + b"3\n" * 100_001, "still more rows"),
    ],
)
def test_a_table_that_is_none_is_refused(data: bytes, message: str) -> None:
    with pytest.raises(NoteTableError, match=message):
        read_table(data, "t.csv")


def test_a_workbook_with_more_rows_than_a_table_may_have_is_refused() -> None:
    file, row = io.BytesIO(), b'<row><c t="inlineStr"><is><t>x</t></is></c></row>'
    with (
        zipfile.ZipFile(io.BytesIO(make_workbook([["pin", "text"]]))) as source,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            data = source.read(name)
            if name.startswith("xl/worksheets/"):
                data = data.replace(b"</sheetData>", row * 110_000 + b"</sheetData>")
            target.writestr(name, data)
    with pytest.raises(NoteTableError, match="at most 100,000 rows"):
        read_table(file.getvalue(), "t.xlsx")


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(NoteTableError, match="No such file or directory: expected a readable"):
        load_table(tmp_path / "t.csv")


@given(st.binary(max_size=200))
def test_any_bytes_are_a_table_or_refused(data: bytes) -> None:
    if data.startswith((b"PK", b"\xd0\xcf")):
        return
    try:
        table = read_table(data, "t.csv")
    except NoteTableError:
        return
    assert all(len(row.cells) == len(table.headings) for row in table.rows if not row.fault)
