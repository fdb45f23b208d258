"""SECAM colour, recorder luminance, sound and IF, against sums of frequencies and envelopes."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.composite import measure_composite
from pinfolio.plugins.readings.video.decoding.carriers import (
    measure_fm_carrier,
    measure_fm_luminance,
    measure_modulated_if,
)
from pinfolio.plugins.readings.video.figure import Figure, Record
from pinfolio.schema.waveforms.kinds.carriers import FmCarrier, ModulatedIf
from pinfolio.schema.waveforms.kinds.recorder import FmLuminance

from ..composite_signal import BARS, Signal

LINE_S = 64e-6


def draw_luma(count: int, interval_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Luminance of 75 % bars, 1 V from sync tip to white, and times of the samples."""
    signal = Signal(burst=0.0, chroma=0.0, noise_v=0.0, field_blanking=False)
    return signal.samples(count, interval_s), (np.arange(count) * interval_s + 99.3 * LINE_S)


def modulate(hz: np.ndarray, interval_s: float) -> np.ndarray:
    """A sine whose phase is the running sum of its frequency (trapezoidal rule)."""
    steps = np.concatenate([[0.0], (hz[1:] + hz[:-1]) / 2])
    return np.sin(2 * np.pi * np.cumsum(steps) * interval_s)


def collect(figures: object) -> dict[str, Figure]:
    return {figure.name: figure for figure in figures}  # type: ignore[attr-defined]


def draw_secam(off_hz: float, noise_v: float = 0.004) -> Record:
    """Bars of 75 %: D'R = -1.902 (R-Y) by 280 kHz on even lines, D'B = 1.505 (B-Y) by 230 kHz."""
    fine, count, interval_s = 4, 20_000, 40e-9
    luma, t_s = draw_luma(count * fine, interval_s / fine)
    line = np.floor(t_s / LINE_S + 0.02).astype(int)
    after_s = t_s - line * LINE_S
    rgb = 0.75 * BARS
    rgb[0] = 1.0
    y = rgb @ (0.299, 0.587, 0.114)
    bar = np.clip(np.floor((after_s - 10.5e-6) / 6.5e-6), -1, 7).astype(int)
    red_hz = np.append(-1.902 * 280e3 * (rgb[:, 0] - y), 0.0)[bar]
    blue_hz = np.append(1.505 * 230e3 * (rgb[:, 2] - y), 0.0)[bar]
    hz = np.where(line % 2 == 0, 4_406_250 + off_hz + red_hz, 4_250_000 + blue_hz)
    gate = (after_s > 5.6e-6) & (after_s < 62.5e-6)
    volts = luma + 0.1 * gate * modulate(hz, interval_s / fine)
    chance = np.random.default_rng(2)
    return Record(volts[::fine] + chance.normal(0, noise_v, count), interval_s)


def test_secam() -> None:
    """ITU-R BT.470-6: rest frequencies 282 and 272 times the line; +-2 kHz."""
    reading = measure_composite(draw_secam(5e3), "SECAM-L", 75.0)
    figures = reading.figures
    assert reading.detected.colour == "SECAM"
    for name, expected_hz in (
        ("rest frequency, D'R lines", 4_411_250),
        ("rest frequency, D'B lines", 4_250_000),
        ("red deviation, D'R", -280e3),
        ("cyan deviation, D'R", 280e3),
        ("blue deviation, D'B", 230e3),
        ("yellow deviation, D'B", -230e3),
    ):
        # 1.902 times 0.701 times 0.75 is 1 to 2e-4, and 1.505 times 0.886 times 0.75 as well.
        error_hz = 3 * figures[name].uncertainty + 100
        assert figures[name].value == pytest.approx(expected_hz, abs=error_hz), name
    size = figures["carrier on the back porch, D'B lines"]
    assert size.value == pytest.approx(0.2, abs=3 * size.uncertainty + 1e-3)


def test_recorder_luminance() -> None:
    """3.8 MHz at sync tip to 4.8 MHz at white: blanking at 4.1 MHz."""
    interval_s = 10e-9
    luma, _ = draw_luma(80_000, interval_s)
    hz = 3.8e6 + 1e6 * (luma + 0.3)
    volts = 0.2 * modulate(hz, interval_s) + np.random.default_rng(4).normal(0, 0.003, len(hz))
    waveform = FmLuminance(
        kind="FM luminance", system="PAL-B/G", bars="75 %", vpp="400 mVpp",
        sync_tip="3.8 MHz", white="4.8 MHz",
    )  # fmt: skip
    figures = collect(measure_fm_luminance(Record(volts[::4], 4 * interval_s), waveform))
    for name, expected in (
        ("carrier at sync tip", 3.8e6),
        ("carrier at blanking", 4.1e6),
        ("carrier at the white bar", 4.8e6),
        ("carrier amplitude", 0.4),
    ):
        assert figures[name].value == pytest.approx(expected, abs=4 * figures[name].uncertainty)


def test_sound_carrier() -> None:
    t_s = np.arange(60_000) * 40e-9
    volts = 0.1 * np.sin(2 * np.pi * 5.5e6 * t_s + 50 * np.sin(2 * np.pi * 1e3 * t_s))
    waveform = FmCarrier(
        kind="FM carrier", carrier="5.5 MHz", vpp="200 mVpp", deviation="50 kHz", tone="1 kHz"
    )
    figures = collect(measure_fm_carrier(Record(volts, 40e-9), waveform))
    assert figures["deviation"].value == pytest.approx(50e3, rel=3e-3)
    assert figures["mean of the carrier"].value == pytest.approx(5.5e6, abs=500)
    assert figures["carrier amplitude"].value == pytest.approx(0.2, rel=3e-3)


def test_vision_carrier() -> None:
    """10 % left at white: blanking at 73 % (ITU-R BT.470-6, 72.5 to 77.5 %)."""
    interval_s = 5e-9
    luma, t_s = draw_luma(60_000, interval_s)
    envelope = 1 - 0.9 * (luma + 0.3)
    record = Record(14e-3 * envelope * np.cos(2 * np.pi * 38.9e6 * t_s), interval_s)
    waveform = ModulatedIf(kind="modulated IF", system="PAL-B/G", carrier="38.9 MHz", vpp="28 mVpp")
    figures = collect(measure_modulated_if(record, waveform))
    assert figures["carrier at sync tip"].value == pytest.approx(28e-3, rel=5e-3)
    assert figures["carrier left at blanking"].value == pytest.approx(73, abs=0.5)
    assert figures["carrier left at the white bar"].value == pytest.approx(10, abs=0.5)
