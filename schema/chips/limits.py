"""The limits of each quantity of an expectation, which a reading is compared with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..quantities import Quantity, print_value
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
_LEAST_DC_V: Final = 0.1  # narrowest limits about a typical value: 0 V is never meant exactly


@dataclass(frozen=True)
class Limits:
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
    def span(self) -> str:
        """The limits in words: ``11.4 V to 12.6 V``."""
        return f"{print_figure(self.low, self.unit)} to {print_figure(self.high, self.unit)}"


def print_figure(value: float, unit: str) -> str:
    """Return a figure as printed: six digits for frequencies, three for the rest."""
    return print_value(value, unit, 6 if unit == "Hz" else 3)


def find_limits(place: Pin | Node, expectation: Expectation) -> dict[str, Limits]:
    """Return the limits of every quantity of the expectation, by the quantity's name."""
    found = [_dc(expectation), _vpp(expectation), _frequency(place, expectation)]
    found += [_resistance(expectation)]
    return {limits.quantity: limits for limits in found if limits is not None}


def _dc(expectation: Expectation) -> Limits | None:
    dc = expectation.dc
    if dc is None:
        return None
    low, high = dc.limits(ASSUMED_DC_PERCENT)
    if not dc.tolerance_stated:
        low, high = min(low, dc.nominal - _LEAST_DC_V), max(high, dc.nominal + _LEAST_DC_V)
    return Limits("dc", "V", dc.nominal, low, high, dc.tolerance_stated)


def _vpp(expectation: Expectation) -> Limits | None:
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        return None
    written = getattr(waveform, "vpp", None)
    if isinstance(written, Quantity):
        return _around("vpp", "Vpp", written, ASSUMED_WAVEFORM_PERCENT)
    share = ASSUMED_WAVEFORM_PERCENT / 100
    vpp_v = waveform.vpp_v
    return Limits("vpp", "Vpp", vpp_v, vpp_v * (1 - share), vpp_v * (1 + share), False)


def _frequency(place: Pin | Node, expectation: Expectation) -> Limits | None:
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s or waveform.kind == "noise":
        return None
    percent = ASSUMED_CRYSTAL_PERCENT if _oscillates(place) else ASSUMED_FREQUENCY_PERCENT
    written = getattr(waveform, "frequency", None)
    if isinstance(written, Quantity):
        return _around("frequency", "Hz", written, percent)
    hz = waveform.frequency_hz
    percent = ASSUMED_FREQUENCY_PERCENT
    return Limits("frequency", "Hz", hz, hz * (1 - percent / 100), hz * (1 + percent / 100), False)


def _oscillates(place: Pin | Node) -> bool:
    return isinstance(place, Pin) and place.role == "oscillator"


def _resistance(expectation: Expectation) -> Limits | None:
    """Return the limits over both lead polarities: a note rarely says which was used."""
    found = expectation.resistance
    if found is None:
        return None
    given = [leads for leads in (found.red_on_pin, found.black_on_pin) if leads is not None]
    ends = [leads.limits(ASSUMED_RESISTANCE_PERCENT) for leads in given]
    low, high = min(low for low, _ in ends), max(high for _, high in ends)
    stated = all(leads.tolerance_stated for leads in given)
    return Limits("resistance", "Ω", given[0].nominal, low, high, stated)


def _around(name: str, unit: str, quantity: Quantity, percent: float) -> Limits:
    low, high = quantity.limits(percent)
    return Limits(name, unit, quantity.nominal, low, high, quantity.tolerance_stated)
