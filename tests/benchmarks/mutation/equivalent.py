"""Mutants that give the same answers as the code: none can be killed, and none is made."""

from __future__ import annotations

from typing import Final

_VIEW = "plugins/instruments/instrument_view.py"
_SAMPLING = "schema/measuring/sampling.py"
_STEP = "return next((step for step in steps if step <= longest_s * (1 + 1e-9)), None)"

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
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('<=', '<')}": (
        "the margin for rounding keeps both sides apart"
    ),
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('1e-9', '1.25e-09')}": "still only rounding",
    f"{_SAMPLING}: {_STEP} -> {_STEP.replace('1e-9', '2e-09')}": "still only rounding",
}
"""The key of each mutant (module, line before, line after), and why no answer changes."""
