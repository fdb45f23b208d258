"""An oscilloscope's samples, in whichever way it writes them as text."""

from __future__ import annotations

import codecs
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.captures import number_table, text_capture
from pinfolio.loaders.captures.capture import Capture, CaptureError
from pinfolio.loaders.captures.capture_file import read_capture

US = 1e-6


def read(text: str, interval_s: float | None = None, encoding: str = "utf-8") -> Capture:
    return read_capture(text.encode(encoding), "scope.csv", interval_s)


def catch_refusal(text: str | bytes, interval_s: float | None = None) -> str:
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(CaptureError) as refused:
        read_capture(data, "scope.csv", interval_s)
    return str(refused.value)


TIME_AND_VOLTS = {
    "commas, no header": "0,0.5\n0.000001,1.5\n0.000002,-2.5\n",
    "exponents": "0e0,5e-1\n1.0E-06,+1.5E+00\n2.0E-06,-2.5\n",
    "header": "Time (s),CH1 (V)\n0,0.5\n1e-6,1.5\n2e-6,-2.5\n",
    "names, then units": "Time,CH1\ns,V\n0,0.5\n1e-6,1.5\n2e-6,-2.5\n",
    "units in brackets": "Time,CH1\n[µs],[mV]\n0,500\n1,1500\n2,-2500\n",
    "semicolons": "0;0.5\n0.000001;1.5\n0.000002;-2.5",
    "decimal commas": "Zeit (µs);Kanal 1 (mV)\n0,0;500,0\n1,0;1500,0\n2,0;-2500,0\n",
    "tabs and decimal commas": "time_us\tmV\n0,0\t500\n1,0\t1500\n2,0\t-2500\n",
    "blanks": "  0      0.5\n  1e-6   1.5\n  2e-6  -2.5\n",
    "blanks with names": "time(ms)  volts(V)\n0 0.5\n0.001 1.5\n0.002 -2.5\n",
    "comma and blank": "0, 0.5\n1e-6, 1.5\n2e-6, -2.5\n",
    "quotes": '"Time (us)","Volts"\n"0","0.5"\n"1","1.5"\n"2","-2.5"\n',
    "delimiter at the end": "Time,Volts,\n0,0.5,\n1e-6,1.5,\n2e-6,-2.5,\n",
    "blank lines": "\n\nTime,Volts\n\n0,0.5\n1e-6,1.5\n2e-6,-2.5\n\n\n",
    "many lines above": (
        "Record length,3\nProbe,10\nDate,2026-01-31\nVertical scale,0.5 V\nNote: 75 % bars\n\n"
        "t in µs,Volts\n0,0.5\n1,1.5\n2,-2.5\n"
    ),
    "settings beside the numbers": (
        "Record length,3,,0,0.5\nProbe,10,,1e-6,1.5\n,,,2e-6,-2.5\n,,,3e-6,0\n,,,4e-6,0\n"
    ),
    "CR alone": "0,0.5\r1e-6,1.5\r2e-6,-2.5\r",
    "CR and LF": "Time,Volts\r\n0,0.5\r\n1e-6,1.5\r\n2e-6,-2.5\r\n",
}


@pytest.mark.parametrize("text", TIME_AND_VOLTS.values(), ids=TIME_AND_VOLTS)
def test_time_and_volts(text: str) -> None:
    capture = read(text)
    assert capture.t_s[:3] == pytest.approx([0, 1 * US, 2 * US], abs=1e-15)
    assert capture.interval_s == pytest.approx(1 * US)
    assert capture.channels[0][:3] == pytest.approx([0.5, 1.5, -2.5])


VOLTS_ALONE = {
    "interval in seconds": "Sample Interval,1E-6\n0.5\n1.5\n-2.5\n",
    "interval with its unit in a cell": "Sample Interval,1.0,us\nVolts\n0.5\n1.5\n-2.5\n",
    "interval with a unit": "sampling interval: 1000 ns\n0.5\n1.5\n-2.5\n",
    "dt": "# dt = 0.001 ms\n0.5\n1.5\n-2.5\n",
    "unit before the figure": "interval (ns);1000\nmV\n500\n1500\n-2500\n",
    "decimal comma": "Sample interval;0,001 ms\nVolts\n0,5\n1,5\n-2,5\n".replace("\n", ";\n"),
    "sample rate": "Sample rate: 1 MS/s\n0.5\n1.5\n-2.5\n",
    "sample rate in hertz": "Sampling frequency (kHz)\t1000\n0.5\n1.5\n-2.5\n",
    "counted samples": "sample interval 1 us\nsample,CH1\n0,0.5\n1,1.5\n2,-2.5\n",
}


@pytest.mark.parametrize("text", VOLTS_ALONE.values(), ids=VOLTS_ALONE)
def test_volts_alone_with_the_interval_above(text: str) -> None:
    capture = read(text)
    assert capture.interval_s == pytest.approx(1 * US)
    assert capture.channels[0] == pytest.approx([0.5, 1.5, -2.5])


def test_volts_alone_with_the_interval_from_outside() -> None:
    capture = read("0.5\n1.5\n-2.5\n", interval_s=2 * US)
    assert capture.t_s == pytest.approx([0, 2 * US, 4 * US])
    assert capture.names == ("channel 1",)


def test_what_the_file_says_counts_before_what_comes_from_outside() -> None:
    assert read("dt: 1 us\n0.5\n1.5\n", interval_s=9.0).interval_s == pytest.approx(1 * US)
    assert read("0,0.5\n1e-6,1.5\n2e-6,3\n", interval_s=9.0).interval_s == pytest.approx(1 * US)


def test_two_channels_each_with_its_own_unit() -> None:
    capture = read("Time (ms),CH1 (mV),Y [V]\n0,500,1\n0.001,1500,2\n0.002,-2500,3\n")
    assert capture.names == ("CH1", "Y")
    assert capture.channels[0] == pytest.approx([0.5, 1.5, -2.5])
    assert capture.channels[1] == pytest.approx([1, 2, 3])


def test_a_channel_in_another_unit_is_left_out_with_a_remark() -> None:
    capture = read("Time (ms),CH1 (V),CH2 (A),M (dBm)\n0,1,5,6\n1,2,6,7\n2,1,5,6\n")
    assert capture.names == ("CH1",)
    assert capture.remarks == (
        "CH2 is in A, not in volts: left out",
        "M is in dBm, not in volts: left out",
    )


def test_logic_columns_beside_a_channel_are_left_out() -> None:
    capture = read("Time,Channel A,D1\n(ms),(mV),(Binary)\n\n0,5,1\n0.001,10,0\n0.002,15,1\n")
    assert capture.names == ("Channel A",)
    assert capture.channels[0] == pytest.approx([5e-3, 10e-3, 15e-3])
    assert capture.remarks == ("D1 is in logic levels, not in volts: left out",)


def test_two_channels_without_time() -> None:
    capture = read("dt: 1 us\nCH1 (V),CH2 (V)\n1.5,2\n1.5,3\n0.5,4\n")
    assert capture.names == ("CH1", "CH2")
    assert capture.channels[1] == pytest.approx([2, 3, 4])


@pytest.mark.parametrize(
    ("encoding", "bom"),
    [
        ("utf-8", b""),
        ("utf-8", codecs.BOM_UTF8),
        ("cp1252", b""),
        ("utf-16-le", codecs.BOM_UTF16_LE),
        ("utf-16-be", codecs.BOM_UTF16_BE),
        ("utf-16-le", b""),
        ("utf-16-be", b""),
    ],
)
def test_encodings(encoding: str, bom: bytes) -> None:
    text = "t (µs);Größe (V)\r\n0;0,5\r\n1;1,5\r\n2;-2,5\r\n"
    capture = read_capture(bom + text.encode(encoding), "scope.csv")
    assert capture.interval_s == pytest.approx(1 * US)
    assert capture.names == ("Größe",)


def test_times_in_few_figures_are_laid_evenly() -> None:
    capture = read("".join(f"{n * 0.25 * US:.6f},{n}.5\n" for n in range(400)))
    assert capture.interval_s == pytest.approx(0.25 * US, rel=0.01)
    assert np.ptp(np.diff(capture.t_s)) < 1e-15


REFUSED = {
    "": "scope.csv:1:1: an empty file: expected lines of time and volts",
    "no numbers here\nnor here\n": "scope.csv:1:1: no line of numbers",
    "t,v\n0,1\n1,2\n2,oops\n3,4\n4,5\n": "scope.csv:4:1: '2,oops': expected 2 numbers",
    "0,1.5\n1,2.5\n2\n3,4.5\n4,5.5\n": "scope.csv:3:1: '2': expected 2 numbers",
    "t;v\n0;1,5\n1;2.5.5\n2;3,5\n3;1,5\n": "scope.csv:3:1: '1;2.5.5': expected 2 numbers",
    "0,1.5\n1,2.5\n5,3.5\n6,3.5\n7,1.5\n8,1.5\n9,2\n": "scope.csv:3:1: a step of 4 s",
    "0,1.5\n2,2.5\n1,3.5\n": "scope.csv:3:1: 1 s after 2 s: expected times that rise",
    "0,51\n0,52\n0,49\n": "scope.csv:1:1: 0,51, which may be one number or two",
    "1.5\n2.5\n3.5\n": "scope.csv:1:1: volts without time: expected a sample interval",
    "t,v\n0,1e999\n1,2\n2,2\n": "scope.csv:2:1: 0 inf: expected finite numbers",
    "0,1.5\n": "scope.csv:1:1: 1 samples: expected at least 2",
}


@pytest.mark.parametrize(("text", "says"), REFUSED.items())
def test_what_is_wrong_is_said_with_its_line(text: str, says: str) -> None:
    assert catch_refusal(text).startswith(says)


def test_broken_utf_16_and_pictures_are_refused() -> None:
    assert "broken UTF-16" in catch_refusal(codecs.BOM_UTF16_LE + b"1\x00,")
    assert "a picture (PNG)" in catch_refusal(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 50)


def test_a_file_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(number_table, "MOST_SAMPLES", 3)
    assert "4 lines: expected no more than 3" in catch_refusal("0,1\n1,2\n2,3\n3,4\n")
    monkeypatch.setattr(text_capture, "MOST_BYTES", 10)
    assert "16 bytes: expected no more than 10" in catch_refusal("0,1\n1,2\n2,3\n3,4\n")


@st.composite
def make_dialects(
    draw: st.DrawFn,
) -> tuple[str, str, str, str, tuple[str, float], tuple[str, float]]:
    """Delimiter, decimal sign, line end, encoding, and the units of time and volts."""
    delimiter, decimal = draw(
        st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", ".")])
    )
    return (
        delimiter,
        decimal,
        draw(st.sampled_from(["\n", "\r\n"])),
        draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"])),
        draw(st.sampled_from([("s", 1.0), ("ms", 1e-3), ("µs", 1e-6), ("us", 1e-6), ("ns", 1e-9)])),
        draw(st.sampled_from([("V", 1.0), ("mV", 1e-3), ("µV", 1e-6)])),
    )


@given(
    make_dialects(),
    st.lists(st.floats(-400, 400, allow_subnormal=False), min_size=3, max_size=40),
    st.sampled_from([1e-9, 2.5e-8, 4e-6, 1e-3]),
    st.integers(0, 5),
)
def test_what_is_written_in_a_dialect_is_read_back(
    dialect: tuple[str, str, str, str, tuple[str, float], tuple[str, float]],
    volts: list[float],
    interval_s: float,
    lines_above: int,
) -> None:
    delimiter, decimal, end, encoding, (time_unit, time), (volt_unit, volt) = dialect
    rows = [(n * interval_s / time, v / volt) for n, v in enumerate(volts)]
    lines = [f"Setting {n}: some words" for n in range(lines_above)]
    lines.append(f"Time({time_unit}){delimiter}CH1({volt_unit})")
    lines += [delimiter.join(f"{x:.12e}".replace(".", decimal) for x in row) for row in rows]
    capture = read_capture(end.join(lines).encode(encoding), "scope.csv")
    assert capture.channels[0] == pytest.approx(np.array(volts), rel=1e-9, abs=1e-15)
    assert capture.interval_s == pytest.approx(interval_s)
    assert capture.names == ("CH1",)


@pytest.mark.parametrize(
    ("step_s", "volts", "said"),
    [
        (1e-6, "1e200", ":12:1: 1e\\+200 V: expected volts of a probe"),
        (1e-6, "-2e6", ":12:1: -2e\\+06 V"),
        (1e300, "1", "samples .* apart: expected between 10 fs and an hour"),
        (1e-300, "1", "samples .* apart"),
    ],
)
def test_what_no_oscilloscope_writes_is_refused(step_s: float, volts: str, said: str) -> None:
    lines = [f"{n * step_s!r},{volts if n == 10 else n % 2}" for n in range(20)]
    with pytest.raises(CaptureError, match=said):
        read("time (s),CH1 (V)\n" + "\n".join(lines) + "\n")


@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Nothing but CaptureError comes out of a file that is no capture."""
    with suppress(CaptureError):
        capture = read_capture(data, "scope.csv", 1e-6)
        assert all(np.isfinite(volts).all() for volts in capture.channels)


@given(st.text(alphabet='0123456789.,;e+- \t\n"tV', max_size=200))
def test_any_jumble_of_figures_is_read_or_refused(text: str) -> None:
    with suppress(CaptureError):
        capture = read(text, 1e-6)
        assert all(len(volts) == len(capture.t_s) for volts in capture.channels)
