"""The page that shows the values of a scan beside their pictures."""

from __future__ import annotations

from pinfolio.loaders.scans.scanned_page import Box
from pinfolio.plugins.contributing.scan_review import ReadValue
from pinfolio.plugins.web.scan_page import write_scan_page


def make_value(text: str, doubt: str = "", other: str = "") -> ReadValue:
    place = "page 3 at 120, 128 pt"
    return ReadValue(
        "pin 2: symbol", text, other, doubt, place, 97, 3, Box(120, 128, 140, 136), b"jpeg"
    )


def test_doubtful_values_come_first_with_both_readings() -> None:
    page = write_scan_page("a.pdf", [make_value("SIF", "hard to read", "S1F"), make_value("ABL")])
    assert page.index("Doubtful: 1 value") < page.index("“SIF” or “S1F”")
    assert page.index("hard to read") < page.index("Read: 1 value") < page.index("“ABL”")
    assert "97 %, page 3 at 120, 128 pt" in page


def test_text_of_a_scan_is_inert() -> None:
    hostile = '<img src=x onerror="go()">\u202e'
    page = write_scan_page(hostile, [make_value(hostile, hostile, hostile)])
    assert "<img src=x" not in page
    assert "\u202e" not in page
    assert page.count("<img ") == 1
    assert "default-src 'none'" in page
