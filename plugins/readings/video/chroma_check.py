"""Chrominance without sync, measured and judged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from ....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ....schema.systems import SCANNING, VIDEO_LEVELS
from ....schema.waveforms.kinds.composite_video import Chrominance
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
from .defects import Defect
from .figure import Figure, Record
from .judged_figure import Correct, JudgedFigure, Span
from .kind_checks import ABOVE, BELOW, OUTSIDE, KindCheck, Names, hold_all, name_defects
from .line_grid import LineGrid, cut_picture
from .system import tell_system

_CHROMA_SHARE: Final = (0.7, 1.4)  # of the nominal: a receiver's chroma path. Common practice.
_MISSING_SHARE: Final = 0.12  # of the nominal: less counts as missing
_NO_PICTURE: Final = (0.0, np.zeros(0))
_BURST, _BARS = "burst amplitude", "chroma of the bars"
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
    told = tell_system(grid, carrier_hz)
    burst = told.burst if told.burst is not None and told.burst.is_seen else None
    reference = burst if burst is not None and burst.swing_deg is not None else None
    found = list_burst_figures(grid, told)
    bars = measure_bars(grid, system, percent, carrier_hz, reference)
    if bars is not None:
        found |= {figure.name: figure for figure in _list_bars(bars, waveform)}
        noise = _read_noise(bars, grid, system)
        found[noise.name] = noise
    judged = hold_all(found.values(), _list_spans(waveform), correct)
    by_name = {one.name: one for one in judged}
    defects = name_defects(_list_names(by_name, waveform), by_name)
    told_words = told.words.split(", ")[-1]
    has_bars = all(defect.name != "chroma missing" for defect in defects)
    if burst is not None and not has_bars and may_be_field_blanking(grid):
        why = "a burst without bars: lines of field blanking look so; capture more lines"
        blanking = (Defect("only field blanking", why),)
        return KindCheck(judged, blanking, told_words, _NO_PICTURE)
    picture = (cut_picture(grid) or _NO_PICTURE) if grid.left_out else None
    return KindCheck(judged, defects, told_words, picture)


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


def _list_spans(waveform: Chrominance) -> dict[str, Span]:
    """Return the limits of the figures, by their names."""
    low, high = waveform.burst.limits(ASSUMED_WAVEFORM_PERCENT)
    nominal = waveform.burst.nominal
    shares = min(low / nominal, _CHROMA_SHARE[0]), max(high / nominal, _CHROMA_SHARE[1])
    swing = 90.0 if waveform.system.startswith("PAL") else 0.0
    slack = 2 * limits.SWING_TOLERANCE_DEG
    most = limits.MOST_PHASE_ERROR_DEG
    return {
        _BURST: ((shares[0] * nominal, shares[1] * nominal), "the pin's expectation"),
        _BARS: ((100 * shares[0], 100 * shares[1]), "the pin's expectation"),
        _HUE: ((-most, most), "common practice"),
        _NOISE: ((-math.inf, limits.MOST_NOISE * waveform.vpp_v), "common practice"),
        _SWING: ((max(swing - slack, 0.0), swing + slack), "BT.470-6, BT.1700; SMPTE 170M"),
    }


def _list_names(judged: Mapping[str, JudgedFigure], waveform: Chrominance) -> Names:
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
