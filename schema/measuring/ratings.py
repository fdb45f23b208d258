"""The voltage ratings of a probe and of the oscilloscope input, against a peak."""

from __future__ import annotations

from typing import NamedTuple

from ..instruments import Probe, Scope


class ExceededRating(NamedTuple):
    """A rating that a signal would exceed."""

    where: str
    """``the probe's tip`` or ``the oscilloscope's input``."""
    peak_v: float
    allowed_v: float


def derate_rating_v(rating_v: float, derated_from_hz: float, frequency_hz: float) -> float:
    """Return a probe's rating at a frequency: constant up to a corner, then falling as 1 / f.

    Source: the derating curve in probes' leaflets, in its simplest form. Common practice.

    >>> derate_rating_v(400.0, 500e3, 5e6)
    40.0
    """
    if frequency_hz <= derated_from_hz:
        return rating_v
    return rating_v * derated_from_hz / frequency_hz


def find_exceeded_rating(
    peak_v: float, swing_v: float, frequency_hz: float, probe: Probe, scope: Scope
) -> ExceededRating | None:
    """Return the rating that a signal exceeds at the tip or at the input, or None.

    ``peak_v`` is the highest voltage to ground, DC included; ``swing_v`` is half the peak-to-peak
    at ``frequency_hz``, to which the derated rating applies.
    """
    full_v = probe.rating.nominal
    derated_v = derate_rating_v(full_v, probe.derated_from.nominal, frequency_hz)
    for tip_v, allowed_v in ((abs(peak_v), full_v), (swing_v, derated_v)):
        if tip_v > allowed_v:
            return ExceededRating("the probe's tip", tip_v, allowed_v)
    # Behind the divider of the probe the oscilloscope sees only a part of the voltage.
    input_v = abs(peak_v) / probe.factor
    if input_v > scope.rating.nominal:
        return ExceededRating("the oscilloscope's input", input_v, scope.rating.nominal)
    return None
