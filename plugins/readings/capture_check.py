"""Judge a capture of a pin: its measurements as a reading, its shape against the expected one."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

import numpy as np

from ...loaders.captures.capture import Capture
from ...schema.chip import Chip
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.instruments import Instruments
from ...schema.instruments.ordinary import BUILT_IN
from ...schema.note import Note
from ...schema.quantities import print_value
from ...schema.reading import Reading
from ...schema.waveforms import Samples
from ..instruments.oscillator_loading import sum_capacitance_f
from .capture_setup import CLIPPED, explain_long_end, find_setup_defects
from .checks import choose_expectation
from .shape_comparison import Likeness, NotComparable, compare_shape
from .trace_defects import find_trace_defects
from .trace_measurements import TraceMeasurements, measure_trace
from .verdict import (
    AS_EXPECTED,
    CANNOT_TELL,
    WORST_FIRST,
    CapturedFigures,
    PinVerdict,
    judge_reading,
)
from .video.defects import Defect
from .video.instrument_share import make_correction
from .video.judged_figure import Correct
from .video.video_check import VideoCheck, check_video, list_looks

_SAME_SHAPE_CORRELATION: Final = 0.95  # the same shape, apart from noise and edges
_HUM_SHARE: Final = 0.15  # of the peak to peak: ripple that is clearly visible
_LEAST_HUM_SIZE_V: Final = 0.1  # hum is compared with at least this, where the signal is small
_SLOW_SIGNAL_HZ: Final = 500.0  # below this a signal cannot be told from hum and its harmonics
_FACTOR: Final = "probe at divide-by-ten"  # all sizes are wrong, so none is judged
# Figures that say nothing about the pin when the capture is taken so.
_HIDES: Final = {
    _FACTOR: ("dc", "vpp"),
    "AC-coupled": ("dc",),
    CLIPPED: ("dc", "vpp"),
    "undersampled": ("vpp", "frequency"),
    "only field blanking": ("dc", "vpp", "frequency"),
    "too short": ("dc", "vpp", "frequency"),
}
_LEVELS_MOVE: Final = ("sandcastle level wrong", "burst key missing", "burst key misplaced")
"""Defects that a sandcastle without its DC voltage seems to have."""


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
    video: VideoCheck | None = None
    """Figures of a video signal; None for another kind."""
    defects: tuple[Defect, ...] = ()
    """Defects by name, those of the measurement first."""
    systems: tuple[str, ...] = ()
    """Television systems that the chip works with."""

    def document(self) -> dict[str, Any]:
        """Return the verdict as plain data, with the measurements of the capture."""
        found = self.video or VideoCheck()
        measured = replace(found, defects=self.defects).document()
        record = {**self.capture.document(), "channel": self.capture.names[self.channel]}
        return {**self.judged.document(), "capture": {"record": record, **measured}}


def check_capture(
    chip: Chip,
    pin: Pin,
    capture: Capture,
    reading: Reading,
    chosen: Instruments,
    condition: str | None = None,
    channel: int = 0,
    good: Iterable[Note] | None = None,
    line: int | None = None,
    in_field: int | None = None,
) -> CaptureCheck:
    """Return a capture judged; figures given in ``reading`` take precedence over measured ones.

    ``good`` are notes on the chip, to judge against observed ranges. ``line`` and ``in_field``
    choose one line of composite video. Raises UnknownCondition, NoExpectation and NoSuchLine.
    """
    volts = capture.channels[channel]
    chosen = choose_capture_instruments(chosen, capture)
    measured = measure_trace(capture.t_s, volts)
    raw_reading = _fill_in(reading, pin, capture, volts, measured)
    expectation = choose_expectation(chip, pin, raw_reading, condition)
    correct = _make_correction(chip, pin, expectation, chosen)
    video = check_video(
        volts, capture.interval_s, expectation, correct, line, in_field, measured.frequency_hz
    )
    shown = _examine(capture, volts, expectation, measured, video)
    full_reading = _fill_in(reading, pin, capture, volts, measured, video, shown.setup)
    has_hum = shown.lines is None and _has_hum(measured, expectation)
    full_reading = _add_seen(full_reading, has_remarks=bool(shown.remarks), has_hum=has_hum)
    captured = _name_captured_figures(reading, measured, shown.lines)
    judged = judge_reading(chip, pin, expectation, full_reading, chosen, good, captured)
    judged = _add_defects(judged._replace(why=(*judged.why, *shown.remarks)), shown.defects)
    if not shown.setup:
        judged = _explain_difference(judged, capture, volts, expectation)
    return CaptureCheck(
        judged=judged,
        measured=measured,
        likeness=shown.likeness,
        remarks=shown.remarks,
        expectation=expectation,
        capture=capture,
        channel=channel,
        video=video,
        defects=shown.defects,
        systems=chip.systems,
    )


class _Findings(NamedTuple):
    """All that a capture shows beside its figures."""

    setup: tuple[Defect, ...]
    """Defects of the measurement itself."""
    defects: tuple[Defect, ...]
    """These and those of the signal."""
    likeness: Likeness | None
    remarks: tuple[str, ...]
    lines: VideoCheck | None
    """The figures of video with lines; None for another signal."""


def _examine(
    capture: Capture,
    volts: Samples,
    expectation: Expectation,
    measured: TraceMeasurements,
    video: VideoCheck | None,
) -> _Findings:
    """Return the defects of a capture, and the comparison of its shape with the expected one."""
    lines = video if video is not None and video.has_lines else None
    setup = find_setup_defects(capture, volts, expectation, measured, lines)
    defects = _join_defects(setup, video, expectation, measured, capture.interval_s)
    likeness, remarks = _compare_with_expectation(capture, volts, expectation, measured, video)
    # A wrong setup, or a defect of video with a name, explains the shape better than a remark.
    if any(not defect.is_advised for defect in (setup if lines is None else defects)):
        remarks = ()
    return _Findings(setup, defects, likeness, remarks, lines)


def _make_correction(
    chip: Chip, pin: Pin, expectation: Expectation, chosen: Instruments
) -> Correct:
    """Return the function that corrects figures for the probe, at the signal's carrier."""
    carrier_hz = expectation.waveform.carrier_hz if expectation.waveform is not None else 0.0
    beside_f = sum_capacitance_f(chip, f"pin {pin.number}")
    return make_correction(pin, chosen, carrier_hz, beside_f)


def _add_seen(reading: Reading, *, has_remarks: bool, has_hum: bool) -> Reading:
    """Return the reading with the looks of the shape beside those that were seen."""
    seen = list(reading.seen)
    if has_remarks and "distorted" not in seen and "missing" not in seen:
        seen.append("distorted")
    if has_hum and "hum" not in seen:
        seen.append("hum")
    return reading._replace(seen=tuple(seen))


def _join_defects(
    setup: tuple[Defect, ...],
    video: VideoCheck | None,
    expectation: Expectation,
    measured: TraceMeasurements,
    interval_s: float,
) -> tuple[Defect, ...]:
    """Return all defects, each once; of the signal none that the measurement itself may make."""
    defects = setup
    setup_names = {defect.name for defect in setup}
    if video is not None and not setup_names & {_FACTOR, CLIPPED}:
        # Without its DC voltage a sandcastle seems to have wrong levels.
        excused = _LEVELS_MOVE if "AC-coupled" in setup_names else ()
        shown = (defect for defect in video.defects if defect.name not in excused)
        defects = (*setup, *shown)
    if setup or (video is not None and video.has_lines):
        return defects
    named = {defect.name for defect in defects}
    trace_defects = find_trace_defects(expectation, measured, interval_s)
    return (*defects, *(defect for defect in trace_defects if defect.name not in named))


def _fill_in(
    reading: Reading,
    pin: Pin,
    capture: Capture,
    volts: Samples,
    measured: TraceMeasurements,
    video: VideoCheck | None = None,
    setup: tuple[Defect, ...] = (),
) -> Reading:
    """Return the reading with measured figures in place of those not read."""
    dc_v = _compute_dc_v(pin, volts, capture.interval_s, measured)
    vpp_v: float | None = measured.vpp_v
    frequency_hz = measured.frequency_hz
    if video is not None and video.has_lines:
        dc_v = float(video.picture.mean()) if video.picture is not None else None
        vpp_v = video.white_vpp if video.has_bars else vpp_v
        frequency_hz = video.line_hz
    # A figure that the setup or a defect falsifies says nothing about the pin.
    defects = (*setup, *(video.defects if video is not None else ()))
    hidden = {quantity for defect in defects for quantity in _HIDES.get(defect.name, ())}
    if video is not None and video.is_partial:
        hidden.add("vpp")
    measured_figures = {"dc": dc_v, "vpp": vpp_v, "frequency": frequency_hz}
    shown = {name: value for name, value in measured_figures.items() if name not in hidden}
    return reading._replace(
        dc_v=reading.dc_v if reading.dc_v is not None else shown.get("dc"),
        vpp_v=reading.vpp_v if reading.vpp_v is not None else shown.get("vpp"),
        frequency_hz=reading.frequency_hz or shown.get("frequency"),
    )


def _name_captured_figures(
    reading: Reading, measured: TraceMeasurements, lines: VideoCheck | None
) -> CapturedFigures:
    """Return which figures come from the capture, not from ``reading``, and how surely."""
    if reading.frequency_hz is not None:
        return CapturedFigures(reading.dc_v is None, 0.0)
    return CapturedFigures(reading.dc_v is None, _find_frequency_error_hz(measured, lines))


def _find_frequency_error_hz(measured: TraceMeasurements, video: VideoCheck | None) -> float:
    """Return the standard uncertainty of the estimator that found the frequency."""
    if video is not None and video.line_hz is not None:
        rate = next(one for one in video.figures if one.name == "line frequency")
        return rate.figure.uncertainty
    return measured.frequency_uncertainty_hz or 0.0


def _add_defects(judged: PinVerdict, defects: tuple[Defect, ...]) -> PinVerdict:
    """Return the verdict with the defects first; the worst of all is that on the pin."""
    if not defects:
        return judged
    verdicts = [*(defect.verdict for defect in defects)]
    if judged.results or judged.verdict != CANNOT_TELL:
        verdicts.append(judged.verdict)
    return judged._replace(
        verdict=min(verdicts, key=WORST_FIRST.index),
        why=(*(defect.sentence for defect in defects), *judged.why),
        likely=(*list_looks(defects), *judged.likely),
        named=tuple(dict.fromkeys(defect.name for defect in defects)),
    )


def _explain_difference(
    judged: PinVerdict, capture: Capture, volts: Samples, expectation: Expectation
) -> PinVerdict:
    """Return a verdict that differs from the expectation with any reason in the record itself."""
    if judged.verdict in (AS_EXPECTED, CANNOT_TELL):
        return judged
    return judged._replace(why=(*judged.why, *explain_long_end(capture, volts, expectation)))


def choose_capture_instruments(chosen: Instruments, capture: Capture) -> Instruments:
    """Return the instruments with a digitising oscilloscope whose sampling is the capture's own.

    An analogue oscilloscope writes no file. Without a sample rate of its own, no frequency is
    explained by a time base that was not used.
    """
    scope = chosen.scope
    if scope.sort != "digitising":
        scope = next(one for one in BUILT_IN.scopes.values() if one.sort == "digitising")
    own = {"sample_rate": None, "record_length": None}
    return chosen._replace(scope=scope.model_copy(update=own))


def _compute_dc_v(
    pin: Pin, volts: Samples, interval_s: float, measured: TraceMeasurements
) -> float | None:
    """Return the mean of a capture in volts; None where it is shorter than the slowest waveform.

    A meter averages over many periods, so part of one period says nothing about its reading.
    """
    periods_s = [e.waveform.period_s for e in pin.expectations if e.waveform is not None]
    slowest_s = max(periods_s, default=0.0)
    periods = math.floor(interval_s * len(volts) / slowest_s) if slowest_s else 0
    if measured.frequency_hz is not None or not slowest_s:
        return measured.dc_v if periods or not slowest_s else None
    # Few periods show no frequency; the expected one says how many there are.
    return float(volts[: round(periods * slowest_s / interval_s)].mean()) if periods else None


def _compare_with_expectation(
    capture: Capture,
    volts: Samples,
    expectation: Expectation,
    measured: TraceMeasurements,
    video: VideoCheck | None,
) -> tuple[Likeness | None, tuple[str, ...]]:
    """Return the comparison of shapes, if one is possible, and a sentence for each difference.

    Of video, lines of the picture alone are compared; of chrominance, where others were captured.
    """
    if video is not None and not video.has_shape:
        return None, ()
    t_s, frequency_hz = capture.t_s, measured.frequency_hz
    is_cut = video is not None and (video.has_lines or video.picture is not None)
    if video is not None and is_cut:
        if video.picture is None or len(video.picture) < 2:
            return None, ()
        volts, frequency_hz = video.picture, video.line_hz
        t_s = capture.interval_s * np.arange(len(volts), dtype=np.float64)
    try:
        likeness = compare_shape(t_s, volts, expectation, frequency_hz)
    except NotComparable:
        return None, ()
    # The shift is counted from the start of the record, not of the picture cut out of it.
    if video is not None and is_cut:
        likeness = replace(likeness, shift_s=likeness.shift_s - video.picture_start_s)
    return likeness, _describe_likeness(likeness)


def _describe_likeness(likeness: Likeness) -> tuple[str, ...]:
    """Return a sentence for each level that is wrong, and for a shape that differs."""
    remarks = [
        f"Level {level.name}: {print_value(level.found_v, 'V')} where"
        f" {print_value(level.expected_v, 'V')} should be"
        for level in likeness.wrong_levels
    ]
    if likeness.correlation <= -_SAME_SHAPE_CORRELATION:
        remarks.append("The shape is upside down")
    elif likeness.correlation < _SAME_SHAPE_CORRELATION:
        remarks.append(
            f"The shape is {max(likeness.correlation, 0):.0%} like what it should be; it differs"
            f" most {print_value(likeness.worst_s, 's')} into the cycle, by"
            f" {print_value(likeness.worst_v, 'V')}"
        )
    return tuple(remarks)


def _has_hum(measured: TraceMeasurements, expectation: Expectation) -> bool:
    """Return whether mains ripple is visible on a signal far from the mains frequency."""
    waveform = expectation.waveform
    if measured.hum_vpp is None or (
        waveform is not None and 0 < waveform.frequency_hz < _SLOW_SIGNAL_HZ
    ):
        return False
    size_v = max(waveform.vpp_v if waveform is not None else 0.0, _LEAST_HUM_SIZE_V)
    return max(measured.hum_vpp) > _HUM_SHARE * size_v
