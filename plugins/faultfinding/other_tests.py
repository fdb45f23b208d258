"""What can be measured besides DC, signal and frequency: ripple on supplies; with the set off,
resistance to ground and between leads; parts out of circuit.

Each kind of test adds points to the predictions, and judges its own readings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from ...schema import Chip, Part, print_value
from ...schema.instruments import Instruments
from ..readings.checks import PinReading, check_pin, find_test_point
from ..readings.correction import correct_resistance
from ..readings.part_reading import PartReading
from ..readings.verdict import CANNOT_TELL, PinVerdict
from . import out_of_circuit, ripple
from .outcomes import Predictions
from .points import OUT_OF_CIRCUIT, OUTCOMES, Point
from .set_off import SetOff, with_resistance
from .set_off import upset_by as upset_with_the_set_off
from .suspects import Observation

# How sure each test is of what is wrong, and of what is right. Common practice.
_SURE: Final = {"ripple": 0.9, "resistance": 0.9, OUT_OF_CIRCUIT: out_of_circuit.SURE}
_RIGHT: Final = {"ripple": 0.97, "resistance": 0.96, OUT_OF_CIRCUIT: 0.985}

Taken = PinReading | PartReading


@dataclass(frozen=True)
class OtherReading:
    """A reading that is not judged against an expectation of the condition."""

    part: str
    """The chip's part number."""
    point: Point
    found: str
    """As it was read."""
    verdict: str
    why: str

    @property
    def is_right(self) -> bool:
        """True when nothing is wrong there."""
        return self.verdict == self.point.outcomes[0]

    @property
    def observation(self) -> Observation | None:
        """What it says of its point; None where it cannot be told."""
        if self.verdict == CANNOT_TELL:
            return None
        return Observation(self.point, self.verdict)

    def document(self) -> dict[str, Any]:
        """As the job's document holds it."""
        return {
            "part": self.part,
            "at": self.point.at,
            "quantity": self.point.quantity,
            "reading": self.found,
            "verdict": self.verdict,
            "why": [self.why],
        }


def with_other_tests(
    chip: Chip, off: SetOff, predicted: Predictions, condition: str
) -> Predictions:
    """The predictions with the points of these tests as well."""
    points = (*ripple.points(chip, condition), *off.points, *out_of_circuit.points(chip))
    return with_tests_at(chip, off, predicted, points)


def with_tests_at(
    chip: Chip, off: SetOff, predicted: Predictions, points: Sequence[Point]
) -> Predictions:
    """The predictions with some points of these tests as well."""
    column = {point: at for at, point in enumerate(points)}
    right = np.array([_row(point, {point.outcomes[0]: 1.0}, _RIGHT) for point in points])
    table = np.repeat(right.reshape(1, len(points), -1), len(predicted.hypotheses), axis=0)
    for row, hypothesis in enumerate(predicted.hypotheses):
        upset: dict[Point, Mapping[str, float]] = {
            **ripple.upset_by(chip, hypothesis),
            **out_of_circuit.upset_by(hypothesis),
            **upset_with_the_set_off(chip, off, hypothesis),
        }
        for point, shares in upset.items():
            if point in column:
                table[row, column[point]] = _row(point, shares, _SURE)
    whole = np.concatenate([predicted.table, table], axis=1)
    return replace(predicted, points=(*predicted.points, *points), table=whole)


def _row(point: Point, shares: Mapping[str, float], sure: Mapping[str, float]) -> list[float]:
    """Chances of the outcomes; a little is left for each."""
    certain = sure[point.quantity]
    left = (1 - certain) / len(OUTCOMES)
    return [left + certain * shares.get(outcome, 0.0) for outcome in point.outcomes]


def read_otherwise(
    chip: Chip, off: SetOff, taken: Taken, chosen: Instruments
) -> Iterator[OtherReading]:
    """What a reading says of these tests' points. Raises UnknownPin and BadReading."""
    if isinstance(taken, PartReading):
        part = part_at(chip, taken.ref)
        if part is None:
            find_test_point(chip, taken.ref)  # says that there is none
        else:
            verdict, why = out_of_circuit.outcome_of(part, taken.found)
            yield OtherReading(
                chip.part, Point(part.ref, OUT_OF_CIRCUIT), taken.found, verdict, why
            )
        return
    part = part_at(chip, taken.pin)
    if part is not None:
        yield _between_leads(chip, off, part, taken, chosen)
        return
    pin = find_test_point(chip, taken.pin)
    rippled = ripple.judged(chip, pin, taken.reading) if pin.number else None
    if rippled is not None:
        vpp_v = taken.reading.vpp_v
        read = print_value(vpp_v, "Vpp") if vpp_v is not None else ", ".join(taken.reading.seen)
        yield OtherReading(chip.part, Point(f"pin {pin.number}", "ripple"), read, *rippled)
    expectation = with_resistance(pin)
    if taken.reading.resistance_ohm is not None and expectation is not None:
        alone = replace(type(taken.reading)(), resistance_ohm=taken.reading.resistance_ohm)
        judged = check_pin(chip, pin, alone, chosen, expectation.condition)
        yield _to_ground(chip, judged)


def _to_ground(chip: Chip, judged: PinVerdict) -> OtherReading:
    """A resistance to ground; next to nothing is too low, not missing."""
    verdict = "too low" if judged.verdict == "missing" else judged.verdict
    at = f"pin {judged.pin.number}" if judged.pin.number else judged.pin.symbol
    found = judged.results[0].reading_words
    return OtherReading(chip.part, Point(at, "resistance"), found, verdict, judged.why[0])


def _between_leads(
    chip: Chip, off: SetOff, part: Part, taken: PinReading, chosen: Instruments
) -> OtherReading:
    """A resistance between a part's leads, in circuit, against what the network shows there."""
    from ...schema.reading import BadReading

    point, ohm = Point(part.ref, "resistance"), taken.reading.resistance_ohm
    if ohm is None or point not in off.points:
        raise BadReading(
            f"{part.ref}: found no resistance that is known here, expected"
            f" '{part.ref} ohms=…' between its leads, or '{part.ref} good', '{part.ref} open' ..."
        )
    known = off.limits[off.points.index(point)]
    spread = 2 * correct_resistance(ohm, chosen).uncertainty
    verdict = "as expected"
    if not known.low - spread <= ohm <= known.high + spread:
        verdict = "too low" if ohm < known.low else "too high"
    span = f"{print_value(known.low, 'Ω')} to {print_value(known.high, 'Ω')}"
    told = f"{print_value(ohm, 'Ω')} between its leads, {span} with all that lies beside it"
    return OtherReading(chip.part, point, print_value(ohm, "Ω"), verdict, told)


def check_place(chip: Chip, taken: Taken) -> None:
    """Raise UnknownPin for a reading at what is not there, BadReading for one of a part that
    cannot be."""
    name = taken.ref if isinstance(taken, PartReading) else taken.pin
    part = part_at(chip, name)
    if part is None:
        find_test_point(chip, name)
    elif isinstance(taken, PartReading):
        out_of_circuit.outcome_of(part, taken.found)


def part_at(chip: Chip, name: str) -> Part | None:
    """The part with this reference, unless a pin is called so."""
    if chip.pin(name) is not None:
        return None
    wanted = name.strip().casefold()
    return next((p for p in chip.application.parts if p.ref.casefold() == wanted), None)


def live(readings: Sequence[Taken], chip: Chip) -> list[PinReading]:
    """The readings of pins and nodes that are held against the condition, resistance left out."""
    found = []
    for taken in readings:
        if isinstance(taken, PartReading) or part_at(chip, taken.pin) is not None:
            continue
        powered = replace(taken.reading, resistance_ohm=None)
        pin = find_test_point(chip, taken.pin)
        if powered or with_resistance(pin) is None:
            found.append(replace(taken, reading=powered) if powered else taken)
    return found
