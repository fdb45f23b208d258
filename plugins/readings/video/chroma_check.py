"""Chrominance without sync, measured and judged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from ....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ....schema.systems import SCANNING, VIDEO_LEVELS
from ....schema.waveforms.kinds.composite_video import Chrominance
from ....schema.waveforms.kinds.recorder import ColourUnder
from . import broadcast_limits as limits
from .bars import BarReadings, list_bar_spans_s, measure_bars
from .chroma_alone import (
    NoLines,
    find_chroma_lines,
    find_other_carrier_hz,
    leave_out_blanking,
    may_be_field_blanking,
)
from .composite import list_bar_figures, list_burst_figures
from .decoding.colour_under import BARS as _BARS
from .decoding.colour_under import BURST as _BURST
from .decoding.colour_under import measure_colour_under
from .defects import Defect
from .figure import Figure, Record
from .judged_figure import Correct, JudgedFigure, Span
from .kind_checks import ABOVE, BELOW, OUTSIDE, KindCheck, Names, hold_all, name_defects
from .line_grid import LineGrid, cut_picture
from .system import detect_system

_CHROMA_SHARE: Final = (0.7, 1.4)  # of the nominal: a receiver's chroma path. Common practice.
_MISSING_SHARE: Final = 0.12  # of the nominal: less counts as missing
_NO_PICTURE: Final = (0.0, np.zeros(0))
_NOISE: Final = "noise"
_HUE, _SWING = "colours against burst", "burst swing from line to line"


def check_chrominance(record: Record, waveform: Chrominance, correct: Correct) -> KindCheck:
    """Return burst and bars of chrominance; no figures where its lines are not found."""
    system, percent = waveform.system, waveform.bars.nominal
    carrier_hz = float(SCANNING[system].subcarrier_hz[0])
    other_hz = find_other_carrier_hz(record, carrier_hz)
    if other_hz is not None:
        why = f"subcarrier near {other_hz / 1e6:.2f} MHz, should be {carrier_hz / 1e6:.2f} MHz"
        return KindCheck(defects=(Defect("wrong system", why),), picture=_NO_PICTURE)
    try:
        grid = leave_out_blanking(find_chroma_lines(record, system, percent))
    except NoLines:
        return KindCheck()
    detected = detect_system(grid, carrier_hz)
    burst = detected.burst if detected.burst is not None and detected.burst.is_seen else None
    # One line does not show which sign V has, so that no phase is counted from it.
    reference = burst if burst is not None and burst.swing_deg is not None else None
    figures = list_burst_figures(grid, detected)
    bars = measure_bars(grid, system, percent, carrier_hz, reference)
    if bars is not None:
        bar_figures = [*_list_bars(bars, waveform), _read_noise(bars, grid, system)]
        figures |= {figure.name: figure for figure in bar_figures}
    judged = hold_all(figures.values(), _list_spans(waveform), correct)
    by_name = {figure.name: figure for figure in judged}
    defects = name_defects(_list_names(by_name, waveform), by_name)
    # Without sync the line rate is assumed, and only the colour is told.
    colour_words = detected.words.split(", ")[-1]
    has_bars = all(defect.name != "chroma missing" for defect in defects)
    if burst is not None and not has_bars and may_be_field_blanking(grid):
        why = "a burst without bars: lines of field blanking look so; capture more lines"
        blanking = (Defect("only field blanking", why),)
        return KindCheck(judged, blanking, colour_words, _NO_PICTURE)
    picture = (cut_picture(grid) or _NO_PICTURE) if grid.left_out else None
    return KindCheck(judged, defects, colour_words, picture)


def check_colour_under(record: Record, waveform: ColourUnder, correct: Correct) -> KindCheck:
    """Return burst and bars of a recorder's colour-under carrier; none without its lines."""
    found = measure_colour_under(record, waveform)
    judged = hold_all(found, _list_spans(waveform), correct)
    by_name = {one.name: one for one in judged}
    return KindCheck(judged, name_defects(_list_names(by_name, waveform), by_name))


def _list_bars(bars: BarReadings, waveform: Chrominance) -> Iterator[Figure]:
    """Yield the bars, all of them against what goes with the expected burst, and their phase."""
    for name, figure in list_bar_figures(bars).items():
        if name.endswith((" chroma", " phase")) or name == _HUE:
            yield figure
    nominal = waveform.burst.nominal / float(VIDEO_LEVELS[waveform.system].burst_pp)
    gain = bars.chroma_gain
    yield Figure(_BARS, 100 * gain.value / nominal, "%", 100 * gain.uncertainty / nominal)
    turned = bars.phase_error_deg()
    if turned is not None:
        yield Figure(_HUE, turned.value, "°", turned.uncertainty)


def _read_noise(bars: BarReadings, grid: LineGrid, system: str) -> Figure:
    """Return the noise that is left beside the carrier of a bar; n samples tell it to 1/√2n."""
    from_s, to_s = list_bar_spans_s(system)[0]
    samples = max(len(grid) * (to_s - from_s) * grid.record.rate_hz, 1.0)
    return Figure(_NOISE, bars.noise_v, "V", bars.noise_v / math.sqrt(2 * samples))


def _list_spans(waveform: Chrominance | ColourUnder) -> dict[str, Span]:
    """Return the limits of the figures, by their names."""
    low_v, high_v = waveform.burst.limits(ASSUMED_WAVEFORM_PERCENT)
    burst_v = waveform.burst.nominal
    least_share = min(low_v / burst_v, _CHROMA_SHARE[0])
    most_share = max(high_v / burst_v, _CHROMA_SHARE[1])
    swing_deg = 90.0 if waveform.system.startswith("PAL") else 0.0
    slack_deg = 2 * limits.SWING_TOLERANCE_DEG
    swing_span = max(swing_deg - slack_deg, 0.0), swing_deg + slack_deg
    most_deg = limits.MOST_PHASE_ERROR_DEG
    most_noise_v = limits.MOST_NOISE * waveform.vpp_v
    return {
        _BURST: ((least_share * burst_v, most_share * burst_v), "the pin's expectation"),
        _BARS: ((100 * least_share, 100 * most_share), "the pin's expectation"),
        _HUE: ((-most_deg, most_deg), "common practice"),
        _NOISE: ((-math.inf, most_noise_v), "common practice"),
        _SWING: (swing_span, "BT.470-6, BT.1700; SMPTE 170M"),
    }


def _list_names(judged: Mapping[str, JudgedFigure], waveform: Chrominance | ColourUnder) -> Names:
    """Return the defect that each verdict shows; what is nearly gone is missing."""

    def is_gone(name: str, nominal: float) -> bool:
        return name in judged and judged[name].corrected.value < _MISSING_SHARE * nominal

    no_burst = is_gone(_BURST, waveform.burst.nominal)
    return (
        (_BURST, BELOW, "burst missing" if no_burst else "burst low"),
        (_BURST, ABOVE, "burst high"),
        (_BARS, BELOW, "chroma missing" if is_gone(_BARS, 100.0) else "chroma low"),
        (_BARS, ABOVE, "chroma high"),
        (_HUE, OUTSIDE, "wrong burst phase"),
        (_NOISE, ABOVE, "noisy"),
        (_SWING, BELOW, "PAL switch stopped"),
    )
