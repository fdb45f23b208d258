"""Tables of characteristics become parameters: never the DC of a pin, and nothing is lost.

The tables are invented, in the layouts of public data sheets (groups of rows under a heading with
its pin, a column of conditions, units that change from row to row); common practice.
"""

from __future__ import annotations

import contextlib
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.drafting.characteristics import spell_unit
from pinfolio.loaders.drafting.chip_draft import Origin, draft_chip
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.loaders.drafting.text_table import DraftError
from pinfolio.schema import Package
from reportlab.lib.pagesizes import A4
from reportlab.platypus import PageBreak, SimpleDocTemplate, Table

HEAD = "Parameter,Symbol,Pin,Conditions,Min,Typ,Max,Unit\n"
PINS = "Pin,Symbol,Function\n1,VP,supply\n2,GND,ground\n3,SC,sandcastle output\n4,LIN,line input\n"
ORIGIN = Origin("sheet", "data sheet", "t")
SIP = Package.model_validate({"family": "SIP", "pins": 4})


def read(text: str, **overrides: int) -> PinTable:
    return read_pin_table(text.encode(), "t.csv", overrides)


def list_values(table: PinTable) -> dict[str, str]:
    return {parameter.name: str(parameter.value) for parameter in table.parameters}


def draft_text(table: PinTable) -> str:
    identity = Identity("QZ1", "Nobody", "jungle", SIP)
    return draft_chip(table, identity, ORIGIN).text


def list_unread(table: PinTable) -> list[str]:
    return [str(each) for each in table.unread]


def test_limits_units_symbols_conditions_and_places_are_kept() -> None:
    (first,) = read(HEAD + "Supply current,IP,,no load,30,40,50,mA\n").parameters
    assert (first.name, first.symbol, first.pins) == ("Supply current", "IP", ())
    assert (first.value.low, first.value.typ, first.value.high) == (0.03, 0.04, 0.05)
    assert (first.value.unit, first.test_condition, str(first.place)) == ("A", "no load", "row 2")


@pytest.mark.parametrize(
    ("row", "value"),
    [
        ("x,,,,7.2,8,8.8,V", "min 7.2 V typ 8 V max 8.8 V"),
        ("x,,,,,0.3,0.5,V", "typ 0.3 V max 0.5 V"),
        ("x,,,,,,5,µs", "max 5 µs"),
        ("x,,,,2,,,V", "min 2 V"),
        ("x,,,,-,8,-,V", "8 V"),
        ("x,,,,,450 mV,,", "450 mV"),
        ("x,,,,,4.0-4.6,,V", "4.0 V .. 4.6 V"),
        ("amplitude (peak-to-peak value),,,,,0.45,,V", "0.45 Vpp"),
        ("input signal (RMS value),,,,,100,,mV", "100 mVrms"),
        ("x,,,,,0.45,,V (p-p)", "0.45 Vpp"),
        ("steepness,,,,,3,,kHz/V", "3 kHz/V"),
    ],
)
def test_each_way_of_writing_limits(row: str, value: str) -> None:
    (parameter,) = read(HEAD + row + "\n").parameters
    assert str(parameter.value) == value


@pytest.mark.parametrize(
    ("cell", "unit"),
    [
        ("V(p-p)", "Vpp"), ("mVp-p", "mVpp"), ("V RMS", "Vrms"), ("kohm", "kΩ"), ("[mA]", "mA"),
        ("μsec", "µs"), ("deg. C", "°C"), ("VDC", "V"), ("K/W", "K/W"),
    ],
)  # fmt: skip
def test_units_as_columns_of_units_write_them(cell: str, unit: str) -> None:
    assert spell_unit(cell).replace("μ", "µ") == unit


def test_decimal_commas_of_a_table_are_points() -> None:
    table = read("Parameter;Min;Typ;Max;Unit\nlevel;7,2;8,0;8,8;V\n")
    assert list_values(table) == {"level": "min 7.2 V typ 8.0 V max 8.8 V"}


def test_a_row_without_values_heads_the_rows_below_with_its_pin() -> None:
    rows = "Sandcastle output (pin 3),,,,,,,\nburst key level,,,,7.2,8,8.8,V\nsource,,4,,,1,,mA\n"
    burst, source = read(HEAD + rows).parameters
    assert (burst.name, burst.pins) == ("Sandcastle output (pin 3): burst key level", (3,))
    assert burst.review == "pin of a row above"
    assert (source.name, source.pins, source.review) == ("source", (4,), "")


def test_a_pin_is_named_by_column_words_or_symbol() -> None:
    rows = 'a,,3,,,1,,V\nkey level at pin 4,,,,,2,,V\nlevel,V3-2,,,,3,,V\nRGB,,"1, 2",,,4,,V\n'
    pins = [(p.pins, p.review) for p in read(HEAD + rows).parameters]
    assert pins == [((3,), ""), ((4,), ""), ((3,), "pin by its symbol"), ((1, 2), "")]


def test_the_pin_of_a_test_condition_is_not_the_pin_of_the_parameter() -> None:
    (parameter,) = read(HEAD + "level,,,pin 4 open,,1,,V\n").parameters
    assert (parameter.pins, parameter.test_condition) == ((), "pin 4 open")


def test_a_blank_name_goes_on_with_the_row_above_for_review() -> None:
    first, second = read(HEAD + "Supply current,,,no load,,40,,mA\n,,,loaded,,60,,mA\n").parameters
    assert (second.name, second.test_condition) == (first.name, "loaded")
    assert second.review == "name of a row above"


def test_headings_with_states_give_a_parameter_for_each() -> None:
    table = read("Parameter,no signal,colour bars,Unit\nlevel,1,2,V\n")
    assert [(p.test_condition, str(p.value)) for p in table.parameters] == [
        ("no signal", "1 V"),
        ("colour bars", "2 V"),
    ]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("light of the lamp,,,,,50,,lm", "expected a known unit, not 'lm'"),
        ("gain,,,,,5,,", "expected a unit"),
        ("level,,,,8,7,6,V", "expected minimum, typical, maximum in rising order"),
        ("level,,,,,see fig. 3,,V", "expected a voltage in V"),
        ("level,,all,,,8,,V", "not a pin number"),
        ("frequency,,,,,4.43,,mhz", "expected a frequency in Hz"),
        (",,,,,8,,V", "a value without a name"),
    ],
)
def test_rows_that_cannot_be_parameters_are_listed_with_their_row(row: str, reason: str) -> None:
    table = read(f"{HEAD}{row}\nlast,,,,,1,,V\n")
    (line,) = list_unread(table)
    assert line.startswith("row 2: ")
    assert reason in line
    assert list_values(table) == {"last": "1 V"}


def test_thermal_resistance_and_a_ratio_of_voltages_are_parameters() -> None:
    table = read(f"{HEAD}resistance to the case,,,,,50,,K/W\nline regulation,,,,,20,,mV/V\n")
    assert list_values(table) == {"resistance to the case": "50 K/W", "line regulation": "20 mV/V"}


def test_two_values_for_one_limit_are_listed_and_none_is_taken() -> None:
    table = read("Parameter,Typ,Value,Unit\nlevel,7,8,V\nsize,,2,V\n")
    assert list_values(table) == {"size": "2 V"}
    assert any("two values for one limit" in line for line in list_unread(table))


def test_a_characteristic_called_dc_is_the_dc_of_its_pin_in_its_condition() -> None:
    rows = "DC voltage at pin 3,,,no signal,2.8,3,3.2,V\nlevel,,3,,,8,,V\n"
    table = read(PINS + "\n" + HEAD + rows)
    dc = {pin.number: {s: str(v.quantity) for s, v in pin.dc.items()} for pin in table.pins}
    assert dc[3] == {"no signal": "min 2.8 V typ 3 V max 3.2 V"}
    assert list_values(table) == {"level": "8 V"}


def test_maximum_ratings_are_called_so() -> None:
    table = read("Absolute maximum ratings,,,\nParameter,Min,Max,Unit\nSupply voltage,,10,V\n")
    assert list_values(table) == {"absolute maximum: Supply voltage": "max 10 V"}


def test_characteristics_alone_make_a_chip_file_with_blank_pins() -> None:
    text = draft_text(read(HEAD + "burst key level,,3,,7.2,8,8.8,V\n"))
    assert "number: 4  # in none of the tables" in text
    assert "name: burst key level" in text
    assert "'pins 1 to 4': not numbered in any table" in text
    bare = draft_chip(
        read(HEAD + "current,,,,,8,,mA\n"), Identity(), Origin("t", "data sheet", "t")
    )
    assert "pins:  #? none is named; give --package" in bare.text
    assert bare.pins == 0


def test_a_drafted_and_completed_file_reads_back_with_its_parameters() -> None:
    rows = "Supply voltage,VP,,,7.2,8,8.8,V\nSandcastle burst key level,,3,,7,7.5,8,V\n"
    text = draft_text(read(PINS + "\n" + HEAD + rows))
    completed = text.replace("summary:", "invented: yes\nsummary:", 1)
    chip = read_chip(completed.encode(), "qz1.yaml")
    assert [(p.name, p.supply, p.pins) for p in chip.parameters] == [
        ("Supply voltage", "VP", ()),
        ("Sandcastle burst key level", None, (3,)),
    ]
    assert chip.supplies[0].voltage.limits(0) == (7.2, 8.8)
    assert chip.parameters[1].source.note == "row 9"
    assert all(pin.expectations == () for pin in chip.pins)


def test_the_levels_of_a_waveform_are_suggested_for_review() -> None:
    rows = (
        "Sandcastle burst key level,,3,,7.2,8,8.8,V\nLine blanking level,,3,,4,4.5,5,V\n"
        "Field blanking level,,3,,2,2.5,3,V\nOutput current,,3,,,5,,mA\n"
    )
    lines = [line.strip() for line in draft_text(read(PINS + "\n" + HEAD + rows)).splitlines()]
    assert (
        "# review: its levels as stated: {kind: sandcastle, burst_key: min 7.2 V typ 8 V max 8.8 V,"
        " line_blanking: min 4 V typ 4.5 V max 5 V, field_blanking: min 2 V typ 2.5 V max 3 V}"
    ) in lines
    assert not any(line.startswith("waveform:") for line in lines)


def test_two_parameters_for_one_level_suggest_neither() -> None:
    rows = "burst key level,,3,a,,8,,V\nburst key level,,3,b,,7,,V\n"
    assert "its levels as stated" not in draft_text(read(PINS + "\n" + HEAD + rows))


def test_a_parameter_of_a_pin_that_the_chip_lacks_is_listed() -> None:
    text = draft_text(read(PINS + "\n" + HEAD + "level,,9,,,8,,V\n"))
    assert "'level 8 V': not used: the chip has no pin 9" in text
    assert "parameters:" not in text


@pytest.mark.parametrize("ruled", [True, False])
def test_characteristics_of_a_data_sheet_over_two_pages(ruled: bool) -> None:
    head = ["Parameter", "Symbol", "Conditions", "Min", "Typ", "Max", "Unit"]
    first = [
        ["Supply current", "IP", "no load", "30", "40", "50", "mA"],
        ["Burst key level at pin 3", "V3", "", "7.2", "8", "8.8", "V"],
        ["Line blanking level at pin 3", "V3", "", "4", "4.5", "5", "V"],
    ]
    second = [
        ["Holding range", "fH", "", "600", "800", "", "Hz"],
        ["Switching threshold at pin 4", "V4", "", "0.6", "0.7", "0.8", "V"],
        ["Light of the lamp", "LL", "", "", "50", "", "lm"],
    ]
    style = [("GRID", (0, 0), (-1, -1), 0.5, (0, 0, 0))] if ruled else []
    paper = io.BytesIO()
    flow = [Table([head, *first], style=style), PageBreak(), Table([head, *second], style=style)]
    SimpleDocTemplate(paper, pagesize=A4).build(flow)
    table = read_data_sheet(paper.getvalue(), "sheet.pdf")
    assert [(p.name, p.pins, p.place.page) for p in table.parameters] == [
        ("Supply current", (), 1),
        ("Burst key level at pin 3", (3,), 1),
        ("Line blanking level at pin 3", (3,), 1),
        ("Holding range", (), 2),
        ("Switching threshold at pin 4", (4,), 2),
    ]
    (line,) = list_unread(table)
    assert line.startswith(f"page 2, row {4 if ruled else 3}: 'Light of the lamp | LL | 50 | lm'")
    assert line.endswith("not used: a parameter; expected a known unit, not 'lm'")


CELLS = st.one_of(
    st.sampled_from(
        ["", "Parameter", "Pin", "Min", "Max", "Unit", "V", "8", "4,2", "mhz", "DC", "-"]
    ),
    st.text(max_size=40),
    st.sampled_from(["9" * 5000, "x " * 3000, "¹" * 50, "pin 9 to 300", "V999", "1e999"]),
)


@settings(max_examples=150, deadline=None)
@given(rows=st.lists(st.lists(CELLS, min_size=1, max_size=8), max_size=8), headed=st.booleans())
def test_any_table_is_drafted_or_refused_in_words(rows: list[list[str]], headed: bool) -> None:
    lines = [",".join(f'"{cell.replace(chr(34), "")}"' for cell in row) for row in rows]
    text = (HEAD if headed else "") + "\n".join(lines)
    with contextlib.suppress(DraftError):
        table = read_pin_table(text.encode("utf-8", "replace"), "t.csv")
        assert draft_chip(table, Identity(), ORIGIN).text


@settings(max_examples=60, deadline=None)
@given(
    numbers=st.lists(st.integers(1, 999), min_size=3, max_size=3, unique=True),
    unit=st.sampled_from(["V", "mV", "mA", "kHz", "µs", "kΩ", "pF", "dB", "%"]),
    pin=st.integers(1, 4),
)
def test_every_row_of_figures_is_a_parameter_with_the_same_figures(
    numbers: list[int], unit: str, pin: int
) -> None:
    low, typ, high = sorted(numbers)
    table = read(f"{HEAD}level,,{pin},,{low},{typ},{high},{unit}\n")
    (parameter,) = table.parameters
    assert str(parameter.value) == f"min {low} {unit} typ {typ} {unit} max {high} {unit}"
    assert parameter.pins == (pin,)
