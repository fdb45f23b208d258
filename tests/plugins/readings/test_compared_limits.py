"""Where comparing a trace with its waveform changes its mind: levels, lengths, sample rates.

A level without a stated tolerance may be off by the assumed percentage of a waveform, shared by
both ends of a floating one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.readings.shape_comparison import Likeness, NotComparable, compare_shape
from pinfolio.schema import Expectation
from pinfolio.schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from pinfolio.schema.waveforms import Samples

PULSE = {"kind": "pulse", "frequency": "1 kHz", "low": "0 V", "high": "10 V", "duty": "30 %"}
STATED = PULSE | {"high": "10 V ± 2 %"}
SINE = {"kind": "sine", "frequency": "1 kHz", "vpp": "10 Vpp"}


def expect(fields: dict[str, Any], dc: str | None = None) -> Expectation:
    return Expectation.model_validate(
        {"condition": "bars", "dc": dc, "waveform": fields, "source": {"id": "sheet"}}
    )


def compare(
    fields: dict[str, Any], volts: Samples, span_s: float = 2e-3, hz: float | None = None
) -> Likeness:
    t_s = np.arange(len(volts)) * (span_s / len(volts))
    return compare_shape(t_s, volts, expect(fields), hz)


def make_times(span_s: float = 2e-3, count: int = 4000) -> Samples:
    return np.arange(count) * (span_s / count)


def make_pulse(
    high_v: float = 10.0, low_v: float = 0.0, span_s: float = 2e-3, count: int = 4000
) -> Samples:
    share = np.mod(make_times(span_s, count) * 1e3 + 0.4, 1.0)
    return np.where(share < 0.3, high_v, low_v)


def make_sine(peak_v: float = 5.0, span_s: float = 2e-3, count: int = 4000) -> Samples:
    return peak_v * np.sin(2 * np.pi * 1e3 * make_times(span_s, count) + 1.0)


def list_wrong(found: Likeness) -> list[str]:
    return [level.name for level in found.wrong_levels]


class TestLevels:
    def test_a_waveform_without_tolerance_may_be_off_by_a_fifth(self) -> None:
        assert ASSUMED_WAVEFORM_PERCENT == 20

    @pytest.mark.parametrize(
        ("high_v", "wrong_levels"), [(11.9, []), (12.1, ["high"]), (8.1, []), (7.9, ["high"])]
    )
    def test_a_named_level_by_the_assumed_share_of_itself(
        self, high_v: float, wrong_levels: list[str]
    ) -> None:
        found = compare(PULSE, make_pulse(high_v))
        assert [level.name for level in found.levels] == ["low", "high"]
        assert found.levels[1].found_v == pytest.approx(high_v)
        assert list_wrong(found) == wrong_levels

    @pytest.mark.parametrize(
        ("low_v", "wrong_levels"), [(0.49, []), (0.51, ["low"]), (-0.49, []), (-0.51, ["low"])]
    )
    def test_a_level_of_zero_by_a_twentieth_of_the_height(
        self, low_v: float, wrong_levels: list[str]
    ) -> None:
        assert list_wrong(compare(PULSE, make_pulse(10.0, low_v))) == wrong_levels

    @pytest.mark.parametrize(("high_v", "wrong_levels"), [(10.19, []), (10.21, ["high"])])
    def test_a_stated_tolerance_holds_as_it_is(
        self, high_v: float, wrong_levels: list[str]
    ) -> None:
        assert list_wrong(compare(STATED, make_pulse(high_v))) == wrong_levels

    @pytest.mark.parametrize(
        ("peak_v", "wrong_levels"),
        [(5.9, []), (6.1, ["lowest", "highest"]), (4.1, []), (3.9, ["lowest", "highest"])],
    )
    def test_the_ends_of_a_floating_waveform_share_the_tolerance_of_its_height(
        self, peak_v: float, wrong_levels: list[str]
    ) -> None:
        found = compare(SINE, make_sine(peak_v) + 30.0)
        assert list_wrong(found) == wrong_levels
        assert [level.name for level in found.levels] == ["lowest", "highest"]
        assert found.levels[0].expected_v == pytest.approx(-5.0, abs=0.01)
        # What lies within 2 % of the height from the end, in the middle, is 1 % below it.
        assert found.levels[1].found_v == pytest.approx(peak_v, rel=0.02)

    def test_a_level_must_be_held_for_a_hundredth_of_the_cycle(self) -> None:
        short, long = (PULSE | {"duty": f"{duty} %"} for duty in ("0.8", "1.3"))
        for fields, names in ((short, ["low"]), (long, ["low", "high"])):
            share = np.mod(make_times() * 1e3 + 0.4, 1.0)
            volts = np.where(share < float(fields["duty"][:3]) / 100, 10.0, 0.0)
            assert [level.name for level in compare(fields, volts).levels] == names


class TestWhereItDiffers:
    @pytest.mark.parametrize(("width", "seen"), [(0.005, False), (0.03, True)])
    def test_a_spike_is_no_difference_of_shape(self, width: float, seen: bool) -> None:
        """Less than a hundredth of the cycle; both cycles of the trace have it."""
        volts = make_pulse()
        share = np.mod(make_times() * 1e3, 1.0)
        volts[np.abs(share - 0.25) < width / 2] = 4.0
        found = compare(PULSE, volts)
        assert found.worst_v == pytest.approx(4.0 if seen else 0.0, abs=0.05)
        if seen:
            assert found.worst_s == pytest.approx(0.65e-3, abs=0.02e-3)

    @pytest.mark.parametrize("sign", [1.0, -1.0])
    def test_the_largest_difference_has_its_sign(self, sign: float) -> None:
        volts = make_pulse()
        share = np.mod(make_times() * 1e3, 1.0)
        volts[np.abs(share - 0.25) < 0.02] += sign * 2.0
        volts[np.abs(share - 0.45) < 0.02] -= sign * 1.5
        assert compare(PULSE, volts).worst_v == pytest.approx(sign * 2.0, abs=0.02)

    @pytest.mark.parametrize("start", [0.0, 0.15, 0.4, 0.9])
    def test_where_the_trace_begins(self, start: float) -> None:
        share = np.mod(make_times() * 1e3 + start, 1.0)
        found = compare(PULSE, np.where(share < 0.3, 10.0, 0.0))
        assert found.correlation == pytest.approx(1.0, abs=0.01)
        assert found.gain == pytest.approx(1.0, abs=0.01)
        off = np.mod(found.shift_s * 1e3 - start + 0.5, 1.0) - 0.5
        assert off == pytest.approx(0.0, abs=0.002)


class TestEnough:
    @pytest.mark.parametrize(("span_s", "enough"), [(0.51e-3, True), (0.49e-3, False)])
    def test_half_a_cycle_is_enough(self, span_s: float, enough: bool) -> None:
        volts = make_sine(span_s=span_s, count=1000)
        if enough:
            assert compare(SINE, volts, span_s).correlation > 0.99
        else:
            with pytest.raises(NotComparable, match="less than half a cycle"):
                compare(SINE, volts, span_s)

    @pytest.mark.parametrize(
        ("fields", "samples", "enough"),
        [(SINE, 2.1, True), (SINE, 1.9, False), (PULSE, 10.5, True), (PULSE, 9.5, False)],
    )
    def test_a_sine_needs_two_samples_a_cycle_and_a_shape_ten(
        self, fields: dict[str, Any], samples: float, enough: bool
    ) -> None:
        """The sampling theorem, and common practice."""
        count = 400
        span_s = count / samples * 1e-3
        make = make_sine if fields is SINE else make_pulse
        volts = make(span_s=span_s, count=count)
        if enough:
            assert compare(fields, volts, span_s).correlation > 0.5
        else:
            with pytest.raises(NotComparable, match="too far apart"):
                compare(fields, volts, span_s)

    @pytest.mark.parametrize(("samples", "judged"), [(10.5, True), (9.5, False)])
    def test_peaks_are_judged_from_ten_samples_a_cycle(self, samples: float, judged: bool) -> None:
        span_s = 400 / samples * 1e-3
        assert bool(compare(SINE, make_sine(span_s=span_s, count=400), span_s).levels) == judged

    @pytest.mark.parametrize(("hz", "alike"), [(1240.0, True), (1260.0, False), (760.0, True)])
    def test_a_frequency_is_followed_up_to_a_quarter_off(self, hz: float, alike: bool) -> None:
        t_s = make_times(8e-3, 8000)
        found = compare_shape(t_s, np.sin(2 * np.pi * hz * t_s), expect(SINE), hz)
        assert (found.correlation > 0.99) == alike

    def test_a_steady_level_and_a_level_trace_have_no_shape(self) -> None:
        with pytest.raises(NotComparable, match="no signal is expected"):
            compare({"kind": "steady", "level": "5 V"}, make_sine())
        no_signal = expect(SINE).model_copy(update={"waveform": None})
        with pytest.raises(NotComparable, match="no signal is expected"):
            compare_shape(make_times(), make_sine(), no_signal)
        with pytest.raises(NotComparable, match="the trace is level"):
            compare(SINE, np.full(4000, 3.0))


class TestInverted:
    def test_a_trace_upside_down_has_the_negative_correlation(self) -> None:
        found = compare(PULSE, 10.0 - make_pulse())
        assert found.correlation == pytest.approx(-1.0, abs=0.01)
        assert found.gain == pytest.approx(-1.0, abs=0.01)

    def test_an_even_shape_is_not_called_inverted(self) -> None:
        """A sine upside down is a sine half a cycle later."""
        found = compare(SINE, -make_sine())
        assert found.correlation == pytest.approx(1.0, abs=0.001)


def test_a_trace_of_many_cycles_counts_with_two_of_them() -> None:
    """The third cycle and later ones are another shape."""
    volts = make_pulse(span_s=8e-3, count=16_000)
    volts[4000:] = 5.0
    assert compare(PULSE, volts, 8e-3).correlation == pytest.approx(1.0, abs=0.01)


def test_noise_is_averaged_over_two_cycles() -> None:
    """Of equal power a correlation of sqrt(1/2) with one cycle, sqrt(2/3) with the mean of two."""
    noise = np.random.default_rng(3).normal(0, 5 / np.sqrt(2), 16_384)
    found = compare(SINE, make_sine(span_s=4e-3, count=16_384) + noise, 4e-3)
    assert found.correlation == pytest.approx(np.sqrt(2 / 3), abs=0.03)
