"""A draft holds no value that its source does not give for that field of that pin.

The tables are invented; the ways they mislead (characteristics with a pin column, two packages in
one table, repeated headings) are common practice in data sheets.
"""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.drafting.chip_draft import Draft, Origin, draft_chip
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.loaders.drafting.heading_words import names_other_voltage, states_dc
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.loaders.drafting.text_table import DraftError
from reportlab.lib.pagesizes import A4
from reportlab.platypus import SimpleDocTemplate, Spacer, Table

PINS = [
    ["Pin", "Symbol", "Function"],
    ["8", "HOUT", "line output"],
    ["9", "SC", "sandcastle output"],
]
CHARACTERISTICS = [
    ["Parameter", "Pin", "Min", "Typ", "Max", "Unit"],
    ["Sandcastle burst key level", "9", "7.2", "8", "8.8", "V"],
    ["Threshold of the line flyback input", "9", "0.6", "0.7", "0.8", "V"],
    ["Supply voltage", "8", "7.2", "8", "8.8", "V"],
    ["Luminance input amplitude", "8", "0.4", "0.45", "0.6", "V"],
    ["Output frequency", "8", "15.5", "15.625", "15.8", "kHz"],
    ["Output saturation voltage", "8", "", "0.3", "0.5", "V"],
]
NAMES = [row[0] for row in CHARACTERISTICS[1:]]


def write_csv(rows: list[list[str]]) -> str:
    return "".join(",".join(row) + "\n" for row in rows)


def read(text: str, **overrides: int) -> PinTable:
    return read_pin_table(text.encode(), "t.csv", overrides)


def list_dc(table: PinTable) -> dict[int, dict[str, str]]:
    return {pin.number: {s: str(v.quantity) for s, v in pin.dc.items()} for pin in table.pins}


def draft_table(table: PinTable) -> Draft:
    return draft_chip(table, Identity(part="QZ1"), Origin("sheet", "data sheet", "t"))


def test_rows_of_characteristics_are_never_the_dc_of_their_pin() -> None:
    table = read(f"{write_csv(PINS)}\n{write_csv(CHARACTERISTICS)}")
    assert list_dc(table) == {8: {}, 9: {}}
    assert {pin.number: pin.texts["symbol"] for pin in table.pins} == {8: "HOUT", 9: "SC"}
    assert [parameter.name for parameter in table.parameters] == NAMES
    assert table.unread == ()


def test_a_characteristic_called_dc_voltage_is_the_dc_of_its_pin() -> None:
    rows = [*CHARACTERISTICS, ["DC voltage at pin 9", "9", "2.8", "3.0", "3.2", "V"]]
    table = read(f"{write_csv(PINS)}\n{write_csv(rows)}")
    assert list_dc(table) == {8: {}, 9: {"": "min 2.8 V typ 3.0 V max 3.2 V"}}


@pytest.mark.parametrize("heading", ["Description", "Function", "Symbol"])
def test_bare_limits_with_changing_units_are_characteristics_under_any_heading(
    heading: str,
) -> None:
    rows = [[heading, *CHARACTERISTICS[0][1:]], *CHARACTERISTICS[1:]]
    table = read(f"{write_csv(PINS)}\n{write_csv(rows)}")
    assert list_dc(table) == {8: {}, 9: {}}
    assert [pin.texts["function"] for pin in table.pins] == ["line output", "sandcastle output"]


@pytest.mark.parametrize("ruled", [True, False])
def test_the_characteristics_of_a_data_sheet_are_parameters_with_their_page(ruled: bool) -> None:
    style = [("GRID", (0, 0), (-1, -1), 0.5, (0, 0, 0))] if ruled else []
    paper = io.BytesIO()
    flow = [Table(PINS, style=style), Spacer(1, 60), Table(CHARACTERISTICS, style=style)]
    SimpleDocTemplate(paper, pagesize=A4).build(flow)
    table = read_data_sheet(paper.getvalue(), "sheet.pdf")
    assert list_dc(table) == {8: {}, 9: {}}
    assert [parameter.name for parameter in table.parameters] == NAMES
    assert {parameter.place.page for parameter in table.parameters} == {1}
    assert table.unread == ()


@pytest.mark.parametrize(
    "heading",
    [
        "Threshold (V)", "Signal level (V)", "Amplitude (V)", "Supply voltage", "Input level (V)",
        "Ripple (Vpp)", "Maximum Vpp", "Peak level (V)", "Sync level (V)",
    ],
)  # fmt: skip
def test_a_column_of_other_voltages_is_no_dc(heading: str) -> None:
    table = read(f"Pin,Symbol,{heading}\n1,A,0.45\n2,B,8\n")
    assert list_dc(table) == {1: {}, 2: {}}
    assert [str(line) for line in table.unread] == [f"'{heading}': heading of column 3 not known"]


def test_words_that_state_a_dc_voltage() -> None:
    assert states_dc("DC voltage at pin 9")
    assert states_dc("quiescent voltage, no signal")
    assert not states_dc("sandcastle burst key level, pin 9")
    assert names_other_voltage("DC supply voltage")
    assert not names_other_voltage("DC voltage with signal")


def test_numbers_without_heading_or_unit_are_not_used() -> None:
    table = read("1,SCL,bus clock input,4.9\n2,SDA,bus data line,4.8\n3,VCC,supply of all,8\n")
    assert list_dc(table) == {1: {}, 2: {}, 3: {}}
    assert [str(line) for line in table.unread] == ["'4.9 ...': no heading of column 4"]


TWO_PACKAGES = [
    "SDIP-4,QFP-6,Symbol\n1,3,A\n2,4,B\n3,5,C\n4,6,D\n",
    "Pin,Pin,Symbol\n1,3,A\n2,4,B\n",
    "Symbol,Pin SDIP,Pin QFP\nA,1,3\nB,2,4\n",
    "Pin no.,,Symbol\nSDIP,QFP,\n1,3,A\n2,4,B\n",
]


@pytest.mark.parametrize("text", TWO_PACKAGES)
def test_two_numberings_are_asked_about(text: str) -> None:
    with pytest.raises(DraftError, match=r"number twice: columns .*: expected one column"):
        read(text)


def test_the_answer_to_the_question_chooses_the_numbering() -> None:
    with pytest.raises(DraftError) as refused:
        read(TWO_PACKAGES[0])
    assert "--column 'number=1' --column skip=2" in str(refused.value)
    chosen = read(TWO_PACKAGES[0], number=2, skip=1)
    assert {pin.number: pin.texts["symbol"] for pin in chosen.pins} == {
        3: "A",
        4: "B",
        5: "C",
        6: "D",
    }


def test_two_packages_side_by_side_are_asked_about() -> None:
    with pytest.raises(DraftError, match="number twice"):
        read("Pin,Symbol,Pin,Symbol\n1,A,2,A\n2,B,3,B\n3,C,1,C\n")


@pytest.mark.parametrize(
    ("heading", "key"),
    [("DC (V),DC (V)", "dc"), ("Voltage,DC voltage", "dc"), ("Resistance,Impedance", "resistance")],
)
def test_two_columns_of_one_meaning_are_asked_about(heading: str, key: str) -> None:
    with pytest.raises(DraftError, match=rf"{key} twice: columns 3 .* and 4 "):
        read(f"Pin,Symbol,{heading}\n1,A,3.2,3.4\n2,B,5,5\n")


def test_all_questions_of_a_table_come_at_once() -> None:
    with pytest.raises(DraftError) as refused:
        read("Pin,Symbol,Name,DC (V),DC (V)\n1,A,a,3.2,3.4\n2,B,b,5,5\n")
    assert [fault.found.split(":")[0] for fault in refused.value.faults] == [
        "symbol twice",
        "dc twice",
    ]


def test_two_functions_are_both_kept() -> None:
    table = read("Pin,Symbol,Function,Description\n1,A,input,of the filter\n2,B,output,output\n")
    assert [pin.texts["function"] for pin in table.pins] == ["input; of the filter", "output"]


def test_headings_repeated_with_another_state_begin_another_table() -> None:
    first, second = "1,A,3.2\n2,B,5\n", "1,A,3.9\n2,B,6\n"
    table = read(f"Pin,Symbol,DC no signal (V)\n{first}Pin,Symbol,DC with signal (V)\n{second}")
    assert list_dc(table)[1] == {"no signal": "3.2 V", "with signal": "3.9 V"}
    below = "Pin,Symbol,DC voltage\n,,{}\n{}"
    table = read(below.format("no signal", first) + below.format("with signal", second))
    assert list_dc(table)[2] == {"no signal": "5 V", "with signal": "6 V"}
    assert table.unread == ()


def test_the_same_headings_again_go_on_with_the_table() -> None:
    heading = "Pin,Symbol,DC voltage (V),\n,,min,max\n"
    table = read(f"{heading}1,A,1,2\n{heading}2,B,3,4\n")
    assert list_dc(table) == {1: {"": "1 V .. 2 V"}, 2: {"": "3 V .. 4 V"}}
    assert table.unread == ()


def test_a_cell_that_cannot_be_read_is_a_blank_with_its_text_beside_it() -> None:
    table = read("Pin,Symbol,DC no signal (V),Resistance\n1,A,see fig. 3,10 kΩ\n2,17,5,high\n")
    draft = draft_table(table)
    lines = [line.strip() for line in draft.text.splitlines()]
    assert "dc:  #? a voltage; the source has 'see fig. 3'" in lines
    assert "symbol:  #? its short name; the source has '17'" in lines
    assert "resistance:  #? a value; the source has 'high'" in lines
    assert len(draft.unread) == 3


def test_no_symbol_and_no_name_of_a_supply_is_made_up_from_a_number() -> None:
    text = draft_table(read("Pin,Function,DC (V)\n1,supply,8\n2,ground,0\n")).text
    assert "{name: , pins: [1], voltage: 8 V}  #? name of the supply" in text
    assert "VCC" not in text


@settings(max_examples=60)
@given(
    cells=st.lists(
        st.sampled_from(["1", "Pin", "DC (V)", "x", "4.2 V", "see", ",", "A-", "9" * 50, " ; "]),
        min_size=3,
        max_size=6,
    ),
    times=st.sampled_from([1, 30, 3000, 150_000]),
)
def test_cells_of_any_length_are_read_or_refused(cells: list[str], times: int) -> None:
    body = ",".join(f'"{cells[0] * times}"' if i == 2 else cell for i, cell in enumerate(cells))
    try:
        table = read(f"Pin,Symbol,Function\n1,A,b\n{body}\n")
    except DraftError:
        return
    assert draft_table(table).text.startswith("# Drafted from t")


def test_a_quoted_cell_beyond_the_limit_of_the_csv_reader_is_one_error_with_its_line() -> None:
    with pytest.raises(DraftError, match=r"t\.csv:2:1: 200,\d+ characters in a line"):
        read(f'Pin,Symbol,Function\n1,A,"{"x" * 200_000}"\n')


@pytest.mark.parametrize(
    ("title", "state"),
    [
        ("Pin voltages (colour bars)", "colour bars"),
        ("DC voltages with no signal", "no signal"),
        ("DC voltages in standby and with colour bars", ""),
        ("Pinning; see colour bars below", ""),
    ],
)
def test_a_title_of_dc_voltages_names_their_state(title: str, state: str) -> None:
    table = read(f"{title},,\nPin,Symbol,DC (V)\n1,A,3.2\n2,B,5\n")
    assert list_dc(table) == {1: {state: "3.2 V"}, 2: {state: "5 V"}}


def test_every_line_that_is_too_long_is_named_at_once() -> None:
    long = "x" * 12_000
    with pytest.raises(DraftError) as refused:
        read(f"Pin,Symbol,Function\n1,A,{long}\n2,B,ok\n3,C,{long}\n")
    assert [fault.line for fault in refused.value.faults] == [2, 4]


ALIGNED = """Pin  Symbol  Function        DC min (V)  DC typ (V)  DC max (V)
1    GND     ground                      0.0
2    VCC     supply          4.5         5.0         5.5
3    OUT     output                                  2.0
"""


@pytest.mark.parametrize("decimal_sign", [".", ","])
def test_a_lone_value_of_aligned_text_belongs_to_the_heading_above_it(decimal_sign: str) -> None:
    table = read(re.sub(r"(?<=[0-9])\.(?=[0-9])", decimal_sign, ALIGNED))
    limits = {"": "min 4.5 V typ 5.0 V max 5.5 V"}
    assert list_dc(table) == {1: {"": "0.0 V"}, 2: limits, 3: {"": "max 2.0 V"}}
    assert table.unread == ()


def test_a_value_of_text_below_no_heading_is_listed() -> None:
    table = read(f"{ALIGNED}4    IN      input       3.0         3.3\n5  NC  4.0\n")
    assert not {4, 5} & {number for number, dc in list_dc(table).items() if dc}
    assert "'5 | NC | 4.0': fewer cells than headings" in " ".join(map(str, table.unread))


@pytest.mark.parametrize(
    "heading",
    [
        "DC min/typ/max (V)",
        "DC Min-Typ-Max (V)",
        "Spannung min / typ / max (V)",
        "Напряжение мин/тип/макс (В)",
    ],
)
def test_three_limits_in_a_cell_have_to_rise(heading: str) -> None:
    table = read(f"Pin;Symbol;{heading}\n1;A;3.0/3.4/3.8\n2;B;3.0 / 3.4 / 3.8\n3;C;3.8/3.4/3.0\n")
    limits = {"": "min 3.0 V typ 3.4 V max 3.8 V"}
    assert list_dc(table) == {1: limits, 2: limits, 3: {}}
    assert [line.text for line in table.unread] == ["3.8/3.4/3.0"]


@pytest.mark.parametrize("places", [1, 2])
def test_wide_characters_of_aligned_text_take_one_place_or_two(places: int) -> None:
    rows = [
        ["引脚", "符号", "功能", "DC min (V)", "DC typ (V)", "DC max (V)"],
        ["1", "A", "地", "", "0.0", ""],
        ["2", "B", "视频信号输入", "4.5", "5.0", "5.5"],
        ["3", "C", "行", "", "", "2.0"],
    ]
    lines = ""
    for row in rows:
        for cell in row:
            wide = (places - 1) * sum(sign >= "\u2e80" for sign in cell)
            lines += cell.ljust(16 - wide)
        lines += "\n"
    limits = {"": "min 4.5 V typ 5.0 V max 5.5 V"}
    assert list_dc(read(lines)) == {1: {"": "0.0 V"}, 2: limits, 3: {"": "max 2.0 V"}}


def test_spaces_of_other_widths_in_aligned_text_raise_no_error() -> None:
    table = read(f"{ALIGNED}4  IN  \xa0\n\u30005  NC\u3000  \f 4.0  \u3000\n")
    assert {2, 3} <= {number for number, dc in list_dc(table).items() if dc}
