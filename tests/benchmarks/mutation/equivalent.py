"""Mutants that give the same answers as the code: none can be killed, and none is made.

Reviewed one by one: an entry needs a reason why no answer changes, not why no test sees it.
"""

from __future__ import annotations

from typing import Final

_VIEW = "plugins/instruments/instrument_view.py"
_LOADING = "plugins/instruments/oscillator_loading.py"
_SAMPLED = "if self.sampled_hz * (t_s[1] - t_s[0])"
_FALL = "_NOTABLE_SHIFT * resonator.nominal_hz:"
_TREE = "plugins/search/marking_tree.py"
_CEILINGS = "(40, 80, 120, 160, 200, 260)"
_INTERVAL = "plugins/readings/tolerance_interval.py"
_SAMPLING = "schema/measuring/sampling.py"
_STEP = "return next((step for step in steps if step <= longest_s * (1 + 1e-9)), None)"
_NUMERIC: Final = (
    ("_FAR: Final = 9.0", "9.0", "11.25", "18.0"),
    ("_CLOSE: Final = 1e-10", "1e-10", "1.25e-10", "2e-10"),
    ("2 * centred + off,", "2", "3", "4"),
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
        f"{_INTERVAL}: {line} -> {line.replace(a, b)}": "finer or wider than a float needs"
        for line, a, *others in _NUMERIC
        for b in others
    },
}
"""The key of each mutant (module, line before, line after), and why no answer changes."""
