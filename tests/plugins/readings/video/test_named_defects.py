"""A defect of composite video is called by its name; a good record by none."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.loaders.captures.capture import Capture
from pinfolio.plugins.readings.capture_check import CaptureCheck, check_capture
from pinfolio.plugins.readings.video.defects import read_known_defects
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

from .composite_signal import Signal

DC_V = 2.85  # of blanking level: the mean of the bars is a quarter volt above


def check(
    jungle: Chip, signal: Signal, count: int = 20_000, interval_s: float = 40e-9
) -> CaptureCheck:
    volts = signal.samples(count, interval_s)
    capture = Capture(np.arange(count) * interval_s, (volts,), interval_s, ("CH1",))
    pin = find_pin(jungle, "3")
    return check_capture(jungle, pin, capture, Reading(), BUILT_IN.choose(), "colour bars")


@pytest.mark.parametrize(
    ("signal", "named"),
    [
        (Signal(burst=0, chroma=0), ("burst missing", "chroma missing")),
        (Signal(burst=0), ("burst missing",)),
        (Signal(burst=0.4), ("burst low",)),
        (Signal(chroma=0), ("chroma missing",)),
        (Signal(chroma=0.4), ("chroma low",)),
        (Signal(swing=False), ("PAL switch stopped",)),
        (Signal(turn_deg=30), ("wrong burst phase",)),
        (Signal(lines=525), ("wrong system",)),
        (Signal(sync=0.4), ("compressed sync",)),
        (Signal(noise_v=0.06), ("noisy",)),
        (Signal(jitter_s=0.3e-6), ("line jitter",)),
        (Signal(gain=-1), ("inverted",)),
        (Signal(gain=0.1, offset_v=-0.9 * DC_V), ("probe at divide-by-ten",)),
    ],
)
def test_a_defect_is_named(jungle: Chip, signal: Signal, named: tuple[str, ...]) -> None:
    offset_v = signal.offset_v + (DC_V if signal.gain > 0 else DC_V + 0.5)
    signal = Signal(**{**signal.__dict__, "offset_v": offset_v})
    assert check(jungle, signal).judged.named == named


def test_hum_is_named(jungle: Chip) -> None:
    assert check(jungle, Signal(hum_v=0.15, offset_v=DC_V), 200_000).judged.named == ("hum",)


def test_ac_coupling_is_named_and_hides_the_dc_voltage(jungle: Chip) -> None:
    found = check(jungle, Signal(offset_v=-0.25))
    assert found.judged.heading == "as expected: AC-coupled"
    assert "dc" not in [result.expected.quantity for result in found.judged.results]


@pytest.mark.parametrize("shown_v", [0.6, 0.3, 0.05])  # above blanking; the highest bars are flat
@pytest.mark.parametrize("noise_v", [0.005, 0.0])
def test_a_cut_off_record_is_clipped_by_the_instrument(
    jungle: Chip, shown_v: float, noise_v: float
) -> None:
    signal = Signal(offset_v=DC_V, noise_v=noise_v)
    volts = np.minimum(signal.samples(20_000, 40e-9), DC_V + shown_v)
    capture = Capture(np.arange(20_000) * 40e-9, (volts,), 40e-9, ("CH1",))
    pin = find_pin(jungle, "3")
    found = check_capture(jungle, pin, capture, Reading(), BUILT_IN.choose(), "colour bars")
    assert "clipped by the instrument" in found.judged.named


def test_slow_sampling_does_not_judge_colour(jungle: Chip) -> None:
    found = check(jungle, Signal(burst=0, chroma=0, offset_v=DC_V), 20_000, 200e-9)
    assert found.judged.heading == "cannot tell: undersampled"


@pytest.mark.parametrize("from_line", [1.2, 15.0, 22.5, 100.3, 305.8, 330.0, 620.0])
@pytest.mark.parametrize("count", [5000, 20_000, 100_000])
def test_good_records_with_field_blanking_are_not_faulty(
    jungle: Chip, from_line: float, count: int
) -> None:
    found = check(jungle, Signal(from_line=from_line, offset_v=DC_V), count)
    assert set(found.judged.named) <= {"only field blanking", "too short"}
    assert found.judged.verdict in ("as expected", "cannot tell")


def test_the_document_lists_figures_with_limits(jungle: Chip) -> None:
    found = check(jungle, Signal(burst=0, chroma=0, offset_v=DC_V)).document()["capture"]
    burst = next(one for one in found["figures"] if one["name"] == "burst amplitude")
    assert (burst["unit"], burst["verdict"]) == ("Vpp", "missing")
    assert burst["min"] == pytest.approx(0.21)
    assert found["defects"][0]["name"] == "burst missing"
    assert found["defects"][0]["look"]


def test_every_known_defect_has_a_verdict_and_a_place_to_look() -> None:
    for name, known in read_known_defects().items():
        assert known["verdict"] in (
            "distorted", "too low", "too high", "off frequency", "unstable", "missing",
            "cannot tell",
        ), name  # fmt: skip
        assert known["look"], name


def test_blanking_that_differs_from_line_to_line(jungle: Chip) -> None:
    """Every second line lies 80 mV higher: that much peak to peak at half the line rate."""
    signal, count, interval_s = Signal(noise_v=0.003), 20_000, 40e-9
    volts = signal.samples(count, interval_s)
    line = np.floor((np.arange(count) * interval_s + 2e-6) / signal.line_s + signal.from_line - 1)
    capture = Capture(
        np.arange(count) * interval_s, (volts + 0.08 * (line % 2),), interval_s, ("CH1",)
    )
    pin = find_pin(jungle, "3")
    checked = check_capture(jungle, pin, capture, Reading(), BUILT_IN.choose(), "colour bars")
    assert checked.video is not None
    ripple = next(one for one in checked.video.figures if one.name.startswith("ripple"))
    assert ripple.figure.value == pytest.approx(0.08, abs=3 * ripple.figure.uncertainty)
    assert "ripple from line to line" in [defect.name for defect in checked.defects]
