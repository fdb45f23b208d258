"""Good captures of the demonstration's decoded bars and carriers are blamed for nothing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.captures.capture import Capture
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.readings.capture_check import check_capture
from pinfolio.schema import Chip, Expectation, Pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

RECORDS = {  # samples a second, samples
    "colour difference": (12.5e6, 8_000),
    "RGB bars": (12.5e6, 8_000),
    "FM luminance": (25e6, 10_000),
    "FM carrier": (25e6, 50_000),
    "modulated IF": (250e6, 40_000),
}


def list_pins() -> Iterator[object]:
    for path in chip_files():
        chip = load_chip(path)
        for pin in chip.pins:
            for expectation in pin.expectations:
                if expectation.waveform and expectation.waveform.kind in RECORDS:
                    title = f"{chip.part} {pin.number} {expectation.condition}"
                    yield pytest.param(chip, pin, expectation, id=title)


@pytest.mark.parametrize(("chip", "pin", "expectation"), list(list_pins()))
def test_a_good_capture(chip: Chip, pin: Pin, expectation: Expectation) -> None:
    waveform = expectation.waveform
    assert waveform is not None
    rate_hz, count = RECORDS[waveform.kind]
    t_s = np.arange(count) / rate_hz
    dc_v = expectation.dc.nominal if expectation.dc is not None else 0.0
    volts = waveform.volts(t_s + 1e-5) - waveform.mean_v + dc_v
    volts += np.random.default_rng(3).normal(0, 0.004 * waveform.vpp_v, count)
    step_v = np.ptp(volts) / 200
    capture = Capture(t_s, (np.round(volts / step_v) * step_v,), 1 / rate_hz, ("CH1",))
    check = check_capture(
        chip, pin, capture, Reading(), BUILT_IN.choose(), expectation.condition
    ).document()
    assert check["verdict"] in ("as expected", "cannot tell"), check["why"]
    assert check["capture"]["defects"] == []
    assert len(check["capture"]["figures"]) > 2
