"""Parts as a network sees them: admittances between two points at a frequency.

Losses are ordinary ones for the kind of part. Common practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Part
from ....schema.measuring.crystal import typical_resonator
from .severities import Draws, Numbers

Complex = NDArray[np.complex128]

CAPACITIVE: Final = ("capacitor", "electrolytic capacitor", "trimmer capacitor")
RESONATORS: Final = ("crystal", "ceramic resonator")

LEAST_OHM: Final = 0.02  # of anything that conducts: wire and joint
_ESR_OHM: Final = {"electrolytic capacitor": 0.6, "capacitor": 0.05, "trimmer capacitor": 0.05}
_ELECTROLYTIC_LEAKAGE_OHM: Final = (4e6, 100e6)
_CAPACITOR_LEAKAGE_OHM: Final = 1e11
_COIL_Q: Final = 60.0
_LEAST_COIL_OHM: Final = 0.1
_COIL_OHM_AT_1_UH: Final = 0.15
_POWER_COIL_OHM: Final = 8.0  # a deflection yoke, a choke of some millihenries
_POWER_COIL_H: Final = 3e-3
CRYSTAL_OHM: Final = 40.0
CERAMIC_OHM: Final = 12.0
_MOTIONAL_SPREAD: Final = 0.3
_FILTER_OHM: Final = 330.0  # what ceramic filters are matched to
_FILTER_REACTANCE_SHARE: Final = 0.1  # of that resistance, the blocking capacitance in its band
_LEAST_TRACK_OHM: Final = 1.0  # of a potentiometer turned to an end
_SURFACE_WAVE_HZ: Final = 20e6
_DELAY_LINE_DC_S: Final = 3e-6  # longer ones are of glass, and pass no DC
_DELAY_LINE_OHM: Final = 40.0
_GLASS_OHM: Final = (120.0, 600.0)
_WINDING_OHM: Final = (4.0, 0.8)
_WINDING_H: Final = 2e-3
_TAPPED_OHM: Final = (60.0, 500.0)


@dataclass(frozen=True)
class Element:
    """Two ends and all between them, on every draw; the figures have the shape (draws,).

    In series: ``series_ohm``, ``henry`` and ``farad`` (infinite: no capacitor in the way); beside
    all that ``parallel_ohm`` and ``parallel_farad``.
    """

    ref: str
    kind: str
    ends: tuple[str, str]
    series_ohm: Numbers
    henry: Numbers
    farad: Numbers
    parallel_ohm: Numbers
    parallel_farad: Numbers

    def compute_siemens(self, frequency_hz: float) -> Complex:
        """Return the admittance between the ends, shape (draws,); 0 Hz is DC."""
        omega = 2 * math.pi * frequency_hz
        beside = 1 / self.parallel_ohm + 1j * omega * self.parallel_farad
        if frequency_hz == 0:
            through = np.where(np.isinf(self.farad), 1 / self.series_ohm, 0.0)
        else:
            # an infinite capacitor has no reactance: 1 / (j omega inf) = 0
            reactance = omega * self.henry - 1 / (omega * self.farad)
            through = 1 / (self.series_ohm + 1j * reactance)
        return np.asarray(through + beside, dtype=np.complex128)


def make_element(
    ref: str, kind: str, ends: tuple[str, str], draws: int, **figures: object
) -> Element:
    """Return an element with the given figures (numbers or arrays); the others do nothing."""
    no_effect: dict[str, object] = {
        "series_ohm": math.inf,
        "henry": 0.0,
        "farad": math.inf,
        "parallel_ohm": math.inf,
        "parallel_farad": 0.0,
    }
    arrays = {
        name: np.broadcast_to(np.asarray(figure, dtype=float), (draws,)).copy()
        for name, figure in (no_effect | figures).items()
    }
    return Element(ref, kind, ends, **arrays)


def open_element(element: Element) -> Element:
    """Return the element with nothing between its ends."""
    infinite = np.full_like(element.series_ohm, math.inf)
    return replace(
        element, series_ohm=infinite, parallel_ohm=infinite, parallel_farad=0 * element.henry
    )


def short_element(element: Element, ohm: Numbers) -> Element:
    """Return the element with a short between its ends."""
    return replace(element, parallel_ohm=ohm)


def list_elements(part: Part, draws: Draws, positions: dict[str, Numbers]) -> tuple[Element, ...]:
    """Return a part as elements; none for one that is not linear, or whose value is not given.

    ``positions``: of potentiometers by reference, the share of the track between first lead and
    slider.
    """
    return tuple(_list_elements_between_leads(part, draws, positions))


def _list_elements_between_leads(
    part: Part, draws: Draws, positions: dict[str, Numbers]
) -> Iterator[Element]:
    """Yield the elements between the leads of a part, their values drawn within tolerance."""
    kind, joins, quantity = part.kind, part.joins, part.quantity
    tolerance = part.tolerance.nominal if part.tolerance is not None else None
    value_share = draws.draw_part_value(part.ref, kind, tolerance)  # of the marked value

    def make(ends: tuple[str, str], **figures: object) -> Element:
        return make_element(part.ref, kind, ends, draws.count, **figures)

    if kind == "transformer":
        yield from _list_winding_elements(part, draws)
    elif kind == "connector":
        yield from (make(ends, series_ohm=LEAST_OHM) for ends in pairwise(joins))
    elif kind == "delay line":
        yield from _list_delay_line_elements(part, draws)
    if quantity is None or kind in ("transformer", "connector", "delay line"):
        return  # of these the value is not used; any other part without one is left out

    nominal, value, ends = quantity.nominal, value_share * quantity.nominal, (joins[0], joins[1])
    if kind == "resistor":
        yield make(ends, series_ohm=np.maximum(value, LEAST_OHM))
    elif kind == "potentiometer":
        before_slider = positions.get(part.ref, np.full(draws.count, 0.5))
        track_shares = (before_slider, 1 - before_slider)
        for track_ends, share in zip(pairwise(joins), track_shares, strict=False):
            yield make(track_ends, series_ohm=np.maximum(value * share, _LEAST_TRACK_OHM))
    elif kind in CAPACITIVE:
        leak_ohm: object = _CAPACITOR_LEAKAGE_OHM
        if kind == "electrolytic capacitor":
            leak_ohm = draws.draw_log_uniform(f"leakage of {part.ref}", *_ELECTROLYTIC_LEAKAGE_OHM)
        yield make(ends, series_ohm=_ESR_OHM[kind], farad=value, parallel_ohm=leak_ohm)
    elif kind == "coil":
        yield make(ends, series_ohm=estimate_coil_ohm(nominal), henry=value)
    elif kind in RESONATORS:
        yield _make_resonator(part, nominal, value_share, draws)
    elif kind == "ceramic filter":
        # In its band a resistance; a series capacitance keeps DC from passing.
        blocking_f = 1 / (2 * math.pi * nominal * _FILTER_REACTANCE_SHARE * _FILTER_OHM)
        outputs = [end for end in joins[1:] if end != "ground"]
        for output in outputs or [joins[1]]:
            yield make((joins[0], output), series_ohm=_FILTER_OHM, farad=blocking_f)


def _list_winding_elements(part: Part, draws: Draws) -> Iterator[Element]:
    """Yield the windings of a transformer, the halves of a tapped coil as resistances."""
    is_tapped = len(list_windings(part)) == 2 and len(part.joins) == 3
    for ends, ohm in zip(list_windings(part), _WINDING_OHM, strict=False):
        # The halves of a tapped coil are coupled: a signal at the tap goes through both.
        if is_tapped:
            through_ohm = draws.draw_log_uniform(f"halves of {part.ref}", *_TAPPED_OHM)
            yield make_element(part.ref, part.kind, ends, draws.count, series_ohm=through_ohm)
        else:
            yield make_element(
                part.ref, part.kind, ends, draws.count, series_ohm=ohm, henry=_WINDING_H
            )


def _list_delay_line_elements(part: Part, draws: Draws) -> Iterator[Element]:
    """Yield a short line as a resistance, one of glass as a loss that passes no DC."""
    short = part.quantity is not None and part.quantity.nominal < _DELAY_LINE_DC_S
    lossy = draws.draw_log_uniform(f"loss of {part.ref}", *_GLASS_OHM)
    along: object = _DELAY_LINE_OHM if short else lossy
    blocks = math.inf if short else 1e-8
    for end in [end for end in part.joins[1:] if end != "ground"]:
        ends = (part.joins[0], end)
        yield make_element(part.ref, part.kind, ends, draws.count, series_ohm=along, farad=blocks)


def list_windings(part: Part) -> tuple[tuple[str, str], ...]:
    """Return the ends of a transformer's windings, as its leads are listed: in pairs.

    With three leads the middle one is a tap, unless it is a collector's: then the third lead is
    another winding, whose foot is not drawn.
    """
    joins = part.joins
    if len(joins) == 3:
        return ((joins[0], joins[1]),) if "collector" in joins[1] else tuple(pairwise(joins))
    return tuple((joins[at], joins[at + 1]) for at in range(0, len(joins) - 1, 2))


def estimate_coil_ohm(henry: float) -> float:
    """Return the DC resistance of an ordinary coil."""
    if henry >= _POWER_COIL_H:
        return _POWER_COIL_OHM
    return max(_LEAST_COIL_OHM, _COIL_OHM_AT_1_UH * float((henry / 1e-6) ** 0.6))


def _make_resonator(part: Part, nominal_hz: float, share: Numbers, draws: Draws) -> Element:
    """Return the Butterworth-Van Dyke circuit: L1, C1, R1 in series, C0 beside them.

    Makers differ in the motional capacitance: it says how far a load pulls.
    """
    typical = typical_resonator(part.kind, nominal_hz)
    spread = draws.spread(f"motional arm of {part.ref}", _MOTIONAL_SPREAD)
    motional_f = typical.motional_f * spread
    # The inductance follows from the series resonance, 1 / (2 pi sqrt(L1 C1)).
    omega = 2 * math.pi * typical.series_hz * share
    return make_element(
        part.ref,
        part.kind,
        (part.joins[0], part.joins[1]),
        draws.count,
        series_ohm=CRYSTAL_OHM if part.kind == "crystal" else CERAMIC_OHM,
        farad=motional_f,
        henry=1 / (omega**2 * motional_f),
        parallel_farad=typical.holder_f,
        parallel_ohm=_CAPACITOR_LEAKAGE_OHM,
    )
