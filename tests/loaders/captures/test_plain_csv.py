"""A capture written as CSV is read back, to more digits than a converter resolves."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.loaders.captures.capture import Capture
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.captures.plain_csv import format_csv


def test_times_and_volts_come_back() -> None:
    count, interval_s = 300, 40e-9
    channels = (np.sin(np.arange(count) / 7), np.linspace(-1, 5, count))
    capture = Capture(
        -2e-6 + interval_s * np.arange(count), channels, interval_s, ("luma", "a maker's name")
    )
    text = format_csv(capture)
    assert text.startswith(b"time (s),CH1 (V),CH2 (V)\n-2e-06,0,-1\n")
    again = read_capture(text, "a.csv")
    assert again.interval_s == pytest.approx(interval_s)
    assert again.t_s == pytest.approx(capture.t_s, abs=1e-12)
    assert again.channels[1] == pytest.approx(channels[1], rel=1e-6, abs=1e-6)
    assert again.remarks == ()
