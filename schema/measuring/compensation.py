"""The step response of a x10 probe whose trimmer is off: overshoot, or rounded corners."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Numbers: TypeAlias = "NDArray[np.float64]"


def compute_step_response(
    t_s: Numbers, tip_ohm: float, tip_f: float, input_ohm: float, input_f: float
) -> Numbers:
    """Return volts at the input, per volt of a step at the tip at t = 0, at the times ``t_s``.

    The series part (``tip_ohm`` parallel to ``tip_f``) and the input part (``input_ohm`` parallel
    to ``input_f``, cable included) divide by capacitance at first and by resistance at last:
    v = last + (first - last) exp(-t / tau), tau = (R1 || R2)(C1 + C2). Source: the capacitively
    compensated divider, any circuit textbook.
    """
    import numpy as np

    first, last = _compute_shares(tip_ohm, tip_f, input_ohm, input_f)
    tau_s = tip_ohm * input_ohm / (tip_ohm + input_ohm) * (tip_f + input_f)
    return np.where(t_s < 0, 0.0, last + (first - last) * np.exp(-np.maximum(t_s, 0) / tau_s))


def compute_overshoot_percent(
    tip_ohm: float, tip_f: float, input_ohm: float, input_f: float
) -> float:
    """Return the overshoot of the corner above the flat top, in percent; negative if rounded.

    Zero if the two time constants are equal.

    >>> round(compute_overshoot_percent(9e6, 12e-12, 1e6, 108e-12), 6)
    0.0
    """
    first, last = _compute_shares(tip_ohm, tip_f, input_ohm, input_f)
    return (first / last - 1) * 100


def _compute_shares(
    tip_ohm: float, tip_f: float, input_ohm: float, input_f: float
) -> tuple[float, float]:
    """Return the share of the step that reaches the input at first, and at last."""
    return tip_f / (tip_f + input_f), input_ohm / (tip_ohm + input_ohm)
