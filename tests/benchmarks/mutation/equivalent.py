"""Mutants that give the same answers as the code: none can be killed, and none is made.

Reviewed one by one: an entry needs a reason why no answer changes, not why no test sees it.
"""

from __future__ import annotations

from typing import Final

_VIEW = "plugins/instruments/instrument_view.py"
_LOADING = "plugins/instruments/oscillator_loading.py"
_TIP = "plugins/instruments/probe_tip.py"
_SAMPLED = "if self.sampled_hz * (t_s[1] - t_s[0])"
_FALL = "_NOTABLE_SHIFT * resonator.nominal_hz:"
_TREE = "plugins/search/marking_tree.py"
_CEILINGS = "(40, 80, 120, 160, 200, 260)"
_INTERVAL = "plugins/readings/tolerance_interval.py"
_OBSERVED = "plugins/readings/observed_range.py"
_BOTH_ENDS = "if self.low is None or self.high is None:"
_SHAPE = "plugins/readings/shape_comparison.py"
_STRETCH = "stretch = frequency_hz / waveform.frequency_hz if frequency_hz else 1.0"
_SAMPLING = "schema/measuring/sampling.py"
_STEP = "return next((step for step in steps if step <= longest_s * (1 + 1e-9)), None)"
_BISECTED = "while high - low > 1e-12 * high:"
_TAIL_ARGUMENT = "freedom, half_x = readings - 1, max(x / 2, 1e-300)"
_SAME_TO_A_FLOAT: Final = (
    (_BISECTED, "1e-12", "1.25e-12"),
    (_BISECTED, "1e-12", "2e-12"),
    (_BISECTED, "- low >", "- low >="),
    (_TAIL_ARGUMENT, "1e-300", "1.25e-300"),
    (_TAIL_ARGUMENT, "1e-300", "2e-300"),
    ("is_below = _compute_chi_squared_tail(middle, readings) > confidence", ">", ">="),
    ("is_below = _compute_student_share(middle, freedom) < confidence", "<", "<="),
    ("low, high = 0.0, 1.0", "1.0", "1.25"),
    ("low, high = 0.0, 1.0", "1.0", "2.0"),
)

EQUIVALENT: Final[dict[str, str]] = {
    f"{_VIEW}: return level_v, 0.0, 0.0 -> return level_v, 0.0, 1": (
        "no swing exceeds no rating, at any frequency"
    ),
    f"{_VIEW}: if 1 - share_left <= _VISIBLE_LOSS: -> if 1 - share_left < _VISIBLE_LOSS:": (
        "no share of a sine in floating point is 0.05 to the last bit"
    ),
    f"{_VIEW}: run_up = len(t_s) // 4 -> run_up = len(t_s) // 5": (
        "any run-up is longer than the time constants of a probe"
    ),
    f"{_VIEW}: run_up = len(t_s) // 4 -> run_up = len(t_s) // 8": (
        "any run-up is longer than the time constants of a probe"
    ),
    f"{_VIEW}: {_SAMPLED} >= 1: -> {_SAMPLED} > 1:": (
        "a sample at each of the times is the same picture with or without a line between them"
    ),
    f"{_LOADING}: if fall_hz <= {_FALL} -> if fall_hz < {_FALL}": (
        "no shift in floating point is a millionth to the last bit"
    ),
    f"{_TIP}: return 1 + 0j * frequency_hz -> return 1 - 0j * frequency_hz": (
        "a zero has no sign that shows"
    ),
    f"{_OBSERVED}: {_BOTH_ENDS} -> {_BOTH_ENDS.replace('or', 'and')}": (
        "an interval has both ends or none"
    ),
    f"{_SHAPE}: {_STRETCH} -> {_STRETCH.replace('1.0', '2.0')}": (
        "a stretch that is not near 1 counts as 1 in the next line"
    ),
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('<=', '<')}": (
        "the margin for rounding keeps both sides apart"
    ),
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('1e-9', '1.25e-09')}": "still only rounding",
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('1e-9', '2e-09')}": "still only rounding",
    **{
        f"{_TREE}: {line} -> {line.replace('> 1', '> 2')}": (
            "of two characters a lost end on either side is cheaper than a swap"
        )
        for line in (
            "if read.shape[1] > 1:",
            "if self._before is not None and read.shape[1] > 1:",
        )
    },
    **{
        f"{_TREE}: CEILINGS: Final = {_CEILINGS} -> CEILINGS: Final = {_CEILINGS.replace(a, b)}": (
            "whatever the steps, all markings as near as promised are found"
        )
        for a in ("40", "80", "120", "160", "200")
        for b in (str(2 * int(a)), str(int(a) + 1))
    },
    **{
        f"{_INTERVAL}: {line} -> {line.replace(before, after)}": (
            "the bisection ends at the same root, to less than any figure shown"
        )
        for line, before, after in _SAME_TO_A_FLOAT
    },
}
"""The key of each mutant (module, line before, line after), and why no answer changes."""
