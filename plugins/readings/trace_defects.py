"""Noise and jitter on a signal that is no composite video, from its trace measurements."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from ...schema.chips.expectation import Expectation
from ...schema.quantities import print_value
from ...schema.waveforms import Waveform
from ...schema.waveforms.kinds.basic_shapes import Sawtooth
from ...schema.waveforms.kinds.colour_difference import ColourDifference, RgbBars
from ...schema.waveforms.kinds.deflection import FlybackPulse, VerticalDrive
from ...schema.waveforms.kinds.sandcastle import Sandcastle
from ...schema.waveforms.line_rate import LineRate
from .trace_measurements import TraceMeasurements
from .video.broadcast_limits import MOST_NOISE
from .video.defects import Defect

_NEAR: Final = 0.06  # how far off its frequency a signal may be for its jitter to be judged
_SLOWEST_LINE_HZ: Final = 1e3  # slower, it is of a field
_MOST_JITTER_S: Final = 0.2e-6  # root mean square, of a signal at line rate. Common practice.
_SAMPLES_A_CYCLE: Final = 10.0  # of its fastest part, for noise to be told from the signal
_SAMPLES_A_PERIOD: Final = 150.0  # of a signal that is level or straight between its pulses
_STRAIGHT_BETWEEN: Final = (Sandcastle, FlybackPulse, VerticalDrive, Sawtooth)
_HIGH_REFERENCES: Final = 0.8  # of the height, over which a rise time counts
_NOISE_COVERS: Final = 3.0  # times the jitter that noise makes on the edges


def find_trace_defects(
    expectation: Expectation, measured: TraceMeasurements, interval_s: float
) -> Iterator[Defect]:
    """Yield noise and jitter that are plainly more than a good signal has."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s or measured.vpp_v <= 0:
        return
    # Samples far apart make of a fast part what looks like noise.
    shows_noise = interval_s * waveform.fastest_hz * _SAMPLES_A_CYCLE < 1
    if isinstance(waveform, _STRAIGHT_BETWEEN):
        shows_noise |= interval_s * waveform.frequency_hz * _SAMPLES_A_PERIOD < 1
    is_noisy = measured.noise_v / measured.vpp_v > MOST_NOISE
    if shows_noise and is_noisy and waveform.kind != "noise":
        noise = print_value(measured.noise_v, "V", 2)
        limit = print_value(MOST_NOISE * measured.vpp_v, "V", 2)
        yield Defect("noisy", f"noise of {noise} root mean square, should be up to {limit}")

    jitter_s = find_jitter_s(measured, interval_s)
    if jitter_s > _MOST_JITTER_S and _is_locked_pulse(waveform, measured):
        jitter, limit = print_value(jitter_s, "s", 2), print_value(_MOST_JITTER_S, "s", 2)
        yield Defect("line jitter", f"{jitter} root mean square, should be up to {limit}")


def _is_locked_pulse(waveform: Waveform, measured: TraceMeasurements) -> bool:
    """Return whether a trace is of pulses at line rate, near enough for its jitter to be judged."""
    # The bars of a picture have many edges at nearly the same level.
    is_bars = isinstance(waveform, ColourDifference | RgbBars)
    is_pulse = isinstance(waveform, LineRate) and not is_bars
    has_carrier = waveform.carrier_hz != waveform.frequency_hz
    if not is_pulse or has_carrier or waveform.frequency_hz <= _SLOWEST_LINE_HZ:
        return False
    if measured.frequency_hz is None:
        return False
    return abs(measured.frequency_hz / waveform.frequency_hz - 1) < _NEAR


def find_jitter_s(measured: TraceMeasurements, interval_s: float) -> float:
    """Return the jitter beyond that which noise and the distance of samples make."""
    if measured.jitter_s is None or measured.rise_s is None:
        return 0.0
    noise_s = measured.noise_v * measured.rise_s / (_HIGH_REFERENCES * measured.vpp_v)
    # An edge between two samples may be anywhere between them.
    between_s = interval_s / math.sqrt(12)
    covered = _NOISE_COVERS**2 * (noise_s**2 + between_s**2)
    return math.sqrt(max(measured.jitter_s**2 - covered, 0.0))
