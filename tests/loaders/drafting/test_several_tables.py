"""Workbooks and pages: the one table of pins is read, several are asked about, nothing is lost.

The workbooks are written by openpyxl and xlwt, the OpenDocument sheet by hand after OpenDocument
1.3, part 3, 9.1; all parts are invented.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from html import escape

import openpyxl
import pytest
import xlwt
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.drafting.limited_tables import has_several_tables, read_limited_tables
from pinfolio.loaders.drafting.marked_up_tables import find_html_tables, find_markdown_tables
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.several_tables import read_several_tables
from pinfolio.loaders.drafting.spreadsheet import read_spreadsheet
from pinfolio.loaders.drafting.text_table import DraftError

Cells = list[list[str | float | None]]
PINS: Cells = [
    ["Pin", "Symbol", "Function", "DC (V)"],
    [1, "VP", "supply", 8.0],
    [2, "GND", "ground", 0],
    [3, "SC", "sandcastle output", 2.8],
]
LIMITS: Cells = [
    ["Parameter", "Pin", "Min", "Typ", "Max", "Unit"],
    ["burst key level", 3, 7.2, 8, 8.8, "V"],
    ["supply current", None, None, 40, 60.5, "mA"],
]
PRICES: Cells = [["Shop", "Price"], ["Nobody", 3], ["Nobody else", 4]]


def write_xlsx(sheets: dict[str, Cells]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def write_xls(sheets: dict[str, Cells]) -> bytes:
    book = xlwt.Workbook()
    for name, rows in sheets.items():
        sheet = book.add_sheet(name)
        for at, row in enumerate(rows):
            for column, value in enumerate(row):
                sheet.write(at, column, value)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def write_ods(sheets: dict[str, Cells]) -> bytes:
    def write_cell(value: str | float | None) -> str:
        if value is None:
            return "<table:table-cell/>"
        sort = 'string"' if isinstance(value, str) else f'float" office:value="{value}"'
        text = f"<text:p>{escape(str(value))}</text:p>"
        return f'<table:table-cell office:value-type="{sort}>{text}</table:table-cell>'

    names = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
        for short, long in (("office", "office"), ("table", "table"), ("text", "text"))
    )
    tables = "".join(
        f'<table:table table:name="{name}">'
        + "".join(
            f"<table:table-row>{''.join(map(write_cell, row))}</table:table-row>" for row in rows
        )
        + "</table:table>"
        for name, rows in sheets.items()
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{names} office:version="1.3"><office:body>'
        f"<office:spreadsheet>{tables}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
    return file.getvalue()


def write_html(sheets: dict[str, Cells]) -> bytes:
    def write_row(row: list[str | float | None]) -> str:
        return "".join(f"<td>{escape(str(v if v is not None else ''))}</td>" for v in row)

    body = "".join(
        f"<h2>{name}</h2><table>{''.join(f'<tr>{write_row(row)}</tr>' for row in rows)}</table>"
        for name, rows in sheets.items()
    )
    return f"<!DOCTYPE html><html><body>{body}</body></html>".encode()


def write_markdown(sheets: dict[str, Cells]) -> bytes:
    def write_row(row: list[str | float | None]) -> str:
        return "| " + " | ".join(str(v if v is not None else "") for v in row) + " |\n"

    return "\n".join(
        f"## {name}\n\n{write_row(rows[0])}|{'---|' * len(rows[0])}\n"
        f"{''.join(map(write_row, rows[1:]))}"
        for name, rows in sheets.items()
    ).encode()


WRITERS = [write_xlsx, write_xls, write_ods, write_html, write_markdown]
EVERY_SORT = pytest.mark.parametrize("write", WRITERS, ids=[w.__name__[6:] for w in WRITERS])
Writer = Callable[[dict[str, Cells]], bytes]


def read(data: bytes, *chosen: int) -> PinTable:
    return read_limited_tables(data, "book", {}, chosen)


def list_dc(table: PinTable) -> dict[int, str]:
    return {pin.number: str(dc.quantity) for pin in table.pins for dc in pin.dc.values()}


@EVERY_SORT
def test_the_only_table_of_pins_is_read_and_the_others_are_listed(write: Writer) -> None:
    data = write({"Prices": PRICES, "Pins": PINS})
    assert has_several_tables(data, "book")
    table = read(data)
    assert [pin.texts["symbol"] for pin in table.pins] == ["VP", "GND", "SC"]
    assert list_dc(table) == {1: "8 V", 2: "0 V", 3: "2.8 V"} or list_dc(table)[1] == "8.0 V"
    assert str(table.pins[0].place) == "'Pins', row 2"
    (line,) = (str(each) for each in table.unread)
    assert line.startswith("\"table 1 'Prices', 3 rows\": not used")


@EVERY_SORT
def test_several_tables_are_asked_about_and_the_choice_is_kept(write: Writer) -> None:
    data = write({"Pins": PINS, "Limits": LIMITS})
    with pytest.raises(DraftError) as refused:
        read(data)
    assert "2 tables: 1 'Pins' (3 pins); 2 'Limits' (2 parameters)" in str(refused.value)
    assert "write '--table 1 or --table 1,2'" in str(refused.value)
    both = read(data, 1, 2)
    assert len(both.pins) == 3
    assert [str(p.value) for p in both.parameters] == [
        "min 7.2 V typ 8 V max 8.8 V",
        "typ 40 mA max 60.5 mA",
    ]
    assert read(data, 1).parameters == ()


@EVERY_SORT
def test_tables_without_pins_are_refused(write: Writer) -> None:
    with pytest.raises(DraftError, match="2 tables, none of pins"):
        read(write({"Prices": PRICES, "More": PRICES}))


def test_a_table_that_the_file_lacks_is_refused() -> None:
    with pytest.raises(DraftError, match="table 7: expected a table from 1 to 2"):
        read(write_xlsx({"Pins": PINS, "Limits": LIMITS}), 7)


def test_merged_cells_hold_their_text_in_each_and_a_title_is_one_cell() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    rows = [
        ["QZ9 pins", None, None, None],
        ["Pin", "Symbol", "DC voltage (V)", None],
        [None, None, "no signal", "colour bars"],
        [1, "A", 3, 4], [2, "B", 5, None], [3, "B", 6, 7],
    ]  # fmt: skip
    for row in rows:
        sheet.append(row)
    for cells in ("A1:D1", "C2:D2", "A2:A3", "B2:B3", "C5:D5", "B5:B6"):
        sheet.merge_cells(cells)
    file = io.BytesIO()
    book.save(file)
    table = read(file.getvalue())
    dc = {pin.number: {s: str(v.quantity) for s, v in pin.dc.items()} for pin in table.pins}
    assert dc[1] == {"no signal": "3 V", "colour bars": "4 V"}
    assert dc[2] == {"no signal": "5 V", "colour bars": "5 V"}
    assert table.pins[2].texts["symbol"] == "B"


def test_a_pin_list_that_a_spreadsheet_made_a_date_is_no_pin() -> None:
    import datetime

    rows = [["Pin", "Symbol"], [1, "A"], [datetime.date(2024, 2, 1), "B"], [3, "C"]]
    table = read(write_xlsx({"Pins": rows}))  # type: ignore[dict-item]
    assert [pin.number for pin in table.pins] == [1, 3]
    assert "date 2024-02-01" in str(table.unread[0])


HTML = """<h1>Part</h1><p>Text.</p>
<table><caption>Pins</caption><thead><tr><th rowspan=2>Pin<th rowspan=2>Symbol
<th colspan=2>DC voltage (V)<tr><th>no signal<th>colour bars
<tbody><tr><td>1<td>A<script>1</script><td>3<sup>1</sup><td>4<tr><td>2<td>B &amp; C<td>5<td>6
<tr><td colspan=4>1) with the switch open</table>"""


def test_html_as_people_write_it() -> None:
    (table,) = find_html_tables(HTML)
    assert table.name == "Pins"
    read_table = read_several_tables([table], "page")
    first, second = read_table.pins
    assert (first.texts["symbol"], second.texts["symbol"]) == ("A", "B & C")
    assert {s: str(v.quantity) for s, v in first.dc.items()} == {
        "no signal": "3 V",
        "colour bars": "4 V",
    }
    assert first.dc["no signal"].mark == "1"
    assert read_table.footnotes == {"1": "with the switch open"}


def test_a_table_in_a_cell_is_a_table_of_its_own() -> None:
    page = "<table><tr><td>x<table><tr><td>1<td>A</table>y<td>z</table>"
    outer, inner = find_html_tables(page)
    assert inner.grid.rows == (("1", "A"),)
    assert outer.grid.rows == (("xy", "z"),)


def test_markdown_marks_are_no_text() -> None:
    (table,) = find_markdown_tables("# T\n\n| Pin | **Symbol** |\n|:-:|---|\n| 1 | `A\\|B` |\n")
    assert table.grid.rows == (("Pin", "Symbol"), ("1", "A|B"))


@pytest.mark.parametrize("damage", [b"PK\x03\x04", b"PK\x03\x04" + b"x" * 500, b"\xd0\xcf\x11\xe0"])
def test_a_damaged_workbook_is_one_error(damage: bytes) -> None:
    with pytest.raises(DraftError, match="a damaged workbook"):
        read_spreadsheet(damage, "book.xlsx")


def test_a_workbook_cut_anywhere_is_read_or_refused() -> None:
    whole = write_xlsx({"Pins": PINS})
    for end in range(0, len(whole), 97):
        try:
            read_spreadsheet(whole[:end], "book.xlsx")
        except DraftError:
            continue


def test_a_sheet_of_a_million_rows_is_refused_within_the_limits(
    capfd: pytest.CaptureFixture[str],
) -> None:
    rows: Cells = [["Pin", "Symbol"], [1, "A"]]
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.active["XFD1048576"] = "x"
    file = io.BytesIO()
    book.save(file)
    with pytest.raises(DraftError, match="a file that takes") as refused:
        read(file.getvalue())
    assert capfd.readouterr().err == ""
    assert "save them as CSV" in str(refused.value)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            ["<table>", "</table>", "<tr>", "<td>", "<td colspan=9999>", "<td rowspan=99999999>",
             "<th>", "</td>", "Pin", "1", "Symbol", "<sup>", "<!--", "<![CDATA[", "&#0;",
             "<caption>", "<h1>", "</h1>", "<script>"]
        )
    )
)  # fmt: skip
def test_any_page_gives_tables(pieces: list[str]) -> None:
    for table in find_html_tables("".join(pieces)):
        assert len(table.grid.rows) == len(table.grid.places)
        assert table.grid.width <= 100


@settings(max_examples=100, deadline=None)
@given(st.text("|-: \n#Pin1*`\\", max_size=200))
def test_any_markdown_gives_tables(text: str) -> None:
    for table in find_markdown_tables(text):
        assert len(table.grid.rows) == len(table.grid.places)


FOOTED_HTML = """<p>1) above</p><table><tr><th>Pin<th>Symbol<th>DC (V)
<tr><td>1<td>A<td>3.0<sup>1</sup><tr><td>2<td>B<td>4.2 *</table>
<p><sup>1</sup> no signal<br>* with <b>load</b></p><p>2) of no cell</p>"""
FOOTED_MARKDOWN = """| Pin | Symbol | DC (V) |
|---|---|---|
| 1 | A | 3.0<sup>1</sup> |
| 2 | B | 4.2 \\* |

<sup>1</sup> no signal
\\* with load

2) of no cell
"""


def test_footnotes_below_a_table_are_listed_if_a_cell_has_their_mark() -> None:
    tables = find_html_tables(FOOTED_HTML), find_markdown_tables(FOOTED_MARKDOWN)
    for page in tables:
        table = read_several_tables(page, "page")
        texts = [line.text for line in table.unread if "footnote" in line.reason]
        assert texts == ["¹ no signal", "* with load"]
        assert str(table.pins[1].dc[""].quantity) == "4.2 V"
