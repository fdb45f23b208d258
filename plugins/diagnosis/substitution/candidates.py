"""Parts of the scrap box as written, alone and two together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
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
    near = ", ".join(word for word, _, _ in process.extract(ref.upper(), refs, limit=3))
    raise CannotSubstitute(f"no part {ref!r} around {chip.part}; nearest: {near or 'none'}")


def read_candidate(text: str, part: Part) -> Candidate:
    """Return a candidate: ``27n``, ``27n 63V``, ``22n parallel 4n7``, ``1k series 220R``.

    Raises CannotSubstitute.
    """
    unit = UNITS[part.kind]
    for word, combine in (("parallel", _join_in_parallel), ("series", _join_in_series)):
        first_text, separator, second_text = text.partition(f" {word} ")
        if not separator:
            continue
        first, second = read_candidate(first_text, part), read_candidate(second_text, part)
        # Two together withstand no more than the weaker one.
        ratings_v = [v for v in (first.rating_v, second.rating_v) if v is not None]
        value = combine(first.value, second.value, unit)
        return Candidate(text, value, min(ratings_v, default=None))
    value_text, _, rating_text = text.strip().partition(" ")
    try:
        rating_v = parse_quantity(rating_text, "V").nominal if rating_text else None
        return Candidate(text.strip(), parse_quantity(value_text, unit).nominal, rating_v)
    except QuantityError as refused:
        raise CannotSubstitute(str(refused)) from None


def combine_box(texts: Iterable[str], part: Part) -> Iterator[Candidate]:
    """Yield everything in the box alone, and every two of it in series and in parallel."""
    alone = [read_candidate(text, part) for text in texts]
    yield from alone
    unit = UNITS[part.kind]
    for index, one in enumerate(alone):
        for two in alone[index:]:
            ratings = [r for r in (one.rating_v, two.rating_v) if r is not None]
            lowest = min(ratings, default=None)
            for word, combine in (("parallel", _join_in_parallel), ("series", _join_in_series)):
                value = combine(one.value, two.value, unit)
                yield Candidate(f"{one.text} {word} {two.text}", value, lowest)


def find_preferred(value: float, part: Part) -> str:
    """Return the preferred value nearest to one, as printed; empty where it is one itself."""
    series = _E24 if part.kind == "resistor" else _E12
    decade = 10.0 ** math.floor(math.log10(value))
    values = [step / 10 * decade for step in (*series, 100)]
    nearest = min(values, key=lambda one: abs(math.log(one / value)))
    if abs(nearest / value - 1) < _NEAR:
        return ""
    return print_value(nearest, UNITS[part.kind])


def _join_in_parallel(one: float, two: float, unit: str) -> float:
    return one + two if unit == "F" else one * two / (one + two)


def _join_in_series(one: float, two: float, unit: str) -> float:
    return one * two / (one + two) if unit == "F" else one + two
