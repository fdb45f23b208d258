"""Will a part from the scrap box do? What another value does here, worked out.

The circuit is solved with the other value in place, at DC and at the signals' frequencies; what
sets a frequency is reckoned by what it does to it. Sources: the circuit (``circuit.py``), the
resonator's load (``schema/measuring/crystal.py``), 1 / 2 pi R C for a filter's corner.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from ...schema import Chip, Part, Pin, QuantityError, parse_quantity, print_value
from ...schema.chips.limits import find_limits
from ...schema.errors import Unusable
from ...schema.measuring.crystal import typical_resonator
from .circuit import Network, ac_network, dc_network, expectations_in, signal_frequencies
from .elements import CAPACITIVE, RESISTIVE, elements_of
from .outcomes import places

FITS, WORKS, DO_NOT = "fits", "works", "do not"
_ORDER: Final = (FITS, WORKS, DO_NOT)
_SAME: Final = 0.03  # as near as two parts of one value are to each other
_TOLERANCE: Final = {"electrolytic capacitor": 0.3}
_ORDINARY_TOLERANCE: Final = 0.1
_PULL_IN_HZ: Final = 300.0  # of a decoder's crystal, where the chip file gives none
_UNITS: Final = {**dict.fromkeys(CAPACITIVE, "F"), **dict.fromkeys(RESISTIVE, "Ω"), "coil": "H"}


class CannotSubstitute(Unusable):
    """What was asked to be fitted cannot be understood, or cannot be reckoned."""


@dataclass(frozen=True)
class Candidate:
    """Something from the box: one part, or two together."""

    text: str
    value: float
    """In the unit of the part it stands in for."""
    rating_v: float | None = None


@dataclass(frozen=True)
class Verdict:
    """What a candidate does here."""

    candidate: Candidate
    verdict: str
    """``fits``, ``works`` or ``do not``."""
    why: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """As plain data."""
        return {
            "with": self.candidate.text,
            "value": self.candidate.value,
            "verdict": self.verdict,
            "why": list(self.why),
        }


def part_named(chip: Chip, ref: str) -> Part:
    """The part with this reference; raises CannotSubstitute with the nearest."""
    for part in chip.application.parts:
        if part.ref.casefold() == ref.strip().casefold():
            if part.kind not in _UNITS or part.quantity is None:
                raise CannotSubstitute(
                    f"{part.ref} is a {part.kind}: only resistors, capacitors and coils with a"
                    " value can be reckoned"
                )
            return part
    from rapidfuzz import process

    refs = [part.ref for part in chip.application.parts]
    near = ", ".join(word for word, _, _ in process.extract(ref.upper(), refs, limit=3))
    raise CannotSubstitute(f"no part {ref!r} around {chip.part}; nearest: {near or 'none'}")


def candidate(text: str, part: Part) -> Candidate:
    """Something written: ``27n``, ``27n 63V``, ``22n parallel 4n7``, ``1k series 220R``."""
    unit = _UNITS[part.kind]
    for word, combine in (("parallel", _parallel), ("series", _series)):
        first, found, second = text.partition(f" {word} ")
        if found:
            one, two = candidate(first, part), candidate(second, part)
            ratings = [r for r in (one.rating_v, two.rating_v) if r is not None]
            return Candidate(text, combine(one.value, two.value, unit), min(ratings, default=None))
    value, _, rating = text.strip().partition(" ")
    try:
        rated = parse_quantity(rating, "V").nominal if rating else None
        return Candidate(text.strip(), parse_quantity(value, unit).nominal, rated)
    except QuantityError as refused:
        raise CannotSubstitute(str(refused)) from None


def from_box(texts: Iterable[str], part: Part) -> Iterator[Candidate]:
    """Everything in the box alone, and every two of them in series and in parallel."""
    alone = [candidate(text, part) for text in texts]
    yield from alone
    unit = _UNITS[part.kind]
    for at, one in enumerate(alone):
        for two in alone[at:]:
            ratings = [r for r in (one.rating_v, two.rating_v) if r is not None]
            lowest = min(ratings, default=None)
            for word, combine in (("parallel", _parallel), ("series", _series)):
                value = combine(one.value, two.value, unit)
                yield Candidate(f"{one.text} {word} {two.text}", value, lowest)


def _parallel(one: float, two: float, unit: str) -> float:
    return one + two if unit == "F" else one * two / (one + two)


def _series(one: float, two: float, unit: str) -> float:
    return one * two / (one + two) if unit == "F" else one + two


def judged(
    chip: Chip, part: Part, candidates: Iterable[Candidate], condition: str, most: int = 8
) -> list[Verdict]:
    """What each candidate does here, the best first."""
    here = _Place(chip, part, condition)
    found = [here.judge(one) for one in candidates]
    wanted = here.value
    found.sort(key=lambda v: (_ORDER.index(v.verdict), abs(math.log(v.candidate.value / wanted)),
                              len(v.candidate.text)))  # fmt: skip
    return found[:most]


class _Place:
    """The place of a part on the board, and what another value does there."""

    def __init__(self, chip: Chip, part: Part, condition: str) -> None:
        assert part.quantity is not None  # part_named has seen to it
        self.chip, self.part, self.condition = chip, part, condition
        self.value = part.quantity.nominal
        self._networks = [dc_network(chip, condition)]
        for hz in signal_frequencies(chip, condition):
            self._networks.append(ac_network(chip, condition, hz))

    def judge(self, one: Candidate) -> Verdict:
        """What one candidate does."""
        bad = [*self._rating(one), *self._frequency(one), *self._out_of_limits(one)]
        told = [*self._corner(one)]
        if bad:
            return Verdict(one, DO_NOT, (*bad, *told))
        off = one.value / self.value - 1
        if abs(off) <= _SAME:
            return Verdict(one, FITS, ("the same value", *told))
        tolerance = _TOLERANCE.get(self.part.kind, _ORDINARY_TOLERANCE)
        if self.part.tolerance is not None:
            tolerance = self.part.tolerance.nominal / 100
        size = f"{abs(off):.0%} {'more' if off > 0 else 'less'} than {self.part.value}"
        verdict = FITS if abs(off) <= tolerance else WORKS
        return Verdict(one, verdict, (size, "every point stays within its limits", *told))

    def _rating(self, one: Candidate) -> Iterator[str]:
        needed = self.part.rating
        if needed is not None and one.rating_v is not None and one.rating_v < needed.nominal:
            yield f"rated {print_value(one.rating_v, 'V')} where {needed} is needed"

    def _frequency(self, one: Candidate) -> Iterator[str]:
        """What sets a frequency may hardly differ."""
        if self.part.kind not in CAPACITIVE:
            return
        resonator = self._resonator()
        if resonator is not None and resonator.quantity is not None:
            known = typical_resonator(resonator.kind, resonator.quantity.nominal)
            ratio = one.value / self.value
            moved = known.loaded_hz(known.load_f * ratio) / known.loaded_hz(known.load_f) - 1
            moved_hz = moved * resonator.quantity.nominal
            pull_in = self.chip.application.pull_in
            allowed_hz = pull_in.nominal if pull_in is not None else _PULL_IN_HZ
            if resonator.kind == "ceramic resonator":
                allowed_hz = 0.003 * resonator.quantity.nominal
            if abs(moved_hz) > allowed_hz:
                yield (
                    f"pulls {resonator.ref} by {print_value(moved_hz, 'Hz', 2)}, more than the"
                    f" {print_value(allowed_hz, 'Hz', 2)} that are caught"
                )
        elif self._times_an_oscillator():
            off = self.value / one.value - 1
            if abs(off) > _SAME:
                yield f"the oscillator would run {abs(off):.0%} {'high' if off > 0 else 'low'}"

    def _resonator(self) -> Part | None:
        """The crystal or ceramic resonator that shares a node with the part."""
        for part in self.chip.application.parts:
            if part.kind in ("crystal", "ceramic resonator") and self._meets(part):
                return part
        return None

    def _meets(self, other: Part) -> bool:
        shared = set(self.part.joins) & set(other.joins) - {"ground"}
        return bool(shared) and other.ref != self.part.ref

    def _times_an_oscillator(self) -> bool:
        pins = {f"pin {pin.number}" for pin in self.chip.pins if pin.role == "oscillator"}
        return bool(pins & set(self.part.joins)) and "ground" in self.part.joins

    def _corner(self, one: Candidate) -> Iterator[str]:
        """The corner of a filter with a resistor beside."""
        if self.part.kind not in CAPACITIVE:
            return
        beside = next(
            (p for p in self.chip.application.parts if p.kind == "resistor" and self._meets(p)),
            None,
        )
        if beside is not None and beside.quantity is not None and beside.quantity.nominal > 0:
            ohm = beside.quantity.nominal
            before, after = (1 / (2 * math.pi * ohm * f) for f in (self.value, one.value))
            yield (
                f"corner with {beside.ref} from {print_value(before, 'Hz')}"
                f" to {print_value(after, 'Hz')}"
            )

    def _out_of_limits(self, one: Candidate) -> Iterator[str]:
        """Points that the other value takes out of their limits."""
        for at, place, expectation in places(self.chip, self.condition):
            limits = find_limits(place, expectation)
            if isinstance(place, Pin) and place.role == "oscillator" and self._resonator():
                limits.pop("vpp", None)  # what keeps an oscillator going is not linear
            for quantity, network in self._about(at, expectation.waveform is not None):
                if quantity not in limits:
                    continue
                before, after = self._reads(network, at, None), self._reads(network, at, one)
                known = limits[quantity]
                value = known.typ * after / before if before else known.typ
                if quantity == "dc":
                    value = known.typ + (after - before)
                if not known.low <= value <= known.high and abs(after - before) > 1e-3:
                    what = "DC" if quantity == "dc" else "signal"
                    yield f"{what} at {at} would be {print_value(value, known.unit)}"

    def _about(self, at: str, signal: bool) -> Iterator[tuple[str, Network]]:
        yield "dc", self._networks[0]
        if signal:
            waveforms = dict(expectations_in(self.chip, self.condition))
            waveform = waveforms[at].waveform
            if waveform is not None and waveform.amplitude_hz > 0:
                hz = round(waveform.amplitude_hz, 3)
                at_hz = signal_frequencies(self.chip, self.condition).index(hz)
                yield "vpp", self._networks[1 + at_hz]

    def _reads(self, network: Network, at: str, one: Candidate | None) -> float:
        volts = self._solved(network, one)[at]
        return volts.real if network.frequency_hz == 0 else abs(volts)

    @cache  # noqa: B019  lives no longer than the question
    def _solved(self, network: Network, one: Candidate | None) -> dict[str, complex]:
        if one is None:
            return dict(network.volts())
        fitted = self.part.model_copy(update={"value": _written(one.value, self.part)})
        others = [e for e in network.elements if e.ref != self.part.ref]
        return dict(network.volts([*others, *elements_of(fitted)]))


def _written(value: float, part: Part) -> str:
    return print_value(value, _UNITS[part.kind], None)
