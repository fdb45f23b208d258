"""Clipping and AC coupling of pulses, chroma and field drive; a natural flat end is neither."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pinfolio.loaders.captures.capture import Capture
from pinfolio.plugins.readings.capture_setup import explain_long_end, find_setup_defects
from pinfolio.plugins.readings.trace_measurements import measure_trace
from pinfolio.schema import Expectation

INTERVAL_S = 80e-9
STEP_V = 0.04
SANDCASTLE = {
    "kind": "sandcastle",
    "system": "PAL-B/G",
    "burst_key": "8 V",
    "line_blanking": "4.5 V",
    "base": "0 V",
}
FLYBACK = {"kind": "flyback pulse", "system": "PAL-B/G", "peak": "8 V", "width": "12 µs"}
DRIVE = {"kind": "vertical drive", "system": "PAL-B/G", "vpp": "8 Vpp", "retrace": "5 %"}
CHROMA = {"kind": "chrominance", "system": "PAL-B/G", "bars": "75 %", "burst": "4 Vpp"}


def draw_sandcastle() -> np.ndarray:
    after_s = np.mod(np.arange(20_000) * INTERVAL_S, 64e-6)
    key = (after_s > 6.7e-6) & (after_s < 10.7e-6)
    return np.where(key, 8.0, np.where(after_s < 12e-6, 4.5, 0.0))


def draw_flyback() -> np.ndarray:
    after_s = np.mod(np.arange(20_000) * INTERVAL_S, 64e-6)
    return 8 * np.sin(np.pi * np.minimum(after_s / 12e-6, 1.0))


def draw_drive() -> np.ndarray:
    share = np.mod(np.arange(20_000) / 10_000, 1.0)
    return np.interp(share, [0, 0.95, 1], [0.0, 8.0, 0.0])


def draw_carrier() -> np.ndarray:
    """A chroma of 8 V peak to peak: ten cycles of burst at half of it, then one bar."""
    t_s = np.arange(20_000) * INTERVAL_S
    size = np.where(np.mod(t_s, 64e-6) < 12e-6, 2.0, 4.0)
    return 4 + size * np.sin(2 * np.pi * 4433618.75 * t_s)


def name_setup(
    waveform: dict[str, Any], volts: np.ndarray, noise_v: float, most_v: float = 99.0
) -> tuple[list[str], tuple[str, ...]]:
    """The defects of a capture in codes, cut off at a voltage, and the sentence on a long end."""
    interval_s = 2e-6 if waveform is DRIVE else INTERVAL_S
    noisy = volts + np.random.default_rng(1).normal(0, noise_v, len(volts))
    codes = np.round(np.minimum(noisy, most_v) / STEP_V) * STEP_V
    t_s = np.arange(len(volts)) * interval_s
    capture = Capture(t_s, (codes,), interval_s, ("CH1",))
    expectation = Expectation.model_validate(
        {"condition": "colour bars", "waveform": waveform, "source": {"id": "sheet"}}
    )
    measured = measure_trace(t_s, codes)
    found = find_setup_defects(capture, codes, expectation, measured, None)
    return [one.name for one in found], explain_long_end(capture, codes, expectation)


SHAPES = [
    (SANDCASTLE, draw_sandcastle()),
    (FLYBACK, draw_flyback()),
    (DRIVE, draw_drive()),
    (CHROMA, draw_carrier()),
]


@pytest.mark.parametrize(("waveform", "volts"), SHAPES, ids=lambda one: str(one)[:24])
def test_equal_samples_at_the_end_of_a_noisy_record_are_its_range(
    waveform: dict[str, Any], volts: np.ndarray
) -> None:
    assert name_setup(waveform, volts, STEP_V, 6.0)[0] == ["clipped by the instrument"]


@pytest.mark.parametrize("noise_v", [0.0, 0.2 * STEP_V, 0.5 * STEP_V, STEP_V, 3 * STEP_V])
@pytest.mark.parametrize("gain", [1.0, 1.0013, 0.9971])
@pytest.mark.parametrize(("waveform", "volts"), SHAPES, ids=lambda one: str(one)[:24])
def test_the_levels_of_a_signal_are_no_end_of_the_range(
    waveform: dict[str, Any], volts: np.ndarray, gain: float, noise_v: float
) -> None:
    assert name_setup(waveform, gain * volts, noise_v) == ([], ())


@pytest.mark.parametrize(
    ("waveform", "volts"),
    [(FLYBACK, draw_flyback()), (DRIVE, draw_drive())],
    ids=["flyback", "drive"],
)
def test_a_flat_end_without_noise_is_not_told_apart(
    waveform: dict[str, Any], volts: np.ndarray
) -> None:
    names, (sentence,) = name_setup(waveform, volts, 0.0, 5.0)
    assert names == []
    assert "equal at the top end" in sentence


@pytest.mark.parametrize(
    ("waveform", "volts"),
    [(SANDCASTLE, draw_sandcastle()), (FLYBACK, draw_flyback())],
    ids=["sandcastle", "flyback"],
)
@pytest.mark.parametrize("samples", [1_250, 20_000])
def test_pulses_about_zero_are_ac_coupled(
    waveform: dict[str, Any], volts: np.ndarray, samples: int
) -> None:
    part = volts[200 : 200 + samples]
    assert name_setup(waveform, part - volts.mean(), 0.02)[0] == ["AC-coupled"]
    assert name_setup(waveform, part, 0.02)[0] == []
