"""The figures to read at a point, each with its limits and the units it is read in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from ...schema.chips.application import Node
from ...schema.chips.data import Pin
from ...schema.chips.expectation import Expectation
from ...schema.chips.limits import Limits, find_limits
from ...schema.quantities import print_value
from ..readings.field_units import choose_units

_NAMES: Final = {
    "dc": ("dc", "DC", "DC voltage"),
    "vpp": ("vpp", "Signal", "signal, peak to peak"),
    "frequency": ("freq", "Frequency", "frequency"),
    "resistance": ("ohms", "To ground", "resistance to ground, set off"),
}
"""By quantity: the field of a form, a short name, and the name in full."""
_ALONE: Final = ("dc", "vpp", "resistance")  # a frequency is told beside its signal


class ExpectedFigure(NamedTuple):
    """One figure that should be read."""

    limits: Limits

    @property
    def quantity(self) -> str:
        """Name of the quantity: ``dc``, ``vpp``, ``frequency`` or ``resistance``."""
        return self.limits.quantity

    @property
    def field(self) -> str:
        """Name of the field that takes the reading."""
        return _NAMES[self.quantity][0]

    @property
    def name(self) -> str:
        """Short name of the quantity."""
        return _NAMES[self.quantity][1]

    @property
    def asked(self) -> str:
        """Name of the quantity in full."""
        return _NAMES[self.quantity][2]

    @property
    def value(self) -> str:
        """The figure that should be there: ``3.4 V``."""
        return self.limits.typ_words

    @property
    def is_alone(self) -> bool:
        """Whether it has a line of its own; a frequency is told beside its signal."""
        return self.quantity in _ALONE

    @property
    def units(self) -> tuple[str, ...]:
        """Units to type it in, the likeliest first."""
        return choose_units(self.limits.unit, self.limits.typ)


def list_expected_figures(
    place: Pin | Node,
    expectation: Expectation | None,
    observed: Mapping[str, Limits] | None = None,
) -> tuple[ExpectedFigure, ...]:
    """Return the figures to read at a pin or node; none without an expectation.

    Limits ``observed`` in good sets replace those of the chip file.
    """
    if expectation is None:
        return ()
    limits_of = find_limits(place, expectation) | dict(observed or {})
    return tuple(map(ExpectedFigure, limits_of.values()))


def describe_signal(expectation: Expectation) -> str:
    """Return the frequency of an expected signal: ``at 15.625 kHz``; empty without one."""
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return ""
    return f"at {print_value(waveform.frequency_hz, 'Hz', 6)}"
