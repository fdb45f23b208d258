"""Tables as spreadsheets, pastes and scans give them, and the pins that are read from them."""

from __future__ import annotations

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.drafting.cell_values import parse_pin_numbers, read_quantity, split_mark
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.loaders.drafting.text_table import DraftError

Pins = dict[int, tuple[str, str, dict[str, str]]]

TABLE = [
    ["Pin", "Symbol", "Function", "DC no signal (V)", "DC with signal (V)"],
    ["1", "SCL", "bus clock, 100 kHz; input", "4.9", "4.7"],
    ["2", "REF", "reference ± 2 %, 47 µF outside", "4.05", "-"],
    ["3", "VCC", '"8 V" supply', "8.0", "7.9-8.1"],
    ["4", "GND", "ground", "0", ""],
]
PINS: Pins = {
    1: ("SCL", "bus clock, 100 kHz; input", {"no signal": "4.9 V", "with signal": "4.7 V"}),
    2: ("REF", "reference ± 2 %, 47 µF outside", {"no signal": "4.05 V"}),
    3: ("VCC", '"8 V" supply', {"no signal": "8.0 V", "with signal": "7.9 V .. 8.1 V"}),
    4: ("GND", "ground", {"no signal": "0 V"}),
}


def write_table(delimiter: str, *, comma: bool = False) -> str:
    """The table as a spreadsheet writes it (RFC 4180, quotes where they are needed)."""
    lines = []
    for row in TABLE:
        cells = [*row[:3], *(cell.replace(".", ",") if comma else cell for cell in row[3:])]
        quoted = [
            f'"{cell.replace(chr(34), chr(34) * 2)}"' if {*cell} & {delimiter, '"'} else cell
            for cell in cells
        ]
        lines.append(delimiter.join(quoted))
    return "\r\n".join(lines) + "\r\n"


def read(text: str | bytes, **overrides: int) -> PinTable:
    return read_pin_table(text if isinstance(text, bytes) else text.encode(), "t.csv", overrides)


def list_pins(table: PinTable) -> Pins:
    return {
        pin.number: (
            pin.texts.get("symbol", ""),
            pin.texts.get("function", ""),
            {state: str(read.quantity) for state, read in pin.dc.items()},
        )
        for pin in table.pins
    }


def list_dc(text: str) -> dict[int, dict[str, str]]:
    return {number: states for number, (_, _, states) in list_pins(read(text)).items()}


def list_unread(table: PinTable) -> list[str]:
    return [str(line) for line in table.unread]


@pytest.mark.parametrize(
    ("delimiter", "comma"), [(",", False), (";", True), (";", False), ("\t", True), ("\t", False)]
)
def test_the_dialects_of_spreadsheets_give_the_same_pins(delimiter: str, comma: bool) -> None:
    table = read(write_table(delimiter, comma=comma))
    assert list_pins(table) == PINS
    assert table.unread == ()


@pytest.mark.parametrize(
    "data",
    [
        write_table(",").encode("utf-8"),
        write_table(",").encode("utf-8-sig"),
        write_table(";", comma=True).encode("cp1252"),
        write_table("\t").encode("utf-16"),
        codecs.BOM_UTF16_BE + write_table("\t").encode("utf-16-be"),
        write_table("\t").encode("utf-16-le"),
        write_table("\t").encode("utf-16-be"),
    ],
    ids=["UTF-8", "with mark", "CP1252", "UTF-16", "BE", "LE without mark", "BE without mark"],
)
def test_the_encodings_of_spreadsheets_give_the_same_pins(data: bytes) -> None:
    assert list_pins(read(data)) == PINS


def test_a_table_as_text_has_two_blanks_between_columns() -> None:
    text = (
        "Pin  Symbol  Function         DC (V)\n"
        "1    VCC     supply, 12 V     12.0\n"
        "2    GND     ground           0\n"
    )
    assert list_pins(read(text)) == {
        1: ("VCC", "supply, 12 V", {"": "12.0 V"}),
        2: ("GND", "ground", {"": "0 V"}),
    }


def test_headings_may_stand_anywhere_and_pins_in_any_order() -> None:
    table = read(
        "Voltages of March,,\n\nSymbol,Pin No.,Voltage\nGND,3,0\nVCC,1,12 V\nOUT,2,450 mV\n"
    )
    assert [(pin.number, pin.texts["symbol"]) for pin in table.pins] == [
        (1, "VCC"),
        (2, "OUT"),
        (3, "GND"),
    ]
    assert str(table.pins[1].dc[""].quantity) == "450 mV"
    assert str(table.pins[1].dc[""].place) == "row 6"
    assert "Voltages of March" in table.words


def test_a_heading_merged_over_min_typ_and_max() -> None:
    text = (
        "Pin,Symbol,DC voltage (V),,\n,,min,typ,max\n"
        "1,A,1.0,1.2,1.4\n2,B,,3.3,\n3,C,2,,5\n4,D,,,0.4\n"
    )
    assert list_dc(text) == {
        1: {"": "min 1.0 V typ 1.2 V max 1.4 V"},
        2: {"": "3.3 V"},
        3: {"": "2 V .. 5 V"},
        4: {"": "max 0.4 V"},
    }


def test_headings_of_three_rows_pair_states_with_limits() -> None:
    text = (
        "Pin,Symbol,DC voltage,,,,\n,,no signal,,,colour bars,\n,,min,typ,max,typ,max\n"
        "1,A,1.0,1.2,1.4,2.5,2.8\n"
    )
    assert list_dc(text) == {
        1: {"no signal": "min 1.0 V typ 1.2 V max 1.4 V", "colour bars": "typ 2.5 V max 2.8 V"}
    }


def test_two_states_and_three_limits_in_one_cell() -> None:
    text = "Pin,Symbol,No signal / with signal (V)\n1,A,3.2 / 3.4\n2,B,5\n"
    assert list_dc(text)[1] == {"no signal": "3.2 V", "with signal": "3.4 V"}
    assert list_dc("Pin,Symbol,DC min/typ/max (V)\n1,A,3.0/3.2/3.4\n") == {
        1: {"": "min 3.0 V typ 3.2 V max 3.4 V"}
    }


def test_a_state_in_the_words_of_the_table_is_kept() -> None:
    assert list_dc('Pin,Symbol,"DC, Y/C bars (V)"\n1,A,3.2\n') == {1: {"Y/C bars": "3.2 V"}}
    assert list_dc("Pin,Symbol,DC voltage (V),\n,,Y/C bars,standby\n1,A,3.2,0\n") == {
        1: {"Y/C bars": "3.2 V", "standby": "0 V"}
    }


def test_units_stand_in_heading_cell_or_column_of_their_own() -> None:
    assert list_dc("Pin,Symbol,DC [mV]\n1,A,450\n2,B,1.2 V\n") == {
        1: {"": "450 mV"},
        2: {"": "1.2 V"},
    }
    assert list_dc("Pin,Symbol,Voltage,Unit\n1,A,450,mV\n2,B,8,V\n") == {
        1: {"": "450 mV"},
        2: {"": "8 V"},
    }


@pytest.mark.parametrize(
    "headings",
    ["Pin,Symbol,Function,Pin,Symbol,Function", "Pin,Symbol,Function,,Function,Symbol,Pin"],
)
def test_two_pins_in_a_row_for_opposite_sides(headings: str) -> None:
    mirrored = headings.endswith("Pin")
    row = "{0},A{0},in {0},,out {1},B{1},{1}" if mirrored else "{0},A{0},in {0},{1},B{1},out {1}"
    table = read("\n".join([headings, *(row.format(n, 17 - n) for n in range(1, 9))]))
    expected: Pins = {n: (f"A{n}", f"in {n}", {}) for n in range(1, 9)}
    assert list_pins(table) == expected | {n: (f"B{n}", f"out {n}", {}) for n in range(9, 17)}


def test_voltages_in_rows_across() -> None:
    text = (
        "Pin,1,2,3\nNo signal (V),3.1,2.2,8\nWith signal (V),3.2,-,8\n"
        "Pin,4,5,6\nNo signal (V),0,1,2\n"
    )
    assert list_dc(text)[1] == {"no signal": "3.1 V", "with signal": "3.2 V"}
    assert list_dc(text)[2] == {"no signal": "2.2 V"}
    assert list_dc(text)[6] == {"no signal": "2 V"}


def test_a_second_table_below_adds_to_the_pins_of_the_first() -> None:
    text = "Pin,Symbol,Function\n1,A,first\n2,B,second\n\nPin,DC (V)\n2,4.2\n1,3.1\n"
    assert list_pins(read(text)) == {
        1: ("A", "first", {"": "3.1 V"}),
        2: ("B", "second", {"": "4.2 V"}),
    }


def test_columns_without_headings_are_told_by_what_is_in_them() -> None:
    table = read(
        "1,SCL,bus clock input,4.9 V\n"
        "2,SDA,bus data input and output,4.8 V\n"
        "3,VCC,supply of all parts,8 V\n"
    )
    assert list_pins(table)[2] == ("SDA", "bus data input and output", {"": "4.8 V"})
    assert "column 2 '': symbol (by its content)" in table.explained


def test_a_column_headed_pin_that_holds_names_is_the_symbol() -> None:
    assert list_pins(read("No.,Pin,Description\n1,VCC,supply\n2,GND,ground\n"))[2][0] == "GND"


def test_the_user_overrules_the_guess() -> None:
    text = "Pin,Symbol,DC (V),Other\n1,A,3.2,4.1\n"
    table = read_pin_table(text.encode(), "t", {"dc_typ@colour bars": 4, "skip": 3})
    assert list_pins(table) == {1: ("A", "", {"colour bars": "4.1 V"})}
    assert "column 4 'Other': dc_typ @ colour bars (as you said)" in table.explained


def test_headings_in_other_languages_of_the_trade() -> None:
    german = "Anschluss;Bezeichnung;Funktion;Spannung (V)\n1;UB;Versorgung;12,0\n"
    assert list_pins(read(german)) == {1: ("UB", "Versorgung", {"": "12.0 V"})}


def test_pins_that_share_a_row() -> None:
    table = read('Pin,Symbol,Function\n"7, 39",VCC,supply\n10 to 12,NC,not connected\n')
    assert [pin.number for pin in table.pins] == [7, 10, 11, 12, 39]


def test_what_cannot_be_read_is_listed_with_its_row() -> None:
    table = read(
        'Pin,Symbol,Function,DC (V),Wire\n1,A,first,3.2x,red\n2,B,"second, 4\n3,C,third,1,\n'
        "4,D,fourth, part,2,blue\n,,supply pins,,\nx,E,fifth,3,\n5,F,sixth,2.5,\n5,G,sixth,2.6,\n"
    )
    assert [pin.number for pin in table.pins] == [1, 3, 5]
    assert list_unread(table) == [
        "row 3: '2,B,\"second, 4': a quote that is not closed",
        "'Wire': heading of column 5 not known",
        "row 2: '3.2x': DC of pin 1: expected a voltage in V, such as 4.2 V",
        "row 5: '4 | D | fourth | part | 2 | blue': "
        "6 cells where the headings have 5, so none was taken",
        "row 6: 'supply pins': no pin number; a merged cell?",
        "row 7: 'x | E | fifth | 3': not a pin number",
        "row 9: 'G': symbol of pin 5 again; kept 'F' of row 8",
        "row 9: '2.6 V': DC of pin 5 again; kept '2.5 V' of row 8",
    ]


def test_a_cell_merged_over_rows_leaves_blanks_that_are_seen() -> None:
    table = read("Pin,Symbol,Function\n1,A,balanced input\n2,B,\n")
    assert list_pins(table)[2] == ("B", "", {})


def test_a_quoted_cell_may_go_over_lines() -> None:
    table = read('Pin,Symbol,Function\n1,A,"first\nand more"\n2,B,second\n')
    assert list_pins(table) == {1: ("A", "first and more", {}), 2: ("B", "second", {})}
    assert str(table.pins[1].place) == "row 4"


def test_footnotes_are_kept_with_their_marks() -> None:
    table = read("Pin,Symbol,DC (V)\n1,A,4.2 1)\n2,B,3*\n1) with a 10 MΩ meter,,\n* when warm,,\n")
    assert [(pin.dc[""].mark, str(pin.dc[""].quantity)) for pin in table.pins] == [
        ("1", "4.2 V"),
        ("*", "3 V"),
    ]
    assert table.footnotes == {"1": "with a 10 MΩ meter", "*": "when warm"}


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "an empty file"),
        (b" \n \n", "an empty file"),
        (b"Pin\x00,Symbol,\x01\x02\x03", "bytes that are not text"),
        (b"\xff\xfeP", "broken UTF-16"),
        (b"a,\x81\x98\x81\n", "bytes that are no text in a known encoding"),
        (b"Name,Colour\nfirst,red\nsecond,blue\n", "no table of pins"),
        (b"Pin,Symbol\n" * 6000, "6000 lines"),
        (b"x" * 5_000_001, "5 MB"),
        (b"Pin,Symbol" + b",x" * 5000, "5002 cells in a row"),
    ],
)
def test_what_is_no_table_is_refused_in_one_line(data: bytes, found: str) -> None:
    with pytest.raises(DraftError) as refused:
        read(data)
    assert found in str(refused.value)
    assert "\n" not in str(refused.value)


@given(
    st.text()
    | st.lists(
        st.lists(
            st.sampled_from(["Pin", "1", "2", "1-999", "DC (V)", "no signal", "min", '"', "4,2"])
            | st.text(max_size=6),
            max_size=5,
        ).map(",".join),
        max_size=12,
    ).map("\n".join)
)
def test_anything_is_read_or_refused_as_a_whole(text: str) -> None:
    try:
        table = read(text.encode("utf-8", "surrogatepass"))
    except DraftError:
        return
    assert table.pins
    assert all(1 <= pin.number <= 304 for pin in table.pins)


def test_many_headings_below_each_other_are_many_tables() -> None:
    tables = "".join(f"Pin,Symbol\n{n % 300 + 1},A\n" for n in range(2400))
    assert len(read(tables).pins) == 300


def test_a_table_of_numbers_both_across_and_down_is_refused() -> None:
    with pytest.raises(DraftError, match="no table of pins"):
        read("Pin,1,2,3\n5,a,b,c\n6,d,e,f\n7,g,h,i\nDC (V),1,2,3")


@pytest.mark.parametrize(
    ("cell", "low_v", "typ_v", "high_v"),
    [
        ("4.2", None, 4.2, None),
        ("4,2", None, 4.2, None),
        ("4.0-4.6", 4.0, None, 4.6),
        ("4,0 – 4,6", 4.0, None, 4.6),
        ("-0.3 to 9", -0.3, None, 9.0),
        ("4.2 ± 0.2", 4.0, 4.2, 4.4),
        ("4.2 ± 5 %", 3.99, 4.2, 4.41),
        ("< 0.4", None, None, 0.4),
        ("max. 5", None, None, 5.0),
        ("≥ 3", 3.0, None, None),
        ("-/4.2/4.6", None, 4.2, 4.6),
        ("~4.2", None, 4.2, None),
        ("-16", None, -16.0, None),
        ("450 mV", None, 0.45, None),
    ],
)
def test_cells_with_voltages(
    cell: str, low_v: float | None, typ_v: float | None, high_v: float | None
) -> None:
    quantity = read_quantity(cell, "V", True, "V")
    assert (quantity.low, quantity.typ, quantity.high) == (low_v, typ_v, high_v)


def test_a_mark_is_no_part_of_a_number_and_a_power_is_no_mark() -> None:
    assert split_mark("4.2¹)", of_number=True) == ("4.2", "1")
    assert split_mark("I²C") == ("I²C", "")
    assert parse_pin_numbers("7, 39 and 41-43") == (7, 39, 41, 42, 43)
    assert parse_pin_numbers("VCC") is None


@pytest.mark.parametrize(
    ("text", "symbols"),
    [
        ("pin_number,pin_name,direction\n1,A,in\n2,B,out\n", ["A", "B"]),
        ("PinNumber,PinName\n1,A\n2,B\n", ["A", "B"]),
        ("#,Net,Type\n1,A,in\n2,B,out\n", ["A", "B"]),
        ("Left pin,Left name,Right pin,Right name\n1,A,4,D\n2,B,3,C\n", ["A", "B", "C", "D"]),
        ("Physical Pin,Name\n1,A\n2,B\n", ["A", "B"]),
        ("Pin,Name\n1.0,A\n2.0,B\n", ["A", "B"]),
        ("Pin,Name\n01,A\n02,B\n", ["A", "B"]),
        ("sep=;\nPin;Name;Function\n1;A;x\n2;B;y\n", ["A", "B"]),
        ("# made by hand\nPin,Name,Function\n1,A,x\n2,B,y\n", ["A", "B"]),
    ],
)
def test_headings_and_numbers_as_programs_write_them(text: str, symbols: list[str]) -> None:
    pins = read_pin_table(text.encode(), "t.csv").pins
    assert [pin.texts["symbol"] for pin in pins] == symbols
