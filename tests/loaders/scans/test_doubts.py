"""Cells of scanned tables are proved or doubted by the sense of their columns."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.scans.doubts import (
    HIGHEST,
    LOWEST,
    NUMBER,
    SYMBOL,
    UNIT,
    VALUE,
    WORDS,
    judge_rows,
    list_doubtful_symbols,
)
from pinfolio.loaders.scans.scanned_page import Box, ScannedCell, ScannedWord

PINS = [NUMBER, SYMBOL, VALUE]
LIMITS = [WORDS, LOWEST, VALUE, HIGHEST]


def read(text: str, confidence: float = 0.99, other: str | None = None) -> ScannedCell:
    """A cell as it was recognised; without text nothing was found there."""
    if not text:
        return ScannedCell((), 1)
    word = ScannedWord(text, confidence, Box(10, 10, 20, 18), text if other is None else other)
    return ScannedCell((word,), 1)


def read_pins(*numbers: str) -> list[tuple[ScannedCell, ...]]:
    return [(read(number), read("OUT"), read("4.2")) for number in numbers]


def list_doubts(rows: list[tuple[ScannedCell, ...]], meanings: list[str]) -> list[list[str]]:
    return [[cell.doubt for cell in row] for row in judge_rows(rows, meanings)]


def test_a_six_between_eight_and_ten_is_a_nine() -> None:
    """A direction classifier turns a lone 9 into a 6, at a confidence of 0.9999."""
    row = judge_rows(read_pins("7", "8", "6", "10"), PINS)[2]
    assert row[0].text == "9"
    assert row[0].proof == "9 by the sequence; read as '6'"
    assert row[0].doubt == ""


def test_a_number_that_was_not_seen_is_proved_by_its_neighbours() -> None:
    assert judge_rows(read_pins("14", "", "12"), PINS)[1][0].text == "13"


def test_a_lone_digit_out_of_sequence_is_doubted() -> None:
    doubts = list_doubts(read_pins("1", "2", "3", "6"), PINS)
    assert doubts[3][0] == "not in the sequence of pin numbers"
    assert [row[0] for row in doubts[:3]] == ["", "", ""]


def test_cells_of_two_lines_beside_a_gap_are_doubted() -> None:
    lower = ScannedWord("BOUT", 0.99, Box(10, 22, 20, 30), "BOUT")
    joined = read("GOUT").join(ScannedCell((lower,), 1))
    rows = [(read("15"), joined, read("4.2")), (read("17"), read("ABL"), read("1.2"))]
    assert list_doubts(rows, PINS)[0] == ["", "two rows may be joined here", ""]


def test_two_readings_that_differ_are_doubted() -> None:
    rows = [(read("1"), read("SIF", other="S1F"), read("4.2", other="42"))]
    assert list_doubts(rows, PINS)[0][1:] == [
        "read as 'SIF' and as 'S1F'",
        "read as '4.2' and as '42'",
    ]


def test_a_symbol_with_half_a_bracket_is_doubted() -> None:
    rows = [(read("1"), read(text), read("4.2")) for text in ("[FIN1", "OUT(", "IN(+)", "B-Y")]
    strange = "signs that symbols do not have"
    assert [row[1] for row in list_doubts(rows, PINS)] == [strange, strange, "", ""]


def test_in_a_poorly_printed_table_only_the_clearest_values_are_taken() -> None:
    clear = [(read("1"), read("VCC"), read("8.0")), (read("2"), read("IN"), read("6.5", 0.98))]
    poor = [(read(str(n)), read("KIN", other="RIN"), read("2.9")) for n in (3, 4, 5)]
    assert [row[2] for row in list_doubts(clear, PINS)] == ["", ""]
    assert [row[2] for row in list_doubts([*clear, *poor], PINS)] == [
        "",
        "hard to read, in a table that is poorly printed",
        *[""] * 3,
    ]


def test_a_letter_like_a_digit_is_doubted_beside_others_of_its_series() -> None:
    assert list_doubtful_symbols({1: "IFINI", 2: "IFIN2", 3: "ABL", 4: "VCO"}) == [1]


def test_limits_that_do_not_rise_are_doubted() -> None:
    rows = [(read("burst key"), read("7.2"), read("80"), read("8.8"))]
    assert list_doubts(rows, LIMITS)[0] == ["", *["'80' before '8.8' does not rise"] * 3]


def test_a_lost_decimal_point_is_doubted() -> None:
    rows = [
        (read("1"), read("VCC"), read("8.1")),
        (read("2"), read("OUT"), read("42")),
        (read("3"), read("DET"), read("03")),
        (read("4"), read("ABL"), read("2.5")),
    ]
    doubts = [row[2] for row in list_doubts(rows, PINS)]
    assert doubts == ["", "a decimal point may be lost", "a decimal point may be lost", ""]


def test_values_of_several_units_are_not_compared_with_each_other() -> None:
    rows = [
        (read("supply voltage"), read("8.0"), read("V")),
        (read("ripple"), read("2.5"), read("mV")),
        (read("delay"), read("320"), read("ns")),
    ]
    assert list_doubts(rows, [WORDS, VALUE, UNIT]) == [["", "", ""]] * 3


def test_a_text_that_a_person_compared_is_not_doubted() -> None:
    word = ScannedWord("6", 1.0, Box(10, 10, 20, 18), is_confirmed=True)
    rows = [(ScannedCell((word,), 1), read("OUT"), read("4.2")), *read_pins("1", "2")]
    assert judge_rows(rows, PINS)[0][0].doubt == ""


@given(st.integers(1, 40), st.integers(3, 30), st.data())
def test_one_wrong_number_inside_a_sequence_never_stays(
    first: int, count: int, data: st.DataObject
) -> None:
    numbers = [str(first + index) for index in range(count)]
    place = data.draw(st.integers(1, count - 2))
    wrong = data.draw(st.sampled_from(["", "6", "l", "11", "I0", "48", "?"]))
    rows = judge_rows(read_pins(*numbers[:place], wrong, *numbers[place + 1 :]), PINS)
    cell = rows[place][0]
    assert cell.text == numbers[place] or cell.doubt
