"""Burst and bars of a colour-under carrier, drawn here from the numbers of the standards."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.readings.correction import CorrectedValue
from pinfolio.plugins.readings.video.figure import Figure
from pinfolio.plugins.readings.video.video_check import VideoCheck, check_video
from pinfolio.schema import Expectation

LINE_S = 64e-6
CARRIER_HZ = 626953.125  # 40 1/8 lines: IEC 60774-1, from memory
INTERVAL_S = 40e-9
BURST_VPP = 0.12
WAVEFORM = {
    "kind": "colour-under",
    "system": "PAL-B/G",
    "frequency": "626.953125 kHz ± 20 ppm",
    "bars": "75 %",
    "burst": "120 mVpp ± 20 %",
}
COLOURS = ((1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0))


def draw(
    burst: float = 1.0, bars: float = 1.0, speed: float = 1.0, lines: float = 12
) -> np.ndarray:
    """A carrier whose phase takes a quarter turn back each line, burst and bars at such shares.

    Numbers of ITU-R BT.470-6 and BT.601: 0.3 Vpp of burst from 5.6 us for ten cycles of 4.43 MHz,
    bars from 10.5 us on, U = 0.493 (B - Y), V = 0.877 (R - Y), on a scale of 0.7 V.
    """
    t_s = (np.arange(int(lines * LINE_S / INTERVAL_S)) * INTERVAL_S + 21e-6) * speed
    line = np.floor(t_s / LINE_S)
    after_s = t_s - line * LINE_S
    bar = np.floor((after_s - 10.5e-6) / (52e-6 / 8)).astype(int)
    shown = (bar >= 0) & (bar < 8)
    red, green, blue = 0.75 * np.array(COLOURS)[np.clip(bar, 0, 7)].T
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    scale = BURST_VPP / 0.3 * 0.7 * bars * shown
    u, v = scale * 0.493 * (blue - luma), scale * 0.877 * (red - luma)
    on_burst = (after_s > 5.6e-6) & (after_s < 5.6e-6 + 10 / 4433618.75)
    side = BURST_VPP / 2 * burst * on_burst / np.sqrt(2)
    switch = 1 - 2 * np.mod(line, 2)
    width = round(0.3e-6 / INTERVAL_S)
    u, v = (
        np.convolve(part, np.full(width, 1 / width), "same")
        for part in (u - side, switch * (v + side))
    )
    angle = 2 * np.pi * CARRIER_HZ * t_s - np.pi / 2 * line
    noise = np.random.default_rng(3).normal(0, 1e-3, len(t_s))
    return v * np.cos(angle) - u * np.sin(angle) + noise


def check(volts: np.ndarray, **other: str) -> VideoCheck:
    expectation = Expectation.model_validate(
        {"condition": "bars", "waveform": {**WAVEFORM, **other}, "source": {"id": "sheet"}}
    )

    def correct(figure: Figure) -> CorrectedValue:
        return CorrectedValue(figure.value, figure.uncertainty)

    found = check_video(volts, INTERVAL_S, expectation, correct)
    assert found is not None
    return found


def read(found: VideoCheck) -> dict[str, Any]:
    return {one.name: one.corrected.value for one in found.figures}


def test_figures_of_a_good_carrier() -> None:
    found = check(draw())
    values = read(found)
    assert not found.defects
    assert values["burst amplitude"] == pytest.approx(BURST_VPP, rel=0.03)
    assert values["chroma of the bars"] == pytest.approx(100, abs=2)
    # Red, 75 %: U = -0.077 V, V = 0.323 V on the scale of 0.7 V, and its size is twice the length.
    red_vpp = 2 * BURST_VPP / 0.3 * np.hypot(0.0774, 0.3228)
    assert values["red chroma"] == pytest.approx(red_vpp, rel=0.03)
    assert values["turn of the burst over two lines"] == pytest.approx(180, abs=5)


@pytest.mark.parametrize(
    ("spoilt", "names"),
    [
        ({"burst": 0.0}, ["burst missing"]),
        ({"burst": 0.4}, ["burst low"]),
        ({"bars": 0.0}, ["chroma missing"]),
        ({"bars": 0.4}, ["chroma low"]),
        ({"burst": 2.0, "bars": 2.0}, ["burst high", "chroma high"]),
    ],
)
def test_a_defect_is_named(spoilt: dict[str, float], names: list[str]) -> None:
    assert [defect.name for defect in check(draw(**spoilt)).defects] == names


def test_flutter_of_the_tape_hides_no_burst() -> None:
    found = check(draw(speed=1.004), frequency="626.953125 kHz ± 0.5 %")
    assert not found.defects
    assert read(found)["burst amplitude"] == pytest.approx(BURST_VPP, rel=0.06)
    assert "turn of the burst over two lines" not in read(found)
