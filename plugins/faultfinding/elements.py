"""What each part around a chip is to a linear network: an admittance at a frequency.

Element values are the marked ones; losses are ordinary ones for the kind. Common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from ...schema import Part
from ...schema.measuring.crystal import typical_resonator

JOINT_SIEMENS: Final = 1e3  # a milliohm of wire; more would drown the others in rounding

_ESR_OHM: Final = {"electrolytic capacitor": 0.5}
_CAPACITOR_ESR_OHM: Final = 0.05
_LEAKAGE_OHM: Final = {"electrolytic capacitor": 20e6}
_CAPACITOR_LEAKAGE_OHM: Final = 1e12
_COIL_Q: Final = 50.0
_COIL_DC_OHM: Final = 1.0
_CRYSTAL_OHM: Final = 40.0
_CERAMIC_OHM: Final = 15.0
_FILTER_OHM: Final = 330.0  # what ceramic filters are matched to
_FILTER_BLOCKS: Final = 0.1  # of that, the reactance of what keeps DC out of a filter
_DIODE_ON_OHM: Final = 10.0
_DIODE_OFF_OHM: Final = 10e6
_DIODE_DROP_V: Final = 0.6

RESISTIVE: Final = ("resistor", "potentiometer")
CAPACITIVE: Final = ("capacitor", "electrolytic capacitor", "trimmer capacitor")


@dataclass(frozen=True)
class Element:
    """Two ends and what lies between them.

    In series: ``series_ohm``, ``inductance_h``, ``capacitance_f`` (infinite: no capacitor in the
    way); beside all that ``parallel_ohm`` and ``parallel_f``. ``drop_v`` is a fixed voltage in
    series at DC, positive from the first end to the second.
    """

    ref: str
    kind: str
    ends: tuple[str, str]
    series_ohm: float = 0.0
    inductance_h: float = 0.0
    capacitance_f: float = math.inf
    parallel_ohm: float = math.inf
    parallel_f: float = 0.0
    drop_v: float = 0.0

    def siemens(self, frequency_hz: float) -> complex:
        """Admittance between the ends at a frequency; 0 Hz is DC."""
        omega = 2 * math.pi * frequency_hz
        return self._series_siemens(omega) + 1 / self.parallel_ohm + 1j * omega * self.parallel_f

    def _series_siemens(self, omega: float) -> complex:
        blocked = math.isfinite(self.capacitance_f)
        if omega == 0 and blocked:
            return 0.0
        ohm = complex(self.series_ohm, omega * self.inductance_h)
        if blocked:
            ohm += 1 / (1j * omega * self.capacitance_f)
        if math.isinf(self.series_ohm):
            return 0.0
        return 1 / ohm if abs(ohm) > 1 / JOINT_SIEMENS else JOINT_SIEMENS


def elements_of(part: Part) -> tuple[Element, ...]:
    """A part as elements; none for one that is not linear, or whose value is not given.

    A potentiometer lies between each lead and the next; a filter of more than two leads from its
    first lead to each of the others, ground left out.
    """
    pairs = tuple(pairwise(part.joins))
    if part.kind == "ceramic filter" and len(part.joins) > 2:
        pairs = tuple((part.joins[0], end) for end in part.joins[1:] if end != "ground")
    return tuple(
        element
        for first, second in pairs
        if first != second and (element := _between(part, (first, second))) is not None
    )


def _between(part: Part, ends: tuple[str, str]) -> Element | None:
    quantity = part.quantity
    element = Element(part.ref, part.kind, ends)
    if part.kind in ("diode", "zener diode"):
        return replace(element, series_ohm=_DIODE_OFF_OHM)
    if quantity is None:
        return None
    value = quantity.nominal
    if part.kind == "resistor":
        return replace(element, series_ohm=value)
    if part.kind == "potentiometer":
        return replace(element, series_ohm=value / 2)
    if part.kind in CAPACITIVE:
        return replace(
            element,
            capacitance_f=value,
            series_ohm=_ESR_OHM.get(part.kind, _CAPACITOR_ESR_OHM),
            parallel_ohm=_LEAKAGE_OHM.get(part.kind, _CAPACITOR_LEAKAGE_OHM),
        )
    if part.kind == "coil":
        return replace(element, inductance_h=value, series_ohm=_COIL_DC_OHM)
    if part.kind in ("crystal", "ceramic resonator"):
        return _resonator(element, value)
    if part.kind == "ceramic filter":
        blocking_f = 1 / (2 * math.pi * value * _FILTER_BLOCKS * _FILTER_OHM)
        return replace(element, series_ohm=_FILTER_OHM, capacitance_f=blocking_f)
    return None


def _resonator(element: Element, frequency_hz: float) -> Element:
    """The Butterworth-Van Dyke circuit: L1, C1, R1 in series, C0 beside them."""
    found = typical_resonator(element.kind, frequency_hz)
    omega = 2 * math.pi * found.series_hz
    return replace(
        element,
        series_ohm=_CRYSTAL_OHM if element.kind == "crystal" else _CERAMIC_OHM,
        capacitance_f=found.motional_f,
        inductance_h=1 / (omega**2 * found.motional_f),
        parallel_f=found.holder_f,
    )


def turned_on(diode: Element) -> Element:
    """A diode that conducts: its drop and its slope."""
    return replace(diode, series_ohm=_DIODE_ON_OHM, drop_v=_DIODE_DROP_V)
