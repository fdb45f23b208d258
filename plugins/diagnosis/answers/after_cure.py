"""Readings taken again after the cure: they tell whether it worked, and accuse nothing."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from ....schema import Chip
from ....schema.chips.usual_faults import describe_endpoint
from ...readings.places import find_part
from ...readings.reading_syntax import PartReading, PointReading, Taken
from ...readings.verdict import CANNOT_TELL, PinVerdict
from ..evidence.observations import Evidence, find_point
from ..evidence.part_tests import is_bad, read_part_result


def find_readings_after_cure(chip: Chip, readings: Sequence[Taken]) -> frozenset[int]:
    """Return the places in the list of readings that were taken after the cure.

    The rule: once a part or joint was proved bad, a point that was read before is read again to see
    whether its repair cured the set.
    """
    proofs = [number for number, taken in enumerate(readings) if _proves_bad(chip, taken)]
    if not proofs:
        return frozenset()
    last_proof = proofs[-1]
    # A point first read now is one more reading of the fault, not a check of its cure.
    points_before = {_name_point(chip, taken) for taken in readings[:last_proof]} - {""}
    return frozenset(
        number
        for number, taken in enumerate(readings)
        if number > last_proof and _name_point(chip, taken) in points_before
    )


def _proves_bad(chip: Chip, reading: Taken) -> bool:
    """Return whether a reading proves a part or a joint bad."""
    if not isinstance(reading, PartReading):
        return False
    part = find_part(chip, reading.ref)
    if part is None:
        return reading.found == "joint bad"
    return is_bad(read_part_result(part, reading.found).outcome)


def _name_point(chip: Chip, reading: Taken) -> str:
    """Return the point of a reading with the set on; empty for a part, or for a resistance."""
    if not isinstance(reading, PointReading) or reading.skipped or reading.other is not None:
        return ""
    is_of_a_part = find_part(chip, reading.place) is not None
    return "" if is_of_a_part else find_point(chip, reading.place)


def leave_out(evidence: Evidence, lines: Set[int]) -> Evidence:
    """Return the evidence without the readings of some lines."""
    observations = tuple(one for one in evidence.observations if one.line not in lines)
    return replace(evidence, observations=observations)


def conclude_cure(chip: Chip, verdicts: Sequence[PinVerdict]) -> str:
    """Return whether the readings after the cure are right; empty where there are none.

    ``verdicts`` are in the order of the readings; of several at a point the last one counts.
    """
    last_verdicts = {f"pin {v.pin.number}" if v.pin.number else v.pin.symbol: v for v in verdicts}
    right_places, wrong_places = [], []
    for point, verdict in last_verdicts.items():
        place = describe_endpoint(chip, point)
        # The instruments may be too coarse to tell; that is no reason to doubt the cure.
        if verdict.verdict == CANNOT_TELL:
            right_places.append(f"{place} as far as the instruments tell")
        elif verdict.is_right:
            right_places.append(place)
        else:
            wrong_places.append(f"{place} ({verdict.verdict})")
    sentences = ""
    if right_places:
        sentences += f" After the cure right: {', '.join(right_places)}."
    if wrong_places:
        sentences += f" Not right yet: {', '.join(wrong_places)}."
    return sentences
