"""Pictures of a capture: its difference, its colour vectors and its spectrum, each as SVG."""

from __future__ import annotations

from collections.abc import Callable
from xml.etree import ElementTree

import numpy as np
import pytest
from pinfolio.loaders.captures.text_capture import Capture
from pinfolio.plugins.readings.capture_check import check_capture
from pinfolio.plugins.readings.pictures.capture_pictures import CapturePictures
from pinfolio.plugins.readings.pictures.spectrum_columns import compute_spectrum
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

from ..video.composite_signal import Signal

INTERVAL_S = 25e-9
# EBU bars of 75 %, chroma peak to peak in mV over a burst of 300 mV, and phase on lines of positive
# V: computed from the matrix of ITU-R BT.601; rounded, the printed 167, 283, 241, 61, 103, 347.
PAL_75 = {
    "yellow": (469.70, 167.08),
    "cyan": (663.95, 283.46),
    "green": (619.98, 240.71),
    "magenta": (619.98, 60.71),
    "red": (663.95, 103.46),
    "blue": (469.70, 347.08),
}


def picture(chip: Chip, name: str, volts: np.ndarray, interval_s: float) -> CapturePictures:
    pin = find_pin(chip, name)
    t_s = np.arange(len(volts)) * interval_s
    capture = Capture(t_s, (volts,), interval_s, ("CH1",))
    chosen = BUILT_IN.choose(scope="digitising 50 MHz")
    return CapturePictures(check_capture(chip, pin, capture, Reading(), chosen), f"pin {name}")


def video(chip: Chip, **faults: float) -> CapturePictures:
    """Return the pictures of bars written from the standards' numbers at the video output."""
    volts = 2.7 + Signal(**faults).samples(20_000, INTERVAL_S)
    return picture(chip, "6", volts, INTERVAL_S)


def test_vectors_lie_where_the_standard_has_them(jungle: Chip) -> None:
    vectors = video(jungle).vectors
    assert vectors is not None
    assert vectors.words == "Right direction, right length; all in their boxes."
    found = {colour.name: colour for colour in vectors.colours}
    assert found.keys() == PAL_75.keys()
    for name, (chroma_mvpp, phase_deg) in PAL_75.items():
        assert found[name].vector.phase_deg == pytest.approx(phase_deg, abs=1.0)
        assert found[name].vector.amplitude == pytest.approx(chroma_mvpp / 300, rel=0.03)
    boxes = {box.nominal.name: box.nominal for box in vectors.display.boxes}
    for name, (chroma_mvpp, phase_deg) in PAL_75.items():
        assert boxes[name].phase_deg == pytest.approx(phase_deg, abs=0.01)
        assert boxes[name].amplitude == pytest.approx(chroma_mvpp / 300, rel=1e-4)


def test_the_burst_of_pal_swings_about_minus_u(jungle: Chip) -> None:
    """135° and 225° from +U (ITU-R BT.470-6, table 2)."""
    vectors = video(jungle).vectors
    assert vectors is not None
    phases = sorted(burst.phase_deg for burst in vectors.display.measured_bursts)
    assert phases == pytest.approx([135, 225], abs=1.0)


def test_half_the_chroma_is_half_the_length(jungle: Chip) -> None:
    vectors = video(jungle, chroma=0.5, burst=0.5).vectors
    assert vectors is not None
    assert vectors.words.startswith("Right direction, 50% of the length; outside their boxes")
    assert not any(colour.is_inside for colour in vectors.colours)


def test_a_turned_burst_turns_all_colours(jungle: Chip) -> None:
    vectors = video(jungle, turn_deg=20.0).vectors
    assert vectors is not None
    assert [abs(colour.turned_deg) for colour in vectors.colours] == pytest.approx([20] * 6, abs=1)
    assert vectors.words.startswith("Turned by 20°")


def test_without_a_burst_no_direction_is_told(jungle: Chip) -> None:
    pictures = video(jungle, burst=0.0)
    assert pictures.vectors is not None
    assert pictures.vectors.colours == ()
    assert "No burst" in pictures.vectors.words
    assert 'class="vector-measured"' not in (pictures.draw_vectors() or "")


def test_a_good_line_stays_within_the_band(jungle: Chip) -> None:
    """Bars written from the standards over the trace that the chip file expects."""
    difference = video(jungle).difference
    assert difference is not None
    assert difference.outside_share < 0.02
    assert difference.words.startswith("Within the band")


def test_samples_far_apart_do_not_leave_the_band_at_steep_edges(jungle: Chip) -> None:
    interval_s = 400e-9
    volts = 2.7 + Signal().samples(20_000, interval_s)
    difference = picture(jungle, "6", volts, interval_s).difference
    assert difference is not None
    assert difference.words.startswith("Within the band")


def test_missing_colour_leaves_both_edges_short(jungle: Chip) -> None:
    difference = video(jungle, chroma=0.0, burst=0.0).difference
    assert difference is not None
    assert 0.4 < difference.outside_share < 0.8  # the coloured bars of each line
    known = np.isfinite(difference.trace.upper_v)
    outside = difference.trace.is_outside & known
    assert np.median(difference.trace.upper_v[outside]) < 0
    assert np.median(difference.trace.lower_v[outside]) > 0


def test_a_shift_in_time_is_no_difference_in_volts(jungle: Chip) -> None:
    expectation = find_pin(jungle, "22").expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(4000) * 1e-7
    found = picture(jungle, "22", expectation.volts(t_s + 33.07e-6), 1e-7).difference
    assert found is not None
    assert found.outside_share == 0


def test_a_level_that_is_short_is_told_in_volts(jungle: Chip) -> None:
    """A burst key of 5.3 V that comes to 3.4 V lacks 1.9 V."""
    expectation = find_pin(jungle, "22").expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(4000) * 1e-7
    volts = np.minimum(expectation.volts(t_s), 3.4)
    found = picture(jungle, "22", volts, 1e-7).difference
    assert found is not None
    assert found.worst_v == pytest.approx(-1.9, abs=0.05)
    assert 0.03 < found.outside_share < 0.09  # 4 µs of 64


def test_an_ac_coupled_picture_shows_the_capture_without_its_dc(jungle: Chip) -> None:
    """The coupling takes off any DC voltage: 1.5 V too much does not leave the screen."""
    volts = 4.2 + Signal().samples(20_000, INTERVAL_S)
    pictures = picture(jungle, "6", volts, INTERVAL_S)
    assert pictures.settings is not None
    assert pictures.settings.coupling == "AC"
    assert pictures.difference is not None
    assert pictures.difference.outside_share < 0.02


def test_a_sine_of_1_vpp_reads_minus_9_dbv() -> None:
    """1 Vpp is 0.3536 V root mean square: 20 log 0.3536 = -9.03 dBV (textbook)."""
    t_s = np.arange(100_000) * 1e-6
    rng = np.random.default_rng(3)
    volts = 0.5 * np.sin(2 * np.pi * 15_625 * t_s) + rng.normal(0, 1e-3, len(t_s))
    spectrum = compute_spectrum(volts, 1e-6, "PAL-B/G")
    assert spectrum is not None
    marks = {mark.name: mark.level_dbv for mark in spectrum.trace.marks}
    assert marks["line"] == pytest.approx(-9.03, abs=0.3)
    # Between two bins a Hann window reads up to 1.42 dB too little.
    assert -9.03 - 1.5 < spectrum.trace.level_dbv.max() < -9.0
    assert marks["line × 2"] is None
    assert marks["mains, fields"] is None


def test_hum_is_marked_at_the_mains() -> None:
    """20 mVpp at 100 Hz, behind a full-wave rectifier: -43.0 dBV."""
    t_s = np.arange(200_000) * 1e-6
    rng = np.random.default_rng(4)
    volts = 0.01 * np.sin(2 * np.pi * 100 * t_s) + rng.normal(0, 1e-3, len(t_s))
    spectrum = compute_spectrum(volts, 1e-6, "PAL-B/G")
    assert spectrum is not None
    marks = {mark.name: mark for mark in spectrum.trace.marks}
    assert marks["mains × 2"].level_dbv == pytest.approx(-43.0, abs=0.5)
    assert marks["mains × 2"].words == "mains × 2 100 Hz: -43 dBV"


@pytest.mark.parametrize(("system", "mains_hz"), [("PAL-B/G", 50), ("NTSC-M", 60)])
def test_a_short_record_says_what_it_cannot_show(system: str, mains_hz: int) -> None:
    volts = np.random.default_rng(5).normal(0, 1, 5000)
    spectrum = compute_spectrum(volts, 1e-7, system)
    assert spectrum is not None
    assert f"too short to show {mains_hz} Hz of mains" in spectrum.note
    assert not any(mark.origin == "mains" for mark in spectrum.trace.marks)


@pytest.mark.parametrize(
    ("draw", "shown"),
    [
        (lambda pictures: pictures.draw_comparison(), ("scope-captured", "difference-band")),
        (lambda pictures: pictures.draw_vectors(standalone=True), ("vector-measured",)),
        (lambda pictures: pictures.draw_spectrum(standalone=True), ("spectrum-mark",)),
    ],
)
def test_each_picture_is_a_file_of_its_own(
    jungle: Chip, draw: Callable[[CapturePictures], str | None], shown: tuple[str, ...]
) -> None:
    svg = draw(video(jungle))
    assert svg is not None
    assert svg.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    root = ElementTree.fromstring(svg.encode())
    classes = [(node.get("class") or "").split() for node in root.iter()]
    assert all([name] in classes for name in shown)
    assert not [node.tag for node in root.iter() if "style" in node.attrib]


def test_the_document_has_the_figures_of_the_pictures(jungle: Chip) -> None:
    capture = video(jungle).document()["capture"]
    assert capture["difference"]["tolerance_v"] == pytest.approx(0.1)
    assert [colour["name"] for colour in capture["vectors"]] == list(PAL_75)
    assert {mark["name"] for mark in capture["spectrum"]} >= {"line", "subcarrier"}
