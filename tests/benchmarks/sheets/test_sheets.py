"""The sheets are sound: enough of them, always the same, and their truth is printed in them."""

from __future__ import annotations

import csv
import io
from collections import Counter
from itertools import pairwise

import openpyxl
import pytest

from sheets.corpus import QUIRKS, make_sheets
from sheets.languages import FUNCTIONS, HEADINGS, LANGUAGES, PARAMETERS
from sheets.scoring import Draft, equals, score_draft
from sheets.sheet import KINDS, Level, Pin, Sheet, Truth, Value

LEAST_SHEETS = 120
SHEETS = list(make_sheets())


def list_cells(sheet: Sheet) -> str:
    return "\n".join(
        text
        for grid in sheet.case.grids
        for text in (*grid.before, *(cell for row in grid.rows for cell in row), *grid.after)
    )


def test_there_are_enough_sheets_of_all_kinds_and_languages() -> None:
    assert len(SHEETS) >= LEAST_SHEETS
    assert {sheet.kind for sheet in SHEETS} == {*KINDS}
    assert {sheet.language for sheet in SHEETS} == {*LANGUAGES}
    assert QUIRKS.keys() <= {sheet.quirk for sheet in SHEETS}
    assert len({sheet.file_name for sheet in SHEETS}) == len(SHEETS)


def test_each_kind_of_file_meets_each_language_or_nearly() -> None:
    pairs = Counter((sheet.kind, sheet.language) for sheet in SHEETS)
    assert len(pairs) >= 0.8 * len(KINDS) * len(LANGUAGES)


def test_the_sheets_are_the_same_each_time() -> None:
    assert [sheet.case for sheet in make_sheets()] == [sheet.case for sheet in SHEETS]


@pytest.mark.parametrize("words", [HEADINGS, FUNCTIONS, PARAMETERS])
def test_every_word_is_translated(words: dict[str, dict[str, str]]) -> None:
    for key, translations in words.items():
        assert [*translations] == [*LANGUAGES], key
        assert all(translations.values()), key


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_everything_true_is_printed(sheet: Sheet) -> None:
    cells = list_cells(sheet)
    for truth in sheet.case.truths:
        for number, pin in truth.pins.items():
            assert number == pin.number
            assert pin.symbol in cells
            assert (pin.function or "") in cells
            printed = [text for value in pin.dc.values() for text in value.printed]
            assert all(text in cells for text in (*printed, *(text for text, _ in pin.stated)))
        for parameter in truth.parameters:
            assert parameter.name in cells
        assert all(text in cells for text in truth.listed)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_pins_count_from_one_and_limits_rise(sheet: Sheet) -> None:
    for truth in sheet.case.truths:
        assert sorted(truth.pins) == [*range(1, len(truth.pins) + 1)]
        for value in (value for pin in truth.pins.values() for value in pin.dc.values()):
            limits = (value.level.low, value.level.typ, value.level.high)
            stated = [limit for limit in limits if limit is not None]
            assert stated
            assert all(low <= high for low, high in pairwise(stated))


def test_a_choice_is_asked_about_or_leaves_the_rest_to_be_listed() -> None:
    for sheet in SHEETS:
        for truth in sheet.case.truths[1:]:
            others = [text for pin in truth.pins.values() for text in pin.stated]
            assert sheet.case.question is not None or others, sheet.name


def test_separated_text_reads_back_as_its_grid() -> None:
    for sheet in SHEETS:
        if sheet.kind in ("csv", "semicolon") and not sheet.case.grids[0].before:
            separator = "," if sheet.kind == "csv" else ";"
            rows = [*csv.reader(io.StringIO(sheet.content.decode()), delimiter=separator)]
            grid = sheet.case.grids[0]
            assert rows[: len(grid.rows)] == grid.rows


def test_workbooks_keep_numbers_as_numbers() -> None:
    sheet = next(each for each in SHEETS if each.name.startswith("equal symbols xlsx"))
    page = openpyxl.load_workbook(io.BytesIO(sheet.content)).active
    assert page is not None
    assert [cell.value for cell in page["A"]][1:] == [*sheet.case.truths[0].pins]
    assert all(isinstance(cell.value, (int, float)) for cell in page["D"][1:])


DRAFT = """
file_format: pinfolio chip 1
pins:
  - number: 1
    symbol: VCC
    function: supply voltage
    expectations:
      - {condition: no signal, dc: 9 V}
  - number: 2
    symbol: OUT
    function: video output
"""


LIMITS_DRAFT = """
pins:
  - number: 1
    symbol: VCC
    expectations:
      - {dc: 8 V .. 10 V}
"""


def make_truth(dc_v: float, signal: str) -> Truth:
    supply = Pin(1, "VCC", "supply voltage", {"": Value(Level(typ=dc_v), (str(dc_v),))})
    output = Pin(2, "OUT", "video output", {"": Value(Level(typ=2.2), ("2.2",))}, ((signal, "AC"),))
    return Truth({1: supply, 2: output})


def test_a_value_is_right_false_listed_or_lost() -> None:
    silent, listing = Draft.read(DRAFT, ""), Draft.read(DRAFT, "not read: row 3: '2 | OUT | 2.2'")
    lost, listed = (score_draft(draft, make_truth(9.0, "2.2")) for draft in (silent, listing))
    assert lost.counts == {"pin right": 2, "value right": 1, "value lost": 1, "text lost": 1}
    assert listed.counts == {"pin right": 2, "value right": 1, "value listed": 1, "text right": 1}
    wrong = score_draft(listing, make_truth(8.0, "2.2"))
    assert wrong.counts["value false"] == 1


def test_limits_left_out_are_lost_unless_their_column_is_listed() -> None:
    headings = ("min.", "typ.", "max.")
    value = Value(Level(8, 9, 10), ("8", "9", "10"), headings)
    truth = Truth({1: Pin(1, "VCC", dc={"": value})})
    listing = "'typ.': heading of column 5 not known"
    silent, listed = Draft.read(LIMITS_DRAFT, ""), Draft.read(LIMITS_DRAFT, listing)
    assert score_draft(silent, truth).counts["value lost"] == 1
    assert score_draft(listed, truth).counts["value listed"] == 1


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("2.5 V", Level(typ=2.5)),
        ("700 mV", Level(typ=0.7)),
        ("min 1 V typ 2 V max 3 V", Level(1, 2, 3)),
        ("40 mA", Level(typ=0.04, unit="A")),
    ],
)
def test_quantities_are_compared_in_base_units(text: str, level: Level) -> None:
    assert equals(text, level)
    assert not equals(text, Level(typ=99, unit=level.unit))
