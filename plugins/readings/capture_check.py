"""Judge a capture of a pin: its measurements as a reading, its shape against the expected one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ...loaders.captures.text_capture import Capture
from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.quantities import print_value
from ...schema.reading import Reading
from ...schema.waveforms import Samples
from ..drawing.scope_picture import Trace, compute_trace, draw_scope
from ..drawing.scope_settings import choose_scope_settings
from .checks import choose_expectation
from .shape_comparison import Likeness, NotComparable, compare_shape
from .trace_measurements import TraceMeasurements, measure_trace
from .verdict import PinVerdict, judge_reading

_SAME_SHAPE_CORRELATION: Final = 0.95  # the same shape, apart from noise and edges
_HUM_SHARE: Final = 0.15  # of the peak to peak: ripple that is clearly visible
_LEAST_HUM_SIZE_V: Final = 0.1  # hum is compared with at least this, where the signal is small
_SLOW_SIGNAL_HZ: Final = 500.0  # below this a signal cannot be told from hum and its harmonics
_NEAR_FREQUENCY: Final = 0.25  # how far off the frequency may be for the picture to follow it


@dataclass(frozen=True, eq=False)
class CaptureCheck:
    """A judged capture: verdict, measurements, and the comparison of shapes."""

    judged: PinVerdict
    measured: TraceMeasurements
    likeness: Likeness | None
    """None without an expected shape, or where too little of it was captured."""
    remarks: tuple[str, ...]
    """Findings about the shape, one sentence each."""
    expectation: Expectation
    capture: Capture
    channel: int

    def svg(self, title: str, *, standalone: bool = True, bare: bool = False) -> str | None:
        """Return the capture drawn over the expected picture; None where there is none.

        ``bare`` leaves out all that is around the screen.
        """
        settings = choose_scope_settings(self.expectation)
        if settings is None:
            return None
        expected_trace = compute_trace(self.expectation, settings)
        captured = self._lay_over(expected_trace)
        return draw_scope(
            expected_trace, settings, title, standalone=standalone, over=captured, bare=bare
        )

    def _lay_over(self, expected_trace: Trace) -> tuple[Samples, Samples]:
        """Return the lowest and the highest captured volts in each column of the picture.

        Both have the shape (columns,); columns without samples are not numbers.
        """
        t_s = self._align_times_s(float(expected_trace.t_s[0]))
        step_s = expected_trace.t_s[1] - expected_trace.t_s[0]
        column_of_sample = np.round((t_s - expected_trace.t_s[0]) / step_s).astype(int)
        is_inside = (column_of_sample >= 0) & (column_of_sample < len(expected_trace.t_s))
        volts = self.capture.channels[self.channel] - expected_trace.removed_v
        low = np.full(len(expected_trace.t_s), np.inf)
        high = np.full(len(expected_trace.t_s), -np.inf)
        np.minimum.at(low, column_of_sample[is_inside], volts[is_inside])
        np.maximum.at(high, column_of_sample[is_inside], volts[is_inside])
        is_empty = ~np.isfinite(low)
        low[is_empty] = high[is_empty] = np.nan
        return low, high

    def _align_times_s(self, start_s: float) -> Samples:
        """Return the times of the samples on the picture's axis, whole cycles back to cover it."""
        t_s: Samples = self.capture.t_s - self.capture.t_s[0]
        waveform = self.expectation.waveform
        if self.likeness is None or waveform is None or not waveform.frequency_hz:
            return t_s + start_s
        measured_hz = self.measured.frequency_hz or waveform.frequency_hz
        stretch = measured_hz / waveform.frequency_hz
        t_s = t_s * (stretch if abs(stretch - 1) < _NEAR_FREQUENCY else 1.0)
        t_s = t_s + self.likeness.shift_s
        cycles = np.ceil((t_s[0] - start_s) * waveform.frequency_hz)
        return np.asarray(t_s - cycles / waveform.frequency_hz)


def check_capture(
    chip: Chip,
    pin: Pin,
    capture: Capture,
    reading: Reading,
    chosen: Instruments,
    condition: str | None = None,
    channel: int = 0,
    good: Iterable[Note] | None = None,
) -> CaptureCheck:
    """Return a capture judged; figures given in ``reading`` take precedence over measured ones.

    ``good`` are notes on the chip, to judge against observed ranges. Raises UnknownCondition and
    NoExpectation.
    """
    volts = capture.channels[channel]
    measured = measure_trace(capture.t_s, volts)
    full_reading = replace(
        reading,
        dc_v=reading.dc_v if reading.dc_v is not None else _compute_dc_v(pin, capture, measured),
        vpp_v=reading.vpp_v if reading.vpp_v is not None else measured.vpp_v,
        frequency_hz=reading.frequency_hz or measured.frequency_hz,
    )
    expectation = choose_expectation(chip, pin, full_reading, condition)
    shape, remarks = _compare_with_expectation(capture, volts, expectation, measured)
    if remarks and "distorted" not in full_reading.seen and "missing" not in full_reading.seen:
        full_reading = replace(full_reading, seen=(*full_reading.seen, "distorted"))
    if _has_hum(measured, expectation) and "hum" not in full_reading.seen:
        full_reading = replace(full_reading, seen=(*full_reading.seen, "hum"))
    verdict = judge_reading(chip, pin, expectation, full_reading, chosen, good)
    verdict = replace(verdict, why=(*verdict.why, *remarks))
    return CaptureCheck(verdict, measured, shape, remarks, expectation, capture, channel)


def _compute_dc_v(pin: Pin, capture: Capture, measured: TraceMeasurements) -> float | None:
    """Return the mean of a capture in volts; None where it is shorter than the slowest waveform.

    A meter averages over many periods, so part of one period says nothing about its reading.
    """
    periods_s = [e.waveform.period_s for e in pin.expectations if e.waveform is not None]
    span_s = capture.interval_s * len(capture.t_s)
    return measured.dc_v if span_s >= max(periods_s, default=0.0) else None


def _compare_with_expectation(
    capture: Capture, volts: Samples, expectation: Expectation, measured: TraceMeasurements
) -> tuple[Likeness | None, tuple[str, ...]]:
    """Return the comparison of shapes, if one is possible, and a sentence for each difference."""
    try:
        shape = compare_shape(capture.t_s, volts, expectation, measured.frequency_hz)
    except NotComparable:
        return None, ()
    remarks = [
        f"Level {level.name}: {print_value(level.found_v, 'V')} where"
        f" {print_value(level.expected_v, 'V')} should be"
        for level in shape.wrong_levels
    ]
    if shape.correlation <= -_SAME_SHAPE_CORRELATION:
        remarks.append("The shape is upside down")
    elif shape.correlation < _SAME_SHAPE_CORRELATION:
        remarks.append(
            f"The shape is {max(shape.correlation, 0):.0%} like what it should be; it differs most"
            f" {print_value(shape.worst_s, 's')} into the cycle, by"
            f" {print_value(shape.worst_v, 'V')}"
        )
    return shape, tuple(remarks)


def _has_hum(measured: TraceMeasurements, expectation: Expectation) -> bool:
    """Return whether mains ripple is visible on a signal far from the mains frequency."""
    waveform = expectation.waveform
    if measured.hum_vpp is None or (
        waveform is not None and 0 < waveform.frequency_hz < _SLOW_SIGNAL_HZ
    ):
        return False
    size_v = max(waveform.vpp_v if waveform is not None else 0.0, _LEAST_HUM_SIZE_V)
    return max(measured.hum_vpp) > _HUM_SHARE * size_v
