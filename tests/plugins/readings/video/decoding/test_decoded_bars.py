"""Colour-difference and RGB bars, written down from the matrix of ITU-R BT.601."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.decoding.decoded_bars import DecodedReading, measure_decoded
from pinfolio.plugins.readings.video.figure import Record
from pinfolio.schema.waveforms.kinds.colour_difference import ColourDifference, RgbBars

BARS = np.array(
    [(1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0)], float
)
RGB = np.vstack([BARS[:1], 0.75 * BARS[1:]])
LUMA = RGB @ (0.299, 0.587, 0.114)
R_Y, B_Y = RGB[:, 0] - LUMA, RGB[:, 2] - LUMA
U, V = 0.492111 * B_Y, 0.877283 * R_Y
RED_DIFFERENCE = ColourDifference(
    kind="colour difference", system="PAL-B/G", axis="R-Y", bars="75 %", vpp="1.05 Vpp"
)
RED = RgbBars(kind="RGB bars", system="PAL-B/G", colour="red", bars="75 %", vpp="2.2 Vpp")


def draw(levels: np.ndarray, count: int = 8000, interval_s: float = 80e-9) -> Record:
    """Samples of lines of eight bars from 10.5 µs to 62.5 µs, with noise."""
    at_s = (np.arange(count) * interval_s + 23e-6) % 64e-6
    edges = np.linspace(10.5e-6, 62.5e-6, 9)
    volts = np.zeros(count)
    for level, start_s, end_s in zip(levels, edges[:-1], edges[1:], strict=True):
        up, down = (np.clip((at_s - e) / 0.4e-6 + 0.5, 0, 1) for e in (start_s, end_s))
        volts += level * (up - down)
    return Record(volts + np.random.default_rng(3).normal(0, 0.005, count), interval_s)


def measure(levels: np.ndarray) -> tuple[DecodedReading, dict[str, tuple[float, float]]]:
    reading = measure_decoded(draw(levels), RED_DIFFERENCE, None)
    assert reading is not None
    return reading, {one.name: (one.value, one.uncertainty) for one in reading.figures}


def test_levels_and_size() -> None:
    """R-Y of 75 % bars goes from 0.75 (0 - 0.701) to 0.75 0.701: 1.0515 Vpp (BT.601)."""
    reading, figures = measure(R_Y)
    assert not reading.is_inverted
    size, error = figures["size of the bars"]
    assert size == pytest.approx(1.0515, abs=3 * error)
    for name, level in zip(("yellow", "cyan", "red", "black"), R_Y[[1, 2, 5, 7]], strict=True):
        value, error = figures[f"{name} level"]
        assert value == pytest.approx(level, abs=3 * error)
    # B-Y goes from -0.75 0.886 to 0.75 0.886.
    assert figures["B-Y that goes with it"][0] == pytest.approx(1.329, abs=3e-3)


@pytest.mark.parametrize("turn_deg", [-25.0, 12.0])
def test_a_demodulator_whose_reference_is_turned(turn_deg: float) -> None:
    """V cos p + U sin p over 0.877: the definition of synchronous demodulation."""
    turn = np.deg2rad(turn_deg)
    _, figures = measure((V * np.cos(turn) + U * np.sin(turn)) / 0.877283)
    value, error = figures["turn of the axis"]
    assert value == pytest.approx(turn_deg, abs=3 * error)
    assert error < 0.1


def test_luminance_and_polarity() -> None:
    reading, figures = measure(-(R_Y + 0.2 * LUMA))
    assert reading.is_inverted
    assert abs(figures["luminance in it"][0]) == pytest.approx(20, abs=0.2)


def test_crosstalk_of_colours() -> None:
    reading = measure_decoded(draw(2.2 / 1.0 * (RGB[:, 0] + 0.15 * RGB[:, 1])), RED, None)
    assert reading is not None
    figures = {one.name: one.value for one in reading.figures}
    assert figures["green in it"] == pytest.approx(15, abs=0.2)
    assert figures["blue in it"] == pytest.approx(0, abs=0.2)
    assert figures["size of the bars"] == pytest.approx(2.2, abs=5e-3)


def test_another_signal_has_no_bars() -> None:
    t_s = np.arange(8000) * 80e-9
    assert measure_decoded(Record(np.sin(2e5 * t_s), 80e-9), RED_DIFFERENCE, None) is None
