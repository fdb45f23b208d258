"""Skew, rules, cells and overlooked characters of pages drawn here."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from pinfolio.loaders.scans.ink import Rule, erase_rules, find_ink, find_rules, find_skew
from pinfolio.loaders.scans.page_pictures import (
    PIXELS_PER_POINT,
    UnreadablePictureError,
    decode_picture,
)
from pinfolio.loaders.scans.ruled_cells import divide_by_rules
from pinfolio.loaders.scans.scanned_page import Box, ScannedWord
from pinfolio.loaders.scans.text_boxes import (
    PixelBox,
    are_sideways,
    divide_boxes,
    find_missed_blots,
)

LINES = 30


def draw_text_page() -> Image.Image:
    """Grey paper with dark lines of words as blocks."""
    page = Image.new("L", (1000, 1400), 235)
    draw = ImageDraw.Draw(page)
    for line in range(LINES):
        for word in range(7):
            left, top = 100 + 110 * word, 150 + 36 * line
            draw.rectangle((left, top, left + 70 + 5 * (line % 4), top + 14), fill=40)
    return page


@settings(max_examples=12, deadline=None)
@given(st.floats(-4.5, 4.5))
def test_the_skew_of_a_page_is_found_within_a_tenth_of_a_degree(turned_deg: float) -> None:
    page = draw_text_page().rotate(turned_deg, Image.Resampling.BICUBIC, fillcolor=235)
    assert find_skew(find_ink(page)) == pytest.approx(-turned_deg, abs=0.1)


def test_an_empty_page_has_no_skew() -> None:
    assert find_skew(find_ink(Image.new("L", (300, 400), 255))) == 0.0


def test_stains_are_no_ink() -> None:
    page = draw_text_page()
    stained = page.copy()
    ImageDraw.Draw(stained).ellipse((200, 200, 600, 600), fill=180)
    dark = Image.fromarray(np.minimum(np.asarray(page), np.asarray(stained)))
    paper = find_ink(dark)[560:590, 380:420]
    assert find_ink(page)[560:590, 380:420].mean() == pytest.approx(paper.mean(), abs=0.05)


def test_rules_are_found_and_erased_and_words_are_none() -> None:
    page = draw_text_page()
    draw = ImageDraw.Draw(page)
    draw.line((80, 1300, 900, 1300), fill=30, width=2)
    draw.line((80, 130, 80, 1300), fill=30, width=2)
    across, down = find_rules(find_ink(page))
    assert [round(rule.place, -1) for rule in across] == [1300]
    assert [round(rule.place, -1) for rule in down] == [80]
    assert find_rules(find_ink(erase_rules(page, across, down))) == ([], [])


def test_a_line_is_divided_at_the_gap_between_columns() -> None:
    ink = np.zeros((60, 400), dtype=bool)
    ink[20:34, 50:58] = ink[20:34, 62:70] = True  # a word of two characters
    ink[20:34, 150:190] = True
    parts = divide_boxes(ink, [PixelBox(40, 15, 200, 40)])
    assert parts == [PixelBox(50, 20, 70, 34), PixelBox(150, 20, 190, 34)]


def test_a_lone_digit_that_was_not_detected_is_found_and_dust_is_not() -> None:
    ink = np.zeros((60, 400), dtype=bool)
    ink[20:34, 150:190] = True
    ink[20:34, 50:57] = True  # the digit
    ink[26:28, 90:92] = True  # dust
    found = find_missed_blots(ink, [PixelBox(150, 20, 190, 34)])
    assert found == [PixelBox(50, 20, 57, 34)]


def test_words_between_rules_become_cells() -> None:
    scale = PIXELS_PER_POINT
    across = [Rule(y * scale, round(50 * scale), round(250 * scale)) for y in (100, 120, 140)]
    down = [Rule(x * scale, round(100 * scale), round(140 * scale)) for x in (50, 100, 250)]
    words = [
        ScannedWord("1", 0.99, Box(70, 106, 74, 114)),
        ScannedWord("SCL", 0.99, Box(110, 106, 130, 114)),
        ScannedWord("2", 0.99, Box(70, 126, 74, 134)),
        ScannedWord("a title", 0.99, Box(60, 80, 90, 90)),
    ]
    free, (table,) = divide_by_rules(words, across, down, 3)
    assert [word.text for word in free] == ["a title"]
    assert [[cell.text for cell in row] for row in table.rows] == [["1", "SCL"], ["2", ""]]
    assert table.rows[0][1].place == "page 3 at 110, 106 pt"


def test_a_picture_becomes_a_page_of_a_known_size() -> None:
    packed = io.BytesIO()
    Image.new("RGBA", (600, 850), (0, 0, 0, 0)).save(packed, "PNG")
    page = decode_picture(packed.getvalue())
    assert max(page.size) == round(842 * PIXELS_PER_POINT)
    assert page.getpixel((10, 10)) == 255  # transparent is paper


@given(st.binary(max_size=200))
def test_damaged_pictures_are_refused_with_a_reason(tail: bytes) -> None:
    with pytest.raises(UnreadablePictureError, match="the picture is damaged"):
        decode_picture(b"\x89PNG\r\n\x1a\n" + tail)


def test_a_rule_that_a_stain_hid_divides_its_rows_again() -> None:
    scale = PIXELS_PER_POINT
    seen = (100, 120, 140, 180)
    across = [Rule(y * scale, round(50 * scale), round(250 * scale)) for y in seen]
    down = [Rule(x * scale, round(100 * scale), round(180 * scale)) for x in (50, 100, 250)]
    words = [
        ScannedWord(str(number), 0.99, Box(70, 86 + 20 * number, 74, 94 + 20 * number))
        for number in (1, 2, 3, 4)
    ]
    _, (table,) = divide_by_rules(words, across, down, 1)
    assert [row[0].text for row in table.rows] == ["1", "2", "3", "4"]


def test_a_page_on_its_side_has_lines_that_run_down() -> None:
    lines = [PixelBox(100, 40 * n, 500, 40 * n + 20) for n in range(9)]
    turned = [PixelBox(line.top, line.left, line.bottom, line.right) for line in lines]
    lone_digit = PixelBox(60, 40, 67, 60)
    assert not are_sideways([*lines, lone_digit])
    assert are_sideways([*turned, lone_digit])


def test_a_line_over_two_cells_is_divided_at_the_rule() -> None:
    ink = np.zeros((60, 400), dtype=bool)
    ink[20:34, 50:70] = ink[20:34, 76:96] = True
    parts = divide_boxes(ink, [PixelBox(40, 15, 120, 40)], [Rule(73.0, 0, 60)])
    assert parts == [PixelBox(50, 20, 70, 34), PixelBox(76, 20, 96, 34)]
