"""Signals other than composite video: their figures on closed formulas, their defects by name."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.readings.correction import CorrectedValue
from pinfolio.plugins.readings.video.figure import Figure
from pinfolio.plugins.readings.video.video_check import VideoCheck, check_video
from pinfolio.schema import Expectation

from .composite_signal import Signal

INTERVAL_S = 40e-9
CHROMINANCE = {"kind": "chrominance", "system": "PAL-B/G", "bars": "75 %", "burst": "300 mVpp"}
SANDCASTLE = {
    "kind": "sandcastle",
    "system": "PAL-B/G",
    "burst_key": "8 V",
    "line_blanking": "4.5 V",
    "field_blanking": "2.5 V",
}
DRIVE = {"kind": "vertical drive", "system": "PAL-B/G", "vpp": "2 Vpp", "retrace": "5 %"}
FLYBACK = {"kind": "flyback pulse", "system": "PAL-B/G", "peak": "60 V", "width": "12 µs"}
SINE = {"kind": "sine", "frequency": "4.43361875 MHz", "vpp": "400 mVpp"}


def check(
    waveform: dict[str, Any], volts: np.ndarray, interval_s: float, hz: float | None = None
) -> VideoCheck:
    """The samples checked with an instrument that adds nothing."""
    expectation = Expectation.model_validate(
        {"condition": "colour bars", "waveform": waveform, "source": {"id": "sheet"}}
    )

    def correct(figure: Figure) -> CorrectedValue:
        return CorrectedValue(figure.value, figure.uncertainty)

    found = check_video(volts, interval_s, expectation, correct, frequency_hz=hz)
    assert found is not None
    return found


def read_values(found: VideoCheck) -> dict[str, float]:
    return {one.name: one.figure.value for one in found.figures}


def name_defects(found: VideoCheck) -> list[str]:
    return [defect.name for defect in found.defects]


def check_chroma(signal: Signal) -> VideoCheck:
    return check(CHROMINANCE, signal.samples(40_000, INTERVAL_S), INTERVAL_S)


@pytest.mark.parametrize("from_line", [100.0, 100.37, 100.8, 101.5])
def test_chroma_without_sync_is_laid_along_its_lines(from_line: float) -> None:
    found = check_chroma(Signal(luma=0, from_line=from_line))
    values = read_values(found)
    assert name_defects(found) == []
    assert values["burst amplitude"] == pytest.approx(0.3, abs=0.003)
    assert values["burst swing from line to line"] == pytest.approx(90, abs=1)
    assert values["green chroma"] == pytest.approx(0.61998, abs=0.003)
    assert values["green phase"] == pytest.approx(240.71, abs=0.6)


@pytest.mark.parametrize(
    ("signal", "name"),
    [
        (Signal(luma=0, burst=0), "burst missing"),
        (Signal(luma=0, burst=0.4), "burst low"),
        (Signal(luma=0, chroma=0), "chroma missing"),
        (Signal(luma=0, chroma=0.4), "chroma low"),
        (Signal(luma=0, swing=False), "PAL switch stopped"),
        (Signal(luma=0, turn_deg=30), "wrong burst phase"),
        (Signal(luma=0, noise_v=0.08), "noisy"),
    ],
)
def test_a_defect_of_chroma_is_named(signal: Signal, name: str) -> None:
    assert name_defects(check_chroma(signal)) == [name]


def test_noise_beside_the_carrier_of_chroma() -> None:
    values = read_values(check_chroma(Signal(luma=0, noise_v=0.02)))
    assert values["noise"] == pytest.approx(0.02, rel=0.02)


@pytest.mark.parametrize("from_line", [302.3, 309.6, 326.4, 333.7])
def test_lines_of_field_blanking_are_left_out(from_line: float) -> None:
    """They carry a burst without bars (BT.470-6: 25 lines); 25 lines are recorded here."""
    found = check_chroma(Signal(luma=0, from_line=from_line))
    assert name_defects(found) == []
    assert read_values(found)["green chroma"] == pytest.approx(0.61998, abs=0.003)


def test_a_few_lines_of_field_blanking_alone_tell_nothing_about_the_bars() -> None:
    volts = Signal(luma=0, from_line=315.1).samples(4_000, INTERVAL_S)
    assert name_defects(check(CHROMINANCE, volts, INTERVAL_S)) == ["only field blanking"]


@pytest.mark.parametrize("count", [2_000, 40_000])
@pytest.mark.parametrize(
    ("system", "burst", "lines"), [("PAL-B/G", "300 mVpp", 525), ("NTSC-M", "286 mVpp", 625)]
)
def test_the_other_subcarrier_is_the_wrong_system(
    system: str, burst: str, lines: int, count: int
) -> None:
    """Subcarriers of BT.470-6, table 2: 4.43361875 MHz and 315/88 MHz."""
    volts = Signal(luma=0, lines=lines).samples(count, INTERVAL_S)
    expected = {**CHROMINANCE, "system": system, "burst": burst}
    assert name_defects(check(expected, volts, INTERVAL_S)) == ["wrong system"]


def draw_sandcastle(
    key_v: float = 8.0, key_s: float = 5.2e-6, width_s: float = 4e-6, blank_v: float = 4.5
) -> np.ndarray:
    """Line blanking from 1.5 µs before to 10.5 µs after 0H, and the key on it."""
    after_s = np.mod(np.arange(20_000) * INTERVAL_S + 30e-6, 64e-6)
    blanked = (after_s < 10.5e-6) | (after_s > 62.5e-6)
    keyed = (after_s >= key_s) & (after_s < key_s + width_s)
    noise = np.random.default_rng(2).normal(0, 0.02, len(after_s))
    return np.where(keyed, key_v, np.where(blanked, blank_v, 0.0)) + noise


def test_sandcastle_figures() -> None:
    found = check(SANDCASTLE, draw_sandcastle(), INTERVAL_S)
    values = read_values(found)
    assert name_defects(found) == []
    assert values["burst key level"] == pytest.approx(8, abs=0.01)
    assert values["line blanking level"] == pytest.approx(4.5, abs=0.01)
    assert values["burst key width"] == pytest.approx(4e-6, abs=INTERVAL_S)
    assert values["burst key after blanking"] == pytest.approx(6.7e-6, abs=INTERVAL_S)


@pytest.mark.parametrize(
    ("volts", "name"),
    [
        (draw_sandcastle(key_v=4.5), "burst key missing"),
        (draw_sandcastle(key_s=7e-6, width_s=2e-6), "burst key misplaced"),
        (draw_sandcastle(blank_v=5.9), "sandcastle level wrong"),
    ],
)
def test_a_defect_of_a_sandcastle_is_named(volts: np.ndarray, name: str) -> None:
    assert name in name_defects(check(SANDCASTLE, volts, INTERVAL_S))


def test_a_key_that_outlasts_line_blanking_is_misplaced() -> None:
    """A pulse that adds its parts: the step of the key stays, as if it were field blanking."""
    after_s = np.mod(np.arange(20_000) * INTERVAL_S + 30e-6, 64e-6)
    blanked = (after_s < 10.5e-6) | (after_s > 62.5e-6)
    keyed = (after_s >= 5.2e-6) & (after_s < 13.2e-6)
    noise = np.random.default_rng(2).normal(0, 0.02, len(after_s))
    found = check(SANDCASTLE, 4.5 * blanked + 2.9 * keyed + noise, INTERVAL_S)
    assert name_defects(found) == ["burst key misplaced"]
    beyond_s = read_values(found)["burst key beyond line blanking"]
    assert beyond_s == pytest.approx(13.2e-6 - 10.5e-6, abs=INTERVAL_S)


def draw_scan(retrace: float = 0.05, s: float = 0.0, square: float = 0.0) -> np.ndarray:
    """Three fields of a scan x - s x³ + square x², and a straight way back."""
    share = np.mod(np.arange(30_000) / 10_000, 1.0)
    x = 2 * share / (1 - retrace) - 1
    scan = (x - s * x**3) / (1 - s) + square * x**2
    ends = 1 + square, -1 + square
    back = ends[0] - (share - 1 + retrace) / retrace * (ends[0] - ends[1])
    return np.where(x <= 1, scan, back) + np.random.default_rng(3).normal(0, 0.002, len(share))


def test_scan_figures() -> None:
    values = read_values(check(DRIVE, draw_scan(s=0.08), 2e-6, 50.0))
    assert values["retrace"] == pytest.approx(5, abs=0.3)
    assert values["S-correction"] == pytest.approx(8, abs=0.5)
    assert values["non-linearity"] < 0.5


@pytest.mark.parametrize(
    ("volts", "names"),
    [
        (draw_scan(), []),
        (draw_scan(retrace=0.14), ["slow retrace"]),
        (draw_scan(s=0.2), ["not linear"]),
        (draw_scan(square=0.25), ["not linear"]),
    ],
)
def test_a_defect_of_the_scan_is_named(volts: np.ndarray, names: list[str]) -> None:
    assert name_defects(check(DRIVE, volts, 2e-6, 50.0)) == names


@pytest.mark.parametrize(("mains_hz", "vpp"), [(50.0, 0.4), (100.0, 0.4), (50.0, 0.0)])
def test_hum_on_a_scan_of_another_rate(mains_hz: float, vpp: float) -> None:
    """Two fields and a half at 59.94 Hz; a ripple of known size is read back and named."""
    t_s = np.arange(21_000) * 2e-6
    share = np.mod(t_s * 60 / 1.001, 1.0)
    scan = np.interp(share, [0, 0.95, 1], [-1.0, 1.0, -1.0])
    ripple = vpp / 2 * np.sin(2 * np.pi * mains_hz * t_s + 1)
    noise = np.random.default_rng(6).normal(0, 0.005, len(t_s))
    found = check({**DRIVE, "system": "NTSC-M"}, scan + ripple + noise, 2e-6, 60 / 1.001)
    assert read_values(found)["hum"] == pytest.approx(vpp, abs=0.02)
    assert name_defects(found) == (["hum"] if vpp else [])


def test_hum_on_a_scan_locked_to_the_mains_is_not_told_apart() -> None:
    found = check(DRIVE, draw_scan(square=0.25), 2e-6, 50.0)
    assert "hum locked to the field" in found.defects[0].why


def draw_flyback(width_s: float = 12e-6, ringing: float = 0.0) -> np.ndarray:
    after_s = np.mod(np.arange(20_000) * INTERVAL_S, 64e-6)
    pulse = 60 * np.sin(np.pi * np.minimum(after_s / width_s, 1.0))
    swing = 60 * ringing * np.sin(2 * np.pi * 400e3 * after_s) * (after_s > width_s)
    return pulse + swing + np.random.default_rng(4).normal(0, 0.1, len(after_s))


@pytest.mark.parametrize(
    ("volts", "names"),
    [
        (draw_flyback(), []),
        (draw_flyback(9e-6), ["flyback narrow"]),
        (draw_flyback(16e-6), ["flyback wide"]),
        (draw_flyback(ringing=0.15), ["flyback rings"]),
    ],
)
def test_flyback_pulses(volts: np.ndarray, names: list[str]) -> None:
    found = check(FLYBACK, volts, INTERVAL_S, 15625.0)
    assert name_defects(found) == names
    assert read_values(found)["flyback peak"] == pytest.approx(60, abs=0.5)


def draw_sine(third: float = 0.0, depth: float = 0.0) -> np.ndarray:
    angle = 2 * np.pi * 4433618.75 * np.arange(20_000) * 20e-9
    slow = 1 + depth * np.sin(angle / 300)
    noise = np.random.default_rng(5).normal(0, 0.002, len(angle))
    return 0.2 * slow * (np.sin(angle) + third * np.sin(3 * angle)) + noise


def test_sine_figures() -> None:
    values = read_values(check(SINE, draw_sine(third=0.1, depth=0.2), 20e-9, 4433618.75))
    assert values["sine amplitude"] == pytest.approx(0.4, rel=0.02)
    assert values["harmonics"] == pytest.approx(10, abs=0.5)
    assert values["change of amplitude"] == pytest.approx(100 * 0.2 / math.sqrt(2), abs=1.5)


@pytest.mark.parametrize(
    ("volts", "names"),
    [
        (draw_sine(), []),
        (draw_sine(third=0.4), ["distorted sine"]),
        (draw_sine(depth=0.3), ["jumping"]),
    ],
)
def test_a_defect_of_a_sine_is_named(volts: np.ndarray, names: list[str]) -> None:
    assert name_defects(check(SINE, volts, 20e-9, 4433618.75)) == names
