"""The limits of each quantity of an expectation, which a reading is compared with."""

from __future__ import annotations

from typing import Final, NamedTuple

from ..quantities import Quantity, print_span, print_value
from .application import Node
from .data import Pin
from .expectation import (
    ASSUMED_DC_PERCENT,
    ASSUMED_RESISTANCE_PERCENT,
    ASSUMED_WAVEFORM_PERCENT,
    Expectation,
)

# Taken for the frequency of a signal where none is stated. Common practice: line and field rates
# hold to a percent in a set that is locked or nearly so, a crystal to a few hundred ppm.
ASSUMED_FREQUENCY_PERCENT: Final = 1.0
ASSUMED_CRYSTAL_PERCENT: Final = 0.05
_DIGITS: Final = 3
_FREQUENCY_DIGITS: Final = 6  # crystals and line rates differ in the fourth
_LEAST_DC_V: Final = 0.1  # narrowest limits about a typical value: 0 V is never meant exactly


class Limits(NamedTuple):
    """Typical value and limits of one quantity; ``stated`` when the source gives the limits."""

    quantity: str
    """``dc``, ``vpp``, ``frequency`` or ``resistance``."""
    unit: str
    typ: float
    low: float
    high: float
    stated: bool
    observed: str = ""
    """How many good sets the limits were observed in, when they are not the catalogue's."""

    @property
    def tolerance(self) -> str:
        """Where the limits come from: ``stated`` by the source, ``assumed`` or ``observed``."""
        return "observed" if self.observed else "stated" if self.stated else "assumed"

    @property
    def typ_words(self) -> str:
        """The typical value: ``12 V``."""
        return print_figure(self.typ, self.unit)

    @property
    def span(self) -> str:
        """The limits in words: ``11.4 V to 12.6 V``."""
        return f"{print_figure(self.low, self.unit)} to {print_figure(self.high, self.unit)}"

    @property
    def short_span(self) -> str:
        """The limits with one unit behind both: ``11.4 to 12.6 V``."""
        return print_span(self.low, self.high, self.unit, _count_digits(self.unit))


def print_figure(value: float, unit: str) -> str:
    """Return a figure as printed: six digits for frequencies, three for the rest."""
    return print_value(value, unit, _count_digits(unit))


def _count_digits(unit: str) -> int:
    return _FREQUENCY_DIGITS if unit == "Hz" else _DIGITS


def find_limits(place: Pin | Node, expectation: Expectation) -> dict[str, Limits]:
    """Return the limits of every quantity of the expectation, by the quantity's name."""
    candidates = (
        _find_dc_limits(expectation),
        _find_vpp_limits(expectation),
        _find_frequency_limits(place, expectation),
        _find_resistance_limits(expectation),
    )
    return {limits.quantity: limits for limits in candidates if limits is not None}


def _find_dc_limits(expectation: Expectation) -> Limits | None:
    dc = expectation.dc
    if dc is None:
        return None
    low, high = dc.limits(ASSUMED_DC_PERCENT)
    # A share of a voltage near zero would leave no room at all.
    if not dc.tolerance_stated:
        low, high = min(low, dc.nominal - _LEAST_DC_V), max(high, dc.nominal + _LEAST_DC_V)
    return Limits("dc", "V", dc.nominal, low, high, dc.tolerance_stated)


def _find_vpp_limits(expectation: Expectation) -> Limits | None:
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return None
    stated = getattr(waveform, "vpp", None)
    if isinstance(stated, Quantity):
        return _assume_limits_around("vpp", "Vpp", stated, ASSUMED_WAVEFORM_PERCENT)
    share = ASSUMED_WAVEFORM_PERCENT / 100
    vpp_v = waveform.vpp_v
    return Limits("vpp", "Vpp", vpp_v, vpp_v * (1 - share), vpp_v * (1 + share), False)


def _find_frequency_limits(place: Pin | Node, expectation: Expectation) -> Limits | None:
    """Return the limits of a frequency reading; None without a countable frequency."""
    waveform = expectation.waveform
    # Noise has a bandwidth, but no frequency that a counter could read.
    if waveform is None or not waveform.period_s or waveform.kind == "noise":
        return None
    # Only a frequency that the chip file states is the crystal's own.
    percent = ASSUMED_CRYSTAL_PERCENT if _oscillates(place) else ASSUMED_FREQUENCY_PERCENT
    stated = getattr(waveform, "frequency", None)
    if isinstance(stated, Quantity):
        return _assume_limits_around("frequency", "Hz", stated, percent)
    hz, share = waveform.frequency_hz, ASSUMED_FREQUENCY_PERCENT / 100
    return Limits("frequency", "Hz", hz, hz * (1 - share), hz * (1 + share), False)


def _oscillates(place: Pin | Node) -> bool:
    return isinstance(place, Pin) and place.role == "oscillator"


def _find_resistance_limits(expectation: Expectation) -> Limits | None:
    """Return the limits over both lead polarities: a note rarely says which was used."""
    resistance = expectation.resistance
    if resistance is None:
        return None
    both = (resistance.red_on_pin, resistance.black_on_pin)
    given = [reading for reading in both if reading is not None]
    limits = [reading.limits(ASSUMED_RESISTANCE_PERCENT) for reading in given]
    low, high = min(low for low, _ in limits), max(high for _, high in limits)
    stated = all(reading.tolerance_stated for reading in given)
    return Limits("resistance", "Ω", given[0].nominal, low, high, stated)


def _assume_limits_around(name: str, unit: str, quantity: Quantity, percent: float) -> Limits:
    low, high = quantity.limits(percent)
    return Limits(name, unit, quantity.nominal, low, high, quantity.tolerance_stated)
