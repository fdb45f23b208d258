"""Columns are understood by the trade's words, or as the user says."""

from __future__ import annotations

import pytest
from pinfolio.plugins.notes.note_columns import (
    FIELDS,
    UnclearColumns,
    choose_columns,
    parse_choices,
    parse_values,
    understand_heading,
)


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        *(("IC", "chip", ""), ("Pin No.", "pin", ""), ("PIN_NAME", "symbol", "")),
        *(("DC", "dc", ""), ("DC (mV)", "dc", "mV"), ("dc_mv", "dc", "mV"), ("V", "dc", "V")),
        *(("Voltage [V]", "dc", "V"), ("Vp-p", "vpp", "Vp-p"), ("Vpp (mV)", "vpp", "mV")),
        *(("Frequency kHz", "freq", "kHz"), ("kHz", "freq", "kHz"), ("Ω", "ohms", "Ω")),
        *(("Cause", "failure", ""), ("Remedy", "cure", ""), ("Job no", "set-name", "")),
        *(("Fault (as told)", "symptom", ""), ("Date", "date", "")),
    ],
)
def test_a_heading_is_understood_with_its_unit(heading: str, field: str, unit: str) -> None:
    column = understand_heading(heading)
    assert column is not None
    assert (column.field, column.unit) == (field, unit)


@pytest.mark.parametrize("field", FIELDS)
def test_a_field_is_the_heading_of_its_own_column(field: str) -> None:
    column = understand_heading(field)
    assert column is not None
    assert column.field == field


def test_the_users_choice_goes_before_the_words() -> None:
    headings = ("Pin", "Spannung (mV)", "Shelf")
    chosen = parse_choices(["dc=spannung (MV)", "skip=3"], headings)
    columns, unknown = choose_columns(headings, chosen)
    assert [(column.field, column.unit) for column in columns] == [
        ("pin", ""), ("dc", "mV"), ("", ""),
    ]  # fmt: skip
    assert unknown == ()
    assert choose_columns(headings, {})[1] == headings[1:]


def test_two_columns_of_one_field_are_asked_about() -> None:
    with pytest.raises(UnclearColumns, match=r"columns 1 'DC' and 2 'V' both hold dc; .*skip=2"):
        choose_columns(("DC", "V"), {})


@pytest.mark.parametrize(
    ("option", "message"),
    [
        ("dc", "names no column"),
        ("dc=9", "'9' names no single column; there are 1 'pin'"),
        ("symtom=1", "'symtom' is no field of a note; did you mean 'symptom'?"),
    ],
)
def test_a_wrong_choice_is_refused(option: str, message: str) -> None:
    with pytest.raises(UnclearColumns, match=message):
        parse_choices([option], ("pin",))


def test_values_are_by_field() -> None:
    assert parse_values(["chip=TQZ5752", "state=no signal"]) == {
        "chip": "TQZ5752", "condition": "no signal",
    }  # fmt: skip
    for option in ("chip", "skip=3", "chip=" + "x" * 81):
        with pytest.raises(UnclearColumns, match="has no value of up to 80 signs"):
            parse_values([option])
