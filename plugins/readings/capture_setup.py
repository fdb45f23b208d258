"""How a capture was taken: AC-coupled, with another factor of the probe, too slow, or clipped."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from ...loaders.captures.text_capture import Capture
from ...schema.chips.expectation import Expectation
from ...schema.quantities import print_value
from ...schema.waveforms import Samples
from ..drawing.scope_settings import choose_scope_settings
from .trace_measurements import TraceMeasurements
from .video.defects import Defect
from .video.figure import Record
from .video.instrument_marks import find_clipped
from .video.video_check import VideoCheck

_FEWEST_A_CYCLE: Final = 2.2  # samples, for a carrier to be told from its alias
_TENTH: Final = (0.085, 0.118)
_NO_DC: Final = 0.05  # of the expected DC voltage
_MEAN_WANDERS: Final = 0.25  # of the swing
_LEAST_SIGNAL: Final = 0.02  # of the expected swing


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
    found = list(_find_coupling(capture, expectation, measured))
    if video is None:
        found += _find_others(capture, volts, expectation, measured, has_dc=not found)
    return tuple(found)


def is_ac_coupled(capture: Capture, expectation: Expectation, measured: TraceMeasurements) -> bool:
    """Return whether the DC voltage that should be there is absent while a signal is there."""
    waveform = expectation.waveform
    span_s = capture.interval_s * len(capture.t_s)
    if waveform is None or not waveform.period_s or span_s < waveform.period_s:
        return False
    dc_v = expectation.dc.nominal if expectation.dc is not None else waveform.mean_v
    if waveform.floats and expectation.dc is None:
        return False
    swing_v = measured.vpp_v
    is_signal = swing_v > _LEAST_SIGNAL * waveform.vpp_v
    # The mean of a record differs from that of the signal by a part of its swing.
    most_v = max(_NO_DC * abs(dc_v), _MEAN_WANDERS * swing_v)
    return is_signal and abs(measured.dc_v) < most_v < abs(dc_v) / 2


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
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return
    rate_hz = 1 / capture.interval_s
    if rate_hz < _FEWEST_A_CYCLE * waveform.carrier_hz:
        wanted = print_value(waveform.carrier_hz, "Hz")
        yield Defect("undersampled", f"{print_value(rate_hz, 'Hz')} of sampling for {wanted}")
    side = find_clipped(Record(volts, capture.interval_s), measured.noise_v)
    # A level that belongs to the signal may end it on either side; a carrier has none.
    if side is not None and waveform.carrier_hz == waveform.fastest_hz:
        yield Defect(
            "clipped by the instrument", f"many samples are equal at the {side} end of its range"
        )
    ratio = measured.vpp_v / waveform.vpp_v if waveform.vpp_v else math.nan
    dc_v = expectation.dc.nominal if expectation.dc is not None else 0.0
    dc_ratio = measured.dc_v / dc_v if dc_v and has_dc else ratio
    for low, high in (_TENTH, (1 / _TENTH[1], 1 / _TENTH[0])):
        if low < ratio < high and 0.5 * low < dc_ratio < 2 * high:
            found, right = (print_value(v, "Vpp") for v in (measured.vpp_v, waveform.vpp_v))
            yield Defect("probe at divide-by-ten", f"{found} instead of {right}")
