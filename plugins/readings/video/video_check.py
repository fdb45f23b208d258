"""A capture measured by the kind of signal that its pin should have."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ....schema.chips.expectation import Expectation
from ....schema.waveforms import Samples, Waveform
from ....schema.waveforms.kinds.basic_shapes import Sawtooth, Sine
from ....schema.waveforms.kinds.colour_difference import ColourDifference, RgbBars
from ....schema.waveforms.kinds.composite_sync import CompositeSync
from ....schema.waveforms.kinds.composite_video import Chrominance, CompositeVideo, Luminance
from ....schema.waveforms.kinds.deflection import FlybackPulse, VerticalDrive
from ....schema.waveforms.kinds.multiburst import Multiburst
from ....schema.waveforms.kinds.recorder import ColourUnder
from ....schema.waveforms.kinds.sandcastle import Sandcastle
from ....schema.waveforms.kinds.secam_video import SecamVideo
from ....schema.waveforms.picture_signal import PictureSignal
from .chroma_check import check_chrominance, check_colour_under
from .composite import find_white_v, measure_composite
from .composite_verdict import Expected, judge_composite
from .decoding.decoding_checks import FmOrIf, check_carrier, check_decoded
from .defects import Defect
from .figure import Record
from .judged_figure import Correct, JudgedFigure
from .kind_checks import (
    check_flyback,
    check_sandcastle,
    check_sawtooth,
    check_sine,
)
from .line_grid import cut_picture
from .sync_pulses import NoSync, OnlyFieldSync

_LINE_S: Final = 64e-6
_LEAST_SIZE: Final = 0.6  # of the peak to peak, for a trace to be the expected signal
_SLOWEST_FOR_SYNC_S: Final = 2.1e-6


@dataclass(frozen=True, eq=False)
class VideoCheck:
    """The figures of a capture, each with its verdict, and the defects by name."""

    figures: tuple[JudgedFigure, ...] = ()
    defects: tuple[Defect, ...] = ()
    notes: tuple[str, ...] = ()
    system: str = ""
    """The television system in words; empty where none is told."""
    white_vpp: float | None = None
    """Sync tip to white, to be held against the pin's peak to peak."""
    has_lines: bool = True
    """Whether it is video with sync, whose lines say what its figures are."""
    is_partial: bool = False
    """Whether a level that belongs to the signal is not in the record, nor its peak to peak."""
    has_bars: bool = False
    """Whether colour bars are expected, which alone give ``white_vpp``."""
    has_shape: bool = True
    """Whether its shape comes again, to be laid over the expected one; not that of a carrier."""
    line_hz: float | None = None
    picture: Samples | None = None
    """Some whole lines of the picture, as captured; None where there are none."""
    picture_start_s: float = 0.0
    """Time of their first sample after the first of the capture."""

    def document(self) -> dict[str, Any]:
        """Return figures, defects and notes as plain data."""
        return {
            "system": self.system or None,
            "figures": [one.document() for one in self.figures],
            "defects": [
                {"name": one.name, "why": one.why, "look": list(one.look)} for one in self.defects
            ],
            "notes": list(self.notes),
        }


def check_video(
    volts: Samples,
    interval_s: float,
    expectation: Expectation,
    correct: Correct,
    line: int | None = None,
    in_field: int | None = None,
    frequency_hz: float | None = None,
) -> VideoCheck | None:
    """Return the figures of samples, judged; None for a kind of signal without such figures.

    ``frequency_hz`` is that of the record, for signals without lines. ``line`` chooses one line of
    each frame, of ``in_field`` where that is given. Raises NoSuchLine.
    """
    record = Record(np.asarray(volts, dtype=np.float64), interval_s)
    expected = read_expected(expectation)
    if expected is None:
        return _check_kind(record, expectation, correct, frequency_hz)
    try:
        reading = measure_composite(
            record,
            expected.system,
            expected.bars_percent,
            line,
            in_field,
            is_multiburst=isinstance(expectation.waveform, Multiburst),
        )
    except OnlyFieldSync as reason:
        return VideoCheck(defects=(Defect("only field blanking", str(reason)),))
    except NoSync as reason:
        return VideoCheck(defects=_explain_no_sync(record, reason))
    figures, defects = judge_composite(reading, expected, correct)
    white = find_white_v(reading)
    picture = cut_picture(reading.grid) if reading.has_picture else None
    rate = reading.figures.get("line frequency")
    return VideoCheck(
        figures=figures,
        defects=defects,
        notes=reading.notes,
        system=reading.detected.words,
        has_bars=expected.bars_percent is not None,
        white_vpp=white.value if white is not None else None,
        line_hz=rate.value if rate is not None else None,
        picture=picture[1] if picture is not None else None,
        picture_start_s=picture[0] if picture is not None else 0.0,
    )


def _check_kind(
    record: Record, expectation: Expectation, correct: Correct, frequency_hz: float | None
) -> VideoCheck | None:
    """Return the figures of a signal other than composite video; None for a kind without them."""
    waveform = expectation.waveform
    if isinstance(waveform, Chrominance):
        check = check_chrominance(record, waveform, correct)
    elif isinstance(waveform, ColourUnder):
        check = check_colour_under(record, waveform, correct)
    elif isinstance(waveform, Sandcastle):
        check = check_sandcastle(record, waveform, correct)
    elif isinstance(waveform, ColourDifference | RgbBars):
        check = check_decoded(record, waveform, frequency_hz, correct)
    elif isinstance(waveform, FmOrIf):
        check = check_carrier(record, waveform, correct)
    # The other kinds are folded at their own frequency.
    elif (frequency_hz := frequency_hz or _assume_frequency_hz(record, waveform)) is None:
        return None
    elif isinstance(waveform, VerticalDrive | Sawtooth):
        check = check_sawtooth(record, waveform, frequency_hz, correct)
    elif isinstance(waveform, FlybackPulse):
        check = check_flyback(record, waveform, frequency_hz, correct)
    elif isinstance(waveform, Sine):
        check = check_sine(record, waveform, frequency_hz, correct)
    else:
        return None
    # In field blanking a sandcastle does not come down to its base.
    figure_names = {figure.name for figure in check.figures}
    is_partial = isinstance(waveform, Sandcastle) and "base level" not in figure_names
    picture_start_s, picture = check.picture if check.picture is not None else (0.0, None)
    return VideoCheck(
        figures=check.figures,
        defects=check.defects,
        system=check.system,
        has_lines=False,
        is_partial=is_partial,
        has_shape=not (check.figures and isinstance(waveform, FmOrIf | ColourUnder)),
        picture=picture,
        picture_start_s=picture_start_s,
    )


def _assume_frequency_hz(record: Record, waveform: Waveform | None) -> float | None:
    """Return the expected frequency for a sawtooth or a sine that shows none; else None.

    Hum on the few fields of a record hides their rate, and noise that of a sine. A trace far too
    small is neither.
    """
    if not isinstance(waveform, VerticalDrive | Sawtooth | Sine):
        return None
    is_there = float(np.ptp(record.volts)) > _LEAST_SIZE * waveform.vpp_v
    is_whole = record.span_s > waveform.period_s
    return waveform.frequency_hz if is_there and is_whole else None


def read_expected(expectation: Expectation) -> Expected | None:
    """Return the composite video, or the sync, that a pin should show; None for another signal."""
    waveform = expectation.waveform
    if isinstance(waveform, CompositeVideo | SecamVideo):
        percent, colour = waveform.bars.nominal, True
    elif isinstance(waveform, Luminance):
        percent, colour = waveform.bars.nominal, False
    elif isinstance(waveform, PictureSignal):
        percent, colour = None, True
    elif isinstance(waveform, CompositeSync):
        is_up = waveform.sync == "up"
        return Expected(waveform.system, waveform.vpp, is_up, False, None, sync_only=True)
    else:
        return None
    burst = waveform.burst if isinstance(waveform, CompositeVideo) else None
    is_up = waveform.sync == "up"
    return Expected(waveform.system, waveform.vpp, is_up, colour, percent, burst)


def _explain_no_sync(record: Record, reason: NoSync) -> tuple[Defect, ...]:
    """Return the defect of a record without line sync."""
    if record.interval_s > _SLOWEST_FOR_SYNC_S:
        return (Defect("undersampled", str(reason)),)
    if record.span_s < reason.shown_lines * _LINE_S:
        return (Defect("too short", f"no whole line is in the record: {reason}"),)
    return (Defect("sync missing", str(reason)),)


def list_looks(defects: Iterable[Defect]) -> tuple[str, ...]:
    """Return where to look for several defects, each place once."""
    return tuple(dict.fromkeys(place for defect in defects for place in defect.look))
