"""The bar of limits: zone, expected tick and the reading in the right order."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.drawing.limit_bar import draw_limit_bar
from pinfolio.schema.chips.limits import Limits

SYNC_DC = Limits("dc", "V", 3.4, 3.06, 3.74, True)


def find_zone(drawing: str) -> tuple[float, float]:
    found = re.search(r'class="z" x="([0-9.]+)" y="19" width="([0-9.]+)"', drawing)
    assert found is not None
    return float(found[1]), float(found[1]) + float(found[2])


def find_triangle(drawing: str) -> float:
    found = re.search(r'class="r(?: ok)?" d="M([0-9.]+)', drawing)
    assert found is not None
    return float(found[1])


def test_the_ends_are_named_and_the_tick_is_between_them() -> None:
    drawing = draw_limit_bar(SYNC_DC)
    assert ">3.06 V</text>" in drawing
    assert ">3.74 V</text>" in drawing
    start, end = find_zone(drawing)
    tick = re.search(r'class="t" d="M([0-9.]+)', drawing)
    assert tick is not None
    assert float(tick[1]) + 1.5 == pytest.approx((start + end) / 2, abs=0.1)
    assert 'class="r"' not in drawing


def test_a_reading_stands_on_its_side_of_the_zone() -> None:
    low = draw_limit_bar(SYNC_DC, 1.9)
    assert find_triangle(low) < find_zone(low)[0]
    assert ">1.9 V read</text>" in low
    right = draw_limit_bar(SYNC_DC, 3.3, is_right=True)
    assert find_zone(right)[0] < find_triangle(right) < find_zone(right)[1]
    assert 'class="r ok"' in right


@given(st.floats(-1e4, 1e4))
def test_any_reading_stays_on_the_bar(read: float) -> None:
    drawing = draw_limit_bar(SYNC_DC, read)
    assert 0 <= find_triangle(drawing) <= 300
    assert all(0 <= edge <= 300 for edge in find_zone(drawing))
