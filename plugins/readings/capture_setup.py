"""How a capture was taken: AC-coupled, with another factor of the probe, too slow, or clipped."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from ...loaders.captures.capture import Capture
from ...schema.chips.expectation import Expectation
from ...schema.quantities import print_value
from ...schema.waveforms import Samples, Waveform
from ...schema.waveforms.kinds.basic_shapes import Sawtooth
from ...schema.waveforms.kinds.composite_video import Chrominance
from ...schema.waveforms.kinds.deflection import FlybackPulse, VerticalDrive
from ...schema.waveforms.kinds.sandcastle import Sandcastle
from ..drawing.scope_settings import choose_scope_settings
from .trace_measurements import TraceMeasurements
from .video.defects import Defect
from .video.figure import Record
from .video.instrument_marks import (
    LEVELS_NOISY,
    estimate_inner_noise_v,
    find_clipped,
    find_clipped_carrier,
    find_long_end,
)
from .video.video_check import VideoCheck

_FEWEST_A_CYCLE: Final = 2.2  # samples, for a carrier to be told from its alias
_TENTH: Final = (0.085, 0.118)
_NO_DC: Final = 0.05  # of the expected DC voltage
_MEAN_WANDERS: Final = 0.25  # of the swing
_LEAST_SIGNAL: Final = 0.02  # of the expected swing
_MEAN_DIFFERS: Final = 0.4  # of the mean: blanked lines, and tolerances of the levels
_LEAST_MEAN: Final = 0.08  # of the swing
_CUT_OFF_SEEN: Final = (Sandcastle, FlybackPulse, VerticalDrive, Sawtooth)
_PLACES: Final = 4000  # along a period
CLIPPED: Final = "clipped by the instrument"


def find_setup_defects(
    capture: Capture,
    volts: Samples,
    expectation: Expectation,
    measured: TraceMeasurements,
    video: VideoCheck | None,
) -> tuple[Defect, ...]:
    """Return the defects of the measurement, not of the signal.

    AC coupling is none where the pin's own settings ask for it. Composite video has its own
    checks of factor, clipping and sampling.
    """
    defects = list(_find_coupling(capture, expectation, measured))
    if video is None:
        has_dc = not defects
        defects += _find_others(capture, volts, expectation, measured, has_dc=has_dc)
    return tuple(defects)


def is_ac_coupled(capture: Capture, expectation: Expectation, measured: TraceMeasurements) -> bool:
    """Return whether the DC voltage that should be there is absent while a signal is there."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return False
    # Without a stated DC voltage, a floating waveform may be anywhere.
    if waveform.floats and expectation.dc is None:
        return False
    if measured.vpp_v <= _LEAST_SIGNAL * waveform.vpp_v:
        return False
    span_s = capture.interval_s * len(capture.t_s)
    dc_v = expectation.dc.nominal if expectation.dc is not None else waveform.mean_v
    if isinstance(waveform, Sandcastle | FlybackPulse):
        return span_s >= waveform.line_s and _has_moved_by(dc_v, waveform, measured)
    # The mean of a record differs from that of the signal by a part of its swing.
    most_v = max(_NO_DC * abs(dc_v), _MEAN_WANDERS * measured.vpp_v)
    return span_s >= waveform.period_s and abs(measured.dc_v) < most_v < abs(dc_v) / 2


def _has_moved_by(
    dc_v: float, waveform: Sandcastle | FlybackPulse, measured: TraceMeasurements
) -> bool:
    """Return whether both ends of pulses on a level are lower than expected by their mean.

    Their mean is a small part of their swing, so that the mean of a few lines tells little.
    """
    # A mean that small against the swing would not show.
    if abs(dc_v) <= _LEAST_MEAN * waveform.vpp_v:
        return False
    low_v, high_v, _ = waveform.extremes_v
    falls_v = low_v - measured.low_v, high_v - measured.high_v
    slack_v = _MEAN_DIFFERS * abs(dc_v)
    return all(abs(fall_v - dc_v) < slack_v for fall_v in falls_v)


def _find_coupling(
    capture: Capture, expectation: Expectation, measured: TraceMeasurements
) -> Iterator[Defect]:
    if not is_ac_coupled(capture, expectation, measured):
        return
    settings = choose_scope_settings(expectation)
    found = print_value(measured.dc_v, "V", 2)
    why = f"the mean is {found}, so that the DC voltage is not judged"
    is_advised = settings is not None and settings.coupling == "AC"
    yield Defect("AC-coupled", why, is_advised=is_advised)


def _find_others(
    capture: Capture,
    volts: Samples,
    expectation: Expectation,
    measured: TraceMeasurements,
    *,
    has_dc: bool,
) -> Iterator[Defect]:
    """Yield too slow sampling, clipping, and a probe with another factor than is set."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return
    rate_hz = 1 / capture.interval_s
    if rate_hz < _FEWEST_A_CYCLE * waveform.carrier_hz:
        carrier = print_value(waveform.carrier_hz, "Hz")
        yield Defect("undersampled", f"{print_value(rate_hz, 'Hz')} of sampling for {carrier}")
    clipped_side = _find_clipped_side(Record(volts, capture.interval_s), waveform, measured)
    if clipped_side is not None:
        yield Defect(CLIPPED, f"many samples are equal at the {clipped_side} end of its range")
    # A wrong factor makes DC and signal alike ten times too small, or too large.
    ratio = measured.vpp_v / waveform.vpp_v if waveform.vpp_v else math.nan
    dc_v = expectation.dc.nominal if expectation.dc is not None else 0.0
    dc_ratio = measured.dc_v / dc_v if dc_v and has_dc else ratio
    for low, high in (_TENTH, (1 / _TENTH[1], 1 / _TENTH[0])):
        if low < ratio < high and 0.5 * low < dc_ratio < 2 * high:
            size, right = print_value(measured.vpp_v, "Vpp"), print_value(waveform.vpp_v, "Vpp")
            yield Defect("probe at divide-by-ten", f"{size} instead of {right}")


def _find_clipped_side(
    record: Record, waveform: Waveform, measured: TraceMeasurements
) -> str | None:
    """Return the end at which the instrument cut the signal off; None where nothing shows it."""
    if isinstance(waveform, Chrominance):
        return find_clipped_carrier(record)
    if waveform.carrier_hz == waveform.fastest_hz:
        clipped = find_clipped(record, measured.noise_v)
        return clipped or find_clipped_carrier(record, measured.frequency_hz)
    if not isinstance(waveform, _CUT_OFF_SEEN):
        return None
    noise_v = measured.noise_v
    if isinstance(waveform, VerticalDrive | Sawtooth):
        # Nothing of a sawtooth is level but that which is cut off.
        noise_v = max(noise_v, estimate_inner_noise_v(record))
    return find_clipped(record, noise_v, LEVELS_NOISY)


def explain_long_end(capture: Capture, volts: Samples, expectation: Expectation) -> tuple[str, ...]:
    """Return a sentence where the range of the instrument may end, but nothing proves it."""
    waveform = expectation.waveform
    if not isinstance(waveform, _CUT_OFF_SEEN):
        return ()
    t_s = np.linspace(0.0, waveform.period_s, _PLACES, endpoint=False)
    side = find_long_end(Record(volts, capture.interval_s), waveform.volts(t_s))
    if side is None:
        return ()
    return (
        f"Many samples are equal at the {side} end: the signal is flat there, or clipped by the"
        " instrument; capture it smaller to tell",
    )
