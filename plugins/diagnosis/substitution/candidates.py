"""Parts of the scrap box as written, alone and two together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Final

from ....schema import Chip, Part, QuantityError, parse_quantity, print_value
from ....schema.errors import Unusable

UNITS: Final = {
    **dict.fromkeys(("capacitor", "electrolytic capacitor", "trimmer capacitor"), "F"),
    **dict.fromkeys(("resistor", "potentiometer"), "Ω"),
    "coil": "H",
}
# Preferred values of a decade. Source: IEC 60063, series E24 and E12, from memory.
_E24: Final = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30,
               33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)  # fmt: skip
_E12: Final = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
_MOST_NEAREST: Final = 3
_NEAR: Final = 0.005  # of a value: as near to a preferred one it is that value


class CannotSubstitute(Unusable):
    """The part to be fitted cannot be understood, or cannot be simulated."""


@dataclass(frozen=True)
class Candidate:
    """A substitute from the box: one part, or two together."""

    text: str
    value: float
    """In the unit of the part it replaces."""
    rating_v: float | None = None


def find_replaceable_part(chip: Chip, ref: str) -> Part:
    """Return the part with this reference; raises CannotSubstitute with the nearest."""
    for part in chip.application.parts:
        if part.ref.casefold() != ref.strip().casefold():
            continue
        if part.kind not in UNITS or part.quantity is None:
            raise CannotSubstitute(
                f"{part.ref} is a {part.kind}"
                ": only resistors, capacitors and coils with a value can be reckoned"
            )
        return part
    # Imported only for a name that is wrong: it costs start-up time.
    from rapidfuzz import process

    refs = [part.ref for part in chip.application.parts]
    matches = process.extract(ref.upper(), refs, limit=_MOST_NEAREST)
    nearest = ", ".join(known_ref for known_ref, _, _ in matches)
    raise CannotSubstitute(f"no part {ref!r} around {chip.part}; nearest: {nearest or 'none'}")


def read_candidate(text: str, part: Part) -> Candidate:
    """Return a candidate: ``27n``, ``27n 63V``, ``22n parallel 4n7``, ``1k series 220R``.

    Raises CannotSubstitute.
    """
    unit = UNITS[part.kind]
    for word in _COMBINATIONS:
        first_text, separator, second_text = text.partition(f" {word} ")
        if separator:
            first, second = read_candidate(first_text, part), read_candidate(second_text, part)
            return _combine(first, second, word, part, text)
    value_text, _, rating_text = text.strip().partition(" ")
    try:
        rating_v = parse_quantity(rating_text, "V").nominal if rating_text else None
        return Candidate(text.strip(), parse_quantity(value_text, unit).nominal, rating_v)
    except QuantityError as refused:
        raise CannotSubstitute(str(refused)) from None


def combine_box(texts: Iterable[str], part: Part) -> Iterator[Candidate]:
    """Yield everything in the box alone, and every two of it in series and in parallel."""
    single_parts = [read_candidate(text, part) for text in texts]
    yield from single_parts
    # The box may hold several of a part: each is combined with itself too.
    for first, second in combinations_with_replacement(single_parts, 2):
        for word in _COMBINATIONS:
            yield _combine(first, second, word, part, f"{first.text} {word} {second.text}")


def _combine(first: Candidate, second: Candidate, word: str, part: Part, text: str) -> Candidate:
    """Return two candidates joined in ``parallel`` or ``series``, written as ``text``."""
    # Two together withstand no more than the weaker one.
    ratings_v = [volts for volts in (first.rating_v, second.rating_v) if volts is not None]
    value = _COMBINATIONS[word](first.value, second.value, UNITS[part.kind])
    return Candidate(text, value, min(ratings_v, default=None))


def find_preferred(value: float, part: Part) -> str:
    """Return the preferred value nearest to one, as printed; empty where it is one itself."""
    series = _E24 if part.kind == "resistor" else _E12
    decade = 10.0 ** math.floor(math.log10(value))
    values = [step / 10 * decade for step in (*series, 100)]
    # Nearest by ratio: preferred values rise by equal factors.
    nearest = min(values, key=lambda preferred: abs(math.log(preferred / value)))
    if abs(nearest / value - 1) < _NEAR:
        return ""
    return print_value(nearest, UNITS[part.kind])


def _join_in_parallel(first: float, second: float, unit: str) -> float:
    # Capacitances add in parallel, resistances and inductances in series.
    return first + second if unit == "F" else first * second / (first + second)


def _join_in_series(first: float, second: float, unit: str) -> float:
    return first * second / (first + second) if unit == "F" else first + second


_COMBINATIONS: Final = {"parallel": _join_in_parallel, "series": _join_in_series}
