"""Line sync found in either polarity, timed, numbered, and told from other pulses."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.figure import Record
from pinfolio.plugins.readings.video.line_grid import NoSuchLine, lay_grid, leave_out_blanking
from pinfolio.plugins.readings.video.sync_pulses import NoSync, find_sync

from .composite_signal import Signal

INTERVAL_S = 40e-9


def record_of(signal: Signal, count: int = 20_000, interval_s: float = INTERVAL_S) -> Record:
    return Record(signal.samples(count, interval_s), interval_s)


@pytest.mark.parametrize("lines", [625, 525])
@pytest.mark.parametrize("gain", [1.0, -1.0, 0.1, 12.0])
def test_sync_is_found_in_any_size_and_polarity(lines: int, gain: float) -> None:
    signal = Signal(lines=lines, gain=gain, noise_v=0.005 * abs(gain))
    sync = find_sync(record_of(signal))
    assert sync.sign == np.sign(gain)
    assert sync.line_s == pytest.approx(signal.line_s, abs=4 * sync.line_uncertainty_s)
    assert sync.widths_s.mean() == pytest.approx(4.7e-6, abs=10e-9)
    height = 0.3 if lines == 625 else 40 / 140
    assert sync.heights_v.mean() == pytest.approx(height * abs(gain), rel=0.01)


def test_hum_as_large_as_the_signal_does_not_hide_sync() -> None:
    sync = find_sync(record_of(Signal(hum_v=0.5), 500_000))
    assert len(sync.starts_s) > 280


def test_compressed_sync_is_found() -> None:
    sync = find_sync(record_of(Signal(sync=0.3)))
    assert sync.heights_v.mean() == pytest.approx(0.09, abs=0.004)


@pytest.mark.parametrize(
    ("volts", "interval_s", "reason"),
    [
        (np.zeros(5000), INTERVAL_S, "level"),
        (np.sin(np.arange(5000) / 3), INTERVAL_S, "as wide as line sync"),
        (np.random.default_rng(1).normal(size=5000), INTERVAL_S, "as wide as line sync"),
        (np.sin(np.arange(500)), 5e-6, "too far apart"),
    ],
)
def test_what_is_no_sync(volts: np.ndarray, interval_s: float, reason: str) -> None:
    with pytest.raises(NoSync, match=reason):
        find_sync(Record(volts, interval_s))


@pytest.mark.parametrize("lines", [625, 525])
def test_lines_are_numbered_from_the_field_sync(lines: int) -> None:
    """A frame and a half from line 100 on: every picture line has the number it was made with."""
    signal = Signal(lines=lines, from_line=100.0)
    record = record_of(signal, 600_000, 100e-9)
    grid = lay_grid(record, find_sync(record))
    assert grid.numbers is not None
    made = np.round(grid.starts_s / signal.line_s + 99).astype(int) % lines + 1
    picture = np.isin(grid.numbers, np.arange(30, 250))
    assert picture.sum() > 300
    np.testing.assert_array_equal(grid.numbers[picture], made[picture])


def test_a_line_of_a_field_is_chosen() -> None:
    record = record_of(Signal(from_line=300), 500_000)
    grid = lay_grid(record, find_sync(record))
    chosen = grid.choose(40, 2)
    assert chosen.numbers is not None
    assert set(chosen.numbers) == {352}
    with pytest.raises(NoSuchLine, match="line 200 is not in the record"):
        grid.choose(200, 1)


def test_a_line_cannot_be_chosen_without_field_sync() -> None:
    record = record_of(Signal())
    with pytest.raises(NoSuchLine, match="holds no field sync"):
        lay_grid(record, find_sync(record)).choose(18, 1)


@pytest.mark.parametrize(("from_line", "left_out"), [(305.2, True), (10.2, True), (100.2, False)])
def test_field_blanking_is_left_out(from_line: float, left_out: bool) -> None:
    record = record_of(Signal(from_line=from_line), 50_000)
    grid = leave_out_blanking(lay_grid(record, find_sync(record)))
    assert (grid.left_out > 0) == left_out
    means = grid.cut(12e-6, 17e-6).volts.mean(axis=1)
    assert means.min() > 0.6  # the white bar on every line that is left
