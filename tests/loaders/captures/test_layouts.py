"""Exports of invented instruments: each layout is read right, or refused with its reason."""

from __future__ import annotations

import pytest
from pinfolio.loaders.captures.capture import CaptureError
from pinfolio.loaders.captures.capture_file import read_capture

from .layouts import (  # noqa: F401  each registers its layouts
    column_layouts,
    language_layouts,
    refused_layouts,
    settings_layouts,
)
from .layouts.record import LAYOUTS, REFUSALS, Layout, Refusal


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_a_layout_is_read_right(layout: Layout) -> None:
    capture = read_capture(layout.data, "export.csv")
    assert capture.interval_s == pytest.approx(layout.interval_s, rel=1e-3)
    if layout.start_s is not None:
        assert capture.t_s[0] == pytest.approx(layout.start_s, abs=0.6 * layout.interval_s)
    if not layout.channel:
        assert capture.names == tuple(layout.channels)
    for name, volts in layout.channels.items():
        read = capture.channels[capture.find_channel(layout.channel or name)]
        assert read == pytest.approx(volts, abs=layout.volts)


def test_what_is_assumed_is_said_and_nothing_else() -> None:
    """Units stated in settings, lines of units and headings leave no remark."""
    quiet = ("settings whose names begin alike", "axis word and four channel numbers")
    for layout in LAYOUTS:
        if layout.name in quiet:
            assert read_capture(layout.data, "export.csv").remarks == ()


@pytest.mark.parametrize("refusal", REFUSALS, ids=lambda refusal: refusal.name)
def test_a_layout_that_cannot_be_understood_is_refused(refusal: Refusal) -> None:
    with pytest.raises(CaptureError) as refused:
        read_capture(refusal.data, "export.csv")
    for word in refusal.reason:
        assert word in str(refused.value)
    assert str(refused.value).count("; line ") == 2, "the two lines are quoted"
