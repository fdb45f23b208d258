"""A capture of a pin, judged: its figures as a reading, its shape against the expected one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ...loaders.captures.text_capture import Capture
from ...schema import Chip, Expectation, Pin, print_value
from ...schema.instruments import Instruments
from ...schema.note import Note
from ...schema.reading import Reading
from ...schema.waveforms import Samples
from ..drawing.scope_picture import Trace, compute_trace, draw_scope
from ..drawing.scope_settings import choose_scope_settings
from .checks import choose_expectation
from .shape_comparison import Likeness, NotComparable, compare_shape
from .trace_measurements import TraceMeasurements, measure_trace
from .verdict import PinVerdict, judge_reading

_SAME_SHAPE_CORRELATION: Final = 0.95  # of correlation: the same shape, but for noise and edges
_HUM_SHARE: Final = 0.15  # of the peak to peak: ripple that anybody would see


@dataclass(frozen=True, eq=False)
class CaptureCheck:
    """A judged capture."""

    judged: PinVerdict
    measured: TraceMeasurements
    likeness: Likeness | None
    """None where there is no shape to compare, or not enough of it was captured."""
    remarks: tuple[str, ...]
    """What the shape says, a line each."""
    expectation: Expectation
    capture: Capture
    channel: int

    def svg(self, title: str, *, standalone: bool = True) -> str | None:
        """The capture drawn over the expected picture; None where there is none."""
        settings = choose_scope_settings(self.expectation)
        if settings is None:
            return None
        seen = compute_trace(self.expectation, settings)
        over = self._laid_over(seen)
        return draw_scope(seen, settings, title, standalone=standalone, over=over)

    def _laid_over(self, seen: Trace) -> tuple[Samples, Samples]:
        """Lowest and highest captured volts in each column of the picture, where it was captured.

        Columns without samples are not numbers.
        """
        t_s = self._on_the_picture_s(float(seen.t_s[0]))
        step_s = seen.t_s[1] - seen.t_s[0]
        column = np.round((t_s - seen.t_s[0]) / step_s).astype(int)
        inside = (column >= 0) & (column < len(seen.t_s))
        volts = self.capture.channels[self.channel] - seen.removed_v
        low = np.full(len(seen.t_s), np.inf)
        high = np.full(len(seen.t_s), -np.inf)
        np.minimum.at(low, column[inside], volts[inside])
        np.maximum.at(high, column[inside], volts[inside])
        empty = ~np.isfinite(low)
        low[empty] = high[empty] = np.nan
        return low, high

    def _on_the_picture_s(self, start_s: float) -> Samples:
        """Times of the samples on the picture's clock, whole cycles back so that it is covered."""
        t_s: Samples = self.capture.t_s - self.capture.t_s[0]
        waveform = self.expectation.waveform
        if self.likeness is None or waveform is None or not waveform.frequency_hz:
            return t_s + start_s
        measured_hz = self.measured.frequency_hz or waveform.frequency_hz
        stretch = measured_hz / waveform.frequency_hz
        t_s = t_s * (stretch if abs(stretch - 1) < 0.25 else 1.0) + self.likeness.shift_s
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
    """Judge a capture; figures of ``reading`` that were read otherwise go before its own.

    Raises what ``check_pin`` raises.
    """
    volts = capture.channels[channel]
    measured = measure_trace(capture.t_s, volts)
    whole = replace(
        reading,
        dc_v=reading.dc_v if reading.dc_v is not None else _compute_dc_v(pin, capture, measured),
        vpp_v=reading.vpp_v if reading.vpp_v is not None else measured.vpp_v,
        frequency_hz=reading.frequency_hz or measured.frequency_hz,
    )
    expectation = choose_expectation(chip, pin, whole, condition)
    alike, remarks = _compare_with_expectation(capture, volts, expectation, measured)
    if remarks and "distorted" not in whole.seen and "missing" not in whole.seen:
        whole = replace(whole, seen=(*whole.seen, "distorted"))
    if _has_hum(measured, expectation) and "hum" not in whole.seen:
        whole = replace(whole, seen=(*whole.seen, "hum"))
    judged = judge_reading(chip, pin, expectation, whole, chosen, good)
    judged = replace(judged, why=(*judged.why, *remarks))
    return CaptureCheck(judged, measured, alike, remarks, expectation, capture, channel)


def _compute_dc_v(pin: Pin, capture: Capture, measured: TraceMeasurements) -> float | None:
    """The mean of a capture, where it is as long as what a meter averages over."""
    periods_s = [e.waveform.period_s for e in pin.expectations if e.waveform is not None]
    span_s = capture.interval_s * len(capture.t_s)
    return measured.dc_v if span_s >= max(periods_s, default=0.0) else None


def _compare_with_expectation(
    capture: Capture, volts: Samples, expectation: Expectation, measured: TraceMeasurements
) -> tuple[Likeness | None, tuple[str, ...]]:
    """How like the shape is, and what is wrong with it."""
    try:
        found = compare_shape(capture.t_s, volts, expectation, measured.frequency_hz)
    except NotComparable:
        return None, ()
    told = [
        f"Level {level.name}: {print_value(level.found_v, 'V')} where"
        f" {print_value(level.expected_v, 'V')} should be"
        for level in found.wrong_levels
    ]
    if found.correlation <= -_SAME_SHAPE_CORRELATION:
        told.append("The shape is upside down")
    elif found.correlation < _SAME_SHAPE_CORRELATION:
        told.append(
            f"The shape is {max(found.correlation, 0):.0%} like what it should be; it differs most"
            f" {print_value(found.worst_s, 's')} into the cycle, by"
            f" {print_value(found.worst_v, 'V')}"
        )
    return found, tuple(told)


def _has_hum(measured: TraceMeasurements, expectation: Expectation) -> bool:
    """Mains ripple that stands out, where the signal itself is not near the mains frequency."""
    waveform = expectation.waveform
    if measured.hum_vpp is None or (waveform is not None and 0 < waveform.frequency_hz < 500):
        return False
    size_v = max(waveform.vpp_v if waveform is not None else 0.0, 0.1)
    return max(measured.hum_vpp) > _HUM_SHARE * size_v
