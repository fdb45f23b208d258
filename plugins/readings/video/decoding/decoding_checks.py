"""Decoded bars and carriers, measured and held against the pin's expectation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from .....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from .....schema.quantities import Quantity
from .....schema.waveforms.kinds.carriers import FmCarrier, ModulatedIf
from .....schema.waveforms.kinds.colour_difference import ColourDifference
from .....schema.waveforms.kinds.recorder import FmLuminance
from .. import broadcast_limits as limits
from ..defects import Defect
from ..figure import Record
from ..judged_figure import Correct, JudgedFigure, Span
from ..kind_checks import ABOVE, BELOW, OUTSIDE, KindCheck, Names, hold_all, name_defects
from ..line_grid import cut_picture
from .carriers import measure_fm_carrier, measure_fm_luminance, measure_modulated_if
from .decoded_bars import DecodedBars, measure_decoded

FmOrIf = FmLuminance | FmCarrier | ModulatedIf

_PIN: Final = "the pin's expectation"
_PRACTICE: Final = "common practice"
_FREQUENCIES: Final = ("carrier at blanking", "mean of the carrier")
_DEVIATIONS: Final = ("deviation", "deviation to the white bar")
_LEFT: Final = ("carrier left at blanking", "carrier left at the white bar")
_MOST_TURN_DEG: Final = 10.0  # a hue error of 5° is just seen
_MOST_OTHER: Final = 10.0  # percent of another signal
_MOST_MISFIT: Final = 10.0  # percent of the size
_MISSING: Final = 0.12  # of the nominal: less counts as missing
_DEVIATION_SHARE: Final = 0.15
_TAPE_TOLERANCE_HZ: Final = 0.1e6  # of sync tip and white: IEC 60774-1, from memory
_MOST_UNSTEADY: Final = 30.0  # percent, of a carrier after a band-pass
_RESIDUAL_SLACK: Final = 8.0  # percent of the carrier
_BLANKING_PERCENT: Final = 0.3  # of the way from sync tip to white
_WHITE_PERCENT: Final = {625: 1.0, 525: 0.75}
"""The white bar of 75 % colour bars, over white."""


def check_decoded(
    record: Record, waveform: DecodedBars, frequency_hz: float | None, correct: Correct
) -> KindCheck:
    """Return the figures of decoded bars; none where their lines are not found."""
    reading = measure_decoded(record, waveform, frequency_hz)
    if reading is None:
        return KindCheck()
    # Signals that do not belong there: "luminance in it", "green in it".
    other_signals = [figure.name for figure in reading.figures if figure.name.endswith(" in it")]
    spans: dict[str, Span] = {
        "size of the bars": (_find_limits(waveform.vpp), _PIN),
        "misfit of the bars": ((-math.inf, _MOST_MISFIT), _PRACTICE),
        "turn of the axis": ((-_MOST_TURN_DEG, _MOST_TURN_DEG), _PRACTICE),
        "noise": ((-math.inf, limits.MOST_NOISE * waveform.vpp.nominal), _PRACTICE),
        **dict.fromkeys(other_signals, ((-_MOST_OTHER, _MOST_OTHER), _PRACTICE)),
    }
    judged = hold_all(reading.figures, spans, correct)
    by_name = {figure.name: figure for figure in judged}
    names: Names = (
        ("size of the bars", BELOW, _name_low("size of the bars", waveform.vpp, by_name)),
        ("size of the bars", ABOVE, "bars high"),
        ("turn of the axis", OUTSIDE, "wrong burst phase"),
        *((name, OUTSIDE, _name_other(waveform)) for name in other_signals),
        ("misfit of the bars", ABOVE, "bars uneven"),
        ("noise", ABOVE, "noisy"),
    )
    defects = name_defects(names, by_name)
    if reading.is_inverted:
        upside_down = "positive" if waveform.polarity == "negative" else "negative"
        defects = (Defect("inverted", f"the bars are {upside_down}"), *defects)
    return KindCheck(judged, defects, picture=cut_picture(reading.grid))


def _name_other(waveform: DecodedBars) -> str:
    is_difference = isinstance(waveform, ColourDifference)
    return "luminance in the colour" if is_difference else "crosstalk of colours"


def _name_low(name: str, nominal: Quantity, judged: Mapping[str, JudgedFigure]) -> str:
    one = judged.get(name)
    is_gone = one is not None and one.corrected.value < _MISSING * nominal.nominal
    return "bars missing" if is_gone else "bars low"


def check_carrier(record: Record, waveform: FmOrIf, correct: Correct) -> KindCheck:
    """Return the figures of a carrier of a recorder, of sound or of an IF."""
    if isinstance(waveform, FmLuminance):
        figures, spans = measure_fm_luminance(record, waveform), _span_fm_luminance(waveform)
    elif isinstance(waveform, FmCarrier):
        figures, spans = measure_fm_carrier(record, waveform), _span_fm_carrier(waveform)
    else:
        figures, spans = measure_modulated_if(record, waveform), _span_if(waveform)
    judged = hold_all(figures, spans, correct)
    by_name = {figure.name: figure for figure in judged}
    # An IF changes in amplitude: its size is that at sync tips.
    size = "carrier at sync tip" if isinstance(waveform, ModulatedIf) else "carrier amplitude"
    names: Names = (
        ("change of amplitude", ABOVE, "jumping"),
        *((name, OUTSIDE, "carrier off frequency") for name in _FREQUENCIES),
        *((name, OUTSIDE, "deviation wrong") for name in _DEVIATIONS),
        *((name, OUTSIDE, "modulation wrong") for name in _LEFT),
        (size, BELOW, "carrier low"),
        (size, ABOVE, "carrier high"),
    )
    return KindCheck(judged, name_defects(names, by_name))


def _span_fm_luminance(waveform: FmLuminance) -> dict[str, Span]:
    tip_hz, white_hz = waveform.sync_tip.nominal, waveform.white.nominal
    bar_hz = tip_hz + (white_hz - tip_hz) * _find_white_share(waveform)
    blanking_hz = tip_hz + (white_hz - tip_hz) * _BLANKING_PERCENT
    swing_hz = bar_hz - tip_hz
    return {
        "carrier amplitude": (_find_limits(waveform.vpp), _PIN),
        "change of amplitude": ((-math.inf, _MOST_UNSTEADY), _PRACTICE),
        "carrier at sync tip": (_widen(tip_hz, _TAPE_TOLERANCE_HZ), _PIN),
        "carrier at blanking": (_widen(blanking_hz, _TAPE_TOLERANCE_HZ), _PIN),
        "carrier at the white bar": (_widen(bar_hz, _TAPE_TOLERANCE_HZ), _PIN),
        "deviation to the white bar": (_widen(swing_hz, _DEVIATION_SHARE * swing_hz), _PIN),
    }


def _find_white_share(waveform: FmLuminance | ModulatedIf) -> float:
    """Return where the white bar is, from sync tip to white, for 75 % bars."""
    bar = _WHITE_PERCENT[waveform.scanning.lines]
    return _BLANKING_PERCENT + (1 - _BLANKING_PERCENT) * bar


def _span_fm_carrier(waveform: FmCarrier) -> dict[str, Span]:
    deviation_hz = waveform.deviation.nominal
    low_hz, high_hz = waveform.carrier.limits(0.1)
    return {
        "carrier amplitude": (_find_limits(waveform.vpp), _PIN),
        "change of amplitude": ((-math.inf, _MOST_UNSTEADY), _PRACTICE),
        "deviation": (_widen(deviation_hz, _DEVIATION_SHARE * deviation_hz), _PIN),
        "mean of the carrier": ((low_hz, high_hz), _PIN),
    }


def _span_if(waveform: ModulatedIf) -> dict[str, Span]:
    residual = waveform.residual.nominal
    white = 100 - (100 - residual) * _find_white_share(waveform)
    blanking = 100 - (100 - residual) * _BLANKING_PERCENT
    return {
        "carrier at sync tip": (_find_limits(waveform.vpp), _PIN),
        "carrier left at blanking": (_widen(blanking, _RESIDUAL_SLACK), _PIN),
        "carrier left at the white bar": (_widen(white, _RESIDUAL_SLACK), _PIN),
    }


def _find_limits(size: Quantity) -> tuple[float, float]:
    low, high = size.limits(ASSUMED_WAVEFORM_PERCENT)
    return low, high


def _widen(middle: float, slack: float) -> tuple[float, float]:
    return middle - slack, middle + slack
