"""Figures of composite video against the numbers it was made from."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.composite import CompositeReading, measure_composite
from pinfolio.plugins.readings.video.figure import Figure, Record, find_step_v

from .composite_signal import Signal

INTERVAL_S = 40e-9


def measured(
    signal: Signal, count: int = 50_000, interval_s: float = INTERVAL_S
) -> CompositeReading:
    system = "PAL-B/G" if signal.lines == 625 else "NTSC-M"
    return measure_composite(Record(signal.samples(count, interval_s), interval_s), system, 75.0)


# Published bars, ITU-R BT.470-6 levels: luminance in mV, chroma in mVpp, phase on lines of +V.
PAL_75 = {
    "yellow": (465.15, 469.70, 167.08),
    "cyan": (368.02, 663.95, 283.46),
    "green": (308.17, 619.98, 240.71),
    "magenta": (216.83, 619.98, 60.71),
    "red": (156.97, 663.95, 103.46),
    "blue": (59.85, 469.70, 347.08),
}
# SMPTE EG 1 bars with 7.5 IRE setup.
NTSC_75 = {
    "yellow": (492.62, 443.34, 167.08),
    "cyan": (400.94, 626.69, 283.46),
    "green": (344.45, 585.18, 240.71),
    "magenta": (258.23, 585.18, 60.71),
    "red": (201.74, 626.69, 103.46),
    "blue": (110.06, 443.34, 347.08),
}


@pytest.mark.parametrize(("lines", "table"), [(625, PAL_75), (525, NTSC_75)])
def test_bars_read_as_published(lines: int, table: dict[str, tuple[float, float, float]]) -> None:
    figures = measured(Signal(lines=lines)).figures
    for name, (luminance, chroma, phase) in table.items():
        assert figures[f"{name} luminance"].value * 1e3 == pytest.approx(luminance, abs=1.0)
        assert figures[f"{name} chroma"].value * 1e3 == pytest.approx(chroma, abs=2.0)
        assert figures[f"{name} phase"].value == pytest.approx(phase, abs=0.5)


@pytest.mark.parametrize(
    ("lines", "name", "value"),
    [
        (625, "sync amplitude", 0.3),
        (625, "sync width", 4.7e-6),
        (625, "sync rise time", 0.2e-6),
        (625, "burst amplitude", 0.3),
        (625, "burst cycles", 10.0),
        (625, "burst start after sync", 5.6e-6),
        (625, "burst swing from line to line", 90.0),
        (625, "subcarrier", 4433618.75),
        (625, "line frequency", 15625.0),
        (525, "sync amplitude", 40 / 140),
        (525, "sync rise time", 0.14e-6),
        (525, "burst amplitude", 40 / 140),
        (525, "burst cycles", 9.0),
        (525, "burst start after sync", 19 * 88 / 315e6),
        (525, "burst swing from line to line", 0.0),
        (525, "subcarrier", 315e6 / 88),
        (525, "black level over blanking", 7.5 / 140),
        (525, "line frequency", 2.25e6 / 143),
    ],
)
def test_figures_are_those_of_the_standard(lines: int, name: str, value: float) -> None:
    found = measured(Signal(lines=lines)).figures[name]
    assert found.value == pytest.approx(value, abs=4 * found.uncertainty)
    assert found.uncertainty < 0.05 * max(value, 20.0 if found.unit == "°" else 0.0)


@pytest.mark.parametrize(
    ("signal", "words"),
    [
        (Signal(), "625 lines, PAL at 4.43 MHz"),
        (Signal(lines=525), "525 lines, NTSC at 3.58 MHz"),
        (Signal(burst=0), "625 lines, no burst"),
        (Signal(swing=False), "625 lines, NTSC at 4.43 MHz"),
    ],
)
def test_the_system_is_told(signal: Signal, words: str) -> None:
    assert measured(signal).detected.words == words


def test_the_system_is_not_told_from_too_few_samples() -> None:
    told = measured(Signal(), 20_000, 300e-9).detected
    assert told.words == "625 lines, colour not told"
    assert told.why == "sampled too slowly for the colour subcarrier"


def test_a_turned_burst_is_measured_against_the_colours() -> None:
    found = measured(Signal(turn_deg=25)).figures["colours against burst"]
    assert found.value == pytest.approx(-25, abs=0.5)


def test_hum_is_measured_and_does_not_change_the_bars() -> None:
    figures = measured(Signal(hum_v=0.1), 600_000).figures
    assert figures["hum at 50 Hz"].value == pytest.approx(0.2, abs=0.005)
    assert figures["green luminance"].value == pytest.approx(0.30817, abs=0.002)


def test_jitter_is_measured() -> None:
    found = measured(Signal(jitter_s=0.1e-6), 500_000).figures["line jitter, rms"]
    assert found.value == pytest.approx(0.1e-6, abs=4 * found.uncertainty)


def test_noise_is_measured() -> None:
    figures = measured(Signal(noise_v=0.014)).figures
    assert figures["noise"].value == pytest.approx(0.014, rel=0.05)
    assert figures["signal to noise"].value == pytest.approx(20 * np.log10(50), abs=0.4)


def test_uncertainties_hold() -> None:
    """In 60 records each figure is within two of its standard uncertainties about as often."""
    truth = {"sync amplitude": 0.3, "burst amplitude": 0.3, "sync width": 4.7e-6}
    truth |= {"burst swing from line to line": 90.0, "white bar": 0.7}
    inside = dict.fromkeys(truth, 0)
    for seed in range(60):
        volts = Signal(from_line=60.3 + seed / 7, noise_v=0.01).samples(20_000, INTERVAL_S, seed)
        figures = measure_composite(Record(volts, INTERVAL_S), "PAL-B/G", 75.0).figures
        for name, value in truth.items():
            inside[name] += abs(figures[name].value - value) <= 2 * figures[name].uncertainty
    assert all(50 <= count <= 60 for count in inside.values()), inside


def test_the_step_of_a_converter_is_seen() -> None:
    volts = np.round(Signal().samples(5000, INTERVAL_S) / 0.008) * 0.008
    assert find_step_v(volts) == pytest.approx(0.008)
    assert find_step_v(Signal().samples(5000, INTERVAL_S)) == 0


def test_a_figure_prints_its_expanded_uncertainty() -> None:
    assert Figure("burst amplitude", 0.3, "Vpp", 0.005).words == "300 mVpp ± 10 mVpp"
    assert Figure("burst cycles", 10.02, "cycles", 0.05).words == "10 cycles ± 0.1 cycles"
