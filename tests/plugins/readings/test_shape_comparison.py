"""Comparing a captured trace with the expected shape, and naming the difference."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.shape_comparison import Likeness, NotComparable, compare_shape
from pinfolio.schema import Expectation
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Samples

Fields = dict[str, str]

LINE_S = 64e-6
SANDCASTLE = {
    "kind": "sandcastle",
    "system": "PAL-B/G",
    "burst_key": "8 V",
    "line_blanking": "4.5 V",
    "field_blanking": "2.5 V",
    "base": "0.2 V",
}
BARS = {"system": "PAL-B/G", "bars": "75 %"}
SHAPES = {
    "sandcastle": SANDCASTLE,
    "two-level sandcastle": {k: v for k, v in SANDCASTLE.items() if k != "field_blanking"},
    "sine": {"kind": "sine", "frequency": "15.625 kHz", "vpp": "2 Vpp"},
    "sawtooth": {"kind": "sawtooth", "frequency": "15.625 kHz", "vpp": "2 Vpp"},
    "luminance": {"kind": "luminance", "vpp": "1 Vpp", **BARS},
    "composite video": {"kind": "composite video", "vpp": "1 Vpp", **BARS},
    "chrominance": {"kind": "chrominance", "burst": "300 mVpp", **BARS},
    "colour difference": {"kind": "colour difference", "axis": "R-Y", "vpp": "1 Vpp", **BARS},
    "line pulse": {
        "kind": "line pulse",
        "system": "PAL-B/G",
        "low": "0 V",
        "high": "5 V",
        "width": "12 µs",
    },
}


def make_expectation(fields: Fields, dc: str | None = None) -> Expectation:
    return Expectation.model_validate(
        {"condition": "colour bars", "dc": dc, "waveform": fields, "source": {"id": "sheet"}}
    )


def make_times(span_s: float = 2 * LINE_S, count: int = 2500) -> Samples:
    return np.arange(count) * (span_s / count)


def trace(fields: Fields, t_s: Samples, start_s: float = 23e-6) -> Samples:
    """The samples that a set would give; the record begins ``start_s`` along the waveform."""
    return WAVEFORM_KINDS[fields["kind"]].model_validate(fields).volts(t_s + start_s)


def make_noise(count: int, deviation_v: float) -> Samples:
    return np.random.default_rng(5).normal(0, deviation_v, count)


def list_wrong(found: Likeness) -> list[str]:
    return [level.name for level in found.wrong_levels]


@pytest.mark.parametrize("lines", [1, 2, 5.3])
@pytest.mark.parametrize("fields", SHAPES.values(), ids=SHAPES)
def test_the_right_trace_is_like(fields: Fields, lines: float) -> None:
    t_s = make_times(lines * LINE_S, int(lines * 1500))
    volts = trace(fields, t_s)
    found = compare_shape(
        t_s, volts + make_noise(len(t_s), 0.01 * np.ptp(volts)), make_expectation(fields)
    )
    assert found.correlation > 0.97
    assert found.gain == pytest.approx(1.0, abs=0.05)
    assert list_wrong(found) == []


@pytest.mark.parametrize("start_s", [0.0, 7e-6, 23e-6, 60e-6])
@pytest.mark.parametrize("name", ["two-level sandcastle", "luminance", "sawtooth"])
def test_where_along_the_waveform_it_starts(name: str, start_s: float) -> None:
    t_s = make_times()
    found = compare_shape(t_s, trace(SHAPES[name], t_s, start_s), make_expectation(SHAPES[name]))
    off_s = (found.shift_s - start_s + LINE_S / 2) % LINE_S - LINE_S / 2
    assert abs(off_s) < 0.1e-6


@pytest.mark.parametrize(
    ("level", "volts"),
    [
        ("burst_key", "5.5 V"),
        ("burst_key", "11 V"),
        ("line_blanking", "2.9 V"),
        ("line_blanking", "6.5 V"),
        ("base", "1.5 V"),
    ],
)
@pytest.mark.parametrize("kind", ["sandcastle", "two-level sandcastle"])
def test_the_wrong_level_of_a_sandcastle_is_named(kind: str, level: str, volts: str) -> None:
    t_s = make_times()
    faulty = trace(SHAPES[kind] | {level: volts}, t_s) + make_noise(len(t_s), 0.05)
    found = compare_shape(t_s, faulty, make_expectation(SHAPES[kind]))
    assert list_wrong(found) == [level.replace("_", " ")]
    (that,) = found.wrong_levels
    assert that.found_v == pytest.approx(float(volts.removesuffix(" V")), abs=0.05)
    assert found.worst_v == pytest.approx(that.found_v - that.expected_v, abs=0.15)


def test_where_it_differs_is_where_the_level_is() -> None:
    """Of a PAL line the burst key is from about 5 to 9 µs after 0H, the picture after 10.5 µs."""
    t_s = make_times()
    key = compare_shape(
        t_s, trace(SANDCASTLE | {"burst_key": "5 V"}, t_s), make_expectation(SANDCASTLE)
    )
    assert 5e-6 < key.worst_s < 9.5e-6
    base = compare_shape(
        t_s, trace(SANDCASTLE | {"base": "1.5 V"}, t_s), make_expectation(SANDCASTLE)
    )
    assert 10.5e-6 < base.worst_s < LINE_S - 1.5e-6


def test_a_missing_burst_key() -> None:
    t_s = make_times()
    flat = np.minimum(trace(SANDCASTLE, t_s), 4.5)
    found = compare_shape(t_s, flat, make_expectation(SANDCASTLE))
    assert list_wrong(found) == ["burst key"]
    assert found.worst_v == pytest.approx(-3.5, abs=0.1)


def test_field_blanking_is_judged_where_it_is_captured() -> None:
    t_s = make_times(2 * LINE_S)
    blanking_s = 160 * LINE_S + 5e-6
    right = compare_shape(t_s, trace(SANDCASTLE, t_s, blanking_s), make_expectation(SANDCASTLE))
    assert [level.name for level in right.levels] == [
        "field blanking",
        "line blanking",
        "burst key",
    ]
    assert list_wrong(right) == []
    whole_s = make_times(40e-3, 100_000)
    low = trace(SANDCASTLE | {"field_blanking": "1.2 V"}, whole_s)
    assert list_wrong(compare_shape(whole_s, low, make_expectation(SANDCASTLE))) == [
        "field blanking"
    ]


@pytest.mark.parametrize("fields", SHAPES.values(), ids=SHAPES)
def test_half_the_amplitude_is_like_but_small(fields: Fields) -> None:
    t_s = make_times()
    found = compare_shape(t_s, trace(fields, t_s) / 2, make_expectation(fields))
    assert found.correlation > 0.97
    assert found.gain == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("name", ["two-level sandcastle", "luminance", "sawtooth", "line pulse"])
def test_inverted(name: str) -> None:
    t_s = make_times()
    found = compare_shape(t_s, 3 - trace(SHAPES[name], t_s), make_expectation(SHAPES[name]))
    assert found.correlation < -0.98
    assert found.gain == pytest.approx(-1.0, abs=0.03)


def test_a_floating_waveform_may_be_captured_at_any_level() -> None:
    t_s = make_times()
    fields = SHAPES["luminance"]
    for offset_v in (0.0, 3.0):
        found = compare_shape(t_s, trace(fields, t_s) + offset_v, make_expectation(fields, "2.5 V"))
        assert found.correlation > 0.999
        assert abs(found.worst_v) < 0.03
        assert list_wrong(found) == []


def test_clipped_sync_of_a_luminance() -> None:
    t_s = make_times()
    clipped = np.maximum(trace(SHAPES["luminance"], t_s), -0.1)
    found = compare_shape(t_s, clipped, make_expectation(SHAPES["luminance"]))
    assert found.correlation < 0.995
    assert "lowest" in list_wrong(found)
    assert found.worst_s < 4.7e-6  # in line sync, BT.470


@pytest.mark.parametrize("name", ["sandcastle", "luminance", "line pulse"])
def test_noise_alone_is_not_like(name: str) -> None:
    t_s = make_times()
    found = compare_shape(t_s, make_noise(len(t_s), 1.0), make_expectation(SHAPES[name]))
    assert abs(found.correlation) < 0.3


@pytest.mark.parametrize("name", ["two-level sandcastle", "luminance", "sine"])
def test_noise_on_top_lowers_it_as_it_should(name: str) -> None:
    """Independent noise of the signal's own power leaves a correlation of one over root two."""
    t_s = make_times(LINE_S, 4096)
    volts = trace(SHAPES[name], t_s)
    noisy = volts + make_noise(len(t_s), float(volts.std()))
    found = compare_shape(t_s, noisy, make_expectation(SHAPES[name]))
    assert found.correlation == pytest.approx(1 / np.sqrt(2), abs=0.05)


def test_another_shape_is_less_like() -> None:
    t_s = make_times()
    square = np.where(t_s % LINE_S < LINE_S / 2, 1.0, -1.0)
    found = compare_shape(t_s, square, make_expectation(SHAPES["sine"]))
    assert found.correlation == pytest.approx(2 * np.sqrt(2) / np.pi, abs=0.005)
    triangle = compare_shape(t_s, square, make_expectation(SHAPES["sawtooth"]))
    assert triangle.correlation == pytest.approx(np.sqrt(3) / 2, abs=0.005)


def test_off_frequency_is_no_fault_of_the_shape() -> None:
    t_s = make_times(5.3 * LINE_S)
    fast = trace(SHAPES["luminance"], t_s * 1.08)
    told = compare_shape(
        t_s, fast, make_expectation(SHAPES["luminance"]), frequency_hz=1.08 * 15_625
    )
    assert told.correlation > 0.99
    assert compare_shape(t_s, fast, make_expectation(SHAPES["luminance"])).correlation < 0.95


@pytest.mark.parametrize(
    ("fields", "volts", "why"),
    [
        ({"kind": "steady", "level": "5 V"}, np.ones(100), "no signal is expected here"),
        (SHAPES["sine"], np.ones(2500), "the trace is level"),
        (SHAPES["sine"], np.zeros(2500), "the trace is level"),
        (SHAPES["sine"], np.arange(300.0), "less than half a cycle was captured"),
    ],
)
def test_what_cannot_be_compared(fields: Fields, volts: Samples, why: str) -> None:
    with pytest.raises(NotComparable, match=why):
        compare_shape(make_times()[: len(volts)], volts, make_expectation(fields))


def test_a_field_of_composite_sync() -> None:
    """A frame repeats after 40 ms, and the pulses in it last a few microseconds."""
    t_s = make_times(20e-3, 200_000)
    fields = {"kind": "composite sync", "system": "PAL-B/G", "vpp": "4 Vpp"}
    found = compare_shape(t_s, trace(fields, t_s, 11e-3), make_expectation(fields))
    assert found.correlation > 0.98
    assert found.shift_s == pytest.approx(11e-3, abs=1e-6)
    assert list_wrong(found) == []


def test_peaks_between_sparse_samples_are_not_judged() -> None:
    fields = {"kind": "sine", "frequency": "4.43361875 MHz", "vpp": "0.5 Vpp"}
    t_s = make_times(100e-6, 1000)
    found = compare_shape(t_s, trace(fields, t_s), make_expectation(fields))
    assert found.correlation > 0.95
    assert found.levels == ()


def test_samples_beyond_half_a_cycle_show_nothing_and_take_no_room() -> None:
    """Laid on the grid of a 500 kHz cycle, some minutes would take thousands of millions."""
    t_s = make_times(300.0, 50)
    with pytest.raises(NotComparable, match="too far apart"):
        compare_shape(
            t_s,
            np.sin(t_s),
            make_expectation({"kind": "sine", "frequency": "500 kHz", "vpp": "1 Vpp"}),
        )


def test_samples_too_sparse_for_the_shape() -> None:
    t_s = make_times(40e-3, 2500)
    with pytest.raises(NotComparable, match="too far apart"):
        compare_shape(t_s, trace(SANDCASTLE, t_s), make_expectation(SANDCASTLE))


@pytest.mark.parametrize(("samples", "is_enough"), [(511, False), (512, True), (520, True)])
def test_half_a_cycle_is_enough(samples: int, is_enough: bool) -> None:
    """1024 samples a cycle; steps and frequency are powers of two, so that no figure is rounded."""
    fields = {"kind": "sine", "frequency": "1024 Hz", "vpp": "2 Vpp"}
    t_s = np.arange(samples) * 2.0**-20
    if is_enough:
        found = compare_shape(t_s, trace(fields, t_s, 0.0), make_expectation(fields))
        assert found.correlation > 0.999
    else:
        with pytest.raises(NotComparable, match="less than half a cycle"):
            compare_shape(t_s, trace(fields, t_s, 0.0), make_expectation(fields))


@pytest.mark.parametrize(("span_s", "is_enough"), [(31e-6, False), (33e-6, True)])
def test_of_video_half_a_line_is_enough(span_s: float, is_enough: bool) -> None:
    """64 µs a line (ITU-R BT.470-6), however long the frame lasts."""
    t_s = make_times(span_s, 1000)
    volts = trace(SHAPES["luminance"], t_s)
    if is_enough:
        assert compare_shape(t_s, volts, make_expectation(SHAPES["luminance"])).correlation > 0.9
    else:
        with pytest.raises(NotComparable, match="less than half a cycle"):
            compare_shape(t_s, volts, make_expectation(SHAPES["luminance"]))
