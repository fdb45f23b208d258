"""Properties of every accepted waveform, whatever its figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms import WAVEFORM_KINDS, AnyWaveform
from pydantic import TypeAdapter

READ = TypeAdapter(AnyWaveform).validate_python
SYSTEMS = st.sampled_from(sorted(SCANNING))
SECAM = st.sampled_from(sorted(system for system in SCANNING if "SECAM" in system))
MODULATED = st.sampled_from(sorted(system for system in SCANNING if "SECAM" not in system))
BARS = st.sampled_from(["75 %", "100 %"])
SYNC = st.sampled_from(["up", "down"])
POLARITY = st.sampled_from(["positive", "negative"])


def number(low, high, unit):
    return st.integers(low, high).map(lambda value: f"{value} {unit}")


VPP = number(1, 9000, "mVpp")
FREQUENCY = number(1, 6_000_000, "Hz")
LOW, HIGH = number(-5000, 1000, "mV"), number(1001, 9000, "mV")
POINTS = st.lists(st.integers(0, 64), min_size=2, max_size=8, unique=True).flatmap(
    lambda times: st.tuples(*(st.tuples(st.just(f"{t} µs"), LOW | HIGH) for t in sorted(times)))
)


def draw_kind(word, **fields):
    return st.fixed_dictionaries({"kind": st.just(word), **fields})


LINE_RATE = (
    draw_kind("luminance", system=SYSTEMS, bars=BARS, vpp=VPP, sync=SYNC),
    draw_kind(
        "colour difference",
        system=SYSTEMS,
        axis=st.sampled_from(["R-Y", "G-Y", "B-Y"]),
        bars=BARS,
        vpp=VPP,
        polarity=POLARITY,
    ),
    draw_kind(
        "RGB bars",
        system=SYSTEMS,
        colour=st.sampled_from(["red", "green", "blue"]),
        bars=BARS,
        vpp=VPP,
        polarity=POLARITY,
    ),
    draw_kind(
        "line pulse",
        system=SYSTEMS,
        low=LOW,
        high=HIGH,
        width=number(1, 60, "µs"),
        delay=number(-60, 60, "µs"),
        polarity=POLARITY,
    ),
)
SLOWER = (
    draw_kind(
        "sandcastle",
        system=SYSTEMS,
        base=number(0, 1, "V"),
        field_blanking=number(2, 3, "V") | st.none(),
        line_blanking=number(4, 6, "V"),
        burst_key=number(7, 12, "V"),
    ),
    draw_kind("composite sync", system=SYSTEMS, vpp=VPP, sync=SYNC),
    draw_kind(
        "field pulse",
        system=SYSTEMS,
        low=LOW,
        high=HIGH,
        width=number(1, 15_000, "µs"),
        polarity=POLARITY,
    ),
)
SHAPES = (
    draw_kind("steady", level=LOW),
    draw_kind("sine", frequency=FREQUENCY, vpp=VPP),
    draw_kind("pulse", frequency=FREQUENCY, low=LOW, high=HIGH, duty=number(1, 99, "%")),
    draw_kind(
        "sawtooth",
        frequency=FREQUENCY,
        vpp=VPP,
        direction=st.sampled_from(["rising", "falling"]),
        retrace=number(0, 49, "%"),
    ),
    draw_kind(
        "parabola",
        frequency=FREQUENCY,
        vpp=VPP,
        direction=st.sampled_from(["upward", "downward"]),
    ),
    draw_kind(
        "bus activity",
        low=LOW,
        high=HIGH,
        clock=FREQUENCY,
        line=st.sampled_from(["clock", "data"]),
    ),
    draw_kind(
        "audio tone", frequency=FREQUENCY, vpp=VPP, distortion=number(0, 25, "%") | st.none()
    ),
    draw_kind("noise", vpp=VPP, bandwidth=FREQUENCY),
    draw_kind(
        "control voltage",
        level=LOW,
        ripple=VPP,
        ripple_frequency=FREQUENCY,
        low=number(-9, -5, "V"),
        high=number(1, 9, "V"),
    ),
    draw_kind("polyline", points=POINTS, repeat=number(64, 200, "µs")),
)
DEFLECTION = (
    draw_kind("flyback pulse", system=SYSTEMS, peak=HIGH, width=number(4, 60, "µs")),
    draw_kind(
        "east-west parabola",
        system=SYSTEMS,
        vpp=VPP,
        direction=st.sampled_from(["upward", "downward"]),
        trapezium=number(-100, 100, "%"),
    ),
    draw_kind(
        "vertical drive",
        system=SYSTEMS,
        vpp=VPP,
        direction=st.sampled_from(["rising", "falling"]),
        s_correction=number(0, 33, "%") | st.none(),
        retrace=number(0, 49, "%"),
    ),
)
SERVO = draw_kind(
    "servo pulse",
    frequency=st.integers(1, 40).map(lambda pulses: f"{25 * pulses} Hz"),
    low=LOW,
    high=HIGH,
    width=number(10, 900, "µs"),
    head_switch=st.just("25 Hz") | st.none(),
)
# Carriers that are whole multiples of their tones, so that they repeat with them.
MODULATED_BY_A_TONE = (
    draw_kind(
        "FM carrier",
        carrier=number(400, 6000, "kHz"),
        vpp=VPP,
        deviation=number(1, 100, "kHz"),
        tone=st.sampled_from(["1 kHz", "500 Hz", "250 Hz"]),
    ),
    draw_kind(
        "pilot",
        frequency=number(10, 60, "kHz"),
        vpp=VPP,
        identification=st.sampled_from(["100 Hz", "125 Hz", "250 Hz"]),
        depth=number(0, 99, "%"),
    ),
)
# These follow absolute time, and repeat with the line only in their envelope.
CARRIERS = (
    draw_kind(
        "modulated IF",
        system=MODULATED,
        carrier=number(20, 60, "MHz"),
        vpp=VPP,
        residual=number(0, 20, "%"),
    ),
    draw_kind(
        "FM luminance",
        system=SYSTEMS,
        bars=BARS,
        vpp=VPP,
        sync_tip=number(3000, 5500, "kHz"),
        white=number(5600, 8000, "kHz"),
    ),
    draw_kind(
        "colour-under",
        system=MODULATED,
        frequency=number(600, 800, "kHz"),
        bars=BARS,
        burst=VPP,
        phase_step=st.sampled_from(["-90°", "0°", "90°"]),
    ),
    draw_kind("SECAM video", system=SECAM, bars=BARS, vpp=VPP, sync=SYNC),
    draw_kind("multiburst", system=SYSTEMS, vpp=VPP, sync=SYNC),
    draw_kind("staircase", system=SYSTEMS, vpp=VPP, sync=SYNC, steps=st.sampled_from([5, 10])),
    draw_kind("crosshatch", system=SYSTEMS, vpp=VPP, sync=SYNC),
    draw_kind("red field", system=SYSTEMS, bars=BARS, vpp=VPP, sync=SYNC),
)
CHROMA = (
    draw_kind("composite video", system=MODULATED, bars=BARS, vpp=VPP, sync=SYNC),
    draw_kind("chrominance", system=MODULATED, bars=BARS, burst=VPP),
)
REPEATING = st.one_of(*SHAPES, *LINE_RATE, *SLOWER, *DEFLECTION, SERVO, *MODULATED_BY_A_TONE).map(
    READ
)
ON_CARRIERS = st.one_of(*CARRIERS).map(READ)
OTHERS = st.one_of(REPEATING, st.one_of(*CHROMA).map(READ))
ANY = OTHERS | ON_CARRIERS

# Samples fall between the corners of shapes, so that none lies on a jump.
SAMPLES = 40_003


def sample_period(waveform):
    return (np.arange(SAMPLES) + 1 / np.pi) / SAMPLES * (waveform.period_s or 1.0)


@given(ANY)
@settings(max_examples=60, deadline=None)
def test_says_itself_in_one_sentence_and_survives_being_written(waveform):
    words = waveform.describe()
    assert words.endswith(".")
    assert "\n" not in words
    assert READ(waveform.model_dump(mode="json")) == waveform


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_the_example_of_every_kind_keeps_its_own_figures(kind):
    """So does a kind that nobody has written a strategy for."""
    waveform = READ({"kind": kind, **WAVEFORM_KINDS[kind].example})
    assert READ(waveform.model_dump(mode="json")) == waveform
    check_peaks_and_mean(waveform, 1e-2)


def check_peaks_and_mean(waveform, mean_share):
    v = waveform.volts(sample_period(waveform))
    low_v, high_v, mean_v = waveform.extremes_v
    size_v = max(high_v - low_v, 1e-9)
    assert np.all((v >= low_v - 1e-6 * size_v) & (v <= high_v + 1e-6 * size_v))
    assert np.ptp(v) == pytest.approx(waveform.vpp_v, rel=0.01)
    assert v.mean() == pytest.approx(mean_v, abs=mean_share * size_v)


@given(OTHERS)
@settings(max_examples=60, deadline=None)
def test_peaks_and_mean_are_those_of_the_samples(waveform):
    check_peaks_and_mean(waveform, 1e-3)


@given(ON_CARRIERS)
@settings(max_examples=30, deadline=None)
def test_peaks_of_carriers_are_those_of_the_samples(waveform):
    """One line holds a broken number of cycles: the rest of them shows in its mean alone."""
    check_peaks_and_mean(waveform, 1e-2)


@given(REPEATING)
@settings(max_examples=60, deadline=None)
def test_repeats_after_its_period(waveform):
    t_s = sample_period(waveform)
    once, again = waveform.volts(t_s), waveform.volts(t_s + 3 * waveform.period_s)
    assert np.abs(again - once).max() <= 1e-5 * max(waveform.vpp_v, 1e-9)


@given(st.one_of(*CHROMA).map(READ))
@settings(max_examples=20, deadline=None)
def test_chroma_repeats_after_eight_fields(waveform):
    """NTSC after four fields, PAL after eight (ITU-R BT.470-6): eight do for all."""
    t_s = sample_period(waveform)
    once = waveform.volts(t_s)
    again = waveform.volts(t_s + 8 * waveform.field_s)
    assert np.abs(again - once).max() <= 1e-4 * waveform.vpp_v
