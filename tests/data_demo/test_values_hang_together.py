"""Values of the demo chips fit each other, the parts around them and the published systems."""

from __future__ import annotations

import math
from functools import cache

import eseries
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip, Expectation

# Recommendation ITU-R BT.470-6 (625 lines) and SMPTE 170M (525 lines); hertz.
LINE_HZ = {"PAL-B/G": 15_625.0, "NTSC-M": 4.5e6 / 286}
FIELD_HZ = {"PAL-B/G": 50.0, "NTSC-M": 4.5e6 / 286 * 2 / 525}
SUBCARRIER_HZ = {"PAL-B/G": 4_433_618.75, "NTSC-M": 315e6 / 88}
PUBLISHED_HZ = (LINE_HZ, FIELD_HZ, SUBCARRIER_HZ)
ROUNDED = 50e-6  # 15.734 kHz, 59.94 Hz and 3.579545 MHz are how data sheets print them


@cache
def read_chip(part: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == part.lower()))


PARTS = [path.stem.upper() for path in chip_files()]
every_chip = pytest.mark.parametrize("part", PARTS)


def find_expectation(part: str, point: int | str, condition: str = "colour bars") -> Expectation:
    """Expectations of a pin (number) or node (name) of a chip."""
    if isinstance(point, int):
        expectations = read_chip(part).pins[point - 1].expectations
    else:
        nodes = read_chip(part).application.nodes
        expectations = next(node.expectations for node in nodes if node.id == point)
    return next(e for e in expectations if e.condition == condition)


def read_dc_v(part: str, point: int | str, condition: str = "colour bars") -> float:
    dc = find_expectation(part, point, condition).dc
    assert dc is not None
    return dc.nominal


def read_value(part: str, ref: str) -> float:
    """Value of a part around a chip, in SI units."""
    quantity = next(p.quantity for p in read_chip(part).application.parts if p.ref == ref)
    assert quantity is not None
    return quantity.nominal


def compute_resonance_hz(coil_h: float, capacitance_f: float) -> float:
    """Thomson's formula, of any handbook."""
    return 1 / (2 * math.pi * math.sqrt(coil_h * capacitance_f))


def divide_v(upper_ohm: float, lower_ohm: float) -> float:
    return lower_ohm / (upper_ohm + lower_ohm)


@every_chip
def test_resistors_and_capacitors_have_values_one_can_buy(part: str) -> None:
    """Preferred values of IEC 60063, from the `eseries` package."""
    for p in read_chip(part).application.parts:
        if p.kind not in ("resistor", "capacitor", "electrolytic capacitor") or not p.quantity:
            continue
        wanted = p.quantity.nominal
        series = [eseries.E24, eseries.E96] if p.kind == "resistor" else [eseries.E24]
        if wanted:  # 0 Ω is a wire link
            nearest = [eseries.find_nearest(each, wanted) for each in series]
            assert any(math.isclose(each, wanted, rel_tol=1e-6) for each in nearest), p.ref


@every_chip
def test_what_runs_near_a_published_frequency_runs_at_it(part: str) -> None:
    """Free-running oscillators say how far off they may be; the others are exact."""
    points = [*read_chip(part).pins, *read_chip(part).application.nodes]
    for expectation in (e for point in points for e in point.expectations):
        frequency = getattr(expectation.waveform, "frequency", None)
        for published in PUBLISHED_HZ:
            near = [
                s for s, hz in published.items() if frequency and _is_within(frequency, hz, 0.05)
            ]
            if near:
                low, high = frequency.limits(100 * ROUNDED)
                agree = [system for system in near if low <= published[system] <= high]
                assert set(agree) & set(read_chip(part).systems), (expectation, published)


def _is_within(frequency, published_hz: float, share: float) -> bool:
    return abs(frequency.nominal / published_hz - 1) < share


@pytest.mark.parametrize(
    ("source", "pin", "sink", "into"),
    [("TQZ5752", 43, "MDQ2216", 2), ("TQZ5752", 44, "MDQ2216", 3),
     ("MDQ2216", 15, "TQZ5752", 41), ("MDQ2216", 16, "TQZ5752", 42)],
)  # fmt: skip
def test_jungle_and_delay_line_agree_on_colour_difference(source, pin, sink, into) -> None:
    out, back = find_expectation(source, pin).waveform, find_expectation(sink, into).waveform
    assert (out.axis, out.polarity, out.system) == (back.axis, back.polarity, back.system)
    assert out.vpp_v == pytest.approx(back.vpp_v)


def test_sandcastle_reaches_the_delay_line_through_its_divider() -> None:
    sent, arrives = (
        find_expectation("TQZ5752", 22).waveform,
        find_expectation("MDQ2216", 7).waveform,
    )
    share = divide_v(read_value("MDQ2216", "R742"), read_value("MDQ2216", "R743"))
    for level in ("burst_key", "line_blanking", "field_blanking", "base"):
        sent_v, arrives_v = getattr(sent, level).nominal, getattr(arrives, level).nominal
        assert arrives_v == pytest.approx(sent_v * share, abs=0.01), level


@pytest.mark.parametrize(
    ("part", "pin", "series", "rectified_v"),
    [("TQZ5752", 20, "R714", 21), ("OGX7342", 28, "R812", 22.5)],
)  # fmt: skip
def test_flyback_comes_down_to_the_pin_through_its_resistor(
    part: str, pin: int, series: str, rectified_v: float
) -> None:
    """The same winding, behind a diode of 0.7 V, feeds the protection input."""
    resistance = read_chip(part).pins[pin - 1].resistance
    assert resistance is not None
    share = divide_v(read_value(part, series), resistance.nominal)
    assert find_expectation(part, pin).waveform.vpp_v == pytest.approx(
        (rectified_v + 0.7) * share, rel=0.02
    )


def test_vertical_drive_of_the_jungle_is_what_the_output_stage_gets() -> None:
    sent, arrives = find_expectation("TQZ5752", 26), find_expectation("TQZ3609", "vertical-drive")
    assert sent.waveform == arrives.waveform
    assert sent.dc.nominal == arrives.dc.nominal
    assert (
        find_expectation("TQZ5752", "vertical-sense").waveform
        == find_expectation("TQZ3609", "yoke-sense").waveform
    )


def test_colour_under_bars_reach_what_the_notes_say() -> None:
    for pin, condition, vpp_v in ((34, "recording bars", 0.35), (35, "playback bars", 0.09)):
        told = find_expectation("KYE6848", pin, condition)
        assert told.waveform.vpp_v == pytest.approx(vpp_v, rel=0.02)
        assert f"reach {vpp_v * 1e3:.0f} mVpp" in told.note


def test_delay_line_clock_divides_a_line_evenly() -> None:
    assert find_expectation("MDQ2216", 5).waveform.frequency_hz / LINE_HZ["PAL-B/G"] == 192


def test_afc_and_ident_reach_the_tuning_processor_through_their_dividers() -> None:
    afc = divide_v(read_value("KYE1916", "R651"), read_value("KYE1916", "R652"))
    assert read_dc_v("KYE1916", 2) == pytest.approx(read_dc_v("OGX1524", 13) * afc, rel=0.01)
    ident = divide_v(read_value("KYE1916", "R655"), read_value("KYE1916", "R656"))
    assert read_dc_v("KYE1916", 3) == pytest.approx(read_dc_v("OGX1524", 14) * ident, rel=0.02)


@pytest.mark.parametrize("condition", ["no signal", "colour bars"])
def test_tuning_voltage_is_the_mean_of_the_switched_pulse(condition: str) -> None:
    pulse = find_expectation("KYE1916", "switched-33v", condition).waveform
    drive = find_expectation("KYE1916", 15, condition).waveform
    assert read_dc_v("KYE1916", "tuning-voltage", condition) == pytest.approx(
        pulse.mean_v, rel=0.01
    )
    assert pulse.duty.nominal + drive.duty.nominal == pytest.approx(100)
    assert pulse.frequency_hz == read_value("KYE1916", "X651") / 2**7


def test_rgb_switch_has_the_gain_its_contrast_pin_states() -> None:
    for source, output in ((4, 15), (2, 17), (6, 20)):
        gain = (
            find_expectation("MDQ3724", output).waveform.vpp_v
            / find_expectation("MDQ3724", source).waveform.vpp_v
        )
        assert gain == pytest.approx(4)
    assert "gain of 4" in read_chip("MDQ3724").pins[21].function


def test_meter_alone_cannot_tell_the_open_coupling_capacitor() -> None:
    """The demo's monitor: without C302 pin 2 keeps its clamp voltage; only the bars are gone."""
    with_bars, clamp_alone = (
        find_expectation("MDQ3724", 2),
        find_expectation("MDQ3724", 2, "no signal"),
    )
    low_v, high_v = with_bars.dc_limits_v()
    assert low_v <= clamp_alone.dc.nominal <= high_v
    assert with_bars.waveform is not None
    assert clamp_alone.waveform is None


@pytest.mark.parametrize(("source", "into", "output"), [(15, 5, 7), (17, 4, 9), (20, 3, 10)])
def test_tube_drive_follows_from_the_rgb_switch(source: int, into: int, output: int) -> None:
    """Through the divider of R401 and R404, then a gain of 32 turned over, mean and black alike."""
    share = divide_v(read_value("TQZ6209", "R401"), read_value("TQZ6209", "R404"))
    sent, arrives = find_expectation("MDQ3724", source), find_expectation("TQZ6209", into)
    assert arrives.waveform.vpp_v == pytest.approx(sent.waveform.vpp_v * share, rel=0.01)
    assert arrives.dc.nominal == pytest.approx(sent.dc.nominal * share, rel=0.01)
    driven, black_v = find_expectation("TQZ6209", output), read_dc_v("TQZ6209", output, "no signal")
    assert driven.waveform.vpp_v == pytest.approx(32 * arrives.waveform.vpp_v)
    assert black_v == pytest.approx(driven.offset_v, rel=0.01)  # black is 0 V of bars
    over_black_v = arrives.dc.nominal - read_dc_v("TQZ6209", into, "no signal")
    assert black_v - driven.dc.nominal == pytest.approx(32 * over_black_v, rel=0.03)


def test_colour_under_is_what_the_cassette_format_has() -> None:
    """PAL colour-under at 40 1/8 times line frequency: IEC 60774-1, from memory."""
    under_hz = find_expectation("KYE6848", 34, "recording bars").waveform.frequency_hz
    oscillator_hz = find_expectation("KYE6848", 45, "recording bars").waveform.frequency_hz
    carrier_hz = find_expectation("KYE6848", 46, "recording bars").waveform.frequency_hz
    assert under_hz == pytest.approx(40.125 * LINE_HZ["PAL-B/G"], abs=1)
    assert oscillator_hz / 8 == pytest.approx(under_hz, abs=1)
    assert carrier_hz == pytest.approx(SUBCARRIER_HZ["PAL-B/G"] + under_hz, abs=1)


@pytest.mark.parametrize(
    ("part", "pin", "condition", "coil", "capacitors", "stray_f"),
    [("KYE6848", 45, "recording bars", "L804", ["C829"], 19e-12),
     ("KYE6848", 46, "recording bars", "L805", ["C830"], 8e-12),
     ("OGX1524", 10, "colour bars", "L201", ["C205", "C206"], 7e-12),
     ("OGX1524", 19, "colour bars", "L202", ["C212", "C211"], 5e-12)],
)  # fmt: skip
def test_tuned_circuits_resonate_where_the_pin_runs(
    part, pin, condition, coil, capacitors, stray_f
) -> None:
    """A core tunes a coil by some per cent; the values printed must come that near."""
    capacitance_f = sum(read_value(part, ref) for ref in capacitors) + stray_f
    tuned_hz = compute_resonance_hz(read_value(part, coil), capacitance_f)
    assert find_expectation(part, pin, condition).waveform.frequency_hz == pytest.approx(
        tuned_hz, rel=0.03
    )


def test_sound_de_emphasis_is_50_microseconds() -> None:
    """System B/G sound: 50 µs pre-emphasis (BT.470-6)."""
    inside_ohm = 5e3  # as C213's purpose says
    assert read_value("OGX1524", "C213") * inside_ohm == pytest.approx(50e-6)


def test_audio_levels_follow_from_half_a_volt_rms() -> None:
    tone = {
        pin: find_expectation("OGX8132", pin, "1 kHz tone").waveform.vpp_v
        for pin in (9, 11, 12, 13)
    }
    assert tone[9] == pytest.approx(0.5 * 2 * math.sqrt(2), rel=0.01)
    assert tone[13] == pytest.approx(tone[9])
    w_rc = 2 * math.pi * 1e3 * read_value("OGX8132", "C913") * 10e3  # into pin 12's 10 kΩ
    assert tone[12] / tone[11] == pytest.approx(w_rc / math.hypot(1, w_rc), rel=0.02)


@every_chip
def test_points_not_to_be_probed_carry_no_values(part: str) -> None:
    forbidden = {hazard.at for hazard in read_chip(part).hazards if not hazard.probe}
    nodes = [node for node in read_chip(part).application.nodes if node.id in forbidden]
    assert all(not node.expectations for node in nodes)
