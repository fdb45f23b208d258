"""Captured less expected, edge by edge, held against the tolerance of the expected trace.

The upper edge of a carrier's band and the lower one are compared each for itself: chroma that is
too small leaves both short. At steep edges the band is as wide as the trace moves within a few
columns, so that a small shift in time is no difference in volts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT, Expectation
from ....schema.quantities import Quantity, print_value
from ....schema.waveforms import Samples
from ...drawing.difference_picture import DifferenceTrace
from ...drawing.scope_trace import Trace
from .overlay import Edges, widen

_BESIDE: Final = 2  # columns by which an edge may be shifted
_LEAST_TOLERANCE: Final = 0.05  # of the height
_LASTS: Final = 3  # columns: a shorter difference is a spike of noise
_SHORT: Final = 0.02  # of the columns outside, that are not worth a word


@dataclass(frozen=True, eq=False)
class Difference:
    """The difference of a capture from its expected trace."""

    trace: DifferenceTrace
    tolerance_v: float
    """Either way, where the trace is level."""
    outside_share: float
    """Of the columns that were captured."""
    worst_v: float
    """Largest difference that is outside, with its sign; 0 where none is."""
    worst_s: float
    """Its time after the trigger."""

    @property
    def words(self) -> str:
        """The difference in a sentence."""
        within = f"The band is ± {print_value(self.tolerance_v, 'V')} where the trace is level."
        if self.outside_share < _SHORT:
            return f"Within the band all along. {within}"
        size, place = print_value(self.worst_v, "V"), print_value(self.worst_s, "s", 3)
        return (
            f"Outside the band for {self.outside_share:.0%} of it, most at {place} after the"
            f" trigger: {size}. {within}"
        )

    def document(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        return {
            "outside_share": round(self.outside_share, 4),
            "worst_v": self.worst_v,
            "worst_s": self.worst_s,
            "tolerance_v": self.tolerance_v,
        }


def compare_edges(
    captured: Edges, expected: Trace, expectation: Expectation, blurred: int = 0
) -> Difference | None:
    """Return the difference of captured edges, in volts at the input; None without any.

    ``blurred`` is how many columns beside each the captured edges were gathered from.
    """
    waveform = expectation.waveform
    is_known = np.isfinite(captured[0])  # columns with samples
    if waveform is None or not is_known.any():
        return None
    # Of a signal that floats only the shape is known; its DC voltage is judged as a reading.
    matched_v = match_v(captured, expected) if waveform.floats else 0.0
    captured_low_v, captured_high_v = captured
    lower_v = captured_low_v - matched_v - expected.low_v
    upper_v = captured_high_v - matched_v - expected.high_v
    tolerance_v = _choose_tolerance_v(waveform.vpp_v, getattr(waveform, "vpp", None))
    # Samples far apart show a steep edge that much earlier or later.
    beside = _BESIDE + blurred
    lower_least_v, lower_most_v = _list_limits_v(expected.low_v, tolerance_v, beside)
    upper_least_v, upper_most_v = _list_limits_v(expected.high_v, tolerance_v, beside)
    # Volts by which an edge is beyond the nearest of its limits; negative within them.
    lower_beyond_v = np.maximum(lower_least_v - lower_v, lower_v - lower_most_v)
    upper_beyond_v = np.maximum(upper_least_v - upper_v, upper_v - upper_most_v)
    beyond_v = np.maximum(lower_beyond_v, upper_beyond_v)
    is_outside = _keep_lasting(np.where(is_known, beyond_v, -1.0) > 0)

    worst_v = worst_s = 0.0
    if is_outside.any():
        worst_column = int(np.argmax(np.where(is_outside, beyond_v, -np.inf)))
        worst_v = max(float(lower_v[worst_column]), float(upper_v[worst_column]), key=abs)
        worst_s = float(expected.t_s[worst_column])
    return Difference(
        trace=DifferenceTrace(
            upper_v=upper_v,
            lower_v=lower_v,
            most_v=np.maximum(lower_most_v, upper_most_v),
            least_v=np.minimum(lower_least_v, upper_least_v),
            is_outside=is_outside,
        ),
        tolerance_v=tolerance_v,
        outside_share=float(np.count_nonzero(is_outside) / np.count_nonzero(is_known)),
        worst_v=worst_v,
        worst_s=worst_s,
    )


def match_v(captured: Edges, expected: Trace) -> float:
    """Return the volts by which most of the capture lies above the expected trace."""
    middle_v = (captured[0] + captured[1]) / 2 - (expected.low_v + expected.high_v) / 2
    return float(np.median(middle_v[np.isfinite(middle_v)]))


def _choose_tolerance_v(height_v: float, vpp: object) -> float:
    """Return half of the tolerance of the height, which both ends of the trace share."""
    share = ASSUMED_WAVEFORM_PERCENT / 100
    if isinstance(vpp, Quantity) and vpp.nominal:
        low_v, high_v = vpp.limits(ASSUMED_WAVEFORM_PERCENT)
        share = (high_v - low_v) / 2 / abs(vpp.nominal)
    return max(share / 2, _LEAST_TOLERANCE) * height_v


def _list_limits_v(edge_v: Samples, tolerance_v: float, beside: int) -> tuple[Samples, Samples]:
    """Return least and largest difference of an edge, wider where it moves."""
    lowest_v, highest_v = widen(edge_v, edge_v, beside)
    return lowest_v - edge_v - tolerance_v, highest_v - edge_v + tolerance_v


def _keep_lasting(is_outside: Any) -> Any:
    """Return the marks of runs that last a few columns."""
    marks = np.zeros(len(is_outside), dtype=bool)
    ends = np.flatnonzero(np.diff(is_outside)) + 1
    for run in np.split(np.arange(len(is_outside)), ends):
        if len(run) >= _LASTS and is_outside[run[0]]:
            marks[run] = True
    return marks
