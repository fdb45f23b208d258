"""Headings with a wrong letter are mended, values never."""

from __future__ import annotations

from pinfolio.loaders.scans.heading_mending import mend_headings
from pinfolio.loaders.scans.scanned_page import (
    Box,
    ScannedCell,
    ScannedPage,
    ScannedTable,
    ScannedWord,
)


def mend(*lines: tuple[str, ...]) -> list[str]:
    words = [
        ScannedWord(text, 0.9, Box(60 * place, 100 + 14 * line, 60 * place + 40, 108 + 14 * line))
        for line, row in enumerate(lines)
        for place, text in enumerate(row)
    ]
    return [word.text for word in mend_headings(ScannedPage(1, 595, 842, 0.0, tuple(words))).words]


def test_letters_of_headings_are_mended_beside_two_that_are_right() -> None:
    read = mend(("Pin", "Symbul", "DC mln (y)", "DC typ (V)"))
    assert read == ["Pin", "symbol", "DC min (V)", "DC typ (V)"]


def test_values_and_prose_are_left_alone() -> None:
    lines = (("1", "SYMB", "4.2"), ("a syrnbol", "of the", "device"))
    assert mend(*lines) == [text for line in lines for text in line]


def test_a_column_that_counts_has_its_heading_again() -> None:
    def cell(text: str) -> ScannedCell:
        word = ScannedWord(text, 0.99, Box(10, 10, 20, 18))
        return ScannedCell((word,) if text else (), 1)

    rows = [("", "Symbol", "Function"), ("1", "SCL", "clock"), ("2", "SDA", "data")]
    table = ScannedTable(Box(0, 0, 99, 99), tuple(tuple(map(cell, row)) for row in rows))
    mended = mend_headings(ScannedPage(1, 595, 842, 0.0, (), (table,)))
    assert [each.text for each in mended.tables[0].rows[0]] == ["Pin", "Symbol", "Function"]
