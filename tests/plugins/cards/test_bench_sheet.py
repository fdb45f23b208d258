"""The bench sheet: every pin once, side by side the chip, within the rows of a page."""

from __future__ import annotations

import pytest
from pinfolio.plugins.cards.bench_sheet import ROWS_A_PAGE, BenchSheet, build_bench_sheet
from pinfolio.schema import Chip


def list_numbers(sheet: BenchSheet) -> list[list[int]]:
    return [[line.number for side in page for line in side.lines] for page in sheet.pages]


def change_package(jungle: Chip, family: str, pins: int) -> Chip:
    """The jungle's figures in another package; positions beyond its pins are not listed."""
    package = jungle.package.model_copy(
        update={"family": family, "pins": pins, "pitch": None, "row_spacing": None}
    )
    listed = jungle.pins[: min(pins, len(jungle.pins))]
    return jungle.model_copy(update={"package": package, "pins": listed})


def test_two_pages_side_by_side_are_the_chip(jungle: Chip) -> None:
    sheet = build_bench_sheet(jungle)
    assert list_numbers(sheet) == [list(range(1, 27)), list(range(52, 26, -1))]
    assert [page[0].body for page in sheet.pages] == ["right", "left"]
    assert all(page[0].has_notch for page in sheet.pages)
    assert sheet.hint == "Lay the pages side by side: they are the chip, seen from the top."


def test_from_the_solder_side_the_rows_change_places(jungle: Chip) -> None:
    sheet = build_bench_sheet(jungle, side="solder")
    assert list_numbers(sheet) == [list(range(52, 26, -1)), list(range(1, 27))]
    assert [page[0].title for page in sheet.pages] == ["Left row", "Right row"]


@pytest.mark.parametrize(
    ("family", "pins", "pages"),
    [("SDIP", 64, 4), ("QFP", 48, 2), ("QFP", 64, 4), ("QFP", 80, 4), ("SIP", 9, 1), ("DIP", 8, 2)],
)
def test_long_rows_and_four_sides(jungle: Chip, family: str, pins: int, pages: int) -> None:
    sheet = build_bench_sheet(change_package(jungle, family, pins))
    assert len(sheet.pages) == pages
    assert sorted(n for page in list_numbers(sheet) for n in page) == list(range(1, pins + 1))
    assert max(map(len, list_numbers(sheet))) <= ROWS_A_PAGE


def test_four_sides_begin_at_pin_1_from_the_top(jungle: Chip) -> None:
    """JEDEC MS-026: pin 1 at the upper left, counted down the left side and on round."""
    sheet = build_bench_sheet(change_package(jungle, "QFP", 64))
    assert list_numbers(sheet) == [
        list(range(1, 17)),
        list(range(17, 33)),
        list(range(48, 32, -1)),
        list(range(64, 48, -1)),
    ]


def test_a_line_has_the_figures_of_the_chosen_state_alone(jungle: Chip) -> None:
    row = build_bench_sheet(jungle, "no signal").pages[0][0].lines[12].row
    assert row is not None
    assert [cell.expectation and cell.expectation.condition for cell in row.cells] == ["no signal"]


def test_warnings_stand_beside_their_pins(jungle: Chip) -> None:
    sheet = build_bench_sheet(jungle)
    remarks = {
        line.number: line.remark for page in sheet.pages for side in page for line in side.lines
    }
    assert remarks[46] == "⚠ x10 probe only"
    assert remarks[24] == "⚠ X-radiation: see cautions"
    assert any(caution.startswith("Pin 24 X-RAY: X-radiation") for caution in sheet.cautions)


@pytest.mark.parametrize(
    ("family", "pins", "rows"),
    [("SDIP", 64, 16), ("QFP", 80, 20), ("QFP", 48, 0), ("SDIP", 52, 26)],
)
def test_the_fullest_page_says_how_high_a_row_may_be(
    jungle: Chip, family: str, pins: int, rows: int
) -> None:
    assert build_bench_sheet(change_package(jungle, family, pins)).most_rows == rows
