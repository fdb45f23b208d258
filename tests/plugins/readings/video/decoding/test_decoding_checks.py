"""Decoded bars and carriers of the demonstration's sort, spoilt one way each, and their names."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.correction import CorrectedValue
from pinfolio.plugins.readings.video.decoding.decoding_checks import check_carrier, check_decoded
from pinfolio.plugins.readings.video.figure import Figure, Record
from pinfolio.schema.waveforms.kinds.carriers import FmCarrier
from pinfolio.schema.waveforms.kinds.colour_difference import ColourDifference

DIFFERENCE = ColourDifference(
    kind="colour difference", system="PAL-B/G", axis="B-Y", bars="75 %", vpp="1.33 Vpp"
)
SOUND = FmCarrier(
    kind="FM carrier", carrier="5.5 MHz", vpp="250 mVpp", deviation="27 kHz", tone="1 kHz"
)


def take_as_measured(figure: Figure) -> CorrectedValue:
    return CorrectedValue(figure.value, figure.uncertainty)


@pytest.mark.parametrize(
    ("gain", "names"),
    [(1.0, []), (0.5, ["bars low"]), (0.05, ["bars missing"]), (1.5, ["bars high"])],
)
def test_size_of_the_bars(gain: float, names: list[str]) -> None:
    t_s = np.arange(6000) * 100e-9 + 20e-6
    noise_v = np.random.default_rng(1).normal(0, 0.004, len(t_s))
    record = Record(gain * DIFFERENCE.volts(t_s) + noise_v, 100e-9)
    check = check_decoded(record, DIFFERENCE, None, take_as_measured)
    assert [defect.name for defect in check.defects] == names


def test_bars_upside_down() -> None:
    t_s = np.arange(6000) * 100e-9
    check = check_decoded(
        Record(-DIFFERENCE.volts(t_s), 100e-9), DIFFERENCE, None, take_as_measured
    )
    assert [defect.sentence for defect in check.defects] == ["inverted: the bars are negative"]


@pytest.mark.parametrize(
    ("vpp", "deviation_hz", "off_hz", "name"),
    [
        (0.25, 27e3, 0.0, None),
        (0.1, 27e3, 0.0, "carrier low"),
        (0.25, 50e3, 0.0, "deviation wrong"),
        (0.25, 27e3, 40e3, "carrier off frequency"),
    ],
)
def test_sound_carrier(vpp: float, deviation_hz: float, off_hz: float, name: str | None) -> None:
    t_s = np.arange(60_000) * 40e-9
    swing = deviation_hz / 1e3 * np.sin(2 * np.pi * 1e3 * t_s)
    volts = vpp / 2 * np.sin(2 * np.pi * (5.5e6 + off_hz) * t_s + swing)
    check = check_carrier(Record(volts, 40e-9), SOUND, take_as_measured)
    assert [defect.name for defect in check.defects] == ([name] if name else [])


def test_a_record_too_coarse_for_a_carrier_has_no_figures() -> None:
    check = check_carrier(Record(np.sin(np.arange(500.0)), 1e-6), SOUND, take_as_measured)
    assert not check.figures
    assert not check.defects
