"""A capture of a million samples, read and judged, against numpy.loadtxt of the same numbers."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.readings.capture_check import check_capture
from pinfolio.plugins.readings.pictures.capture_pictures import CapturePictures
from pinfolio.plugins.readings.shape_comparison import compare_shape
from pinfolio.plugins.readings.trace_measurements import measure_trace
from pinfolio.schema import Expectation
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

Report = Callable[..., None]
Seconds = Callable[..., float]

SAMPLES = 1_000_000
INTERVAL_S = 10e-9
SANDCASTLE = Expectation.model_validate(
    {
        "condition": "colour bars",
        "waveform": {
            "kind": "sandcastle",
            "system": "PAL-B/G",
            "burst_key": "8 V",
            "line_blanking": "4.5 V",
            "field_blanking": "2.5 V",
        },
        "source": {"id": "sheet"},
    }
)


@pytest.fixture(scope="module")
def rows() -> np.ndarray:
    """Time and volts of ten milliseconds, with noise."""
    t_s = np.arange(SAMPLES) * INTERVAL_S
    volts = SANDCASTLE.volts(t_s) + np.random.default_rng(1).normal(0, 0.05, SAMPLES)
    return np.column_stack([t_s, volts])


@pytest.fixture(scope="module")
def plain_csv(rows: np.ndarray) -> bytes:
    return "\n".join(f"{t:.8e},{v:.4f}" for t, v in rows).encode()


def measure_loadtxt_s(seconds: Seconds, plain_csv: bytes) -> float:
    return seconds(lambda: np.loadtxt(io.BytesIO(plain_csv), delimiter=","))


@pytest.mark.parametrize("dialect", ["commas", "decimal commas", "UTF-16"])
def test_reading(dialect: str, plain_csv: bytes, report: Report, seconds: Seconds) -> None:
    if dialect == "decimal commas":
        data = b"t (s);V\n" + plain_csv.translate(bytes.maketrans(b",.", b";,"))
    else:
        data = b"Time,CH1\ns,V\n" + plain_csv
    data = data.decode().encode("utf-16") if dialect == "UTF-16" else data
    assert len(read_capture(data, "capture.csv").t_s) == SAMPLES
    ours_s = seconds(lambda: read_capture(data, "capture.csv"))
    report(
        f"reading a capture of a million samples, {dialect}",
        ours_s,
        measure_loadtxt_s(seconds, plain_csv),
    )


def test_the_whole_way(plain_csv: bytes, report: Report, seconds: Seconds) -> None:
    """From bytes to figures and likeness."""

    def judge() -> float:
        capture = read_capture(plain_csv, "capture.csv")
        (volts,) = capture.channels
        measured = measure_trace(capture.t_s, volts)
        return compare_shape(capture.t_s, volts, SANDCASTLE, measured.frequency_hz).correlation

    assert judge() > 0.99
    report(
        "a capture of a million samples read, measured and compared",
        seconds(judge),
        measure_loadtxt_s(seconds, plain_csv),
    )


def test_colour_bars_to_the_picture(
    report: Report, seconds_in_turn: Callable[..., list[float]]
) -> None:
    """Composite video from bytes to verdict, every figure, and the drawn comparison."""
    chip = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
    pin, chosen = find_pin(chip, "3"), BUILT_IN.choose()
    waveform = next(e.waveform for e in pin.expectations if e.waveform)
    t_s = np.arange(SAMPLES) * 4 * INTERVAL_S
    volts = 3.1 + waveform.volts(t_s + 20e-6) + np.random.default_rng(1).normal(0, 3e-3, SAMPLES)
    data = "\n".join(f"{t:.8e},{v:.4f}" for t, v in zip(t_s, volts, strict=True)).encode()

    def judge() -> str | None:
        capture = read_capture(data, "capture.csv")
        check = check_capture(chip, pin, capture, Reading(), chosen, "colour bars")
        check.document()
        return CapturePictures(check, "bars").draw_comparison()

    assert judge()
    ours_s, plain_s = seconds_in_turn(judge, lambda: np.loadtxt(io.BytesIO(data), delimiter=","))
    report("colour bars of a million samples read, measured, compared, drawn", ours_s, plain_s)


def test_measuring_alone(rows: np.ndarray, report: Report, seconds: Seconds) -> None:
    t_s, volts = rows.T.copy()
    ours_s = seconds(lambda: measure_trace(t_s, volts))
    report(
        "measuring a million samples, against one numpy.fft.rfft",
        ours_s,
        seconds(lambda: np.fft.rfft(volts)),
    )
