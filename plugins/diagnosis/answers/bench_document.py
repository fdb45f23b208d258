"""A job as the bench shows it: one thing to do now, the suspects, the way of the signal, the
readings so far.

``make_bench_document`` returns plain data for a page, a terminal and JSON alike:

``part``, ``condition``, ``symptoms``
    The chip, the state of the set, and the names of the symptoms.
``now``
    The one thing to do now, see ``next_action.describe_action``.
``instead``
    Other measurements that would do, each as ``now``.
``together``
    DC voltages to take in the same go where ``now`` is one, each as ``now``: they come next if it
    is right, and the meter is in the hand already.
``suspects``
    Likeliest first and the chip last; ``percent`` of all and ``others_percent`` add up to 100.
    Each: ``kind``, ``what`` (reference, pin, supply, node), ``name``, ``failure``, ``said``,
    ``prove``, ``fit``, ``shows_at`` (sentences), ``because`` (sentences), ``points`` (to be read
    right after the repair), ``ways`` (other ways in which it may have failed).
``way``
    Stages of the complaint's signal, see ``signal_way.trace_signal_way``.
``cleared``
    See ``cleared.list_cleared``.
``read``
    Readings, newest first: ``index`` in the order they were taken, ``line`` as it was written,
    ``place``, ``verdict``, ``is_right`` (None where nobody can tell) and ``why``.
``must_read``
    After the cure: figures that must then be right, see ``next_action.describe_place``.
``again``
    Readings to take again, as ``must_read``; ``contradictions`` says in words which do not fit.
``alike``
    Notes of similar cases: ``id``, ``shop``, ``date``, ``symptom``, ``part``, ``failure``,
    ``cure``, ``proof`` and ``why`` they are alike.
``conclusion``
    All that in a sentence or two.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import takewhile
from typing import Any, Final

from ....schema import Chip, Part
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.note import Note
from ...notes.similar_cases import BenchCase, convert_reading, find_similar_cases
from ...readings.places import find_part, find_test_point, name_place
from ...readings.reading_syntax import PartReading, Taken
from ...readings.verdict import AS_EXPECTED, CANNOT_TELL, PinVerdict
from ..deciding.next_step import Step
from ..evidence.observations import Resistance
from ..evidence.part_tests import is_bad
from ..weighing.posterior import CHIP
from .cleared import list_cleared
from .job import Job
from .next_action import describe_action, describe_place, list_checks
from .remedy import choose_remedy
from .resistance_checks import check_resistances
from .signal_way import trace_signal_way
from .suspects import Suspect, name_suspect
from .wording import describe_thing

_MOST_INSTEAD: Final = 4
_MOST_TOGETHER: Final = 2  # with the first, as many as one keeps in mind with a probe in the hand
_NOT_NAMED: Final = ("none", "chip")  # counted with the others; the chip has a row of its own
_WAYS_NAMED: Final = 4


def make_bench_document(job: Job, notes: Iterable[Note] = ()) -> dict[str, Any]:
    """Return a job as the bench shows it (see the top of this file); ``notes`` are those on the
    chip."""
    now = describe_action(job)
    suspects = [one for one in job.suspects if one.thing[0] not in _NOT_NAMED]
    # The percents on the page must add up to a hundred.
    *shares, others = round_to_hundred(_list_chances(job, suspects))
    rows = [
        *(_describe_suspect(job.chip, one) for one in suspects),
        _describe_chip(job),
    ]
    return {
        "part": job.chip.part,
        "condition": job.condition,
        "symptoms": [symptom.name for symptom in job.symptoms],
        "now": now,
        "instead": [describe_action(job, step) for step in _list_instead(job)],
        "together": [describe_action(job, step) for step in _list_together(job)],
        "suspects": [row | {"percent": n} for row, n in zip(rows, shares, strict=True)],
        "others_percent": others,
        "way": trace_signal_way(job, now["at"]),
        "cleared": list_cleared(job),
        "read": list(reversed(_list_readings(job))),
        "must_read": list_checks(job),
        "again": [describe_place(job, at, quantity) for at, quantity in job.again],
        "contradictions": list(job.contradictions),
        "alike": _list_alike(job, notes),
        "conclusion": job.conclusion,
    }


def _list_instead(job: Job) -> list[Step]:
    """Return what may be done in place of the one thing to do now: other measurements, and the
    proof that a resistance across a part comes before."""
    others = [step for step in job.measurements[1 : 1 + _MOST_INSTEAD] if step.kind == "measure"]
    return others if job.across is None else [job.steps[0], *others]


def _list_together(job: Job) -> list[Step]:
    """Return the next measurements after the first as long as all are DC voltages at pins."""
    if job.across is not None:
        return []
    steps = takewhile(_is_dc_at_pin, job.measurements[: 1 + _MOST_TOGETHER])
    return list(steps)[1:]


def _is_dc_at_pin(step: Step) -> bool:
    return step.kind == "measure" and step.quantity == "dc" and step.at.startswith("pin ")


def round_to_hundred(chances: Sequence[float]) -> list[int]:
    """Return chances that add up to 1 as whole percents that add up to 100.

    The largest remainders are rounded up.
    """
    floors = [int(100 * chance) for chance in chances]
    missing = 100 - sum(floors)
    by_remainder = sorted(
        range(len(chances)), key=lambda number: floors[number] - 100 * chances[number]
    )
    rounded_up = by_remainder[:missing]
    return [floor + (number in rounded_up) for number, floor in enumerate(floors)]


def _list_chances(job: Job, suspects: Sequence[Suspect]) -> list[float]:
    """Return the chance of each suspect, of the chip, and of all others together."""
    named = [*(one.probability for one in suspects), job.found.share_of(CHIP)]
    return [*named, max(1 - sum(named), 0.0)]


def _describe_suspect(chip: Chip, suspect: Suspect) -> dict[str, Any]:
    """Return a suspect as plain data, see ``suspects`` at the top of this file."""
    kind, name = suspect.thing
    part = find_part(chip, name) if kind == "part" else None
    thing = describe_thing(chip, kind, name)
    return {
        "kind": kind,
        "what": name_suspect(suspect.hypothesis),
        "name": _name_part(part) if part is not None else f"{thing[:1].upper()}{thing[1:]}",
        "failure": suspect.hypothesis.failure,
        "said": suspect.said,
        "prove": suspect.remedy.prove,
        "fit": suspect.remedy.fit,
        "shows_at": list(suspect.would_read),
        "because": list(suspect.because),
        "points": list(suspect.remedy.check),
        "ways": [way.failure for way, _ in suspect.ways[1:_WAYS_NAMED]],  # after the likeliest
    }


def _name_part(part: Part) -> str:
    return f"{part.ref}, {' '.join(filter(None, (str(part.value or ''), part.kind)))}"


def _describe_chip(job: Job) -> dict[str, Any]:
    """Return the chip as one suspect: one thing is fitted for all of its stages, and last."""
    ways = job.found.list_ways(CHIP) if CHIP in job.found.things else []
    likeliest = ways[0][0] if ways else None
    description = next((one.said for one in job.suspects if one.thing == CHIP), "")
    return {
        "kind": "chip",
        "what": job.chip.part,
        "name": f"The chip itself, {job.chip.part}",
        "failure": likeliest.failure if likeliest else "",
        "said": description,
        "prove": "Last: when its supplies, its inputs and the parts on its pins have read right.",
        "fit": f"{job.chip.part}, or one that stands in for it",
        "shows_at": [],
        "because": [],
        "points": list(choose_remedy(job.chip, likeliest).check) if likeliest else [],
        "ways": [],
    }


def _list_readings(job: Job) -> list[dict[str, Any]]:
    """Return every reading with its verdict, in the order they were taken."""
    return [
        {
            "index": index,
            "line": reading.text,
            **_describe_reading(job, reading, verdict, index),
        }
        for index, (reading, verdict) in enumerate(zip(job.readings, job.verdicts, strict=True))
    ]


def _describe_reading(
    job: Job, reading: Taken, verdict: PinVerdict | None, index: int
) -> dict[str, Any]:
    """Return place, verdict and reasons of one reading."""
    if isinstance(reading, PartReading):
        return _describe_part_reading(job, reading)
    if verdict is None:
        resistance = next((r for r in job.evidence.resistances if r.line == index), None)
        if resistance is not None:
            return _describe_resistance(job, resistance)
    place = _name_place(job.chip, reading.place)
    if index in job.after:
        place = f"{place}, after the cure"
    if verdict is None:
        # The catalogue states nothing for the point; the reading is evidence all the same.
        word = "cannot be reached" if reading.skipped else "as read"
        return {"place": place, "verdict": word, "is_right": None, "why": []}
    can_tell = verdict.verdict != CANNOT_TELL
    return {
        "place": place,
        "verdict": verdict.verdict,
        "is_right": verdict.is_right if can_tell else None,
        "why": list(verdict.why),
    }


def _describe_resistance(job: Job, reading: Resistance) -> dict[str, Any]:
    """Return places, verdict and reasons of a resistance between two points."""
    checks = check_resistances(job.board, job.evidence.resistances)
    check = next(one for one in checks if one.reading == reading)
    ends = [
        end if end == "ground" else describe_endpoint(job.chip, end)
        for end in (reading.first, reading.second)
    ]
    return {
        "place": f"{' to '.join(ends)}, good: {check.span}",
        "verdict": check.verdict,
        "is_right": None if check.verdict == CANNOT_TELL else check.verdict == AS_EXPECTED,
        "why": list(check.why),
    }


def _describe_part_reading(job: Job, reading: PartReading) -> dict[str, Any]:
    """Return place, verdict and reasons of a test of a part or joint."""
    result = next((r for r in job.evidence.parts if r.ref == reading.ref), None)
    # A joint has no value to measure: the reading tells whether it was bad.
    if result is None:
        was_bad = any(s.pin == reading.ref and s.was_bad for s in job.evidence.joints)
        return {
            "place": describe_endpoint(job.chip, reading.ref),
            "verdict": "its joint was bad" if was_bad else "its joint is good",
            "is_right": not was_bad,
            "why": [],
        }
    return {
        "place": reading.ref,
        "verdict": result.outcome,
        "is_right": not is_bad(result.outcome),
        "why": [result.why],
    }


def _name_place(chip: Chip, place: str) -> str:
    """Return a place as it is called, however it was written."""
    part = find_part(chip, place)
    if part is not None:
        return _name_part(part)
    return "ground" if place == "ground" else name_place(find_test_point(chip, place))


def _list_alike(job: Job, notes: Iterable[Note]) -> list[dict[str, Any]]:
    """Return the notes of similar cases, each with the reasons why it is alike."""
    readings = {}
    for verdict, figures in zip(job.judged, job.figures, strict=True):
        place = f"pin {verdict.pin.number}" if verdict.pin.number else verdict.pin.symbol
        readings[place] = convert_reading(figures)
    case = BenchCase("; ".join(job.told), job.chip.part, "", readings)
    return [
        {
            "id": alike.note.id,
            "shop": alike.note.shop,
            "date": alike.note.date,
            "symptom": alike.note.symptom,
            "part": alike.note.part,
            "failure": alike.note.failure,
            "cure": alike.note.cure,
            "proof": alike.note.proof,
            "why": list(alike.why),
        }
        for alike in find_similar_cases(notes, case)
    ]
