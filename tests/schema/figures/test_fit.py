"""Points sampled from a known kind fit back to it; a shape that is none stays as drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pinfolio.schema.figures import FigureFit, fit_figure
from pinfolio.schema.waveforms import Waveform
from pinfolio.schema.waveforms.kinds.basic_shapes import Parabola, Pulse, Sawtooth, Sine, Steady
from pinfolio.schema.waveforms.kinds.deflection import FlybackPulse
from pinfolio.schema.waveforms.kinds.polyline import Polyline

Floats = NDArray[np.float64]
LINE_S = 64e-6

a_few = settings(max_examples=15, deadline=None)
shifts = st.floats(0, 0.99)
levels = st.floats(-5, 12)
heights = st.floats(0.05, 10)


def sample_waveform(
    waveform: Waveform, dc_v: float, shift: float, points: int = 101, periods: float = 1
) -> tuple[Floats, Floats]:
    """Points as clicked along the curve, which is drawn from any place of its period."""
    t_s = np.linspace(0, periods * waveform.period_s, points)
    return t_s, waveform.volts(t_s + shift * waveform.period_s) + dc_v


def make_sine(vpp: float) -> Sine:
    return Sine.model_validate({"kind": "sine", "frequency": "15.625 kHz", "vpp": f"{vpp:.6f} Vpp"})


def refit(fit: FigureFit, kind: type[Waveform]) -> Any:
    assert isinstance(fit.waveform, kind), [(one.kind, one.error) for one in fit.tried]
    assert fit.error <= fit.within
    return fit.waveform


@a_few
@given(heights, levels, shifts)
def test_a_sine_is_found_with_its_mean(vpp: float, dc_v: float, shift: float) -> None:
    if vpp < 0.02 * abs(dc_v):
        return  # as good as steady
    fit = fit_figure(*sample_waveform(make_sine(vpp), dc_v, shift))
    found = refit(fit, Sine)
    assert found.vpp.nominal == pytest.approx(vpp, rel=0.02)
    assert found.frequency.nominal == pytest.approx(15_625)
    assert fit.mean_v == pytest.approx(dc_v, abs=0.01 * vpp)


@a_few
@given(heights, shifts, st.integers(2, 6))
def test_how_many_periods_are_drawn_is_found(vpp: float, shift: float, periods: int) -> None:
    fit = fit_figure(*sample_waveform(make_sine(vpp), 0.0, shift, 30 * periods + 1, periods))
    assert refit(fit, Sine).frequency.nominal == pytest.approx(15_625)
    assert fit.periods == pytest.approx(periods)


@a_few
@given(heights, shifts, st.floats(1.2, 4))
def test_with_the_repeat_given_any_time_may_be_drawn(
    vpp: float, shift: float, periods: float
) -> None:
    fit = fit_figure(*sample_waveform(make_sine(vpp), 0.0, shift, 201, periods), repeat_s=LINE_S)
    assert refit(fit, Sine).vpp.nominal == pytest.approx(vpp, rel=0.02)
    assert fit.periods == pytest.approx(periods)


@a_few
@given(heights, levels, shifts, st.sampled_from(["rising", "falling"]), st.integers(2, 30))
def test_a_sawtooth_is_found_with_direction_and_retrace(
    vpp: float, dc_v: float, shift: float, way: str, retrace: int
) -> None:
    if vpp < 0.02 * abs(dc_v):
        return
    drawn = Sawtooth.model_validate(
        {
            "kind": "sawtooth",
            "frequency": "50 Hz",
            "vpp": f"{vpp:.6f} Vpp",
            "direction": way,
            "retrace": f"{retrace} %",
        }
    )
    fit = fit_figure(*sample_waveform(drawn, dc_v, shift, 201))
    found = refit(fit, Sawtooth)
    assert found.direction == way
    assert found.vpp.nominal == pytest.approx(vpp, rel=0.03)
    assert found.retrace.nominal == pytest.approx(retrace, abs=1)
    assert fit.mean_v == pytest.approx(dc_v, abs=0.02 * vpp)


@a_few
@given(heights, shifts, st.sampled_from(["upward", "downward"]))
def test_a_parabola_is_found_with_its_direction(vpp: float, shift: float, way: str) -> None:
    drawn = Parabola.model_validate(
        {"kind": "parabola", "frequency": "50 Hz", "vpp": f"{vpp:.6f} Vpp", "direction": way}
    )
    found = refit(fit_figure(*sample_waveform(drawn, 3.0, shift)), Parabola)
    assert found.direction == way
    assert found.vpp.nominal == pytest.approx(vpp, rel=0.02)


@a_few
@given(st.floats(-4, 4), st.floats(0.5, 9), shifts, st.floats(6, 50))
def test_a_pulse_is_found_with_levels_width_and_mean(
    low_v: float, height_v: float, shift: float, width_us: float
) -> None:
    drawn = Pulse.model_validate(
        {
            "kind": "pulse",
            "frequency": "15.625 kHz",
            "low": f"{low_v:.6f} V",
            "high": f"{low_v + height_v:.6f} V",
            "width": f"{width_us:.6f} µs",
            "rise": "1 µs",
            "fall": "1 µs",
        }
    )
    fit = fit_figure(*sample_waveform(drawn, 0.0, shift, 401))
    found = refit(fit, Pulse)
    assert found.low.nominal == pytest.approx(low_v, abs=0.02 * height_v)
    assert found.high.nominal == pytest.approx(low_v + height_v, abs=0.02 * height_v)
    assert found.width_s == pytest.approx(width_us * 1e-6, abs=0.3e-6)
    assert fit.mean_v == pytest.approx(drawn.mean_v, abs=0.02 * height_v)


def test_a_flyback_pulse_is_found_at_the_line_rate() -> None:
    drawn = FlybackPulse.model_validate(
        {"kind": "flyback pulse", "system": "PAL-B/G", "peak": "110 V", "width": "12 µs"}
    )
    found = refit(fit_figure(*sample_waveform(drawn, 0.0, 0.6, 161)), FlybackPulse)
    assert found.peak.nominal == pytest.approx(110, rel=0.01)
    assert found.width.nominal == pytest.approx(12e-6, rel=0.03)


@pytest.mark.parametrize("seed", range(5))
def test_the_noise_of_a_hand_does_not_hide_the_kind(seed: int) -> None:
    t_s, v = sample_waveform(make_sine(2.0), 1.0, 0.2)
    noisy = v + 0.03 * np.random.default_rng(seed).normal(size=len(v))
    found = refit(fit_figure(t_s, noisy), Sine)
    assert found.vpp.nominal == pytest.approx(2.0, rel=0.03)


def test_four_corners_are_a_pulse() -> None:
    t_s, v = np.array([0, 12, 12, 64]) * 1e-6, np.array([0.2, 0.2, 5.0, 5.0])
    found = refit(fit_figure(t_s, v), Pulse)
    assert (str(found.low), str(found.high), str(found.width)) == ("200 mV", "5 V", "52 µs")


def test_a_level_that_hardly_moves_is_steady() -> None:
    fit = fit_figure(np.array([0, 1.0]), np.array([3.0, 3.01]))
    assert isinstance(fit.waveform, Steady)
    assert isinstance(fit_figure(np.array([0, 1.0]), np.zeros(2)).waveform, Steady)


STAIRS = (np.array([0, 9, 10, 20, 21, 40, 41, 64]) * 1e-6, np.array([1, 1, 3, 3, 7, 7, 2, 1.0]))


def test_a_shape_that_is_no_known_kind_stays_as_drawn() -> None:
    fit = fit_figure(*STAIRS)
    assert isinstance(fit.waveform, Polyline)
    assert not fit.is_known
    assert fit.error == 0
    np.testing.assert_allclose([level.nominal for _, level in fit.waveform.points], STAIRS[1])
    assert all(kind.error > fit.within for kind in fit.tried)


def test_how_near_a_kind_must_come_is_for_the_asker_to_say() -> None:
    t_s, v = sample_waveform(make_sine(2.0), 0.0, 0.0)
    rounded_off = np.clip(v, -0.8, 0.8)
    assert fit_figure(t_s, rounded_off, within=0.05).is_known
    assert not fit_figure(t_s, rounded_off, within=0.001).is_known


def test_few_corners_are_straight_lines_and_never_a_curve() -> None:
    t_s, v = np.array([0, 16, 48, 64]) * 1e-6, np.array([0, 1.0, -1.0, 0])
    tried = {one.kind for one in fit_figure(t_s, v).tried}
    assert "sine" not in tried
    assert "parabola" not in tried


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.floats(0.01, 1), st.floats(-10, 10)), min_size=2, max_size=12))
def test_whatever_is_drawn_becomes_a_waveform_that_follows_it(
    steps: list[tuple[float, float]],
) -> None:
    t_s = np.cumsum([0.0] + [step for step, _ in steps[1:]])
    v = np.array([level for _, level in steps])
    fit = fit_figure(t_s, v)
    assert fit.error <= fit.within
    low_v, high_v, _ = fit.waveform.extremes_v
    assert high_v - low_v <= 1.5 * np.ptp(v) + 0.02 * np.abs(v).max()


def test_a_long_drawing_keeps_within_what_a_polyline_holds() -> None:
    t_s = np.linspace(0, 1e-3, 5000)
    v = np.sin(2e4 * t_s) * np.exp(-3e3 * t_s) + np.sign(t_s - 4e-4)
    fit = fit_figure(t_s, v)
    assert isinstance(fit.waveform, Polyline)
    assert len(fit.waveform.points) == 1000


@pytest.mark.parametrize(
    ("t_s", "v", "repeat_s"),
    [([0.0], [1.0], None), ([0.0, 1.0], [1.0], None), ([1.0, 0.0], [1.0, 2.0], None),
     ([0.0, 1.0], [1.0, 2.0], 0.0)],
)  # fmt: skip
def test_what_is_no_drawing_is_refused(
    t_s: list[float], v: list[float], repeat_s: float | None
) -> None:
    with pytest.raises(ValueError, match=r"give two points|sort the points|give one near"):
        fit_figure(np.array(t_s), np.array(v), repeat_s)
